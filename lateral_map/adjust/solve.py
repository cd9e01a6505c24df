"""Weighted non-linear least squares: Gauss-Newton, damped only where a step makes things worse.

All linear algebra is numpy's. scipy brings a second BLAS with threads of its own, and the two
waiting on each other cost several times the work.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats

Evaluate = Callable[[Floats], tuple[Floats, Floats]]

MOST_STEPS = 60
# Gain is the squared length of the step in units of 1 sd: this is a millionth of an sd.
CLOSE_ENOUGH = 1e-13
_FAST = 0.1
# A last step of a hundredth of an sd moves nothing that anybody reads.
SETTLED = 1e-4
_FIRST_DAMPING = 1e-3
# What is handed on is rounded to this share of 1 sd, and correlations to it: some 1e-8, exact in
# binary. Residuals only say what agrees: a millionth of 1 sd will do.
SHARE_OF_SD, SHARE_OF_RESIDUAL = 2.0**-26, 2.0**-20
# Below this halving a triangular matrix saves nothing.
_SMALL = 48
# A step that keeps this share of the gain it promised needs no damping.
_KEPT_WELL = 0.25
# From a start far off, the first steps promise little of what later ones bring. Of 306 mirror
# images of made-up lines none that led to another line fell short of its promise four times over.
FIRST_STEPS, PROMISE_TRUSTED = 2, 2.0


@dataclass(frozen=True, slots=True)
class Split:
    """Which unknowns many equations share, and which are one group's own, as a mark's errors are.

    ``shared`` (s,) are unknowns; ``own`` (k, w) those of each group; ``rows`` (k, r) the equations,
    among those that are not linear, that hold them: no equation holds two groups'. -1 where a group
    has fewer.
    """

    shared: NDArray[np.intp]
    own: NDArray[np.intp]
    rows: NDArray[np.intp]

    def gram_matrix(self, design: Floats) -> Floats:
        """Return designᵀ design of linear equations that tie no group's own unknown to another."""
        product, own = np.zeros((design.shape[1],) * 2), self.own[self.own >= 0]
        product[own, own] = np.square(design[:, own]).sum(axis=0)
        among = design[:, self.shared]
        product[np.ix_(self.shared, self.shared)] = gram_matrix(among[among.any(axis=1)])
        return product


@dataclass(frozen=True)
class Fixed:
    """The part F (n, n) of a normal matrix that never changes, that of the linear equations.

    Between a group's own unknowns and any others it holds nothing.
    """

    matrix: Floats
    split: Split | None = None

    @cached_property
    def diagonal(self) -> Floats:
        """Its diagonal."""
        return np.asarray(np.diag(self.matrix))

    @cached_property
    def shared(self) -> Floats:
        """Its part in the shared unknowns, F_s (s, s)."""
        if self.split is None:
            return self.matrix
        return np.asarray(self.matrix[self.split.shared[:, None], self.split.shared])


