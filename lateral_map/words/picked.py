"""What is shown when something on a plan is picked: what it is and what was read there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from lateral_map.model.diagnosis import Diagnosis, Slip
from lateral_map.model.identity import ReadingId, ReadingKind
from lateral_map.model.readings import bend_reading
from lateral_map.model.results import (
    BasisStretch,
    Crossing,
    FindingResult,
    LocateResult,
    LocateState,
    Report,
    ResponsibilityStretch,
)
from lateral_map.model.site import (
    Bend,
    Locate,
    NoLocate,
    PlanArea,
    PlanLine,
    PlanPoint,
    PositionTie,
    Site,
    SpotLevel,
    UtilityLine,
)
from lateral_map.units import format_tape
from lateral_map.words.diagnoses import diagnosis_words, told_once
from lateral_map.words.names import (
    BASIS_WORDS,
    COVER_WORDS,
    LINE_WORDS,
    UTILITY_WORDS,
    answering_words,
    finding_words,
    footage_words,
    readings_listed,
    taken_words,
    tie_name,
    tie_words,
)
from lateral_map.words.notices import carried_words
from lateral_map.words.numbers import (
    in_full,
    label,
    length,
    listed,
    plus_minus,
    plus_minus_or_exact,
    range_95,
    tidy,
)
from lateral_map.words.technician import (
    answers_words,
    crossing_remarks,
    next_locate_words,
    settling_words,
    side_words,
    verdict_words,
)


@dataclass(frozen=True, slots=True)
class Detail:
    """What is shown when something is picked: a title, labelled values, and a note."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    note: str = ""


UNDECIDED_WORDS: Final = "Within the 95 % range of the change, or left open"
NO_LOCATE_WORDS: Final = "Could not be located here"
CORRIDOR_WORDS: Final = "95 % corridor of the centreline"
ALTERNATIVE_WORDS: Final = "Another line that fits about as well"


_LOCATE_VERDICT: Final[dict[LocateState, str]] = {
    "good": "agrees with the other readings",
    "unchecked": "used, but no other reading checks it",
    "suspect": "SUSPECT: the other readings disagree with it",
    "put off": "off only because something elsewhere has probably gone wrong",
    "set aside": "set aside in locates.csv, not used",
}


def locate_picked(report: Report, result: LocateResult) -> Detail:
    """Say what was read at a locate, reading by reading, and how well each agrees."""
    unit, locate = report.site.unit, result.locate

    def agrees(kind: ReadingKind, column: str) -> str:
        reading = ReadingId(kind, locate.mark, column)
        taken = taken_words(report.site, reading)
        off = _agreement(result, reading, unit, told=bool(report.likely_diagnoses))
        return f"{f'; {taken}' if taken else ''}{off}"

    at_lens = agrees("footage", "footage")
    rows = [
        ("Verdict", _LOCATE_VERDICT[result.state]),
        ("Footage", f"{length(locate.footage_m, unit)} at the lens{at_lens}"),
    ]
    for tie in locate.ties:
        said = (
            f"coordinates good to {range_95(tie.sd_m, unit)}"
            if isinstance(tie, PositionTie)
            else tie_words(tie, lambda value_m: _read_words(value_m, unit))
        )
        rows.append((tie_name(tie), f"{said}{agrees(tie.kind, tie.column)}"))
    if locate.depth_m is not None:
        held = _held_words(locate.held_above_m, unit)
        shown = f"{_read_words(locate.depth_m, unit)}{held}{agrees('depth', 'depth')}"
        rows.append(("Depth read", shown))
    if locate.nulls_m is not None:
        held = _held_words(locate.nulls_held_above_m, unit)
        shown = f"{_read_words(locate.nulls_m, unit)} apart{held}{agrees('nulls', 'nulls')}"
        rows.append(("Nulls", shown))
    if result.depth_m is not None and result.sd_depth_m is not None:
        rows.append(("Invert by that", plus_minus(result.depth_m, result.sd_depth_m, unit)))
    rows += _wrong_here(report, lambda slip: slip.id is not None and slip.id.mark == locate.mark)
    if locate.peak != "in-line":
        rows.append(("Located on", f"the {locate.peak} peak"))
    return Detail(f"Locate {tidy(locate.mark)}", tuple(rows), tidy(locate.note))


