"""Volumes and footprints of trenches, and ground swept along a line. Metres, m², m³."""

from __future__ import annotations

from typing import Final, cast

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Point, Polygon

from lateral_map.model.arrays import Floats

Area = Polygon | MultiPolygon

_ARC_STEP_RAD: Final = np.radians(6.0)
_SAME_M: Final = 1e-9
_SLIT_M: Final = 1e-3
_GRID_DECIMALS: Final = 7  # a ten-thousandth of a millimetre


def on_grid(places_m: Floats) -> Floats:
    """Return corners (..., 2) of ground about to be joined, rounded far below what is measured.

    Whether two edges just touch decides how many corners a union has, and a last digit that another
    processor rounds otherwise would decide that.
    """
    return np.round(places_m, _GRID_DECIMALS) + 0.0


def top_width_m(width_m: Floats, depth_m: Floats, slope: float) -> Floats:
    """Return a trench's width at the ground (m), its walls sloped (run over rise) all the way."""
    return np.asarray(width_m + 2.0 * slope * depth_m)


def prismoidal_volume_m3(plan_m: Floats, width_m: Floats, depth_m: Floats, slope: float) -> float:
    """Return the earth (m³) out of a trench with its ends sloped like its walls.

    ``plan_m`` runs along it; ``width_m`` is at the bottom; ``slope`` is run over rise. Between
    neighbours the volume is (A + 4 M + B) L / 6, M the section midway. An end sloped at s takes
    s w D²/2 + 2 s² D³/3 beyond the bottom's end: the integral over the depth of the level slice's
    width, w + 2 s z, times its overhang, s z.
    """
    area = _section(width_m, depth_m, slope)
    middle = _section(_midway(width_m), _midway(depth_m), slope)
    between = np.diff(plan_m) * (area[:-1] + 4.0 * middle + area[1:]) / 6.0
    width, depth = width_m[[0, -1]], depth_m[[0, -1]]
    ends = slope * width * depth**2 / 2.0 + 2.0 * slope**2 * depth**3 / 3.0
    return float(between.sum() + ends.sum())


def _section(width: Floats, depth: Floats, slope: float) -> Floats:
    return np.asarray(width * depth + slope * depth**2)


def _midway(values: Floats) -> Floats:
    return np.asarray((values[:-1] + values[1:]) / 2.0)


def trench_footprint(place_m: Floats, width_m: Floats, depth_m: Floats, slope: float) -> Area:
    """Return the ground a trench opens: (n, 2) places along its middle, widths at the bottom.

    Square at both ends, which sloped walls carry out by slope times depth; round outside a bend.
    """
    half = top_width_m(width_m, depth_m, slope) / 2.0
    return sweep_strip(place_m, half, slope * depth_m[0], slope * depth_m[-1])


def sweep_strip(place_m: Floats, half_m: Floats, before_m: float, beyond_m: float) -> Area:
    """Return the strip of half width ``half_m`` (n,) along (n, 2) places, carried past both ends.

    A strip with no length in plan is the disc about its place.
    """
    step = np.diff(place_m, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    moves = np.flatnonzero(length > _SAME_M)
    if not len(moves):
        return cast("Area", Point(on_grid(place_m[0])).buffer(float(on_grid(half_m).max())))
    ahead = step[moves] / length[moves, None]
    begin, end = place_m[moves], place_m[moves + 1]
    half_begin, half_end = half_m[moves], half_m[moves + 1]
    parts = [_strip(*side) for side in zip(begin, end, ahead, half_begin, half_end, strict=True)]
    first, last = begin[0] - before_m * ahead[0], end[-1] + beyond_m * ahead[-1]
    parts.append(_strip(first, begin[0], ahead[0], half_begin[0], half_begin[0]))
    parts.append(_strip(end[-1], last, ahead[-1], half_end[-1], half_end[-1]))
    for index in range(1, len(begin)):
        # The sector that two strips leave open outside a bend.
        before, after = ahead[index - 1], ahead[index]
        turn = float(np.arctan2(before[0] * after[1] - before[1] * after[0], before @ after))
        if abs(turn) < _SAME_M:
            continue
        side = 1.0 if turn > 0.0 else -1.0  # a turn to the left opens the right
        across = side * _right(before)
        steps = max(int(np.ceil(abs(turn) / _ARC_STEP_RAD)), 1)
        angles = np.arctan2(across[1], across[0]) + np.linspace(0.0, turn, steps + 1)
        ring = half_begin[index] * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
        arc = begin[index] + ring
        parts.append(Polygon(on_grid(np.concatenate([begin[index][None], arc]))))
    union = shapely.union_all([part for part in parts if part.area > 0.0])
    # Where strips meet at a hair's turn, rounding leaves slits thinner than anything measured; a
    # millimetre out and in again closes them, and corners stay corners.
    closed = shapely.buffer(union, _SLIT_M, join_style="mitre")
    closed = shapely.buffer(closed, -_SLIT_M, join_style="mitre")
    return cast("Area", shapely.simplify(closed, _SLIT_M / 10.0))


def _right(ahead: Floats) -> Floats:
    return np.array([ahead[1], -ahead[0]])


def _strip(
    begin: Floats, end: Floats, ahead: Floats, half_begin: float, half_end: float
) -> Polygon:
    right = _right(ahead)
    corners = [
        begin - half_begin * right,
        begin + half_begin * right,
        end + half_end * right,
        end - half_end * right,
    ]
    return Polygon(on_grid(np.array(corners)))
