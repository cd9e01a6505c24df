"""The dig review on the plan: cuts, white lines, tolerance zones, conflicts, tapes."""

from __future__ import annotations

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.draw.plan.scene import CONFLICT, Area, Layer, Line, Mark
from lateral_map.model.dig import Cut, DigReview, Quantity, ReachReview, Refind
from lateral_map.model.site import RateItem
from lateral_map.model.trench import UtilityConflict
from lateral_map.units import format_area, format_small, format_tape
from lateral_map.words.excavator import (
    clearance_words,
    crossing_words,
    key_name,
    lies_words,
    mirror_words,
    quantity_words,
    spans_words,
    tape_doubts,
    trench_words,
)
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.notices import as_sentence
from lateral_map.words.numbers import label, length, plus_minus, tidy
from lateral_map.words.picked import Detail

_EXPOSE = "Expose it by hand before digging."
# From the ground up. Keys are words of the page's script: letters alone.
DIG_LAYER_KEYS = ("zones", "sloped", "shored", "spoil", "white", "tapes", "keys", "conflicts")


def dig_layers(review: DigReview) -> tuple[Layer, ...]:
    """Return the dig review's layers, the lowest first."""
    return (
        _zones(review),
        _cuts(review, sloped=True),
        _cuts(review, sloped=False),
        _spoil_lines(review),
        _white_lines(review),
        _tapes(review),
        _key_points(review),
        _conflicts(review),
    )


def _unit(review: DigReview) -> str:
    return review.report.site.unit


def _zones(review: DigReview) -> Layer:
    unit = _unit(review)
    width = format_small(review.report.dig.tolerance_m, unit)
    items = tuple(
        Area(one.zone, f"zone {one.utility}", _zone_detail(review, one))
        for one in review.conflicts
        if not one.zone.is_empty
    )
    kinds = dict.fromkeys(one.utility for one in review.conflicts)
    legend = tuple(
        (f"zone {kind}", f"{UTILITY_WORDS[kind]}: {width} each side, and the map's 95 %")
        for kind in kinds
    )
    return Layer("zones", "Tolerance zones of utilities", items, legend)


def _zone_detail(review: DigReview, one: UtilityConflict) -> Detail:
    unit = _unit(review)
    stretches, sloped = (
        spans_words(spans, unit) for spans in (one.hand_dig_m, one.hand_dig_sloped_m)
    )
    rows = (
        ("Utility", UTILITY_WORDS[one.utility]),
        ("Verdict", trench_words(one)),
        ("Lies", lies_words(one, unit)),
        ("Clearance", clearance_words(one, unit)),
        ("Trench within it", stretches or "nowhere on this run"),
        ("Sloped cut within it", sloped or "nowhere on this run"),
        ("Rule", tidy(review.report.dig.rule)),
    )
    return Detail(
        f"Tolerance zone: {label(one.name)}", rows, "Hand dig or vacuum in here, whoever marked it."
    )


def _cuts(review: DigReview, *, sloped: bool) -> Layer:
    chosen = [
        (one, one.excavation.sloped if sloped else one.excavation.shored) for one in review.reaches
    ]
    key = "sloped" if sloped else "shored"
    items = tuple(
        Area(cut.footprint, f"cut {key}", _cut_detail(review, reach, cut))
        for reach, cut in chosen
        if not cut.footprint.is_empty
    )
    rule = review.rules.slope_rule
    words = (
        f"Cut with walls sloped for soil {review.rules.soil} ({rule.value:g} across to 1 up)"
        if sloped
        else "Trench with vertical walls, shored or shielded"
    )
    title = "Sloped cut" if sloped else "Shored trench"
    return Layer(key, title, items, ((f"cut {key}", words),))


def _cut_detail(review: DigReview, reach: ReachReview, cut: Cut) -> Detail:
    unit = _unit(review)
    earth: tuple[tuple[str, RateItem, float, float], ...] = (
        ("Earth in place", "excavate", cut.bank_low_m3, cut.bank_high_m3),
        ("Earth, loose", "haul", cut.loose_low_m3, cut.loose_high_m3),
    )
    rows = (
        ("From", length(reach.reach.begin.footage_m, unit)),
        ("To", length(reach.reach.end.footage_m, unit)),
        ("Deepest", length(reach.excavation.deepest_m, unit)),
        ("Widest at the top", length(cut.top_width_m, unit)),
        ("Ground opened", format_area(cut.footprint.area, unit)),
        *(
            (words, quantity_words(Quantity(item, low, high, "m3", None), unit))
            for words, item, low, high in earth
        ),
    )
    return Detail(f"{tidy(reach.reach.name, 60)}: {cut.method}", rows)


