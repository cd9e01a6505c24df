"""The map page's data: everything it draws, as plain values ready for JSON.

The page's script draws from this alone, so a page that is already open can be given new data and
redraw itself. All words of other people are in here, and nowhere else in the page.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any, Final

import numpy as np
from shapely import get_coordinates

from lateral_map.draw.plan.layers import LAYER_KEYS, plan_layers
from lateral_map.draw.plan.scene import Layer, SceneWriter, bounds_of
from lateral_map.draw.profile.painter import PageWidth, page_profile
from lateral_map.draw.style import STYLES, style_values
from lateral_map.errors import FrameError
from lateral_map.frame import Frame
from lateral_map.model.arrays import Floats
from lateral_map.model.picture import PlanPicture
from lateral_map.model.results import Report
from lateral_map.model.site import TapeTie
from lateral_map.units import from_metres, metres_per, to_metres
from lateral_map.words.cautions import CAUTIONS
from lateral_map.words.names import CONFIDENCE_WORDS
from lateral_map.words.notices import drawing_notices
from lateral_map.words.numbers import (
    all_apart,
    decimals_for,
    label,
    length,
    plus_minus,
    range_95,
    tidy,
    unit_sentence,
    unit_word,
)
from lateral_map.words.technician import (
    report_tables,
    summary_facts,
    table_values,
)

# In the legend what the drawing is about comes first.
_KEY_ORDER: Final = (
    "route", "corridor", "locates", "findings", "stretches", "crossings", "bends", "footage",
    "next", "boundaries", "responsibility", "dig", "utilities", "alternatives", "points", "ties",
    "buildings", "surfaces", "picture",
)  # fmt: skip

_PLANE_MARGIN_M: Final = 300.0
_ROUND: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
_SCALE_STEPS: Final[dict[str, tuple[tuple[int, str], ...]]] = {
    "m": (*((count, "cm") for count in (5, 10, 20, 50)), *((count, "m") for count in _ROUND)),
    "ft": (*((count, "in") for count in (1, 3, 6)), *((count, "ft") for count in _ROUND)),
    "us_ft": (*((count, "us_in") for count in (1, 3, 6)), *((count, "us_ft") for count in _ROUND)),
}
_BAR_WORDS: Final = {"us_in": "in", "us_ft": "ft"}


def map_data(
    report: Report,
    *,
    extra: Sequence[Layer] = (),
    widths: Sequence[PageWidth] = ("wide", "narrow", "paper"),
    base_map: bool = False,
    address: Callable[[PlanPicture], str] | None = None,
) -> dict[str, Any]:
    """Return everything the map page draws, as plain values.

    ``extra`` layers are drawn over the plan's own; a page that shows them is made with their keys.
    ``widths`` are the profiles wanted: a page that redraws itself asks for the one it shows. The
    map is the site's own plane; with ``base_map`` it is the online map's. ``address`` says where a
    picture is fetched; left out, it is in the data.
    """
    writer = SceneWriter(address)
    layers = writer.layers((*plan_layers(report), *extra))
    site, frame, unit = report.site, report.site.frame, report.site.unit
    parts = [site.date.isoformat()] if site.date else []
    place = "local sketch, tied to no place on earth"
    parts.append(place if frame.is_local else label(frame.crs))
    parts.append("± is the 95 % range")
    data = {
        "site": {"name": tidy(site.name, 120) or "Unnamed site", "line": " · ".join(parts)},
        "unit": {
            "word": unit_word(unit),
            "metres": metres_per(unit),
            "decimals": decimals_for(unit),
        },
        # Nothing may give a sketch its north.
        "north": {
            "letter": "" if frame.is_local else "N",
            "words": north_words(frame),
            "button": "Up as drawn" if frame.is_local else "North up",
        },
        "view": map_view(report),
        "plane": plane_link(frame, bounds_of([_line(report)], _PLANE_MARGIN_M))
        if base_map
        else {"flat": True},
        "scale": [
            {"metres": to_metres(count, name), "words": f"{count} {_BAR_WORDS.get(name, name)}"}
            for count, name in _SCALE_STEPS[unit]
        ],
        "groups": [*LAYER_KEYS, *(layer.key for layer in extra)],
        "layers": layers,
        "key": [*_KEY_ORDER, *(layer.key for layer in extra)],
        "details": writer.details,
        "style": style_values(STYLES),
        "stations": _station_values(report),
        "profiles": {width: page_profile(report, width) for width in widths},
        "facts": list(map(asdict, summary_facts(report))),
        "notices": list(drawing_notices(report)),
        "tables": table_values(report_tables(report)),
        "cautions": list(CAUTIONS),
        "method": f"{unit_sentence(unit)} {CONFIDENCE_WORDS}",
    }
    return dict(all_apart(data))


def data_json(data: Any) -> str:
    """Return data as JSON that cannot end the script element it stands in: ASCII, no < or >."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def map_view(report: Report) -> dict[str, Any]:
    """Return what the map opens on, as points of the plane in metres.

    ``must`` holds the line and the ground to dig in, ``beside`` what is good to see next to it;
    ``along`` is the direction from the run's start to its end, for a plan that is turned to it.
    """
    line, plan = _line(report), report.site.plan
    must = [line]
    if not report.dig.polygon.is_empty:
        hull = report.dig.polygon.convex_hull.simplify(0.1)
        must.append(get_coordinates(hull))
    taped = {
        tie.point
        for locate in report.site.locates
        for tie in locate.ties
        if isinstance(tie, TapeTie)
    }
    beside = [
        [round(point.easting_m, 3), round(point.northing_m, 3)]
        for point in plan.points
        if point.name in taped
    ]
    return {
        "must": view_points(must),
        "beside": beside,
        "along": [round(float(step), 3) for step in line[-1] - line[0]],
    }


