"""The plan on paper: a plan's layers as SVG at an exact scale, each caption placed once.

Everything is in points on the paper, y down, but what a layer holds. What is drawn, its shape and
its words come from the layers alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike
from shapely import box as shapely_box
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box, Placer
from lateral_map.draw.paint.marks import draw_mark, mark_half
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.lettering import Lettering, write
from lateral_map.draw.plan.scene import Area, Layer, Line, Mark, Underlay
from lateral_map.draw.plan.underlay import draw_underlay
from lateral_map.draw.plan.window import Window
from lateral_map.draw.style import PAPER, STYLES, LineStyle, Style
from lateral_map.model.arrays import Floats

# Letters as large as there is room for; 9 points read at arm's length (common practice, no source).
LETTER_SIZES_PT: Final = (9.0, 8.0, 7.0, 6.0)
_WIDEST_PT: Final = 7.0
_BADGE_EVERY_PT: Final = 85.0
_BADGE_PT: Final = 6.5
# How much of an area's colour is left where a picture lies under it.
_OVER_A_PICTURE: Final = 0.3


@dataclass(frozen=True, slots=True)
class _Plan:
    """A plan being drawn, and the stretch of the pipe that is drawn on it."""

    canvas: Canvas
    window: Window
    from_m: float
    to_m: float
    holds: Callable[[float], bool]
    styles: Mapping[str, Style]
    lettering: Lettering
    frame: Polygon
    badge_pt: float = _BADGE_PT
    fill: float = 1.0

    def on_paper(self, points_m: ArrayLike) -> Floats:
        """Return (n, 2) points on the paper to a thousandth of one."""
        # Rounded before anything is cut or placed by them, so that no choice hangs on a last bit.
        return np.asarray(np.round(self.window.to_paper(points_m), 3) + 0.0)

    def lines(self, item: Line) -> list[Floats]:
        """Return a line on the paper, cut to the panel and to the stretch drawn."""
        points = item.between(self.from_m, self.to_m)
        if len(points) < 2:
            return []
        return list(_line_parts(LineString(self.on_paper(points)).intersection(self.frame)))


def draw_plan(
    canvas: Canvas,
    layers: Sequence[Layer],
    window: Window,
    *,
    from_m: float = -np.inf,
    to_m: float = np.inf,
    holds: Callable[[float], bool] = lambda _: True,
    clear: Sequence[Box] = (),
    styles: Mapping[str, Style] = STYLES,
    sizes_pt: Sequence[float] = LETTER_SIZES_PT,
) -> int:
    """Draw layers, the lowest first, into a window; return how many captions found no room.

    Lines that follow the pipe are drawn from one footage to another, marks on it where ``holds``
    says so, the rest of the plan wherever the window reaches. No caption lies on the ``clear``
    boxes, nor on a line that has a name. Lettering takes the first of ``sizes_pt`` at which all
    find room, else the last.
    """
    panel = window.box
    lettering = Lettering(Placer(panel.grown(-3.0)))
    frame = shapely_box(panel.left, panel.top, panel.right, panel.bottom)
    badge_pt = max(_BADGE_PT, min(sizes_pt))
    items = [item for layer in layers for item in layer.items]
    pictured = any(isinstance(item, Underlay) for item in items)
    fill = _OVER_A_PICTURE if pictured else 1.0
    plan = _Plan(canvas, window, from_m, to_m, holds, styles, lettering, frame, badge_pt, fill)
    for box in clear:
        lettering.placer.keep_off(box)
    for item in items:
        _DRAW[type(item)](plan, item)
    for item in items:
        _badges(plan, item)
    for size_pt in sizes_pt:
        texts, left_out = lettering.written(size_pt)
        if not left_out:
            break
    write(canvas, texts, size_pt)
    return left_out


def _area(plan: _Plan, item: Area) -> None:
    style: Any = plan.styles[item.style]
    for part in getattr(item.polygon, "geoms", [item.polygon]):
        shell, *holes = (
            plan.on_paper(np.asarray(ring.coords)[:, :2])
            for ring in (part.exterior, *part.interiors)
        )
        cut = Polygon(shell, holes).buffer(0).intersection(plan.frame)
        for shape in getattr(cut, "geoms", [cut]):
            if not isinstance(shape, Polygon) or shape.is_empty:
                continue
            rings = [np.asarray(ring.coords)[:-1] for ring in (shape.exterior, *shape.interiors)]
            plan.canvas.area(rings, style.fill, opacity=plan.fill * style.opacity)
            plan.canvas.lines(hatch_lines(shape, style.hatch), Stroke(style.hatch_colour, 0.35))
            if style.edge:
                # Without the stretches that only the panel's edge cut off.
                edges = _line_parts(shape.boundary.intersection(plan.frame.buffer(-0.05)))
                plan.canvas.lines(edges, Stroke.of(style.edge))
            if item.caption:
                plan.lettering.areas.append((item.caption, shape))


def _line_parts(cut: BaseGeometry) -> Iterator[Floats]:
    """Yield the lines of a geometry as (n, 2) points, specks left out."""
    for part in getattr(cut, "geoms", [cut]):
        if isinstance(part, LineString) and part.length > 0.01:
            yield np.asarray(part.coords)


def _line(plan: _Plan, item: Line) -> None:
    style: Any = plan.styles[item.style]
    lines, stroke = plan.lines(item), Stroke.of(style, widest_pt=_WIDEST_PT)
    if style.casing:
        plan.canvas.lines(lines, Stroke.of(LineStyle(style.casing, style.casing_px)))
    plan.canvas.lines(lines, stroke)
    for line in lines:
        if item.caption and item.footages_m is None:
            plan.lettering.placer.wall(line)
        else:
            plan.lettering.placer.avoid(line, max(1.5, stroke.width_pt / 2.0))
    if item.caption and lines:
        plan.lettering.lines.append((item.caption, lines))


def _mark(plan: _Plan, mark: Mark) -> None:
    style: Any = plan.styles[mark.style]
    half = mark_half(style, mark.scale)
    (x, y), *_ = plan.on_paper([[mark.easting_m, mark.northing_m]]).tolist()
    box = Box.around(x, y, half)
    on_stretch = mark.footage_m is None or plan.holds(mark.footage_m)
    if on_stretch and plan.window.box.grown(-1.0).holds(box):
        turn = plan.window.paper_angle_deg(mark.turn_deg) if mark.turn_deg else 0.0
        draw_mark(plan.canvas, x, y, style, turn_deg=turn, scale=mark.scale)
        plan.lettering.placer.keep_off(box)
        plan.lettering.marks.append((mark, (x, y), half))


_DRAW: Final[dict[type, Callable[[_Plan, Any], None]]] = {
    Area: _area, Line: _line, Mark: _mark,
    Underlay: lambda plan, item: draw_underlay(
        plan.canvas.group("picture"), item.picture, plan.window
    ),
}  # fmt: skip


def _badges(plan: _Plan, item: Line | Area | Mark | Underlay) -> None:
    """Letter a line along itself, so that a black-and-white print names it."""
    style = plan.styles[item.style]
    if not isinstance(item, Line) or not isinstance(style, LineStyle) or not style.letter:
        return
    size = plan.badge_pt
    half = text_width(style.letter, size, bold=True) / 2.0 + 1.2
    for line in plan.lines(item):
        shape = LineString(line)
        count = max(1, int(shape.length // _BADGE_EVERY_PT))
        for k in range(count):
            spots = (
                shape.interpolate((k + shift) / count, normalized=True)
                for shift in (0.5, 0.35, 0.65, 0.2, 0.8)
            )
            boxes = (
                Box(
                    at.x - half,
                    at.y - 0.65 * plan.badge_pt,
                    at.x + half,
                    at.y + 0.65 * plan.badge_pt,
                )
                for at in spots
            )
            box = next(filter(plan.lettering.placer.is_free, boxes), None)
            if box is not None:
                plan.lettering.placer.keep_off(box)
                x, y = box.middle
                plan.canvas.box(box.left, box.top, box.width, box.height, fill=PAPER, edge=HAIRLINE)
                plan.canvas.text(
                    x,
                    y + 0.36 * plan.badge_pt,
                    style.letter,
                    plan.badge_pt,
                    anchor="middle",
                    bold=True,
                )
