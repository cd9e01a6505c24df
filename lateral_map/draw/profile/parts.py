"""What stands inside a profile's graph, each painted by one function."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box, spread
from lateral_map.draw.paint.marks import draw_mark
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.findings import side_style
from lateral_map.draw.profile.frame import Curves, Frame, round_marks
from lateral_map.draw.style import (
    BASIS_HATCH,
    BASIS_LINES,
    BEND_MARK,
    GROUND,
    INK,
    LINE_KINDS,
    LOCATE_MARKS,
    MARKS,
    OKABE_ITO,
    PAPER,
    QUIET,
    SEVERITY_SCALE,
    UTILITY_COLOURS,
    UTILITY_LETTERS,
)
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import BasisStretch, Report
from lateral_map.model.trench import SD_UTILITY_DEPTH_M, UtilityConflict
from lateral_map.units import from_metres
from lateral_map.words.names import BETWEEN_WORDS, DEAD_RECKONED_WORDS
from lateral_map.words.numbers import unit_word

TEXT_PT: Final = 9.0
CAP_PT: Final = 0.36 * TEXT_PT  # from a line of text's middle down to its baseline
GRID: Final = Stroke("#d5d9dc", 0.5)
BAND_FILL: Final = OKABE_ITO["sky blue"]
BAND_EDGE: Final = Stroke(OKABE_ITO["blue"], 0.5, (3.0, 1.8))
CROWN_EDGE: Final = Stroke(QUIET, 0.4, (1.0, 1.6))
UNKNOWN_EDGE: Final = Stroke(INK, 0.5, (2.0, 2.0))
_MARK_SCALE: Final = 0.85
_CHIP_PT: Final = 6.2
# A stretch between locates is named once the pipe goes this much of the run unmeasured.
_NAMED_SHARE: Final = 0.16


@dataclass(frozen=True, slots=True)
class Graph:
    """A graph being painted; ``taken`` is where marks stand, so that words keep off them."""

    canvas: Canvas
    report: Report
    frame: Frame
    curves: Curves
    taken: list[Box] = field(default_factory=list)

    def clipped(self, from_m: float, to_m: float) -> tuple[float, float] | None:
        """Return the part of a stretch on this graph, None where there is none."""
        low, high = max(from_m, self.frame.from_m), min(to_m, self.frame.to_m)
        return (low, high) if high - low > 1e-9 else None

    def stretches(self) -> Iterator[tuple[BasisStretch, Curves]]:
        """Yield what the line rests on, stretch by stretch, with its lines."""
        for stretch in self.report.stations.basis_stretches():
            if part := self.clipped(stretch.from_m, stretch.to_m):
                yield stretch, self.curves.between(*part)

    def line(self, name: str, curves: Curves, level_m: Floats, stroke: Stroke) -> None:
        """Draw a line of elevations."""
        points = self.frame.points(curves.footage_m, level_m)
        self.canvas.group(name).line(points, stroke)

    def fill(
        self, canvas: Canvas, low_m: Floats, high_m: Floats, fill: str, opacity: float
    ) -> None:
        """Fill between two lines of elevations."""
        at = self.curves.footage_m
        upper, lower = self.frame.points(at, high_m), self.frame.points(at, low_m)
        canvas.area([np.concatenate([upper, lower[::-1]])], fill, opacity=opacity)


def paint_graph(canvas: Canvas, report: Report, frame: Frame, *, both_sides: bool = False) -> Graph:
    """Paint all that stands inside a lateral's graph, its axes too."""
    graph = Graph(canvas, report, frame, Curves.of(report, frame.from_m, frame.to_m))
    _paint_earth(graph)
    paint_axes(canvas, report, frame, both_sides=both_sides)
    # Each crossed line upright with its 95 % range along the pipe.
    for one in report.crossings:
        half = TWO_SIDED_95 * one.sd_footage_m
        group = canvas.group("crossing", at=round(frame.x(one.footage_m), 3))
        if span := graph.clipped(one.footage_m - half, one.footage_m + half):
            left, right = (frame.x(each) for each in span)
            band = Box(left, frame.box.top, right, frame.box.bottom)
            group.area([band.ring], QUIET, opacity=0.16)
        if frame.holds(one.footage_m):
            x = frame.x(one.footage_m)
            group.line([(x, frame.box.top), (x, frame.box.bottom)], Stroke.of(LINE_KINDS[one.kind]))
    _paint_bands(graph)
    # Solid only what was measured.
    curves, known = graph.curves, report.stations.ground_known
    ground = Stroke(GROUND, 1.6, () if known else (5.0, 2.5))
    graph.line("ground", curves, curves.ground_m, ground)
    for stretch, part in graph.stretches():
        located = stretch.basis == "located"
        if (part.crown_m > part.invert_m).any():
            thin = Stroke(INK, 0.7, () if located else (4.0, 2.0))
            graph.line(f"crown {stretch.basis}", part, part.crown_m, thin)
        thick = Stroke.of(BASIS_LINES[stretch.basis])
        graph.line(f"invert {stretch.basis}", part, part.invert_m, thick)
    paint_utilities(canvas, frame, curves, report.utilities, graph.taken, report.site.unit)
    for bend in report.site.bends:
        if frame.holds(bend.footage_m):
            x, y = frame.x(bend.footage_m), frame.y(curves.invert_at(bend.footage_m))
            draw_mark(canvas.group("bend"), x, y, BEND_MARK, scale=_MARK_SCALE)
            graph.taken.append(Box.around(x, y, 4.0))
    _paint_findings(graph)
    _paint_locates(graph)
    _name_unlocated(graph)
    return graph


