"""A report in a terminal: the readings' verdicts for ``check``, a short summary for ``draw``."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from lateral_map.cli.console import plain
from lateral_map.reading.applied import applied_entries
from lateral_map.units import format_length
from lateral_map.words.cautions import TERMINAL_CAUTIONS
from lateral_map.words.desk import desk_missing, tap_question
from lateral_map.words.diagnoses import diagnoses_told, told_once
from lateral_map.words.names import (
    READING_WORDS,
    end_words,
    finding_words,
    footage_words,
    reading_name,
    sketch_reading,
    taken_words,
)
from lateral_map.words.notices import (
    FEW_CROSSINGS,
    as_sentence,
    grazing_words,
    report_notices,
    stop_line,
    uncrossed_words,
)
from lateral_map.words.numbers import decimals_for, length, listed, plus_minus, range_95, tidy
from lateral_map.words.technician import (
    agreement_words,
    answers_words,
    deciding_words,
    enough_words,
    next_locate_words,
    planned_title,
    planned_words,
    verdict_words,
)

if TYPE_CHECKING:
    from lateral_map.model.results import ReadingCheck, ReadingVerdict, Report
    from lateral_map.model.sketch import SketchCheck

Part = Text | Table | Padding

_COLOURS: Final[dict[ReadingVerdict, str]] = {
    "good": "green",
    "suspect": "bold red",
    "unchecked": "yellow",
}


def check_parts(report: Report) -> list[Part]:
    """Return what ``check`` prints: whether the readings agree, what to do, every reading."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("Reading", overflow="fold", min_width=6)
    table.add_column("Off by", justify="right", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    for check in report.readings:
        name = tidy(reading_name(check.id, report.site.plan))
        taken = taken_words(report.site, check.id)
        table.add_row(
            Text(plain(f"{name}: {taken}" if taken else name)),
            _in_own_unit(check.residual, check, report.site.unit),
            Text(READING_WORDS[check.verdict], style=_COLOURS[check.verdict]),
        )
    sketch = report.site.plan.sketch
    for one in () if sketch is None else sketch.checks:
        off = _in_own_unit(
            math.degrees(one.residual) if one.is_angle else one.residual, one, report.site.unit
        )
        table.add_row(
            Text(plain(tidy(sketch_reading(one.reading), 80))),
            off,
            Text(READING_WORDS[one.verdict], style=_COLOURS[one.verdict]),
        )
    unit, proposal, next_words = report.site.unit, report.next_locate, ""
    if proposal is not None:
        next_words = (
            f"At {length(proposal.footage_m, unit)}: {next_locate_words(proposal, report.site)} "
            f"({range_95(proposal.sd_before_m, unit)} now, "
            f"{range_95(proposal.sd_after_m, unit)} after it)."
        )
    elif report.enough:
        next_words = f"Enough: {enough_words(report)}."
    if planned := planned_words(report):
        next_words = f"{planned_title(report)}: {planned}."
    asked = [tap_question(report)]
    if missing := desk_missing(report):
        words = f"Not said, and would be asked back: {listed(missing, len(missing))}. Where they"
        asked.insert(
            0, f"{words} are known, write them in [job], [main] and [referral] of site.toml."
        )
    return [
        *_stop(report),
        _heading(report),
        Text(agreement_words(report)),
        *_section("What may have gone wrong", _diagnoses(report)),
        *_entries(report),
        *_section("Suspect readings", _suspects(report)),
        *_section("Next locate", [next_words]),
        *_section("Notices", [as_sentence(notice) for notice in report_notices(report)]),
        *_section("What the desk asks", asked),
        *_section("Before anyone digs or opens the pipe", list(TERMINAL_CAUTIONS)),
        Text("Readings", style="bold"),
        table,
    ]


def drawing_parts(report: Report) -> list[Part]:
    """Return the summary ``draw`` prints: length, crossings, findings, suspects, notices."""
    unit = report.site.unit
    crossings, bounding = [], {one.line for one in report.site.boundaries}
    others = [one for one in report.crossings if one.line not in bounding]
    for crossing in report.crossings:
        if crossing in others[FEW_CROSSINGS:]:
            continue
        words = (
            f"{crossing.line} at {plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, "
            f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} deep"
        )
        words += f"; {deciding_words(crossing)}" if crossing.decides else ""
        words += f"; {grazing_words(crossing, unit)}" if crossing.grazing else ""
        crossings.append(words)
    if len(others) > FEW_CROSSINGS:
        more = len(others) - FEW_CROSSINGS
        crossings.append(f"{more} more crossings of lines that bound nothing: see result.json")
    findings = []
    for result in report.findings:
        words = "STOP, " if result.finding_class == "danger" else ""
        words += f"#{result.number} {footage_words(result.finding, unit)} {finding_words(result)}"
        if said := verdict_words(result, unit):
            words += f": {said}"
        if result.surely_answers or result.contradicted:
            words += f"; answers for it: {answers_words(result)}"
        findings.append(words)
    return [
        *_stop(report),
        _heading(report),
        *_section("Crossings", crossings),
        *_section("Not crossed", [uncrossed_words(each, unit) for each in report.uncrossed]),
        *_section("Findings", findings),
        *_section("What may have gone wrong", _diagnoses(report)),
        *_section("Suspect readings", _suspects(report)),
        *_section("Notices", [as_sentence(notice) for notice in report_notices(report)]),
        *_section("Before anyone digs or opens the pipe", list(TERMINAL_CAUTIONS)),
    ]


