"""What a drawing says in words: the facts at its head, its notices, and its tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from lateral_map.model.chance import POOR_FIT, TWO_SIDED_95
from lateral_map.model.diagnosis import WORTH_DOUBT
from lateral_map.model.results import (
    Crossing,
    FallStretch,
    FindingResult,
    FindingVerdict,
    NextLocate,
    PipeStretch,
    ReadingCheck,
    Report,
    ResponsibilityStretch,
    Settling,
    Side,
)
from lateral_map.model.site import Plan, Site
from lateral_map.units import format_length, format_small, format_spread, steep_deg, to_metres
from lateral_map.words.diagnoses import diagnoses_told
from lateral_map.words.names import (
    CONTRADICTED_WORDS,
    LINE_WORDS,
    READING_WORDS,
    VERDICT_WORDS,
    answering_words,
    end_words,
    finding_words,
    footage_words,
    reading_name,
    the,
)
from lateral_map.words.notices import as_sentence, carried_words, grazing_words, uncrossed_words
from lateral_map.words.numbers import (
    chance_words,
    fall_words,
    in_full,
    label,
    length,
    listed,
    percent,
    plus_minus,
    plus_minus_or_exact,
    range_95,
    tidy,
)

Tone = Literal["plain", "alarm"]
_MOST_CROSSINGS = 3
# Farther off than this (10 ft) no map is that anybody goes by.
_MAP_OFF_AT_MOST_M = to_metres(10.0, "ft")


@dataclass(frozen=True, slots=True)
class Fact:
    """One labelled fact at the head of a drawing; an ``alarm`` is set so that it is not missed."""

    name: str
    value: str
    note: str = ""
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table, tied to a footage (m) on the drawing where it has one."""

    cells: tuple[str, ...]
    footage_m: float | None = None
    alarm: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table shown beside the drawing; ``notes`` stand under it."""

    key: str
    title: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()


def summary_facts(report: Report) -> tuple[Fact, ...]:
    """Return length, depths, crossings, findings past the line that decides, and suspects."""
    depth_m, unit = report.stations.depth_m[report.in_pipe], report.site.unit
    reached = end_words(report.site)
    shallow, deep = (length(float(m), unit) for m in (depth_m.min(), depth_m.max()))
    named = {boundary.line for boundary in report.site.boundaries}
    told = [crossing for crossing in report.crossings if crossing.line in named]
    told = sorted(told or report.crossings, key=lambda crossing: not crossing.decides)
    facts = [
        Fact("Length", run_length(report), reached),
        Fact("Depth to invert", f"{shallow.split()[0]} to {deep}"),
        *(
            Fact(
                f"Crosses {in_full(crossing.line)}",
                plus_minus(crossing.footage_m, crossing.sd_footage_m, unit),
                deciding_words(crossing) if crossing.decides else _kind_unsaid(crossing),
            )
            for crossing in sorted(told[:_MOST_CROSSINGS], key=lambda crossing: crossing.footage_m)
        ),
        *_finding_facts(report),
    ]
    if likely := diagnoses_told(report)[: len(report.likely_diagnoses)]:
        # One mistake is one entry, whatever it draws along.
        return (
            *facts,
            Fact("May have gone wrong", str(len(likely)), label(likely[0], 90), "alarm"),
        )
    if not report.suspects:
        return (*facts, Fact("Suspect readings", "none"))
    first = next((one for one in report.suspects if one.set_aside_first), report.suspects[0])
    name = tidy(reading_name(first.id, report.site.plan))
    return (*facts, Fact("Suspect readings", str(len(report.suspects)), f"first {name}", "alarm"))


def run_length(report: Report) -> str:
    """Return the length of the run, to the footage's own accuracy."""
    footage = report.stations.footage_m
    return length(float(footage[-1] - footage[0]), report.site.unit)


