"""What the camera saw, by its verdict at the line that decides."""

from __future__ import annotations

import numpy as np

from lateral_map.draw.plan.scene import (
    DECIDING_FINDING,
    FINDING,
    LAST_FINDING,
    Layer,
    Line,
    Mark,
    line_along,
)
from lateral_map.draw.style import SEVERITY_SCALE
from lateral_map.model.results import FindingResult, FoundPlace, Report
from lateral_map.words.numbers import label
from lateral_map.words.picked import finding_picked


def stretches_layer(report: Report) -> Layer:
    """Return the stretches that findings take along the line, each with a bracket at its end."""
    items: list[Line | Mark] = []
    for result in report.findings:
        if result.far is not None:
            detail, end_m = finding_picked(report, result), result.far.footage_m
            items.append(line_along(report, result.near.footage_m, end_m, "stretch", detail))
            items.append(
                Mark(
                    result.far.easting_m,
                    result.far.northing_m,
                    "stretch end",
                    detail=detail,
                    turn_deg=_heading(report, result.far),
                    footage_m=end_m,
                )
            )
    legend = (("stretch", "Stretch of a finding"),)
    return Layer("stretches", "Stretches of findings", tuple(items), legend)


def findings_layer(report: Report) -> Layer:
    """Return every finding, numbered as in the table."""
    # The nearer to the line that decides, the more its caption matters.
    sides = [result.telling for result in report.findings]
    gaps = [abs(side.past_m) if side else np.inf for side in sides]
    weights = [FINDING] * len(gaps)
    for rank, index in enumerate(np.argsort(gaps, kind="stable")):
        nearest = rank == 0 and np.isfinite(gaps[index])
        weights[index] = DECIDING_FINDING if nearest else max(FINDING - rank, LAST_FINDING)

    def height(result: FindingResult) -> tuple[bool, bool, float]:
        """What puts a finding's mark above another's: a danger, doubt, a smaller mark."""
        doubtful = result.verdict == "too close to call"
        scale = SEVERITY_SCALE[result.finding.severity]
        return result.finding_class == "danger", doubtful, -scale

    marks = tuple(
        Mark(
            result.near.easting_m,
            result.near.northing_m,
            side_style(result),
            f"#{result.number} {label(result.finding.finding, 18)}",
            finding_picked(report, result),
            turn_deg=_heading(report, result.near),
            footage_m=result.finding.footage_m,
            scale=SEVERITY_SCALE[result.finding.severity],
            weight=weights[index],
            short=f"#{result.number}",
        )
        for index, result in sorted(enumerate(report.findings), key=lambda each: height(each[1]))
    )
    used = {mark.style for mark in marks}
    legend = tuple(row for row in findings_legend(report) if row[0] in used)
    return Layer("findings", "Findings", marks, legend)


def findings_legend(report: Report) -> tuple[tuple[str, str], ...]:
    """Return (style key, words) of every mark a finding may have."""
    lines = dict.fromkeys(one.deciding.line for one in report.findings if one.deciding)
    line = label(next(iter(lines))) if len(lines) == 1 else "the line that decides"
    return (
        ("side inside", f"Finding inside {line}"),
        ("side past", f"Finding past {line}"),
        ("side across", f"Finding that reaches across {line}"),
        ("side past from within", f"Finding past {line} at its far end"),
        ("side too close to call", "Finding too close to call"),
        ("side none", "Finding"),
        ("danger", "STOP: foreign pipe or cable in the sewer"),
    )


def _heading(report: Report, place: FoundPlace) -> float:
    return float(report.route.headings_deg([place.footage_m])[0][0])


def side_style(result: FindingResult) -> str:
    """Return the style key of a finding's mark."""
    if result.finding_class == "danger":
        return "danger"
    return f"side {result.verdict}" if result.verdict else "side none"
