"""What a plan drawing is made of: layers of lines, areas and marks in the site's plane.

A drawing element answers with one ``Layer``; the map page, the entry page and the plan on paper
show layers without knowing what they mean. Coordinates are metres in the site's plane, easting
first; styles are keys of ``style.STYLES``.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.model.arrays import Floats
from lateral_map.model.picture import PlanPicture
from lateral_map.model.results import Report
from lateral_map.words.numbers import rounded
from lateral_map.words.picked import Detail

# How much a caption matters where not all find room. What weighs ALWAYS or more is never left out.
DECIDING_CROSSING: Final = 100
DECIDING_FINDING: Final = 99
CONFLICT: Final = 95
ALWAYS: Final = 90
FINDING: Final = 89  # and one less a finding farther from the line that decides
LAST_FINDING: Final = 60
SUSPECT: Final = 55
BOUNDARY: Final = 50
TERMINAL: Final = 40
NEXT_LOCATE: Final = 35
LOCATE: Final = 30
BEND: Final = 30
OTHER: Final = 20
MINOR: Final = 5


@dataclass(frozen=True, slots=True)
class Line:
    """A line through (n, 2) points in metres; ``caption`` is written along it.

    ``footages_m`` holds each point's footage where the line follows the pipe.
    """

    at_m: Floats
    style: str
    detail: Detail | None = None
    caption: str = ""
    footages_m: Floats | None = None

    def between(self, from_m: float, to_m: float) -> Floats:
        """Return the (n, 2) points between two footages, none where the line has no part there."""
        if self.footages_m is None:
            return self.at_m
        low, high = max(from_m, self.footages_m[0]), min(to_m, self.footages_m[-1])
        if low >= high:
            return self.at_m[:0]
        inside = (self.footages_m > low) & (self.footages_m < high)
        ends = (
            [np.interp(end, self.footages_m, axis) for axis in self.at_m.T] for end in (low, high)
        )
        begin, finish = ends
        return np.array([begin, *self.at_m[inside], finish])


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

    ``caption`` stands beside it, ``short`` in its place where there are too many for it; of
    captions that collide the one of greater ``weight`` is kept.
    """

    easting_m: float
    northing_m: float
    style: str
    caption: str = ""
    detail: Detail | None = None
    turn_deg: float = 0.0
    footage_m: float | None = None
    scale: float = 1.0
    weight: int = OTHER
    short: str = ""


@dataclass(frozen=True, slots=True)
class Underlay:
    """A picture in the plane; ``caption`` says how large it is where it is embedded."""

    picture: PlanPicture
    style: str
    detail: Detail | None = None
    caption: str = ""


@dataclass(frozen=True, slots=True)
class Layer:
    """One switchable layer. ``legend`` pairs a style key with its words."""

    key: str
    title: str
    items: tuple[Line | Area | Mark | Underlay, ...]
    legend: tuple[tuple[str, str], ...] = ()
    shown: bool = True


def line_along(
    report: Report,
    from_m: float,
    to_m: float,
    style: str,
    detail: Detail | None = None,
    caption: str = "",
) -> Line:
    """Return a line that follows the pipe from one footage (m) to another, bends included."""
    nodes = report.route.chain.nodes_m
    footages = np.array([from_m, *nodes[(nodes > from_m) & (nodes < to_m)], to_m])
    return Line(report.route.positions(footages)[:, :2], style, detail, caption, footages)


def rings(polygon: Polygon | MultiPolygon) -> list[list[list[list[float]]]]:
    """Return a polygon as parts of rings of [easting, northing], closing points left out."""
    parts = polygon.geoms if isinstance(polygon, MultiPolygon) else [polygon]
    return [
        [_pairs(np.asarray(ring.coords)[:-1]) for ring in (part.exterior, *part.interiors)]
        for part in parts
        if not part.is_empty
    ]


def _pairs(points_m: ArrayLike) -> list[list[float]]:
    points: list[list[float]] = (np.round(np.asarray(points_m, float)[:, :2], 4) + 0.0).tolist()
    return points


class SceneWriter:
    """Turns layers into plain values for the page, gathering the details they point at.

    ``address`` gives the address a picture is shown from; left out, it is in the page itself.
    """

    def __init__(self, address: Callable[[PlanPicture], str] | None = None) -> None:
        self._address = address or picture_url
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
        written = []
        for layer in layers:
            items: list[dict[str, Any]] = []
            for item in layer.items:
                if isinstance(item, Line):
                    own: dict[str, Any] = {"as": "line", "at": _pairs(item.at_m)}
                elif isinstance(item, Area):
                    own = {"as": "area", "at": rings(item.polygon)}
                elif isinstance(item, Underlay):
                    own = self._underlay(item.picture)
                else:
                    own = {
                        "as": "mark",
                        "at": rounded([item.easting_m, item.northing_m]),
                        "turn": round(item.turn_deg, 2),
                        "scale": item.scale,
                        "weight": item.weight,
                        "short": item.short,
                        "footage": None if item.footage_m is None else round(item.footage_m, 4),
                    }
                detail = self.detail(item.detail)
                items.append(own | {"style": item.style, "detail": detail, "caption": item.caption})
            legend = [list(row) for row in layer.legend]
            shown = {"key": layer.key, "title": layer.title, "shown": layer.shown}
            written.append(shown | {"legend": legend, "items": items})
        return [layer for layer in written if layer["items"]]

    def _underlay(self, picture: PlanPicture) -> dict[str, Any]:
        """Return where a picture's corners lie, north-west, north-east, south-west, and itself."""
        east_m = picture.west_m + picture.width_px * picture.pixel_m
        south_m = picture.north_m - picture.height_px * picture.pixel_m
        corners = [[picture.west_m, picture.north_m], [east_m, picture.north_m],
                   [picture.west_m, south_m]]  # fmt: skip
        first = np.array([picture.west_m, picture.north_m])
        outline = (picture.outline_m - first) / picture.pixel_m * [1.0, -1.0]
        return {
            "as": "picture",
            "at": _pairs(corners),
            "size": [picture.width_px, picture.height_px],
            "outline": [rounded(list(at), 2) for at in outline],
            "src": self._address(picture),
        }


def picture_url(picture: PlanPicture) -> str:
    """Return a picture as an address that holds all of it."""
    return f"data:image/jpeg;base64,{base64.b64encode(picture.jpeg).decode()}"


def bounds_of(points_m: Sequence[Floats], margin_m: float) -> tuple[float, float, float, float]:
    """Return west, south, east, north (m) round stacks of (n, 2) points, with a margin."""
    points = np.concatenate([np.atleast_2d(points) for points in points_m])
    low, high = points.min(axis=0) - margin_m, points.max(axis=0) + margin_m
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])
