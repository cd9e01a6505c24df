"""A plan measured by tape alone: all its measurements together give each point its place.

The same weighted least squares and the same screening as for the route. Where the whole lies and
how it is turned is nobody's reading: the solver holds one point and one direction, and what is
handed on is the covariance of the shape about its own middle (the inner constraints of free
networks, an S-transformation; Baarda 1973, from memory).
"""

from __future__ import annotations

import math

import numpy as np

from lateral_map.adjust.screening import screen_numbers
from lateral_map.adjust.similarity import MOST_TURN_RAD, fit_similarity
from lateral_map.adjust.solve import LeastSquares, Linear, settle, solve_least_squares
from lateral_map.errors import AdjustmentError, Fault
from lateral_map.model.arrays import Floats
from lateral_map.model.sketch import (
    AdjustedSketch,
    KnownPlace,
    Measure,
    SketchCheck,
    SketchNet,
    WorldFit,
)
from lateral_map.model.threads import one_blas_thread

# 1 sd of what is held, far below any tape; and of the width of a tape's end, which keeps the
# covariance of a shape without a place positive definite.
_HELD_M, _HELD_RAD = 1e-4, 1e-5
_TAPE_END_M = 5e-4
_ANGLES = ("turn", "parallel", "azimuth")


@one_blas_thread()
def adjust_sketch(net: SketchNet) -> AdjustedSketch:
    """Return the places that fit all measurements best, with their joint covariance.

    Raises ``AdjustmentError`` where the measurements leave a point undetermined.
    """
    places, size = net.places_m, net.places_m.size
    first = places[0]
    toward = int(np.argmax(np.hypot(*(places - first).T) > 1.0))
    step = places[toward] - first
    held = Measure("azimuth", (0, toward), math.atan2(step[0], step[1]), _HELD_RAD)
    measures = (*net.measures, held)
    design = np.zeros((2, size))
    design[[0, 1], [0, 1]] = 1.0 / _HELD_M
    observed = design @ places.reshape(-1)

    def evaluate(unknowns: Floats) -> tuple[Floats, Floats]:
        at = unknowns.reshape(-1, 2)
        rows = [measure_equation(one, at) for one in measures]
        return np.array([row[0] for row in rows]), np.array([row[1] for row in rows])

    try:
        net_fit = LeastSquares(Linear.of(design), observed, evaluate)
        settled = settle(net_fit, solve_least_squares(net_fit, places.reshape(-1)))
    except np.linalg.LinAlgError:
        problem = "the tapes leave a point of the sketch undetermined"
        remedy = "add a tape to it from another point"
        raise AdjustmentError(Fault(problem, remedy, file="sketch.csv")) from None
    screened = screen_numbers(settled.residuals, settled.design, settled.covariance)[2:]
    checks = [
        SketchCheck(
            one.reading,
            float(residual) * one.sd,
            one.kind in _ANGLES,
            said.standardised,
            said.redundancy,
            # Of several that are off only the first to set aside is believed wrong.
            said.verdict if said.set_aside_first or said.verdict != "suspect" else "good",
        )
        for one, residual, said in zip(measures, settled.residuals[2:], screened, strict=True)
        if one.reading is not None
    ]
    at = settled.unknowns.reshape(-1, 2)
    return AdjustedSketch(
        places_m=at,
        covariance=_about_middle(at, settled.covariance, net.named),
        checks=tuple(checks),
        chi_square=float(settled.residuals @ settled.residuals),
        freedom=len(settled.residuals) - size,
    )


def measure_equation(measure: Measure, at: Floats) -> tuple[float, Floats]:
    """Return one measurement's whitened residual and its row (2n,) of the design; ``at`` (n, 2)."""
    row, points = np.zeros(at.shape), measure.points
    if measure.kind == "distance":
        unit, _, computed = _step(at, points[0], points[1])
        row[points[1]] += unit
        row[points[0]] -= unit
    elif measure.kind in _ANGLES:
        computed = _angle(measure, at, row)
    else:
        unit, right, length = _step(at, points[0], points[1])
        weights = {points[2]: 1.0 - measure.share}
        if measure.share:
            weights[points[3]] = weights.get(points[3], 0.0) + measure.share
        gap = sum(weight * at[index] for index, weight in weights.items()) - at[points[0]]
        along, offset = float(gap @ unit), float(gap @ right)
        computed, normal, lever = (
            (along, unit, offset) if measure.kind == "along" else (offset, right, -along)
        )
        for index, weight in weights.items():
            row[index] += weight * normal
        # Turning the line swings the point's foot by the lever.
        row[points[0]] -= normal + lever / length * right
        row[points[1]] += lever / length * right
    off = measure.value - computed
    if measure.kind in _ANGLES:
        turn = math.pi if measure.kind == "parallel" else 2.0 * math.pi
        off -= turn * round(off / turn)
    return off / measure.sd, row.reshape(-1) / measure.sd