def paint_axes(canvas: Canvas, report: Report, frame: Frame, *, both_sides: bool = False) -> None:
    """Draw the grid with its elevations, or depths below a ground taken as level.

    What they are stands beside them, but for a graph that has them on ``both_sides``.
    """
    box, unit, known = frame.box, report.site.unit, report.stations.ground_known
    canvas = canvas.group("axes")
    for footage, _ in footage_marks(report, frame):
        canvas.line([(frame.x(footage), box.top), (frame.x(footage), box.bottom)], GRID)
    most = max(2, int(box.height / 19.0))
    for level, figure in round_marks(frame.low_m, frame.high_m, most, unit):
        y = frame.y(level)
        canvas.line([(box.left, y), (box.right, y)], GRID)
        words = figure if known else figure.removeprefix("-")
        if (known or level <= 1e-9) and box.top + 3.0 <= y <= box.bottom - 3.0:
            canvas.text(box.left - 5.0, y + CAP_PT, words, TEXT_PT, anchor="end")
            if both_sides:
                canvas.text(box.right + 5.0, y + CAP_PT, words, TEXT_PT)
    canvas.box(box.left, box.top, box.width, box.height, edge=Stroke(QUIET, 0.6))
    if not both_sides:
        x = box.left - 8.0 - text_width("000.0", TEXT_PT)
        words = heights_words(report)
        canvas.text(x, box.middle[1], words, TEXT_PT, anchor="middle", turn_deg=-90.0)


def heights_words(report: Report) -> str:
    """Return what a graph's heights are, and their unit."""
    known = report.stations.ground_known
    return f"{'Elevation' if known else 'Depth'}, {unit_word(report.site.unit)}"


def footage_marks(report: Report, frame: Frame) -> list[tuple[float, str]]:
    """Return the round footages (m) on a graph with their figures."""
    most = max(2, int(frame.box.width / 66.0)) if frame.box.width > 400.0 else 4
    return list(round_marks(frame.from_m, frame.to_m, most, report.site.unit))


def _paint_earth(graph: Graph) -> None:
    """Tint the cover between ground and crown, the ground below less; shade what is unlocated."""
    curves, earth = graph.curves, graph.canvas.group("earth")
    foot = np.full_like(curves.footage_m, graph.frame.low_m)
    graph.fill(earth, curves.crown_m, curves.ground_m, "#efe6d6", 1.0)
    graph.fill(earth, foot, curves.invert_m, "#f7f3ea", 1.0)
    box = graph.frame.box
    for stretch, part in graph.stretches():
        if not _is_named(graph, stretch):
            continue
        left, right = (graph.frame.x(float(part.footage_m[k])) for k in (0, -1))
        shade = shapely_box(left, box.top, right, box.bottom)
        colour = BASIS_LINES[stretch.basis].colour
        name = f"unlocated {stretch.basis.replace(' ', '-')}"
        cell = graph.canvas.group(name, left=round(left, 3), right=round(right, 3))
        cell.lines(hatch_lines(shade, BASIS_HATCH[stretch.basis]), Stroke(colour, 0.4, (), 0.3))


