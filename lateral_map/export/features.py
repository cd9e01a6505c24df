"""The drawn route as map features: what route.geojson and route.gpkg both hold.

Geometry stays in the site's plane (metres, heights as invert elevations); attributes are already
outward, in the site's unit.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from lateral_map.export.outward import Outward, outward, rounded
from lateral_map.export.result import crossing_record, finding_record, station_records
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.words.names import LOCATE_DOUBTS, LOCATE_STATES
from lateral_map.words.numbers import label

if TYPE_CHECKING:
    from lateral_map.model.arrays import Floats
    from lateral_map.model.results import FindingResult, Report

Record = dict[str, Any]
LayerName = Literal[
    "corridor",
    "buffer",
    "alternatives",
    "route",
    "stretches",
    "stations",
    "crossings",
    "findings",
    "locates",
    "plan_areas",
    "plan_lines",
    "utilities",
    "adjusted_lines",
    "plan_points",
    "answers",
]


@dataclass(frozen=True, slots=True)
class Feature:
    """One thing on the map, in the site's plane."""

    geometry: BaseGeometry
    record: Record


@dataclass(frozen=True, slots=True)
class Layer:
    """Features of one sort; ``summary`` says what they are."""

    name: LayerName
    summary: str
    features: tuple[Feature, ...]


def route_layers(report: Report) -> tuple[Layer, ...]:
    """Return every layer, those to be drawn first at the front."""
    out, dig, s = outward(report), report.dig, report.stations
    heights = report.route.positions([one.near.footage_m for one in report.findings] or [0.0])[:, 2]
    buffer = {"tolerance": out.length(dig.tolerance_m), "rule": dig.rule}
    return (
        Layer(
            "corridor",
            "95 % corridor of the pipe's centreline",
            (Feature(outer_first(dig.corridor), {"probability": 0.95}),),
        ),
        Layer(
            "buffer",
            "Ground to treat as holding the pipe: outside radius, tolerance and 95 % uncertainty",
            (Feature(outer_first(dig.polygon), buffer),),
        ),
        Layer(
            "alternatives",
            "Other routes that fit about as well",
            tuple(
                Feature(LineString(one.line_m), {"number": number})
                for number, one in enumerate(report.route.alternatives, start=1)
            ),
        ),
        Layer("route", "The pipe's invert from start to end", (route_feature(report, out),)),
        Layer("stretches", "The route by what each stretch rests on", _stretches(report, out)),
        Layer(
            "stations",
            "The route at regular footages and events",
            tuple(
                Feature(Point(s.easting_m[i], s.northing_m[i], s.elevation_m[i]), record)
                for i, record in enumerate(station_records(report, out))
            ),
        ),
        Layer(
            "crossings",
            "Where the route crosses plan lines",
            tuple(
                Feature(Point(one.easting_m, one.northing_m), crossing_record(one, out))
                for one in report.crossings
            ),
        ),
        Layer(
            "findings",
            "What the camera saw",
            tuple(
                finding_feature(one, float(height), out)
                for one, height in zip(report.findings, heights, strict=False)
            ),
        ),
        Layer(
            "locates",
            "The pipe where the transmitter was located; set aside: where it was marked",
            _locates(report, out),
        ),
    )


def plan_layers(report: Report) -> tuple[Layer, ...]:
    """Return the plan as mapped and as the readings move it, and who answers, as lines.

    A crossing lies on a line as adjusted, which may be off the same line as mapped.
    """
    out, plan, route = outward(report), report.site.plan, report.route
    lines, moved = [], []
    for line in plan.lines:
        record = {
            "name": line.name,
            "kind": line.kind,
            "accuracy_95": _accuracy(line.sd_m, out),
            "source": line.source,
        }
        drawn = LineString(line.vertices_m)
        lines.append(Feature(drawn, record))
        column = route.layout.line_column(line.name)
        if column is not None:
            shift_m = float(route.unknowns[column])
            # To the right of its direction; a positive curve lies to the left.
            placed = drawn.offset_curve(-shift_m, join_style="mitre") if shift_m else drawn
            moved.append(Feature(placed, {**record, "moved": out.length(shift_m)}))
    utilities = tuple(
        Feature(
            LineString(one.vertices_m),
            {
                "name": one.name,
                "utility": one.utility,
                "depth": out.length(one.depth_m),
                "accuracy_95": _accuracy(one.sd_m, out),
                "source": one.source,
            },
        )
        for one in plan.utilities
    )
    points = tuple(
        Feature(
            Point(one.easting_m, one.northing_m),
            {
                "name": one.name,
                "accuracy_95": _accuracy(one.sd_m, out),
                "elevation": out.length(one.elevation_m),
                "source": one.source,
            },
        )
        for one in plan.points
    )
    areas = tuple(
        Feature(
            outer_first(one.polygon),
            {"name": one.name, "kind": one.kind, "cover": one.cover, "source": one.source},
        )
        for one in plan.areas
    )
    return (
        Layer("plan_areas", "Buildings and surfaces of the plan", areas),
        Layer("plan_lines", "Lines of the plan as mapped", tuple(lines)),
        Layer("utilities", "Utilities of the plan as mapped", utilities),
        Layer("adjusted_lines", "The same lines where the readings put them", tuple(moved)),
        Layer("plan_points", "Points of the plan to tape from", points),
        Layer("answers", "The route by who answers for it", _answers(report, out)),
    )


