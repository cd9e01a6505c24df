"""The plan panel: the drawing elements laid on paper, true to scale, with their labels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import box as shapely_box
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.draw.along import basis_stretches, line_between
from lateral_map.draw.elements.bends import bends_layer
from lateral_map.draw.elements.boundaries import boundaries_layer
from lateral_map.draw.elements.crossings import crossings_layer
from lateral_map.draw.elements.dig import dig_layer
from lateral_map.draw.elements.findings import findings_layer
from lateral_map.draw.elements.ground import buildings_layer, surfaces_layer
from lateral_map.draw.elements.locates import locates_layer, points_layer
from lateral_map.draw.elements.route import alternatives_layer, corridor_layer, route_layer
from lateral_map.draw.elements.utilities import utilities_layer
from lateral_map.draw.scene import Area, Layer, Line, Mark
from lateral_map.draw.sheet.cuts import Cut, Setting
from lateral_map.draw.sheet.fonts import shorten, text_width
from lateral_map.draw.sheet.hatch import hatch_lines
from lateral_map.draw.sheet.labels import Box, Placer, Wish
from lateral_map.draw.sheet.marks import draw_mark, mark_half
from lateral_map.draw.sheet.styles import AREAS, LINES, MARKS
from lateral_map.draw.sheet.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.style import FAINT, INK, PAPER, QUIET, LineStyle
from lateral_map.draw.text import label, length
from lateral_map.model.results import Report
from lateral_map.units import from_metres, to_metres

Floats = NDArray[np.float64]

LABEL_PT: Final = 6.6
_SMALL_PT: Final = 5.6
_CAPTION_PT: Final = 6.2
_LETTER_PT: Final = 5.2
_LETTER_EVERY_PT: Final = 85.0
_NORTH_PT: Final = 46.0
# With more findings on a sheet than this the plan carries their numbers alone.
_MOST_NAMED: Final = 14
_MATCH_PT: Final = 62.0


@dataclass(slots=True)
class _Plan:
    """One plan panel being drawn."""

    canvas: Canvas
    report: Report
    cut: Cut
    setting: Setting
    placer: Placer
    words: dict[int, tuple[str, bool, float]] = field(default_factory=dict)
    wishes: list[Wish] = field(default_factory=list)

    @property
    def frame(self) -> BaseGeometry:
        """The panel as a shape on the paper."""
        box = self.setting.panels.plan
        return shapely_box(box.left, box.top, box.right, box.bottom)

    def wish(
        self,
        words: str,
        at: tuple[float, float],
        clear_pt: float,
        *,
        weight: int,
        size_pt: float = LABEL_PT,
        bold: bool = False,
        reach_pt: float = 230.0,
    ) -> None:
        """Ask for a label beside a place, once where two marks there bear the same name."""
        if any(
            self.words[other.key][0] == words and np.hypot(other.x - at[0], other.y - at[1]) < 12.0
            for other in self.wishes
        ):
            return
        key = len(self.wishes)
        self.words[key] = (words, bold, size_pt)
        width = text_width(words, size_pt, bold=bold) + 2.0
        self.wishes.append(Wish(key, *at, width, size_pt * 1.2, clear_pt + 1.5, weight, reach_pt))


def draw_plan(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> int:
    """Draw one sheet's plan; return how many labels found no room."""
    box = setting.panels.plan
    plan = _Plan(canvas.group("plan"), report, cut, setting, Placer(box.grown(-3.0)))
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
    _ticks(plan)
    _marks(plan)
    _captions(plan)
    return _labels(plan)


def _areas(plan: _Plan, layer: Layer) -> None:
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
                _area_caption(plan, shape, item.caption)


def _polygons(plan: _Plan, item: Area) -> Iterator[Polygon]:
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


def _edges(plan: _Plan, shape: Polygon) -> list[Floats]:
    """Return an area's outline without the stretches that only the panel's edge cut off."""
    inner = plan.frame.buffer(-0.05)
    return list(_parts(shape.boundary.intersection(inner)))


