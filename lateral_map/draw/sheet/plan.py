"""The plan panel: the drawing elements laid on paper, true to scale, with their labels."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon

from lateral_map.draw.along import basis_stretches, line_between
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.boundaries import boundaries_layer
from lateral_map.draw.plan.dig import dig_layer
from lateral_map.draw.plan.ground import buildings_layer, surfaces_layer
from lateral_map.draw.plan.route import alternatives_layer, corridor_layer
from lateral_map.draw.plan.scene import Area, Layer, Line
from lateral_map.draw.plan.utilities import utilities_layer
from lateral_map.draw.sheet.cuts import Cut, Setting
from lateral_map.draw.sheet.labels import Box, Placer
from lateral_map.draw.sheet.north import north_box
from lateral_map.draw.sheet.plan_labels import caption_area, caption_lines, draw_labels, draw_ticks
from lateral_map.draw.sheet.plan_marks import draw_marks
from lateral_map.draw.sheet.plan_panel import (
    PlanPanel,
    across_line,
    line_parts,
    lines_on,
    stretch_on,
)
from lateral_map.draw.sheet.styles import AREAS, LINES
from lateral_map.draw.style import FAINT, INK, PAPER, LineStyle
from lateral_map.model.results import Report
from lateral_map.words.numbers import length

Floats = NDArray[np.float64]

_LETTER_PT: Final = 5.2
_LETTER_EVERY_PT: Final = 85.0
_MATCH_PT: Final = 62.0


def draw_plan(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> int:
    """Draw one sheet's plan; return how many labels found no room."""
    box = setting.panels.plan
    plan = PlanPanel(canvas.group("plan"), report, cut, setting, Placer(box.grown(-3.0)))
    plan.placer.keep_off(north_box(box))
    # Where the panel's own heading will stand.
    plan.placer.keep_off(Box(box.left, box.bottom - 14.0, box.left + 330.0, box.bottom))
    for layer in (surfaces_layer(report), buildings_layer(report)):
        _areas(plan, layer)
    for layer in (corridor_layer(report), dig_layer(report)):
        _areas(plan, layer)
    _mapped_lines(plan)
    _route(plan)
    _match_lines(plan)
    draw_ticks(plan)
    draw_marks(plan)
    caption_lines(plan)
    return draw_labels(plan)


def _areas(plan: PlanPanel, layer: Layer) -> None:
    for item in layer.items:
        if not isinstance(item, Area):
            continue
        style = AREAS[item.style]
        for shape in _polygons(plan, item):
            rings = [np.asarray(ring.coords)[:-1] for ring in (shape.exterior, *shape.interiors)]
            edge = Stroke.of(style.edge) if style.edge else None
            plan.canvas.area(rings, style.fill, opacity=style.opacity)
            strokes = hatch_lines(shape, style.hatch)
            plan.canvas.lines(strokes, Stroke(style.hatch_colour, 0.35))
            if edge:
                plan.canvas.lines(_edges(plan, shape), edge)
            if item.caption:
                caption_area(plan, shape, item.caption)


def _polygons(plan: PlanPanel, item: Area) -> Iterator[Polygon]:
    """Return an area's parts on the paper, cut to the panel."""
    parts = getattr(item.polygon, "geoms", [item.polygon])
    for part in parts:
        window = plan.cut.window
        shell = window.to_paper(np.asarray(part.exterior.coords)[:, :2])
        holes = [window.to_paper(np.asarray(ring.coords)[:, :2]) for ring in part.interiors]
        cut = Polygon(shell, holes).buffer(0).intersection(plan.frame)
        for piece in getattr(cut, "geoms", [cut]):
            if isinstance(piece, Polygon) and not piece.is_empty:
                yield piece


def _edges(plan: PlanPanel, shape: Polygon) -> list[Floats]:
    """Return an area's outline without the stretches that only the panel's edge cut off."""
    inner = plan.frame.buffer(-0.05)
    return list(line_parts(shape.boundary.intersection(inner)))


def _mapped_lines(plan: PlanPanel) -> None:
    for layer in (boundaries_layer(plan.report), utilities_layer(plan.report)):
        for item in layer.items:
            if isinstance(item, Line):
                style = LINES[item.style]
                for line in lines_on(plan, item.at_m):
                    _stroke(plan.canvas, [line], style)
                    plan.placer.avoid(line)
                    if style.letter:
                        _letters(plan, line, style)


def _stroke(canvas: Canvas, lines: list[Floats], style: LineStyle) -> None:
    if style.casing:
        casing = LineStyle(style.casing, style.casing_px)
        canvas.lines(lines, Stroke.of(casing))
    canvas.lines(lines, Stroke.of(style))


def _letters(plan: PlanPanel, line: Floats, style: LineStyle) -> None:
    """Letter a utility along itself, so that a black-and-white print names it."""
    shape = LineString(line)
    count = max(1, int(shape.length // _LETTER_EVERY_PT))
    for k in range(count):
        at = shape.interpolate((k + 0.5) / count, normalized=True)
        box = Box.around(at.x, at.y, _LETTER_PT * 0.62)
        if plan.placer.is_free(box):
            plan.canvas.box(box.left, box.top, box.width, box.height, fill=PAPER, edge=HAIRLINE)
            plan.canvas.text(
                at.x, at.y + _LETTER_PT * 0.36, style.letter, _LETTER_PT, anchor="middle", bold=True
            )
            plan.placer.keep_off(box)


def _route(plan: PlanPanel) -> None:
    """Draw the line: this sheet's stretch as it is known, the rest as a ghost."""
    report, cut = plan.report, plan.cut
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    ghost = Stroke(FAINT, 0.8, (2.0, 2.0))
    for from_m, to_m in ((first, cut.from_m), (cut.to_m, last)):
        if to_m > from_m:
            plan.canvas.lines(lines_on(plan, line_between(report, from_m, to_m)), ghost)
    for other in alternatives_layer(report).items:
        if isinstance(other, Line):
            _stroke(plan.canvas, lines_on(plan, other.at_m), LINES["alternative"])
    _finding_stretches(plan)
    for stretch in basis_stretches(report.stations):
        lines = stretch_on(plan, stretch.from_m, stretch.to_m)
        _stroke(plan.canvas, lines, LINES[f"basis {stretch.basis}"])
        for line in lines:
            plan.placer.avoid(line, half=3.0)


def _finding_stretches(plan: PlanPanel) -> None:
    stroke = Stroke.of(LINES["stretch"], widest_pt=7.0)
    for result in plan.report.findings:
        if result.finding.to_m is not None:
            lines = stretch_on(plan, result.finding.footage_m, result.finding.to_m)
            plan.canvas.lines(lines, stroke)


def _match_lines(plan: PlanPanel) -> None:
    cut = plan.cut
    ends = [] if cut.is_first else [(cut.from_m, cut.number - 1)]
    ends += [] if cut.is_last else [(cut.to_m, cut.number + 1)]
    for footage_m, neighbour in ends:
        place, across = across_line(plan, footage_m)
        line = np.stack([place - _MATCH_PT * across, place + _MATCH_PT * across])
        shown = list(line_parts(LineString(line).intersection(plan.frame)))
        plan.canvas.lines(shown, Stroke(INK, 1.3, (10.0, 3.0, 2.0, 3.0)))
        for part in shown:
            plan.placer.avoid(part, half=2.0, step=4.0)
            words = f"MATCH LINE {length(footage_m, plan.report.site.unit)}, SEE SHEET {neighbour}"
            end = part[int(np.argmin(part[:, 1]))]
            plan.wish(words, (float(end[0]), float(end[1])), 2.0, weight=9, bold=True)