def _is_named(graph: Graph, stretch: BasisStretch) -> bool:
    if stretch.basis == "between locates":
        run = graph.frame.to_m - graph.frame.from_m
        return stretch.to_m - stretch.from_m >= _NAMED_SHARE * run
    return stretch.basis == "dead reckoned"


def _name_unlocated(graph: Graph) -> None:
    """Say in words what nothing was located on, where they fit beside the marks."""
    canvas, box = graph.canvas.group("unlocated-words"), graph.frame.box
    for stretch, part in graph.stretches():
        if not _is_named(graph, stretch):
            continue
        bold = stretch.basis == "dead reckoned"
        left, right = (graph.frame.x(float(part.footage_m[k])) for k in (0, -1))
        for wording in DEAD_RECKONED_WORDS if bold else BETWEEN_WORDS:
            lines = wording.split("\n")
            width = max(text_width(line, TEXT_PT, bold=bold) for line in lines) + 4.0
            height = 11.0 * len(lines) + 2.0
            x = (left + right) / 2.0
            places = [
                Box(x - width / 2.0, top, x + width / 2.0, top + height)
                for top in (box.bottom - height - 3.0, box.top + 3.0)
            ]
            free = [one for one in places if not any(one.meets(other) for other in graph.taken)]
            if width <= right - left - 4.0 and (free or bold):
                place = (free or places)[0]
                canvas.box(place.left, place.top, width, height, fill=PAPER)
                for k, line in enumerate(lines):
                    y = place.top + 9.0 + 11.0 * k
                    canvas.text(x, y, line, TEXT_PT, anchor="middle", bold=bold)
                break


def _paint_bands(graph: Graph) -> None:
    """Draw the 95 % bands of crown and invert."""
    curves = graph.curves
    graph.fill(graph.canvas.group("bore"), curves.invert_m, curves.crown_m, PAPER, 1.0)
    bands = [
        ("crown", curves.crown_m, 0.16, CROWN_EDGE),
        ("invert", curves.invert_m, 0.33, BAND_EDGE),
    ]
    for name, middle, opacity, edge in bands:
        if name == "crown" and not (curves.crown_m > curves.invert_m).any():
            continue
        band = graph.canvas.group("band", of=name)
        low, high = middle - curves.half_m, middle + curves.half_m
        graph.fill(band, low, high, BAND_FILL, opacity)
        band.lines([graph.frame.points(curves.footage_m, each) for each in (low, high)], edge)