def _area_caption(plan: _Plan, shape: Polygon, caption: str) -> None:
    x, y = shape.representative_point().coords[0]
    room = shape.bounds[2] - shape.bounds[0]
    words = shorten(caption, max(room - 6.0, 0.0), _CAPTION_PT)
    half = text_width(words, _CAPTION_PT) / 2.0 + 1.5
    box = Box(x - half, y - _CAPTION_PT * 0.7, x + half, y + _CAPTION_PT * 0.6)
    if len(words) > 2 and plan.placer.is_free(box):
        _plate(plan.canvas, box)
        plan.canvas.text(
            x, y + _CAPTION_PT * 0.35, words, _CAPTION_PT, anchor="middle", colour=QUIET
        )
        plan.placer.keep_off(box)


def _mapped_lines(plan: _Plan) -> None:
    for layer in (boundaries_layer(plan.report), utilities_layer(plan.report)):
        for item in layer.items:
            if isinstance(item, Line):
                style = LINES[item.style]
                for line in _lines(plan, item.at_m):
                    _stroke(plan.canvas, [line], style)
                    plan.placer.avoid(line)
                    if style.letter:
                        _letters(plan, line, style)


def _stroke(canvas: Canvas, lines: list[Floats], style: LineStyle) -> None:
    if style.casing:
        casing = LineStyle(style.casing, style.casing_px)
        canvas.lines(lines, Stroke.of(casing))
    canvas.lines(lines, Stroke.of(style))


def _lines(plan: _Plan, at_m: Floats) -> list[Floats]:
    """Return a line on the paper, cut to the panel."""
    paper = plan.cut.window.to_paper(at_m)
    if len(paper) < 2:
        return []
    return list(_parts(LineString(paper).intersection(plan.frame)))


def _parts(cut: BaseGeometry) -> Iterator[Floats]:
    for part in getattr(cut, "geoms", [cut]):
        if isinstance(part, LineString) and part.length > 0.01:
            yield np.asarray(part.coords)


def _letters(plan: _Plan, line: Floats, style: LineStyle) -> None:
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


def _route(plan: _Plan) -> None:
    """Draw the line: this sheet's stretch as it is known, the rest as a ghost."""
    report, cut = plan.report, plan.cut
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    ghost = Stroke(FAINT, 0.8, (2.0, 2.0))
    for from_m, to_m in ((first, cut.from_m), (cut.to_m, last)):
        if to_m > from_m:
            plan.canvas.lines(_lines(plan, line_between(report, from_m, to_m)), ghost)
    for other in alternatives_layer(report).items:
        if isinstance(other, Line):
            _stroke(plan.canvas, _lines(plan, other.at_m), LINES["alternative"])
    _finding_stretches(plan)
    for stretch in basis_stretches(report.stations):
        lines = _stretch(plan, stretch.from_m, stretch.to_m)
        _stroke(plan.canvas, lines, LINES[f"basis {stretch.basis}"])
        for line in lines:
            plan.placer.avoid(line, half=3.0)


def _finding_stretches(plan: _Plan) -> None:
    stroke = Stroke.of(LINES["stretch"], widest_pt=7.0)
    for result in plan.report.findings:
        if result.finding.to_m is not None:
            lines = _stretch(plan, result.finding.footage_m, result.finding.to_m)
            plan.canvas.lines(lines, stroke)


def _stretch(plan: _Plan, from_m: float, to_m: float) -> list[Floats]:
    """Return the part of a stretch of footage that is on this sheet, on the paper."""
    low, high = max(from_m, plan.cut.from_m), min(to_m, plan.cut.to_m)
    return _lines(plan, line_between(plan.report, low, high)) if high > low else []


