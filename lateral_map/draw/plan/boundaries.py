"""Curbs, right-of-way and property lines, with who answers on each side."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Detail, Layer, Line
from lateral_map.model.results import Report
from lateral_map.model.site import PlanLine
from lateral_map.words.names import LINE_WORDS
from lateral_map.words.numbers import label, range_95, tidy


def boundaries_layer(report: Report) -> Layer:
    """Return the plan's lines, named along themselves."""
    lines = report.site.plan.lines
    items = tuple(
        Line(line.vertices_m, f"line {line.kind}", _detail(report, line), label(line.name))
        for line in lines
    )
    kinds = {line.kind for line in lines}
    legend = tuple((f"line {kind}", LINE_WORDS[kind]) for kind in LINE_WORDS if kind in kinds)
    return Layer("boundaries", "Lines on the plan", items, legend)


def _detail(report: Report, line: PlanLine) -> Detail:
    rows = [("Kind", LINE_WORDS[line.kind]), ("Mapped to", range_95(line.sd_m, report.site.unit))]
    for boundary in report.site.boundaries:
        if boundary.line == line.name:
            rows.append(("On the start's side", tidy(boundary.inside)))
            rows.append(("Beyond it", tidy(boundary.outside)))
            if boundary.decides:
                rows.append(("Responsibility", "changes at this line"))
    return Detail(tidy(line.name), tuple(rows))