def paint_utilities(
    canvas: Canvas,
    frame: Frame,
    curves: Curves,
    utilities: tuple[UtilityConflict, ...],
    taken: list[Box],
    unit: str,
    *,
    dodge: bool = False,
) -> None:
    """Draw where utilities are met: at their depth with its 95 %, else over every depth with a ?.

    One of unknown depth is a band over its 95 % range along the pipe, from the ground down. One
    that lies in the trench without crossing is drawn over all of it. One that lies deeper than the
    graph goes says how deep at the graph's foot. The worst stands on top. To ``dodge`` is to move a
    letter aside where another stands.
    """
    box, spread = frame.box, TWO_SIDED_95 * SD_UTILITY_DEPTH_M

    def letter_at(group: Canvas, x: float, y: float, letters: str, colour: str) -> None:
        if dodge:
            # At the foot any height will do: there it stands for none.
            x, y = _clear_of(taken, box, (x, y), letters, 3 if len(letters) > 1 else 1)
        taken.append(chip(group, frame, x, y, letters, colour))

    for utility in reversed(utilities):
        colour, letter = UTILITY_COLOURS[utility.utility], UTILITY_LETTERS[utility.utility]
        for footage, low, high in _met(utility, frame):
            x, ground = frame.x(footage), curves.ground_at(footage)
            if utility.depth_m is None:
                group = canvas.group("utility unknown", at=round(x, 3))
                across = (frame.x(low), frame.x(high))
                middle, half = sum(across) / 2.0, max((across[1] - across[0]) / 2.0, 2.0)
                left, right = max(middle - half, box.left), min(middle + half, box.right)
                band = Box(left, frame.y(ground), right, box.bottom)
                group.area([band.ring], colour, opacity=0.14, edge=UNKNOWN_EDGE)
                letter_at(group, x, box.bottom - 10.0, f"{letter}?", colour)
                continue
            level = ground - utility.depth_m
            group = canvas.group("utility known", at=round(x, 3))
            if utility.crossings:
                staff = [(x, frame.y(ground)), (x, frame.y(max(level, frame.low_m)))]
                group.line(staff, Stroke(QUIET, 0.4, (1.0, 1.6)))
                _whisker(group, frame, x, (level - spread, min(level + spread, ground)), INK)
            else:
                at = np.linspace(low, high, 33)
                over = np.array([curves.ground_at(float(one)) for one in at])
                levels = over - utility.depth_m
                above = frame.points(at, np.minimum(levels + spread, over))
                below = frame.points(at, levels - spread)
                group.area([np.concatenate([above, below[::-1]])], colour, opacity=0.18)
                group.line(frame.points(at, levels), Stroke(INK, 3.0))
                group.line(frame.points(at, levels), Stroke(colour, 2.0))
            letters = letter
            if level < frame.low_m:
                letters = f"{letter} ↓{from_metres(utility.depth_m, unit):.1f}"
                level = frame.low_m + 10.0 * (frame.high_m - frame.low_m) / box.height
            letter_at(group, x, frame.y(level), letters, colour)


def _met(utility: UtilityConflict, frame: Frame) -> Iterator[tuple[float, float, float]]:
    """Yield where a graph meets a utility, footage and 95 % range; else all that lies along it."""
    for met in utility.crossings:
        if frame.holds(met.footage_m):
            half = TWO_SIDED_95 * met.sd_footage_m
            ends = (met.footage_m - half, met.footage_m + half)
            low, high = (float(np.clip(end, frame.from_m, frame.to_m)) for end in ends)
            yield met.footage_m, low, high
    if utility.in_trench and not utility.crossings:
        ends = (utility.from_m, utility.to_m)
        low, high = (float(np.clip(end, frame.from_m, frame.to_m)) for end in ends)
        if frame.holds(low) or frame.holds(high):
            yield (low + high) / 2.0, low, high


def _clear_of(
    taken: list[Box], within: Box, place: tuple[float, float], letters: str, rows: int
) -> tuple[float, float]:
    """Return where letters stand clear of the others, as near as may be: aside, then a row up."""
    (x, y), half, tall = place, _chip_half(letters) + 2.0, 0.9 * TEXT_PT
    for row in range(rows):
        height = y - row * 2.4 * _CHIP_PT
        for away in sorted(range(-300, 301, 6), key=abs):
            here = Box(x + away - half, height - tall, x + away + half, height + tall)
            inside = within.left <= here.left and here.right <= within.right
            if inside and not any(here.meets(one) for one in taken):
                return x + away, height
    return float(np.clip(x, within.left + half, within.right - half)), y


def name_at_right(
    canvas: Canvas,
    box: Box,
    heights: Sequence[float],
    names: Sequence[tuple[str, str]],
    away_pt: float,
) -> None:
    """Letter (words, colour) beside a graph's right edge, spread so that no two meet."""
    places = spread(heights, [11.0] * len(heights), box.top - 6.0, box.bottom + 6.0)
    for (words, colour), y in zip(names, places, strict=True):
        canvas.text(box.right + away_pt, float(y) + CAP_PT, words, TEXT_PT, colour=colour)


