"""The dig review on the plan: cuts, white lines, tolerance zones, conflicts, tapes."""

from __future__ import annotations

from typing import Final, cast

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.draw.plan.scene import CONFLICT, Area, Layer, Line, Mark
from lateral_map.model.dig import DigReview
from lateral_map.model.site import Walls
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
from lateral_map.words.excavator import soil_words
from lateral_map.words.names import UTILITY_WORDS, WALL_WORDS
from lateral_map.words.numbers import label
from lateral_map.words.picked import Detail

# From the ground up. Keys are words of the page's script: letters alone.
CUT_LAYERS: Final[dict[str, Walls]] = {
    "sloped": "sloped", "benched": "benched", "boxed": "box and slope", "shored": "shored",
}  # fmt: skip
DIG_LAYER_KEYS = ("zones", *CUT_LAYERS, "spoil", "white", "tapes", "keys", "conflicts")


def dig_layers(review: DigReview, *, chosen: bool = False) -> tuple[Layer, ...]:
    """Return the dig review's layers, the lowest first.

    Of the cuts every one is shown and outlined, or of each reach only the one that is ``chosen``.
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
        *(_cuts(review, key, walls, chosen=chosen) for key, walls in CUT_LAYERS.items()),
        *(_chosen(review) if chosen else _outlines(review)),
        *_refinds(review),
        Layer("conflicts", "Utilities in the way", tuple(marks), marked),
    )


def _cuts(review: DigReview, key: str, walls: Walls, *, chosen: bool) -> Layer:
    items, style = [], f"cut {walls}"
    for one in review.reaches:
        for cut in one.excavation.cuts:
            wanted = cut.walls == walls and (one.chosen == walls or not chosen)
            if wanted and not cut.footprint.is_empty:
                items.append(Area(cut.footprint, style, cut_picked(review, one, cut)))
    unit = review.report.site.unit
    soils = dict.fromkeys(soil_words(one.rules, unit) for one in review.reaches)
    words = f"Trench with {WALL_WORDS[walls]}"
    if walls != "shored":
        words = f"Cut with {WALL_WORDS[walls]} for soil {'; '.join(soils)}"
    legend = ((style, words),) if items or walls in ("shored", "sloped") else ()
    title = "Shored trench" if walls == "shored" else f"{walls.capitalize()} cut"
    # Benches open the very ground that slopes do. How the dig is to be opened is seen at once.
    meant = any(one.chosen == walls for one in review.reaches)
    shown = chosen or meant or walls in ("shored", "sloped")
    return Layer(key, title, tuple(items), legend, shown=shown)


def _outlines(review: DigReview) -> tuple[Layer, Layer]:
    """Return how near spoil may lie to either cut, and what to outline in white."""
    away = review.rules.rule("spoil set-back").figure(review.report.site.unit)
    spoil: list[Line] = []
    white: list[Line] = []
    for one in review.reaches:
        for ground in one.opened:
            # The ground that benches open is that of the slopes.
            if ground.cut.walls == "benched":
                continue
            detail = spoil_picked(review, one, ground.cut)
            spoil += _lines_round(ground.kept_back, "spoil line", detail, f"spoil {away} back")
            detail = white_line_picked(review, one, ground.cut, ground.outline)
            white += _lines_round(ground.outline, "white line", detail, "white line")
    near = (("spoil line", f"Spoil no nearer than this: {away} from the white line"),)
    outline = (("white line", "Outline of the dig"),)
    return (
        Layer("spoil", "Spoil set-back", tuple(spoil), near),
        Layer("white", "White lines", tuple(white), outline),
    )


def _chosen(review: DigReview) -> tuple[Layer, Layer]:
    """Return one outline over all reaches to keep spoil outside, and one to paint white."""
    grounds = [one.ground_chosen for one in review.reaches]
    layers = []
    for key, style, areas in (
        ("spoil", "spoil line", [one.kept_back for one in grounds]),
        ("white", "white line", [one.outline for one in grounds]),
    ):
        joined = cast("Polygon | MultiPolygon", shapely.union_all(areas)) if areas else Polygon()
        layers.append(Layer(key, style, tuple(_lines_round(joined, style, None, style))))
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
