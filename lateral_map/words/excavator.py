"""What the dig review says to the excavator: what to stop for, facts, notices, each thing in words.

The order of danger is the report's own: what is worst is said first, and all of it.
"""

from __future__ import annotations

from typing import Final

from lateral_map.analysis.trench import UNSEEN_RISE
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import (
    DepthRow,
    DigReview,
    GroundCover,
    KeyPoint,
    Method,
    Quantity,
    ReachEnd,
    ReachReview,
    Refind,
    RefindLine,
    RefindTape,
    RepairReach,
    StructureNear,
    TrenchRules,
)
from lateral_map.model.site import RateItem, RuleKey
from lateral_map.model.trench import SD_UTILITY_DEPTH_M, UtilityConflict, UtilityCrossing
from lateral_map.units import (
    earth_metres_per,
    format_area,
    format_length,
    format_small,
    format_tape,
    from_metres,
    square_metres_per,
)
from lateral_map.words.names import COVER_WORDS, WALL_WORDS, answering_words, utility_named
from lateral_map.words.notices import as_sentence, danger_notices, danger_words, drawing_notices
from lateral_map.words.numbers import (
    NAME_LENGTH,
    chance_words,
    in_full,
    label,
    length,
    listed,
    plus_minus,
    plus_minus_or_exact,
    range_95,
    tidy,
    unit_word,
)
from lateral_map.words.technician import Fact, Tone, danger_facts

_ON_LINE_M: Final = 0.01
_COMMON_SWELL: Final = (
    "common earth 20 to 30 %, bulking tables at spikevm.com citing Alaska DOT 1983, Church 1981 "
    "and FHWA 2007; sand and wet gravel about 5 %, clay 35 to 40 %"
)
_ASKED: Final[dict[RuleKey, str]] = {
    "egress depth": "way out within reach, air considered",
    "protective system depth": "protective system",
    "engineer depth": "engineer's design",
}
_SHALLOW: Final = "protective system unless a competent person finds no sign of a cave-in"

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


def urgent_lines(review: DigReview) -> tuple[str, ...]:
    """Return what to stop for, then every utility that lies in the trench, worst first."""
    unit = review.report.site.unit
    return tuple(
        as_sentence(tidy(words, 400))
        for words in (
            *danger_notices(review.report),
            *(
                f"{trench_words(one)}{near_words(review, one)}: {utility_words(one, unit)}"
                for one in review.conflicts
                if one.in_the_way
            ),
            *(
                f"IN THE SLOPED CUT ({listed([label(each.name, 40) for each in reaches])}): "
                f"{utility_words(one, unit)}"
                for one, reaches in review.dug_into
            ),
        )
    )


def near_words(review: DigReview, one: UtilityConflict) -> str:
    """Say in brackets which reaches have a utility near, or that none has; empty without any."""
    if not review.reaches:
        return ""
    near = []
    for reach in review.reaches_near(one):
        beside = one.to_m < reach.begin.footage_m or one.from_m > reach.end.footage_m
        near.append(f"{'next to ' if beside else ''}{label(reach.name, 40)}")
    return f" ({listed(near, len(near)) or 'outside the reaches to repair'})"


def utility_words(one: UtilityConflict, unit: str) -> str:
    """Say of a utility what it is, how it lies to the pipe, how deep, and with what clearance."""
    deep = "depth UNKNOWN" if one.depth_m is None else f"its top {length(one.depth_m, unit)} down"
    hand_dig = f"hand dig from {spans_words(one.hand_dig_m, unit)}"
    said = [
        utility_named(in_full(one.name), one.utility),
        lies_words(one, unit),
        # Where it leaves the trench as mapped it is no farther off than the map may be wrong, and
        # between two crossings it may run beside the pipe.
        *([hand_dig] if one.in_the_way else []),
        deep,
    ]
    if one.clearance_m is not None:
        said.append(clearance_words(one, unit))
    return ", ".join(said)


