"""The owner's page: what was found, where, whose it is and what next, in everyday words."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.diagnosis import Slip, SlipName
from lateral_map.model.results import (
    FindingResult,
    FindingVerdict,
    Report,
    SettlingWay,
)
from lateral_map.model.site import FarEnd, Severity
from lateral_map.model.trade import is_at_main, is_danger_noted, is_tap
from lateral_map.words.cautions import OWNER_CAUTIONS
from lateral_map.words.diagnoses import told_once
from lateral_map.words.names import (
    CONTRADICTED_WORDS,
    FAR_END_WORDS,
    findings_named,
    footage_words,
    the,
    the_party,
    whose,
)
from lateral_map.words.notices import as_sentence, danger_notices, other_ground_words
from lateral_map.words.numbers import in_full, length, listed, tidy, with_capital
from lateral_map.words.technician import run_length
from lateral_map.words.utility import depth_was_read, mistakes_named, part_words

_EVERYDAY: Final[dict[str, str]] = {
    "roots": "Tree roots have grown into the pipe",
    "crack": "The pipe is cracked",
    "offset joint": "Two lengths of pipe no longer line up",
    "broken pipe": "The pipe is broken",
    "standing water": "Water stands in a low spot",
    "grease": "Grease has built up",
    "transition": "The pipe changes from one material to another",
}
_FAR_END: Final[dict[FarEnd, str]] = {**FAR_END_WORDS, "main": "the main sewer"}
_HOW_BAD: Final[dict[Severity, str]] = {
    "minor": "slightly",
    "moderate": "noticeably",
    "severe": "badly",
}
_SETTLING: Final[dict[SettlingWay, str]] = {
    "which route": "one more tape or direction, to tell which way the pipe runs",
    "look again": "a second look at our notes and the video, where something does not fit",
    "locate over": "the pipe located once more, right over it",
    "tape from line": "one tape measured from the real {line} to mark {mark}",
    "locate taped from line": (
        "the pipe located once more, right over it, and that mark taped from the real {line}"
    ),
}


_SHAPES: Final[dict[FindingVerdict, str]] = {
    "inside": "round before the line that decides who answers, as the camera went",
    "past": "square past the line that decides who answers",
    "across": "half round, half square where it lies on both sides of that line",
    "past from within": "half pointed, half square where its far part is past that line",
    "too close to call": "a diamond where that is too close to call",
}


# A depth that may be half as much again is told with how much it may be off.
_LOOSE: Final = 0.5
_NO_DEPTH: Final = "how deep it lies nobody has measured"

# What the owner reads of a finding, by how soon it is told.
_GROUPS: Final = (
    "Dangerous",
    "In another's part, as we understand it",
    "Reaching into another's part",
    "Too close to call",
    f"Left open: {CONTRADICTED_WORDS}",
    "In your part, as we understand it",
    "The rest of what is wrong",
    "How the pipe is built",
)


def owner_facts(report: Report) -> dict[str, Any]:
    """Return what the owner's page shows, as plain text and lists; every finding, worst first."""
    site = report.site
    findings = sorted(report.findings, key=lambda one: (_rank(report, one), one.number))
    # What the shapes of the marks on the picture mean, of those that are there.
    drawn = {one.verdict for one in findings if one.finding_class != "danger"}
    shapes = [words for verdict, words in _SHAPES.items() if verdict in drawn]
    if {"inside", "past"} <= drawn:
        shapes[1] = "square past it"
    shapes += ["with eight sides, a danger"] if report.dangers else []
    came_to = f"; it did not reach {_FAR_END[site.far_end]}"
    if site.run.reached_main:
        came_to = ", all the way to the main sewer"
    elif site.run.end == "tank":
        came_to = ", all the way to a tank"
    elif site.far_end == "house":
        came_to = f", toward the house{came_to}"
    return {
        "site": tidy(site.name, 120),
        "date": site.date.isoformat() if site.date else "",
        "stop": [as_sentence(tidy(words, 300)) for words in danger_notices(report)],
        "length": run_length(report),
        "came_to": came_to,
        "start": the(site.start.point) if site.start.point else "its start",
        "found": _found(report),
        "doubts": _doubts(report),
        "cards": [_card(report, one) for one in findings],
        "shapes": f"A mark is {'; '.join(shapes)}." if shapes else "",
        "next": _next_steps(report),
        "cautions": OWNER_CAUTIONS,
    }


