"""Curbs, right-of-way and property lines, with who answers on each side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from shapely import STRtree
from shapely.geometry import LineString

from lateral_map.draw.plan.scene import Layer, Line
from lateral_map.model.results import Report
from lateral_map.model.site import PlanLine
from lateral_map.words.names import LINE_WORDS
from lateral_map.words.numbers import label, listed
from lateral_map.words.picked import line_picked

_SAME_LINE_M: Final = 0.05


def boundaries_layer(report: Report) -> Layer:
    """Return the plan's lines, named along themselves."""
    lines = report.site.plan.lines
    items = tuple(
        Line(line.vertices_m, f"line {line.kind}", line_picked(report, line), caption)
        for line, caption in zip(lines, _captions(lines), strict=True)
    )
    kinds = {line.kind for line in lines}
    legend = tuple((f"line {kind}", LINE_WORDS[kind]) for kind in LINE_WORDS if kind in kinds)
    return Layer("boundaries", "Lines on the plan", items, legend)


def _captions(lines: Sequence[PlanLine]) -> list[str]:
    """Return each line's name; of lines that lie on one another the first bears every name."""
    captions = [label(line.name) for line in lines]
    shapes = [LineString(line.vertices_m) for line in lines]
    tree = STRtree(shapes)
    for later, shape in enumerate(shapes):
        for first in sorted(int(k) for k in tree.query(shape, "dwithin", _SAME_LINE_M)):
            if first >= later or not captions[first]:
                continue
            short, long = sorted((shapes[first], shape), key=lambda line: line.length)
            # Nine tenths of the shorter lie on the longer.
            if short.difference(long.buffer(_SAME_LINE_M)).length < 0.1 * short.length:
                captions[first] = listed([captions[first], captions[later]])
                captions[later] = ""
                break
    return captions