def danger_facts(report: Report) -> tuple[Fact, ...]:
    """Return what to stop for, every finding of it by number; empty where nothing is dangerous."""
    numbers = [one.number for one in report.dangers]
    if not numbers:
        return ()
    said = f"no. {number_ranges(numbers, len(numbers))}"
    return (Fact("STOP: foreign pipe or cable", str(len(numbers)), said, "alarm"),)


def _finding_facts(report: Report) -> list[Fact]:
    if not report.findings:
        return []
    if not report.site.boundaries:
        return [Fact("Findings", str(len(report.findings)), "no boundary set in site.toml")]
    unit_of = {one.deciding.line for one in report.findings if one.deciding}
    where = f"past {in_full(unit_of.pop())}" if len(unit_of) == 1 else "past where it changes hands"
    facts = [*danger_facts(report)]
    past = [one for one in report.findings if one.verdict in ("past", "across", "past from within")]
    note = "none stated as past"
    if past:
        # How probable it is that each is past: of one that reaches across, some of it.
        chances = []
        for one in past:
            sides = [side for side in (one.deciding, one.between, one.deciding_to) if side]
            each = [side.probability_past for side in sides]
            chances.append(max(each) if one.verdict == "across" else each[-1])
        least = min(chances)
        note = f"{_numbers(past)}, probability {chance_words(least)}"
    facts.append(Fact(f"Findings {where}", f"{len(past)} of {len(report.findings)}", note))
    close = [one for one in report.findings if one.verdict == "too close to call"]
    if close:
        facts.append(Fact("Too close to call", str(len(close)), _numbers(close), "alarm"))
    return facts


def _numbers(findings: list[FindingResult]) -> str:
    return f"no. {number_ranges([one.number for one in findings])}"


