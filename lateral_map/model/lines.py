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


def signed_offsets(vertices_m: Floats, points_m: ArrayLike) -> Offsets:
    """Return signed offsets of points (..., 2) from the line through vertices (n, 2), metres."""
    points = np.asarray(points_m, float)
    flat = points.reshape(-1, 2)
    at_once = max(1, PAIRS_AT_ONCE // len(vertices_m))
    if len(flat) > at_once:
        some = [
            signed_offsets(vertices_m, flat[first : first + at_once])
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
    begin, step = vertices_m[:-1], vertices_m[1:] - vertices_m[:-1]
    length = np.hypot(step[:, 0], step[:, 1])
    unit = step / length[:, None]
    from_begin = flat[:, None, :] - begin
    along = np.einsum("psk,sk->ps", from_begin, unit)
    least, most = np.zeros(len(length)), length.copy()
    if (vertices_m[0] != vertices_m[-1]).any():
        least[0], most[-1] = -np.inf, np.inf
    held = np.minimum(np.maximum(along, least), most)
    away = from_begin - held[:, :, None] * unit
    gap = np.hypot(away[..., 0], away[..., 1])
    # The nearest segment. At a shared corner two are equally near, but only the one the point
    # overruns least has it on the side that the corner's own bisector says.
    tied = gap <= gap.min(axis=1, keepdims=True) + 1e-9
    nearest = np.argmin(np.where(tied, np.abs(along - held), np.inf), axis=1)
    row = np.arange(len(flat))
    away, gap = away[row, nearest], gap[row, nearest][:, None]
    tangent = unit[nearest]
    right = tangent[:, ::-1] * _TO_THE_RIGHT
    side = np.where(np.einsum("pk,pk->p", away, right) < 0.0, -1.0, 1.0)[:, None]
    # On the line itself the gradient of the distance is the perpendicular, not 0/0.
    normal = np.where(gap > 1e-9, side * away / np.maximum(gap, 1e-9), right)
    starts = np.concatenate([[0.0], length.cumsum()])
    along_line = starts[nearest] + held[row, nearest]
    shape = points.shape[:-1]
    return Offsets(
        offset_m=(side * gap).reshape(shape),
        along_m=along_line.reshape(shape),
        normal=normal.reshape(points.shape),
        tangent=tangent.reshape(points.shape),
        extended=((along_line < 0.0) | (along_line > starts[-1])).reshape(shape),
    )


def line_sense(vertices_m: Floats, start_m: ArrayLike) -> float:
    """Return +1 where past the line (seen from the start) is to its right, else -1."""
    return (
        -1.0 if float(signed_offsets(vertices_m, np.asarray(start_m, float)).offset_m) > 0 else 1.0
    )
