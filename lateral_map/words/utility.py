"""What is written to a party: the letter's sentences, its findings as rows, and the evidence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Any, Final

from lateral_map.model.chance import POOR_FIT, SURE, TWO_SIDED_95
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import tie_reading
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    PartyLetter,
    Report,
    ResponsibilityStretch,
)
from lateral_map.model.site import Boundary, Locate, NoLocate, PositionTie
from lateral_map.units import from_metres
from lateral_map.words.cautions import FIELD_CAUTIONS
from lateral_map.words.desk import desk_rows
from lateral_map.words.names import (
    CONTRADICTED_WORDS,
    FAR_END_WORDS,
    LINE_WORDS,
    finding_words,
    findings_named,
    footage_words,
    reading_name,
    readings_listed,
    taken_words,
    the,
    the_party,
    tie_words,
    whose,
)
from lateral_map.words.notices import (
    as_sentence,
    carried_words,
    danger_notices,
    drawing_notices,
    grazing_words,
    missed_words,
    other_ground_words,
)
from lateral_map.words.numbers import (
    decimals_for,
    label,
    length,
    listed,
    plus_minus,
    plus_minus_or_exact,
    range_95,
    tidy,
    unit_sentence,
    unit_word,
)
from lateral_map.words.technician import (
    answers_words,
    beside_words,
    report_tables,
    run_length,
    settling_words,
    turns_at_m,
    verdict_words,
)

_WORDS: Final = 1500
_NOTE: Final = 240
# A run from the street has its owner's side past a line: what the words are counted from is said.
SIDES: Final = "Past a line is beyond it as the camera went, inside is before it."
_WORKED_OUT: Final = (
    "The pipe was taken as straight pieces between the bends seen by the camera, each free to "
    "wander a little as laid pipe does. All readings were then fitted at once by weighted least "
    "squares: each counts for as much as its stated accuracy deserves. The same fit gives the "
    "uncertainty of every place on the line, of the lines on the plan, and of how far past a line "
    f"each finding lies. A probability of at least {100.0 * SURE:.0f} % is stated as past or "
    "inside; anything less is too close to call."
)
LIMITS: Final = (
    (
        "The ranges hold if the readings and their stated accuracies are what the technician "
        "says they are. A mistake that no other reading checks stays unseen; such readings are "
        "marked unchecked."
    ),
    (
        "Between locates the line is inferred from footage and bends. Where nothing was "
        "located, the drawing says so."
    ),
    (
        "Depth read at the surface is an estimate to the transmitter in the pipe, carried to "
        "the invert. Only exposing the pipe proves it."
    ),
    (
        "Curbs, rights of way and property lines are as mapped, with the accuracy shown. A "
        "curb is not a right-of-way line, and neither is a property line."
    ),
    (
        "Method of detection: electromagnetic observation. ASCE 38-22 quality level: not "
        "assigned, a professional's judgement."
    ),
)
# So many points and lines of a plan are listed whether or not anything is tied to them.
_WHOLE_PLAN: Final = 24
_EVIDENCE: Final = ("crossings", "responsibility", "falls", "readings")


def letter_facts(report: Report, letter: PartyLetter | None) -> dict[str, Any]:
    """Return what a letter and its findings pages show, as plain text, numbers and lists.

    ``letter`` is None where nobody but the client answers, or no boundary says who does.
    """
    site = report.site
    theirs, shared, close = (letter.theirs, letter.shared, letter.close) if letter else ((), (), ())
    dangers = report.dangers
    asked = {one.number for one in (*theirs, *shared, *close, *dangers)}
    record = [one for one in report.findings if one.number not in asked]
    own = site.referral if letter is None or is_addressed(report, letter) else None
    groups = {
        "dangers": dangers, "theirs": theirs, "shared": shared, "close": close, "record": record,
    }  # fmt: skip
    # How well the place of each boundary that decides is known.
    known = []
    for line in _deciding(report):
        on_plan = line.kind == "line"
        sd_m = site.plan.line(line.line).sd_m if on_plan else site.boundary_sd_m(line)
        how = "mapped to" if on_plan else "on the counter to"
        known.append(f"{as_sentence(label(line.line, 120))[:-1]} {how} {range_95(sd_m, site.unit)}")
    return {
        **{key: [finding_row(report, one, letter) for one in of] for key, of in groups.items()},
        "site": tidy(site.name, 120),
        "date": site.date.isoformat() if site.date else "",
        "to_lines": _text_lines(own.to if own else ""),
        "from_lines": _text_lines(site.referral.sender),
        "letter_date": site.referral.date.isoformat() if site.referral.date else "",
        "reference": tidy(site.referral.reference, 200),
        "fields": desk_rows(report),
        "signature_lines": _text_lines(site.referral.signature),
        "party": label(letter.party, 120) if letter else "",
        "the_party": the_party(letter.party) if letter else "",
        "client": label(report.client, 120),
        "title": _title(report, letter),
        "length": run_length(report),
        "located": located_sentence(report),
        "run": run_sentence(report),
        "reached_main": site.run.reached_main,
        "ended_at": site.run.end,
        "part": part_words(report, letter),
        "crosses": bool(letter and _crossings_of(report, letter)),
        "crossing": crossing_sentences(report, letter),
        "whose": _whose_sentence(report, letter),
        "total": len(report.findings),
        "stop": [as_sentence(tidy(words, 300)) for words in danger_notices(report)],
        "seen": seen_sentences(report, letter),
        "doubts": doubt_sentences(report),
        "question": tidy(own.question if own else "", _WORDS) or question(report, letter),
        "theirs_numbers": findings_named(theirs),
        "shared_numbers": findings_named(shared),
        "close_numbers": findings_named(close),
        "mapped": f"{'; '.join(dict.fromkeys(known))}." if known else "",
        "turning": turning_sentences(report),
        "sides": SIDES if report.deciding_crossings else "",
        "coordinates": coordinates_sentence(report),
        "units": unit_sentence(site.unit),
        "position_head": "Position" if site.frame.is_local else "Latitude, longitude; x, y",
        "cautions": list(FIELD_CAUTIONS),
        "suspects": len(mistakes_named(report)),
        "alternatives": len(report.route.alternatives),
    }


def located_sentence(report: Report) -> str:
    """Return how the line was found, without claiming a locate that nobody made."""
    if len(report.route.tied_footages_m):
        return "A camera was run through this lateral and its transmitter located from the surface."
    tried = len(report.site.no_locates)
    times = f", though it was tried at {tried} place{'' if tried == 1 else 's'}" if tried else ""
    marks = "no place where its transmitter was located is tied to the plan"
    nothing = marks if report.site.locates else "its transmitter was not located from the surface"
    return (
        f"A camera was run through this lateral; {nothing}{times}. The line is worked out from "
        "the counter, the bends seen and where the run starts alone."
    )


def run_sentence(report: Report) -> str:
    """Return how long the run is and what it came to."""
    run = report.site.run
    ended = f"; {FAR_END_WORDS[report.site.far_end]} was not reached"
    if run.reached_main:
        ended = " and ends at the main"
    elif run.end == "tank":
        ended = " and ends at a tank"
    elif report.site.far_end == "house":
        ended = ", toward the house, whose end was not reached"
    return f"The run is {run_length(report)} long{ended}."


def _text_lines(text: str) -> list[str]:
    return [tidy(line, 200) for line in tidy(text, _WORDS).splitlines()[:12]]


def evidence_facts(report: Report) -> dict[str, Any]:
    """Return what the evidence pages show."""
    return {
        "locates": [
            *(locate_row(report, locate) for locate in report.site.locates),
            *(no_locate_row(report, one) for one in report.site.no_locates),
        ],
        "method": method_sentences(report),
        "limits": LIMITS,
        "references": reference_rows(report),
        "tables": [table for table in report_tables(report) if table.key in _EVIDENCE],
        "fit": fit_sentences(report),
        "notices": drawing_notices(report),
    }


def is_addressed(report: Report, letter: PartyLetter) -> bool:
    """Say whether [referral] to and question are meant for this letter.

    They are where it is the only one, or the only one whose party the address names.
    """
    address = report.site.referral.to.casefold()
    named = [one.party for one in report.letters if one.party.casefold() in address]
    return len(report.letters) == 1 or named == [letter.party]


def depth_was_read(report: Report) -> bool:
    """Say whether anything measured tells how deep the pipe lies."""
    read = any(one.use and (one.depth_m or one.nulls_m) for one in report.site.locates)
    return read or report.route.assumed_start_depth_m is None


def mistakes_named(report: Report) -> list[str]:
    """Return the readings the rest disagrees with; of those one mistake draws along, that one."""
    first = [check for check in report.readings if check.set_aside_first] or report.suspects
    return [tidy(reading_name(check.id, report.site.plan)) for check in first]


def part_words(report: Report, letter: PartyLetter | None) -> str:
    """Return where the party's part of the run lies: ``past the curb``, ``between ... and ...``.

    Empty where the whole run is its, or nobody's in particular.
    """
    if letter is None:
        return ""
    unit = report.site.unit
    stretches = [one for one in report.responsibility if one.party == letter.party]
    if _is_told_by_footages(report, stretches):
        return " and ".join(
            f"from {length(one.from_m, unit)} to {length(one.to_m, unit)}" for one in stretches
        )
    if stretches:
        begins, ends = stretches[0].line_from, stretches[0].line_to
        if begins and ends:
            return f"between {the(begins)} and {the(ends)}"
        return f"past {the(begins)}" if begins else f"before {the(ends)}" if ends else ""
    # The run does not reach it.
    outside = any(b.line == letter.line and b.outside == letter.party for b in _deciding(report))
    return f"{'past' if outside else 'before'} {the(letter.line)}" if letter.line else ""


def _is_told_by_footages(report: Report, stretches: Sequence[ResponsibilityStretch]) -> bool:
    """Say whether a party's part lies in pieces, between one line and itself, or ends at none."""
    whole = report.responsibility
    return len(stretches) > 1 or any(
        one.line_from == one.line_to != ""
        or (not one.line_from and one is not whole[0])
        or (not one.line_to and one is not whole[-1])
        for one in stretches
    )