def number_ranges(numbers: list[int], most: int = 4) -> str:
    """Return numbers in short, such as ``1, 4-6``; past ``most`` ranges the rest are counted."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    shown = [str(run[0]) if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs[:most]]
    left = sum(len(run) for run in runs[most:])
    return ", ".join(shown) + (f" and {left} more" if left else "")


def answers_words(result: FindingResult) -> str:
    """Return who answers for a finding: ``owner, then city``, or why that is left open."""
    if result.answers:
        begins = result.verdict == "past from within"
        said = ", then ".join(result.answers)
        return f"too close to call where it begins, then {said}" if begins else said
    sure = ", then ".join(result.surely_answers)
    if result.contradicted:
        part = f"{sure} for a part of it; " if sure else ""
        return f"{part}{answering_words(result.may_answer)}; {CONTRADICTED_WORDS}"
    if not sure:
        return "too close to call" if result.verdict else ""
    if bool(result.begins_with) == bool(result.ends_with):
        return f"{sure} for a part of it; the rest is too close to call"
    if result.begins_with:
        return f"{sure}, then too close to call where it ends"
    return f"too close to call where it begins, then {sure}"


def _verdict_of_stretch(result: FindingResult) -> str:
    """Return the verdict of a stretch; of one end in doubt, what is known of the other."""
    near, far = result.deciding, result.deciding_to
    as_read = not (result.verdict_without or result.verdict_under)
    if result.verdict == "too close to call" and near and far and as_read:
        if far.verdict == "too close to call" and result.begins_with:
            return f"its near part is {near.verdict}; where it ends is too close to call"
        if near.verdict == "too close to call" and result.ends_with:
            return f"its far part is {far.verdict}; where it begins is too close to call"
    return VERDICT_WORDS[result.verdict] if result.verdict else ""


def verdict_words(result: FindingResult, unit: str, turns: bool = True) -> str:
    """Return a finding's verdict in words, with how far and how probable; empty without a line.

    Without ``turns`` it is left out how far off an unchecked line may be before the verdict turns.
    """
    near, far = result.telling, result.deciding_to
    if near is None:
        return ""
    if result.verdict is None:
        return f"{in_full(near.line)}: {side_words(near, unit)}"
    said = side_words(near, unit, result.verdict)
    if far is not None:
        ends = f"begins {_gap_words(near, unit)}, ends {_gap_words(far, unit)}"
        if result.between is not None:
            ends += f", between them {_gap_words(result.between, unit)}"
        said = f"{_verdict_of_stretch(result)} ({ends})"
    told = dict.fromkeys(VERDICT_WORDS[one.verdict] for one in result.verdict_without)
    told |= dict.fromkeys(VERDICT_WORDS[one.verdict] for one in result.verdict_under)
    if result.asked:
        said += "; its own footage is in question"
    elif told:
        said += f"; {' or '.join(told)} if what may have gone wrong did"
    elif turns and (off_m := turns_at_m(result)) is not None:
        off = f"{length(off_m, unit)} from where the map has it"
        said += f"; turns if {the(near.line)} lies more than {off}"
    return f"{in_full(near.line)}: {said}"


def turns_at_m(result: FindingResult) -> float | None:
    """Return how far off its unchecked line must be to turn a verdict nothing else speaks against.

    None where readings check the line, the verdict is open, something that may have gone wrong
    would turn it first, or no map is that far off.
    """
    in_doubt = result.verdict_without or result.verdict_under
    if in_doubt or result.verdict == "too close to call" or result.turns_m is None:
        return None
    return result.turns_m if result.turns_m <= _MAP_OFF_AT_MOST_M else None


def side_words(side: Side, unit: str, verdict: FindingVerdict | None = None) -> str:
    """Return a side in words: ``past by 1.2 ± 0.8 ft, lies past with probability 99 %``."""
    verdict = verdict or side.verdict
    gap = plus_minus(abs(side.past_m), side.sd_past_m, unit)
    words = VERDICT_WORDS[verdict]
    if verdict == "too close to call":
        words = f"{words}: {'past' if side.past_m > 0 else 'inside'}"
    return f"{words} by {gap}, lies past with probability {chance_words(side.probability_past)}"


def beside_words(near: Side, far: Side | None, unit: str) -> str:
    """Return where a finding lies by a line that its verdict is not about, its far end too."""
    if far is None:
        return f"{in_full(near.line)}: {side_words(near, unit)}"
    return f"{in_full(near.line)}: begins {_gap_words(near, unit)}, ends {_gap_words(far, unit)}"


def _gap_words(side: Side, unit: str) -> str:
    gap = plus_minus(abs(side.past_m), side.sd_past_m, unit)
    where = "past" if side.past_m > 0 else "inside"
    return f"{gap} {where}, lies past with probability {chance_words(side.probability_past)}"


def settling_words(settling: Settling | None, unit: str) -> str:
    """Say which one more reading would settle a finding, and how likely that is to be enough."""
    if settling is None:
        return ""
    if settling.way == "which route":
        return (
            "a tape to one mark from a third point, or the first azimuth: either tells which of "
            "the routes that fit is the right one"
        )
    where = format_length(settling.at_m, unit)
    if settling.way == "look again":
        if settling.reading is not None:
            name = tidy(reading_name(settling.reading, Plan()))
            return f"look at {name} again: if that is wrong, this changes"
        place = f"near {where}" if settling.at_m else "of the start"
        return f"look at the notes and the video {place} again: a slip there changes this"
    words = {
        "locate over": f"one more locate over {where}, its mark taped from permanent points",
        "tape from line": (
            f"one more tape from the real {in_full(settling.line)} to mark {settling.mark} near "
            f"{where}"
        ),
        "locate taped from line": (
            f"one more locate over {where}, its mark taped from the real {in_full(settling.line)}"
        ),
    }[settling.way]
    before, after = (
        format_spread(TWO_SIDED_95 * sd, unit) for sd in (settling.sd_before_m, settling.sd_after_m)
    )
    sentence = f"{words}: ± {before} would become ± {after}"
    if settling.enough:
        return sentence
    return f"{sentence}, which may still be too close; uncovering the pipe there would settle it"


def next_locate_words(proposal: NextLocate | None, site: Site) -> str:
    """Say where one more locate would help most, how to take it, and what for; empty for none."""
    if proposal is None:
        return ""
    unit = site.unit
    if proposal.finding is not None:
        finding = site.findings[proposal.finding - 1]
        at = format_length(finding.footage_m, unit)
        seen = f"finding {proposal.finding}, {finding.finding} at {at},"
        what = f"whether {seen} lies past {the(proposal.line)}"
    elif proposal.goal == "crossing":
        what = f"where the pipe crosses {the(proposal.line)}"
    else:
        what = "how wide the route's least certain place is"
    tied = "tie its mark by tapes from permanent points"
    if proposal.line:
        tied += f" and from the real {in_full(proposal.line)}"
    lens = format_length(proposal.lens_m, unit)
    if proposal.doubted:
        what += ", once what may have gone wrong is settled"
    return f"{what}: stop where the counter reads {lens}, locate, and {tied}"


def planned_title(report: Report) -> str:
    """Return what the planned locates stand under."""
    tried = report.site.locates or report.site.no_locates
    return "Before the next try" if tried else "Before the job"


def planned_words(report: Report) -> str:
    """Say which locates to take where none is tied yet, and what they would do; else empty."""
    plan, unit = report.planned, report.site.unit
    if plan is None:
        return ""
    stops = [
        length(one.lens_m, unit)
        + (f" (taped from the real {in_full(one.line)} too)" if one.line else "")
        for one in plan.locates
    ]
    promise = [f"the line to {range_95(plan.sd_across_m, unit)} at its widest"]
    if plan.sd_crossing_m is not None:
        line = next(one.line for one in plan.locates if one.line)
        promise.insert(0, f"where it crosses {the(line)} to {range_95(plan.sd_crossing_m, unit)}")
    guess = report.site.start.azimuth_deg is None
    look = "; the direction is a guess so far, so look again after the first" if guess else ""
    return (
        f"{len(plan.locates)} locates, where the counter reads about {listed(stops, len(stops))}, "
        f"each tied by two or three tapes from permanent points, would tell {' and '.join(promise)}"
        f"{look}"
    )


def enough_words(report: Report) -> str:
    """Say that no more locates are wanted, and what that rests on; empty where some are."""
    if not report.enough:
        return ""
    words = "every finding's side is firm, no more locates are wanted"
    if any(one.probability >= WORTH_DOUBT for one in report.diagnoses):
        words += ", whatever of what is said here may have gone wrong"
    turns: dict[str, float] = {}
    for one in report.findings:
        if one.turns_m is not None and one.deciding is not None:
            line = one.deciding.line
            turns[line] = min(one.turns_m, turns.get(line, one.turns_m))
    for line, off_m in turns.items():
        off = length(off_m, report.site.unit)
        words += (
            f". Nothing checks where the map has {the(line)}: it holds while that is within {off} "
            "of it; a tape from the real one to a mark would check it"
        )
    return words


def agreement_words(report: Report) -> str:
    """Say how well the whole fits, and how many readings nothing checks.

    A single odd reading may hide in a good whole, and a slip in a reading that nothing checks.
    """
    fit = report.fit
    if fit.p_value is None:
        return "No reading is left over to check the others with."
    if fit.p_value < POOR_FIT:
        return "The readings disagree more than their accuracies allow."
    if report.suspects:
        return "The readings agree as a whole, but for the suspects below."
    unchecked = sum(check.verdict == "unchecked" for check in report.readings)
    if unchecked:
        return (
            "The readings agree as far as they check one another; nothing checks "
            f"{unchecked} of the {len(report.readings)}."
        )
    return "The readings agree."


def reading_words(check: ReadingCheck, unit: str) -> str:
    """Return a reading's verdict and residual, such as ``good, off by 0.12 ft``."""
    off = f"{check.residual:z.1f}°" if check.is_angle else format_length(check.residual, unit, 2)
    words = f"{READING_WORDS[check.verdict]}, off by {off}"
    return f"{words}; set this one aside first" if check.set_aside_first else words


