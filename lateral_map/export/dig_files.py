"""The dig review as files: dig.html, dig.geojson and refind.csv."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from lateral_map.export.features import outer_first
from lateral_map.export.geojson import placed_geometry
from lateral_map.export.json_text import lay_out
from lateral_map.export.outward import Outward, outward
from lateral_map.export.station_table import neutralise_formula
from lateral_map.units import format_tape, from_metres, small_unit

if TYPE_CHECKING:
    from lateral_map.model.dig import Cut, DigReview, ReachReview, Refind
    from lateral_map.model.trench import UtilityConflict, UtilityCrossing

Record = dict[str, Any]


def dig_files(review: DigReview) -> dict[str, bytes]:
    """Return file name -> content of everything the dig review writes."""
    from lateral_map.draw.dig.page import dig_page

    return {
        # A lone surrogate, which JSON can smuggle in, has no UTF-8 form and becomes "?".
        "dig.html": dig_page(review).encode("utf-8", "replace"),
        "dig.geojson": dig_geojson(review).encode("utf-8", "replace"),
        "refind.csv": refind_csv(review),
    }


def dig_geojson(review: DigReview) -> str:
    """Return the text of dig.geojson: cuts, white lines, tolerance zones, crossings, key points.

    RFC 7946 for a site with a place on earth; a sketch keeps its x, y and says so.
    """
    out = outward(review.report)
    head: Record = {
        "type": "FeatureCollection",
        "name": f"{review.report.site.name}: dig review",
        "unit": out.unit,
    }
    if out.frame.is_local:
        head["note"] = (
            f"A sketch tied to no place on earth: coordinates are x, y in {out.unit}, "
            "not longitude and latitude."
        )
    found = [*_reaches(review, out), *_utilities(review, out), *_key_points(review, out)]
    features = [
        {
            "type": "Feature",
            "id": f"{record['layer']} {number}",
            "geometry": placed_geometry(geometry, out),
            "properties": record,
        }
        for number, (geometry, record) in enumerate(found, start=1)
    ]
    return lay_out(head | {"features": features})


def _reaches(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for one in review.reaches:
        common = _reach_record(one, out)
        for name, cut in (("shored", one.excavation.shored), ("sloped", one.excavation.sloped)):
            yield (
                outer_first(cut.footprint),
                {"layer": "cut", "walls": name} | common | _cut_record(cut, out),
            )
            yield (
                outer_first(cut.keep_back),
                {
                    "layer": "spoil set-back",
                    "walls": name,
                    "reach": one.reach.name,
                    "set_back": out.length(review.rules.value("spoil set-back")),
                },
            )
        yield outer_first(one.white_lines), {"layer": "white line"} | common


def _reach_record(one: ReachReview, out: Outward) -> Record:
    reach = one.reach
    return {
        "reach": reach.name,
        "from": out.length(reach.begin.footage_m),
        "from_sd": out.length(reach.begin.sd_footage_m),
        "to": out.length(reach.end.footage_m),
        "to_sd": out.length(reach.end.sd_footage_m),
        "proposed": reach.proposed,
        "reason": reach.reason,
        "deepest": out.length(one.excavation.deepest_m),
        "deepest_95": out.length(one.excavation.deepest_high_m),
        "parties": [
            {
                "party": part.party,
                "from": out.length(part.from_m),
                "to": out.length(part.to_m),
                "probability": round(part.probability, 6),
            }
            for part in reach.parts
        ],
    }


def _cut_record(cut: Cut, out: Outward) -> Record:
    metre = out.length(1.0) or 1.0
    return {
        "top_width": out.length(cut.top_width_m),
        "bank_volume": round(cut.bank_m3 * metre**3, 3),
        "loose_volume": [round(v * metre**3, 3) for v in (cut.loose_low_m3, cut.loose_high_m3)],
    }


def _utilities(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for one in review.conflicts:
        yield (
            outer_first(one.zone),
            {"layer": "tolerance zone"} | _conflict_record(review, one, out),
        )
        for met in one.crossings:
            yield Point(met.easting_m, met.northing_m), _crossing_record(one, met, out)


def _conflict_record(review: DigReview, one: UtilityConflict, out: Outward) -> Record:
    return {
        "name": one.name,
        "utility": one.utility,
        "verdict": one.verdict,
        "depth": out.length(one.depth_m),
        "plan_clearance": out.length(one.plan_clearance_m),
        "plan_clearance_95": [
            out.length(one.plan_clearance_low_m),
            out.length(one.plan_clearance_high_m),
        ],
        "space_clearance": out.length(one.space_clearance_m),
        "hand_dig": [[out.length(begin), out.length(end)] for begin, end in one.hand_dig_m],
        "hand_dig_if_sloped": [
            [out.length(begin), out.length(end)] for begin, end in one.hand_dig_sloped_m
        ],
        "tolerance": out.length(review.report.dig.tolerance_m),
    }


def _crossing_record(one: UtilityConflict, met: UtilityCrossing, out: Outward) -> Record:
    return {
        "layer": "utility crossing",
        "name": one.name,
        "utility": one.utility,
        "footage": out.length(met.footage_m),
        "footage_sd": out.length(met.sd_footage_m),
        "passing": met.passing,
        "clearance": out.length(met.clearance_m),
        "clearance_95": [out.length(met.clearance_low_m), out.length(met.clearance_high_m)],
    }


def _key_points(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for number, one in enumerate(review.refinds, start=1):
        yield (
            Point(one.easting_m, one.northing_m),
            {"layer": "key point", "number": f"K{number}"} | _refind_record(one, out),
        )


def _refind_record(one: Refind, out: Outward) -> Record:
    tapes = [*one.tapes, *((one.check,) if one.check else ())]
    return {
        "name": one.key.name,
        "kind": one.key.kind,
        "footage": out.length(one.key.footage_m),
        "invert_depth": out.length(one.depth_m),
        "tapes": [{"from": t.point, "distance": out.length(t.distance_m)} for t in tapes],
        "side": one.side,
        "error_95": out.length(one.error_m),
    }


def refind_csv(review: DigReview) -> bytes:
    """Return the re-find sheet as UTF-8 CSV with a byte-order mark, which spreadsheets need.

    Distances stand as numbers in the site's unit and, beside them, as a tape is read.
    """
    unit = review.report.site.unit
    rows = [_refind_row(number, one, unit) for number, one in enumerate(review.refinds, start=1)]
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=_columns(unit), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8-sig", "replace")


def _columns(unit: str) -> list[str]:
    small = small_unit(unit)
    tapes = [
        name
        for tape in ("tape1", "tape2", "check")
        for name in (f"{tape}_from", f"{tape}_{unit}", f"{tape}_reads")
    ]
    return [
        "number", "key_point", f"footage_{unit}", *tapes, "side", "line", f"past_{unit}",
        f"along_{unit}", "along_from", "along_to_the", f"invert_depth_{unit}",
        f"error_95_{small}", f"taping_alone_95_{small}", "warnings",
    ]  # fmt: skip


def _refind_row(number: int, one: Refind, unit: str) -> Record:
    small = small_unit(unit)
    tapes = (*one.tapes, *((None, None) if not one.tapes else ()))
    row: Record = {
        "number": f"K{number}",
        "key_point": neutralise_formula(one.key.name),
        f"footage_{unit}": _number(one.key.footage_m, unit, 2),
        "side": neutralise_formula(one.side),
        f"invert_depth_{unit}": _number(one.depth_m, unit, 2),
        f"error_95_{small}": _number(one.error_m, small, 1),
        f"taping_alone_95_{small}": _number(one.retrace_m, small, 1),
        "warnings": neutralise_formula("; ".join(one.warnings)),
    }
    for name, tape in zip(("tape1", "tape2", "check"), (*tapes, one.check), strict=True):
        if tape is not None:
            row |= {
                f"{name}_from": neutralise_formula(tape.point),
                f"{name}_{unit}": _number(tape.distance_m, unit, 3),
                f"{name}_reads": format_tape(tape.distance_m, unit),
            }
    if one.line is not None:
        row |= {
            "line": neutralise_formula(one.line.line),
            f"past_{unit}": _number(one.line.past_m, unit, 3),
            f"along_{unit}": _number(one.line.along_m, unit, 3),
            "along_from": neutralise_formula(one.line.along_from),
            "along_to_the": "right" if one.line.to_the_right else "left",
        }
    return row


def _number(value_m: float | None, unit: str, decimals: int) -> str:
    return "" if value_m is None else f"{from_metres(value_m, unit):z.{decimals}f}"
