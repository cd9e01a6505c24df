"""The north arrow and the scale bar of a plan on paper."""

from __future__ import annotations

from typing import Final

import numpy as np

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.footage import round_step_m
from lateral_map.draw.plan.window import Window
from lateral_map.draw.style import INK, PAPER, QUIET
from lateral_map.frame import Frame
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
    """Set the north arrow in a window: declared grid north, or the sketch's own y axis."""
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
    words = "y axis" if frame.is_local else "grid north"
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