def crossing_words(crossings: Sequence[Crossing], unit: str) -> str:
    """Return crossings in one place as a drawing letters them: ``curb 43.2 ± 0.9 ft``."""
    at = [plus_minus(each.footage_m, each.sd_footage_m, unit) for each in crossings]
    names = [label(each.line) for each in crossings]
    if len(set(at)) == 1:
        return f"{listed(names)} {at[0]}"
    return listed([f"{name} {figure}" for name, figure in zip(names, at, strict=True)])


def _stretch_end(report: Report, stretch: ResponsibilityStretch) -> str:
    if stretch.line_to:
        return in_full(stretch.line_to)
    if stretch is report.responsibility[-1]:
        return "end of the run"
    return "where it is told again" if not stretch.party else "where it is left open"


def report_tables(report: Report) -> tuple[Table, ...]:
    """Return the tables that stand beside a drawing, those that say anything."""
    unit = report.site.unit
    parties = tuple(
        Row(
            (
                answering_words(stretch.parties),
                plus_minus_or_exact(stretch.from_m, stretch.sd_from_m, unit),
                plus_minus_or_exact(stretch.to_m, stretch.sd_to_m, unit),
                _stretch_end(report, stretch),
            ),
            stretch.from_m,
        )
        for stretch in report.responsibility
    )
    falls = tuple(
        Row(
            (
                f"{length(fall.from_m, unit)} to {length(fall.to_m, unit)}",
                fall_words(fall),
                "" if fall.minimum is None else percent(fall.minimum, 2),
                fall_remark(fall),
            ),
            fall.from_m,
            fall.verdict in ("too flat", "falls back"),
        )
        for fall in report.falls
    )
    plan = report.site.plan
    of_locates = [check for locate in report.locates for check in locate.checks]
    checks = tuple(
        Row(
            (
                tidy(reading_name(check.id, plan)),
                "" if check.footage_m is None else length(check.footage_m, unit),
                reading_words(check, unit),
            ),
            check.footage_m,
            check.verdict == "suspect",
        )
        for check in (*of_locates, *(one for one in report.readings if not one.id.mark))
    )
    tables = (
        _findings_table(report),
        _crossings_table(report),
        Table("responsibility", "Who answers", ("Party", "From", "To", "Ends at"), parties),
        Table(
            "falls", "Fall", ("Stretch", "Fall", "Code minimum", "What the readings tell"), falls
        ),
        Table("readings", "Readings", ("Reading", "Footage", "Verdict"), checks),
    )
    return tuple(table for table in tables if table.rows or table.notes)


