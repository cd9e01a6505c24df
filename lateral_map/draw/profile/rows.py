"""What stands under a profile: footages, figures, pipe, fall, who answers, and the legend."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.marks import draw_mark
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.plan.pipe import party_styles
from lateral_map.draw.profile.frame import Frame
from lateral_map.draw.profile.parts import (
    BAND_EDGE,
    BAND_FILL,
    CAP_PT,
    CROWN_EDGE,
    TEXT_PT,
    UNKNOWN_EDGE,
    footage_marks,
)
from lateral_map.draw.style import (
    BASIS_HATCH,
    BASIS_LINES,
    BEND_MARK,
    GROUND,
    INK,
    LINES,
    LOCATE_MARKS,
    MARKS,
    PAPER,
    QUIET,
    Hatch,
    MarkStyle,
)
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Report, ResponsibilityStretch
from lateral_map.words.names import LOCATE_WORDS
from lateral_map.words.numbers import label, plus_minus_bare, unit_word
from lateral_map.words.technician import fall_wordings, pipe_wordings

ROW_PT: Final = 12.6


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a row: footages in metres, wordings fullest first, its fill and hatch."""

    from_m: float
    to_m: float
    wordings: tuple[str, ...]
    fill: str = PAPER
    hatch: Hatch = ""
    bold: bool = False
    opacity: float = 1.0


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its name and its cells."""

    name: str
    cells: tuple[Cell, ...]


def profile_rows(report: Report) -> tuple[Row, ...]:
    """Return the rows that have anything to say."""
    short = {"located": "", "between locates": "between", "dead reckoned": "reckoned"}
    basis = tuple(
        Cell(
            one.from_m,
            one.to_m,
            (one.basis, short[one.basis]),
            BASIS_LINES[one.basis].colour,
            BASIS_HATCH[one.basis],
            bold=one.basis == "dead reckoned",
            opacity=0.55 if one.basis == "located" else 0.3,
        )
        for one in report.stations.basis_stretches()
    )
    unit, falls, parties = report.site.unit, [], []
    pipes = tuple(Cell(one.from_m, one.to_m, pipe_wordings(one, unit)) for one in report.pipes)
    for fall in report.falls:
        loud = fall.verdict in ("too flat", "falls back")
        fill = "#fbe3d3" if loud else PAPER
        falls.append(Cell(fall.from_m, fall.to_m, fall_wordings(fall), fill, bold=loud))
    styles = party_styles(report)
    for from_m, to_m, party in answers_bar(report.responsibility):
        if party in styles:
            wordings, colour = (label(party), label(party, 8)), LINES[styles[party]].colour
            parties.append(Cell(from_m, to_m, wordings, colour, opacity=0.4))
        else:
            parties.append(Cell(from_m, to_m, ("?",), QUIET, "rising", opacity=0.25))
    rows = (
        Row("Rests on", basis),
        Row("Pipe", pipes),
        Row("Fall", tuple(falls)),
        Row("Answers", tuple(parties)),
    )
    return tuple(row for row in rows if row.cells)


def answers_bar(stretches: Sequence[ResponsibilityStretch]) -> list[tuple[float, float, str]]:
    """Return (from, to, party) of who answers, footages in m, a ? where the readings cannot say.

    Within the 95 % range of where a stretch begins or ends nobody is named.
    """
    bar: list[tuple[float, float, str]] = []
    if not stretches:
        return bar
    done, last = stretches[0].from_m, stretches[-1].to_m
    for stretch in stretches:
        begin = min(max(stretch.from_m + TWO_SIDED_95 * stretch.sd_from_m, done), last)
        end = max(stretch.to_m - TWO_SIDED_95 * stretch.sd_to_m, begin)
        if begin > done:
            bar.append((done, begin, "?"))
        if end > begin:
            bar.append((begin, end, stretch.party))
        done = end
    return bar


def paint_rows(canvas: Canvas, frame: Frame, rows: Sequence[Row], top_pt: float) -> None:
    """Paint rows of cells downward from ``top_pt``."""
    for index, row in enumerate(rows):
        top = top_pt + index * ROW_PT
        group = canvas.group("strip", name=row.name)
        _name(group, frame, top, row.name)
        for cell in row.cells:
            low, high = max(cell.from_m, frame.from_m), min(cell.to_m, frame.to_m)
            if high <= low:
                continue
            left, right, bottom = frame.x(low), frame.x(high), top + ROW_PT - 1.4
            group.box(left, top, right - left, bottom - top, fill=PAPER)
            box = Box(left, top, right, bottom)
            group.area([box.ring], cell.fill, opacity=cell.opacity, edge=Stroke(INK, 0.4, (), 0.45))
            group.lines(hatch_lines(shapely_box(*box.row), cell.hatch), Stroke(QUIET, 0.4))
            widths = {words: text_width(words, TEXT_PT, bold=cell.bold) for words in cell.wordings}
            words = next((each for each in widths if widths[each] <= right - left - 4.0), "")
            x, y = (left + right) / 2.0, (top + bottom) / 2.0 + CAP_PT
            if words and cell.hatch:
                plate = widths[words] + 3.0
                group.box(x - plate / 2.0, top + 0.4, plate, bottom - top - 0.8, fill=PAPER)
            group.text(x, y, words, TEXT_PT, anchor="middle", bold=cell.bold)


def paint_footages(canvas: Canvas, report: Report, frame: Frame, top_pt: float) -> None:
    """Write the round footages in a row."""
    group = canvas.group("footages")
    _name(group, frame, top_pt, unit_word(report.site.unit))
    for footage, figure in footage_marks(report, frame):
        x = _inside(frame, frame.x(footage), text_width(figure, TEXT_PT))
        group.text(x, _baseline(top_pt), figure, TEXT_PT, anchor="middle")


def paint_depths(canvas: Canvas, report: Report, frame: Frame, top_pt: float) -> None:
    """Write the invert's depth with its 95 % under each round footage that has the room."""
    unit, stations = report.site.unit, report.stations
    group = canvas.group("depths")
    _name(group, frame, top_pt, "Depth")
    free_pt = frame.box.left
    for footage, _ in footage_marks(report, frame):
        depth, sd = (
            float(np.interp(footage, stations.footage_m, values))
            for values in (stations.depth_m, stations.depth_sd_m)
        )
        figure = plus_minus_bare(depth, sd, unit)
        width = text_width(figure, TEXT_PT)
        x = _inside(frame, frame.x(footage), width)
        if x - width / 2.0 < free_pt - 1e-9:
            continue
        free_pt = x + width / 2.0 + 3.0
        group.text(x, _baseline(top_pt), figure, TEXT_PT, anchor="middle")