def _wrong_here(report: Report, is_here: Callable[[Slip], bool]) -> list[tuple[str, str]]:
    """Return what may have gone wrong with one thing, a row a diagnosis."""
    site = report.site
    return [
        ("May have gone wrong", tidy(diagnosis_words(one, site.plan, site.unit), 240))
        for one in told_once(report.diagnoses)
        if any(is_here(slip) for slip in one.together)
    ]


def blames_bend(report: Report, bend: Bend) -> bool:
    """Say whether a likely diagnosis blames a bend."""
    slips = (slip for one in report.likely_diagnoses for slip in one.together)
    return any(_is_of_bend(report.site, bend, slip) for slip in slips)


def _is_of_bend(site: Site, bend: Bend, slip: Slip) -> bool:
    return slip.id in (bend_reading(site, bend, "turn"), bend_reading(site, bend, "fall"))


def slip_picked(report: Report, diagnosis: Diagnosis) -> Detail:
    """Say what may have gone wrong at a place along the run."""
    words = diagnosis_words(diagnosis, report.site.plan, report.site.unit)
    note = "Offered, not applied: look at the notes and the video, or measure it again."
    return Detail("May have gone wrong", (("Perhaps", tidy(words, 240)),), note)


def _held_words(height_m: float, unit: str) -> str:
    return f", held {_read_words(height_m, unit)} above the ground" if height_m else ""


def _read_words(value_m: float, unit: str) -> str:
    """Return a length as a tape reads it and as the site writes it: ``13 ft 2 in (13.2 ft)``."""
    return (
        length(value_m, unit)
        if unit == "m"
        else f"{format_tape(value_m, unit)} ({length(value_m, unit)})"
    )


def _agreement(result: LocateResult, reading: ReadingId, unit: str, *, told: bool) -> str:
    """Return how far a reading is off, or that nothing checks it, to go on a sentence.

    ``told`` says that a likely diagnosis takes the blame off the readings it does not name.
    """
    check = next((one for one in result.checks if one.id == reading), None)
    if check is None:
        return ""
    if check.verdict == "unchecked":
        return "; nothing checks it"
    shown = length(abs(check.residual), unit)
    least = length(0.0, unit)
    off = "agrees" if shown == least else f"off by {shown}"
    if check.verdict != "suspect":
        return f"; {off}"
    if told and not check.set_aside_first:
        return f"; {off} while what may have gone wrong stands"
    advice = ": set this one aside first" if check.set_aside_first else ""
    return f"; SUSPECT, {off}{advice}"


def measured_picked(locate: Locate, tie: PositionTie) -> Detail:
    """Say how a mark's position was measured."""
    by = "GNSS" if tie.method == "gnss" else "surveyed coordinates"
    return Detail(f"Locate {tidy(locate.mark)} as measured", (("By", by),))


