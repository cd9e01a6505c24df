"""The plan panel of a sheet: the plan's own layers, its neighbours' stretches, match lines."""

from __future__ import annotations

from typing import Final

import numpy as np

from lateral_map.draw.paint.fonts import wrap
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.plan.figure import draw_north, north_box
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.paper import draw_plan
from lateral_map.draw.plan.pipe import footage_layer, round_step_m
from lateral_map.draw.plan.scene import Layer, Line, line_along
from lateral_map.draw.sheet.setting import Cut, Setting
from lateral_map.draw.style import INK, PAPER
from lateral_map.model.results import Report
from lateral_map.words.notices import stop_line
from lateral_map.words.numbers import length

_MATCH_PT: Final = 110.0
# What is still to be done in the field is no part of a drawing that goes to others.
_NOT_ON_SHEETS: Final = frozenset({"next"})


def sheet_layers(report: Report, tick_m: float | None = None) -> tuple[Layer, ...]:
    """Return the plan's layers that a sheet shows, with a footage ticked every ``tick_m``."""
    return tuple(
        footage_layer(report, tick_m) if layer.key == "footage" else layer
        for layer in plan_layers(report)
        if layer.shown and layer.key not in _NOT_ON_SHEETS
    )


def draw_sheet_plan(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> int:
    """Draw one sheet's plan; return how many labels found no room."""
    panel = setting.panels.plan
    tick_m = round_step_m(0.45 * setting.scale.metres_per_inch, report.site.unit)
    # Where the panel's own heading stands.
    heading = Box(panel.left, panel.bottom - 16.0, panel.left + 380.0, panel.bottom)
    # What to stop for heads the plan, on every sheet.
    stop = wrap(stop_line(report), north_box(panel).left - panel.left - 12.0, 9.0, bold=True)
    band = Box(panel.left, panel.top, north_box(panel).left - 2.0, panel.top + 12.0 * len(stop))
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    spans = [span for span in ((first, cut.from_m), (cut.to_m, last)) if span[1] > span[0]]
    items = (line_along(report, low, high, "other sheet").at_m for low, high in spans)
    ends = [] if cut.is_first else [(cut.from_m, cut.number - 1)]
    ends += [] if cut.is_last else [(cut.to_m, cut.number + 1)]
    reach_m = _MATCH_PT / cut.window.points_per_metre
    match_lines = []
    for footage_m, neighbour in ends:
        place = report.route.positions([footage_m])[0, :2]
        azimuth = np.radians(float(report.route.headings_deg([footage_m])[0][0]))
        across = reach_m * np.array([np.cos(azimuth), -np.sin(azimuth)])
        caption = f"MATCH LINE {length(footage_m, report.site.unit)}, SEE SHEET {neighbour}"
        line = np.stack([place - across, place + across])
        match_lines.append(Line(line, "match line", caption=caption))
    left_out = draw_plan(
        canvas.group("plan"),
        (
            *sheet_layers(report, tick_m),
            Layer("beyond", "On other sheets", tuple(Line(at_m, "other sheet") for at_m in items)),
            Layer("match", "Match lines", tuple(match_lines)),
        ),
        cut.window,
        from_m=cut.from_m,
        to_m=cut.to_m,
        holds=cut.holds,
        clear=(north_box(panel), heading, band),
    )
    draw_north(canvas, report.site.frame, cut.window)
    if stop:
        canvas.box(band.left, band.top, band.width, band.height + 3.0, fill=INK)
    for k, words in enumerate(stop):
        canvas.text(
            band.left + 6.0, band.top + 12.0 * k + 10.0, words, 9.0, bold=True, colour=PAPER
        )
    return left_out
