"""The dig review as files: dig.html, dig.pdf, dig.geojson and refind.csv."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Collection, Iterator
from typing import TYPE_CHECKING, Any, Final

from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from lateral_map.export.features import Feature, outer_first
from lateral_map.export.geojson import collection_text
from lateral_map.export.geopackage import GisLayer, build_geopackage
from lateral_map.export.layer_styles import DIG_LAYER_STYLES
from lateral_map.export.outward import Outward, outward
from lateral_map.export.result import utility_record
from lateral_map.export.station_table import neutralise_formula
from lateral_map.export.workbook import workbook
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
    from lateral_map.model.dig import DigReview, Refind

Record = dict[str, Any]


def dig_files(review: DigReview, *, leave_out: Collection[str] = ()) -> dict[str, bytes]:
    """Return file name -> content of everything the dig review writes but what is left out."""
    from lateral_map.draw.dig.page import dig_page
    from lateral_map.draw.dig.truck import truck_html
    from lateral_map.export.dxf import dig_dxf
    from lateral_map.export.pdf import html_to_pdf

    makers: dict[str, Callable[[], bytes]] = {
        # A lone surrogate, which JSON can smuggle in, has no UTF-8 form and becomes "?".
        "dig.html": lambda: dig_page(review).encode("utf-8", "replace"),
        "dig.geojson": lambda: dig_geojson(review).encode("utf-8", "replace"),
        "dig.gpkg": lambda: dig_geopackage(review),
        "dig.dxf": lambda: dig_dxf(review.report, dig_features(review)),
        "dig.pdf": lambda: html_to_pdf(truck_html(review)),
        "refind.csv": lambda: refind_csv(review),
        "refind.xlsx": lambda: refind_xlsx(review),
    }
    return {name: make() for name, make in makers.items() if name not in leave_out}


def dig_geojson(review: DigReview) -> str:
    """Return the text of dig.geojson: cuts, white lines, tolerance zones, crossings, key points.

    RFC 7946 for a site with a place on earth; a sketch keeps its x, y and says so.
    """
    found = dig_features(review)
    features = ((number, *each) for number, each in enumerate(found, start=1))
    # What could hurt someone heads the file.
    urgent = {"urgent": list(lines)} if (lines := urgent_lines(review)) else {}
    name = f"{review.report.site.name}: dig review"
    return collection_text(name, outward(review.report), features, **urgent)


def dig_features(review: DigReview) -> tuple[tuple[BaseGeometry, Record], ...]:
    """Return everything of the review that has a place, in the site's plane, with its facts."""
    out = outward(review.report)
    dangers = (
        (
            Point(one.near.easting_m, one.near.northing_m),
            {
                "layer": "danger",
                "number": one.number,
                "finding": one.finding.finding,
                "footage": out.length(one.finding.footage_m),
                "words": danger_words(one, out.unit),
            },
        )
        for one in review.report.dangers
    )
    return (
        *dangers,
        *_utilities(review, out),
        *_reaches(review, out),
        *_key_points(review, out),
    )


_SUMMARIES: Final = {
    "spoil set-back": "Where dug earth is kept back from the cut",
    "cut": "The cut, each way its walls may stand",
    "white line": "What to mark white for the one-call ticket",
    "tolerance zone": "Where a utility is dug for by hand",
    "utility crossing": "Where a utility meets the pipe",
    "danger": "Foreign pipes and cables seen in the sewer",
    "key point": "Points to find again by tape",
}


def dig_geopackage(review: DigReview) -> bytes:
    """Return dig.gpkg: the same features as dig.geojson, a styled layer a sort."""
    found = dig_features(review)
    layers = []
    for name, summary in _SUMMARIES.items():
        features = tuple(
            Feature(shape, {key: value for key, value in record.items() if key != "layer"})
            for shape, record in found
            if record["layer"] == name
        )
        layers.append(GisLayer(name.replace(" ", "_"), summary, features, DIG_LAYER_STYLES[name]))
    return build_geopackage("dig.gpkg", [each for each in layers if each.features], review.report)


