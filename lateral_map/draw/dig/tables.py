"""The dig review's tables: by reach, conflicts, re-find sheet, depths, nulls, trench rules."""

from __future__ import annotations

import math
from typing import Final

from lateral_map.model.dig import DigReview, ReachReview
from lateral_map.model.site import RateItem
from lateral_map.units import format_area, format_length
from lateral_map.words.excavator import (
    ITEM_WORDS,
    against_line,
    class_asks,
    clearance_words,
    cost_words,
    cover_words,
    crossing_words,
    key_name,
    lands_within,
    mirror_words,
    money,
    near_words,
    quantity_words,
    side_of_tapes,
    side_words,
    spans_words,
    structure_words,
    tape_doubts,
    tape_words,
    trench_words,
    unread_words,
)
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.numbers import in_full, length, listed, plus_minus, range_95, tidy
from lateral_map.words.technician import Row, Table

# What tells nothing but its price.
_COMING: Final[frozenset[RateItem]] = frozenset({"mobilise open cut", "mobilise liner"})
# Slivers of less than this (m², m³) are left out of tables.
_LEAST = 0.05


def reach_tables(review: DigReview, one: ReachReview) -> tuple[Table, ...]:
    """Return the tables of one reach that say anything."""
    unit = review.report.site.unit
    broken = []
    for ground in one.opened:
        for surface in ground.surfaces:
            if surface.restored_area_m2 > _LEAST:
                cells = (
                    cover_words(surface.cover),
                    ground.cut.walls,
                    length(surface.length_m, unit),
                    format_area(surface.area_m2, unit),
                    format_area(surface.restored_area_m2, unit),
                    listed([in_full(name) for name in surface.names], 3),
                )
                broken.append(Row(cells, alarm=surface.cover == "building"))
    standing = []
    for found in one.structures:
        low, high = length(found.gap_low_m, unit), length(found.gap_high_m, unit)
        told = (
            in_full(found.name),
            structure_words(found),
            f"{length(found.gap_m, unit)} ({low} to {high})",
            length(found.footage_m, unit),
            length(found.bottom_depth_m, unit),
        )
        standing.append(Row(told, found.footage_m, found.kind == "building"))
    surface_columns = ("Ground", "Cut", "Along the pipe", "Opened", "To restore", "Which")
    columns = ("What", "Where it lies", "From the trench wall", "Footage", "Trench depth there")
    tables = (
        _methods_table(review, one),
        _classes_table(one, unit),
        Table("surfaces", "Surface broken", surface_columns, tuple(broken)),
        Table("structures", "What the cut may undermine", columns, tuple(standing)),
    )
    return tuple(table for table in tables if table.rows)


def _methods_table(review: DigReview, one: ReachReview) -> Table:
    site = review.report.site
    by_method = [{q.item: q for q in method.quantities} for method in one.methods]
    rows = []
    for item in dict.fromkeys(q.item for method in one.methods for q in method.quantities):
        found = [quantities.get(item) for quantities in by_method]
        if item in _COMING and not site.rates.rates:
            continue
        if not any(quantity and quantity.high > _LEAST for quantity in found):
            continue
        cells = [
            "–"
            if quantity is None
            else quantity_words(quantity, site.unit)
            + ("" if quantity.cost is None else f": {money(review, quantity.cost)}")
            for quantity in found
        ]
        rows.append(Row((ITEM_WORDS[item], *cells)))
    if site.rates.rates:
        rows.append(Row(("Sum of your rates", *(cost_words(review, m) for m in one.methods))))
    columns = ("What it takes", *(method.name.capitalize() for method in one.methods))
    return Table("methods", "Open cut or liner", columns, tuple(rows))


def _classes_table(one: ReachReview, unit: str) -> Table:
    rows = []
    for part in one.excavation.classes:
        low, high = (
            format_length(edge, unit, 2 if unit == "m" else 0) if math.isfinite(edge) else ""
            for edge in (part.from_m, part.to_m)
        )
        depths = f"{low} to {high}" if high else f"{low} and more"
        cells = (
            f"under {high}" if part.from_m == 0.0 and high else depths,
            length(part.length_m, unit),
            length(part.length_if_deeper_m, unit),
            class_asks(part.asks),
        )
        if part.length_m > 0.0 or part.length_if_deeper_m > 0.0:
            rows.append(Row(cells))
    columns = ("Depth of trench", "Length", "If 95 % deeper", "What the rules ask")
    return Table("classes", "Length by depth", columns, tuple(rows))


