"""What the camera saw, by its verdict at the line that decides."""

from __future__ import annotations

import numpy as np

from lateral_map.draw.plan.scene import (
    DECIDING_FINDING,
    FINDING,
    LAST_FINDING,
    Detail,
    Layer,
    Line,
    Mark,
    line_along,
)
from lateral_map.draw.style import SEVERITY_SCALE
from lateral_map.model.results import FindingResult, FoundPlace, Report
from lateral_map.words.names import finding_words, footage_words, readings_listed
from lateral_map.words.numbers import label, plus_minus, tidy
from lateral_map.words.technician import answers_words, settling_words, side_words, verdict_words


def findings_layer(report: Report) -> Layer:
    """Return every finding, numbered as in the table; a stretch is also drawn along the line."""
    stretches: list[Line | Mark] = []
    for result in report.findings:
        if result.far is not None:
            detail = _detail(report, result)
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
    weights = _weights(report)
    marks = tuple(
        _mark(report, result, weight)
        for result, weight in zip(report.findings, weights, strict=True)
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


def _mark(report: Report, result: FindingResult, weight: int) -> Mark:
    return Mark(
        result.near.easting_m,
        result.near.northing_m,
        side_style(result),
        f"#{result.number} {label(result.finding.finding, 18)}",
        _detail(report, result),
        turn_deg=_heading(report, result.near),
        footage_m=result.finding.footage_m,
        scale=SEVERITY_SCALE[result.finding.severity],
        weight=weight,
        short=f"#{result.number}",
    )


def _detail(report: Report, result: FindingResult) -> Detail:
    unit, finding = report.site.unit, result.finding
    rows = [
        ("Footage", footage_words(finding, unit)),
        ("Depth to invert", plus_minus(result.near.depth_m, result.near.sd_depth_m, unit)),
        ("Line here is", result.near.basis),
    ]
    if result.verdict:
        rows.append(("Side", verdict_words(result, unit)))
    decided = {side.line for side in (result.deciding, result.deciding_to) if side}
    rows += [
        (label(side.line), side_words(side, unit))
        for side in result.sides
        if side.line not in decided
    ]
    if any(side.extended for side in (*result.sides, *result.sides_to)):
        rows.append(("Caution", "judged against a line carried on past its mapped end"))
    if words := answers_words(result):
        rows.append(("Answers for it", tidy(words)))
    if words := settling_words(result.settling, unit):
        rows.append(("Would settle it", tidy(words)))
    if result.rests_on:
        rows.append(("Rests on", readings_listed(result.rests_on, report.site.plan)))
    return Detail(f"{result.number} {finding_words(result)}", tuple(rows), tidy(finding.note))
