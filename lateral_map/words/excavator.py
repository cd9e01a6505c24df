"""What the dig review says in words: facts, tables and lists, ready for a page or a console."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from lateral_map.model.dig import (
    DepthClass,
    DigReview,
    Method,
    Quantity,
    ReachReview,
    StructureNear,
    SurfaceBroken,
)
from lateral_map.model.site import RateItem
from lateral_map.units import (
    earth_metres_per,
    format_area,
    format_earth,
    format_length,
    format_small,
    from_metres,
    square_metres_per,
)
from lateral_map.words.names import COVER_WORDS
from lateral_map.words.notices import drawing_notices
from lateral_map.words.numbers import (
    chance_words,
    label,
    length,
    listed,
    plus_minus,
    range_95,
    tidy,
    unit_word,
)
from lateral_map.words.technician import Fact, Row, Table

# Slivers of less than this (m², m³) are left out of tables.
_LEAST: Final = 0.05

ITEM_WORDS: Final[dict[RateItem, str]] = {
    "mobilise open cut": "Coming to dig",
    "mobilise liner": "Coming to line",
    "excavate": "Earth dug, measured in place",
    "haul": "Earth to cart, loose, if all goes",
    "shore": "Walls to shore or shield",
    "bedding": "Bedding",
    "pipe": "New pipe",
    "liner": "Liner",
    "access pit": "Access pits",
    "lawn": "Lawn to restore",
    "planting": "Planting to restore",
    "concrete": "Concrete to restore",
    "asphalt": "Asphalt to restore",
    "gravel": "Gravel to restore",
    "other": "Other ground to restore",
}


@dataclass(frozen=True, slots=True)
class ReachWords:
    """A reach in words: its title, labelled facts, tables, and what to think of by method."""

    title: str
    facts: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]
    cautions: tuple[tuple[str, tuple[str, ...]], ...]


def dig_facts(review: DigReview) -> tuple[Fact, ...]:
    """Return the facts at the head of the review."""
    unit = review.report.site.unit
    reaches = [one.reach for one in review.reaches]
    total = sum(reach.length_m for reach in reaches)
    how = "proposed from the findings" if any(r.proposed for r in reaches) else "from site.toml"
    facts = [
        Fact(
            "Reaches to repair",
            str(len(reaches)) if reaches else "none",
            f"{length(total, unit)} in all, {how}" if reaches else "nothing proposed",
        )
    ]
    if reaches:
        facts.append(_deepest_fact(review))
    facts += [*_conflict_facts(review), _hand_dig_fact(review), *_unread_facts(review)]
    return tuple(facts)


def dig_notices(review: DigReview) -> tuple[str, ...]:
    """Return what the reader must know: the dig review's own warnings, then the report's."""
    return tuple(dict.fromkeys([*review.warnings, *drawing_notices(review.report)]))


def _deepest_fact(review: DigReview) -> Fact:
    unit, rules = review.report.site.unit, review.rules
    deep = max(one.excavation.deepest_m for one in review.reaches)
    high = max(one.excavation.deepest_high_m for one in review.reaches)
    needs = rules.reached("protective system depth", high)
    note = f"{length(high, unit)} at the 95 % bound"
    if needs:
        note += ": protective system"
    if rules.reached("engineer depth", high):
        note += ", engineer's design"
    return Fact("Deepest trench", length(deep, unit), note, "alarm" if needs else "plain")


def _conflict_facts(review: DigReview) -> list[Fact]:
    crossing = [one for one in review.conflicts if one.verdict == "crosses the pipe"]
    unknown = [
        one.name for one in review.conflicts if one.depth_m is None and one.verdict != "clear"
    ]
    facts = [
        Fact(
            "Utilities across the pipe",
            str(len(crossing)) if crossing else "none mapped",
            listed([label(one.name, 20) for one in crossing], 3),
        )
    ]
    if unknown:
        names = listed([label(name, 20) for name in unknown], 3)
        facts.append(Fact("Depth unknown", str(len(unknown)), names, "alarm"))
    return facts


def _hand_dig_fact(review: DigReview) -> Fact:
    unit = review.report.site.unit
    total = sum(end - begin for begin, end in merged_hand_dig(review))
    sloped = sum(end - begin for begin, end in merged_hand_dig(review, sloped=True))
    note = f"within {format_small(review.report.dig.tolerance_m, unit)} of a mapped utility, 95 %"
    if sloped > total:
        note += f"; {length(sloped, unit)} with sloped walls"
    return Fact("Hand dig along the run", length(total, unit) if total else "nowhere mapped", note)


def merged_hand_dig(review: DigReview, *, sloped: bool = False) -> tuple[tuple[float, float], ...]:
    """Return the footages (m) to dig by hand for any utility, joined where they overlap."""
    joined: list[tuple[float, float]] = []
    spans = (
        span
        for one in review.conflicts
        for span in (one.hand_dig_sloped_m if sloped else one.hand_dig_m)
    )
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((begin, end))
    return tuple(joined)


def _unread_facts(review: DigReview) -> list[Fact]:
    loud = [row for row in review.depths if row.loud]
    if not loud:
        return []
    under = dict.fromkeys(row.under for row in loud if row.under)
    note = f"under {listed([label(name, 24) for name in under])}" if under else "see depth table"
    return [
        Fact(
            "Depth not read near by",
            f"{len(loud)} {'place' if len(loud) == 1 else 'places'}",
            note,
            "alarm",
        )
    ]


def reach_title(one: ReachReview, unit: str) -> str:
    """Return a reach's name, footages and length."""
    reach = one.reach
    begin, end = (length(e.footage_m, unit) for e in (reach.begin, reach.end))
    return f"{tidy(reach.name, 60)}: {begin} to {end}, {length(reach.length_m, unit)} of pipe"