def _across(plan: _Plan, footage_m: float) -> tuple[Floats, Floats]:
    """Return a footage's place on the paper and the unit vector across the line there."""
    route = plan.report.route
    place = plan.cut.window.to_paper(route.positions([footage_m])[:, :2])[0]
    heading = float(route.headings_deg([footage_m])[0][0])
    turn = np.radians(plan.cut.window.paper_angle_deg(heading))
    return place, np.array([np.cos(turn), np.sin(turn)])


def _match_lines(plan: _Plan) -> None:
    cut = plan.cut
    ends = [] if cut.is_first else [(cut.from_m, cut.number - 1)]
    ends += [] if cut.is_last else [(cut.to_m, cut.number + 1)]
    for footage_m, neighbour in ends:
        place, across = _across(plan, footage_m)
        line = np.stack([place - _MATCH_PT * across, place + _MATCH_PT * across])
        shown = list(_parts(LineString(line).intersection(plan.frame)))
        plan.canvas.lines(shown, Stroke(INK, 1.3, (10.0, 3.0, 2.0, 3.0)))
        for part in shown:
            plan.placer.avoid(part, half=2.0, step=4.0)
            words = f"MATCH LINE {length(footage_m, plan.report.site.unit)}, SEE SHEET {neighbour}"
            end = part[int(np.argmin(part[:, 1]))]
            plan.wish(words, (float(end[0]), float(end[1])), 2.0, weight=9, bold=True)


def _ticks(plan: _Plan) -> None:
    report, cut = plan.report, plan.cut
    unit = report.site.unit
    step = tick_step_m(plan.setting.scale.metres_per_inch, unit)
    first = np.ceil(cut.from_m / step - 1e-9)
    for k in range(int(first), int(np.floor(cut.to_m / step + 1e-9)) + 1):
        footage = k * step
        if not cut.holds(footage) and footage < cut.to_m - 1e-9:
            continue
        place, across = _across(plan, footage)
        plan.canvas.line([place - 4.0 * across, place + 4.0 * across], Stroke(INK, 0.6))
        words = f"{from_metres(footage, unit):g}"
        plan.wish(
            words,
            (float(place[0]), float(place[1])),
            4.0,
            weight=1,
            size_pt=_SMALL_PT,
            reach_pt=12.0,
        )


def tick_step_m(metres_per_inch: float, unit: str) -> float:
    """Return the footage between ticks (m): a round number about an inch apart on paper."""
    for value in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0):
        if to_metres(value, unit) >= 0.45 * metres_per_inch:
            return to_metres(value, unit)
    return to_metres(100.0, unit)


def _marks(plan: _Plan) -> None:
    report = plan.report
    layers = (
        _only_marks(route_layer(report)),
        points_layer(report),
        crossings_layer(report),
        bends_layer(report),
        _named(locates_layer(report)),
        _numbered(plan, findings_layer(report)),
    )
    for layer in layers:
        for item in layer.items:
            if isinstance(item, Mark):
                _mark(plan, item)


def _only_marks(layer: Layer) -> Layer:
    return replace(layer, items=tuple(item for item in layer.items if isinstance(item, Mark)))


def _named(layer: Layer) -> Layer:
    """Say locate before a mark's name, which may be a letter as utilities have them."""
    items = tuple(
        replace(item, caption=f"locate {item.caption}") if isinstance(item, Mark) else item
        for item in layer.items
    )
    return replace(layer, items=items)


def _numbered(plan: _Plan, layer: Layer) -> Layer:
    """Number findings as #1, #2, unlike locates; where the sheet carries many, with no words."""
    here = [
        item
        for item in layer.items
        if isinstance(item, Mark) and item.footage_m is not None and plan.cut.holds(item.footage_m)
    ]
    many = len(here) > _MOST_NAMED
    items = tuple(
        replace(
            item,
            caption=f"#{item.caption.split(' ')[0] if many else item.caption}",
            scale=item.scale * (0.75 if many else 1.0),
        )
        if isinstance(item, Mark)
        else item
        for item in layer.items
    )
    return replace(layer, items=items)


