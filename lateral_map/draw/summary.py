"""What a drawing says in words: the facts at its head, its notices, and its tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from lateral_map.draw.along import basis_stretches, checks_by_locate, telling_side
from lateral_map.draw.plan.findings import finding_words, side_words
from lateral_map.draw.plan.locates import reading_words
from lateral_map.draw.style import LINE_WORDS
from lateral_map.draw.text import (
    fall_words,
    label,
    length,
    listed,
    odds,
    percent,
    plus_minus,
    tidy,
)
from lateral_map.model.results import Crossing, FindingResult, ReadingCheck, Report

Tone = Literal["plain", "alarm"]
_MOST_CROSSINGS = 3


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
    return (
        _length_fact(report),
        _depth_fact(report),
        *_crossing_facts(report),
        *_finding_facts(report),
        *_suspect_facts(report),
    )


def _length_fact(report: Report) -> Fact:
    footage, unit = report.stations.footage_m, report.site.unit
    reached = "to the main" if report.site.run.reached_main else "main not reached"
    return Fact("Length", length(float(footage[-1] - footage[0]), unit), reached)


def _depth_fact(report: Report) -> Fact:
    depth, unit = report.stations.depth_m, report.site.unit
    shallow, deep = float(depth.min()), float(depth.max())
    return Fact("Depth to invert", f"{length(shallow, unit).split()[0]} to {length(deep, unit)}")


def _crossing_facts(report: Report) -> list[Fact]:
    unit = report.site.unit
    named = {boundary.line for boundary in report.site.boundaries}
    told = [crossing for crossing in report.crossings if crossing.line in named]
    told = sorted(told or report.crossings, key=lambda crossing: not crossing.decides)
    return [
        Fact(
            f"Crosses {label(crossing.line)}",
            plus_minus(crossing.footage_m, crossing.sd_footage_m, unit),
            "decides who answers" if crossing.decides else LINE_WORDS[crossing.kind].lower(),
        )
        for crossing in sorted(told[:_MOST_CROSSINGS], key=lambda crossing: crossing.footage_m)
    ]


def past_findings(report: Report) -> tuple[str, list[FindingResult], list[FindingResult]]:
    """Return the line that decides, the findings past it, and those too close to call."""
    deciding = next((b.line for b in report.site.boundaries if b.decides), "")
    if not deciding and report.site.boundaries:
        deciding = report.site.boundaries[0].line
    past, close = [], []
    for result in report.findings:
        side = telling_side(report, result)
        if side and side.verdict == "past":
            past.append(result)
        elif side and side.verdict == "too close to call":
            close.append(result)
    return deciding, past, close


def _finding_facts(report: Report) -> list[Fact]:
    line, past, close = past_findings(report)
    if not report.findings:
        return []
    if not line:
        return [Fact("Findings", str(len(report.findings)), "no boundary set in site.toml")]
    numbers = {id(result): number for number, result in enumerate(report.findings, start=1)}
    note = "none stated as past"
    if past:
        sides = [side for result in past if (side := telling_side(report, result))]
        least = odds(min(side.probability_past for side in sides))
        which = number_ranges([numbers[id(result)] for result in past])
        note = f"no. {which}, odds {least}"
    facts = [Fact(f"Findings past {label(line)}", f"{len(past)} of {len(report.findings)}", note)]
    if close:
        which = number_ranges([numbers[id(result)] for result in close])
        facts.append(Fact("Too close to call", str(len(close)), f"no. {which}", "alarm"))
    return facts


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


def _suspect_facts(report: Report) -> list[Fact]:
    suspects = report.suspects
    if not suspects:
        return [Fact("Suspect readings", "none")]
    first = next((reading for reading in suspects if reading.set_aside_first), suspects[0])
    return [
        Fact("Suspect readings", str(len(suspects)), f"first {tidy(first.reading, 40)}", "alarm")
    ]


def drawing_notices(report: Report) -> tuple[str, ...]:
    """Return what the reader must know: the report's own notices and what the drawing shows."""
    unit = report.site.unit
    own = []
    if report.route.alternatives:
        own.append(
            "The readings fit more than one line about as well; the others are drawn dotted. "
            "One more tie settles it."
        )
    dead = [s for s in basis_stretches(report.stations) if s.basis == "dead reckoned"]
    if dead:
        spans = listed([f"{length(s.from_m, unit)} to {length(s.to_m, unit)}" for s in dead])
        own.append(f"Dead reckoned, nothing located there: {spans}.")
    said = [*own, *(tidy(notice, 300) for notice in report.notices)]
    return tuple(dict.fromkeys(_sentence(notice) for notice in said if notice))


