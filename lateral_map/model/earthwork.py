"""Volumes and footprints of trenches, and ground swept along a line. Metres, m², m³."""

from __future__ import annotations

from typing import Final, cast

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry import MultiPolygon, Point, Polygon

from lateral_map.model.arrays import Floats
from lateral_map.model.walls import WallShape, draw_wall

Area = Polygon | MultiPolygon

_ARC_STEP_RAD: Final = np.radians(6.0)
_SAME_M: Final = 1e-9
_SLIT_M: Final = 1e-3
_CORNERS: Final = 32
# A corridor without any width is no polygon.
_THINNEST_M: Final = 1e-3
# Of slices along a trench's end: far finer than the tenth of a percent that volumes are held to.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)
_GRID_DECIMALS: Final = 7  # a ten-thousandth of a millimetre


def on_grid(places_m: Floats) -> Floats:
    """Return corners (..., 2) of ground about to be joined, rounded far below what is measured.

    Whether two edges just touch decides how many corners a union has, and a last digit that another
    processor rounds otherwise would decide that.
    """
    return np.round(places_m, _GRID_DECIMALS) + 0.0


def corner_depth_m(width_m: Floats, depth_m: Floats, rise: ArrayLike) -> Floats:
    """Return how deep a trench's bottom edge lies below the ground straight above it.

    ``depth_m`` is at the trench's middle; ``rise`` is how the ground rises outwards from there on
    that side, over its run.
    """
    return np.asarray(np.maximum(depth_m + np.asarray(rise, float) * width_m / 2.0, 0.0))


def prismoidal_volume_m3(
    plan_m: Floats,
    width_m: Floats,
    depth_m: Floats,
    shape: WallShape,
    rises: tuple[ArrayLike, ArrayLike] = (0.0, 0.0),
) -> float:
    """Return the earth (m³) out of a trench whose ends stand like its walls.

    ``plan_m`` runs along it; ``width_m`` is at the bottom, ``depth_m`` at the middle; ``rises`` are
    how the ground rises outwards to the left and right. Between neighbours the volume is
    (A + 4 M + B) L / 6, M the section midway: exact for sloped walls where ground and bottom are
    planes, but where a layer of soil begins between the two.
    """
    total = 0.0
    for given in rises:
        rise = np.broadcast_to(np.asarray(given, float), np.shape(depth_m))
        area = _half_section(width_m, depth_m, shape, rise)
        middle = _half_section(_midway(width_m), _midway(depth_m), shape, _midway(rise))
        total += float((np.diff(plan_m) * (area[:-1] + 4.0 * middle + area[1:]) / 6.0).sum())
        total += sum(
            _half_end_m3(float(width_m[i]), float(depth_m[i]), shape, float(rise[i]))
            for i in (0, -1)
        )
    return total


def _half_end_m3(width: float, depth: float, shape: WallShape, rise: float) -> float:
    """Return the earth beyond one end on one side of the middle.

    Slices along the run: before the bottom each is the end wall's own section, out at the side that
    part of it which lies over the side's wall.
    """
    before = width / 4.0 * (1.0 + _NODES)
    own = draw_wall(shape, np.maximum(depth + rise * before, 0.0)).area_m2
    total = float(width / 4.0 * (_WEIGHTS * own).sum())
    corner = max(depth + rise * width / 2.0, 0.0)
    side = draw_wall(shape, corner, rise)
    half = np.diff(side.out_m)[:, None] / 2.0
    out = (side.out_m[:-1] + side.out_m[1:])[:, None] / 2.0 + half * _NODES
    up = (side.up_m[:-1] + side.up_m[1:])[:, None] / 2.0
    up = up + np.diff(side.up_m)[:, None] / 2.0 * _NODES
    over = draw_wall(shape, corner + rise * out).area_above_m2(up)
    return total + float((half * _WEIGHTS * over).sum())


def _half_section(width: Floats, depth: Floats, shape: WallShape, rise: Floats) -> Floats:
    """Return the area (m²) of the trench's section on one side of its middle."""
    wall = draw_wall(shape, corner_depth_m(width, depth, rise), rise)
    return np.maximum(width * depth / 2.0 + rise * width**2 / 8.0, 0.0) + wall.area_m2