@dataclass(frozen=True)
class Normal:
    """The normal matrix N = F + AᵀA: F of the linear equations, A (t, n) the design of the rest.

    With a split, x = (s, u), each group's own unknowns u are eliminated before s is solved for:

        N = [ G  Kᵀ ]     S = G - Kᵀ B⁻¹ K = F_s + (W A_s)ᵀ (W A_s)
            [ K  B  ]     WᵀW = 1 - A_u B⁻¹ A_uᵀ = (1 + A_u P⁻¹ A_uᵀ)⁻¹

    where B = P + A_uᵀA_u is block-diagonal, P = F_u is diagonal, and S, the Schur complement, is as
    large as the shared unknowns are many, however many marks there are.
    """

    fixed: Fixed
    rest: Floats

    @property
    def split(self) -> Split | None:
        """Which unknowns are eliminated first."""
        return self.fixed.split

    @cached_property
    def diagonal(self) -> Floats:
        """The diagonal of N."""
        if self.split is None:
            return np.asarray(np.diag(self._undamped[0]))
        return np.asarray(self.fixed.diagonal + np.einsum("tn,tn->n", self.rest, self.rest))

    @cached_property
    def shared_design(self) -> Floats:
        """A_s, each group's equations together: (k, r, s)."""
        assert self.split is not None  # noqa: S101
        found = self.rest[self.split.rows[:, :, None], self.split.shared]
        found[self.split.rows < 0] = 0.0
        return np.asarray(found)

    @cached_property
    def own_design(self) -> Floats:
        """A_u, each group's equations in its own unknowns: (k, r, w)."""
        assert self.split is not None  # noqa: S101
        found = self.rest[self.split.rows[:, :, None], self.split.own[:, None, :]]
        held = (self.split.rows >= 0)[:, :, None] & (self.split.own >= 0)[:, None, :]
        return np.asarray(found * held)

    def eliminate(self, damping: float = 0.0) -> tuple[Floats, Floats]:
        """Return S (s, s) and B⁻¹ (k, w, w) of N + ``damping`` diag N; without a split N itself."""
        fixed, split = self.fixed, self.split
        if split is None:
            full = fixed.matrix + gram_matrix(self.rest)
            if damping:
                full[np.diag_indices_from(full)] += damping * self.diagonal
            return full, np.empty((0, 0, 0))
        of_own, prior = self.own_design, fixed.diagonal[split.own]
        if damping:
            prior = prior + damping * self.diagonal[split.own]
        # One that a group does not have is as good as known.
        prior = np.where(split.own >= 0, prior, 1.0)
        across = of_own.transpose(0, 2, 1)
        inverse = np.linalg.inv(prior[:, :, None] * np.eye(prior.shape[1]) + across @ of_own)
        noise = np.eye(of_own.shape[1]) + (of_own / prior[:, None, :]) @ across
        whiten = np.linalg.inv(np.linalg.cholesky(noise))
        seen = (whiten @ self.shared_design).reshape(-1, len(split.shared))
        schur = fixed.shared + gram_matrix(seen)
        if damping:
            schur[np.diag_indices_from(schur)] += damping * self.diagonal[split.shared]
        return schur, np.asarray(inverse, np.float64)

    @cached_property
    def _undamped(self) -> tuple[Floats, Floats]:
        return self.eliminate()

    @cached_property
    def _inverse_shared(self) -> Floats:
        """S⁻¹; ``numpy.linalg.LinAlgError`` where it is not positive definite."""
        return invert_normal(self._undamped[0])

    def solve(self, gradient: Floats, damping: float = 0.0) -> Floats:
        """Return the step (n,) with (N + ``damping`` diag N) step = ``gradient``."""
        schur, inverse = self.eliminate(damping) if damping else self._undamped
        return self._complete(gradient, inverse, lambda g: np.asarray(np.linalg.solve(schur, g)))

    def apply_inverse(self, vectors: Floats) -> Floats:
        """Return N⁻¹ times vectors (n,) or (n, c), N known to be positive definite.

        Raises ``numpy.linalg.LinAlgError`` where it is not.
        """
        covariance = self._inverse_shared
        return self._complete(vectors, self._undamped[1], lambda g: np.asarray(covariance @ g))

    def _complete(
        self, vectors: Floats, inverse: Floats, solve: Callable[[Floats], Floats]
    ) -> Floats:
        """Return what ``solve`` makes of vectors (n,) or (n, c) in the shared unknowns, with u."""
        if self.split is None:
            return solve(vectors)
        shared, held = self.split.shared, self.split.own >= 0
        columns = vectors.reshape(len(vectors), -1)
        across, by_row = self.own_design.transpose(0, 2, 1), self.shared_design
        flat = by_row.reshape(-1, len(shared))
        on_own = columns[self.split.own] * held[:, :, None]
        # Kᵀ B⁻¹ g_u, and once s is known B⁻¹ (g_u - K s).
        through = (self.own_design @ (inverse @ on_own)).reshape(len(flat), -1)
        step = np.empty_like(columns)
        step[shared] = solve(columns[shared] - flat.T @ through)
        moved = (flat @ step[shared]).reshape(*by_row.shape[:2], -1)
        step[self.split.own[held]] = (inverse @ (on_own - across @ moved))[held]
        return np.asarray(step.reshape(vectors.shape))

    @cached_property
    def log_determinant(self) -> float:
        """The logarithm of N's determinant."""
        schur, inverse = self._undamped
        return float(np.linalg.slogdet(schur)[1] - np.linalg.slogdet(inverse)[1].sum())

    def inverse(self) -> Floats:
        """Return N⁻¹ (n, n): the covariance of the unknowns.

        Raises ``numpy.linalg.LinAlgError`` where the readings leave an unknown undetermined.
        """
        covariance, inverse = self._inverse_shared, self._undamped[1]
        if self.split is None:
            return covariance
        # u = B⁻¹ (g_u - K s): what it shares with s, and its own.
        held, shared = self.split.own >= 0, self.split.shared
        own = self.split.own[held]
        follows = (inverse @ self.own_design.transpose(0, 2, 1) @ self.shared_design)[held]
        between = -(follows @ covariance)
        among = between @ -follows.T
        full = np.empty_like(self.fixed.matrix)
        full[np.ix_(own, own)] = 0.5 * (among + among.T)
        both = held[:, :, None] & held[:, None, :]
        column = np.broadcast_to(self.split.own[:, None, :], both.shape)
        full[column.transpose(0, 2, 1)[both], column[both]] += inverse[both]
        full[np.ix_(own, shared)] = between
        full[np.ix_(shared, own)] = between.T
        full[np.ix_(shared, shared)] = covariance
        return full

    def without(self, rows: NDArray[np.intp]) -> Normal:
        """Return the normal matrix without some of the equations that are not linear."""
        rest = self.rest.copy()
        rest[rows] = 0.0
        return replace(self, rest=rest)