def lies_words(one: UtilityConflict, unit: str) -> str:
    """Say how a utility lies to the pipe, and where along it."""
    if one.crossings:
        places = [plus_minus(met.footage_m, met.sd_footage_m, unit) for met in one.crossings]
        return f"crosses the pipe at {listed(places, len(places))}"
    if one.to_m > one.from_m:
        span = f"{length(one.from_m, unit)} to {length(one.to_m, unit)}"
        return f"{'along' if one.relation == 'along' else 'beside'} the pipe from {span}"
    return f"beside the pipe, nearest at {length(one.nearest_footage_m, unit)}"


def clearance_words(one: UtilityConflict, unit: str) -> str:
    """Return a utility's one clearance from the pipe, with its 95 % range."""
    if one.clearance_m is None or one.sd_clearance_m is None:
        return "clearance unknown"
    gap = plus_minus(one.clearance_m, one.sd_clearance_m, unit)
    for met in one.crossings:
        # Of crossings as near, as at the pipe's own depth, the one whose range was taken.
        if (met.clearance_m, met.sd_clearance_m) == (one.clearance_m, one.sd_clearance_m):
            return crossing_words(met, unit)
    return f"{gap} from the pipe{'' if one.depth_known else ' in plan'}"


def side_words(one: UtilityConflict, unit: str) -> str:
    """Say how far a utility lies beside the trench as dug with vertical walls, empty if over it."""
    return f"{length(one.side_m, unit)} from the trench's side" if one.side_m > 0.0 else ""


def crossing_words(met: UtilityCrossing, unit: str) -> str:
    """Say how a utility passes the pipe where it crosses it."""
    if met.clearance_m is None or met.sd_clearance_m is None:
        return "depth UNKNOWN"
    if met.passing == "at the pipe's own depth":
        return f"{met.passing}, {range_95(met.sd_clearance_m, unit)}"
    gap = plus_minus(met.clearance_m, met.sd_clearance_m, unit)
    if met.passing == "in the bedding":
        return f"IN THE BEDDING, {gap} under the pipe"
    under = ""
    if met.passing == "below" and met.under_m is not None:
        under = f", {length(met.under_m, unit)} under the trench's bottom"
    return f"{met.passing} the pipe by {gap}{under}"


def trench_words(one: UtilityConflict) -> str:
    """Say whether a utility is in the trench, or where else hands must dig."""
    if one.joins:
        return "the main it joins"
    if one.in_trench:
        return "IN THE TRENCH"
    if one.verdict in ("crosses the pipe", "within the trench"):
        return "under the trench"
    return one.verdict


def spans_words(spans: tuple[tuple[float, float], ...], unit: str) -> str:
    """Return stretches of footage for a table, empty where there are none."""
    return listed([f"{length(begin, unit)} to {length(end, unit)}" for begin, end in spans])


