"""Weighted non-linear least squares: Gauss-Newton, damped only where a step makes things worse.

All linear algebra is numpy's. scipy brings a second BLAS with threads of its own, and the two
waiting on each other cost several times the work.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lateral_map.model.arrays import Floats

Evaluate = Callable[[Floats], tuple[Floats, Floats]]

MOST_STEPS = 60
# Gain is the squared length of the step in units of 1 sd: this is a millionth of an sd.
_CLOSE_ENOUGH = 1e-13
# A last step of a hundredth of an sd moves nothing that anybody reads.
_SETTLED = 1e-4
_FIRST_DAMPING = 1e-3
# What is handed on is rounded to this share of 1 sd, and correlations to it: some 1e-8, exact in
# binary. Residuals only say what agrees: a millionth of 1 sd will do.
_SHARE_OF_SD, _SHARE_OF_RESIDUAL = 2.0**-26, 2.0**-20
# Below this halving a triangular matrix saves nothing.
_SMALL = 48
# A step that keeps this share of the gain it promised needs no damping.
_KEPT_WELL = 0.25
# From a start far off, the first steps promise little of what later ones bring. Of 306 mirror
# images of made-up lines none that led to another line fell short of its promise four times over.
_FIRST_STEPS, _PROMISE_TRUSTED = 2, 4.0


@dataclass(frozen=True, slots=True)
class Solution:
    """The best unknowns, their normal matrix, and the whitened non-linear part at them.

    ``settled`` is False where the steps ran out a hundredth of an sd or more from the best.
    """

    unknowns: Floats
    cost: float
    normal: Floats
    residuals: Floats
    design: Floats
    steps: int
    settled: bool = True


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
) -> Solution:
    """Minimise |observed - design x|² + |evaluate(x)|² from ``start``.

    ``design`` and ``observed`` are the whitened linear equations and ``normal`` is their
    ``gram_matrix``, formed once. ``evaluate`` returns whitened residuals and design of the rest.
    The step is Gauss-Newton's; Levenberg's damping comes in only after a step that did not lower
    the cost, or by far less than it promised. Where after the first steps no more than several
    times what a step promises would bring the cost down to ``worth_reaching``, the solution is left
    unsettled there.
    """
    unknowns, damping = start, 0.0
    linear = observed - design @ unknowns
    residuals, rest = evaluate(unknowns)
    cost = float(linear @ linear + residuals @ residuals)
    full, gradient = normal + gram_matrix(rest), design.T @ linear + rest.T @ residuals
    steps, gain = 0, math.inf
    while steps < most_steps:
        steps += 1
        damped = full + np.diag(damping * np.diag(full)) if damping else full
        step = np.asarray(np.linalg.solve(damped, gradient))
        undamped = None if damping else step
        if steps > _FIRST_STEPS and not _may_reach(worth_reaching, cost, full, gradient, undamped):
            gain = math.inf
            break
        trial = unknowns + step
        trial_linear = observed - design @ trial
        trial_residuals, trial_rest = evaluate(trial)
        trial_cost = float(trial_linear @ trial_linear + trial_residuals @ trial_residuals)
        gain = float(gradient @ step)
        if not trial_cost <= cost * (1.0 + 1e-14) + 1e-20:  # not a number is no gain either
            if gain < _CLOSE_ENOUGH * (1.0 + cost):
                break
            damping = max(4.0 * damping, _FIRST_DAMPING)
            continue
        predicted = gain + damping * float(np.square(step) @ np.diag(full))
        kept = (cost - trial_cost) / max(predicted, 1e-300)
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
        full, gradient = normal + gram_matrix(rest), design.T @ linear + rest.T @ residuals
        if gain < _CLOSE_ENOUGH * (1.0 + cost):
            break
    return Solution(unknowns, cost, full, residuals, rest, steps, gain < _SETTLED)


def _may_reach(
    worth: float, cost: float, full: Floats, gradient: Floats, step: Floats | None
) -> bool:
    """Say whether several times what an undamped step promises brings a cost down to ``worth``.

    That ``step`` is None where it is not solved for yet.
    """
    if cost <= worth:
        return True
    promised = float(gradient @ (np.linalg.solve(full, gradient) if step is None else step))
    return cost - _PROMISE_TRUSTED * promised <= worth


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
    covariance = invert_normal(found.normal)
    unknowns, residuals, rest = found.unknowns, found.residuals, found.design
    before = math.inf
    for _ in range(MOST_STEPS if found.settled else 0):
        gradient = design.T @ (observed - design @ unknowns) + rest.T @ residuals
        step = covariance @ gradient
        gain = float(gradient @ step)
        if not gain < before:  # as near as rounding lets it come
            break
        unknowns, before = unknowns + step, gain
        residuals, rest = evaluate(unknowns)
    covariance = invert_normal(gram_matrix(design) + gram_matrix(rest))
    sd = np.sqrt(np.diag(covariance))
    factor = _rounded(np.linalg.cholesky(covariance / np.outer(sd, sd)), _SHARE_OF_SD)
    sd = _rounded(sd, _SHARE_OF_SD * _power_of_two(sd))
    covariance = np.asarray((factor @ factor.T) * np.outer(sd, sd))
    unknowns = _rounded(unknowns, _SHARE_OF_SD * _power_of_two(np.sqrt(np.diag(covariance))))
    residuals, rest = evaluate(unknowns)
    residuals = np.concatenate([observed - design @ unknowns, residuals])
    return Settled(
        unknowns,
        covariance,
        _rounded(residuals, _SHARE_OF_RESIDUAL),
        np.concatenate([design, rest]),
    )


def _power_of_two(values: Floats) -> Floats:
    """Return a power of two near each value; the bounds lie at no number anybody writes."""
    return np.exp2(np.floor(np.log2(values) + 0.283))


def _rounded(values: Floats, step: Floats | float) -> Floats:
    return np.asarray(np.round(values / step) * step + 0.0)  # no minus before a zero
