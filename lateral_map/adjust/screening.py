"""Which readings the rest of the site checks, and which it disagrees with."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from lateral_map.model.results import Fit, ReadingCheck, ReadingVerdict
from lateral_map.model.route import Observation, Route

Floats = NDArray[np.float64]

# Two-sided 0.1 %: the usual rejection limit of a single standardised residual (Baarda).
SUSPECT_BEYOND = 3.29
# Below this share nothing but the reading itself fixes it, and a blunder would not show.
UNCHECKED_BELOW = 0.05


def measure_fit(route: Route) -> Fit:
    """Return the chi-square of the whole adjustment and the chance of a worse one."""
    freedom = route.degrees_of_freedom
    return Fit(
        observations=len(route.residuals),
        unknowns=route.layout.size,
        degrees_of_freedom=freedom,
        chi_square=route.chi_square,
        p_value=float(chi2.sf(route.chi_square, freedom)) if freedom > 0 else 1.0,
    )


def check_readings(route: Route) -> tuple[ReadingCheck, ...]:
    """Return every reading's residual, standardised residual, redundancy and verdict.

    The standardised residual tests a blunder in that reading alone: hᵀr / sqrt(hᵀRh), h the
    blunder's mark on the whitened residuals r and R their cofactor (Baarda's w for uncorrelated
    readings). A two-dimensional reading's chi-square is given as the normal deviate of equal
    probability. Readings with |w| > 3.29 are suspect; those nothing checks are unchecked.
    """
    blocks, gram, cofactor, score = _blunder_space(route)
    deviate = [_deviate(cofactor, score, block) for block in blocks]
    redundancy = [_redundancy(cofactor, gram, block) for block in blocks]
    first = _set_aside_in_turn(blocks, cofactor, score, redundancy)
    checks = []
    for index, observation in enumerate(route.observations):
        residual = observation.recover @ route.residuals[observation.rows]
        size = float(residual[0]) if len(residual) == 1 else float(np.hypot(*residual))
        checked = redundancy[index] >= UNCHECKED_BELOW
        standardised = float(np.copysign(deviate[index], size)) if checked else 0.0
        checks.append(
            ReadingCheck(
                reading=observation.reading,
                residual=_as_read(size, observation),
                is_angle=observation.is_angle,
                standardised=standardised,
                redundancy=redundancy[index],
                verdict=_verdict(checked, standardised),
                set_aside_first=index in first,
                locate=observation.locate,
                footage_m=observation.footage_m,
                likely_error=_as_read(_likely_error(cofactor, score, blocks[index]), observation)
                if checked
                else 0.0,
            )
        )
    return tuple(checks)


def _verdict(checked: bool, standardised: float) -> ReadingVerdict:
    if not checked:
        return "unchecked"
    return "suspect" if abs(standardised) > SUSPECT_BEYOND else "good"


def _blunder_space(route: Route) -> tuple[list[slice], Floats, Floats, Floats]:
    """Return each reading's columns, HᵀH, HᵀRH and Hᵀr for all blunder signatures H."""
    widths = [one.signature.shape[1] for one in route.observations]
    ends = np.cumsum(widths)
    blocks = [slice(int(end - width), int(end)) for end, width in zip(ends, widths, strict=True)]
    signature = np.zeros((len(route.residuals), int(ends[-1]) if widths else 0))
    for block, one in zip(blocks, route.observations, strict=True):
        signature[one.rows, block] = one.signature
    gram = signature.T @ signature
    shadow = route.design.T @ signature
    cofactor = gram - shadow.T @ route.covariance @ shadow
    return blocks, gram, cofactor, signature.T @ route.residuals


def _deviate(cofactor: Floats, score: Floats, block: slice) -> float:
    """Return the normal deviate as improbable as the block's chi-square."""
    own = cofactor[block, block]
    if np.min(np.linalg.eigvalsh(own)) <= 1e-12 * max(float(np.trace(own)), 1e-300):
        return 0.0
    statistic = float(score[block] @ np.linalg.solve(own, score[block]))
    freedom = len(own)
    if freedom == 1:
        return float(np.sqrt(statistic))
    # In logarithms, so that a gross blunder's deviate stays finite.
    return float(-norm.ppf(np.exp(max(chi2.logsf(statistic, freedom), -700.0)) / 2.0))


def _likely_error(cofactor: Floats, score: Floats, block: slice) -> float:
    """Return the best estimate of a mistake in one reading, all others being right."""
    size = np.linalg.solve(cofactor[block, block], score[block])
    return float(size[0]) if len(size) == 1 else float(np.hypot(*size))


def _as_read(value: float, observation: Observation) -> float:
    return float(np.degrees(value)) if observation.is_angle else value


def _redundancy(cofactor: Floats, gram: Floats, block: slice) -> float:
    own = float(np.trace(cofactor[block, block]))
    return float(np.clip(own / float(np.trace(gram[block, block])), 0.0, 1.0))


def _set_aside_in_turn(
    blocks: list[slice], cofactor: Floats, score: Floats, redundancy: list[float]
) -> set[int]:
    """Return the readings which, set aside one after the other, leave no suspect.

    One blunder makes many residuals large; only the largest is believed each time, and the rest are
    judged anew without it.
    """
    cofactor, score = cofactor.copy(), score.copy()
    chosen: set[int] = set()
    checked = [i for i, share in enumerate(redundancy) if share >= UNCHECKED_BELOW]
    while len(chosen) < len(checked):
        deviate = {i: _deviate(cofactor, score, blocks[i]) for i in checked if i not in chosen}
        worst = max(deviate, key=lambda i: deviate[i])
        if deviate[worst] <= SUSPECT_BEYOND:
            break
        chosen.add(worst)
        block = blocks[worst]
        gain = np.linalg.solve(cofactor[block, block], cofactor[block, :])
        score = score - gain.T @ score[block]
        cofactor = cofactor - cofactor[:, block] @ gain
    return chosen