def dig_facts(review: DigReview) -> tuple[Fact, ...]:
    """Return the facts at the head of the review: what to stop for and what is in the trench."""
    unit, report = review.report.site.unit, review.report
    facts = [*danger_facts(report)]
    facts.append(_named("In the trench", [one for one in review.conflicts if one.in_the_way]))
    if laid_open := [one for one, _ in review.dug_into]:
        facts.append(_named("In a sloped cut", laid_open))
    if unknown := [one for one in review.conflicts if one.hidden]:
        facts.append(_named("Depth unknown", unknown))
    crossing = [one for one in review.conflicts if one.crossings]
    facts.append(_named("Utilities across the pipe", crossing, "plain"))
    reaches = [one.reach for one in review.reaches]
    if reaches:
        whole = length(sum(reach.length_m for reach in reaches), unit)
        how = "proposed from the findings" if any(r.proposed for r in reaches) else "from site.toml"
        deep = max(one.excavation.deepest_m for one in review.reaches)
        high = max(one.excavation.deepest_high_m for one in review.reaches)
        needs = review.rules.reached("protective system depth", high)
        note = f"{length(high, unit)} at the 95 % bound"
        note += ": protective system" if needs else ""
        note += ", engineer's design" if review.rules.reached("engineer depth", high) else ""
        facts += [
            Fact("Reaches to repair", str(len(reaches)), f"{whole} in all, {how}"),
            Fact("Deepest trench", length(deep, unit), note, "alarm" if needs else "plain"),
        ]
    else:
        facts.append(Fact("Reaches to repair", "none", "nothing proposed"))
    total, sloped = (
        sum(end - begin for begin, end in review.hand_dig_m(sloped=slope))
        for slope in (False, True)
    )
    note = f"within {format_small(report.dig.tolerance_m, unit)} of a mapped utility, 95 %"
    note += f"; {length(sloped, unit)} with sloped walls" if sloped > total else ""
    by_hand = length(total, unit) if total else "nowhere mapped"
    facts.append(Fact("Hand dig along the run", by_hand, note))
    if unread := [row for row in review.depths if row.unread]:
        under = dict.fromkeys(row.under for row in unread if row.under)
        note = f"under {listed([in_full(name) for name in under])}" if under else "see depth table"
        places = f"{len(unread)} {'place' if len(unread) == 1 else 'places'}"
        facts.append(Fact("Depth not read near by", places, note, "alarm"))
    return tuple(facts)


def _named(name: str, utilities: list[UtilityConflict], tone: Tone = "alarm") -> Fact:
    if not utilities:
        return Fact(name, "none mapped")
    names = [in_full(one.name) for one in utilities]
    return Fact(name, str(len(names)), listed(names, len(names)), tone)


def dig_notices(review: DigReview) -> tuple[str, ...]:
    """Return what the reader must know: what is urgent, the dig's own, then the report's."""
    report, unit, rules = review.report, review.report.site.unit, review.rules
    said = []
    if not review.reaches:
        said.append(
            "A foreign pipe or cable was seen in the sewer: no repair is proposed before its owner "
            "has been"
            if danger_notices(report)
            else "No finding calls for a repair and site.toml names no [[reach]]: nothing is "
            "proposed"
        )
    if not report.site.plan.utilities:
        said.append("The plan shows no utilities at all: that is no sign that there are none")
    named = {*rules.soils, *(soil for one in review.reaches for soil in one.rules.soils)}
    firm = sorted(named & {"A", "stable rock"})
    if firm:
        said.append(
            f"The soil is given as {' and '.join(firm)}: ground that was dug before is never Type "
            "A (Appendix A, from memory), and a lateral's trench was; every slope here and the "
            "white lines rest on it"
        )
    asked = review.report.site.dig.walls
    other = [label(one.reach.name, 40) for one in review.reaches if one.chosen != asked]
    if other:
        said.append(
            f"{asked.capitalize()} walls are asked for, and refused or not allowed for "
            f"{listed(other, 6)}: dig.pdf outlines another cut there"
        )
    said += [
        f"{rule.key}: the site's {rule.figure(unit)} asks less than the federal figure; a stricter "
        "rule comes first, so check its citation"
        for rule in rules.rules
        if rule.looser
    ]
    said += _ground_notices(review)
    if report.route.alternatives:
        said.append(
            "The readings fit more than one line: cuts, white lines, clearances and tapes are for "
            "the one drawn solid alone; one more tie settles it before digging"
        )
    unknown = [in_full(one.name) for one in review.conflicts if one.hidden]
    if unknown:
        said.append(f"Depth unknown: {', '.join(unknown)}; expose by hand before digging near")
    said += [
        f"SUSPECT: locate {check.locate} nulls: they say {length(check.nulls_depth_m, unit)} to "
        f"the transmitter, the read-out says {length(check.read_depth_m, unit)}; take both again "
        "before trusting either, and reckon with the deeper till then"
        for check in review.nulls
        if check.verdict == "suspect"
    ]
    if report.suspects and not report.likely_diagnoses:
        said.append(
            f"{len(report.suspects)} readings disagree with the rest of the site: settle them "
            "before digging"
        )
    said += drawing_notices(report)
    return tuple(dict.fromkeys([*urgent_lines(review), *map(as_sentence, said)]))