def finding_picked(report: Report, result: FindingResult) -> Detail:
    """Say what was seen, how deep, on which side, who answers, and what would settle it."""
    unit, finding = report.site.unit, result.finding
    rows = [
        ("Footage", footage_words(finding, unit)),
        ("Depth to invert", plus_minus(result.near.depth_m, result.near.sd_depth_m, unit)),
        ("Line here is", result.near.basis),
    ]
    if finding.clock:
        rows.append(("Clock position", f"{finding.clock} o'clock"))
    if video := " at ".join(filter(None, (finding.video, finding.video_time))):
        rows.append(("Video", tidy(video)))
    if result.verdict:
        rows.append(("Side", verdict_words(result, unit)))
    decided = {side.line for side in (result.deciding, result.deciding_to) if side}
    rows += [
        (in_full(side.line), side_words(side, unit))
        for side in result.sides
        if side.line not in decided
    ]
    if carried_m := max((side.carried_m for side in (*result.sides, *result.sides_to)), default=0):
        rows.append(("Caution", f"judged against a {carried_words(carried_m, unit)}"))
    if words := answers_words(result):
        rows.append(("Answers for it", tidy(words)))
    if words := settling_words(result.settling, unit):
        rows.append(("Would settle it", tidy(words)))
    if result.rests_on:
        rows.append(("Rests on", readings_listed(result.rests_on, report.site.plan)))
    return Detail(f"#{result.number} {finding_words(result)}", tuple(rows), tidy(finding.note))


def crossing_picked(report: Report, crossing: Crossing) -> Detail:
    """Say where the line is crossed, how deep, and what follows from it."""
    unit = report.site.unit
    rows = [
        ("Footage", plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)),
        ("Depth to invert", plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)),
        ("Crossed at", f"{crossing.angle_deg:.0f}°"),
        *crossing_remarks(crossing, unit),
    ]
    if crossing.rests_on:
        rows.append(("Rests on", readings_listed(crossing.rests_on, report.site.plan)))
    return Detail(f"Crosses {tidy(crossing.line)}", tuple(rows))


def bend_words(bend: Bend) -> str:
    """Return a bend in words, such as ``45° right, 22.5° down``."""
    return ", ".join(bend.angles_in_words()) or "straight"


def bend_picked(report: Report, bend: Bend) -> Detail:
    """Say where a bend is and how it is known."""
    rows = (
        ("Footage", length(bend.footage_m, report.site.unit)),
        ("Known by", "its fitting" if bend.how == "fitting" else "eye"),
        *_wrong_here(report, lambda slip: _is_of_bend(report.site, bend, slip)),
    )
    return Detail(f"Bend {bend_words(bend)}", rows, tidy(bend.note))


def basis_picked(stretch: BasisStretch, unit: str) -> Detail:
    """Say what the line rests on, and from where to where."""
    rows = (("From", length(stretch.from_m, unit)), ("To", length(stretch.to_m, unit)))
    return Detail(BASIS_WORDS[stretch.basis], rows)


def no_locate_picked(one: NoLocate, unit: str) -> Detail:
    """Say where nothing could be located, and why."""
    rows = [("Footage", length(one.footage_m, unit)), ("Because", tidy(one.why, 300))]
    return Detail(NO_LOCATE_WORDS, tuple(rows), "Somebody tried here; the line is not fixed by it.")


def end_picked(report: Report, footage_m: float, words: str) -> Detail:
    """Say which end of the run this is."""
    return Detail(words, (("Footage", length(footage_m, report.site.unit)),))


def corridor_picked() -> Detail:
    """Say what the corridor is."""
    note = "At any one footage the centreline lies in here 19 times in 20."
    return Detail(CORRIDOR_WORDS, (), note)


def alternative_picked() -> Detail:
    """Say what another line that fits means."""
    note = "The readings cannot tell these apart; one more tie will."
    return Detail(ALTERNATIVE_WORDS, (), note)


def party_picked(report: Report, stretch: ResponsibilityStretch) -> Detail:
    """Say who answers for a stretch, and where it begins and ends."""
    unit = report.site.unit

    def end(value_m: float, sd_m: float, line: str) -> str:
        shown = plus_minus_or_exact(value_m, sd_m, unit)
        return f"{shown} ({in_full(line)})" if line else shown

    rows = (
        ("From", end(stretch.from_m, stretch.sd_from_m, stretch.line_from)),
        ("To", end(stretch.to_m, stretch.sd_to_m, stretch.line_to)),
    )
    return Detail(
        answering_words(stretch.parties),
        rows,
        "As written in site.toml; local code and record decide.",
    )