def _deciding(report: Report) -> list[Boundary]:
    return [boundary for boundary in report.site.boundaries if boundary.decides]


def _title(report: Report, letter: PartyLetter | None) -> str:
    if letter is None:
        return "its condition" if report.responsibility else "a question of who answers for it"
    part = part_words(report, letter) or "in your part"
    if letter.theirs or letter.shared:
        return f"referral of what lies {part}"
    if report.dangers:
        return "a foreign pipe or cable seen in it"
    if letter.close:
        return f"a question about {listed(list(_by_line(letter.close)), len(letter.close))}"
    return f"no defect {part}"


def _by_line(close: Iterable[FindingResult]) -> dict[str, list[FindingResult]]:
    """Return what is too close to call by the line it is close to."""
    found: dict[str, list[FindingResult]] = {}
    for one in close:
        if one.deciding:
            found.setdefault(the(one.deciding.line), []).append(one)
    return found


def _whose_sentence(report: Report, letter: PartyLetter | None) -> str:
    """Return whose the pipe is as the site has it, with how far each part reaches."""
    if letter is None:
        if not report.responsibility:
            return "The site names no line at which responsibility changes."
        answering = listed([whose(party) for party in report.parties], 99)
        return f"As we understand it, the whole run is {answering}."
    unit = report.site.unit
    ends = plus_minus_or_exact
    own = [one for one in report.responsibility if one.party == letter.party]
    spans = [
        f"from {ends(one.from_m, one.sd_from_m, unit)} to {ends(one.to_m, one.sd_to_m, unit)}"
        for one in own
    ]
    doubtful = " and ".join(
        f"from {ends(one.from_m, one.sd_from_m, unit)} to {ends(one.to_m, one.sd_to_m, unit)}"
        for one in report.responsibility
        if not one.party and letter.party in one.may_answer
    )
    part = part_words(report, letter)
    if spans:
        where = f" {part}" if part and not _is_told_by_footages(report, own) else ""
        loosest_m = TWO_SIDED_95 * max(sd for one in own for sd in (one.sd_from_m, one.sd_to_m))
        if loosest_m > report.site.run.end_m - report.site.counter.zero_m:
            return (
                f"As we understand it, the pipe{where} is yours; the readings do not say from "
                "where to where along the run that is."
            )
        told = f"As we understand it, the pipe{where}, {' and '.join(spans)}, is yours"
        return f"{told}; whose it is {doubtful} is left open." if doubtful else f"{told}."
    if doubtful:
        where = f" {part}" if part else " that is yours"
        return (
            f"As we understand it, the pipe{where} is yours; whose this run is {doubtful} is "
            "left open."
        )
    where = f", {part}" if part else ""
    met = letter.crossing
    beside = [
        one
        for one in report.deciding_crossings
        if met and one.line != met.line and round(one.footage_m - met.footage_m, 6) == 0.0
    ]
    if beside:
        return (
            "As we understand it, none of this run is yours: it crosses both lines that bound your "
            "part at one place."
        )
    return f"As we understand it, this run does not reach the part that is yours{where}."