def _ground_notices(review: DigReview) -> list[str]:
    """Say how the ground lies across the pipe, and where nobody measured it."""
    said, profile = [], review.profile
    rise = 100.0 * max(float(side.max()) for side in profile.rises(0.0))
    if profile.rise_unseen.max() >= UNSEEN_RISE:
        said.append(
            "The ground across the pipe was not measured everywhere: what warns takes it to rise "
            f"{100.0 * UNSEEN_RISE:.0f} % more there on either side; where it looks steeper, take "
            "levels on both sides and put them on the plan"
        )
    if rise > 100.0 * UNSEEN_RISE:
        said.append(
            f"The ground rises up to {rise:.0f} % across the pipe: the uphill wall is higher and "
            "the cut wider on that side, and every width, wall and line here allows for it"
        )
    return said


def reach_title(reach: RepairReach, unit: str) -> str:
    """Return a reach's name, footages and length."""
    begin, end = (length(e.footage_m, unit) for e in (reach.begin, reach.end))
    return f"{in_full(reach.name)}: {begin} to {end}, {length(reach.length_m, unit)} of pipe"


def reach_reason(reach: RepairReach) -> str:
    """Say what a reach is for."""
    if not reach.proposed:
        return "taken from site.toml"
    wanted = [
        f"{one.finding.finding} ({one.finding.severity or 'degree not stated'})"
        for one in reach.wanted
    ]
    return "for " + ", ".join(dict.fromkeys(wanted))


def reach_facts(review: DigReview, one: ReachReview) -> tuple[tuple[str, str], ...]:
    """Return everything said of one reach, each under its label."""
    unit, reach, rules = review.report.site.unit, one.reach, one.rules

    def end_words(end: ReachEnd) -> str:
        along, across = range_95(end.along_sd_m, unit), range_95(end.across_sd_m, unit)
        return (
            f"at {plus_minus(end.footage_m, end.sd_footage_m, unit)}; on the ground {along} along "
            f"the pipe, {across} across; "
            f"invert {plus_minus(end.depth_m, end.sd_depth_m, unit)} down"
        )

    near = [
        in_full(found.name)
        for found in review.conflicts
        if found.in_the_way and any(each is reach for each in review.reaches_near(found))
    ]
    sizes = [
        f"{'size not stated' if pipe.size_m is None else format_small(pipe.size_m, unit)} "
        f"{pipe.material}, outside {format_length(pipe.outside_diameter_m, unit, 2)}"
        for pipe in reach.pipes
    ]
    bends = [
        f"{' and '.join(bend.angles_in_words())} at {length(bend.footage_m, unit)}"
        for bend in reach.bends
    ]
    taps = [length(tap.footage_m, unit) for tap in reach.taps]
    changes = [length(m, unit) for m in reach.transitions_m]
    travel, above = (rules.rule(k).figure(unit) for k in ("egress travel", "ladder projection"))
    ways = (
        f"at least {one.excavation.ways_out}: nobody more than {travel} from a ladder, stairway or "
        f"ramp; a ladder stands {above} above the ground"
    )
    facts = [
        *(("STOP", tidy(danger_words(danger, unit), 300)) for danger in reach.dangers),
        ("IN THE TRENCH", listed(near, len(near))),
        ("Why", tidy(reach_reason(reach), 300)),
        *(("Who answers", words) for words in party_words(reach, unit)),
        ("Begins", end_words(reach.begin)),
        ("Ends", end_words(reach.end)),
        ("Pipe", ", then ".join(sizes)),
        ("Transitions", listed(changes, 6)),
        ("Bends within", listed(bends, 6) or "none"),
        ("Taps within", listed(taps) or "none"),
        ("Ways out", ways if one.excavation.ways_out else ""),
        ("Soil", soil_words(rules, unit)),
        (
            "White lines",
            "to outline "
            + ", ".join(
                f"{format_area(each.outline.area, unit)} with {WALL_WORDS[each.cut.walls]}"
                for each in one.opened
            ),
        ),
    ]
    return tuple((name, words) for name, words in facts if words)