def view_points(points_m: Sequence[Floats]) -> list[list[float]]:
    """Return stacks of (n, 2) points in metres as plain values, to the millimetre."""
    return [[round(float(x), 3) + 0.0 for x in at] for at in np.concatenate(points_m)]


def _line(report: Report) -> Floats:
    return np.stack([report.stations.easting_m, report.stations.northing_m], axis=-1)


def north_words(frame: Frame) -> str:
    """Return what the north arrow points to, and where the declared system's grid north lies."""
    if frame.is_local:
        return "Up as drawn on the sketch"
    turn = (frame.convergence_deg + 180.0) % 360.0 - 180.0
    if abs(turn) < 0.005:
        return "True and grid north"
    side = "east" if turn > 0 else "west"
    return f"True north; grid north of {label(frame.crs, 20)} is {abs(turn):.2f}° {side} of it"


def _station_values(report: Report) -> dict[str, Any]:
    stations, unit = report.stations, report.site.unit
    columns = zip(
        stations.easting_m, stations.northing_m, stations.footage_m, stations.elevation_m,
        stations.semi_major_m, stations.semi_minor_m, stations.ellipse_azimuth_deg,
        strict=True,
    )  # fmt: skip
    rows = [tuple(float(value) for value in row) for row in columns]
    return {
        "at": [[round(east, 4) + 0.0, round(north, 4) + 0.0] for east, north, *_ in rows],
        "footage": [round(row[2], 5) for row in rows],
        "elevation": [round(from_metres(row[3], unit), 4) for row in rows],
        "ellipse": [[round(row[4], 4), round(row[5], 4), round(row[6], 2)] for row in rows],
        "names": ["Footage", "Depth to invert", "Across the pipe", "Along it", "Rests on"],
        "words": [
            [
                length(float(stations.footage_m[index]), unit),
                plus_minus(float(stations.depth_m[index]), float(stations.depth_sd_m[index]), unit),
                range_95(float(stations.across_sd_m[index]), unit),
                range_95(float(stations.along_sd_m[index]), unit),
                stations.basis[index],
            ]
            for index in range(len(rows))
        ],
    }


_STEPS: Final = np.linspace(-1.0, 1.0, 7)


def plane_link(frame: Frame, bounds_m: tuple[float, float, float, float]) -> dict[str, Any]:
    """Return what the page needs to place plane metres on the map and back.

    For a map that lies on an online base map; any other *is* the plane. ``bounds_m`` is west,
    south, east, north of the drawing. ``to_lonlat`` and ``to_plane`` hold six coefficients for each
    coordinate, of 1, u, v, u², uv, v², with u, v measured from ``centre_m`` over ``reach_m`` and
    from ``centre_deg`` over ``reach_deg``. Raises ``FrameError`` for a local sketch.
    """
    west, south, east, north = bounds_m
    centre_m = np.array([(west + east) / 2.0, (south + north) / 2.0])
    reach_m = max(east - west, north - south) / 2.0
    steps = np.stack([axis.ravel() for axis in np.meshgrid(_STEPS, _STEPS)], axis=-1)
    grid_m = centre_m + reach_m * steps
    lonlat = frame.plane_to_lonlat(grid_m[:, 0], grid_m[:, 1])
    if lonlat is None:
        raise FrameError("a local sketch is tied to no place on earth, so it lies on no base map")
    grid_deg = np.stack(lonlat, axis=-1)
    centre_deg = grid_deg[len(grid_deg) // 2]
    reach_deg = np.abs(grid_deg - centre_deg).max(axis=0)
    scaled_deg = (grid_deg - centre_deg) / reach_deg
    return {
        "flat": False,
        "centre_m": centre_m.tolist(),
        "reach_m": reach_m,
        "centre_deg": centre_deg.tolist(),
        "reach_deg": reach_deg.tolist(),
        "to_lonlat": _fit(steps, scaled_deg),
        "to_plane": _fit(scaled_deg, steps),
    }


def _fit(source: Floats, target: Floats) -> list[list[float]]:
    u, v = source[:, 0], source[:, 1]
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    solution, *_ = np.linalg.lstsq(terms, target, rcond=None)
    return [[round(float(value), 13) for value in column] for column in solution.T]