def describe_reach(review: DigReview, one: ReachReview) -> ReachWords:
    """Return everything said of one reach."""
    unit = review.report.site.unit
    return ReachWords(
        title=reach_title(one, unit),
        facts=tuple(_reach_facts(review, one)),
        tables=tuple(
            table
            for table in (
                _methods_table(review, one),
                _classes_table(one, unit),
                _surfaces_table(one, unit),
                _structures_table(one, unit),
            )
            if table.rows
        ),
        cautions=tuple(
            (method.name, tuple(tidy(words, 300) for words in method.cautions))
            for method in one.methods
            if method.cautions
        ),
    )


def _reach_facts(review: DigReview, one: ReachReview) -> list[tuple[str, str]]:
    unit, reach = review.report.site.unit, one.reach
    facts = [("Why", tidy(reach.reason, 300))]
    facts += [("Who answers", words) for words in _party_words(one, unit)]
    for name, end in (("Begins", reach.begin), ("Ends", reach.end)):
        facts.append(
            (
                name,
                (
                    f"at {plus_minus(end.footage_m, end.sd_footage_m, unit)}; on the ground "
                    f"{range_95(end.along_sd_m, unit)} along the pipe, "
                    f"{range_95(end.across_sd_m, unit)} across; invert "
                    f"{plus_minus(end.depth_m, end.sd_depth_m, unit)} down"
                ),
            )
        )
    facts.append(("Pipe", _pipe_words(one, unit)))
    if reach.transitions_m:
        facts.append(("Transitions", listed([length(m, unit) for m in reach.transitions_m], 6)))
    facts.append(("Bends within", _bends_words(one, unit)))
    facts.append(("Taps within", listed([length(t.footage_m, unit) for t in reach.taps]) or "none"))
    if one.excavation.ways_out:
        facts.append(("Ways out", _ways_out_words(review, one)))
    facts.append(("White lines", f"{format_area(one.white_lines.area, unit)} to outline"))
    return facts


def _ways_out_words(review: DigReview, one: ReachReview) -> str:
    unit, rules = review.report.site.unit, review.rules
    travel, above = (rules.rule(k).figure(unit) for k in ("egress travel", "ladder projection"))
    return (
        f"at least {one.excavation.ways_out}: nobody more than {travel} from a ladder, stairway or "
        f"ramp; a ladder stands {above} above the ground"
    )