def _found(report: Report) -> str:
    """Return how the line was found and how deep it lies, as far as anybody measured it."""
    if len(report.route.tied_footages_m):
        how = "From above the ground we followed the camera and marked where the pipe runs."
    else:
        how = (
            "From above the ground nobody could follow the camera"
            if report.site.no_locates
            else "Nobody has followed the camera from above the ground yet"
        )
        how += ": where the pipe runs is reckoned from how far and which way the camera went."
    if not depth_was_read(report):
        return f"{how} {_NO_DEPTH[0].upper()}{_NO_DEPTH[1:]}."
    unit, depth_m = report.site.unit, report.stations.depth_m[report.in_pipe]
    sd_m = report.stations.depth_sd_m[report.in_pipe]
    low, high = (length(float(m), unit) for m in (depth_m.min(), depth_m.max()))
    loose = np.flatnonzero(TWO_SIDED_95 * sd_m > _LOOSE * depth_m)
    give = f", give or take {length(TWO_SIDED_95 * float(sd_m.max()), unit)}" if len(loose) else ""
    return f"{how} It lies {low} to {high} below the ground{give}."


def owner_reader(report: Report) -> str:
    """Return the party the page is for: the one whose name says owner, else whom we work for."""
    return next((p for p in report.parties if "owner" in p.lower().split()), report.client)


def _rank(report: Report, result: FindingResult) -> int:
    """Return how soon a finding is told: danger, others' part, across, open, the rest."""
    if result.finding_class != "defect":
        return 0 if result.finding_class == "danger" else 7
    if not result.may_answer:
        return 6
    if result.may_answer == (owner_reader(report),):
        return 5
    if result.contradicted:
        return 4
    if result.left_open and set(result.surely_answers) <= {owner_reader(report)}:
        return 3
    return 1 if len(result.may_answer) == 1 else 2


def _card(report: Report, result: FindingResult) -> dict[str, Any]:
    """Return a finding as the owner reads it: what it is, where, and whose."""
    finding, unit = result.finding, report.site.unit
    if is_at_main(finding, report.site):
        words = "The pipe meets the main sewer"
    elif result.finding_class == "feature" and is_tap(finding):
        words = "Another pipe joins here"
    elif is_danger_noted(finding):
        words = f"{with_capital(in_full(finding.finding))}: {in_full(finding.note)}"
    elif finding.finding.lower() == "other":
        words = f"Something else: {in_full(finding.note)}" if finding.note else "Something else"
    else:
        words = _EVERYDAY.get(finding.finding.lower(), with_capital(in_full(finding.finding)))
    bad = finding.severity if result.finding_class == "defect" else None
    # A sentence of ours has an adverb; a bare name of the trade keeps the trade's own word.
    how = _HOW_BAD if words in _EVERYDAY.values() else {}
    places = [place for place, _ in result.ends]
    deep = [place.depth_m for place in places]
    if not depth_was_read(report):
        down = _NO_DEPTH
    elif min(deep) < 0.0:
        down = "where our depths put it above the ground: they have to be read again"
    else:
        down = f"about {' to '.join(dict.fromkeys(length(one, unit) for one in deep))} down"
        half = max(TWO_SIDED_95 * place.sd_depth_m for place in places)
        # How loosely, where that matters.
        down += f", give or take {length(half, unit)}" if half > _LOOSE * min(deep) else ""
    return {
        "number": result.number,
        "what": f"{words} ({how.get(bad, bad)})" if bad else words,
        "where": f"{footage_words(finding, unit)} along the pipe, {down}.",
        "whose": _whose(result, owner_reader(report)),
        "kind": result.finding_class,
        "group": _GROUPS[_rank(report, result)],
        "unsure": result.contradicted or result.verdict not in ("inside", "past"),
    }


