"""What is shown when something of the dig review is picked on the plan."""

from __future__ import annotations

from lateral_map.model.dig import Cut, DigReview, Quantity, ReachReview, Refind
from lateral_map.model.trench import Area, UtilityConflict, UtilityCrossing
from lateral_map.units import format_area, format_small, format_tape
from lateral_map.words.excavator import (
    clearance_words,
    crossing_words,
    key_name,
    lies_words,
    mirror_words,
    quantity_words,
    side_words,
    spans_words,
    tape_doubts,
    trench_words,
)
from lateral_map.words.names import UTILITY_WORDS, WALL_WORDS
from lateral_map.words.notices import as_sentence
from lateral_map.words.numbers import in_full, label, length, plus_minus, tidy
from lateral_map.words.picked import Detail

_EXPOSE = "Expose it by hand before digging."


def zone_picked(review: DigReview, one: UtilityConflict) -> Detail:
    """Say what a utility's tolerance zone asks."""
    unit = review.report.site.unit
    rows = (
        ("Utility", UTILITY_WORDS[one.utility]),
        ("Verdict", trench_words(one)),
        ("Lies", lies_words(one, unit)),
        ("Clearance", clearance_words(one, unit)),
        ("Beside it", side_words(one, unit) or "over the trench"),
        ("Trench within it", spans_words(one.hand_dig_m, unit) or "nowhere on this run"),
        (
            "Sloped cut within it",
            spans_words(one.hand_dig_sloped_m, unit) or "nowhere on this run",
        ),
        ("Rule", tidy(review.report.dig.rule)),
    )
    note = "Hand dig or vacuum in here, whoever marked it."
    return Detail(f"Tolerance zone: {in_full(one.name)}", rows, note)


def cut_picked(review: DigReview, one: ReachReview, cut: Cut) -> Detail:
    """Say how a reach is opened: from where to where, how deep and wide, how much earth."""
    unit = review.report.site.unit
    earth = Quantity("excavate", cut.bank_low_m3, cut.bank_high_m3, "m3", None)
    loose = Quantity("haul", cut.loose_low_m3, cut.loose_high_m3, "m3", None)
    rows = (
        ("From", length(one.reach.begin.footage_m, unit)),
        ("To", length(one.reach.end.footage_m, unit)),
        ("Deepest", length(one.excavation.deepest_m, unit)),
        ("Widest at the top", length(cut.top_width_m, unit)),
        ("At the 95 % bound", length(cut.top_width_high_m, unit)),
        ("Highest wall, upright", length(cut.face_high_m, unit)),
        ("Ground opened", format_area(cut.footprint.area, unit)),
        ("Earth in place", quantity_words(earth, unit)),
        ("Earth, loose", quantity_words(loose, unit)),
    )
    return Detail(f"{label(one.reach.name, 60)}: {WALL_WORDS[cut.walls]}", rows)


def spoil_picked(review: DigReview, one: ReachReview, cut: Cut) -> Detail:
    """Say what keeps off round a cut."""
    rule = review.rules.rule("spoil set-back")
    rows = (
        ("Cut", WALL_WORDS[cut.walls]),
        ("From its edge", rule.figure(review.report.site.unit)),
        ("Rule", tidy(rule.paragraph)),
    )
    note = "Spoil, materials and machines stay outside, or are held back."
    return Detail(f"Spoil line: {label(one.reach.name, 60)}", rows, note)


def white_line_picked(review: DigReview, one: ReachReview, cut: Cut, outline: Area) -> Detail:
    """Say what is outlined in white, and why so wide."""
    rows = (
        ("Cut", WALL_WORDS[cut.walls]),
        ("Ground inside", format_area(outline.area, review.report.site.unit)),
    )
    note = (
        "Outline this in white before calling the one-call centre: the cut as deep as it may be, "
        "and round it the 95 % uncertainty of the pipe's place."
    )
    return Detail(f"White line: {label(one.reach.name, 60)}", rows, note)


def key_point_picked(review: DigReview, one: Refind) -> Detail:
    """Say how a key point is found again."""
    unit = review.report.site.unit
    rows = [
        ("Footage", length(one.key.footage_m, unit)),
        ("Invert down", plus_minus(one.depth_m, one.sd_depth_m, unit)),
        *((f"From {in_full(t.point)}", format_tape(t.distance_m, unit)) for t in one.tapes),
    ]
    if one.check:
        check = f"Check from {in_full(one.check.point)}"
        rows.append((check, format_tape(one.check.distance_m, unit)))
    if one.error_m is not None:
        rows.append(("Expected error", f"within {format_small(one.error_m, unit)} (95 %)"))
    mind = (*tape_doubts(review, one), mirror_words(one, unit))
    note = " ".join(as_sentence(words) for words in mind if words)
    return Detail(label(key_name(one.key), 60), tuple(rows), note)


def crossing_picked(one: UtilityConflict, met: UtilityCrossing, unit: str) -> Detail:
    """Say how a utility crosses the pipe."""
    rows = (
        ("Footage", plus_minus(met.footage_m, met.sd_footage_m, unit)),
        ("Passes", crossing_words(met, unit)),
        ("Angle", f"{met.angle_deg:.0f}°"),
        ("Verdict", trench_words(one)),
    )
    return Detail(f"{in_full(one.name)} crosses the pipe", rows, _EXPOSE)


def in_trench_picked(one: UtilityConflict, unit: str) -> Detail:
    """Say how a utility that does not cross lies in the trench."""
    rows = (("Lies", lies_words(one, unit)), ("Clearance", clearance_words(one, unit)))
    return Detail(f"{in_full(one.name)} lies in the trench", rows, _EXPOSE)
