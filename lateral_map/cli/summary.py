"""A report in a terminal: the readings' verdicts for ``check``, a short summary for ``draw``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from lateral_map.cli.console import plain
from lateral_map.draw.along import telling_side
from lateral_map.draw.plan.findings import finding_words, side_words
from lateral_map.draw.style import READING_WORDS
from lateral_map.draw.text import decimals_for, length, plus_minus, range_95, tidy
from lateral_map.units import format_length

if TYPE_CHECKING:
    from lateral_map.model.results import (
        Crossing,
        FindingResult,
        NextLocate,
        ReadingCheck,
        ReadingVerdict,
        Report,
    )

Part = Text | Table | Padding

_COLOURS: Final[dict[ReadingVerdict, str]] = {
    "good": "green",
    "suspect": "bold red",
    "unchecked": "yellow",
}
# A fit this unlikely by chance says that the readings or their stated accuracies are off.
_UNLIKELY: Final = 0.01


def check_parts(report: Report) -> list[Part]:
    """Return what ``check`` prints: the fit, every reading, suspects, the next locate, notices."""
    return [
        _heading(report),
        Text(_fit_words(report)),
        _readings_table(report),
        *_section("Suspect readings", _suspects(report)),
        *_section("Next locate", [_next_words(report, report.next_locate)]),
        *_section("Notices", [_sentence(notice) for notice in report.notices]),
    ]


def drawing_parts(report: Report) -> list[Part]:
    """Return the summary ``draw`` prints: length, crossings, findings, suspects, notices."""
    unit = report.site.unit
    return [
        _heading(report),
        *_section("Crossings", [_crossing_words(each, unit) for each in report.crossings]),
        *_section("Not crossed", list(report.uncrossed)),
        *_section("Findings", [_finding_words(report, each) for each in report.findings]),
        *_section("Suspect readings", _suspects(report)),
        *_section("Notices", [_sentence(notice) for notice in report.notices]),
    ]


def _section(title: str, sentences: list[str]) -> list[Part]:
    """Return a title and its sentences indented under it, nothing where there are none."""
    spoken = [Text(plain(tidy(sentence))) for sentence in sentences if sentence]
    lines = (Padding.indent(sentence, 2) for sentence in spoken)
    return [Text(title, style="bold"), *lines] if spoken else []


def _sentence(words: str) -> str:
    """Return words with a capital, but for a file's name, which is case-sensitive."""
    return words if "." in words.split(" ", 1)[0] else words[:1].upper() + words[1:]


def _heading(report: Report) -> Text:
    site, footage = report.site, report.stations.footage_m
    run = length(float(footage[-1] - footage[0]), site.unit)
    reached = "to the main" if site.run.reached_main else "main not reached"
    date = f", {site.date.isoformat()}" if site.date else ""
    name = plain(tidy(site.name, 120))
    return Text.assemble((name, "bold"), f"{date}: {run} of pipe, {reached}")


def _fit_words(report: Report) -> str:
    """Say how well the whole fits; a single odd reading may hide in a good whole."""
    fit = report.fit
    counts = f"{fit.observations} observations, {fit.unknowns} unknowns"
    if fit.degrees_of_freedom <= 0:
        return f"Fit: {counts}; nothing is left over to check the readings with."
    if fit.p_value < _UNLIKELY:
        agree = "the readings disagree more than their accuracies allow"
    elif report.suspects:
        agree = "the readings agree as a whole, but for the suspects below"
    else:
        agree = "the readings agree"
    return (
        f"Fit: {agree} (chi-square {fit.chi_square:.1f} on {fit.degrees_of_freedom} degrees of "
        f"freedom, p = {fit.p_value:.3g}; {counts})."
    )


def _readings_table(report: Report) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    table.add_column("Reading", overflow="fold", min_width=6)
    for title in ("Off by", "In sd", "Checked"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Verdict", no_wrap=True)
    for check in report.readings:
        table.add_row(
            Text(plain(tidy(check.reading, 80))),
            _in_own_unit(check.residual, check, report.site.unit),
            f"{round(check.standardised, 1) + 0.0:.1f}",
            f"{100.0 * check.redundancy:.0f} %",
            Text(READING_WORDS[check.verdict], style=_COLOURS[check.verdict]),
        )
    return table


def _in_own_unit(value: float, check: ReadingCheck, unit: str) -> str:
    """Return a residual with one decimal more than a length: it is small beside what was read."""
    if check.is_angle:
        return f"{round(value, 1) + 0.0:.1f}°"
    return format_length(value, unit, decimals_for(unit) + 1)


def _suspects(report: Report) -> list[str]:
    """Return the readings to look at first, then those off only while they count."""
    first = [one for one in report.suspects if one.set_aside_first]
    after = [plain(one.reading) for one in report.suspects if not one.set_aside_first]
    words = [_suspect_words(report, one) for one in first]
    if after:
        words.append(
            f"Likely off only because of {'it' if len(first) == 1 else 'them'}: {', '.join(after)}"
        )
    return words


def _suspect_words(report: Report, check: ReadingCheck) -> str:
    unit = report.site.unit
    wrong = _in_own_unit(abs(check.likely_error), check, unit)
    return (
        f"{check.reading}: off by {_in_own_unit(check.residual, check, unit)}, "
        f"{abs(check.standardised):.1f} times its standard deviation. Look at this one first: set "
        f"aside, it explains the suspects best; if it alone is wrong, it is wrong by about {wrong}."
        f"{_where_else(check)}"
    )


def _where_else(check: ReadingCheck) -> str:
    """Say what else may be wrong where a mark is off: it shows what its whole row did."""
    if check.footage_m is None:
        return " Where one tie alone was taken from it, that tie may be the wrong one."
    mark = plain(check.locate)
    if check.locate and check.reading == f"locate {check.locate} mark":
        return (
            f" The mark takes the blame for its row: check locate {mark}'s footage and every tie "
            "of it too."
        )
    if check.locate and check.reading == f"locate {check.locate} depth":
        return f" The ground level at locate {mark} may be the wrong one, where it has one."
    return ""


def _next_words(report: Report, proposal: NextLocate | None) -> str:
    if proposal is None:
        return ""
    unit = report.site.unit
    gain = (
        f"{range_95(proposal.sd_before_m, unit)} now, "
        f"{range_95(proposal.sd_after_m, unit)} after it"
    )
    return f"At {length(proposal.footage_m, unit)}: {proposal.reason} ({gain})."


def _crossing_words(crossing: Crossing, unit: str) -> str:
    words = (
        f"{crossing.line} at {plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, "
        f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} deep"
    )
    words += "; responsibility changes here" if crossing.decides else ""
    return f"{words}; {crossing.note}" if crossing.note else words


def _finding_words(report: Report, result: FindingResult) -> str:
    unit, finding = report.site.unit, result.finding
    footage = length(finding.footage_m, unit)
    if finding.to_m is not None:
        footage = f"{footage} to {length(finding.to_m, unit)}"
    side = telling_side(report, result)
    words = f"{footage} {finding_words(result)}"
    if side:
        words += f": {side.line}, {side_words(side, unit)}"
    undecided = side is not None and result.answers == side.verdict
    return (
        f"{words}; answers for it: {result.answers}" if result.answers and not undecided else words
    )
