"""What a plan drawing is made of: layers of lines, areas and marks in the site's plane.

A drawing element answers with one ``Layer``; the map page, the entry page and other drawings show
layers without knowing what they mean. Coordinates are metres in the site's plane, easting first;
styles are keys of ``style.style_table``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.draw.text import rounded

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Detail:
    """What is shown when something is picked: a title, labelled values, and a note."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """A line through (n, 2) points in metres; ``caption`` is written along it."""

    at_m: Floats
    style: str
    detail: Detail | None = None
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Area:
    """A polygon in metres; ``caption`` is written inside it."""

    polygon: Polygon | MultiPolygon
    style: str
    detail: Detail | None = None
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point in metres. ``turn_deg`` turns its shape clockwise; ``footage_m`` links the profile.

    ``caption`` stands beside it; of captions that collide the one of greater ``weight`` is kept.
    """

    easting_m: float
    northing_m: float
    style: str
    caption: str = ""
    detail: Detail | None = None
    turn_deg: float = 0.0
    footage_m: float | None = None
    scale: float = 1.0
    weight: int = 1


@dataclass(frozen=True, slots=True)
class Layer:
    """One switchable layer. ``legend`` pairs a style key with its words."""

    key: str
    title: str
    items: tuple[Line | Area | Mark, ...]
    legend: tuple[tuple[str, str], ...] = ()
    shown: bool = True


def rings(polygon: Polygon | MultiPolygon) -> list[list[list[list[float]]]]:
    """Return a polygon as parts of rings of [easting, northing], closing points left out."""
    parts = polygon.geoms if isinstance(polygon, MultiPolygon) else [polygon]
    return [
        [_pairs(np.asarray(ring.coords)[:-1]) for ring in (part.exterior, *part.interiors)]
        for part in parts
        if not part.is_empty
    ]


def _pairs(points_m: ArrayLike) -> list[list[float]]:
    points = np.round(np.asarray(points_m, float)[:, :2], 4) + 0.0
    return [[float(east), float(north)] for east, north in points]


class SceneWriter:
    """Turns layers into plain values for the page, gathering the details they point at."""

    def __init__(self) -> None:
        self.details: list[dict[str, Any]] = []

    def detail(self, detail: Detail | None) -> int:
        """Keep a detail and return its number, -1 for none."""
        if detail is None:
            return -1
        self.details.append(
            {"title": detail.title, "rows": [list(row) for row in detail.rows], "note": detail.note}
        )
        return len(self.details) - 1

    def layers(self, layers: Iterable[Layer]) -> list[dict[str, Any]]:
        """Return the layers that hold anything, in drawing order."""
        return [self._layer(layer) for layer in layers if layer.items]

    def _layer(self, layer: Layer) -> dict[str, Any]:
        return {
            "key": layer.key,
            "title": layer.title,
            "shown": layer.shown,
            "legend": [list(row) for row in layer.legend],
            "items": [self._item(item) for item in layer.items],
        }

    def _item(self, item: Line | Area | Mark) -> dict[str, Any]:
        common = {
            "style": item.style,
            "detail": self.detail(item.detail),
            "caption": item.caption,
        }
        if isinstance(item, Line):
            return {"as": "line", "at": _pairs(item.at_m), **common}
        if isinstance(item, Area):
            return {"as": "area", "at": rings(item.polygon), **common}
        return {
            "as": "mark",
            "at": rounded([item.easting_m, item.northing_m]),
            "turn": round(item.turn_deg, 2),
            "scale": item.scale,
            "weight": item.weight,
            "footage": None if item.footage_m is None else round(item.footage_m, 4),
            **common,
        }


def bounds_of(points_m: Sequence[Floats], margin_m: float) -> tuple[float, float, float, float]:
    """Return west, south, east, north (m) round stacks of (n, 2) points, with a margin."""
    points = np.concatenate([np.atleast_2d(points) for points in points_m])
    low, high = points.min(axis=0) - margin_m, points.max(axis=0) + margin_m
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
