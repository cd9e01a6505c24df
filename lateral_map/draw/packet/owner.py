"""The owner's summary: what was found, where, whose, what next, in everyday words."""

from __future__ import annotations

from typing import Any, Final

from lateral_map.draw.packet.sorting import (
    Sorted,
    deciding_boundary,
    of_group,
    sort_findings,
)
from lateral_map.draw.packet.words import footage_words, numbers_words, the_line
from lateral_map.model.results import Report
from lateral_map.model.site import Severity
from lateral_map.words.numbers import label, length

_EVERYDAY: Final[dict[str, str]] = {
    "roots": "Tree roots have grown into the pipe",
    "crack": "The pipe is cracked",
    "offset joint": "Two lengths of pipe no longer line up",
    "broken pipe": "The pipe is broken",
    "standing water": "Water stands in a low spot",
    "grease": "Grease has built up",
    "tap": "Another pipe joins here",
    "transition": "The pipe changes from one material to another",
}
_HOW_BAD: Final[dict[Severity, str]] = {
    "minor": "slightly",
    "moderate": "noticeably",
    "severe": "badly",
}
_MOST_CARDS: Final = 40


def owner_facts(report: Report) -> dict[str, Any]:
    """Return what the owner's page shows beside the packet's facts."""
    unit, findings = report.site.unit, sort_findings(report)
    # A riser goes up to the surface: how deep the pipe lies is counted from its foot on.
    in_run = report.stations.footage_m >= report.route.chain.nodes_m[0]
    depth = report.stations.depth_m[in_run]
    return {
        "start": the_line(report.site.start.point) if report.site.start.point else "its start",
        "depths": f"{length(float(depth.min()), unit)} to {length(float(depth.max()), unit)}",
        "cards": [_card(report, each) for each in findings[:_MOST_CARDS]],
        "more": max(0, len(findings) - _MOST_CARDS),
        "next": _next_steps(report, findings),
    }


def _card(report: Report, each: Sorted) -> dict[str, Any]:
    unit = report.site.unit
    depth = length(each.result.near.depth_m, unit)
    return {
        "number": each.number,
        "what": _what(each),
        "where": f"{footage_words(report, each)} along the pipe, about {depth} down.",
        "whose": _whose(report, each),
        "unsure": each.group in ("close", "across", "no line"),
    }


def _what(each: Sorted) -> str:
    finding = each.result.finding
    if finding.finding.lower() == "other":
        words = f"Something else: {label(finding.note, 60)}" if finding.note else "Something else"
    else:
        words = _EVERYDAY.get(finding.finding.lower(), label(finding.finding, 60).capitalize())
    return f"{words} ({_HOW_BAD[finding.severity]})" if finding.severity else words


def _whose(report: Report, each: Sorted) -> str:
    boundary = deciding_boundary(report)
    if boundary is None:
        return "Whose it is has not been said: nobody has named the line where it changes."
    line, inside, past = (
        the_line(boundary.line),
        the_line(boundary.inside),
        the_line(boundary.outside),
    )
    return {
        "past": f"Past {line}: {past}'s side, as we understand it.",
        "inside": f"Before {line}: {inside}'s side, as we understand it.",
        "across": f"Reaches across {line}: part of it on each side.",
        "close": f"Too close to {line} to say on which side it is.",
        "no line": f"We cannot say on which side of {line} it is.",
    }[each.group]


def _next_steps(report: Report, findings: tuple[Sorted, ...]) -> list[str]:
    boundary = deciding_boundary(report)
    past, close = of_group(findings, "past"), of_group(findings, "close")
    across, inside = of_group(findings, "across"), of_group(findings, "inside")
    steps: list[str] = []
    if boundary and (past or across):
        asked = numbers_words(tuple(sorted((*past, *across), key=lambda each: each.number)))
        steps.append(
            f"Send the referral to {the_line(boundary.outside)} and wait for the answer about "
            f"{asked} before paying for work past {the_line(boundary.line)}."
        )
    if boundary and close:
        steps.append(
            f"Have one more locate made to settle {numbers_words(close)}; until then nobody can "
            f"say on which side of {the_line(boundary.line)} {_it_lies(close)}."
        )
    if inside:
        steps.append(
            f"For {numbers_words(inside)} ask a licensed plumber or sewer contractor what needs "
            "doing, and get more than one price."
        )
    steps.append("Keep this page and the full report: whoever digs will want both.")
    return steps


def _it_lies(findings: tuple[Sorted, ...]) -> str:
    return "it lies" if len(findings) == 1 else "they lie"
