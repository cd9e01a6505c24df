"""The dig review on the plan: cuts, white lines, tolerance zones, conflicts, tapes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.draw.plan.scene import CONFLICT, Area, Layer, Line, Mark
from lateral_map.model.dig import DigReview
from lateral_map.units import format_small, format_tape
from lateral_map.words.dig_picked import (
    crossing_picked,
    cut_picked,
    in_trench_picked,
    key_point_picked,
    spoil_picked,
    white_line_picked,
    zone_picked,
)
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.numbers import label
from lateral_map.words.picked import Detail

# From the ground up. Keys are words of the page's script: letters alone.
DIG_LAYER_KEYS = ("zones", "sloped", "shored", "spoil", "white", "tapes", "keys", "conflicts")


def dig_layers(review: DigReview, walls: Sequence[bool] | None = None) -> tuple[Layer, ...]:
    """Return the dig review's layers, the lowest first.

    ``walls`` says of each reach whether its walls are sloped; without it both ways are outlined.
    """
    unit = review.report.site.unit
    width = format_small(review.report.dig.tolerance_m, unit)
    zones = tuple(
        Area(one.zone, f"zone {one.utility}", zone_picked(review, one))
        for one in review.conflicts
        if not one.zone.is_empty
    )
    zoned = tuple(
        (f"zone {kind}", f"{UTILITY_WORDS[kind]}: {width} each side, and the map's 95 %")
        for kind in dict.fromkeys(one.utility for one in review.conflicts)
    )
    # A mark at each crossing, and where one that lies in the trench comes nearest.
    marks: list[Mark] = []
    for one in review.conflicts:
        places = [
            (met.footage_m, met.easting_m, met.northing_m, crossing_picked(one, met, unit))
            for met in one.crossings
        ]
        if one.in_trench and not places:
            east, north = review.profile.at(one.nearest_footage_m).place_m[0]
            detail = in_trench_picked(one, unit)
            places.append((one.nearest_footage_m, float(east), float(north), detail))
        style, caption = f"conflict {one.utility}", label(one.name, 18)
        marks += [
            Mark(east, north, style, caption, detail, footage_m=footage, weight=CONFLICT)
            for footage, east, north, detail in places
        ]
    kinds = dict.fromkeys(one.utility for one in review.conflicts if one.crossings or one.in_trench)
    marked = tuple(
        (f"conflict {kind}", f"{UTILITY_WORDS[kind]} across the pipe or in the trench")
        for kind in kinds
    )
    return (
        Layer("zones", "Tolerance zones of utilities", zones, zoned),
        _cuts(review, sloped=True),
        _cuts(review, sloped=False),
        *(_outlines(review) if walls is None else _chosen(review, walls)),
        *_refinds(review),
        Layer("conflicts", "Utilities in the way", tuple(marks), marked),
    )


def _cuts(review: DigReview, *, sloped: bool) -> Layer:
    key = "sloped" if sloped else "shored"
    items = []
    for one in review.reaches:
        cut = one.excavation.sloped if sloped else one.excavation.shored
        if not cut.footprint.is_empty:
            items.append(Area(cut.footprint, f"cut {key}", cut_picked(review, one, cut)))
    soils = {one.rules.soil: one.rules.slope for one in review.reaches}
    soils = soils or {review.rules.soil: review.rules.slope}
    words = "Trench with vertical walls, shored or shielded"
    if sloped:
        told = ", ".join(f"{soil} ({slope:g} across to 1 up)" for soil, slope in soils.items())
        words = f"Cut with walls sloped for soil {told}"
    title = "Sloped cut" if sloped else "Shored trench"
    return Layer(key, title, tuple(items), ((f"cut {key}", words),))


def _outlines(review: DigReview) -> tuple[Layer, Layer]:
    """Return how near spoil may lie to either cut, and what to outline in white."""
    away = review.rules.rule("spoil set-back").figure(review.report.site.unit)
    spoil: list[Line] = []
    white: list[Line] = []
    for one in review.reaches:
        cuts = (one.excavation.shored, one.excavation.sloped)
        for cut, kept, ground in zip(cuts, one.kept_back, one.outlines, strict=True):
            detail = spoil_picked(review, one, cut)
            spoil += _lines_round(kept, "spoil line", detail, f"spoil {away} back")
            detail = white_line_picked(review, one, cut, ground)
            white += _lines_round(ground, "white line", detail, "white line")
    near = (("spoil line", f"Spoil no nearer than this: {away} from the white line"),)
    outline = (("white line", "Outline of the dig"),)
    return (
        Layer("spoil", "Spoil set-back", tuple(spoil), near),
        Layer("white", "White lines", tuple(white), outline),
    )


def _chosen(review: DigReview, walls: Sequence[bool]) -> tuple[Layer, Layer]:
    """Return one outline over all reaches to paint white, and one to keep spoil outside."""
    layers = []
    for key, style in (("spoil", "spoil line"), ("white", "white line")):
        chosen = [
            (one.kept_back if key == "spoil" else one.outlines)[int(sloped)]
            for one, sloped in zip(review.reaches, walls, strict=True)
        ]
        joined = cast("Polygon | MultiPolygon", shapely.union_all(chosen)) if chosen else Polygon()
        lines = _lines_round(joined, style, None, style)
        layers.append(Layer(key, style, tuple(lines)))
    return layers[0], layers[1]


def _lines_round(
    area: Polygon | MultiPolygon, style: str, detail: Detail | None, caption: str
) -> list[Line]:
    parts = area.geoms if isinstance(area, MultiPolygon) else [area]
    return [
        Line(np.asarray(part.exterior.coords), style, detail, caption)
        for part in parts
        if not part.is_empty
    ]


def _refinds(review: DigReview) -> tuple[Layer, Layer]:
    """Return the tapes by which key points are found again, and the points."""
    unit = review.report.site.unit
    places = {
        point.name: (point.easting_m, point.northing_m) for point in review.report.site.plan.points
    }
    tapes: list[Line] = []
    keys: list[Mark] = []
    for number, one in enumerate(review.refinds, start=1):
        here = one.easting_m, one.northing_m
        for tape in one.tapes:
            detail, words = key_point_picked(review, one), format_tape(tape.distance_m, unit)
            line = np.array([places[tape.point], here])
            tapes.append(Line(line, "refind tape", detail, words))
        detail, at_m = key_point_picked(review, one), one.key.footage_m
        keys.append(Mark(*here, "key point", f"K{number}", detail, footage_m=at_m))
    numbered = (("key point", "Key point, numbered as on the re-find sheet"),)
    return (
        Layer(
            "tapes", "Tapes to key points", tuple(tapes), (("refind tape", "Tape"),), shown=False
        ),
        Layer("keys", "Key points", tuple(keys), numbered, shown=False),
    )