def _crossings_of(report: Report, letter: PartyLetter) -> list[Crossing]:
    """Return where the run passes into or out of a party's part, or up to it."""
    ends = {
        (line, at)
        for one in report.responsibility
        if one.party == letter.party
        for line, at in ((one.line_from, one.from_m), (one.line_to, one.to_m))
    }
    found = [one for one in report.deciding_crossings if (one.line, one.footage_m) in ends]
    return found or ([letter.crossing] if letter.crossing else [])


def crossing_sentences(report: Report, letter: PartyLetter | None) -> str:
    """Return where the run crosses what bounds the party's part, or how near it comes."""
    if letter is None:
        return ""
    unit, sentences = report.site.unit, []
    for crossing in _crossings_of(report, letter):
        does = {"main": "meets", "cleanout": "passes"}.get(crossing.kind, "crosses")
        sentences.append(
            f"It {does} {the(crossing.line)} at "
            f"{plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, the invert "
            f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} below the ground."
        )
        sentences.append(as_sentence(grazing_words(crossing, unit)))
        if crossing.carried_m:
            words = f"{the(crossing.line)} is a {carried_words(crossing.carried_m, unit)}"
            sentences.append(as_sentence(words))
    if not sentences:
        sentences = [
            as_sentence(missed_words(short, unit))
            for short in report.uncrossed
            if short.decides and short.line == letter.line
        ]
    return " ".join(filter(None, sentences))


