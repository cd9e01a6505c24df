"""The dig review's tables: conflicts, re-find sheet, depths, depths from nulls, trench rules."""

from __future__ import annotations

from typing import Final

from lateral_map.model.dig import DepthRow, DigReview, Refind, RefindLine, TrenchRule
from lateral_map.model.trench import UtilityConflict, UtilityCrossing
from lateral_map.units import format_small, format_tape
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.numbers import label, length, listed, plus_minus, range_95, tidy
from lateral_map.words.technician import Row, Table

_ON_LINE_M: Final = 0.01


def conflicts_table(review: DigReview) -> Table:
    """Return every mapped utility against the run."""
    unit = review.report.site.unit
    columns = (
        "Utility", "Kind", "Verdict", "Crosses at", "Plan clearance", "Depth", "Hand dig", "Source",
    )  # fmt: skip
    rows = tuple(_conflict_row(one, unit) for one in review.conflicts)
    return Table("conflicts", "Utilities in the way", columns, rows)


def _conflict_row(one: UtilityConflict, unit: str) -> Row:
    cells = (
        label(one.name, 40),
        UTILITY_WORDS[one.utility],
        _verdict_words(one),
        "; ".join(_crossing_words(met, unit) for met in one.crossings) or "–",
        _plan_words(one, unit),
        _depth_words(one, unit),
        _hand_words(one, unit),
        tidy(one.source, 80),
    )
    unknown = one.verdict != "clear" and one.depth_m is None
    return Row(cells, one.nearest_footage_m, unknown)


def _hand_words(one: UtilityConflict, unit: str) -> str:
    hand, sloped = (
        listed([f"{length(begin, unit)} to {length(end, unit)}" for begin, end in spans])
        for spans in (one.hand_dig_m, one.hand_dig_sloped_m)
    )
    if not sloped or sloped == hand:
        return hand or "–"
    return f"{hand}; if sloped {sloped}" if hand else f"if sloped {sloped}"


def _verdict_words(one: UtilityConflict) -> str:
    return f"{one.verdict}; the main it joins" if one.joins else one.verdict


def _crossing_words(met: UtilityCrossing, unit: str) -> str:
    at = plus_minus(met.footage_m, met.sd_footage_m, unit)
    if met.clearance_m is None or met.clearance_low_m is None or met.clearance_high_m is None:
        return f"{at}, depth unknown"
    low, high = (length(v, unit) for v in (met.clearance_low_m, met.clearance_high_m))
    if met.passing == "at the pipe's own depth":
        return f"{at}, {met.passing} (95 % range {low} to {high})"
    return f"{at}, {met.passing} by {length(met.clearance_m, unit)} (95 % {low} to {high})"


def _plan_words(one: UtilityConflict, unit: str) -> str:
    if one.crossings:
        return "0, it crosses"
    low, high = (length(v, unit) for v in (one.plan_clearance_low_m, one.plan_clearance_high_m))
    return f"{length(one.plan_clearance_m, unit)} ({low} to {high})"


def _depth_words(one: UtilityConflict, unit: str) -> str:
    if one.depth_m is None:
        return "UNKNOWN"
    words = f"{length(one.depth_m, unit)} to its top"
    if one.space_clearance_m is not None and one.space_clearance_low_m is not None:
        words += (
            f"; nearest {length(one.space_clearance_m, unit)} from the pipe, at least "
            f"{length(one.space_clearance_low_m, unit)} at 95 %"
        )
    return words


def refind_table(review: DigReview) -> Table:
    """Return the re-find sheet, one row a key point."""
    unit = review.report.site.unit
    rows = tuple(
        Row(
            (
                f"K{number}",
                f"{tidy(one.key.name, 60)}, {length(one.key.footage_m, unit)}",
                *_tape_cells(one, unit),
                tidy(one.side, 120),
                _line_words(one.line, unit) if one.line else "–",
                plus_minus(one.depth_m, one.sd_depth_m, unit),
                _error_words(one, unit),
                _mirror_words(one, unit),
            ),
            one.key.footage_m,
            bool(one.warnings),
        )
        for number, one in enumerate(review.refinds, start=1)
    )
    columns = (
        "No.", "Key point", "Tape 1", "Tape 2", "Check", "Side", "From a boundary",
        "Invert down", "Lands within", "Mind",
    )  # fmt: skip
    return Table("refind", "Re-find sheet", columns, rows)


