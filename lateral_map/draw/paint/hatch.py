"""Hatches as plain strokes cut to their area: they print on anything and keep their spacing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from shapely import box as shapely_box
from shapely import prepare
from shapely.affinity import rotate
from shapely.geometry import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.draw.style import Hatch
from lateral_map.model.arrays import Floats

_SPACING_PT: Final[dict[Hatch, float]] = {
    "rising": 5.0, "falling": 5.0, "crossed": 6.0, "level": 6.0,
    "dots": 9.0, "tufts": 15.0, "pebbles": 13.0, "": 0.0,
}  # fmt: skip
_ANGLES_DEG: Final[dict[Hatch, tuple[float, ...]]] = {
    "rising": (45.0,),
    "falling": (-45.0,),
    "crossed": (45.0, -45.0),
    "level": (0.0,),
}
_TUFT: Final = ((-1.8, -2.2), (0.0, -3.2), (1.8, -2.2))


def hatch_lines(area: BaseGeometry, hatch: Hatch) -> list[Floats]:
    """Return the strokes of a hatch inside an area on the paper, as (n, 2) lines in points."""
    if area.is_empty or not hatch:
        return []
    if hatch not in _ANGLES_DEG:
        return list(_stamped(area, hatch))
    strokes: list[Floats] = []
    spacing = _SPACING_PT[hatch]
    for angle_deg in _ANGLES_DEG[hatch]:
        # Every area of a sheet is ruled from the sheet's own corner, so that neighbours line up.
        turned = rotate(area, angle_deg, origin=(0.0, 0.0))
        left, top, right, bottom = turned.bounds
        levels = np.arange(np.floor(top / spacing), np.ceil(bottom / spacing) + 1.0) * spacing
        rules = MultiLineString([[(left - 1.0, y), (right + 1.0, y)] for y in levels])
        cut = rotate(rules.intersection(turned), -angle_deg, origin=(0.0, 0.0))
        strokes += [
            np.asarray(part.coords)
            for part in getattr(cut, "geoms", [cut])
            if isinstance(part, LineString) and not part.is_empty
        ]
    return strokes


def _stamped(area: BaseGeometry, hatch: Hatch) -> Iterator[Floats]:
    """Yield the strokes of a hatch's stamp wherever all of it lies in an area."""
    spacing = _SPACING_PT[hatch]
    left, top, right, bottom = area.bounds
    prepare(area)
    rows = range(int(np.floor(top / spacing)), int(np.ceil(bottom / spacing)) + 1)
    columns = range(int(np.floor(left / spacing)) - 1, int(np.ceil(right / spacing)) + 1)
    for row in rows:
        for column in columns:
            x = (column + 0.5 * (row % 2)) * spacing
            y = row * spacing
            if not area.contains(shapely_box(x - 2.0, y - 3.2, x + 2.0, y + 1.0)):
                continue
            if hatch == "tufts":
                yield from (np.array([[x, y], [x + dx, y + dy]]) for dx, dy in _TUFT)
            elif hatch == "pebbles":
                yield _ring(x, y, 0.9)
                yield _ring(x + 4.0, y + 3.0, 0.5)
            else:
                yield _ring(x, y, 0.45)


def _ring(x: float, y: float, radius: float) -> Floats:
    return np.asarray(Polygon(Point(x, y).buffer(radius, quad_segs=2)).exterior.coords)
