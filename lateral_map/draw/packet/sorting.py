"""Findings sorted by what may be said of them: past the line, across it, too close, inside.

Only what the odds carry is said. A stretch counts as past where both its ends do.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from lateral_map.model.results import Crossing, FindingResult, FindingVerdict, Report, Side
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
    return tuple(_sorted(result) for result in report.findings)


def _sorted(result: FindingResult) -> Sorted:
    group: Group = _GROUPS[result.verdict] if result.verdict else "no line"
    return Sorted(result.number, result, group, result.deciding, result.deciding_to)


_GROUPS: Final[dict[FindingVerdict, Group]] = {
    "past": "past",
    "across": "across",
    "past from within": "across",
    "too close to call": "close",
    "inside": "inside",
}


def of_group(findings: tuple[Sorted, ...], group: Group) -> tuple[Sorted, ...]:
    """Return the findings of one group."""
    return tuple(each for each in findings if each.group == group)
