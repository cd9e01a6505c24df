"""Signed distances to plan lines.

A line's offset is positive to the right of its direction. Beside a segment it is the perpendicular
distance; round an outer corner it is the distance to the corner; beyond the mapped ends the end
segments are taken to go on, so that a curb mapped a little short still has two sides. A line that
ends where it begins goes round a parcel and has no ends to go on from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lateral_map.model.arrays import Floats

# Points against segments at a time: some 100 MB, however many vertices a line has.
PAIRS_AT_ONCE: Final = 1_000_000
_TO_THE_RIGHT: Final = np.array([1.0, -1.0])


@dataclass(frozen=True, slots=True)
class Offsets:
    """Points against one line: everything has the points' leading shape.

    ``offset_m`` is positive to the right; ``along_m`` runs from the first vertex. ``normal``
    (..., 2) is the offset's gradient and ``tangent`` (..., 2) the line's direction at the foot.
    ``extended`` is True where the foot lies beyond the mapped ends.
    """

    offset_m: Floats
    along_m: Floats
    normal: Floats
    tangent: Floats
    extended: NDArray[np.bool_]


class Segments:
    """A line's straight pieces, made ready for points to be measured against.

    From vertices (n, 2): where each piece begins, its unit vector and the one to its right, its
    length, how far along it a foot may lie, and each vertex's distance along the line.
    """

    def __init__(self, vertices_m: Floats) -> None:
        step = vertices_m[1:] - vertices_m[:-1]
        length = np.hypot(step[:, 0], step[:, 1])
        self.begin_m = vertices_m[:-1]
        self.unit = step / length[:, None]
        self.right = self.unit[:, ::-1] * _TO_THE_RIGHT
        self.least_m, self.most_m = np.zeros(len(length)), length.copy()
        if (vertices_m[0] != vertices_m[-1]).any():
            self.least_m[0], self.most_m[-1] = -np.inf, np.inf
        self.along_m = np.concatenate([[0.0], length.cumsum()])


def signed_offsets(line: Floats | Segments, points_m: ArrayLike) -> Offsets:
    """Return signed offsets of points (..., 2) from a line, metres.

    ``line`` is its vertices (n, 2), or its segments where it is asked of again and again.
    """
    points = np.asarray(points_m, float)
    segments = line if isinstance(line, Segments) else Segments(line)
    flat = points.reshape(-1, 2)
    at_once = max(1, PAIRS_AT_ONCE // len(segments.begin_m))
    if len(flat) > at_once:
        some = [
            signed_offsets(segments, flat[first : first + at_once])
            for first in range(0, len(flat), at_once)
        ]
        return Offsets(
            *(
                np.concatenate([getattr(one, name) for one in some]).reshape(
                    points.shape if name in ("normal", "tangent") else points.shape[:-1]
                )
                for name in Offsets.__dataclass_fields__
            )
        )
    nearest, held, away, gap = _nearest_pieces(segments, flat)
    right = segments.right[nearest]
    side = _side_of(away, right)
    # On the line itself the gradient of the distance is the perpendicular, not 0/0.
    outward = side[:, None] * away / np.maximum(gap, 1e-9)[:, None]
    normal = np.where((gap > 1e-9)[:, None], outward, right)
    along_line = segments.along_m[nearest] + held
    shape = points.shape[:-1]
    return Offsets(
        offset_m=(side * gap).reshape(shape),
        along_m=along_line.reshape(shape),
        normal=normal.reshape(points.shape),
        tangent=segments.unit[nearest].reshape(points.shape),
        extended=((along_line < 0.0) | (along_line > segments.along_m[-1])).reshape(shape),
    )


def signed_distances(segments: Segments, points_m: Floats) -> Floats:
    """Return what ``signed_offsets`` calls ``offset_m`` alone, in about half the time."""
    flat = points_m.reshape(-1, 2)
    at_once = max(1, PAIRS_AT_ONCE // len(segments.begin_m))
    found = []
    for first in range(0, len(flat), at_once):
        nearest, _, away, gap = _nearest_pieces(segments, flat[first : first + at_once])
        found.append(_side_of(away, segments.right[nearest]) * gap)
    return np.concatenate(found).reshape(points_m.shape[:-1])


def _nearest_pieces(
    segments: Segments, flat: Floats
) -> tuple[NDArray[np.intp], Floats, Floats, Floats]:
    """Return the segment nearest to each of (p, 2) points, and the foot's place along it.

    Then the way (p, 2) from the foot to the point, and how long it is.
    """
    # East and north by themselves: a sum over two numbers at a time is slow.
    (unit_east, unit_north), begin = segments.unit.T, segments.begin_m
    east, north = flat[:, :1] - begin[:, 0], flat[:, 1:] - begin[:, 1]
    along = east * unit_east + north * unit_north
    held = np.minimum(np.maximum(along, segments.least_m), segments.most_m)
    east -= held * unit_east
    north -= held * unit_north
    gap = np.hypot(east, north)
    row = np.arange(len(flat))
    if len(begin) == 1:
        nearest = np.zeros_like(row)
    else:
        # The nearest segment. At a shared corner two are equally near, but only the one the point
        # overruns least has it on the side that the corner's own bisector says.
        tied = gap <= gap.min(axis=1, keepdims=True) + 1e-9
        nearest = np.where(tied, np.abs(along - held), np.inf).argmin(axis=1)
    at = row, nearest
    return nearest, held[at], np.stack([east[at], north[at]], axis=-1), gap[at]


def _side_of(away: Floats, right: Floats) -> Floats:
    """Return +1 where (p, 2) ways from a line lead to its right, else -1."""
    across = away[:, 0] * right[:, 0] + away[:, 1] * right[:, 1]
    return np.where(across < 0.0, -1.0, 1.0)


# Nearer to a line than this a start is on it, on neither side.
ON_LINE_M: Final = 0.01


def line_sense(line: Floats | Segments, start_m: ArrayLike) -> float:
    """Return +1 where past the line (seen from the start) is to its right, else -1."""
    return -1.0 if float(signed_offsets(line, np.asarray(start_m, float)).offset_m) > 0 else 1.0