def seen_sentences(report: Report, letter: PartyLetter | None) -> list[str]:
    """Return what was seen and which of it is put to the party: defects only."""
    many = len(report.defects)
    if not many:
        besides = "Besides the danger told first, no" if report.dangers else "No"
        return [f"{besides} defect was seen."]
    if letter is None:
        return [f"{many} defect{' was' if many == 1 else 's were'} seen, all listed."]
    part = part_words(report, letter) or "in your part"
    if not letter.theirs:
        none = "The one defect" if many == 1 else f"None of the {many} defects"
        sentences = [f"{none} seen is {'not ' if many == 1 else ''}shown to lie wholly {part}."]
    elif many == 1:
        sentences = [f"The one defect seen lies {part} with at least 95 % probability."]
    else:
        lie = "lies" if len(letter.theirs) == 1 else "lie"
        theirs = f"{len(letter.theirs)} {lie} {part} with at least 95 % probability"
        named = findings_named(letter.theirs)
        sentences = [f"Of the {many} defects seen, {theirs}: {named}."]
    # One that goes on into a further part surely reaches across from this one.
    partly = [one for one in letter.shared if not one.answers]
    unclear = [
        one for one in letter.shared if one.verdict == "past from within" and len(one.answers) == 1
    ]
    across = [one for one in letter.shared if one not in (*unclear, *partly)]
    if across:
        reach = "reaches" if len(across) == 1 else "reach"
        sentences.append(
            f"{findings_named(across).capitalize()} {reach} across into it: only what lies {part} "
            "is put to you."
        )
    if unclear:
        many_parts = "The far part of" if len(unclear) == 1 else "The far parts of"
        lies = "lies" if len(unclear) == 1 else "lie"
        sentences.append(
            f"{many_parts} {findings_named(unclear)} {lies} {part}; where "
            f"{_they(unclear, 'it begins', 'they begin')} is too close to call."
        )
    return [*sentences, *_partly_sentences(partly, letter.party, part), *_close_sentences(letter)]