def soil_words(rules: TrenchRules, unit: str) -> str:
    """Say what soil the walls stand in, from the ground down."""
    told = [f"{layer.soil} to {length(layer.to_m, unit)} down" for layer in rules.layers]
    return ", ".join([*told, f"{rules.soil} below" if told else rules.soil])


def party_words(reach: RepairReach, unit: str) -> list[str]:
    """Say who answers for which part of a reach."""
    said = []
    for part in reach.parts:
        party, chance = answering_words(part.parties), chance_words(part.probability)
        if part.to_m - part.from_m <= 0.0:
            said.append(f"{party}: perhaps a little at one end, probability {chance}")
            continue
        begin, end = (
            plus_minus_or_exact(m, sd if inside else 0.0, unit)
            for m, sd, inside in (
                (part.from_m, part.sd_from_m, part.from_m > reach.begin.footage_m),
                (part.to_m, part.sd_to_m, part.to_m < reach.end.footage_m),
            )
        )
        doubt = f" (probability that any of it is theirs {chance})"
        doubted = part.party and part.probability < 0.999
        said.append(f"{party}, {begin} to {end}{doubt if doubted else ''}")
    return said or ["no boundary decides"]


def quantity_words(quantity: Quantity, unit: str) -> str:
    """Return a quantity in the site's unit, as a range where it is one."""
    factor, word, decimals = {
        "m": (from_metres(1.0, unit), f" {unit_word(unit)}", 1),
        "m2": (
            1.0 / square_metres_per(unit),
            " m²" if unit == "m" else " sq ft",
            1 if unit == "m" else 0,
        ),
        "m3": (1.0 / earth_metres_per(unit), " m³" if unit == "m" else " cu yd", 1),
        "each": (1.0, "", 0),
    }[quantity.per]
    low, high = (f"{value * factor:.{decimals}f}" for value in (quantity.low, quantity.high))
    return f"{high}{word}" if low == high else f"{low} to {high}{word}"


def money(review: DigReview, cost: tuple[float, float]) -> str:
    """Return a range of money in the site's own currency."""
    low, high = (f"{value:,.0f}" for value in cost)
    amount = low if low == high else f"{low} to {high}"
    return f"{tidy(review.report.site.rates.currency, 8)} {amount}".strip()


def cost_words(review: DigReview, method: Method) -> str:
    """Return the sum of the site's own rates, and what it leaves out."""
    if method.refused:
        return refused_words(method)
    if method.cost is None:
        return "no rate given"
    left_out = listed([ITEM_WORDS[item].lower() for item in method.unpriced], 12)
    words = money(review, method.cost)
    return f"{words}, without {left_out}" if left_out else words


def refused_words(method: Method) -> str:
    """Say why a cut is not to be dug as drawn, empty where nothing stands against it."""
    if not method.refused:
        return ""
    why = [f"{one.why}{f' ({in_full(one.of)})' if one.of else ''}" for one in method.refused]
    said = f"REFUSED as drawn: {listed(why, len(why))}; not priced"
    if any(one.why == "a foreign pipe or cable in the sewer" for one in method.refused):
        return f"{said}; nothing is cut or dug before its owner has been"
    return f"{said}; only as a registered professional engineer designs it"


def class_asks(asks: tuple[RuleKey, ...]) -> str:
    """Say what the rules ask of a depth that has reached some of theirs."""
    words = [_ASKED[key] for key in asks]
    if "protective system depth" not in asks:
        words.append(_SHALLOW)
    return " + ".join(words)


def cover_words(cover: GroundCover) -> str:
    """Return what broken ground of a cover is called."""
    if cover == "not mapped":
        return "Not mapped"
    return "UNDER A BUILDING" if cover == "building" else COVER_WORDS[cover]