def _spoil_lines(review: DigReview) -> Layer:
    """Return how near spoil may lie to either cut."""
    rule = review.rules.rule("spoil set-back")
    away = rule.figure(_unit(review))
    items: list[Line] = []
    for one in review.reaches:
        for cut in (one.excavation.shored, one.excavation.sloped):
            detail = Detail(
                f"Spoil line: {tidy(one.reach.name, 60)}",
                (("Cut", cut.method), ("From its edge", away), ("Rule", tidy(rule.paragraph))),
                "Spoil, materials and machines stay outside, or are held back.",
            )
            items += _outlines(cut.keep_back, "spoil line", detail, f"spoil {away} back")
    legend = (("spoil line", f"Spoil no nearer than this: {away} from the edge"),)
    return Layer("spoil", "Spoil set-back", tuple(items), legend)


def _outlines(area: Polygon | MultiPolygon, style: str, detail: Detail, caption: str) -> list[Line]:
    parts = area.geoms if isinstance(area, MultiPolygon) else [area]
    return [
        Line(np.asarray(part.exterior.coords), style, detail, caption)
        for part in parts
        if not part.is_empty
    ]


def _white_lines(review: DigReview) -> Layer:
    items: list[Line] = []
    for one in review.reaches:
        detail = Detail(
            f"White line: {tidy(one.reach.name, 60)}",
            (("Ground inside", format_area(one.white_lines.area, _unit(review))),),
            "Outline this in white before calling the one-call centre: the sloped cut, and round "
            "it the 95 % uncertainty of the pipe's place.",
        )
        items += _outlines(one.white_lines, "white line", detail, "white line")
    return Layer("white", "White lines", tuple(items), (("white line", "Outline of the dig"),))


def _tapes(review: DigReview) -> Layer:
    places = {
        point.name: np.array([point.easting_m, point.northing_m])
        for point in review.report.site.plan.points
    }
    items = tuple(
        Line(
            np.stack([places[tape.point], [one.easting_m, one.northing_m]]),
            "refind tape",
            refind_detail(review, one),
            format_tape(tape.distance_m, _unit(review)),
        )
        for one in review.refinds
        for tape in one.tapes
    )
    return Layer("tapes", "Tapes to key points", items, (("refind tape", "Tape"),), shown=False)


def _key_points(review: DigReview) -> Layer:
    items = tuple(
        Mark(
            one.easting_m,
            one.northing_m,
            "key point",
            f"K{number}",
            refind_detail(review, one),
            footage_m=one.key.footage_m,
        )
        for number, one in enumerate(review.refinds, start=1)
    )
    legend = (("key point", "Key point, numbered as on the re-find sheet"),)
    return Layer("keys", "Key points", items, legend, shown=False)


def refind_detail(review: DigReview, one: Refind) -> Detail:
    """Return how a key point is found again, for the plan."""
    unit = _unit(review)
    rows = [
        ("Footage", length(one.key.footage_m, unit)),
        ("Invert down", plus_minus(one.depth_m, one.sd_depth_m, unit)),
    ]
    rows += [(f"From {label(t.point)}", format_tape(t.distance_m, unit)) for t in one.tapes]
    if one.check:
        check = f"Check from {label(one.check.point)}"
        rows.append((check, format_tape(one.check.distance_m, unit)))
    if one.error_m is not None:
        rows.append(("Expected error", f"within {format_small(one.error_m, unit)} (95 %)"))
    mind = (*tape_doubts(review, one), mirror_words(one, unit))
    return Detail(
        tidy(key_name(one.key), 60),
        tuple(rows),
        " ".join(as_sentence(words) for words in mind if words),
    )


def _conflicts(review: DigReview) -> Layer:
    """Return a mark at each crossing, and where one that lies in the trench comes nearest."""
    unit, profile = _unit(review), review.profile
    items: list[Mark] = []
    for one in review.conflicts:
        style, caption = f"conflict {one.utility}", label(one.name, 18)
        for met in one.crossings:
            rows = (
                ("Footage", plus_minus(met.footage_m, met.sd_footage_m, unit)),
                ("Passes", crossing_words(met, unit)),
                ("Angle", f"{met.angle_deg:.0f}°"),
                ("Verdict", trench_words(one)),
            )
            detail = Detail(f"{label(one.name, 60)} crosses the pipe", rows, _EXPOSE)
            place = (met.easting_m, met.northing_m)
            items.append(
                Mark(*place, style, caption, detail, footage_m=met.footage_m, weight=CONFLICT)
            )
        if one.in_trench and not one.crossings:
            at = profile.at(one.nearest_footage_m)
            place = (float(at.easting_m[0]), float(at.northing_m[0]))
            told = (("Lies", lies_words(one, unit)), ("Clearance", clearance_words(one, unit)))
            items.append(
                Mark(
                    *place,
                    style,
                    caption,
                    Detail(f"{label(one.name, 60)} lies in the trench", told, _EXPOSE),
                    footage_m=one.nearest_footage_m,
                    weight=CONFLICT,
                )
            )
    kinds = dict.fromkeys(one.utility for one in review.conflicts if one.crossings or one.in_trench)
    legend = tuple(
        (f"conflict {kind}", f"{UTILITY_WORDS[kind]} across the pipe or in the trench")
        for kind in kinds
    )
    return Layer("conflicts", "Utilities in the way", tuple(items), legend)