def _mark(plan: _Plan, mark: Mark) -> None:
    if mark.footage_m is not None and not plan.cut.holds(mark.footage_m):
        return
    x, y = (float(v) for v in plan.cut.window.to_paper([[mark.easting_m, mark.northing_m]])[0])
    style = MARKS[mark.style]
    half = mark_half(style, mark.scale)
    box = Box.around(x, y, half)
    if not plan.setting.panels.plan.grown(-1.0).holds(box):
        return
    turn = plan.cut.window.paper_angle_deg(mark.turn_deg) if mark.turn_deg else 0.0
    draw_mark(plan.canvas, x, y, style, turn_deg=turn, scale=mark.scale)
    plan.placer.keep_off(box)
    if mark.caption:
        # Names of points to tape from are cheap to lead away; a level's only stands beside it.
        reach = 20.0 if mark.style == "level" else 230.0
        plan.wish(
            label(mark.caption, 34), (x, y), half, weight=mark.weight, bold=mark.weight >= 6,
            reach_pt=reach, size_pt=_SMALL_PT if mark.weight < 2 else LABEL_PT,
        )  # fmt: skip


def _captions(plan: _Plan) -> None:
    """Write the names of curbs, rights of way and property lines along them."""
    for item in boundaries_layer(plan.report).items:
        if isinstance(item, Line) and item.caption:
            for line in sorted(_lines(plan, item.at_m), key=lambda part: -LineString(part).length):
                if _write_along(plan, line, item.caption):
                    break


def _write_along(plan: _Plan, line: Floats, words: str) -> bool:
    shape = LineString(line)
    width = text_width(words, _CAPTION_PT) + 3.0
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
            Box.around(begin.x + t * unit[0], begin.y + t * unit[1], _CAPTION_PT * 0.62)
            for t in np.arange(0.0, width + 0.1, _CAPTION_PT * 0.8)
        ]
        if all(plan.placer.is_free(box) for box in chain):
            _turned_words(plan, (begin.x, begin.y), (end.x, end.y), words)
            for box in chain:
                plan.placer.keep_off(box)
            return True
    return False


def _turned_words(
    plan: _Plan, begin: tuple[float, float], end: tuple[float, float], words: str
) -> None:
    if (end[0], -end[1]) < (begin[0], -begin[1]):
        begin, end = end, begin
    step = np.array(end) - np.array(begin)
    turn = float(np.degrees(np.arctan2(step[1], step[0])))
    unit = step / np.hypot(*step)
    down = np.array([-unit[1], unit[0]]) * _CAPTION_PT * 0.36
    middle = (np.array(begin) + np.array(end)) / 2.0
    half = down / 0.36 * 0.6
    plan.canvas.area(
        [np.stack([begin - half, end - half, end + half, begin + half])], PAPER, opacity=0.9
    )
    at = middle + down
    plan.canvas.text(float(at[0]), float(at[1]), words, _CAPTION_PT, anchor="middle", turn_deg=turn)


def _labels(plan: _Plan) -> int:
    placed, left_out = plan.placer.place(plan.wishes)
    for one in placed:
        if one.leader:
            plan.canvas.line(one.leader, Stroke(QUIET, 0.4))
    for one in placed:
        words, bold, size = plan.words[one.key]
        _plate(plan.canvas, one.box)
        plan.canvas.text(one.box.left + 1.0, one.box.top + 0.9 * size, words, size, bold=bold)
    return sum(wish.weight > 1 for wish in left_out)


def _plate(canvas: Canvas, box: Box) -> None:
    """Lay paper under words, so that they read over hatches and lines."""
    canvas.area(
        [
            [
                (box.left, box.top),
                (box.right, box.top),
                (box.right, box.bottom),
                (box.left, box.bottom),
            ]
        ],
        PAPER,
        opacity=0.82,
    )


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