def _partly_sentences(findings: Iterable[FindingResult], party: str, part: str) -> Iterator[str]:
    """Yield what is the party's of findings of which the rest is open, those alike together."""
    groups: dict[tuple[bool, str], list[FindingResult]] = {}
    for one in findings:
        begins, ends = one.begins_with == party, one.ends_with == party
        at = "" if begins == ends else "begin" if begins else "end"
        groups.setdefault((one.contradicted, at), []).append(one)
    for (contradicted, at), group in groups.items():
        named, s = findings_named(group), _they(group, "s", "")
        said = f"{_they(group, 'A part', 'Parts')} of {named} lie{s} in your part"
        rest = "how far that reaches is too close to call"
        if at:
            other = "end" if at == "begin" else "begin"
            said = f"{named.capitalize()} {at}{s} in your part"
            rest = f"where {_they(group, 'it', 'they')} {other}{s} is too close to call"
        if contradicted:
            rest = f"who answers for the rest is left open: {CONTRADICTED_WORDS}"
        yield f"{said}; {rest}."
    if groups:
        yield f"Of that only what surely lies {part} is put to you."


def _close_sentences(letter: PartyLetter) -> list[str]:
    """Return what is claimed of nobody, and why."""
    sentences = []
    # Of what begins or ends in another's part something is known.
    partly = [one for one in _close_to_a_line(letter) if one.surely_answers]
    for line, close in _by_line(partly).items():
        sentences.append(
            f"{findings_named(close).capitalize()} {_they(close, 'lies', 'lie')} in part in "
            f"another's; whether {_they(close, 'it reaches', 'they reach')} into yours is too "
            f"close to {line} to call, and nothing is claimed of {_they(close, 'it', 'them')}. "
            "What would settle it is in the table."
        )
    unknown = [one for one in _close_to_a_line(letter) if not one.surely_answers]
    for line, close in _by_line(unknown).items():
        sentences.append(
            f"{findings_named(close).capitalize()} {_they(close, 'is', 'are')} too close to {line} "
            f"to call: the readings do not say on which side {_they(close, 'it lies', 'they lie')},"
            f" and nothing is claimed of {_they(close, 'it', 'them')}. What would settle it is in "
            "the table."
        )
    if untold := _untold(letter):
        sentences.append(
            f"Who answers for {findings_named(untold)} is left open: {CONTRADICTED_WORDS}. Nothing "
            f"is claimed of {_they(untold, 'it', 'them')}."
        )
    return sentences


def _close_to_a_line(letter: PartyLetter) -> list[FindingResult]:
    return [one for one in letter.close if not one.contradicted]


def _untold(letter: PartyLetter) -> list[FindingResult]:
    """Return what surely lies on one side of a line, by another that decides with somebody else."""
    return [one for one in letter.close if one.contradicted]


def _they(findings: Iterable[FindingResult], one: str, several: str) -> str:
    return one if len(tuple(findings)) == 1 else several


def doubt_sentences(report: Report) -> list[str]:
    """Return what makes all of it less sure than it looks: mistakes in it, other lines that fit."""
    sentences, wrong = [], mistakes_named(report)
    if wrong:
        does, again = ("One reading does", "it is")
        if len(wrong) > 1:
            does, again = f"{len(wrong)} readings do", "they are"
        sentences.append(
            f"{does} not agree with the others: {listed(wrong, len(wrong))}. Until "
            f"{again} measured again, the ranges given here are less sure than they say."
        )
    if report.route.alternatives:
        sentences.append(
            "More than one line fits the readings about as well. The places given here are on the "
            "one drawn; the others are drawn dotted, and the probabilities count all of them."
        )
    if not depth_was_read(report):
        sentences.append("Nobody measured how deep the pipe lies: the depths here are assumed.")
    return [*sentences, *map(as_sentence, other_ground_words(report))]


def question(report: Report, letter: PartyLetter | None) -> str:
    """Return the one sentence asked where the site gives none of its own.

    It asks; it claims nothing. What is too close to call is asked about as such.
    """
    if letter is None and report.responsibility:
        return "Will you tell us if any record of yours says otherwise?"
    if letter is None:
        return (
            "Will you tell us at which line responsibility for this lateral changes, and on which "
            "record or code that rests?"
        )
    part = part_words(report, letter)
    pipe = f"the pipe {part}" if part else "this pipe"
    theirs = (*letter.theirs, *letter.shared)
    if theirs:
        return (
            f"Will you confirm whether {pipe} is yours and, if it is, what will be done about "
            f"{findings_named(theirs)}, and when?"
        )
    if letter.close:
        near = _close_to_a_line(letter)
        sides = [
            f"on which side of {line} {findings_named(close)} {_they(close, 'lies', 'lie')}"
            for line, close in _by_line(one for one in near if not one.surely_answers).items()
        ]
        if partly := [one for one in near if one.surely_answers]:
            reaches = _they(partly, "reaches", "reach")
            sides.append(f"whether {findings_named(partly)} {reaches} into your part")
        if untold := _untold(letter):
            sides.append(f"who answers for {findings_named(untold)}")
        settled = listed(sides, len(sides))
        return f"Will you meet us on site, or let us see the record, to settle {settled}?"
    return f"Will you tell us whether you need anything more about {pipe}?"


