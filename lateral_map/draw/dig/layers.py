"""The dig review on the plan: cuts, white lines, tolerance zones, conflicts, tapes."""

from __future__ import annotations

import numpy as np
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.draw.plan.scene import CONFLICT, Area, Detail, Layer, Line, Mark
from lateral_map.model.dig import Cut, DigReview, ReachReview, Refind
from lateral_map.model.trench import UtilityConflict
from lateral_map.units import format_area, format_earth, format_small, format_tape
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.numbers import label, length, plus_minus, tidy

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
        ", ".join(f"{length(a, unit)} to {length(b, unit)}" for a, b in spans)
        for spans in (one.hand_dig_m, one.hand_dig_sloped_m)
    )
    rows = (
        ("Utility", UTILITY_WORDS[one.utility]),
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
    rows = (
        ("From", length(reach.reach.begin.footage_m, unit)),
        ("To", length(reach.reach.end.footage_m, unit)),
        ("Deepest", length(reach.excavation.deepest_m, unit)),
        ("Widest at the top", length(cut.top_width_m, unit)),
        ("Ground opened", format_area(cut.footprint.area, unit)),
        ("Earth in place", format_earth(cut.bank_m3, unit)),
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
    rows = [("Footage", length(one.key.footage_m, unit))]
    rows += [(f"From {label(t.point)}", format_tape(t.distance_m, unit)) for t in one.tapes]
    if one.check:
        check = f"Check from {label(one.check.point)}"
        rows.append((check, format_tape(one.check.distance_m, unit)))
    if one.error_m is not None:
        rows.append(("Expected error", f"within {format_small(one.error_m, unit)} (95 %)"))
    return Detail(tidy(one.key.name, 60), tuple(rows), " ".join(one.warnings))


def _conflicts(review: DigReview) -> Layer:
    items = tuple(
        Mark(
            met.easting_m,
            met.northing_m,
            f"conflict {one.utility}",
            label(one.name, 18),
            _conflict_detail(review, one, number),
            footage_m=met.footage_m,
            weight=CONFLICT,
        )
        for one in review.conflicts
        for number, met in enumerate(one.crossings)
    )
    kinds = dict.fromkeys(one.utility for one in review.conflicts if one.crossings)
    legend = tuple(
        (f"conflict {kind}", f"{UTILITY_WORDS[kind]} crosses the pipe") for kind in kinds
    )
    return Layer("conflicts", "Utilities across the pipe", items, legend)


def _conflict_detail(review: DigReview, one: UtilityConflict, number: int) -> Detail:
    unit, met = _unit(review), one.crossings[number]
    rows = [
        ("Footage", plus_minus(met.footage_m, met.sd_footage_m, unit)),
        ("Passes", met.passing),
        ("Angle", f"{met.angle_deg:.0f}°"),
    ]
    if met.clearance_m is not None and met.clearance_low_m is not None:
        assert met.clearance_high_m is not None  # noqa: S101 - given together
        low, high = (length(v, unit) for v in (met.clearance_low_m, met.clearance_high_m))
        rows.append(("Vertical clearance", f"{length(met.clearance_m, unit)} ({low} to {high})"))
    return Detail(
        f"{label(one.name, 60)} crosses the pipe", tuple(rows), "Expose it by hand before digging."
    )