def _party_words(one: ReachReview, unit: str) -> list[str]:
    said = []
    for part in one.reach.parts:
        party = tidy(part.party, 60)
        if part.to_m - part.from_m <= 0.0:
            said.append(
                f"{party}: perhaps a little at one end, probability "
                f"{chance_words(part.probability)}"
            )
            continue
        edges = [
            plus_minus(m, sd, unit) if sd > 0.0 and inside else length(m, unit)
            for m, sd, inside in (
                (part.from_m, part.sd_from_m, part.from_m > one.reach.begin.footage_m),
                (part.to_m, part.sd_to_m, part.to_m < one.reach.end.footage_m),
            )
        ]
        chance = f" (odds that any of it is theirs {chance_words(part.probability)})"
        said.append(
            f"{party}, {edges[0]} to {edges[1]}" + (chance if part.probability < 0.999 else "")
        )
    return said or ["no boundary decides"]


def _pipe_words(one: ReachReview, unit: str) -> str:
    words = []
    for pipe in one.reach.pipes:
        size = "size not stated" if pipe.size_m is None else format_small(pipe.size_m, unit)
        words.append(
            f"{size} {pipe.material}, outside {format_length(pipe.outside_diameter_m, unit, 2)}"
        )
    return ", then ".join(words)


def _bends_words(one: ReachReview, unit: str) -> str:
    words = [
        f"{' and '.join(bend.angles_in_words())} at {length(bend.footage_m, unit)}"
        for bend in one.reach.bends
    ]
    return listed(words, 6) or "none"


def _methods_table(review: DigReview, one: ReachReview) -> Table:
    site = review.report.site
    items = dict.fromkeys(q.item for method in one.methods for q in method.quantities)
    by_method = [{q.item: q for q in method.quantities} for method in one.methods]
    rows = [
        Row(
            (
                ITEM_WORDS[item],
                *(
                    _quantity_words(review, found[item]) if item in found else "–"
                    for found in by_method
                ),
            )
        )
        for item in items
        if any(found[item].high > _LEAST for found in by_method if item in found)
        if not item.startswith("mobilise") or site.rates.rates
    ]
    if site.rates.rates:
        rows.append(Row(("Sum of your rates", *(_cost_words(review, m) for m in one.methods))))
    columns = ("What it takes", *(method.name.capitalize() for method in one.methods))
    return Table("methods", "Open cut or liner", columns, tuple(rows))


def _quantity_words(review: DigReview, quantity: Quantity) -> str:
    unit = review.report.site.unit
    sizes = {
        "m": (from_metres(1.0, unit), f" {unit_word(unit)}", 1),
        "m2": (
            1.0 / square_metres_per(unit),
            " m²" if unit == "m" else " sq ft",
            1 if unit == "m" else 0,
        ),
        "m3": (1.0 / earth_metres_per(unit), " m³" if unit == "m" else " cu yd", 1),
        "each": (1.0, "", 0),
    }
    factor, word, decimals = sizes[quantity.per]
    low, high = (f"{value * factor:.{decimals}f}" for value in (quantity.low, quantity.high))
    words = f"{high}{word}" if low == high else f"{low} to {high}{word}"
    if quantity.cost is None:
        return words
    return f"{words}: {money(review, quantity.cost)}"


def _cost_words(review: DigReview, method: Method) -> str:
    if method.cost is None:
        return "no rate given"
    left_out = listed([ITEM_WORDS[item].lower() for item in method.unpriced], 12)
    words = money(review, method.cost)
    return f"{words}, without {left_out}" if left_out else words


def money(review: DigReview, cost: tuple[float, float]) -> str:
    """Return a range of money in the site's own currency."""
    low, high = (f"{value:,.0f}" for value in cost)
    amount = low if low == high else f"{low} to {high}"
    return f"{tidy(review.report.site.rates.currency, 8)} {amount}".strip()


def _classes_table(one: ReachReview, unit: str) -> Table:
    rows = tuple(
        Row(
            (
                _class_depths(part, unit),
                length(part.length_m, unit),
                length(part.length_if_deeper_m, unit),
                part.words,
            )
        )
        for part in one.excavation.classes
        if part.length_m > 0.0 or part.length_if_deeper_m > 0.0
    )
    columns = ("Depth of trench", "Length", "If 95 % deeper", "What the rules ask")
    return Table("classes", "Length by depth", columns, rows)


