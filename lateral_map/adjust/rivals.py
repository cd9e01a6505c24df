"""Other routes that the readings allow: which marks may stand at another place their tapes leave?

Two tapes cross in two places, one tape leaves a circle. About a solved line every such mark has
a place or two more; which of them the pipe could pass through together is a walk along the line
that keeps the cheapest combinations.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from lateral_map.adjust.solve import Solution
from lateral_map.adjust.ties import Ties
from lateral_map.model.arrays import Floats

# Costs beyond the best at which a combination is still worth a solve: twice the 95 % point of
# chi-square with 2 degrees of freedom, as the walk's costs are those of a linear line.
_WORTH_A_TRY = 14.0
_MOST_KEPT = 16
_MOST_TRIED = 4
# Nearer than this a mark's two places are one (0.5 ft).
_SAME_M = 0.15
_SAME_AXIS = 0.1
_MOST_AXES = 3


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A mark and where its tapes let it stand: (h, 2) places, the first being where it is now.

    ``precision`` (h, 2, 2) is what the tapes say there; ``misfit`` (h,) what they cost.
    """

    mark: int
    place_m: Floats
    precision: Floats
    misfit: Floats


def other_places(
    ties: Ties, found: Solution, mark_m: Floats, mark_jacobian: Floats, azimuth: slice
) -> list[Floats]:
    """Return the unknowns to start from that lead to other routes, most likely first.

    ``mark_m`` (m, 2) are the marks of the solved line and ``mark_jacobian`` (m, 2, unknowns) their
    derivatives; ``azimuth`` are the pieces' azimuths among the unknowns. Empty where every mark is
    where it must be.
    """
    doubts = _doubts(ties, mark_m)
    if not doubts:
        return []
    marks = [one.mark for one in doubts]
    guesses = _mirrored_whole(ties, found.unknowns, azimuth, marks)
    # The line by everything but these marks' tapes.
    first = 2 * len(ties.position_mark)
    rows = first + np.flatnonzero(np.isin(ties.tape_mark, marks))
    tapes = found.design[rows]
    without = found.normal.without(rows)
    seen = mark_jacobian[marks].reshape(-1, len(found.unknowns))
    try:
        unknowns = found.unknowns - without.apply_inverse(tapes.T @ found.residuals[rows])
    except np.linalg.LinAlgError:  # without them nothing holds the line
        return guesses
    spread = without.apply_inverse(seen.T)
    free = seen @ spread
    rest = mark_m[marks].ravel() + seen @ (unknowns - found.unknowns)
    for chosen in _walk(doubts, free, rest):
        picked = list(zip(doubts, chosen, strict=True))
        # Each mark's 2 by 2 precision along the diagonal.
        size = len(picked)
        square = np.zeros((size, 2, size, 2))
        square[np.arange(size), :, np.arange(size)] = [one.precision[k] for one, k in picked]
        blocks = square.reshape(2 * size, 2 * size)
        gap = np.ravel([one.place_m[which] for one, which in picked]) - rest
        pulled = np.linalg.solve(np.eye(len(free)) + blocks @ free, blocks @ gap)
        guesses.append(unknowns + spread @ pulled)
    return guesses


def _mirrored_whole(ties: Ties, unknowns: Floats, azimuth: slice, marks: list[int]) -> list[Floats]:
    """Return the whole line's mirror images in the lines through two taped points, all marks' own.

    Linear steps do not reach an image that lies far off.
    """
    axes: list[float] = []
    for mark in marks:
        point = ties.tape_point_m[ties.tape_mark == mark]
        if len(point) != 2:
            continue
        east, north = point[1] - point[0]
        axis = float(np.arctan2(east, north)) % np.pi
        if all(abs((axis - one + np.pi / 2) % np.pi - np.pi / 2) > _SAME_AXIS for one in axes):
            axes.append(axis)
    found = []
    for axis in axes[:_MOST_AXES]:
        image = unknowns.copy()
        image[azimuth] = 2.0 * axis - image[azimuth]
        # Turned back by whole turns, so that a prior about the present azimuth holds there too.
        image[azimuth] += (
            2.0 * np.pi * np.round((unknowns[azimuth][0] - image[azimuth][0]) / (2.0 * np.pi))
        )
        found.append(image)
    return found


