"""A plan to scale by itself, with the north arrow and the scale bar that every plan has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.paper import LETTER_SIZES_PT, draw_plan
from lateral_map.draw.plan.pipe import footage_layer, round_step_m
from lateral_map.draw.plan.scales import figure_scales
from lateral_map.draw.plan.scene import Layer
from lateral_map.draw.plan.window import Window, laid_along, spanned
from lateral_map.draw.style import INK, PAPER, QUIET, STYLES, Style
from lateral_map.frame import Frame
from lateral_map.model.arrays import Floats
from lateral_map.model.results import Report
from lateral_map.units import from_metres
from lateral_map.words.numbers import unit_word

_NORTH_PT: Final = 56.0
_TEXT_PT: Final = 9.0


def north_box(panel: Box) -> Box:
    """Return where the north arrow stands in a plan's panel."""
    return Box(
        panel.right - _NORTH_PT, panel.top + 2.0, panel.right - 2.0, panel.top + _NORTH_PT + 10.0
    )


def draw_north(canvas: Canvas, frame: Frame, window: Window) -> None:
    """Set the north arrow in a window: declared grid north, or up as a sketch was drawn."""
    box = north_box(window.box)
    canvas = canvas.group("north")
    canvas.box(box.left, box.top, box.width, box.height, fill=PAPER, edge=HAIRLINE)
    turn = np.radians(window.paper_angle_deg(frame.plane_azimuth_deg(0.0)))
    up = np.array([np.sin(turn), -np.cos(turn)])
    side = np.array([up[1], -up[0]])
    middle = np.array([box.middle[0], box.top + 27.0])
    tip, tail = middle + 14.0 * up, middle - 16.0 * up
    canvas.line([tail, tip], Stroke(INK, 1.0))
    canvas.area([np.stack([tip, tip - 9.0 * up + 3.6 * side, tip - 9.0 * up - 3.6 * side])], INK)
    letter = "" if frame.is_local else "N"
    x, y = middle + 20.0 * up
    canvas.text(float(x), float(y) + 3.2, letter, _TEXT_PT, anchor="middle", bold=True)
    words = "as drawn" if frame.is_local else "grid north"
    canvas.text(box.middle[0], box.bottom - 4.0, words, _TEXT_PT, anchor="middle", colour=QUIET)


def draw_scale_bar(
    canvas: Canvas, unit: str, points_per_metre: float, at: tuple[float, float], room: float
) -> None:
    """Draw a scale bar no wider than ``room``: black and white steps, each a round length."""
    step = round_step_m(32.0 / points_per_metre, unit)
    width = step * points_per_metre
    if width > 0.45 * room:
        step, width = step / 2.0, width / 2.0
    group = canvas.group("scale-bar")
    x, y = at
    count = max(1, min(4, int((room - 18.0) // width)))
    for k in range(count):
        fill = INK if k % 2 == 0 else PAPER
        group.box(x + k * width, y, width, 4.0, fill=fill, edge=Stroke(INK, 0.5))
    for k in range(count + 1):
        figure = f"{from_metres(k * step, unit):g}"
        words = f"{figure} {unit_word(unit)}" if k == count else figure
        group.text(x + k * width, y + 13.0, words, _TEXT_PT, anchor="start" if k == 0 else "middle")


_MARGIN_PT = 45.0
_BAR_PT = 170.0
_WORDS_PT = 9.0


def plan_on(
    report: Report,
    width_pt: float,
    height_pt: float,
    title: str,
    *,
    layers: Sequence[Layer] | None = None,
    styles: Mapping[str, Style] = STYLES,
    sizes_pt: Sequence[float] = LETTER_SIZES_PT,
    must_m: Sequence[Floats] = (),
) -> Canvas:
    """Return the plan as one drawing of a size in points, to the finest scale that fits.

    The run lies along the width. ``layers`` are the plan's own that are shown at first unless
    others are given, whose ``styles`` come with them. ``must_m`` are (n, 2) places that it shows
    too. ``title`` says what is seen to who cannot see it.
    """
    panel = Box(0.5, 0.5, width_pt - 0.5, height_pt - 0.5)
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    line = report.line_between(first, last)
    turn_deg, _ = laid_along(line)
    shown = np.concatenate([line, *must_m])
    span_m = spanned(shown, turn_deg)
    # Outlines that must be shown bring their own margin about the line.
    margin = _MARGIN_PT / 3.0 if must_m else _MARGIN_PT
    room = np.array([panel.width - 2.0 * margin, panel.height - 2.0 * margin])
    scales = figure_scales(report.site.unit)
    fitting = (one for one in scales if (span_m * one.points_per_metre <= room).all())
    scale = next(fitting, scales[-1])
    if layers is None:
        # A picture is for map and sheet: in a small figure it would drown what is drawn.
        layers = [one for one in plan_layers(report) if one.shown and one.key != "picture"]
    tick_m = round_step_m(0.45 * scale.metres_per_inch, report.site.unit)
    ticked = [
        footage_layer(report, tick_m) if layer.key == "footage" else layer for layer in layers
    ]
    window = Window.along(line, scale.points_per_metre, panel, shown)
    bar = Box(panel.left, panel.bottom - 34.0, panel.left + _BAR_PT + 12.0, panel.bottom)
    canvas = Canvas.sheet(width_pt, height_pt, title)
    draw_plan(
        canvas.group("plan"),
        ticked,
        window,
        clear=(north_box(panel), bar),
        styles=styles,
        sizes_pt=sizes_pt,
    )
    draw_north(canvas, report.site.frame, window)
    canvas.box(bar.left, bar.top, bar.width, bar.height, fill=PAPER, edge=HAIRLINE)
    at = (bar.left + 6.0, bar.bottom - 18.0)
    draw_scale_bar(canvas, report.site.unit, scale.points_per_metre, at, _BAR_PT)
    canvas.text(bar.left + 6.0, bar.top + 11.0, scale.words, _WORDS_PT, bold=True)
    canvas.box(panel.left, panel.top, panel.width, panel.height, edge=Stroke(INK, 1.0))
    return canvas
