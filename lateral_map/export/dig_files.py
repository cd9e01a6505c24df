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
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.units import format_tape, from_metres, small_unit
from lateral_map.words.excavator import (
    key_name,
    reach_reason,
    side_of_tapes,
    tape_doubts,
    urgent_lines,
)
from lateral_map.words.notices import danger_words

if TYPE_CHECKING:
    from lateral_map.model.dig import Cut, DigReview, ReachReview, Refind

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
    # What could hurt someone heads the file.
    if urgent := urgent_lines(review):
        head["urgent"] = list(urgent)
    found = [
        *_dangers(review, out),
        *_utilities(review, out),
        *_reaches(review, out),
        *_key_points(review, out),
    ]
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


def _dangers(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for one in review.report.findings:
        if one.finding_class == "danger":
            record = {
                "layer": "danger",
                "number": one.number,
                "finding": one.finding.finding,
                "footage": out.length(one.finding.footage_m),
                "words": danger_words(one, out.unit),
            }
            yield Point(one.near.easting_m, one.near.northing_m), record


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
        "reason": reach_reason(reach),
        "dangers": [one.number for one in reach.dangers],
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
        "bank_volume_95": [round(v * metre**3, 3) for v in (cut.bank_low_m3, cut.bank_high_m3)],
        "loose_volume": [round(v * metre**3, 3) for v in (cut.loose_low_m3, cut.loose_high_m3)],
    }


def _utilities(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for rank, one in enumerate(review.conflicts, start=1):
        common = {
            "name": one.name,
            "utility": one.utility,
            "rank": rank,
            "in_trench": one.in_trench,
            "relation": one.relation,
        }
        zone = {
            "layer": "tolerance zone",
            "verdict": one.verdict,
            "joins": one.joins,
            "from": out.length(one.from_m),
            "to": out.length(one.to_m),
            "depth": out.length(one.depth_m),
            "depth_known": one.depth_known,
            "clearance": out.length(one.clearance_m),
            "clearance_sd": out.length(one.sd_clearance_m),
            "aside": out.length(one.aside_m),
            "aside_sd": out.length(one.sd_aside_m),
            "hand_dig": [[out.length(m) for m in span] for span in one.hand_dig_m],
            "hand_dig_if_sloped": [[out.length(m) for m in span] for span in one.hand_dig_sloped_m],
            "tolerance": out.length(review.report.dig.tolerance_m),
        }
        yield outer_first(one.zone), zone | common
        for met in one.crossings:
            crossing = {
                "layer": "utility crossing",
                "footage": out.length(met.footage_m),
                "footage_sd": out.length(met.sd_footage_m),
                "passing": met.passing,
                "clearance": out.length(met.clearance_m),
                "clearance_sd": out.length(met.sd_clearance_m),
            }
            yield Point(met.easting_m, met.northing_m), crossing | common


def _key_points(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for number, one in enumerate(review.refinds, start=1):
        tapes = [*one.tapes, *((one.check,) if one.check else ())]
        record = {
            "layer": "key point",
            "number": f"K{number}",
            "name": key_name(one.key),
            "kind": one.key.kind,
            "footage": out.length(one.key.footage_m),
            "invert_depth": out.length(one.depth_m),
            "invert_depth_sd": out.length(one.sd_depth_m),
            "tapes": [{"from": t.point, "distance": out.length(t.distance_m)} for t in tapes],
            "side": side_of_tapes(one),
            "mirror_gap": out.length(one.mirror_gap_m),
            "mirror_check": out.length(one.mirror_check_m),
            "error_95": out.length(one.error_m),
            "mind": list(tape_doubts(review, one)),
        }
        yield Point(one.easting_m, one.northing_m), record


def refind_csv(review: DigReview) -> bytes:
    """Return the re-find sheet as UTF-8 CSV with a byte-order mark, which spreadsheets need.

    Distances stand as numbers in the site's unit and, beside them, as a tape is read.
    """
    unit = review.report.site.unit
    rows = [_refind_row(review, number, one) for number, one in enumerate(review.refinds, start=1)]
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
        "number", "key_point", f"footage_{unit}", *tapes, f"mirror_gap_{unit}",
        f"mirror_check_{unit}", "mirror_check_reads", "side", "line", f"past_{unit}",
        f"along_{unit}", "along_from", "along_to_the", f"invert_depth_{unit}",
        f"invert_depth_95_{unit}", f"error_95_{small}", f"taping_alone_95_{small}", "warnings",
    ]  # fmt: skip


def _refind_row(review: DigReview, number: int, one: Refind) -> Record:
    unit = review.report.site.unit
    small = small_unit(unit)
    tapes = one.tapes or (None, None)
    row: Record = {
        "number": f"K{number}",
        "key_point": neutralise_formula(key_name(one.key)),
        f"footage_{unit}": _number(one.key.footage_m, unit, 2),
        f"mirror_gap_{unit}": _number(one.mirror_gap_m, unit, 2),
        f"mirror_check_{unit}": _number(one.mirror_check_m, unit, 3),
        "mirror_check_reads": (
            "" if one.mirror_check_m is None else format_tape(one.mirror_check_m, unit)
        ),
        "side": neutralise_formula(side_of_tapes(one)),
        f"invert_depth_{unit}": _number(one.depth_m, unit, 2),
        f"invert_depth_95_{unit}": _number(TWO_SIDED_95 * one.sd_depth_m, unit, 2),
        f"error_95_{small}": _number(one.error_m, small, 1),
        f"taping_alone_95_{small}": _number(one.retrace_m, small, 1),
        "warnings": neutralise_formula("; ".join(tape_doubts(review, one))),
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