def conflicts_table(review: DigReview) -> Table:
    """Return every mapped utility against the run, the worst first."""
    unit = review.report.site.unit
    rows = []
    for one in review.conflicts:
        places = [
            (plus_minus(met.footage_m, met.sd_footage_m, unit), crossing_words(met, unit))
            for met in one.crossings
        ]
        where = "; ".join(at if len(places) == 1 else f"{at}, {how}" for at, how in places)
        if not where and one.to_m > one.from_m:
            where = spans_words(((one.from_m, one.to_m),), unit)
        hand, sloped = (
            spans_words(spans, unit) for spans in (one.hand_dig_m, one.hand_dig_sloped_m)
        )
        if sloped and sloped != hand:
            hand = f"{hand}; if sloped {sloped}" if hand else f"if sloped {sloped}"
        cells = (
            in_full(one.name),
            UTILITY_WORDS[one.utility],
            f"{trench_words(one)}{near_words(review, one) if one.in_the_way else ''}",
            one.relation,
            where or f"nearest at {length(one.nearest_footage_m, unit)}",
            "UNKNOWN" if one.depth_m is None else length(one.depth_m, unit),
            "; ".join(filter(None, (clearance_words(one, unit), side_words(one, unit)))),
            hand or "–",
            tidy(one.source),
        )
        rows.append(Row(cells, one.nearest_footage_m, one.in_the_way or one.hidden))
    columns = (
        "Utility", "Kind", "Verdict", "Lies", "Where", "Depth to its top", "Clearance", "Hand dig",
        "Source",
    )  # fmt: skip
    return Table("conflicts", "Utilities in the way", columns, tuple(rows))


def refind_table(review: DigReview) -> Table:
    """Return the re-find sheet, one row a key point."""
    unit = review.report.site.unit
    rows = []
    for number, one in enumerate(review.refinds, start=1):
        first, second = one.tapes or (None, None)
        doubts = tape_doubts(review, one)
        mind = "; ".join(words for words in (*doubts, mirror_words(one, unit)) if words)
        cells = (
            f"K{number}",
            f"{tidy(key_name(one.key))}, {length(one.key.footage_m, unit)}",
            *(tape_words(tape, unit) for tape in (first, second, one.check)),
            tidy(side_of_tapes(one)),
            against_line(one.line, unit) if one.line else "–",
            plus_minus(one.depth_m, one.sd_depth_m, unit),
            lands_within(one, unit),
            tidy(mind, 400),
        )
        rows.append(Row(cells, one.key.footage_m, bool(doubts)))
    columns = (
        "No.", "Key point", "Tape 1", "Tape 2", "Check", "Side", "From a boundary",
        "Invert down", "Lands within", "Mind",
    )  # fmt: skip
    return Table("refind", "Re-find sheet", columns, tuple(rows))


def depth_table(review: DigReview) -> Table:
    """Return the depth table."""
    unit = review.report.site.unit
    known = review.report.stations.ground_known
    rows = []
    for row in review.depths:
        levels = (
            (plus_minus(row.ground_m, row.sd_ground_m, unit),
             plus_minus(row.crown_m, row.sd_crown_m, unit))
            if row.ground_m is not None and row.crown_m is not None
            else ()
        )  # fmt: skip
        depths = (row.cover_m, row.invert_depth_m, row.bottom_depth_m)
        cells = (
            length(row.footage_m, unit),
            ", ".join(tidy(event) for event in row.events),
            *levels,
            *(plus_minus(depth, row.sd_m, unit) for depth in depths),
            row.basis,
            tidy(unread_words(row, unit)),
        )
        rows.append(Row(cells, row.footage_m, row.unread is not None))
    columns = (
        "Footage", "What is there", *(("Ground level", "Crown level") if known else ()),
        "Cover", "Invert", "Trench bottom", "Plan", "Depth",
    )  # fmt: skip
    return Table("depths", "Depths below ground", columns, tuple(rows))


def nulls_table(review: DigReview) -> Table:
    """Return depths from nulls beside the read-outs."""
    unit = review.report.site.unit
    rows = []
    for one in review.nulls:
        cells = (
            f"locate {in_full(one.locate)}",
            length(one.footage_m, unit),
            length(one.read_depth_m, unit),
            length(one.nulls_depth_m, unit),
            range_95(one.sd_difference_m, unit),
            "agree" if one.verdict == "agree" else "SUSPECT, farther apart than expected",
        )
        rows.append(Row(cells, one.footage_m, one.verdict == "suspect"))
    columns = ("Locate", "Footage", "Read out", "From nulls", "Difference expected", "Verdict")
    return Table("nulls", "Depth from nulls", columns, tuple(rows))


def rules_table(review: DigReview) -> Table:
    """Return the trench rules in force, each with its paragraph."""
    rules, rows = review.rules, []
    for rule in rules.rules:
        if not rule.is_slope or rule in (*rules.slope_rules, rules.rule("influence slope")):
            sure = (
                f"{rule.standing}; LESS than the federal figure" if rule.looser else rule.standing
            )
            figure = rule.figure(review.report.site.unit)
            cells = (figure, rule.words, tidy(rule.paragraph, 200), sure)
            rows.append(Row(cells, alarm=rule.looser))
    columns = ("Figure", "What for", "Where it is printed", "How sure")
    return Table("rules", "Trench rules used", columns, tuple(rows))
