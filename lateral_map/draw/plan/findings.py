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


def findings_layer(report: Report) -> Layer:
    """Return every finding, numbered as in the table; a stretch is also drawn along the line."""
    stretches: list[Line | Mark] = []
    for result in report.findings:
        if result.far is not None:
            detail = finding_picked(report, result)
            ends = result.near.footage_m, result.far.footage_m
            stretches.append(line_along(report, *ends, "stretch", detail))
            stretches.append(
                Mark(
                    result.far.easting_m,
                    result.far.northing_m,
                    "stretch end",
                    detail=detail,
                    turn_deg=_heading(report, result.far),
                    footage_m=result.far.footage_m,
                )
            )
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
            weight=weight,
            short=f"#{result.number}",
        )
        for result, weight in sorted(
            zip(report.findings, _weights(report), strict=True), key=lambda each: _height(each[0])
        )
    )
    return Layer("findings", "Findings", (*stretches, *marks), _legend(report, marks))


def _legend(report: Report, marks: tuple[Mark, ...]) -> tuple[tuple[str, str], ...]:
    lines = dict.fromkeys(one.deciding.line for one in report.findings if one.deciding)
    line = label(next(iter(lines))) if len(lines) == 1 else "the line that decides"
    words = {
        "side inside": f"Finding inside {line}",
        "side past": f"Finding past {line}",
        "side across": f"Finding that reaches across {line}",
        "side past from within": f"Finding past {line} at its far end",
        "side too close to call": "Finding too close to call",
        "side none": "Finding",
        "danger": "STOP: foreign pipe or cable in the sewer",
    }
    used = {mark.style for mark in marks}
    rows = [(style, text) for style, text in words.items() if style in used]
    if any(result.far for result in report.findings):
        rows.append(("stretch", "Stretch of a finding"))
    return tuple(rows)


def _height(result: FindingResult) -> tuple[bool, bool, float]:
    """Return what puts a finding's mark above another's: a danger, doubt, a smaller mark."""
    return (
        result.finding_class == "danger",
        result.verdict == "too close to call",
        -SEVERITY_SCALE[result.finding.severity],
    )


def _heading(report: Report, place: FoundPlace) -> float:
    return float(report.route.headings_deg([place.footage_m])[0][0])


def _weights(report: Report) -> list[int]:
    """Return how much each finding's caption matters: the nearer to the deciding line, the more."""
    sides = [result.telling for result in report.findings]
    gaps = [abs(side.past_m) if side else np.inf for side in sides]
    weights = [FINDING] * len(gaps)
    for rank, index in enumerate(np.argsort(gaps, kind="stable")):
        weights[index] = max(FINDING - rank, LAST_FINDING)
        if rank == 0 and np.isfinite(gaps[index]):
            weights[index] = DECIDING_FINDING
    return weights


def side_style(result: FindingResult) -> str:
    """Return the style key of a finding's mark."""
    if result.finding_class == "danger":
        return "danger"
    return f"side {result.verdict}" if result.verdict else "side none"