def _inside(frame: Frame, x: float, width: float) -> float:
    return float(np.clip(x, frame.box.left + width / 2.0, frame.box.right - width / 2.0))


def _baseline(top_pt: float) -> float:
    return top_pt + ROW_PT / 2.0 + CAP_PT


def _name(canvas: Canvas, frame: Frame, top_pt: float, name: str) -> None:
    canvas.text(frame.box.left - 5.0, _baseline(top_pt), name, TEXT_PT, anchor="end", bold=True)


LEGEND_ROW_PT: Final = 12.0
_SWATCH_PT: Final = 21.0
_GAP_PT: Final = 12.0


@dataclass(frozen=True, slots=True)
class Patch:
    """A filled swatch with its edge, lettered where ``letters`` are given."""

    fill: str
    edge: Stroke
    opacity: float = 1.0
    letters: str = ""


UNKNOWN_DEPTH: Final = (Patch("#e3e6e8", UNKNOWN_EDGE, letters="?"), "utility of unknown depth")

Entry = tuple[Stroke | MarkStyle | Patch, str]


def legend_entries(report: Report) -> list[Entry]:
    """Return a swatch and words for what is drawn."""
    known = report.stations.ground_known
    states = {one.state for one in report.locates if one.depth_m is not None}
    depths = {utility.depth_known for utility in report.utilities if utility.crossings}
    entries: list[Entry] = [(Stroke(GROUND, 1.6), "ground" if known else "ground, taken as level")]
    entries += [
        (Stroke.of(style), f"invert, {basis}")
        for basis, style in BASIS_LINES.items()
        if basis in report.stations.basis
    ]
    entries.append((Patch(BAND_FILL, BAND_EDGE, 0.33), "95 % range of the invert"))
    if any(pipe.size_m for pipe in report.pipes):
        entries.append((Stroke(INK, 0.7), "crown"))
        entries.append((Patch(BAND_FILL, CROWN_EDGE, 0.16), "95 % range of the crown"))
    entries += [
        (MARKS[key], words if key == "danger" else _small(words))
        for key, words in findings_layer(report).legend
    ]
    entries += [
        (LOCATE_MARKS[state], _small(words))
        for state, words in LOCATE_WORDS.items()
        if state in states
    ]
    if report.site.bends:
        entries.append((BEND_MARK, "bend"))
    if True in depths:
        entries.append((MarkStyle("disc", PAPER), "utility at its mapped depth, ± 95 %"))
    if False in depths:
        entries.append(UNKNOWN_DEPTH)
    return entries


def _small(words: str) -> str:
    return words[0].lower() + words[1:]


def legend_places(
    entries: Sequence[Entry], left_pt: float, right_pt: float
) -> list[tuple[float, int]]:
    """Return where each entry begins and in which row, the first being 0."""
    places: list[tuple[float, int]] = []
    x, row = left_pt, 0
    for _, words in entries:
        width = _SWATCH_PT + 4.0 + text_width(words, TEXT_PT)
        if x > left_pt and x + width > right_pt:
            x, row = left_pt, row + 1
        places.append((x, row))
        x += width + _GAP_PT
    return places


def legend_pt(places: Sequence[tuple[float, int]]) -> float:
    """Return the height that a legend takes."""
    return LEGEND_ROW_PT * (1 + max((row for _, row in places), default=-1))


def paint_legend(
    canvas: Canvas, entries: Sequence[Entry], places: Sequence[tuple[float, int]], top_pt: float
) -> None:
    """Paint a legend downward from ``top_pt``."""
    canvas = canvas.group("key")
    for (swatch, words), (left, row) in zip(entries, places, strict=True):
        x, y = left + _SWATCH_PT / 2.0, top_pt + (row + 0.5) * LEGEND_ROW_PT
        right = left + _SWATCH_PT
        if isinstance(swatch, Stroke):
            canvas.line([(left, y), (right, y)], swatch)
        elif isinstance(swatch, Patch):
            ring = Box(left, y - 4.0, right, y + 4.0).ring
            canvas.area([ring], swatch.fill, opacity=swatch.opacity)
            canvas.lines([ring[:2], ring[2:]], swatch.edge)
            canvas.text(x, y + CAP_PT, swatch.letters, TEXT_PT, anchor="middle", bold=True)
        else:
            draw_mark(canvas, x, y, swatch, scale=0.85)
        canvas.text(right + 4.0, y + CAP_PT, words, TEXT_PT)
