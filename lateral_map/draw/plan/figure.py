"""A plan to scale by itself, for a page that has no room for a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.footage import footage_layer, round_step_m
from lateral_map.draw.plan.furniture import draw_north, draw_scale_bar, north_box
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.paper import draw_plan
from lateral_map.draw.plan.scales import figure_scales
from lateral_map.draw.plan.scene import Layer
from lateral_map.draw.plan.window import Window, laid_along
from lateral_map.draw.style import INK, PAPER, STYLES, Style
from lateral_map.model.results import Report

_MARGIN_PT = 45.0
_BAR_PT = 170.0
_WORDS_PT = 9.0


def plan_figure(
    report: Report,
    width_pt: float,
    height_pt: float,
    title: str,
    *,
    layers: Sequence[Layer] | None = None,
    styles: Mapping[str, Style] = STYLES,
) -> str:
    """Return the plan as one SVG element of a size in points, to the finest scale that fits.

    The run lies along the width. ``layers`` are the plan's own that are shown at first unless
    others are given, whose ``styles`` come with them. ``title`` says what is seen to who cannot
    see it.
    """
    panel = Box(0.5, 0.5, width_pt - 0.5, height_pt - 0.5)
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    line = report.line_between(first, last)
    _, span_m = laid_along(line)
    room = np.array([panel.width - 2.0 * _MARGIN_PT, panel.height - 2.0 * _MARGIN_PT])
    scales = figure_scales(report.site.unit)
    fitting = (one for one in scales if (span_m * one.points_per_metre <= room).all())
    scale = next(fitting, scales[-1])
    if layers is None:
        layers = [layer for layer in plan_layers(report) if layer.shown]
    tick_m = round_step_m(0.45 * scale.metres_per_inch, report.site.unit)
    ticked = [
        footage_layer(report, tick_m) if layer.key == "footage" else layer for layer in layers
    ]
    window = Window.along(line, scale.points_per_metre, panel)
    bar = Box(panel.left, panel.bottom - 34.0, panel.left + _BAR_PT + 12.0, panel.bottom)
    canvas = Canvas.sheet(width_pt, height_pt, title)
    draw_plan(canvas.group("plan"), ticked, window, clear=(north_box(panel), bar), styles=styles)
    draw_north(canvas, report.site.frame, window)
    canvas.box(bar.left, bar.top, bar.width, bar.height, fill=PAPER, edge=HAIRLINE)
    at = (bar.left + 6.0, bar.bottom - 18.0)
    draw_scale_bar(canvas, report.site.unit, scale.points_per_metre, at, _BAR_PT)
    canvas.text(bar.left + 6.0, bar.top + 11.0, scale.words, _WORDS_PT, bold=True)
    canvas.box(panel.left, panel.top, panel.width, panel.height, edge=Stroke(INK, 1.0))
    return canvas.to_text()
