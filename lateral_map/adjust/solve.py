"""Weighted non-linear least squares: Gauss-Newton, more careful where a step makes things worse.

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
# From unknowns (n,) and the rest's residuals (t,): what the normal matrix leaves out of half the
# cost's second derivatives (n, n).
Curvature = Callable[[Floats, Floats], Floats]

MOST_STEPS = 60
# Gain is the squared length of the step in units of 1 sd: this is a millionth of an sd.
CLOSE_ENOUGH = 1e-13
_FAST = 0.1
# A last step of a hundredth of an sd moves nothing that anybody reads.
SETTLED = 1e-4
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING = 1e-3, 1e-6, 1e6
# What is handed on is rounded to this share of 1 sd, and correlations to it: some 1e-8, exact in
# binary. Residuals only say what agrees: a millionth of 1 sd will do.
SHARE_OF_SD, SHARE_OF_RESIDUAL = 2.0**-26, 2.0**-20
# Below this halving a triangular matrix saves nothing.
_SMALL = 48
# What a last step gains where rounding alone moves the unknowns: a ten-billionth of an sd.
_LAST_GAIN = 1e-20
# A step that keeps this share of the gain it promised needs no damping.
_KEPT_WELL = 0.25
# More damping than two failures bring about shows that damping alone is slow. Of 280 made-up lines
# with gross slips the curvature then settled 19 that had not settled; two, a footage misread, ended
# 3 and 12 higher of some 750. Minded at once it led more of those to worse lines.
_DAMPED_ENOUGH = 5e-3
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


@dataclass(frozen=True, slots=True)
class Root:
    """The inverse R (n, n) of as many linear equations D (n, n) as unknowns, in blocks.

    What the linear equations D x = o + y expect is x = R (o + y), y one sd of 1 each: R Rᵀ is the
    covariance of the unknowns before any tie. The unknowns ``column`` stand in the equations
    ``row`` alone, R being 1 / D there; ``square`` are (unknowns, equations, R) of those that
    stand together, and ``links`` (unknowns, others, by how much) say which follow others' errors,
    none of which follows others again.
    """

    row: NDArray[np.intp]
    column: NDArray[np.intp]
    scale: Floats
    square: tuple[tuple[NDArray[np.intp], slice, Floats], ...]
    links: tuple[tuple[NDArray[np.intp], NDArray[np.intp], Floats], ...]

    def seen(self, design: Floats) -> Floats:
        """Return A R (t, n) of equations A (t, n)."""
        found = np.empty_like(design)
        if self.links:
            design = design.copy()
        for own, others, follow in self.links:
            design[:, others] += design[:, own] @ follow
        found[:, self.row] = design[:, self.column] * self.scale
        for own, rows, root in self.square:
            found[:, rows] = design[:, own] @ root
        return found

    def unknowns(self, equations: Floats) -> Floats:
        """Return R times a value (n,) of each equation."""
        found = np.empty_like(equations)
        found[self.column] = self.scale * equations[self.row]
        for own, rows, root in self.square:
            found[own] = root @ equations[rows]
        for own, others, follow in self.links:
            found[own] += follow @ found[others]
        return found


@dataclass(frozen=True)
class Linear:
    """What never changes: the linear equations' whitened design D (q, n), and DᵀD (n, n).

    ``split`` says which unknowns can be eliminated group by group: between a group's own unknowns
    and any others no linear equation stands. ``root`` is D's inverse where that is known.
    """

    design: Floats
    normal: Floats
    split: Split | None = None
    root: Root | None = None

    @classmethod
    def of(cls, design: Floats) -> Linear:
        """Return equations of which nothing else is known."""
        return cls(design, gram_matrix(design))

    @cached_property
    def diagonal(self) -> Floats:
        """Its diagonal."""
        return np.asarray(np.diag(self.normal))

    @cached_property
    def shared(self) -> Floats:
        """Its part in the shared unknowns, F_s (s, s)."""
        if self.split is None:
            return self.normal
        return np.asarray(self.normal[self.split.shared[:, None], self.split.shared])


@dataclass(frozen=True)
class Normal:
    """The normal matrix N = F + AᵀA: F of the linear equations, A (t, n) the design of the rest.

    With a split, x = (s, u), each group's own unknowns u are eliminated before s is solved for:

        N = [ G  Kᵀ ]     S = G - Kᵀ B⁻¹ K = F_s + (W A_s)ᵀ (W A_s)
            [ K  B  ]     WᵀW = 1 - A_u B⁻¹ A_uᵀ = (1 + A_u P⁻¹ A_uᵀ)⁻¹

    where B = P + A_uᵀA_u is block-diagonal, P = F_u is diagonal, and S, the Schur complement, is as
    large as the shared unknowns are many, however many marks there are.
    """

    linear: Linear
    rest: Floats

    @property
    def split(self) -> Split | None:
        """Which unknowns are eliminated first."""
        return self.linear.split

    @cached_property
    def diagonal(self) -> Floats:
        """The diagonal of N."""
        if self.split is None:
            return np.asarray(np.diag(self._undamped[0]))
        return np.asarray(self.linear.diagonal + np.einsum("tn,tn->n", self.rest, self.rest))

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
        linear, split = self.linear, self.split
        if split is None:
            full = gram_matrix(self.rest)
            full += linear.normal
            if damping:
                full[np.diag_indices_from(full)] += damping * self.diagonal
            return full, np.empty((0, 0, 0))
        of_own, prior = self.own_design, linear.diagonal[split.own]
        if damping:
            prior = prior + damping * self.diagonal[split.own]
        # One that a group does not have is as good as known.
        prior = np.where(split.own >= 0, prior, 1.0)
        across = of_own.transpose(0, 2, 1)
        inverse = np.linalg.inv(prior[:, :, None] * np.eye(prior.shape[1]) + across @ of_own)
        noise = np.eye(of_own.shape[1]) + (of_own / prior[:, None, :]) @ across
        whiten = np.linalg.inv(np.linalg.cholesky(noise))
        seen = (whiten @ self.shared_design).reshape(-1, len(split.shared))
        schur = linear.shared + gram_matrix(seen)
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

    def step_by_ties(self, residuals: Floats, away: Floats) -> Floats:
        """Return the step (n,) to the best unknowns by as many equations as there are ties.

        With the root R, and B = A R, the best are R Bᵀ w from what the linear equations expect, the
        unknowns being ``away`` from it and (1 + B Bᵀ) w = r + A ``away`` (least-squares
        collocation: Moritz, Advanced Physical Geodesy, 1980; from memory).
        """
        root = self.linear.root
        assert root is not None  # noqa: S101
        seen = root.seen(self.rest)
        known = seen @ seen.T
        known[np.diag_indices_from(known)] += 1.0
        weights = np.linalg.solve(known, residuals + self.rest @ away)
        return root.unknowns(seen.T @ weights) - away

    def solve(self, gradient: Floats, damping: float = 0.0) -> Floats:
        """Return the step (n,) with (N + ``damping`` diag N) step = ``gradient``."""
        schur, inverse = self.eliminate(damping) if damping else self._undamped
        return self._complete(gradient, inverse, lambda g: np.asarray(np.linalg.solve(schur, g)))

    def curved_step(self, gradient: Floats, curvature: Floats, damping: float = 0.0) -> Floats:
        """Return the step (n,) with (N + ``curvature`` + ``damping`` diag N) step = ``gradient``.

        Raises ``numpy.linalg.LinAlgError`` where that leads to no minimum.
        """
        full = self.linear.normal + gram_matrix(self.rest)
        full[np.diag_indices_from(full)] *= 1.0 + damping
        full += curvature
        np.linalg.cholesky(full)
        return np.asarray(np.linalg.solve(full, gradient))

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
        full = np.empty_like(self.linear.normal)
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


@dataclass(frozen=True)
class LeastSquares:
    """What is to be as small as can be: |observed - D x|² + |evaluate(x)|², D the linear design.

    ``observed`` (q,) is whitened; ``evaluate`` returns whitened residuals (t,) and design (t, n) of
    the rest. ``curvature`` returns the greater part of what Gauss-Newton's steps leave out.
    """

    linear: Linear
    observed: Floats
    evaluate: Evaluate
    curvature: Curvature | None = None

    @cached_property
    def expected(self) -> Floats | None:
        """The unknowns (n,) by the linear equations alone, where their root is known."""
        root = self.linear.root
        return None if root is None else root.unknowns(self.observed)

    def at(self, unknowns: Floats) -> Place:
        """Return the equations about given unknowns."""
        missed = self.observed - self.linear.design @ unknowns
        residuals, rest = self.evaluate(unknowns)
        cost = float(missed @ missed + residuals @ residuals)
        return Place(self, unknowns, cost, missed, residuals, Normal(self.linear, rest))


@dataclass(frozen=True)
class Place:
    """Equations about given unknowns: what is missed there, the cost, the normal matrix."""

    problem: LeastSquares
    unknowns: Floats
    cost: float
    missed: Floats
    residuals: Floats
    normal: Normal

    @cached_property
    def gradient(self) -> Floats:
        """Downhill: minus half the cost's derivatives (n,)."""
        rest = self.normal.rest
        return np.asarray(self.problem.linear.design.T @ self.missed + rest.T @ self.residuals)

    def step(self, damping: float = 0.0, *, curved: bool = False) -> Floats:
        """Return the step (n,) to the best unknowns, or as far towards it as damping lets it go.

        Gauss-Newton's, or where ``curved`` Newton's as far as the curvature is told.
        Raises ``numpy.linalg.LinAlgError`` where that leads to no minimum.
        """
        normal, expected = self.normal, self.problem.expected
        if curved and self.problem.curvature is not None:
            curvature = self.problem.curvature(self.unknowns, self.residuals)
            return normal.curved_step(self.gradient, curvature, damping)
        if expected is None or damping:
            return normal.solve(self.gradient, damping)
        return normal.step_by_ties(self.residuals, self.unknowns - expected)


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
    """The unknowns (n,) and covariance (n, n), rounded; whitened residuals (m,), design (m, n).

    ``settled`` is False where no best was found.
    """

    unknowns: Floats
    covariance: Floats
    residuals: Floats
    design: Floats
    settled: bool