def _chip_half(letters: str) -> float:
    """Return half the width of a utility's disc or box with its letters."""
    return max(_CHIP_PT, text_width(letters, TEXT_PT, bold=True) / 2.0 + 3.0)


def chip(canvas: Canvas, frame: Frame, x: float, y: float, letters: str, colour: str) -> Box:
    """Draw a utility's lettered disc, ringed in its colour so that the letter always reads."""
    half = _chip_half(letters)
    y = float(np.clip(y, frame.box.top + _CHIP_PT, frame.box.bottom - _CHIP_PT))
    if len(letters) > 1:
        canvas.box(
            x - half, y - _CHIP_PT, 2 * half, 2 * _CHIP_PT, fill=colour, edge=Stroke(INK, 0.6)
        )
        canvas.box(
            x - half + 1.4, y - _CHIP_PT + 1.4, 2 * half - 2.8, 2 * _CHIP_PT - 2.8, fill=PAPER
        )
    else:
        canvas.circle(x, y, _CHIP_PT, fill=colour, edge=Stroke(INK, 0.6))
        canvas.circle(x, y, _CHIP_PT - 1.4, fill=PAPER)
    canvas.text(x, y + CAP_PT, letters, TEXT_PT, anchor="middle", bold=True)
    return Box(x - half, y - _CHIP_PT, x + half, y + _CHIP_PT)


def _whisker(
    canvas: Canvas, frame: Frame, x: float, levels_m: tuple[float, float], colour: str
) -> None:
    low, high = (frame.y(float(np.clip(z, frame.low_m, frame.high_m))) for z in levels_m)
    ends = [[(x - 2.8, y), (x + 2.8, y)] for y in (low, high)]
    canvas.lines([[(x, low), (x, high)], *ends], Stroke(colour, 0.8))


def _paint_findings(graph: Graph) -> None:
    """Draw each finding on the invert by its verdict, its stretch where it has one."""
    frame, curves, findings = graph.frame, graph.curves, graph.report.findings
    crowd = float(np.clip(frame.box.width / (9.0 * max(len(findings), 1)), 0.6, 1.0))
    for result in findings:
        near = result.near.footage_m
        if result.far is not None and (part := graph.clipped(near, result.far.footage_m)):
            stretch = curves.between(*part)
            points = frame.points(stretch.footage_m, stretch.invert_m)
            group = graph.canvas.group("stretch", number=result.number)
            group.line(points, Stroke(INK, 6.0, (), 0.28))
    for result in findings:
        near = result.near.footage_m
        if frame.holds(near):
            x, y = frame.x(near), frame.y(curves.invert_at(near))
            group = graph.canvas.group("finding", number=result.number, verdict=result.verdict)
            scale = _MARK_SCALE * crowd * SEVERITY_SCALE[result.finding.severity]
            draw_mark(group, x, y, MARKS[side_style(result)], scale=scale)
            graph.taken.append(Box.around(x, y, 5.0))


def _paint_locates(graph: Graph) -> None:
    """Draw each depth as read, brought down to the invert, with its own 95 % range."""
    frame = graph.frame
    for one in graph.report.locates:
        if not frame.holds(one.footage_m):
            continue
        x, ground = frame.x(one.footage_m), graph.curves.ground_at(one.footage_m)
        group = graph.canvas.group("locate", mark=one.locate.mark, state=one.state)
        if one.depth_m is None:
            group.line([(x, frame.y(ground) - 3.5), (x, frame.y(ground) + 3.5)], Stroke(INK, 1.0))
            continue
        level, half = ground - one.depth_m, TWO_SIDED_95 * (one.sd_depth_m or 0.0)
        if not frame.shows(level):
            continue
        y = frame.y(level)
        group.line([(x, frame.y(ground)), (x, y)], Stroke(QUIET, 0.4, (0.8, 1.4)))
        style = LOCATE_MARKS[one.state]
        _whisker(group, frame, x, (level - half, level + half), style.edge)
        draw_mark(group, x, y, style, scale=0.8 * _MARK_SCALE)
        low, high = (frame.y(level + s * half) for s in (1.0, -1.0))
        graph.taken.append(Box(x - 4.0, low, x + 4.0, high))
