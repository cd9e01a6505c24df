"""Words on the plan: footages, names along lines and areas, labels led from their marks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from lateral_map.draw.paint.fonts import shorten, text_width
from lateral_map.draw.paint.svg import Stroke
from lateral_map.draw.plan.boundaries import boundaries_layer
from lateral_map.draw.plan.scene import Line
from lateral_map.draw.sheet.labels import Box
from lateral_map.draw.sheet.plan_panel import (
    CAPTION_PT,
    SMALL_PT,
    PlanPanel,
    across_line,
    lay_plate,
    lines_on,
)
from lateral_map.draw.style import INK, PAPER, QUIET
from lateral_map.units import from_metres, to_metres

Floats = NDArray[np.float64]


def draw_ticks(plan: PlanPanel) -> None:
    """Draw a tick at every round footage and ask for its label."""
    report, cut = plan.report, plan.cut
    unit = report.site.unit
    step = tick_step_m(plan.setting.scale.metres_per_inch, unit)
    first = np.ceil(cut.from_m / step - 1e-9)
    for k in range(int(first), int(np.floor(cut.to_m / step + 1e-9)) + 1):
        footage = k * step
        if not cut.holds(footage) and footage < cut.to_m - 1e-9:
            continue
        place, across = across_line(plan, footage)
        plan.canvas.line([place - 4.0 * across, place + 4.0 * across], Stroke(INK, 0.6))
        words = f"{from_metres(footage, unit):g}"
        plan.wish(
            words,
            (float(place[0]), float(place[1])),
            4.0,
            weight=1,
            size_pt=SMALL_PT,
            reach_pt=12.0,
        )


def tick_step_m(metres_per_inch: float, unit: str) -> float:
    """Return the footage between ticks (m): a round number about an inch apart on paper."""
    for value in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0):
        if to_metres(value, unit) >= 0.45 * metres_per_inch:
            return to_metres(value, unit)
    return to_metres(100.0, unit)


def caption_area(plan: PlanPanel, shape: Polygon, caption: str) -> None:
    """Write an area's name inside it, where there is room."""
    x, y = shape.representative_point().coords[0]
    room = shape.bounds[2] - shape.bounds[0]
    words = shorten(caption, max(room - 6.0, 0.0), CAPTION_PT)
    half = text_width(words, CAPTION_PT) / 2.0 + 1.5
    box = Box(x - half, y - CAPTION_PT * 0.7, x + half, y + CAPTION_PT * 0.6)
    if len(words) > 2 and plan.placer.is_free(box):
        lay_plate(plan.canvas, box)
        plan.canvas.text(x, y + CAPTION_PT * 0.35, words, CAPTION_PT, anchor="middle", colour=QUIET)
        plan.placer.keep_off(box)


def caption_lines(plan: PlanPanel) -> None:
    """Write the names of curbs, rights of way and property lines along them."""
    for item in boundaries_layer(plan.report).items:
        if isinstance(item, Line) and item.caption:
            for line in sorted(
                lines_on(plan, item.at_m), key=lambda part: -LineString(part).length
            ):
                if _write_along(plan, line, item.caption):
                    break


def _write_along(plan: PlanPanel, line: Floats, words: str) -> bool:
    shape = LineString(line)
    width = text_width(words, CAPTION_PT) + 3.0
    if shape.length < width + 6.0:
        return False
    for share in (0.12, 0.88, 0.2, 0.8, 0.3, 0.7, 0.4, 0.6, 0.5):
        middle = float(np.clip(share * shape.length, width / 2 + 2, shape.length - width / 2 - 2))
        begin, end = (
            shape.interpolate(middle - width / 2.0),
            shape.interpolate(middle + width / 2.0),
        )
        step = np.array([end.x - begin.x, end.y - begin.y])
        # Round a corner the words would leave their line.
        if np.hypot(*step) < 0.97 * width:
            continue
        unit = step / np.hypot(*step)
        chain = [
            Box.around(begin.x + t * unit[0], begin.y + t * unit[1], CAPTION_PT * 0.62)
            for t in np.arange(0.0, width + 0.1, CAPTION_PT * 0.8)
        ]
        if all(plan.placer.is_free(box) for box in chain):
            _turned_words(plan, (begin.x, begin.y), (end.x, end.y), words)
            for box in chain:
                plan.placer.keep_off(box)
            return True
    return False


def _turned_words(
    plan: PlanPanel, begin: tuple[float, float], end: tuple[float, float], words: str
) -> None:
    if (end[0], -end[1]) < (begin[0], -begin[1]):
        begin, end = end, begin
    step = np.array(end) - np.array(begin)
    turn = float(np.degrees(np.arctan2(step[1], step[0])))
    unit = step / np.hypot(*step)
    down = np.array([-unit[1], unit[0]]) * CAPTION_PT * 0.36
    middle = (np.array(begin) + np.array(end)) / 2.0
    half = down / 0.36 * 0.6
    plan.canvas.area(
        [np.stack([begin - half, end - half, end + half, begin + half])], PAPER, opacity=0.9
    )
    at = middle + down
    plan.canvas.text(float(at[0]), float(at[1]), words, CAPTION_PT, anchor="middle", turn_deg=turn)


def draw_labels(plan: PlanPanel) -> int:
    """Place and draw every label asked for; return how many that matter found no room."""
    placed, left_out = plan.placer.place(plan.wishes)
    for one in placed:
        if one.leader:
            plan.canvas.line(one.leader, Stroke(QUIET, 0.4))
    for one in placed:
        words, bold, size = plan.words[one.key]
        lay_plate(plan.canvas, one.box)
        plan.canvas.text(one.box.left + 1.0, one.box.top + 0.9 * size, words, size, bold=bold)
    return sum(wish.weight > 1 for wish in left_out)