@dataclass(slots=True)
class _Care:
    """How carefully steps are taken: at first Gauss-Newton's, undamped.

    After a step that did not lower the cost, or by far less than it promised, steps are damped;
    where that does not soon help the curvature is minded too, if it is told.
    """

    can_curve: bool
    curved: bool = False
    damping: float = 0.0

    def take_more(self) -> None:
        """Take more care after a step that did not lower the cost."""
        self.curved = self.curved or (self.can_curve and self.damping > _DAMPED_ENOUGH)
        self.damping = max(8.0 * self.damping, _FIRST_DAMPING)

    def learn(self, kept: float) -> None:
        """Learn from a step that lowered the cost by a share ``kept`` of what it promised."""
        if self.damping:
            # Nielsen's rule (from memory): a step that kept its promise is damped less the next
            # time, down to a third, one that kept less than half of it more.
            self.damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(kept, 1.0) - 1.0) ** 3)
            self.damping = self.damping if self.damping > _LEAST_DAMPING else 0.0
        elif kept <= _KEPT_WELL:
            self.take_more()


def solve_least_squares(
    problem: LeastSquares,
    start: Floats,
    most_steps: int = MOST_STEPS,
    worth_reaching: float = math.inf,
) -> Solution:
    """Minimise the cost of equations from ``start`` (n,).

    The step is Gauss-Newton's, more careful where that fails. Where after the first steps no more
    than several times what a step promises would bring the cost down to ``worth_reaching``, the
    solution is left unsettled there.
    """
    here, care = problem.at(start), _Care(problem.curvature is not None)
    steps, gain, before = 0, math.inf, 0.0
    while steps < most_steps:
        steps += 1
        try:
            step = here.step(care.damping, curved=care.curved)
        except np.linalg.LinAlgError:
            if not care.curved or care.damping > _MOST_DAMPING:
                raise
            care.take_more()
            continue
        if steps > FIRST_STEPS and not _may_reach(worth_reaching, here, step):
            gain = math.inf
            break
        there = problem.at(here.unknowns + step)
        gain = max(float(here.gradient @ step), 0.0)  # rounding alone makes it less
        if not there.cost <= here.cost * (1.0 + 1e-14) + 1e-20:  # not a number is no gain either
            if gain < CLOSE_ENOUGH * (1.0 + here.cost):
                break
            care.take_more()
            continue
        held_back = care.damping and care.damping * float(np.square(step) @ here.normal.diagonal)
        care.learn((here.cost - there.cost) / max(gain + held_back, 1e-300))
        here = there
        # Where steps close in fast the next one, not taken, would gain as much less again.
        less = gain / before if gain < _FAST * before and not care.damping else 1.0
        if gain * less < CLOSE_ENOUGH * (1.0 + here.cost):
            break
        before = gain
    return Solution(
        here.unknowns, here.cost, here.normal, here.residuals, here.normal.rest, steps,
        gain < SETTLED,
    )  # fmt: skip