def finding_row(
    report: Report, result: FindingResult, letter: PartyLetter | None = None
) -> dict[str, Any]:
    """Return one finding as the plain values a template shows; both ends of a stretch."""
    site, unit = report.site, report.site.unit
    places = [place for place, _ in result.ends]
    doubted = [tidy(reading_name(one.reading, site.plan)) for one in result.verdict_without]
    settle = [f"{listed(doubted, len(doubted))} measured again"] if doubted else []
    if words := tidy(settling_words(result.settling, unit), _NOTE):
        settle.append(words)
    finding = result.finding
    clock = f"at {finding.clock} o'clock" if finding.clock else ""
    shown = finding.video or ("video" if finding.video_time else "")
    video = " at ".join(filter(None, (shown, finding.video_time)))
    return {
        "number": result.number,
        "footage": footage_words(result.finding, unit),
        "words": finding_words(result),
        "note": tidy(result.finding.note, _NOTE),
        "depth": [plus_minus(place.depth_m, place.sd_depth_m, unit) for place in places],
        "position": [
            line for p in places for line in position_words(report, p.easting_m, p.northing_m)
        ],
        "ellipse": [f"{range_95(p.semi_major_m / TWO_SIDED_95, unit)} (95 %)" for p in places],
        "side": _side_sentences(report, result, letter),
        "rests_on": readings_listed(result.rests_on, site.plan),
        "basis": listed(list(dict.fromkeys(place.basis for place in places))),
        "settle": "; then ".join(settle)
        or ("the record" if result.contradicted else "the record, or uncovering the pipe"),
        "seen_at": tidy("; ".join(filter(None, (clock, video))), _NOTE),
        "ends": [length(place.footage_m, unit) for place in places] if len(places) > 1 else [],
        "left_open": result.left_open is not None,
    }


def _side_sentences(report: Report, result: FindingResult, letter: PartyLetter | None) -> str:
    """Return a finding's verdict, and where it may be the reader's its side of each line there.

    The lines are those that bound the reader's part: one that decides farther on tells the reader
    nothing of what lies in between.
    """
    if result.verdict is None or result.deciding is None:
        return ""
    unit, decides = report.site.unit, result.deciding.line
    told = [tidy(verdict_words(result, unit, turns=False), 600)]
    if letter is not None and result in (*letter.theirs, *letter.shared, *letter.close):
        own = [one for one in report.responsibility if one.party == letter.party]
        bounds = {line for one in own for line in (one.line_from, one.line_to)} - {""}
        bounds = bounds or {letter.line}
        ends = [sides for _, sides in result.ends]
        others = [
            beside_words(sides[0], sides[-1] if len(sides) > 1 else None, unit)
            for sides in zip(*ends, strict=True)
            if sides[0].line in bounds and sides[0].line != decides
        ]
        told = [*told, *others] if decides in bounds else [*others, *told]
    if result.contradicted:
        told.append(tidy(answers_words(result), 600))
    return " ".join(map(as_sentence, told))


def position_words(report: Report, easting_m: float, northing_m: float) -> tuple[str, ...]:
    """Return a place as latitude, longitude (not for a sketch) and as x, y."""
    frame = report.site.frame
    x, y = frame.from_plane(easting_m, northing_m)
    decimals = decimals_for(report.site.unit)
    grid = f"x {float(x):z.{decimals}f}, y {float(y):z.{decimals}f}"
    lonlat = frame.plane_to_lonlat(easting_m, northing_m)
    # Latitude and longitude are bare as maps take them.
    return (grid,) if lonlat is None else (f"{lonlat[1]:.7f}, {lonlat[0]:.7f}", grid)