def _sentence(words: str) -> str:
    # A file's name keeps its small letter: it is case-sensitive.
    begun = words if "." in words.split(" ", 1)[0] else words[0].upper() + words[1:]
    return begun if begun[-1] in ".!?…" else f"{begun}."


def report_tables(report: Report) -> tuple[Table, ...]:
    """Return the tables that stand beside a drawing, those that say anything."""
    makers = (
        _findings_table,
        _crossings_table,
        _responsibility_table,
        _falls_table,
        _readings_table,
    )
    return tuple(table for maker in makers if (table := maker(report)).rows or table.notes)


def _findings_table(report: Report) -> Table:
    unit = report.site.unit
    rows = []
    for number, result in enumerate(report.findings, start=1):
        side = telling_side(report, result)
        finding = result.finding
        footage = length(finding.footage_m, unit)
        if finding.to_m is not None:
            footage = f"{footage} to {length(finding.to_m, unit)}"
        rows.append(
            Row(
                (
                    str(number),
                    footage,
                    finding_words(result),
                    plus_minus(result.depth_m, result.sd_depth_m, unit),
                    f"{label(side.line)}: {side_words(side, unit)}" if side else "",
                    tidy(result.answers, 80),
                ),
                finding.footage_m,
                bool(side and side.verdict == "too close to call"),
            )
        )
    columns = ("No.", "Footage", "Finding", "Depth to invert", "Side", "Answers for it")
    return Table("findings", "Findings", columns, tuple(rows))


def _crossings_table(report: Report) -> Table:
    unit = report.site.unit
    rows = tuple(
        Row(
            (
                label(crossing.line),
                LINE_WORDS[crossing.kind],
                plus_minus(crossing.footage_m, crossing.sd_footage_m, unit),
                plus_minus(crossing.depth_m, crossing.sd_depth_m, unit),
                f"{crossing.angle_deg:.0f}°",
                _crossing_remark(crossing),
            ),
            crossing.footage_m,
        )
        for crossing in report.crossings
    )
    columns = ("Line", "Kind", "Footage", "Depth to invert", "Angle", "Remark")
    notes = tuple(_sentence(tidy(words, 200)) for words in report.uncrossed if words)
    return Table("crossings", "Crossings", columns, rows, notes)


def _crossing_remark(crossing: Crossing) -> str:
    remarks = ["decides who answers"] if crossing.decides else []
    remarks += [] if crossing.outward else ["the run comes back over it here"]
    remarks += ["line carried on past its mapped end"] if crossing.extended else []
    remarks += [tidy(crossing.note, 160)] if crossing.note else []
    return "; ".join(remarks)


def _responsibility_table(report: Report) -> Table:
    unit = report.site.unit

    def end(value_m: float, sd_m: float) -> str:
        return plus_minus(value_m, sd_m, unit) if sd_m > 0.0 else length(value_m, unit)

    rows = tuple(
        Row(
            (
                tidy(stretch.party, 80),
                end(stretch.from_m, stretch.sd_from_m),
                end(stretch.to_m, stretch.sd_to_m),
                label(stretch.line_to) if stretch.line_to else "end of the run",
            ),
            stretch.from_m,
        )
        for stretch in report.responsibility
    )
    return Table("responsibility", "Who answers", ("Party", "From", "To", "Ends at"), rows)


def _falls_table(report: Report) -> Table:
    unit = report.site.unit
    rows = tuple(
        Row(
            (
                f"{length(fall.from_m, unit)} to {length(fall.to_m, unit)}",
                fall_words(fall),
                "" if fall.minimum is None else percent(fall.minimum, 2),
                tidy(fall.words, 160) or fall.verdict,
            ),
            fall.from_m,
            fall.verdict in ("too flat", "falls back"),
        )
        for fall in report.falls
    )
    return Table(
        "falls", "Fall", ("Stretch", "Fall", "Code minimum", "What the readings tell"), rows
    )


def _readings_table(report: Report) -> Table:
    unit = report.site.unit
    checks = checks_by_locate(report)
    loose = tuple(check for check in report.readings if not check.locate)
    rows = [
        Row(
            (tidy(check.reading, 80), _place_words(check, unit), reading_words(check, unit)),
            check.footage_m,
            check.verdict == "suspect",
        )
        for group in (*checks.values(), loose)
        for check in group
    ]
    return Table("readings", "Readings", ("Reading", "Footage", "Verdict"), tuple(rows))


def _place_words(check: ReadingCheck, unit: str) -> str:
    return "" if check.footage_m is None else length(check.footage_m, unit)


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
