"""The layers of a programme: which columns each has, and one report's rows in them.

Every row starts with the site it is of. Places are WGS 84 longitude, latitude until the files are
made; a sketch tied to no place on earth gives rows without geometry. Lengths are in one unit for
the whole programme.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.export.features import outer_first, route_feature, telling_record
from lateral_map.export.outward import DEGREE_DECIMALS, Outward, rounded
from lateral_map.export.result import diagnosis_record, told_records
from lateral_map.words.diagnoses import undiagnosed_words

if TYPE_CHECKING:
    from lateral_map.model.results import Report

Kind = Literal["text", "number", "flag"]
Row = tuple[bytes | None, list[Any]]
# A buffer is some hundred corners round; this much either way is far below what it stands for.
_SIMPLER_M: Final = 0.002
_ZLIB_LEVEL: Final = 6


@dataclass(frozen=True, slots=True)
class Table:
    """One layer: its geometry and its columns, after the site that every row starts with."""

    summary: str
    geometry: str
    columns: dict[str, Kind]


def _columns(text: str = "", number: str = "", flag: str = "") -> dict[str, Kind]:
    kinds: tuple[tuple[Kind, str], ...] = (("text", text), ("number", number), ("flag", flag))
    return {column: kind for kind, names in kinds for column in names.split()}


TABLES: Final[dict[str, Table]] = {
    "routes": Table(
        "The pipe from start to end",
        "LineString",
        _columns("name date", "from to plan_length alternatives", "reached_main"),
    ),
    "findings": Table(
        "What the camera saw",
        "Point",
        _columns(
            "finding class severity verdict line answers may_answer surely_answers left_open basis"
            " settle note",
            "number footage to depth_to_invert depth_sd past past_sd probability_past semi_major",
        ),
    ),
    "crossings": Table(
        "Where the route crosses plan lines",
        "Point",
        _columns(
            "line kind note",
            "footage footage_sd depth_to_invert depth_sd angle",
            "decides outward line_extended",
        ),
    ),
    "buffers": Table(
        "Ground to treat as holding the pipe: outside radius, tolerance and 95 % uncertainty",
        "MultiPolygon",
        _columns("rule", "tolerance"),
    ),
    "readings": Table(
        "Every reading against the adjusted route, at its place along the pipe",
        "Point",
        _columns(
            "reading kind of column residual_unit verdict",
            "footage residual standardised redundancy likely_error would_read smallest_seen",
            "set_aside_first",
        ),
    ),
    "diagnoses": Table(
        "What would explain readings that disagree",
        "Point",
        _columns(
            "slip kind of column says",
            "footage size would_read probability likelihood_ratio",
        ),
    ),
}
PAST: Final = ("past", "across", "past from within")
# Kept for finding lots that overlap, not written.
LOT: Final = "lot"
SITE_COLUMNS: Final = _columns(
    "name date state message crs own_unit worst_verdict diagnosis same_as result_sha256",
    "length greatest_depth worst_semi_major findings past dangers locates suspects"
    " degrees_of_freedom p_value alternatives diagnosis_probability seconds memory_mb",
    "diagnosed",
)


def report_rows(report: Report, unit: str, result: dict[str, Any]) -> dict[str, list[Row]]:
    """Return a report's rows in every layer, lengths in ``unit``; ``result`` is its result.json."""
    out = Outward(report.site.frame, unit, report.site.plan)
    route = route_feature(report, out)
    route.record["alternatives"] = len(report.route.alternatives)
    buffer = {"tolerance": out.length(report.dig.tolerance_m), "rule": report.dig.rule}
    whole = shapely.simplify(shapely.force_2d(route.geometry), 1e-4)
    area = shapely.simplify(report.dig.polygon, _SIMPLER_M)
    area = MultiPolygon([area]) if isinstance(area, Polygon) else area
    start = Point(report.stations.easting_m[0], report.stations.northing_m[0])
    told = result if result["unit"] == unit else told_records(report, out)
    diagnoses = told["diagnoses"] or ()

    def at(footages_m: list[float | None]) -> list[Point | None]:
        """Return the places along the pipe, all asked of at once; None where none is given."""
        known = [one for one in footages_m if one is not None]
        places = iter(_points(report.route.positions(known)[:, :2]))
        return [None if one is None else next(places) for one in footages_m]

    read_at = at([one.footage_m for one in report.readings])
    told_at = at([one.slip.footage_m for one in report.diagnoses])
    found_at = [(one.near.easting_m, one.near.northing_m) for one in report.findings]
    crossed_at = [(one.easting_m, one.northing_m) for one in report.crossings]
    findings = [
        record | record["ellipse_95"] | telling_record(one, out)
        for one, record in zip(report.findings, told["findings"], strict=True)
    ]
    rows: dict[str, Sequence[tuple[BaseGeometry | None, dict[str, Any]]]] = {
        "routes": [(whole, route.record)],
        "findings": list(zip(_points(found_at), findings, strict=True)),
        "crossings": list(zip(_points(crossed_at), told["crossings"], strict=True)),
        "buffers": [(outer_first(area), buffer)],
        "readings": [
            (at, one | one["id"]) for at, one in zip(read_at, told["readings"], strict=True)
        ],
        "diagnoses": [
            (at or start, one | (one["id"] or {}))
            for at, one in zip(told_at, diagnoses, strict=True)
        ],
        LOT: [(lot, {})] if (lot := _lot(report, start)) else [],
    }
    shapes = iter(_placed([geometry for found in rows.values() for geometry, _ in found], out))
    columns = {name: table.columns for name, table in TABLES.items()} | {LOT: {}}
    return {
        name: [
            (next(shapes), [_cell(record.get(column)) for column in columns[name]])
            for _, record in found
        ]
        for name, found in rows.items()
    }