def turning_sentences(report: Report) -> list[str]:
    """Return, for each line that no reading checks, which findings turn with it.

    How far off it must be for that is how far past or inside it each finding lies: its row says so.
    """
    turning: dict[str, list[FindingResult]] = {}
    for one in report.findings:
        if one.deciding and turns_at_m(one) is not None:
            turning.setdefault(the(one.deciding.line), []).append(one)
    return [
        f"Nothing checks where the map has {line}. If it lies elsewhere by more than "
        f"{_they(findings, 'its distance here', 'their distances here')}, "
        f"{findings_named(findings)} {_they(findings, 'is', 'are')} on its other side"
        f"{', in whole or in part.' if any(one.far for one in findings) else '.'}"
        for line, findings in turning.items()
    ]


def fit_sentences(report: Report) -> tuple[str, ...]:
    """Return how well the readings agree, with the engineer's figures."""
    fit = report.fit
    counts = (
        f"{fit.observations} observations, prior knowledge included, fixed {fit.unknowns} unknowns."
    )
    if fit.p_value is None:
        return (counts, "Nothing is left over to check the readings against one another.")
    agree = (
        "The readings agree with one another as well as their stated accuracies promise"
        if fit.p_value >= POOR_FIT
        else "The readings disagree with one another more than their stated accuracies allow"
    )
    figures = (
        f"(chi-square {fit.chi_square:.1f} on {fit.degrees_of_freedom} degrees of freedom; a fit "
        f"at least this poor happens by chance with probability {fit.p_value:.2g})."
    )
    return (counts, f"{agree} {figures}")


def locate_row(report: Report, locate: Locate) -> tuple[str, ...]:
    """Return one locate as it was read: mark, footage, depth, height held, ties, used or not."""
    unit = report.site.unit

    def noted(words: str, reading: ReadingId) -> str:
        taken = taken_words(report.site, reading)
        return f"{words} ({taken})" if taken else words

    depth = "" if locate.depth_m is None else _as_read(locate, "depth", locate.depth_m, unit)
    ties = []
    for tie in locate.ties:
        known = range_95(tie.sd_m, unit)
        if isinstance(tie, PositionTie):
            place = position_words(report, tie.easting_m, tie.northing_m)
            fixed = f"GNSS {place[0]}" if tie.method == "gnss" else f"surveyed {place[-1]}"
            words = f"{fixed} ({known} each axis)"
        else:
            read = partial(_as_read, locate, tie.column, unit=unit)
            words = f"{tie_words(tie, read)} ({known})"
        ties.append(noted(words, tie_reading(locate, tie)))
    return (
        label(locate.mark, 40),
        noted(
            _as_read(locate, "footage", locate.footage_m, unit),
            ReadingId("footage", locate.mark, "footage"),
        ),
        noted(depth, ReadingId("depth", locate.mark, "depth")),
        _as_read(locate, "held_above", locate.held_above_m, unit) if locate.held_above_m else "",
        "; ".join(ties) or "none",
        "yes" if locate.use else "no",
        tidy(locate.note, _NOTE),
    )


def _as_read(locate: Locate, column: str, value_m: float, unit: str) -> str:
    """Return a reading as it was written, with its unit; to a thousandth where nobody wrote it."""
    written = tidy(locate.written.get(column, ""), 40).lstrip("+-−")
    if not written:
        written = f"{from_metres(value_m, unit):z.3f}".rstrip("0").rstrip(".")
    bare = not any(letter.isalpha() or letter in "'\"’”′″" for letter in written)
    return f"{written} {unit_word(unit)}" if bare else written


def no_locate_row(report: Report, one: NoLocate) -> tuple[str, ...]:
    """Return a place where nothing could be located, in the columns of ``locate_row``."""
    footage = length(one.footage_m, report.site.unit)
    return (
        label(one.mark, 40),
        footage,
        "",
        "",
        "nothing could be located",
        "no",
        tidy(one.why, _NOTE),
    )