def _tape_cells(one: Refind, unit: str) -> tuple[str, str, str]:
    cells = [f"{format_tape(t.distance_m, unit)} from {label(t.point, 40)}" for t in one.tapes]
    check = "–"
    if one.check is not None:
        check = f"{format_tape(one.check.distance_m, unit)} from {label(one.check.point, 40)}"
    first, second = cells if len(cells) == 2 else ("–", "–")
    return first, second, check


def _line_words(line: RefindLine, unit: str) -> str:
    past = f"{format_tape(abs(line.past_m), unit)} {'past' if line.past_m >= 0 else 'short of'}"
    if abs(line.past_m) < _ON_LINE_M:
        past = "on"
    hand = "right" if line.to_the_right else "left"
    return (
        f"{past} {label(line.line)} ({range_95(line.sd_past_m, unit)}); along it "
        f"{format_tape(line.along_m, unit)} {hand} of {label(line.along_from)}, looking past it"
    )


def _error_words(one: Refind, unit: str) -> str:
    if one.error_m is None or one.retrace_m is None:
        return "–"
    taping = format_small(one.retrace_m, unit)
    return f"{format_small(one.error_m, unit)} of the pipe ({taping} by taping alone)"


def _mirror_words(one: Refind, unit: str) -> str:
    said = list(one.warnings)
    if one.mirror_gap_m is not None:
        mirror = f"the tapes meet again {length(one.mirror_gap_m, unit)} away"
        if one.mirror_check_m is not None:
            mirror += f", where the check reads {format_tape(one.mirror_check_m, unit)}"
        said.append(mirror)
    return tidy("; ".join(said), 400)


def depth_table(review: DigReview) -> Table:
    """Return the depth table."""
    unit = review.report.site.unit
    known = review.report.stations.ground_known
    rows = []
    for row in review.depths:
        depths = (row.cover_m, row.invert_depth_m, row.bottom_depth_m)
        levels = _levels(row, unit)
        rows.append(
            Row(
                (
                    length(row.footage_m, unit),
                    ", ".join(tidy(event, 60) for event in row.events),
                    *levels,
                    *(plus_minus(depth, row.sd_m, unit) for depth in depths),
                    row.basis,
                    tidy(row.loud, 160),
                ),
                row.footage_m,
                bool(row.loud),
            )
        )
    columns = (
        "Footage", "What is there", *(("Ground level", "Crown level") if known else ()),
        "Cover", "Invert", "Trench bottom", "Plan", "Depth",
    )  # fmt: skip
    return Table("depths", "Depths below ground", columns, tuple(rows))


def _levels(row: DepthRow, unit: str) -> tuple[str, ...]:
    """Return the elevations of ground and crown, where anybody measured the ground."""
    if row.ground_m is None or row.crown_m is None:
        return ()
    return (
        plus_minus(row.ground_m, row.sd_ground_m, unit),
        plus_minus(row.crown_m, row.sd_crown_m, unit),
    )


def nulls_table(review: DigReview) -> Table:
    """Return depths from nulls beside the read-outs."""
    unit = review.report.site.unit
    rows = tuple(
        Row(
            (
                f"locate {label(one.locate)}",
                length(one.footage_m, unit),
                length(one.read_depth_m, unit),
                length(one.nulls_depth_m, unit),
                range_95(one.sd_difference_m, unit),
                "agree" if one.verdict == "agree" else f"SUSPECT, {one.standardised:+.1f} sd apart",
            ),
            one.footage_m,
            one.verdict == "suspect",
        )
        for one in review.nulls
    )
    columns = ("Locate", "Footage", "Read out", "From nulls", "Difference expected", "Verdict")
    return Table("nulls", "Depth from nulls", columns, rows)


def rules_table(review: DigReview) -> Table:
    """Return the trench rules in force, each with its paragraph."""
    rows = tuple(
        Row(
            (
                rule.figure(review.report.site.unit),
                rule.words,
                tidy(rule.paragraph, 200),
                _standing(rule),
            ),
            alarm=rule.looser,
        )
        for rule in review.rules.rules
        if not rule.is_slope or rule in (review.rules.slope_rule, _influence(review))
    )
    return Table(
        "rules",
        "Trench rules used",
        ("Figure", "What for", "Where it is printed", "How sure"),
        rows,
    )


def _standing(rule: TrenchRule) -> str:
    return f"{rule.standing}; LESS than the federal figure" if rule.looser else rule.standing


def _influence(review: DigReview) -> TrenchRule:
    return review.rules.rule("influence slope")