def structure_words(found: StructureNear) -> str:
    """Say how near a cut something stands."""
    return found.verdict + (" at the 95 % bound" if found.only_by_bound else "")


def swell_words(review: DigReview) -> str:
    """Return the swell used, and where it is from."""
    if not review.reaches:
        return ""
    used = review.reaches[0].excavation
    low, high = (f"{100.0 * share:g}" for share in used.swell)
    share = f"{low} %" if low == high else f"{low} to {high} %"
    own = "set by the site" if review.report.site.dig.swell else _COMMON_SWELL
    return (
        f"Loose earth is the earth in place and {share}: {tidy(used.swell_source or own, 200)}. "
        "Volumes take the ground across the trench as measured, and as level where nobody did. "
        "Sloped walls are drawn sloping from the bottom up along the whole reach."
    )


# What stands under the dig page's headings and tables.
DIG_NOTES: Final = {
    "none": ("The plan shows none. That is no sign that there are none: call before you dig."),
    "section": (
        "Section where the reach is deepest, at the trench's bottom, on the ground as it "
        "lies across; all to one scale. Dashed: the influence line. The heap stands at the "
        "least set-back."
    ),
    "refind": (
        "Tape level, from the very point named. Swing both tapes to where they meet, on the "
        "side said; then read the check. A check that differs by more than the error "
        'expected means a wrong point, a wrong side or a slip: stop and look. "Lands within" '
        "is at 95 %, against the true pipe."
    ),
    "depths": (
        "Cover is down to the outside top of the pipe, invert to its inside bottom, trench "
        "bottom to the bottom of the bedding. ± is the 95 % range."
    ),
    "rules": (
        "State plans and local codes may be stricter and come first. Nothing here replaces "
        "the competent person on site."
    ),
}


def tolerance_note(review: DigReview) -> str:
    """Return which rule the tolerance is from, what it counts from, and how good a depth is."""
    good_m = TWO_SIDED_95 * SD_UTILITY_DEPTH_M
    return (
        f"Tolerance: {tidy(review.report.dig.rule, 300)}. It is measured from the utility's outer "
        "edge where the plan gives its size, else from the mapped line: where your law measures "
        "from the outside edge, add half the size. A utility's depth is to its top and taken as "
        f"good to {from_metres(good_m, 'ft'):.0f} ft ({good_m:.1f} m) at 95 % unless it has been "
        "uncovered; where its size is not known its own height comes off a clearance above the "
        "pipe."
    )


def key_name(key: KeyPoint) -> str:
    """Return what stands at a key point, such as ``crosses curb, clay begins``."""
    plain = {"bend": "bend", "end": "end of the run"}
    before = {"crossing": "crosses", "boundary": "at"}
    return ", ".join(
        plain.get(mark.kind)
        or " ".join(word for word in (before.get(mark.kind), mark.of, mark.edge) if word)
        for mark in key.marks
    )


def tape_words(tape: RefindTape | None, unit: str, most: int = NAME_LENGTH) -> str:
    """Return one tape of the re-find sheet."""
    if tape is None:
        return "–"
    return f"{format_tape(tape.distance_m, unit)} from {label(tape.point, most)}"


def side_of_tapes(one: Refind) -> str:
    """Say on which side of the line between the two tapes' points a place lies."""
    if one.to_the_right is None:
        return ""
    first, second = (tape.point for tape in one.tapes)
    hand = "right" if one.to_the_right else "left"
    return f"to the {hand} as you walk from {first} to {second}"


def against_line(line: RefindLine, unit: str) -> str:
    """Return a place against a plan line."""
    past = f"{format_tape(abs(line.past_m), unit)} {'past' if line.past_m >= 0 else 'short of'}"
    if abs(line.past_m) < _ON_LINE_M:
        past = "on"
    hand = "right" if line.to_the_right else "left"
    return (
        f"{past} {in_full(line.line)} ({range_95(line.sd_past_m, unit)}); along it "
        f"{format_tape(line.along_m, unit)} {hand} of {in_full(line.along_from)}, looking past it"
    )


