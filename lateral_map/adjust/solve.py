"""Weighted non-linear least squares: Gauss-Newton, damped only where a step makes things worse."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import blas, lapack

from lateral_map.model.arrays import Floats

Evaluate = Callable[[Floats], tuple[Floats, Floats]]

_MOST_STEPS = 60
# Gain is the squared length of the step in units of 1 sd: this is a millionth of an sd.
_CLOSE_ENOUGH = 1e-13
# A last step of a hundredth of an sd moves nothing that anybody reads.
_SETTLED = 1e-4
_FIRST_DAMPING = 1e-3
# A step that keeps this share of the gain it promised needs no damping.
_KEPT_WELL = 0.25


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


def solve_least_squares(
    design: Floats,
    observed: Floats,
    normal: Floats,
    evaluate: Evaluate,
    start: Floats,
    most_steps: int = _MOST_STEPS,
) -> Solution:
    """Minimise |observed - design x|² + |evaluate(x)|² from ``start``.

    ``design`` and ``observed`` are the whitened linear equations and ``normal`` is their
    ``gram_matrix``, formed once. ``evaluate`` returns whitened residuals and design of the rest.
    The step is Gauss-Newton's; Levenberg's damping comes in only after a step that did not lower
    the cost, or by far less than it promised.
    """
    unknowns, damping = start, 0.0
    linear = observed - design @ unknowns
    residuals, rest = evaluate(unknowns)
    cost = float(linear @ linear + residuals @ residuals)
    steps, gain = 0, math.inf
    while True:
        full = gram_matrix(rest, normal)
        gradient = design.T @ linear + rest.T @ residuals
        if steps >= most_steps:
            break
        steps += 1
        step = _damped_step(full, gradient, damping)
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
        damping = _next_damping(damping, (cost - trial_cost) / max(predicted, 1e-300))
        unknowns, linear, residuals, rest, cost = (
            trial, trial_linear, trial_residuals, trial_rest, trial_cost,
        )  # fmt: skip
        if gain < _CLOSE_ENOUGH * (1.0 + cost):
            full = gram_matrix(rest, normal)
            break
    return Solution(unknowns, cost, full, residuals, rest, steps, gain < _SETTLED)


def _next_damping(damping: float, kept: float) -> float:
    """Return the damping after a step that kept a share of the gain it promised.

    Nielsen's rule (from memory): a step that kept its promise is damped less the next time, down to
    a third, one that kept less than half of it more.
    """
    if not damping:
        return 0.0 if kept > _KEPT_WELL else _FIRST_DAMPING
    damping *= max(1.0 / 3.0, 1.0 - (2.0 * min(kept, 1.0) - 1.0) ** 3)
    return damping if damping > 1e-6 else 0.0


def gram_matrix(design: Floats, onto: Floats | None = None) -> Floats:
    """Return designᵀ design (+ ``onto``); only the lower triangle is meant to be read.

    numpy and scipy each bring a BLAS with threads of its own, and the two waiting on each other
    cost ten times the work. Everything large here is therefore given to scipy's.
    """
    if not len(design):
        return np.zeros((design.shape[1],) * 2) if onto is None else onto
    if onto is None:
        return np.asarray(blas.dsyrk(1.0, design.T, lower=1))
    return np.asarray(blas.dsyrk(1.0, design.T, beta=1.0, c=onto, lower=1))


def _damped_step(normal: Floats, gradient: Floats, damping: float) -> Floats:
    matrix = normal
    if damping:
        matrix = normal.copy()
        matrix[np.diag_indices_from(matrix)] *= 1.0 + damping
    _, step, info = lapack.dposv(matrix, gradient, lower=1)
    if info:
        raise np.linalg.LinAlgError("normal matrix is not positive definite")
    return np.asarray(step)


def invert_normal(normal: Floats) -> Floats:
    """Return the inverse of a symmetric positive definite matrix: the covariance of the unknowns.

    Only the lower triangle is read. Raises ``numpy.linalg.LinAlgError`` where the readings leave
    an unknown undetermined.
    """
    factor, info = lapack.dpotrf(normal, lower=1, clean=1)
    if info:
        raise np.linalg.LinAlgError("normal matrix is not positive definite")
    inverse, _ = lapack.dpotri(factor, lower=1)
    lower = np.tril(inverse)
    return np.asarray(lower + np.tril(lower, -1).T)