def _class_depths(part: DepthClass, unit: str) -> str:
    decimals = 2 if unit == "m" else 0
    low = format_length(part.from_m, unit, decimals)
    if math.isinf(part.to_m):
        return f"{low} and more"
    high = format_length(part.to_m, unit, decimals)
    return f"under {high}" if part.from_m == 0.0 else f"{low} to {high}"


def cover_words(broken: SurfaceBroken) -> str:
    """Return what ground of a cover is called."""
    if broken.cover == "not mapped":
        return "Not mapped"
    if broken.cover == "building":
        return "UNDER A BUILDING"
    return COVER_WORDS[broken.cover]


def _surfaces_table(one: ReachReview, unit: str) -> Table:
    rows = tuple(
        _surface_row(broken, method, unit)
        for method, surfaces in (("shored", one.surfaces_shored), ("sloped", one.surfaces_sloped))
        for broken in surfaces
        if broken.restored_area_m2 > _LEAST
    )
    columns = ("Ground", "Cut", "Along the pipe", "Opened", "To restore", "Which")
    return Table("surfaces", "Surface broken", columns, rows)


def _surface_row(broken: SurfaceBroken, method: str, unit: str) -> Row:
    cells = (
        cover_words(broken),
        method,
        length(broken.length_m, unit),
        format_area(broken.area_m2, unit),
        format_area(broken.restored_area_m2, unit),
        listed([label(name) for name in broken.names], 3),
    )
    return Row(cells, alarm=broken.cover == "building")


def _structures_table(one: ReachReview, unit: str) -> Table:
    rows = tuple(
        Row(
            (
                label(found.name, 40),
                _stands(found),
                (
                    f"{length(found.gap_m, unit)} "
                    f"({length(found.gap_low_m, unit)} to {length(found.gap_high_m, unit)})"
                ),
                length(found.footage_m, unit),
                length(found.bottom_depth_m, unit),
            ),
            found.footage_m,
            found.kind == "building",
        )
        for found in one.structures
    )
    columns = ("What", "Where it lies", "From the trench wall", "Footage", "Trench depth there")
    return Table("structures", "What the cut may undermine", columns, rows)


def _stands(found: StructureNear) -> str:
    return found.verdict + (" at the 95 % bound" if found.only_by_bound else "")


def swell_words(review: DigReview) -> str:
    """Return the swell used, and where it is from."""
    if not review.reaches:
        return ""
    used = review.reaches[0].excavation
    low, high = (f"{100.0 * share:g}" for share in used.swell)
    share = f"{low} %" if low == high else f"{low} to {high} %"
    return f"Loose earth is the earth in place and {share}: {tidy(used.swell_source, 200)}."


def summary_lines(review: DigReview) -> tuple[str, ...]:
    """Return the review on one page of plain text."""
    unit = review.report.site.unit
    lines = [f"{fact.name}: {fact.value}" + (f" ({fact.note})" if fact.note else "")
             for fact in dig_facts(review)]  # fmt: skip
    for one in review.reaches:
        cut, sloped = one.excavation.shored, one.excavation.sloped
        lines += [
            "",
            reach_title(one, unit),
            f"  {tidy(one.reach.reason, 200)}",
            *(f"  answers: {words}" for words in _party_words(one, unit)),
            (f"  shored: {format_earth(cut.bank_m3, unit)} in place, "
            f"{format_earth(cut.loose_low_m3, unit)} to {format_earth(cut.loose_high_m3, unit)} "
            f"loose; sloped: {format_earth(sloped.bank_m3, unit)} in place, "
            f"{length(sloped.top_width_m, unit)} wide at the top"),
            *(f"  {label(found.name, 40)}: {_stands(found)}" for found in one.structures
              if found.kind == "building"),
            *(f"  {method.name}: {_cost_words(review, method)}" for method in one.methods
              if method.cost is not None),
        ]  # fmt: skip
    return tuple(lines)