def _findings_table(report: Report) -> Table:
    unit = report.site.unit
    rows = tuple(
        Row(
            (
                str(result.number),
                footage_words(result.finding, unit),
                finding_words(result),
                plus_minus(result.near.depth_m, result.near.sd_depth_m, unit),
                verdict_words(result, unit),
                tidy(answers_words(result)),
            ),
            result.finding.footage_m,
            result.verdict == "too close to call"
            or result.contradicted
            or result.finding_class == "danger",
        )
        for result in report.findings
    )
    columns = ("No.", "Footage", "Finding", "Depth to invert", "Side", "Answers for it")
    return Table("findings", "Findings", columns, rows)


def _crossings_table(report: Report) -> Table:
    unit = report.site.unit
    rows = tuple(
        Row(
            (
                in_full(crossing.line),
                LINE_WORDS[crossing.kind],
                plus_minus(crossing.footage_m, crossing.sd_footage_m, unit),
                plus_minus(crossing.depth_m, crossing.sd_depth_m, unit),
                f"{crossing.angle_deg:.0f}°",
                "; ".join(words for _, words in crossing_remarks(crossing, unit)),
            ),
            crossing.footage_m,
        )
        for crossing in report.crossings
    )
    columns = ("Line", "Kind", "Footage", "Depth to invert", "Angle", "Remark")
    notes = tuple(
        as_sentence(tidy(uncrossed_words(short, unit), 200)) for short in report.uncrossed
    )
    return Table("crossings", "Crossings", columns, rows, notes)