@dataclass(frozen=True, slots=True)
class Solution:
    """The best unknowns, their normal matrix, and the whitened non-linear part at them.

    ``settled`` is False where the steps ran out a hundredth of an sd or more from the best.
    """

    unknowns: Floats
    cost: float
    normal: Normal
    residuals: Floats
    design: Floats
    steps: int
    settled: bool = True

    @property
    def log_determinant(self) -> float:
        """The logarithm of the normal matrix's determinant."""
        return self.normal.log_determinant

    def joint_covariance(self) -> Floats:
        """Return the unknowns' (n, n)."""
        return self.normal.inverse()


@dataclass(frozen=True, slots=True)
class Settled:
    """The unknowns (n,) and covariance (n, n), rounded; whitened residuals (m,), design (m, n)."""

    unknowns: Floats
    covariance: Floats
    residuals: Floats
    design: Floats


def solve_least_squares(
    design: Floats,
    observed: Floats,
    normal: Floats,
    evaluate: Evaluate,
    start: Floats,
    most_steps: int = MOST_STEPS,
    worth_reaching: float = math.inf,
    split: Split | None = None,
) -> Solution:
    """Minimise |observed - design x|² + |evaluate(x)|² from ``start``.

    ``design`` and ``observed`` are the whitened linear equations and ``normal`` is their
    ``gram_matrix``, formed once. ``evaluate`` returns whitened residuals and design of the rest.
    ``split`` says which unknowns can be eliminated group by group.
    The step is Gauss-Newton's; Levenberg's damping comes in only after a step that did not lower
    the cost, or by far less than it promised. Where after the first steps no more than several
    times what a step promises would bring the cost down to ``worth_reaching``, the solution is left
    unsettled there.
    """
    unknowns, damping, fixed = start, 0.0, Fixed(normal, split)
    linear = observed - design @ unknowns
    residuals, rest = evaluate(unknowns)
    cost = float(linear @ linear + residuals @ residuals)
    full, gradient = Normal(fixed, rest), design.T @ linear + rest.T @ residuals
    steps, gain, before = 0, math.inf, 0.0
    while steps < most_steps:
        steps += 1
        step = full.solve(gradient, damping)
        if steps > FIRST_STEPS and not _may_reach(worth_reaching, cost, full, gradient, step):
            gain = math.inf
            break
        trial = unknowns + step
        trial_linear = observed - design @ trial
        trial_residuals, trial_rest = evaluate(trial)
        trial_cost = float(trial_linear @ trial_linear + trial_residuals @ trial_residuals)
        gain = float(gradient @ step)
        if not trial_cost <= cost * (1.0 + 1e-14) + 1e-20:  # not a number is no gain either
            if gain < CLOSE_ENOUGH * (1.0 + cost):
                break
            damping = max(8.0 * damping, _FIRST_DAMPING)
            continue
        held_back = damping * float(np.square(step) @ full.diagonal) if damping else 0.0
        kept = (cost - trial_cost) / max(gain + held_back, 1e-300)
        if damping:
            # Nielsen's rule (from memory): a step that kept its promise is damped less the next
            # time, down to a third, one that kept less than half of it more.
            damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(kept, 1.0) - 1.0) ** 3)
            damping = damping if damping > 1e-6 else 0.0
        elif kept <= _KEPT_WELL:
            damping = _FIRST_DAMPING
        unknowns, linear, residuals, rest, cost = (
            trial, trial_linear, trial_residuals, trial_rest, trial_cost,
        )  # fmt: skip
        full, gradient = Normal(fixed, rest), design.T @ linear + rest.T @ residuals
        # Where steps close in fast the next one, not taken, would gain as much less again.
        less = gain / before if gain < _FAST * before and not damping else 1.0
        if gain * less < CLOSE_ENOUGH * (1.0 + cost):
            break
        before = gain
    return Solution(unknowns, cost, full, residuals, rest, steps, gain < SETTLED)


