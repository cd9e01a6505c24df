"""Findings sorted by what may be said of them: past the line, across it, too close, inside.

Only what the odds carry is said. A stretch counts as past where both its ends do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lateral_map.model.results import Crossing, FindingResult, Report, Side
from lateral_map.model.site import Boundary

Group = Literal["past", "across", "close", "inside", "no line"]


@dataclass(frozen=True, slots=True)
class Sorted:
    """A finding with its number on every drawing, its group, and its sides of the line decided by.

    ``far`` is the side of a stretch's far end, None for a single place.
    """

    number: int
    result: FindingResult
    group: Group
    near: Side | None
    far: Side | None


def deciding_boundary(report: Report) -> Boundary | None:
    """Return the boundary at which responsibility changes, None where the site names none."""
    return next((each for each in report.site.boundaries if each.decides), None)


def deciding_crossing(report: Report) -> Crossing | None:
    """Return where the run first goes past the line that decides, None where it never does."""
    boundary = deciding_boundary(report)
    if boundary is None:
        return None
    found = (each for each in report.crossings if each.line == boundary.line and each.outward)
    return next(found, None)


def sort_findings(report: Report) -> tuple[Sorted, ...]:
    """Return every finding with its number and group, in the order of the tables."""
    boundary = deciding_boundary(report)
    line = boundary.line if boundary else ""
    return tuple(
        _sorted(number, result, line) for number, result in enumerate(report.findings, start=1)
    )


def _sorted(number: int, result: FindingResult, line: str) -> Sorted:
    near = _side(result.sides, line)
    far = _side(result.sides_to, line)
    return Sorted(number, result, _group(near, far, result), near, far)


def _side(sides: tuple[Side, ...], line: str) -> Side | None:
    return next((side for side in sides if side.line == line), None)


def _group(near: Side | None, far: Side | None, result: FindingResult) -> Group:
    if near is None:
        return "no line"
    verdicts = {near.verdict} | ({far.verdict} if far else set())
    if verdicts == {"past"} and near.line not in result.straddles:
        return "past"
    if verdicts == {"inside"} and near.line not in result.straddles:
        return "inside"
    return "across" if "past" in verdicts else "close"


def of_group(findings: tuple[Sorted, ...], group: Group) -> tuple[Sorted, ...]:
    """Return the findings of one group."""
    return tuple(each for each in findings if each.group == group)