def lands_within(one: Refind, unit: str) -> str:
    """Return how near the pipe the tapes lead, at 95 %."""
    if one.error_m is None or one.retrace_m is None:
        return "–"
    taping = format_small(one.retrace_m, unit)
    return f"{format_small(one.error_m, unit)} of the pipe ({taping} by taping alone)"


def tape_doubts(review: DigReview, one: Refind) -> tuple[str, ...]:
    """Return what to mind when a place is taped, a danger seen there first."""
    unit = review.report.site.unit
    longest = max((tape.distance_m for tape in one.tapes), default=0.0)
    words = {
        "no two points": "fewer than two named points: it cannot be taped from the plan",
        "through a building": (
            f"a tape would pass through {' and '.join(one.through)}: carry it round or measure "
            "inside"
        ),
        "near the mirror": (
            "the place is nearly on the line between the two points, where the tapes fix it poorly "
            "and hardly tell its two sides apart"
        ),
        "no check": (
            "no third point for a check distance: the mirror point cannot be told by tape"
        ),
        "check tells nothing": (
            "the check distance is much the same at the mirror point and cannot tell it"
        ),
        "flat": f"the best two tapes meet at only {one.meet_deg or 0.0:.0f} degrees",
        "long": f"the longest tape is {length(longest, unit)}",
    }
    dangers = [
        danger_words(found, unit)
        for found in review.report.findings
        if found.number == one.key.finding
    ]
    return (*dangers, *(words[doubt] for doubt in one.doubts))


def mirror_words(one: Refind, unit: str) -> str:
    """Say where the tapes meet again and what the check reads there, empty without tapes."""
    if one.mirror_gap_m is None:
        return ""
    mirror = f"the tapes meet again {length(one.mirror_gap_m, unit)} away"
    if one.mirror_check_m is None:
        return mirror
    return f"{mirror}, where the check reads {format_tape(one.mirror_check_m, unit)}"


def unread_words(row: DepthRow, unit: str) -> str:
    """Say why a depth is not to be relied on, empty where it was read near by."""
    if row.unread is None:
        return ""
    where = "nothing was located here"
    if row.under:
        where = f"under {row.under}, where nothing was located"
    if row.from_reading_m is None:
        return f"NO DEPTH WAS EVER READ: {where}"
    gap = format_length(row.from_reading_m, unit, 0 if unit != "m" else 1)
    how = "INTERPOLATED" if row.unread == "interpolated" else "CARRIED ON"
    return f"{how}: {where}; the nearest depth reading is {gap} along the pipe"


def summary_lines(review: DigReview) -> tuple[str, ...]:
    """Return the review on one page of plain text."""
    unit = review.report.site.unit
    lines = [f"{fact.name}: {fact.value}" + (f" ({fact.note})" if fact.note else "")
             for fact in dig_facts(review)]  # fmt: skip
    for one in review.reaches:
        reach, earth = one.reach, []
        for method in one.methods:
            found = {each.item: quantity_words(each, unit) for each in method.quantities}
            if "excavate" in found and "haul" in found:
                earth.append(f"{method.name}: {found['excavate']} in place, {found['haul']} loose")
        widest = max(one.excavation.cuts, key=lambda cut: cut.top_width_high_m)
        high = (widest.top_width_high_m, widest.face_high_m)
        wide, face = (length(each, unit) for each in high)
        lines += [
            "",
            reach_title(reach, unit),
            *(f"  {tidy(danger_words(danger, unit), 300)}" for danger in reach.dangers),
            f"  {tidy(reach_reason(reach), 200)}",
            *(f"  answers: {words}" for words in party_words(reach, unit)),
            f"  {'; '.join(earth)}, up to {wide} wide at the top and {face} high at the 95 % bound",
            *(f"  {in_full(found.name)}: {structure_words(found)}" for found in one.structures
              if found.kind == "building"),
            *(f"  {method.name}: {cost_words(review, method)}" for method in one.methods
              if method.cost is not None or method.refused),
        ]  # fmt: skip
    return tuple(lines)


