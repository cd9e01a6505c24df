"""The profile panel: the one profile painter on the plan's own stationing, true to scale."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.profile.events import hang_flags
from lateral_map.draw.profile.frame import heights_shown
from lateral_map.draw.profile.parts import TEXT_PT, paint_graph
from lateral_map.draw.profile.rows import (
    ROW_PT,
    paint_depths,
    paint_footages,
    paint_rows,
    profile_rows,
)
from lateral_map.draw.sheet.setting import Cut, Setting, label_graph
from lateral_map.draw.style import LINES
from lateral_map.model.results import Report
from lateral_map.words.numbers import length

# What the line rests on shows in its own dashes: a row of it would cost height.
_ROWS: Final = ("Pipe", "Fall", "Answers")


def draw_profile(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> None:
    """Draw one sheet's profile."""
    canvas = canvas.group("profile")
    panels = setting.panels
    graph = label_graph(report, panels, setting.scale, cut)
    box = graph.frame.box
    low, high = heights_shown(report, cut.from_m, cut.to_m)
    spare = box.height / setting.upright.points_per_metre - (high - low)
    frame = replace(graph.frame, low_m=low - 0.6 * spare, high_m=high + 0.4 * spare)

    curves = paint_graph(canvas, report, frame, both_sides=True).curves
    hang_flags(canvas, graph.above, frame, curves, up=True)
    hang_flags(canvas, graph.below, frame, curves, up=False)
    rows = tuple(row for row in profile_rows(report) if row.name in _ROWS)
    paint_footages(canvas, report, frame, panels.rows.top)
    paint_depths(canvas, report, frame, panels.rows.top + ROW_PT)
    paint_rows(canvas, frame, rows, panels.rows.top + 2.0 * ROW_PT)
    ends = [] if cut.is_first else [(cut.from_m, cut.number - 1, (-45.0, -35.0))]
    ends += [] if cut.is_last else [(cut.to_m, cut.number + 1, (41.0, 51.0))]
    for footage, neighbour, beside in ends:
        x = frame.x(footage)
        canvas.line([(x, box.top), (x, box.bottom)], Stroke.of(LINES["match line"]))
        lines = (f"MATCH LINE {length(footage, report.site.unit)}", f"SEE SHEET {neighbour}")
        middle = box.middle[1]
        for words, shift in zip(lines, beside, strict=True):
            canvas.text(
                x + shift, middle, words, TEXT_PT, anchor="middle", bold=True, turn_deg=-90.0
            )