def _utilities(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    for rank, one in enumerate(review.conflicts, start=1):
        common = {"rank": rank} | utility_record(one, out)
        zone = {
            "depth": out.length(one.depth_m),
            "aside": out.length(one.aside_m),
            "aside_sd": out.length(one.sd_aside_m),
            "hand_dig": _spans(one.hand_dig_m, out),
            "hand_dig_if_sloped": _spans(one.hand_dig_sloped_m, out),
            "in_sloped_cut_of": [reach.name for reach in review.reaches_into(one)],
            "from_trench_side": out.length(one.side_m),
            "tolerance": out.length(review.report.dig.tolerance_m),
        }
        yield outer_first(one.zone), {"layer": "tolerance zone"} | common | zone
        for met in one.crossings:
            crossing = {
                "footage": out.length(met.footage_m),
                "footage_sd": out.length(met.sd_footage_m),
                "passing": met.passing,
                "clearance": out.length(met.clearance_m),
                "clearance_sd": out.length(met.sd_clearance_m),
            }
            place = Point(met.easting_m, met.northing_m)
            yield place, {"layer": "utility crossing"} | common | crossing


def _spans(spans: tuple[tuple[float, float], ...], out: Outward) -> list[list[float | None]]:
    return [[out.length(begin), out.length(end)] for begin, end in spans]


def _reaches(review: DigReview, out: Outward) -> Iterator[tuple[BaseGeometry, Record]]:
    cubic = (out.length(1.0) or 1.0) ** 3
    set_back = out.length(review.rules.value("spoil set-back"))
    for one in review.reaches:
        reach, dug = one.reach, one.excavation
        common = {
            "reach": reach.name,
            "from": out.length(reach.begin.footage_m),
            "from_sd": out.length(reach.begin.sd_footage_m),
            "to": out.length(reach.end.footage_m),
            "to_sd": out.length(reach.end.sd_footage_m),
            "proposed": reach.proposed,
            "reason": reach_reason(reach),
            "dangers": [danger.number for danger in reach.dangers],
            "deepest": out.length(dug.deepest_m),
            "deepest_95": out.length(dug.deepest_high_m),
            "parties": [
                {
                    "party": part.party or None,
                    "may_answer": list(part.parties),
                    "from": out.length(part.from_m),
                    "to": out.length(part.to_m),
                    "probability": round(part.probability, 6),
                }
                for part in reach.parts
            ],
        }
        for ground in one.opened:
            cut, name = ground.cut, ground.cut.walls
            earth = {
                "top_width": out.length(cut.top_width_m),
                "top_width_95": out.length(cut.top_width_high_m),
                "face_95": out.length(cut.face_high_m),
                "bank_volume": round(cut.bank_m3 * cubic, 3),
                "bank_volume_95": [
                    round(v * cubic, 3) for v in (cut.bank_low_m3, cut.bank_high_m3)
                ],
                "loose_volume": [
                    round(v * cubic, 3) for v in (cut.loose_low_m3, cut.loose_high_m3)
                ],
            }
            yield outer_first(cut.footprint), {"layer": "cut", "walls": name} | common | earth
            spoil = {"walls": name, "reach": reach.name, "set_back": set_back}
            yield outer_first(ground.kept_back), {"layer": "spoil set-back"} | spoil
            yield outer_first(ground.outline), {"layer": "white line", "walls": name} | common


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


def refind_xlsx(review: DigReview) -> bytes:
    """Return the re-find sheet as a workbook, which no locale reads wrongly."""
    unit = review.report.site.unit
    numbers = (f"_{unit}", f"_95_{small_unit(unit)}")
    rows = [
        {
            key: float(value) if value and key.endswith(numbers) else value
            for key, value in _refind_row(review, number, one).items()
        }
        for number, one in enumerate(review.refinds, start=1)
    ]
    return workbook({"re-find": rows}, review.report.site.date)


def refind_csv(review: DigReview) -> bytes:
    """Return the re-find sheet as UTF-8 CSV with a byte-order mark, which spreadsheets need.

    Distances stand as numbers in the site's unit and, beside them, as a tape is read.
    """
    rows = [_refind_row(review, number, one) for number, one in enumerate(review.refinds, start=1)]
    text = io.StringIO()
    # The end of the run is always a key point.
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode("utf-8-sig", "replace")


def _refind_row(review: DigReview, number: int, one: Refind) -> Record:
    unit = review.report.site.unit
    small = small_unit(unit)

    def in_unit(value_m: float | None, decimals: int, word: str = unit) -> str:
        return "" if value_m is None else f"{from_metres(value_m, word):z.{decimals}f}"

    def reads(value_m: float | None) -> str:
        return "" if value_m is None else format_tape(value_m, unit)

    row = {
        "number": f"K{number}",
        "key_point": key_name(one.key),
        f"footage_{unit}": in_unit(one.key.footage_m, 2),
    }
    tapes = (*(one.tapes or (None, None)), one.check)
    for name, tape in zip(("tape1", "tape2", "check"), tapes, strict=True):
        away = None if tape is None else tape.distance_m
        row[f"{name}_from"] = "" if tape is None else tape.point
        row |= {f"{name}_{unit}": in_unit(away, 3), f"{name}_reads": reads(away)}
    line = one.line
    row |= {
        f"mirror_gap_{unit}": in_unit(one.mirror_gap_m, 2),
        f"mirror_check_{unit}": in_unit(one.mirror_check_m, 3),
        "mirror_check_reads": reads(one.mirror_check_m),
        "side": side_of_tapes(one),
        "line": line.line if line else "",
        f"past_{unit}": in_unit(line.past_m if line else None, 3),
        f"along_{unit}": in_unit(line.along_m if line else None, 3),
        "along_from": line.along_from if line else "",
        "along_to_the": ("right" if line.to_the_right else "left") if line else "",
        f"invert_depth_{unit}": in_unit(one.depth_m, 2),
        f"invert_depth_95_{unit}": in_unit(TWO_SIDED_95 * one.sd_depth_m, 2),
        f"error_95_{small}": in_unit(one.error_m, 1, small),
        f"taping_alone_95_{small}": in_unit(one.retrace_m, 1, small),
        "warnings": "; ".join(tape_doubts(review, one)),
    }
    words = ("key_point", "tape1_from", "tape2_from", "check_from", "side", "line", "along_from")
    return row | {key: neutralise_formula(row[key]) for key in (*words, "warnings")}