def method_sentences(report: Report) -> tuple[str, str]:
    """Return how the line was measured, as far as it was, and how it was worked out."""
    begins = (
        "A camera on a push rod was run through the pipe. A counter read the length paid out, "
        "which is distance along the pipe."
    )
    used = [locate for locate in report.site.locates if locate.use]
    if not used:
        found = (
            "Nothing was located from the surface: the line rests on the counter, the bends seen, "
            "and where and in which direction the run starts."
        )
    else:
        tied = (
            ", and each paint mark tied by tape, offset, coordinates or satellite positioning to "
            "things that stay where they are"
            if len(report.route.tied_footages_m)
            else ""
        )
        read = any(locate.depth_m is not None for locate in used)
        found = (
            "A transmitter behind the lens was located from the surface at the footages listed, "
            f"its depth {'read' if read else 'not read'}{tied}."
        )
    return f"{begins} {found}", _WORKED_OUT


def reference_rows(report: Report) -> list[tuple[str, ...]]:
    """Return the points taped from, the lines measured to or met, how well mapped and by whom.

    A short plan stands there whole; of a long one what is neither is counted.
    """
    site, unit, plan = report.site, report.site.unit, report.site.plan
    used = {site.start.point, *(one.line for one in site.boundaries)}
    used |= {one.line for one in report.crossings} | {one.line for one in report.uncrossed}
    for tie in (tie for locate in site.locates for tie in locate.ties):
        used |= {tie.point, tie.line}
    whole = len(plan.points) + len(plan.lines) <= _WHOLE_PLAN
    points = [one for one in plan.points if whole or one.name in used]
    lines = [one for one in plan.lines if whole or one.name in used]
    rows: list[tuple[str, ...]] = [
        (
            label(point.name, 120),
            "point to tape from",
            ", ".join(position_words(report, point.easting_m, point.northing_m)),
            f"{range_95(point.sd_m, unit)} each axis",
            tidy(point.source, _NOTE),
        )
        for point in points
    ]
    for line in lines:
        kind, known = LINE_WORDS[line.kind].lower(), f"{range_95(line.sd_m, unit)} across"
        rows.append((label(line.name, 120), kind, "", known, tidy(line.source, _NOTE)))
    left = len(plan.points) + len(plan.lines) - len(rows)
    if left:
        rows.append((f"{left:,} more on the plan", "neither tied to nor near the run", "", "", ""))
    return rows


def coordinates_sentence(report: Report) -> str:
    """Return which system the coordinates are in, and through which datum shift."""
    frame, unit = report.site.frame, report.site.unit
    grid = "US survey ft" if frame.unit_name == "us_ft" else frame.unit_name
    if frame.is_local:
        sketch = "US survey ft" if unit == "us_ft" else unit
        return f"Coordinates are x, y of a sketch in {sketch}, tied to no place on earth."
    words = f"Latitude and longitude are WGS 84; x, y are {label(frame.crs, 60)} in {grid}."
    if frame.lonlat_operation:
        accuracy = frame.lonlat_accuracy_m
        words += f" Between them: {frame.lonlat_operation}"
        words += f", good to {length(accuracy, unit)}." if accuracy else "."
    return words


def summary_lines(report: Report) -> list[str]:
    """Return what the packet puts to whom, in a few lines for the terminal."""
    lines = [as_sentence(tidy(words, 300)) for words in danger_notices(report)]
    letters: tuple[PartyLetter | None, ...] = report.letters or (None,)
    for letter in letters:
        facts = letter_facts(report, letter)
        if letter is None:
            lines.append(facts["whose"])
        else:
            lines.append(f"To {the_party(letter.party)}: {facts['crossing'] or facts['whose']}")
            lines.append(f"Wholly {whose(letter.party)}: {facts['theirs_numbers'] or 'no defect'}")
            if facts["shared"]:
                lines.append(f"Partly {whose(letter.party)}: {facts['shared_numbers']}")
            if facts["close"]:
                lines.append(f"Too close to call, nothing claimed: {facts['close_numbers']}")
        lines.append(f"Asked: {facts['question']}")
    unaddressed = report.letters and not any(is_addressed(report, one) for one in report.letters)
    if report.site.referral.to and unaddressed:
        lines.append(
            "[referral] to names none of the parties written to, so its address and question "
            "stand on no letter"
        )
    if not report.site.referral.sender:
        lines.append("The letter does not say whom to answer: write [referral] from in site.toml")
    return [*lines, *(as_sentence(tidy(notice, 300)) for notice in report.site.notices)]
