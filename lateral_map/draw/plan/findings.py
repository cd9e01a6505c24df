"""What the camera saw, by side of the line that decides."""

from __future__ import annotations

import numpy as np

from lateral_map.draw.along import telling_side
from lateral_map.draw.plan.scene import (
    DECIDING_FINDING,
    FINDING,
    LAST_FINDING,
    Detail,
    Layer,
    Mark,
    line_along,
)
from lateral_map.draw.style import SEVERITY_SCALE, SIDE_WORDS
from lateral_map.draw.text import label, length, listed, odds, plus_minus, tidy
from lateral_map.model.results import FindingResult, Report, Side


def findings_layer(report: Report) -> Layer:
    """Return every finding, numbered as in the table; a stretch is also drawn along the line."""
    stretches = tuple(
        line_along(report, result.finding.footage_m, result.finding.to_m, "stretch")
        for result in report.findings
        if result.finding.to_m is not None
    )
    weights = _weights(report)
    marks = tuple(
        _mark(report, number, result, weights[number - 1])
        for number, result in enumerate(report.findings, start=1)
    )
    return Layer("findings", "Findings", (*stretches, *marks), _legend(report, marks))


def _legend(report: Report, marks: tuple[Mark, ...]) -> tuple[tuple[str, str], ...]:
    lines = [boundary.line for boundary in report.site.boundaries if boundary.decides]
    line = label(lines[0]) if lines else "the line"
    words = {
        "side inside": f"Finding inside {line}",
        "side past": f"Finding past {line}",
        "side too close to call": "Finding too close to call",
        "side none": "Finding",
    }
    used = {mark.style for mark in marks}
    return tuple((style, text) for style, text in words.items() if style in used)


def _weights(report: Report) -> list[int]:
    """Return how much each finding's caption matters: the nearer to the deciding line, the more."""
    sides = [telling_side(report, result) for result in report.findings]
    gaps = [abs(side.past_m) if side else np.inf for side in sides]
    weights = [FINDING] * len(gaps)
    for rank, index in enumerate(np.argsort(gaps, kind="stable")):
        weights[index] = max(FINDING - rank, LAST_FINDING)
        if rank == 0 and np.isfinite(gaps[index]):
            weights[index] = DECIDING_FINDING
    return weights


def side_style(report: Report, result: FindingResult) -> str:
    """Return the style key of a finding's mark."""
    side = telling_side(report, result)
    return f"side {side.verdict}" if side else "side none"


def finding_words(result: FindingResult) -> str:
    """Return a finding in words, such as ``roots, severe``."""
    finding = result.finding
    name = label(finding.finding)
    return f"{name}, {finding.severity}" if finding.severity else name


def side_words(side: Side, unit: str) -> str:
    """Return a side in words: ``past by 1.2 ± 0.8 ft, odds of past 99 %``."""
    gap = plus_minus(abs(side.past_m), side.sd_past_m, unit)
    words = SIDE_WORDS[side.verdict]
    if side.verdict == "too close to call":
        words = f"{words}: {'past' if side.past_m > 0 else 'inside'}"
    return f"{words} by {gap}, odds of past {odds(side.probability_past)}"


def _mark(report: Report, number: int, result: FindingResult, weight: int) -> Mark:
    return Mark(
        result.easting_m,
        result.northing_m,
        side_style(report, result),
        f"#{number} {label(result.finding.finding, 18)}",
        _detail(report, number, result),
        footage_m=result.finding.footage_m,
        scale=SEVERITY_SCALE[result.finding.severity],
        weight=weight,
        short=f"#{number}",
    )


def _detail(report: Report, number: int, result: FindingResult) -> Detail:
    unit, finding = report.site.unit, result.finding
    footage = length(finding.footage_m, unit)
    if finding.to_m is not None:
        footage = f"{footage} to {length(finding.to_m, unit)}"
    rows = [
        ("Footage", footage),
        ("Depth to invert", plus_minus(result.depth_m, result.sd_depth_m, unit)),
        ("Line here is", result.basis),
    ]
    rows += [(label(side.line), side_words(side, unit)) for side in result.sides]
    rows += [(f"{label(side.line)}, far end", side_words(side, unit)) for side in result.sides_to]
    if result.straddles:
        rows.append(("Lies across", tidy(listed(result.straddles))))
    if any(side.extended for side in (*result.sides, *result.sides_to)):
        rows.append(("Caution", "judged against a line carried on past its mapped end"))
    if result.answers:
        rows.append(("Answers for it", tidy(result.answers)))
    if result.settle:
        rows.append(("Would settle it", tidy(result.settle)))
    if result.rests_on:
        rows.append(("Rests on", tidy(listed(result.rests_on, 6))))
    return Detail(f"{number} {finding_words(result)}", tuple(rows), tidy(finding.note))