def truck_urgent_lines(review: DigReview) -> tuple[str, ...]:
    """Return what heads the paper for the truck: stops, then all that lies in the trench."""
    unit = review.report.site.unit
    inside = [one for one in review.conflicts if one.in_the_way]
    said = [as_sentence(tidy(words, 400)) for words in danger_notices(review.report)]
    said += [as_sentence(f"IN THE TRENCH: {utility_words(one, unit)}") for one in inside]
    said += [
        as_sentence(f"IN THE SLOPED CUT: {utility_words(one, unit)}") for one, _ in review.dug_into
    ]
    if not inside and not review.dug_into:
        said.append("No mapped utility lies in the trench: that is no sign that there is none.")
    return tuple(said)


def truck_depths_words(review: DigReview) -> str:
    """Say what the depth figures are."""
    unit = review.report.site.unit
    return (
        f"Depth below ground in {unit_word(unit)}: invert with its 95 %, cover over the pipe. "
        "Grey with ?: not read near by, dig as if you did not know."
    )


def truck_reach_lines(review: DigReview) -> tuple[str, ...]:
    """Return each reach in a line: from where to where, how deep, which walls, how wide."""
    unit, said = review.report.site.unit, []
    for one in review.reaches:
        cut, asked = one.ground_chosen.cut, review.report.site.dig.walls
        how = f"{WALL_WORDS[cut.walls]}, soil {soil_words(one.rules, unit)}"
        if cut.walls != asked:
            how += f" ({asked} walls are refused or not allowed)"
        stop = "OPEN CUT REFUSED AS DRAWN, see dig.html: " if one.all_cuts_refused else ""
        ways = f", ways out {one.excavation.ways_out}" if one.excavation.ways_out else ""
        deep = one.excavation.deepest_high_m
        if one.rules.reached("engineer depth", deep):
            ways += ", ENGINEER'S DESIGN"
        elif one.rules.reached("protective system depth", deep):
            ways += ", protective system"
        said.append(
            f"{stop}{reach_title(one.reach, unit)}; up to {length(deep, unit)} "
            f"deep and {length(cut.top_width_high_m, unit)} wide at the top (95 %); {how}{ways}."
        )
    return tuple(said) or ("Nothing is proposed to be dug.",)


def truck_utility_lines(review: DigReview) -> tuple[str, tuple[str, ...]]:
    """Return a heading and the mapped utilities in order of danger, a line or two each."""
    unit = review.report.site.unit
    lines = [
        f"{number}. {utility_named(label(one.name, 24), one.utility)}: "
        f"{trench_words(one)}; {lies_words(one, unit)}, "
        + ("depth UNKNOWN" if one.depth_m is None else f"top {length(one.depth_m, unit)} down")
        for number, one in enumerate(review.conflicts, start=1)
    ]
    none = ("None mapped: no sign that there are none.",)
    return "Utilities, worst first:", tuple(lines) or none


def truck_tape_lines(review: DigReview) -> tuple[str, tuple[str, ...]]:
    """Return a heading and how the reaches' ends and the dangers are found again by tape."""
    unit, said = review.report.site.unit, []
    for number, one in enumerate(review.refinds, start=1):
        if one.key.kind not in ("danger", "reach end"):
            continue
        tapes = " and ".join(tape_words(tape, unit, 40) for tape in one.tapes)
        check = f"; check {tape_words(one.check, unit, 40)}" if one.check else "; NO CHECK"
        where = f"{tapes}{check}" if one.tapes else "no two points to tape from"
        said.append(f"K{number} {label(key_name(one.key), 40)}: {where}")
    return "Find again by tape (check last):", tuple(said)