def deciding_words(crossing: Crossing) -> str:
    """Say what a line that decides changes: nothing where one party answers on both sides."""
    same = ": one party on both sides" if crossing.one_party else ""
    return f"decides who answers{same}"


def _kind_unsaid(crossing: Crossing) -> str:
    """Return what kind of line is crossed, empty where its name says that already."""
    kind = LINE_WORDS[crossing.kind].lower()
    plain = [
        words.casefold().replace("-", " ").removesuffix(" line") for words in (kind, crossing.line)
    ]
    return "" if plain[0] == plain[1] else kind


def crossing_remarks(crossing: Crossing, unit: str) -> list[tuple[str, str]]:
    """Return what is to be said of a crossing beside its place, each remark under its label."""
    remarks = {
        ("Responsibility", deciding_words(crossing)): crossing.decides,
        ("Way", "the run comes back over it here"): not crossing.outward,
        ("Caution", carried_words(crossing.carried_m, unit)): crossing.carried_m > 0.0,
        ("Note", grazing_words(crossing, unit)): crossing.grazing,
    }
    return [remark for remark, holds in remarks.items() if holds]


def fall_wordings(fall: FallStretch) -> tuple[str, str, str]:
    """Return a stretch's fall for a narrow place, the fullest wording first."""
    remark = {
        "enough fall": ", enough",
        "too flat": ", too flat",
        "falls back": ", FALLS BACK",
        "readings cannot tell": "",  # the range says so
    }[fall.verdict]
    return f"{fall_words(fall)}{remark}", fall_words(fall), fall_words(fall, ranged=False)


def pipe_wordings(pipe: PipeStretch, unit: str) -> tuple[str, str, str]:
    """Return a pipe's size and material for a narrow place, the fullest wording first."""
    size = format_small(pipe.size_m, unit) if pipe.size_m else "size not given"
    return f"{size} {label(pipe.material)}", label(pipe.material), size


def fall_remark(fall: FallStretch) -> str:
    """Say what the readings tell of a stretch's fall."""
    if fall.unread:
        return {
            "level ground": "nobody measured the ground: depths are below a level line, so the "
            "readings cannot tell the true fall",
            "too few depths": "fewer than two depths were measured, so nothing measures the fall",
            "no depth here": "no depth was measured on this stretch or on both sides of it: its "
            "fall is assumed",
        }[fall.unread]
    steep = steep_deg(abs(fall.ratio), TWO_SIDED_95 * fall.sd_ratio)
    size = f"{percent(abs(fall.ratio))} ± {percent(TWO_SIDED_95 * fall.sd_ratio)}"
    if steep is not None:
        size = f"at {steep[0]:.0f}° ± {steep[1]:.0f}°"
    falls = f"{'falls' if fall.ratio >= 0.0 else 'rises'} {size}"
    if fall.minimum is None:
        return f"{falls}; no pipe size was given to hold it against"
    least = f"the least for the size is {percent(fall.minimum)}"
    back = "the water would run back"
    if not fall.flow_said:
        back += ", unless the camera went against the flow (camera_direction in [job] says so)"
    if fall.turns:
        return f"{falls}; {least}: what may have gone wrong in the notes would change the verdict"
    return {
        "enough fall": f"{falls}; {least}",
        "too flat": f"{falls}; {least}, so it is too flat",
        "falls back": f"{falls}: {back}; {least}",
        "readings cannot tell": f"{falls}; {least}: the readings cannot tell whether it has that",
    }[fall.verdict]


def table_values(tables: tuple[Table, ...]) -> list[dict[str, Any]]:
    """Return tables as plain values for the page."""
    return [
        {
            "key": table.key,
            "title": table.title,
            "columns": list(table.columns),
            "notes": list(table.notes),
            "rows": [
                {"cells": list(row.cells), "footage": row.footage_m, "alarm": row.alarm}
                for row in table.rows
            ],
        }
        for table in tables
    ]