def next_locate_picked(report: Report) -> Detail | None:
    """Say where one more locate would help most, by how much, and how to take it."""
    suggestion, unit = report.next_locate, report.site.unit
    if suggestion is None:
        return None
    rows = (
        ("Range now", range_95(suggestion.sd_before_m, unit)),
        ("Range after", range_95(suggestion.sd_after_m, unit)),
    )
    title = f"Locate next at {length(suggestion.footage_m, unit)}"
    return Detail(title, rows, tidy(next_locate_words(suggestion, report.site)))


def line_picked(report: Report, line: PlanLine) -> Detail:
    """Say what a line on the plan is, how well it is mapped, and who answers on each side."""
    rows = [("Kind", LINE_WORDS[line.kind]), ("Mapped to", range_95(line.sd_m, report.site.unit))]
    for boundary in report.site.boundaries:
        if boundary.line == line.name:
            rows.append(("On the start's side", tidy(boundary.inside)))
            rows.append(("Beyond it", tidy(boundary.outside)))
            if boundary.decides:
                changes = (
                    "one party on both sides" if boundary.one_party else "changes at this line"
                )
                rows.append(("Responsibility", changes))
    if line.source:
        rows.append(("Source", tidy(line.source)))
    rows += _wrong_here(report, lambda slip: slip.id == ReadingId("line", line.name))
    return Detail(tidy(line.name), tuple(rows))


def utility_picked(utility: UtilityLine, unit: str) -> Detail:
    """Say what a mapped utility is, how deep and how well it is known."""
    depth = "unknown" if utility.depth_m is None else f"{length(utility.depth_m, unit)} to its top"
    rows = [("Utility", UTILITY_WORDS[utility.utility]), ("Depth", depth)]
    if utility.sd_m is not None:
        rows.append(("Mapped to", range_95(utility.sd_m, unit)))
    if utility.source:
        rows.append(("Source", tidy(utility.source)))
    return Detail(
        tidy(utility.name) or UTILITY_WORDS[utility.utility],
        tuple(rows),
        "As mapped: have it marked by its owner before digging.",
    )


def area_picked(area: PlanArea) -> Detail:
    """Say what a building or a surface is."""
    source = (("Source", tidy(area.source)),) if area.source else ()
    if area.kind == "building":
        return Detail(tidy(area.name) or "Building", source)
    cover = COVER_WORDS[area.cover or "other"]
    return Detail(tidy(area.name) or cover, (("Cover", cover), *source))


def point_picked(point: PlanPoint, taped: Sequence[str]) -> Detail:
    """Say what a named point is for, and which locates' marks were taped from it."""
    marks = listed([label(mark, 16) for mark in taped], 6)
    words = f"locates {marks} taped from it" if taped else "a point to tape from"
    source = (("Source", tidy(point.source)),) if point.source else ()
    return Detail(tidy(point.name), (("Use", words), *source))


def level_picked(level: SpotLevel, unit: str) -> Detail:
    """Say a spot level."""
    rows = (("Elevation", length(level.elevation_m, unit)),)
    return Detail(tidy(level.name) or "Spot level", rows)


def dig_picked(report: Report) -> Detail:
    """Say how wide the dig buffer is, by which rule, and what it is not."""
    dig, unit = report.dig, report.site.unit
    narrowest, widest = (
        length(float(m), unit) for m in (dig.half_width_m.min(), dig.half_width_m.max())
    )
    rows = (
        ("Tolerance zone", f"{length(dig.tolerance_m, unit)} each side of the pipe's wall"),
        ("Rule", tidy(dig.rule) or "none written in site.toml"),
        ("Half width", f"{narrowest} to {widest}"),
    )
    return Detail(
        "Dig buffer",
        rows,
        "Hand dig or vacuum in here. It is this pipe's buffer only: every other line in the ground "
        "has one of its own, and this is no one-call ticket.",
    )
