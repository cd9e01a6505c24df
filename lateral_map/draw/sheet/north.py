"""The north arrow in the plan's corner."""

from __future__ import annotations

from typing import Final

import numpy as np

from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.sheet.cuts import Cut, Setting
from lateral_map.draw.sheet.labels import Box
from lateral_map.draw.style import INK, PAPER, QUIET
from lateral_map.model.results import Report

_NORTH_PT: Final = 46.0


def north_box(panel: Box) -> Box:
    """Return where the north arrow stands in a plan panel."""
    return Box(
        panel.right - _NORTH_PT, panel.top + 2.0, panel.right - 2.0, panel.top + _NORTH_PT + 12
    )


def draw_north(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> None:
    """Set the north arrow over the plan: declared grid north, or the sketch's own y axis."""
    frame = report.site.frame
    box = north_box(setting.panels.plan)
    canvas = canvas.group("north")
    canvas.box(box.left, box.top, box.width, box.height, fill=PAPER, edge=HAIRLINE)
    x, y = box.middle[0], box.top + 25.0
    turn = np.radians(cut.window.paper_angle_deg(frame.plane_azimuth_deg(0.0)))
    up = np.array([np.sin(turn), -np.cos(turn)])
    side = np.array([up[1], -up[0]])
    tip, tail = np.array([x, y]) + 14.0 * up, np.array([x, y]) - 15.0 * up
    canvas.line([tail, tip], Stroke(INK, 1.0))
    canvas.area([np.stack([tip, tip - 9.0 * up + 3.6 * side, tip - 9.0 * up - 3.6 * side])], INK)
    at = np.array([x, y]) + 19.0 * up
    words = "y axis" if frame.is_local else "grid north"
    canvas.text(
        float(at[0]),
        float(at[1]) + 2.4,
        "" if frame.is_local else "N",
        6.5,
        anchor="middle",
        bold=True,
    )
    canvas.text(x, box.bottom - 3.0, words, 5.4, anchor="middle", colour=QUIET)