def _angle(measure: Measure, at: Floats, row: Floats) -> float:
    """Return a direction, or the turn from one to another, and add its derivatives to ``row``."""
    points = measure.points
    if measure.kind == "azimuth":
        legs = [(points[0], points[1], 1.0)]
    elif measure.kind == "turn":
        legs = [(points[1], points[2], 1.0), (points[0], points[1], -1.0)]
    else:
        legs = [(points[2], points[3], 1.0), (points[0], points[1], -1.0)]
    computed = 0.0
    for begin, end, sign in legs:
        unit, right, length = _step(at, begin, end)
        computed += sign * math.atan2(unit[0], unit[1])
        row[end] += sign * right / length
        row[begin] -= sign * right / length
    return computed


def _step(at: Floats, begin: int, end: int) -> tuple[Floats, Floats, float]:
    """Return the unit vector from one point to another, that to its right, and the length."""
    step = at[end] - at[begin]
    length = max(float(np.hypot(*step)), 1e-6)
    unit = step / length
    return unit, np.array([unit[1], -unit[0]]), length


def _about_middle(at: Floats, covariance: Floats, named: tuple[int, ...]) -> Floats:
    """Return the covariance of the shape alone, about the middle of its named points."""
    moves = rigid_moves(at - at[list(named)].mean(axis=0))
    chosen = np.zeros((at.size, 1))
    chosen[[2 * index + axis for index in named for axis in (0, 1)]] = 1.0
    among = moves * chosen
    keep = np.eye(at.size) - moves @ np.linalg.solve(among.T @ among, among.T)
    held = keep @ covariance @ keep.T
    return np.asarray((held + held.T) / 2.0 + _TAPE_END_M**2 * np.eye(at.size))


def rigid_moves(at: Floats) -> Floats:
    """Return (2n, 3) what a shift east, a shift north and a clockwise turn do to places (n, 2)."""
    moves = np.zeros((at.size, 3))
    moves[0::2, 0] = moves[1::2, 1] = 1.0
    moves[0::2, 2], moves[1::2, 2] = at[:, 1], -at[:, 0]
    return moves


def fit_to_world(
    adjusted: AdjustedSketch, known: dict[int, tuple[str, float, float, float]]
) -> tuple[AdjustedSketch, WorldFit]:
    """Return the sketch shifted and turned onto points whose coordinates are known.

    ``known`` gives (name, easting, northing, 1 sd an axis), metres, of points by index. Least
    squares with scale held at 1, as ``fit_similarity`` does them. The covariance then holds what
    the place in the world adds. Raises ``AdjustmentError`` where the points lie too close together.
    """
    index = np.array(sorted(known), np.intp)
    target = np.array([known[i][1:3] for i in index])
    sd = np.array([known[i][3] for i in index])
    here = adjusted.places_m[index]
    fit = fit_similarity(here, target, sd, scale_held=True)
    sd_shift = 1.0 / math.sqrt(float((1.0 / sd**2).sum()))
    sd_turn = fit.sd_turn_rad
    if not sd_turn <= MOST_TURN_RAD:
        apart = float(np.hypot(*(here[:, None] - here[None]).reshape(-1, 2).T).max())
        raise AdjustmentError(
            Fault(
                f"the known points lie {apart:.3g} m apart and would turn the sketch by "
                f"{math.degrees(sd_turn):.2g} degrees either way (1 sd)",
                "give known points farther apart, or surer ones",
                file="sketch.csv",
            )
        )
    places = fit.apply(adjusted.places_m)
    spin = np.kron(np.eye(len(places)), fit.turned)
    moves = rigid_moves(places - fit.aim)
    placing = np.diag([sd_shift**2, sd_shift**2, sd_turn**2])
    covariance = spin @ adjusted.covariance @ spin.T + moves @ placing @ moves.T
    left = target - places[index]
    fitted = tuple(
        KnownPlace(known[i][0], (float(off[0]), float(off[1])), known[i][3])
        for i, off in zip(index, left, strict=True)
    )
    moved = AdjustedSketch(
        places, covariance, adjusted.checks, adjusted.chi_square, adjusted.freedom
    )
    return moved, WorldFit(fitted, fit.turn_rad, sd_turn, sd_shift)
