"""Other routes that the readings allow: which marks may stand at another place their tapes leave?

Two tapes cross in two places, one tape leaves a circle. About a solved line every such mark has
a place or two more; which of them the pipe could pass through together is a walk along the line
that keeps the cheapest combinations.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

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
# A direction that tapes tell less of than this share of the best is one they tell nothing of.
_TOLD = 1e-3
_MOST_AXES = 3


_Place = tuple[float, float]


class _Tape(NamedTuple):
    """A tape to a mark: its point, what was read, and the 1 sd of that."""

    east: float
    north: float
    read_m: float
    sd_m: float


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
    ties: Ties,
    found: Solution,
    mark_m: Floats,
    mark_jacobian: Floats,
    azimuth: slice,
    may_fit: Callable[[Floats], bool],
) -> list[Floats]:
    """Return the unknowns to start from that lead to other routes, most likely first.

    ``mark_m`` (m, 2) are the marks of the solved line and ``mark_jacobian`` (m, 2, unknowns) their
    derivatives; ``azimuth`` are the pieces' azimuths among the unknowns. The whole line's mirror
    images must be such as ``may_fit``. Empty where every mark is where it must be.
    """
    doubts = _doubts(ties, mark_m)
    if not doubts:
        return []
    marks = [one.mark for one in doubts]
    images = _mirrored_whole(ties, found.unknowns, azimuth, marks)
    guesses = [image for image in images if may_fit(image)]
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
    tapes = _tapes_of(ties)
    doubts = []
    for mark, (east, north) in enumerate(_where_tapes_put(ties, mark_m).tolist()):
        own = tapes.get(mark, [])
        if mark in fixed or not own:
            continue
        # Where the tapes themselves put it, and their mirror images.
        places = [(east, north)]
        for one, other in itertools.combinations(own, 2):
            places += _mirror(one, other, places[0])
        if len(own) == 1:
            # One tape leaves a circle.
            at_east, at_north, *_ = own[0]
            side, up = east - at_east, north - at_north
            turned = ((-side, -up), (-up, side), (up, -side))
            places += [(at_east + one, at_north + two) for one, two in turned]
        kept, misfit = [places[0]], [_misfit(places[0], own)]
        for place in places[1:]:
            cost = _misfit(place, own)
            apart = min(math.hypot(place[0] - one[0], place[1] - one[1]) for one in kept)
            if apart > _SAME_M and cost < misfit[0] + _WORTH_A_TRY:
                kept.append(place)
                misfit.append(cost)
        if len(kept) > 1:
            precision = np.array([_precision(one, own) for one in kept])
            doubts.append(_Doubt(mark, np.array(kept), precision, np.array(misfit)))
    return doubts


def _tapes_of(ties: Ties) -> dict[int, list[_Tape]]:
    """Return each mark's tapes."""
    tapes: dict[int, list[_Tape]] = {}
    columns = (ties.tape_mark, *ties.tape_point_m.T, ties.tape_read_m, _sd_m(ties))
    for mark, east, north, read, sd in zip(*(one.tolist() for one in columns), strict=True):
        tapes.setdefault(mark, []).append(_Tape(east, north, read, sd))
    return tapes


def _sd_m(ties: Ties) -> Floats:
    return np.hypot(ties.tape_sd_m, 0.03)


def _where_tapes_put(ties: Ties, mark_m: Floats) -> Floats:
    """Return where their own tapes put marks (m, 2), none moved along what no tape tells."""
    away = mark_m[ties.tape_mark] - ties.tape_point_m
    reach = np.hypot(away[:, 0], away[:, 1])
    unit = away / np.maximum(reach, 1e-9)[:, None]
    precision, pull = np.zeros((len(mark_m), 2, 2)), np.zeros((len(mark_m), 2))
    weighed = unit / np.square(_sd_m(ties))[:, None]
    np.add.at(precision, ties.tape_mark, weighed[:, :, None] * unit[:, None, :])
    np.add.at(pull, ties.tape_mark, weighed * (ties.tape_read_m - reach)[:, None])
    values, vectors = np.linalg.eigh(precision)
    told = values > _TOLD * values[:, 1:]
    along = np.einsum("kij,ki->kj", vectors, pull) / np.where(told, values, np.inf)
    return np.asarray(mark_m + np.einsum("kij,kj->ki", vectors, along))


def _mirror(first: _Tape, second: _Tape, place: _Place) -> list[_Place]:
    """Return a place's mirror image in the line through two tapes' points."""
    east, north = second.east - first.east, second.north - first.north
    square = east * east + north * north
    if square == 0.0:
        return []
    share = ((place[0] - first.east) * east + (place[1] - first.north) * north) / square
    foot = first.east + share * east, first.north + share * north
    return [(2.0 * foot[0] - place[0], 2.0 * foot[1] - place[1])]


def _misfit(place: _Place, tapes: list[_Tape]) -> float:
    reaches = (math.hypot(place[0] - one.east, place[1] - one.north) for one in tapes)
    return sum(
        ((one.read_m - reach) / one.sd_m) ** 2 for one, reach in zip(tapes, reaches, strict=True)
    )


def _precision(place: _Place, tapes: list[_Tape]) -> list[list[float]]:
    east_east = east_north = north_north = 0.0
    for one in tapes:
        east, north = place[0] - one.east, place[1] - one.north
        scale = max(math.hypot(east, north), 1e-9) * one.sd_m
        east, north = east / scale, north / scale
        east_east += east * east
        east_north += east * north
        north_north += north * north
    return [[east_east, east_north], [east_north, north_north]]


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