def _doubts(ties: Ties, mark_m: Floats) -> list[_Doubt]:
    fixed = set(ties.position_mark.tolist())
    doubts = []
    for mark in range(len(mark_m)):
        own = np.flatnonzero(ties.tape_mark == mark)
        if mark in fixed or not len(own):
            continue
        point, read, sd = (
            ties.tape_point_m[own],
            ties.tape_read_m[own],
            np.hypot(ties.tape_sd_m[own], 0.03),
        )
        # Where the tapes themselves put it, and their mirror images.
        precision = _precision(mark_m[mark], point, sd)
        away = mark_m[mark] - point
        reach = np.hypot(away[:, 0], away[:, 1])
        pull = (away / np.maximum(reach, 1e-9)[:, None] * ((read - reach) / sd**2)[:, None]).sum(0)
        places = [mark_m[mark] + np.linalg.lstsq(precision, pull, rcond=1e-3)[0]]
        for one, other in itertools.combinations(range(len(own)), 2):
            places += _mirror(point[one], point[other], places[0])
        if len(own) == 1:
            # One tape leaves a circle.
            side = places[0] - point[0]
            turned = np.array([-side[1], side[0]])
            places += [point[0] - side, point[0] + turned, point[0] - turned]
        kept, misfit = [places[0]], [_misfit(places[0], point, read, sd)]
        for place in places[1:]:
            cost = _misfit(place, point, read, sd)
            apart = min(np.hypot(*(place - one)) for one in kept)
            if apart > _SAME_M and cost < misfit[0] + _WORTH_A_TRY:
                kept.append(place)
                misfit.append(cost)
        if len(kept) > 1:
            precision = np.array([_precision(one, point, sd) for one in kept])
            doubts.append(_Doubt(mark, np.array(kept), precision, np.array(misfit)))
    return doubts


def _mirror(first: Floats, second: Floats, place: Floats) -> list[Floats]:
    """Return a place's mirror image in the line through two points."""
    along = second - first
    length = float(np.hypot(*along))
    if length == 0.0:
        return []
    unit = along / length
    foot = first + ((place - first) @ unit) * unit
    return [2.0 * foot - place]


def _misfit(place: Floats, point: Floats, read: Floats, sd: Floats) -> float:
    gap = (read - np.hypot(*(place - point).T)) / sd
    return float(gap @ gap)


def _precision(place: Floats, point: Floats, sd: Floats) -> Floats:
    away = place - point
    unit = away / np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)[:, None]
    return np.asarray((unit / np.square(sd)[:, None]).T @ unit)


def _walk(doubts: list[_Doubt], free: Floats, rest: Floats) -> list[tuple[int, ...]]:
    """Return the cheapest combinations of places along the line but the present one."""
    # Of each combination so far: its cost, and the places and covariance, given its choices, of the
    # marks that are still to come.
    chosen: list[tuple[int, ...]] = [()]
    cost, place, spread = np.zeros(1), rest[None], free[None]
    for doubt in doubts:
        precision = doubt.precision
        own = spread[:, None, :2, :2]
        weight = np.linalg.solve(
            np.eye(2) + precision @ own, np.broadcast_to(precision, (len(cost), *precision.shape))
        )
        gap = doubt.place_m - place[:, None, :2]
        total = cost[:, None] + np.einsum("khi,khij,khj->kh", gap, weight, gap) + doubt.misfit
        order = np.argsort(total, axis=None, kind="stable")[:_MOST_KEPT]
        order = order[total.ravel()[order] <= total.min() + 2.0 * _WORTH_A_TRY]
        row, which = np.unravel_index(order, total.shape)
        carried = spread[row, 2:, :2] @ weight[row, which]
        place = place[row, 2:] + np.einsum("kni,ki->kn", carried, gap[row, which])
        spread = spread[row, 2:, 2:] - carried @ spread[row, :2, 2:]
        cost = total[row, which]
        chosen = [(*chosen[r], int(w)) for r, w in zip(row, which, strict=True)]
    now = (0,) * len(doubts)
    likely = [
        one for one, total in zip(chosen, cost, strict=True) if total <= cost[0] + _WORTH_A_TRY
    ]
    return [one for one in likely if one != now][:_MOST_TRIED]