def _whose(result: FindingResult, reader: str) -> str:
    if result.verdict is None or result.deciding is None:
        return "Whose it is has not been said: nobody has named the line where it changes."
    line = the(result.deciding.line)
    parties = ["yours" if party == reader else whose(party) for party in result.answers]
    first = parties[0] if parties else ""
    side = f"on {'your' if first == 'yours' else first} side"
    if result.verdict == "across" and len(parties) > 1:
        parts = listed([f"part {party}" for party in parties], len(parties))
        return f"Reaches across {line}: {parts}, as we understand it."
    if result.contradicted:
        # Sure of this line, not of another that decides beside it.
        lies = {"across": "Reaches across", "past from within": "Its far part is past"}
        begin = f"{lies[result.verdict]} {line}; w" if result.verdict in lies else "W"
        return f"{begin}ho answers for it is left open: {CONTRADICTED_WORDS}."
    if result.verdict == "past from within":
        parts = listed([f"part {party}" for party in parties], len(parties))
        there = side if len(parties) == 1 else parts
        return (
            f"Its far part is past {line}, {there} as we understand it; where it begins is too "
            "close to call."
        )
    if result.verdict == "too close to call":
        if len(parties) == 1:
            return f"Too close to {line} to say on which side, but {first} either way."
        if known := _known_part(result, reader):
            return f"{known} {_what_would_tell(result)}"
        return f"Too close to {line} to say on which side it is. {_what_would_tell(result)}"
    # Past and before hang on which way the camera went.
    where = f"{side} of {line}" if result.verdict in ("past", "inside") else f"all {first}"
    return f"{where[0].upper()}{where[1:]}, as we understand it."


def _known_part(result: FindingResult, reader: str) -> str:
    """Return whose a part of a finding is of which the rest is too close to call, else nothing."""
    parts = [
        "your part" if one == reader else f"{whose(one)} part" for one in result.surely_answers
    ]
    if not parts or result.deciding is None:
        return ""
    close = f"too close to {the(result.deciding.line)} to call"
    if bool(result.begins_with) == bool(result.ends_with):
        lies = f"Some of it lies in {listed(parts, len(parts))}"
        return f"{lies}, as we understand it; the rest is {close}."
    if result.begins_with:
        lies = " and goes on into ".join(parts)
        return f"It begins in {lies}, as we understand it; where it ends is {close}."
    lies = " and before that in ".join(parts[::-1])
    return f"It ends in {lies}, as we understand it; where it begins is {close}."


def _what_would_tell(result: FindingResult) -> str:
    settling = result.settling
    if result.verdict_without:
        return "First the measurement that does not fit has to be made again."
    if settling is None:
        return "Only a record, or uncovering the pipe, can tell."
    wanted = _SETTLING[settling.way].format(line=in_full(settling.line), mark=settling.mark)
    return f"What would tell: {wanted}."


# What may have gone wrong in the notes, in everyday words; of one reading where nothing else fits.
_ONE_NUMBER: Final = "one number in the notes was written down wrong"
_GONE_WRONG: Final[dict[SlipName, str]] = {
    "bend turned the other way": "a bend was noted the wrong way round",
    "bend angle": "a bend was noted with the wrong angle",
    "bend misplaced": "a bend was noted at the wrong place",
    "bend not noted": "the pipe bends where no bend was noted",
    "counter not at zero": "the camera's counter did not begin at nothing",
    "counter slipped": "the camera's counter slipped on the way",
    "counter scale": "the camera's counter runs long or short",
    "riser left out": "a drop at the start of the pipe was left out of the notes",
    "riser counted twice": "the drop at the start of the pipe was counted twice",
    "held above left out": "the locating device was held up and nobody noted it",
    "positions shifted together": "all satellite positions are off the same way",
    "line mapped elsewhere": "a line on the map lies elsewhere than it is drawn",
    "point mapped elsewhere": "a point on the map lies elsewhere than it is drawn",
    "start elsewhere": "the pipe starts elsewhere than it is drawn",
    "azimuth": "the direction the pipe leaves in was noted wrong",
}