def _midway(values: Floats) -> Floats:
    return np.asarray((values[:-1] + values[1:]) / 2.0)


def trench_footprint(
    place_m: Floats,
    width_m: Floats,
    depth_m: Floats,
    shape: WallShape,
    rises: tuple[ArrayLike, ArrayLike] = (0.0, 0.0),
) -> Area:
    """Return the ground a trench opens: (n, 2) places along its middle, widths at the bottom.

    Square at both ends, which are carried out as far as the farther side's wall; round outside a
    bend. ``rises`` are how the ground rises outwards to the left and right.
    """
    out = [
        draw_wall(shape, corner_depth_m(width_m, depth_m, rise), rise).out_m[-1] for rise in rises
    ]
    left, right = (width_m / 2.0 + each for each in out)
    before, beyond = (float(max(each[i] for each in out)) for i in (0, -1))
    return sweep_strip(place_m, left, before, beyond, right)


def sweep_discs(centre_m: Floats, heading_deg: Floats, radius_m: Floats) -> Area:
    """Return the ground swept by a disc that changes its size along a run.

    ``centre_m`` (n, 2) and ``heading_deg`` (n,) are the run, its first and last place carried on
    beyond those that ``radius_m`` (n - 2,) is of. The union of the convex hulls of neighbouring
    discs, each drawn as the polygon round the disc, so that nothing is left out; a flat of it lies
    along the pipe, so that the width is exact.
    """
    radius = np.pad(np.maximum(radius_m, _THINNEST_M), 1, mode="edge")
    angle = np.radians(heading_deg)[:, None] + (np.arange(_CORNERS) + 0.5) * (2 * np.pi / _CORNERS)
    unit = np.stack([np.sin(angle), np.cos(angle)], axis=-1) / np.cos(np.pi / _CORNERS)
    discs = on_grid(centre_m[:, None] + radius[:, None, None] * unit)
    pairs = np.concatenate([discs[:-1], discs[1:]], axis=1)
    # As lines, since only their corners matter to a hull and lines are made in one call.
    hulls = shapely.convex_hull(shapely.linestrings(pairs))
    return cast("Area", shapely.union_all(hulls))


def sweep_strip(
    place_m: Floats,
    half_m: Floats,
    before_m: float,
    beyond_m: float,
    right_m: Floats | None = None,
) -> Area:
    """Return the strip of half width ``half_m`` (n,) along (n, 2) places, carried past both ends.

    ``right_m`` is the half width to the right where it differs from that to the left. A strip with
    no length in plan is the disc about its place.
    """
    sides = np.stack([half_m, half_m if right_m is None else right_m], axis=-1)
    step = np.diff(place_m, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    moves = np.flatnonzero(length > _SAME_M)
    if not len(moves):
        return cast("Area", Point(on_grid(place_m[0])).buffer(float(on_grid(sides).max())))
    ahead = step[moves] / length[moves, None]
    begin, end = place_m[moves], place_m[moves + 1]
    half_begin, half_end = sides[moves], sides[moves + 1]
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
    # Where strips meet at a hair's turn, or change their width at one place, rounding leaves slits
    # and spikes thinner than anything measured; out, in and out again closes and cuts them off, and
    # corners stay corners.
    whole = union
    for by in (_SLIT_M, -2.0 * _SLIT_M, _SLIT_M):
        whole = shapely.buffer(whole, by, join_style="mitre")
    if whole.is_empty:
        whole = union
    return cast("Area", shapely.simplify(whole, _SLIT_M / 10.0))


def _right(ahead: Floats) -> Floats:
    return np.array([ahead[1], -ahead[0]])


def _strip(
    begin: Floats, end: Floats, ahead: Floats, half_begin: Floats, half_end: Floats
) -> Polygon:
    right = _right(ahead)
    corners = [
        begin - half_begin[0] * right,
        begin + half_begin[1] * right,
        end + half_end[1] * right,
        end - half_end[0] * right,
    ]
    return Polygon(on_grid(np.array(corners)))