def _stop(report: Report) -> list[Part]:
    """Return what to stop for, before anything else."""
    stop = stop_line(report)
    return [Text(plain(stop), style="bold red")] if stop else []


def _section(title: str, sentences: list[str]) -> list[Part]:
    """Return a title and its sentences indented under it, nothing where there are none."""
    spoken = [Text(plain(tidy(sentence))) for sentence in sentences if sentence]
    lines = (Padding.indent(sentence, 2) for sentence in spoken)
    return [Text(title, style="bold"), *lines] if spoken else []


def _heading(report: Report) -> Text:
    site, footage = report.site, report.stations.footage_m
    run = length(float(footage[-1] - footage[0]), site.unit)
    reached = end_words(site)
    date = f", {site.date.isoformat()}" if site.date else ""
    name = plain(tidy(site.name, 120))
    return Text.assemble((name, "bold"), f"{date}: {run} of pipe, {reached}")


def _in_own_unit(value: float, check: ReadingCheck | SketchCheck, unit: str) -> str:
    """Return a residual with one decimal more than a length: it is small beside what was read."""
    if check.is_angle:
        return f"{round(value, 1) + 0.0:.1f}°"
    return format_length(value, unit, decimals_for(unit) + 1)


def _diagnoses(report: Report) -> list[str]:
    """Return what would explain the misfit, each as a sentence."""
    return [as_sentence(one) for one in diagnoses_told(report)]


def _entries(report: Report) -> list[Part]:
    """Return what to paste into site.toml to take the likeliest diagnosis for true."""
    found = told_once(report.diagnoses)[:1]
    entries = [e for one in found for e in applied_entries(report.site, one.together)]
    if not entries:
        return []
    lines = [line for entry in entries for line in ("[[applied]]", *entry.splitlines())]
    return [
        Text("To take the first so, put this at the end of site.toml", style="bold"),
        *(Padding.indent(Text(plain(line)), 2) for line in lines),
    ]


def _suspects(report: Report) -> list[str]:
    """Return the readings to look at first, then those off only while they count."""
    unit, plan = report.site.unit, report.site.plan
    first = [one for one in report.suspects if one.set_aside_first]
    after = [
        plain(reading_name(one.id, plan)) for one in report.suspects if not one.set_aside_first
    ]
    words = []
    for one in first:
        words.append(
            f"{reading_name(one.id, plan)}: off by {_in_own_unit(one.residual, one, unit)}, far "
            "more than its accuracy allows. Look at this one first: set aside, it explains the "
            "suspects best; if it alone is wrong, it is wrong by about "
            f"{_in_own_unit(abs(one.likely_error), one, unit)}."
        )
        # What else may be wrong where a mark is off: it shows what its whole row did.
        mark = plain(one.id.mark)
        if one.footage_m is None:
            words[-1] += " Where one tie alone was taken from it, that tie may be the wrong one."
        elif one.id.kind == "mark":
            words[-1] += (
                f" The mark takes the blame for its row: check locate {mark}'s footage and every "
                "tie of it too."
            )
        elif one.id.kind == "depth":
            words[-1] += (
                f" The ground level at locate {mark} may be the wrong one, where it has one."
            )
    if after and report.likely_diagnoses:
        # One mistake is one entry; the table below marks what it puts off.
        more = " more" if first else " reading" if len(after) == 1 else " readings"
        off = "is off only while that stands; the table marks it"
        if len(after) > 1:
            off = "are off only while that stands; the table marks them"
        words.append(f"{len(after)}{more} {off}")
    elif after:
        it = "it" if len(first) == 1 else "them"
        words.append(f"Likely off only because of {it}: {', '.join(after)}")
    return words