def _may_reach(worth: float, here: Place, step: Floats) -> bool:
    """Say whether several times what an undamped step promises brings a cost down to ``worth``.

    A damped ``step`` promises less than the undamped one, which is solved for only where that is
    too little.
    """
    needed = (here.cost - worth) / PROMISE_TRUSTED
    return float(here.gradient @ step) >= needed or float(here.gradient @ here.step()) >= needed


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


def settle(problem: LeastSquares, found: Solution) -> Settled:
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
    enough, is_settled = _LAST_GAIN * (1.0 + found.cost), found.settled
    # Chord steps: the normal matrix stays.
    best, gain = _go_on(problem, found, lambda at: found.normal.apply_inverse(at.gradient))
    if gain > enough:
        # Where readings are far off, their curvature outweighs the normal matrix, whose steps then
        # lead away from the best.
        best, gain = _go_on(problem, found, lambda at: at.step(curved=True))
        is_settled = is_settled or gain < enough
    covariance = problem.at(best).normal.inverse()
    sd = np.sqrt(np.diag(covariance))
    factor = rounded(np.linalg.cholesky(covariance / np.outer(sd, sd)), SHARE_OF_SD)
    sd = rounded(sd, SHARE_OF_SD * power_of_two(sd))
    covariance = np.asarray((factor @ factor.T) * np.outer(sd, sd))
    unknowns = rounded(best, SHARE_OF_SD * power_of_two(np.sqrt(np.diag(covariance))))
    there = problem.at(unknowns)
    return Settled(
        unknowns,
        covariance,
        rounded(np.concatenate([there.missed, there.residuals]), SHARE_OF_RESIDUAL),
        np.concatenate([problem.linear.design, there.normal.rest]),
        is_settled,
    )


def _go_on(
    problem: LeastSquares, found: Solution, step_at: Callable[[Place], Floats]
) -> tuple[Floats, float]:
    """Return unknowns (n,) as near the best as rounding lets steps come, and what one gains there.

    Where steps lead away, or to no minimum, the unknowns are those ``found``, and infinite what one
    might gain.
    """
    unknowns, before = found.unknowns, math.inf
    for _ in range(MOST_STEPS):
        here = problem.at(unknowns)
        if not here.cost <= found.cost * (1.0 + 1e-12):
            return found.unknowns, math.inf
        try:
            step = step_at(here)
        except np.linalg.LinAlgError:
            return found.unknowns, math.inf
        gain = float(here.gradient @ step)
        if not gain < before:
            break
        unknowns, before = unknowns + step, gain
    return unknowns, before


def power_of_two(values: Floats) -> Floats:
    """Return a power of two near each value; the bounds lie at no number anybody writes."""
    return np.exp2(np.floor(np.log2(values) + 0.283))


def rounded(values: Floats, step: Floats | float) -> Floats:
    """Return values as multiples of a step."""
    return np.asarray(np.round(values / step) * step + 0.0)  # no minus before a zero
