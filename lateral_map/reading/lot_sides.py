"""A lot's outline broken into sides, and which of them front a street.

A street is often no feature but the gap between plots: its edge is the lot's edge that no other
plot shares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.model.arrays import Floats

# A plot's edge this near another plot's is one edge drawn twice.
_SHARED_M: Final = 0.3
_SIMPLER_M: Final = 0.15
CORNER_DEG: Final = 30.0
# A street's middle lies no farther from a lot's edge than this.
_STREET_M: Final = 40.0
_LEAST_EDGE_M, _LEAST_SIDE_M = 2.0, 1.0
# The cosine of the most that a street's direction may be off straight out from a side.
_LEAST_BEFORE: Final = 0.5
_MOST_OPEN: Final = 0.7
# Sides that look out within this of each other, with no more of jogs between, are one front.
_ONE_FRONT_DEG, _DEEPEST_JOG_M = 35.0, 12.0
_SIDES: Final = ("north", "east", "south", "west")


def break_ring(ring: Floats) -> list[Floats]:
    """Return a closed outline's sides (k, 2) between its corners, walked clockwise.

    Vertices nobody would call a corner stay within their side; an outline of fewer than two corners
    is broken at its two farthest places, so that no side is closed.
    """
    points = outline(ring)
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    turned = np.abs(turns_deg(points - before, after - points))
    corners = np.flatnonzero(turned > CORNER_DEG)
    if len(corners) < 2:
        apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
        corners = np.sort(np.array(np.unravel_index(int(apart.argmax()), apart.shape)))
    sides = []
    for begin, end in zip(corners, [*corners[1:], corners[0] + len(points)], strict=True):
        sides.append(points[np.arange(begin, end + 1) % len(points)])
    return sides


def outline(ring: Floats) -> Floats:
    """Return an outline's distinct points clockwise, simplified unless it would lose its shape.

    Where a ring closes, simplifying may leave a vertex farther off than was allowed.
    """
    whole = Polygon(ring)
    simple = (
        Polygon(shapely.get_coordinates(whole.simplify(_SIMPLER_M))) if len(ring) > 4 else whole
    )
    moved: Any = simple.exterior.hausdorff_distance(whole.exterior)
    if abs(simple.area - whole.area) > 0.02 * whole.area or moved > _SIMPLER_M:
        simple = whole
    points: Floats = shapely.get_coordinates(simple.exterior)[:-1]
    return points[::-1] if simple.exterior.is_ccw else points


def turns_deg(into: Floats, out_of: Floats) -> Floats:
    """Return the degrees turned from one step to the next, to the right positive."""
    cross = into[:, 1] * out_of[:, 0] - into[:, 0] * out_of[:, 1]
    return np.asarray(np.degrees(np.arctan2(cross, (into * out_of).sum(axis=1))))


def azimuth_deg(step: Floats) -> float:
    """Return a step's direction in the plane, clockwise from its north."""
    return math.degrees(math.atan2(step[0], step[1])) % 360.0


def _out_of(side: Floats) -> Floats:
    """Return the unit vector out of an outline walked clockwise: to the left of its side."""
    step = side[-1] - side[0]
    return np.array([-step[1], step[0]]) / max(float(np.hypot(*step)), 1e-9)


def looks_to(side: Floats) -> str:
    """Return the quarter of the compass that a side looks out to."""
    return _SIDES[round(azimuth_deg(_out_of(side)) / 90.0) % 4]


def street_fronts(
    lot: Polygon,
    sides: Sequence[Floats],
    others: Sequence[BaseGeometry],
    streets: Sequence[BaseGeometry] | None,
) -> list[list[int]] | None:
    """Return the lot's fronts on a street, each as its sides in a row; None where it is not plain.

    A front is shared with no other plot and looks out on a street. A corner lot has two of them;
    one with other plots all round has none. ``streets`` is None where nobody gave a layer of them:
    then one open side is plain, and nothing else.
    """
    walled = shapely.union_all([Polygon(), *shapely.buffer(list(others), _SHARED_M)])
    open_m = [float(LineString(side).difference(walled).length) for side in sides]
    wide = [
        index
        for index, side in enumerate(sides)
        if open_m[index] >= max(_LEAST_SIDE_M, 0.5 * LineString(side).length)
    ]
    if streets is None:
        return [wide] if len(wide) == 1 and open_m[wide[0]] >= _MOST_OPEN * sum(open_m) else None
    if sum(open_m) < _LEAST_EDGE_M:
        return []
    plots = shapely.union_all([lot, *others])
    roads = shapely.union_all([LineString(), *streets])
    found = [one for one in wide if _looks_out(LineString(sides[one]), roads, plots)]
    if sum(open_m[one] for one in found) < _MOST_OPEN * sum(open_m):
        return None
    return _in_rows(sides, found)


def _looks_out(side: LineString, roads: BaseGeometry, plots: BaseGeometry) -> bool:
    """Say whether the nearest street from a side's middle is near, before it, no plot between.

    A street round the corner is none that the side looks out on.
    """
    if roads.is_empty:
        return False
    toward: Any = shapely.shortest_line(side.interpolate(0.5, normalized=True), roads)
    ends = shapely.get_coordinates(toward)
    before = _out_of(shapely.get_coordinates(side)) @ (ends[1] - ends[0])
    if toward.length > _STREET_M or before < _LEAST_BEFORE * toward.length:
        return False
    return bool(toward.intersection(plots).length <= 1.0)


def _in_rows(sides: Sequence[Floats], found: Sequence[int]) -> list[list[int]]:
    """Return sides that make up one front together, the jogs between them taken in."""
    count = len(sides)
    length = [LineString(side).length for side in sides]
    facing = [azimuth_deg(_out_of(side)) for side in sides]

    def jogs(one: int, after: int) -> list[int]:
        return [(one + step) % count for step in range(1, (after - one) % count)]

    def goes_on(one: int, after: int) -> bool:
        turned = abs((facing[after] - facing[one] + 180.0) % 360.0 - 180.0)
        between = sum(length[index] for index in jogs(one, after))
        return one != after and turned < _ONE_FRONT_DEG and between <= _DEEPEST_JOG_M

    after = dict(zip(found, [*found[1:], *found[:1]], strict=True))
    ends = [one for one in found if not goes_on(one, after[one])] or list(found[-1:])
    rows = []
    for begin, end in zip([ends[-1], *ends[:-1]], ends, strict=True):
        row, one = [], after[begin]
        while one != end:
            row += [one, *jogs(one, after[one])]
            one = after[one]
        rows.append([*row, end])
    return rows
