"""The rows under a profile: footages, figures, what the line rests on, pipe, fall, who answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.responsibility import party_styles
from lateral_map.draw.profile.frame import Frame
from lateral_map.draw.profile.parts import CAP_PT, TEXT_PT, footage_marks
from lateral_map.draw.style import (
    BASIS_HATCH,
    BASIS_LINES,
    INK,
    PAPER,
    PARTY_LINES,
    QUIET,
    Hatch,
)
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import FallStretch, PipeStretch, Report, ResponsibilityStretch
from lateral_map.units import format_small
from lateral_map.words.numbers import fall_words, label, plus_minus, unit_word

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
    """One row: its name, shorter for a narrow sheet, and its cells."""

    name: str
    short_name: str
    cells: tuple[Cell, ...]


def profile_rows(report: Report) -> tuple[Row, ...]:
    """Return the rows that have anything to say."""
    rows = (
        Row("Rests on", "Basis", _basis_cells(report)),
        Row("Pipe", "Pipe", tuple(_pipe_cell(report, pipe) for pipe in report.pipes)),
        Row("Fall", "Fall", tuple(_fall_cell(fall) for fall in report.falls)),
        Row("Answers", "Who", _party_cells(report)),
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
    narrow = frame.box.width < 400.0
    for index, row in enumerate(rows):
        top = top_pt + index * ROW_PT
        group = canvas.group("strip", name=row.name)
        _name(group, frame, top, row.short_name if narrow else row.name)
        for cell in row.cells:
            low, high = max(cell.from_m, frame.from_m), min(cell.to_m, frame.to_m)
            if high > low:
                _paint_cell(group, cell, frame.x(low), frame.x(high), top)


def paint_footages(canvas: Canvas, report: Report, frame: Frame, top_pt: float) -> None:
    """Write the round footages in a row."""
    group = canvas.group("footages")
    _name(group, frame, top_pt, unit_word(report.site.unit))
    for footage, figure in footage_marks(report, frame):
        x = _inside(frame, frame.x(footage), text_width(figure, TEXT_PT))
        group.text(x, _baseline(top_pt), figure, TEXT_PT, anchor="middle")


def paint_depths(canvas: Canvas, report: Report, frame: Frame, top_pt: float) -> None:
    """Write the invert's depth with its 95 % under each round footage, in a row."""
    unit, stations = report.site.unit, report.stations
    group = canvas.group("depths")
    _name(group, frame, top_pt, "Depth")
    for footage, _ in footage_marks(report, frame):
        depth, sd = (
            float(np.interp(footage, stations.footage_m, values))
            for values in (stations.depth_m, stations.depth_sd_m)
        )
        figure = plus_minus(depth, sd, unit).removesuffix(f" {unit_word(unit)}")
        x = _inside(frame, frame.x(footage), text_width(figure, TEXT_PT))
        group.text(x, _baseline(top_pt), figure, TEXT_PT, anchor="middle")


def _inside(frame: Frame, x: float, width: float) -> float:
    return float(np.clip(x, frame.box.left + width / 2.0, frame.box.right - width / 2.0))


def _baseline(top_pt: float) -> float:
    return top_pt + ROW_PT / 2.0 + CAP_PT


def _name(canvas: Canvas, frame: Frame, top_pt: float, name: str) -> None:
    canvas.text(frame.box.left - 5.0, _baseline(top_pt), name, TEXT_PT, anchor="end", bold=True)


def _paint_cell(canvas: Canvas, cell: Cell, left: float, right: float, top: float) -> None:
    height = ROW_PT - 1.4
    canvas.box(left, top, right - left, height, fill=PAPER)
    ring = [(left, top), (right, top), (right, top + height), (left, top + height)]
    canvas.area([ring], cell.fill, opacity=cell.opacity, edge=Stroke(INK, 0.4, (), 0.45))
    area = shapely_box(left, top, right, top + height)
    canvas.lines(hatch_lines(area, cell.hatch), Stroke(QUIET, 0.4))
    for words in cell.wordings:
        width = text_width(words, TEXT_PT, bold=cell.bold)
        if width <= right - left - 4.0:
            middle = (left + right) / 2.0
            if cell.hatch:
                canvas.box(
                    middle - width / 2 - 1.5, top + 0.4, width + 3.0, height - 0.8, fill=PAPER
                )
            y = top + height / 2.0 + CAP_PT
            canvas.text(middle, y, words, TEXT_PT, anchor="middle", bold=cell.bold)
            return


def _basis_cells(report: Report) -> tuple[Cell, ...]:
    short = {"located": "", "between locates": "between", "dead reckoned": "reckoned"}
    return tuple(
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


def _pipe_cell(report: Report, pipe: PipeStretch) -> Cell:
    size = format_small(pipe.size_m, report.site.unit) if pipe.size_m else "size not given"
    material = label(pipe.material)
    return Cell(pipe.from_m, pipe.to_m, (f"{size} {material}", material, size))


def _fall_cell(fall: FallStretch) -> Cell:
    # Where the readings cannot tell, the range says so.
    remark = {"too flat": ", too flat", "falls back": ", FALLS BACK", "enough fall": ", enough"}
    words = fall_words(fall)
    loud = fall.verdict in ("too flat", "falls back")
    wordings = (f"{words}{remark.get(fall.verdict, '')}", words, words.partition(" ±")[0])
    return Cell(fall.from_m, fall.to_m, wordings, "#fbe3d3" if loud else PAPER, bold=loud)


def _party_cells(report: Report) -> tuple[Cell, ...]:
    styles = party_styles(report)

    def cell(from_m: float, to_m: float, party: str) -> Cell:
        if party not in styles:
            return Cell(from_m, to_m, ("?",), QUIET, "rising", opacity=0.25)
        colour = PARTY_LINES[int(styles[party].removeprefix("party "))].colour
        return Cell(from_m, to_m, (label(party), label(party, 8)), colour, opacity=0.4)

    return tuple(cell(*each) for each in answers_bar(report.responsibility))