def _may_reach(worth: float, cost: float, full: Normal, gradient: Floats, step: Floats) -> bool:
    """Say whether several times what an undamped step promises brings a cost down to ``worth``.

    A damped ``step`` promises less than the undamped one, which is solved for only where that is
    too little.
    """
    needed = (cost - worth) / PROMISE_TRUSTED
    return float(gradient @ step) >= needed or float(gradient @ full.solve(gradient)) >= needed


def gram_matrix(design: Floats) -> Floats:
    """Return designᵀ design."""
    return np.asarray(design.T @ design)


def invert_normal(normal: Floats) -> Floats:
    """Return the inverse of a symmetric positive definite matrix: the covariance of the unknowns.

    Exactly symmetric. Raises ``numpy.linalg.LinAlgError`` where the readings leave an unknown
    undetermined.
    """
    inverse = invert_lower(np.asarray(np.linalg.cholesky(normal)))
    return np.asarray(inverse.T @ inverse)


def invert_lower(lower: Floats) -> Floats:
    """Return the inverse of a lower triangular matrix by halves: numpy's own takes it for full."""
    if len(lower) <= _SMALL:
        return np.asarray(np.linalg.inv(lower))
    half = len(lower) // 2
    inverse = np.zeros_like(lower)
    inverse[:half, :half] = invert_lower(lower[:half, :half])
    inverse[half:, half:] = invert_lower(lower[half:, half:])
    inverse[half:, :half] = -(inverse[half:, half:] @ lower[half:, :half]) @ inverse[:half, :half]
    return inverse


def settle(design: Floats, observed: Floats, evaluate: Evaluate, found: Solution) -> Settled:
    """Return what is handed on of a solution: the same bits whatever processor found it.

    Sums run in another order on another processor or with another number of threads, and the steps
    of ``solve_least_squares`` end where nobody could read a difference but a computer can. So the
    last steps are taken until rounding alone moves the unknowns, by some 1e-13 sd; then everything
    is rounded to a hundred-millionth of its sd, the covariance by a factor of its correlations, so
    that it stays positive definite; the factor's entries have so few bits that every order of
    summing their products gives the same. To be rounded two ways a value must lie within 1e-13 of
    the middle between two steps of 1e-8: for all the values of a site together less than one chance
    in a thousand, while the step itself is far below what is measured.
    """
    # Chord steps (the normal matrix stays) down to rounding.
    unknowns, residuals, rest = found.unknowns, found.residuals, found.design
    before = math.inf
    for _ in range(MOST_STEPS if found.settled else 0):
        gradient = design.T @ (observed - design @ unknowns) + rest.T @ residuals
        step = found.normal.apply_inverse(gradient)
        gain = float(gradient @ step)
        if not gain < before:  # as near as rounding lets it come
            break
        unknowns, before = unknowns + step, gain
        residuals, rest = evaluate(unknowns)
    covariance = replace(found.normal, rest=rest).inverse()
    sd = np.sqrt(np.diag(covariance))
    factor = rounded(np.linalg.cholesky(covariance / np.outer(sd, sd)), SHARE_OF_SD)
    sd = rounded(sd, SHARE_OF_SD * power_of_two(sd))
    covariance = np.asarray((factor @ factor.T) * np.outer(sd, sd))
    unknowns = rounded(unknowns, SHARE_OF_SD * power_of_two(np.sqrt(np.diag(covariance))))
    residuals, rest = evaluate(unknowns)
    residuals = np.concatenate([observed - design @ unknowns, residuals])
    return Settled(
        unknowns,
        covariance,
        rounded(residuals, SHARE_OF_RESIDUAL),
        np.concatenate([design, rest]),
    )


def power_of_two(values: Floats) -> Floats:
    """Return a power of two near each value; the bounds lie at no number anybody writes."""
    return np.exp2(np.floor(np.log2(values) + 0.283))


def rounded(values: Floats, step: Floats | float) -> Floats:
    """Return values as multiples of a step."""
    return np.asarray(np.round(values / step) * step + 0.0)  # no minus before a zero