def _answers(report: Report, out: Outward) -> tuple[Feature, ...]:
    return tuple(
        Feature(
            LineString(_vertices(report, one.from_m, one.to_m)),
            {
                "party": one.party or None,
                "may_answer": list(one.parties),
                "from": out.length(one.from_m),
                "from_sd": out.length(one.sd_from_m),
                "to": out.length(one.to_m),
                "to_sd": out.length(one.sd_to_m),
            },
        )
        for one in report.responsibility
        if one.to_m > one.from_m
    )


def flat_record(record: Mapping[str, Any], prefix: str = "") -> Record:
    """Return a record with one plain value a column: ellipse_95 opens up, lists become text.

    Every file that has columns, properties or data of its own takes them from here.
    """
    flat: Record = {}
    for key, value in record.items():
        if key == "ellipse_95":
            flat |= flat_record(value, f"{prefix}{key}_")
        elif isinstance(value, list) and all(isinstance(each, str) for each in value):
            flat[prefix + key] = "; ".join(value)
        elif isinstance(value, list | dict):
            flat[prefix + key] = json.dumps(value, ensure_ascii=False, allow_nan=False)
        else:
            flat[prefix + key] = value
    return flat


def _accuracy(sd_m: float | None, out: Outward) -> float | None:
    return None if sd_m is None else out.length(TWO_SIDED_95 * sd_m)


def mark_name(layer: LayerName, record: Record) -> str:
    """Return what a locate, crossing or finding is called in files that name their marks."""
    match layer:
        case "locates":
            doubt = LOCATE_DOUBTS.get(record["state"], "")
            return f"Locate {label(record['mark'])}{doubt}"
        case "crossings":
            return f"Crosses {label(record['line'])}"
        case _:
            stop = "STOP " if record["class"] == "danger" else ""
            return f"{stop}#{record['number']} {label(record['finding'])}"


def outer_first(polygon: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    """Return a polygon with outer rings counter-clockwise and holes clockwise."""
    if isinstance(polygon, MultiPolygon):
        return MultiPolygon([orient(part) for part in polygon.geoms])
    return orient(polygon)


def route_feature(report: Report, out: Outward) -> Feature:
    """Return the pipe from start to end as one line."""
    site, footage = report.site, report.stations.footage_m
    line = LineString(_vertices(report, float(footage[0]), float(footage[-1])))
    record = {
        "name": site.name,
        "date": site.date.isoformat() if site.date else None,
        "unit": out.unit,
        "from": out.length(footage[0]),
        "to": out.length(footage[-1]),
        "plan_length": out.length(line.length),
        "reached_main": site.run.reached_main,
        "heights": "invert elevation"
        if report.stations.ground_known
        else "invert below a level ground line; nobody measured the ground",
        "quality_level": "not assigned: an electromagnetic observation",
    }
    return Feature(line, record)


def _vertices(report: Report, from_m: float, to_m: float) -> Floats:
    """Return (n, 3) invert places at two footages and at every station between them."""
    stations = report.stations.footage_m
    between = stations[(stations > from_m) & (stations < to_m)]
    return report.route.positions([from_m, *between, to_m])


def _stretches(report: Report, out: Outward) -> tuple[Feature, ...]:
    return tuple(
        Feature(
            LineString(_vertices(report, stretch.from_m, stretch.to_m)),
            {
                "basis": stretch.basis,
                "from": out.length(stretch.from_m),
                "to": out.length(stretch.to_m),
            },
        )
        for stretch in report.stations.basis_stretches()
    )


def finding_feature(result: FindingResult, height_m: float, out: Outward) -> Feature:
    """Return a finding, with its side of the line that decides as plain attributes."""
    record = finding_record(result, out) | telling_record(result, out)
    return Feature(Point(result.near.easting_m, result.near.northing_m, height_m), record)


def telling_record(result: FindingResult, out: Outward) -> dict[str, Any]:
    """Return a finding's side of the line that decides."""
    side = result.telling
    if side is None:
        return dict.fromkeys(("line", "past", "past_sd", "probability_past"))
    return {
        "line": side.line,
        "past": out.length(side.past_m),
        "past_sd": out.length(side.sd_past_m),
        "probability_past": rounded(side.probability_past, 9),
    }


def _locates(report: Report, out: Outward) -> tuple[Feature, ...]:
    """Return the locates that have a place: those set aside stand where they were marked."""
    features = []
    for result in report.locates:
        if result.easting_m is None or result.northing_m is None:
            continue
        locate = result.locate
        height = float(report.route.positions(result.footage_m)[0, 2])
        features.append(
            Feature(
                Point(result.easting_m, result.northing_m, height),
                {
                    "mark": locate.mark,
                    "footage": out.length(locate.footage_m),
                    "depth_read": out.length(locate.depth_m),
                    "held_above": out.length(locate.held_above_m),
                    "depth_to_invert": out.length(result.depth_m),
                    "state": LOCATE_STATES[result.state],
                    "note": locate.note,
                    "extra": dict(locate.extra),
                },
            )
        )
    return tuple(features)