def _gone_wrong(slip: Slip, unit: str) -> str:
    """Return what went wrong in everyday words, with where along the pipe."""
    words = _GONE_WRONG.get(slip.slip, _ONE_NUMBER)
    if slip.footage_m is None or (slip.id is not None and slip.id.is_mapped):
        return words
    return f"{words}, about {length(slip.footage_m, unit)} along the pipe"


def _doubts(report: Report) -> list[str]:
    sentences, wrong = [], mistakes_named(report)
    unit = report.site.unit
    if report.site.applied:
        put_right = [_gone_wrong(one.slip, unit) for one in report.site.applied]
        sentences.append(
            f"The notes were put right on our word: {listed(put_right, len(put_right))}. Places "
            "and depths here are worked out with that put right."
        )
    likely = told_once(report.likely_diagnoses)
    for diagnosis in likely:
        told = " and ".join(_gone_wrong(slip, unit) for slip in diagnosis.together)
        sentences.append(
            f"Something we measured does not fit the rest. Most probably {told}. Until that has "
            "been looked at again, places and depths here are less sure than they look."
        )
    if wrong and not likely:
        one = len(wrong) == 1
        sentences.append(
            f"{'One measurement does' if one else f'{len(wrong)} measurements do'} not fit the "
            f"others: {listed(wrong, len(wrong))}. Until {'it is' if one else 'they are'} made "
            "again, places and depths here are less sure than they look."
        )
    if report.route.alternatives:
        sentences.append(
            "We are not yet sure of the route: another line fits what we measured about as well. "
            "Both are drawn. One more measurement settles it; have it made before anyone digs."
        )
    return [*sentences, *map(as_sentence, other_ground_words(report))]


def _next_steps(report: Report) -> list[str]:
    """Return what to do, party by party; the page's reader is the party whose name says owner."""
    steps = []
    if report.dangers:
        steps.append(
            "Keep everybody away from what is said above to be dangerous until its owner has been."
        )
    reader = owner_reader(report)
    for letter in report.letters:
        theirs = findings_named((*letter.theirs, *letter.shared))
        if theirs and letter.party != reader:
            part = part_words(report, letter) or "in its part"
            steps.append(
                f"See that the referral about {theirs} reaches {the_party(letter.party)}, and wait "
                f"for the answer before paying for work {part}."
            )
    clients = findings_named(
        one
        for one in report.defects
        if one.surely_answers == (report.client,) and not one.contradicted
    )
    if clients and report.client != reader:
        steps.append(f"Ask {the_party(report.client)} what will be done about {clients}.")
    steps += _to_be_settled(report)
    own = findings_named(
        one for one in report.defects if one.surely_answers == (reader,) and not one.contradicted
    )
    if own:
        steps.append(
            f"For {own} ask a licensed plumber or sewer contractor what needs doing, and get more "
            "than one price."
        )
    return [*steps, "Keep this page and the full report: whoever digs will want both."]


def _to_be_settled(report: Report) -> list[str]:
    """Return what to ask about defects that are left open, in whole or in part."""
    steps = []
    if untold := findings_named(one for one in report.defects if one.contradicted):
        steps.append(f"Ask for the record of who answers for {untold}: {CONTRADICTED_WORDS}.")
    open_ones = [one for one in report.defects if one.left_open == "too close to call"]
    close = [one for one in open_ones if not one.surely_answers]
    if close:
        it_is = "it is" if len(close) == 1 else "they are"
        steps.append(
            f"Have settled what is too close to call, {findings_named(close)}; until then nobody "
            f"can say whose {it_is}."
        )
    if partly := [one for one in open_ones if one.surely_answers]:
        goes = "goes: some of it" if len(partly) == 1 else "go: some of each"
        steps.append(f"Have settled how far {findings_named(partly)} {goes} is too close to call.")
    return steps