def report_facts(report: Report, unit: str) -> dict[str, Any]:
    """Return what is told of a site as a whole, lengths in ``unit``; lon and lat of its start."""
    out, s = Outward(report.site.frame, unit, report.site.plan), report.stations
    verdicts = [one.verdict for one in report.findings if one.verdict]
    worst = next(
        (
            each
            for each in ("across", "past", "past from within", "too close to call", "inside")
            if each in verdicts
        ),
        None,
    )
    first = report.diagnoses[0] if report.diagnoses else None
    facts = {
        "name": report.site.name,
        "date": report.site.date.isoformat() if report.site.date else None,
        "crs": report.site.frame.crs,
        "own_unit": report.site.unit,
        "length": out.length(float(s.footage_m[-1] - s.footage_m[0])),
        "greatest_depth": out.length(float(s.depth_m.max())),
        "worst_semi_major": out.length(float(s.semi_major_m.max())),
        "findings": len(report.findings),
        "past": sum(one in PAST for one in verdicts),
        "dangers": sum(one.finding_class == "danger" for one in report.findings),
        "worst_verdict": worst,
        "locates": len(report.locates),
        "suspects": len(report.suspects),
        "degrees_of_freedom": report.fit.degrees_of_freedom,
        "p_value": rounded(report.fit.p_value, 9),
        "alternatives": len(report.route.alternatives),
        "diagnosed": report.diagnosed,
        "diagnosis": diagnosis_record(first, out)["says"]
        if first
        else undiagnosed_words(report) or None,
        "diagnosis_probability": rounded(first.probability, 6) if first else None,
    }
    place = out.place(float(s.easting_m[0]), float(s.northing_m[0]))
    facts = {key: _cell(value) for key, value in facts.items()}
    return facts | {"lon": place["lon"], "lat": place["lat"]}


def place_order(lon: float | None, lat: float | None) -> int:
    """Return a number that is close for places that are close (Z-order); -1 for no place."""
    if lon is None or lat is None:
        return -1
    east = min(max(int((lon + 180.0) / 360.0 * 2**31), 0), 2**31 - 1)
    north = min(max(int((lat + 90.0) / 180.0 * 2**31), 0), 2**31 - 1)
    woven = 0
    for bit in range(31):
        woven |= (east >> bit & 1) << (2 * bit) | (north >> bit & 1) << (2 * bit + 1)
    return woven


def pack(rows: dict[str, list[Row]]) -> bytes:
    """Return rows as compressed JSON, nothing of which can run when it is read."""
    plain = {
        name: [(shape and base64.b64encode(shape).decode(), cells) for shape, cells in found]
        for name, found in rows.items()
    }
    return zlib.compress(json.dumps(plain, allow_nan=False).encode(), _ZLIB_LEVEL)


def unpack(packed: bytes) -> dict[str, list[Row]]:
    """Return the rows that ``pack`` packed."""
    if not packed:
        return {}
    plain = json.loads(zlib.decompress(packed))
    return {
        name: [(shape and base64.b64decode(shape), cells) for shape, cells in found]
        for name, found in plain.items()
    }


def _lot(report: Report, start: Point) -> Polygon | None:
    """Return the lot that the start or the run lies in, where the plan's lines close round it."""
    lines = [
        LineString(line.vertices_m)
        for line in report.site.plan.lines
        if line.kind in ("property_line", "right_of_way")
    ]
    if not lines:
        return None
    faces: Iterable[BaseGeometry] = shapely.polygonize([shapely.union_all(lines)]).geoms
    return next((one for one in faces if isinstance(one, Polygon) and one.intersects(start)), None)


def _points(places_m: Any) -> list[Point]:
    """Return (n, 2) places as points, made in one call."""
    made: Any = shapely.points(np.reshape(places_m, (-1, 2)))
    return list(made)


def _placed(geometries: list[BaseGeometry | None], out: Outward) -> list[bytes | None]:
    """Return geometries' WKB in longitude, latitude; None for none, and for those of a sketch."""
    there = [one for one in geometries if one is not None and not one.is_empty]
    if out.frame.is_local or not there:
        return [None] * len(geometries)

    def carry(points: NDArray[np.float64]) -> NDArray[np.float64]:
        lonlat = np.column_stack(out.frame.plane_to_lonlat(*points.T) or ())
        return np.asarray(np.round(lonlat, DEGREE_DECIMALS) + 0.0)

    written = iter(shapely.to_wkb(shapely.transform(np.array(there, object), carry)).tolist())
    return [None if one is None or one.is_empty else next(written) for one in geometries]


def _cell(value: Any) -> Any:
    """Return one plain value: lists become text, text is whole Unicode, numbers are finite."""
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode()
    if value is None or isinstance(value, (float, int)):
        return value
    return _cell("; ".join(str(each) for each in value)) if isinstance(value, Sequence) else value
