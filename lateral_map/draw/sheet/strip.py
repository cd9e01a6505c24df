"""The title strip: what the sheet is, its scales, legend and the one caution nobody may miss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import shorten, text_width, wrap
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.marks import draw_mark, mark_half
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.furniture import draw_scale_bar
from lateral_map.draw.sheet.cuts import Cut, Setting
from lateral_map.draw.sheet.plan import sheet_layers
from lateral_map.draw.style import (
    GROUND,
    INK,
    PAPER,
    QUIET,
    STYLES,
    AreaStyle,
    LineStyle,
    MarkStyle,
)
from lateral_map.model.results import Report
from lateral_map.words.numbers import label, unit_sentence

CAUTION: Final = (
    "Not a utility locate, not a land survey, not a one-call ticket. Call before you dig; "
    "hand dig in the tolerance zone. Local code and record decide who answers for the pipe."
)
STATIONING: Final = (
    "Stationing is the footage along the pipe as the counter read it. "
    "Figures with ± are 95 % ranges; ? stands where who answers is within one."
)
_KEY_PT: Final = 6.0
_KEY_ROW_PT: Final = 8.4
_SWATCH_PT: Final = 22.0


@dataclass(frozen=True, slots=True)
class _Columns:
    """The strip's three parts."""

    title: Box
    scale: Box
    legend: Box


def draw_strip(canvas: Canvas, report: Report, cut: Cut, setting: Setting, sheets: int) -> None:
    """Draw one sheet's title strip."""
    strip = setting.panels.strip
    canvas = canvas.group("strip")
    canvas.box(strip.left, strip.top, strip.width, strip.height, fill=PAPER, edge=Stroke(INK, 1.0))
    wide = strip.width > 900.0
    first = strip.left + (250.0 if wide else 186.0)
    second = first + (250.0 if wide else 152.0)
    columns = _Columns(
        Box(strip.left, strip.top, first, strip.bottom),
        Box(first, strip.top, second, strip.bottom),
        Box(second, strip.top, strip.right, strip.bottom),
    )
    for x in (first, second):
        canvas.line([(x, strip.top), (x, strip.bottom)], Stroke(INK, 0.6))
    _title(canvas, report, cut, columns.title, sheets)
    _scales(canvas, report, setting, columns.scale)
    _legend(canvas, report, columns.legend)


def _title(canvas: Canvas, report: Report, cut: Cut, box: Box, sheets: int) -> None:
    site = report.site
    room = box.width - 12.0
    x, y = box.left + 6.0, box.top + 13.0
    for line in wrap(
        shorten(label(site.name, 90), 1.9 * room, 10.0, bold=True), room, 10.0, bold=True
    ):
        canvas.text(x, y, line, 10.0, bold=True)
        y += 11.5
    date = f", {site.date.isoformat()}" if site.date else ""
    crs = "Sketch, tied to no place on earth" if site.frame.is_local else label(site.frame.crs, 60)
    rows = (
        f"Plan and profile of a located sewer lateral{date}",
        f"Coordinates: {crs}",
        unit_sentence(site.unit),
        *_warnings(report),
    )
    for row in rows:
        canvas.text(x, y, shorten(row, room, 5.8), 5.8)
        y += 8.0
    for line in wrap(CAUTION, room - 54.0, 5.2, bold=True):
        canvas.text(x, y, line, 5.2, bold=True)
        y += 6.4
    plate = Box(box.right - 54.0, box.bottom - 32.0, box.right, box.bottom)
    canvas.box(plate.left, plate.top, plate.width, plate.height, fill=PAPER, edge=Stroke(INK, 0.8))
    canvas.text(plate.middle[0], plate.top + 10.0, "SHEET", 5.6, anchor="middle", colour=QUIET)
    canvas.text(
        plate.middle[0],
        plate.top + 25.0,
        f"{cut.number} of {sheets}",
        10.0,
        anchor="middle",
        bold=True,
    )


def _warnings(report: Report) -> list[str]:
    """Return what nobody may overlook on a drawing: readings that disagree, lines as likely."""
    found = []
    if report.suspects:
        found.append(f"SUSPECT READINGS: {len(report.suspects)}, named in the tables")
    if report.route.alternatives:
        found.append("ANOTHER LINE FITS ABOUT AS WELL: drawn dotted")
    return found


def scale_sentences(setting: Setting) -> tuple[str, ...]:
    """Return the sentences that state the scales."""
    return (
        f"Plan {setting.scale.words}",
        f"Profile {setting.scale.words} along, {setting.upright.words} up",
        f"Vertical exaggeration {setting.exaggeration:.3g}",
        f"True to scale on {setting.paper.words}, printed at 100\u00a0%",
    )


def _scales(canvas: Canvas, report: Report, setting: Setting, box: Box) -> None:
    x, y, room = box.left + 6.0, box.top + 12.0, box.width - 12.0
    for number, sentence in enumerate(scale_sentences(setting)):
        for line in wrap(sentence, room, 6.2, bold=number == 0):
            canvas.text(x, y, line, 6.2, bold=number == 0)
            y += 8.0
    draw_scale_bar(canvas, report.site.unit, setting.scale.points_per_metre, (x, y + 4.0), room)
    y += 26.0
    for line in wrap(STATIONING, room, 5.2):
        canvas.text(x, y, line, 5.2, colour=QUIET)
        y += 6.6


def legend_rows(report: Report) -> list[tuple[str, str]]:
    """Return (style key, words) of everything a sheet may show."""
    rows = [row for layer in reversed(sheet_layers(report)) if layer.items for row in layer.legend]
    ground = "Ground" if report.stations.ground_known else "Ground, taken as level"
    return [*dict.fromkeys(rows), ("ground", ground), ("crown", "Crown of the pipe, in profile")]


def _legend(canvas: Canvas, report: Report, box: Box) -> None:
    rows = legend_rows(report)
    per_column = max(1, int((box.height - 6.0) // _KEY_ROW_PT))
    columns = [rows[k : k + per_column] for k in range(0, len(rows), per_column)]
    x = box.left + 6.0
    for column, words_pt in zip(columns, _words_widths(columns, box.width - 8.0), strict=True):
        for row, (style, words) in enumerate(column):
            y = box.top + 4.0 + (row + 0.5) * _KEY_ROW_PT
            draw_swatch(canvas, style, Box(x, y - 3.2, x + _SWATCH_PT, y + 3.2))
            size = min(_KEY_PT, _KEY_PT * words_pt / max(text_width(words, _KEY_PT), 1.0))
            size = max(size, 4.2)
            canvas.text(x + _SWATCH_PT + 3.0, y + 0.36 * size, shorten(words, words_pt, size), size)
        x += words_pt + _SWATCH_PT + 9.0


def _words_widths(columns: list[list[tuple[str, str]]], room_pt: float) -> list[float]:
    """Return the width of each column's words in points: as they need it, shared where short."""
    needs = [max(text_width(words, _KEY_PT) for _, words in column) + 1.0 for column in columns]
    room = room_pt - len(columns) * (_SWATCH_PT + 9.0)
    return [need * min(1.0, room / sum(needs)) for need in needs]


def draw_swatch(canvas: Canvas, key: str, box: Box) -> None:
    """Draw a legend's sample of a style in a box."""
    x, y = box.middle
    across = [(box.left, y), (box.right, y)]
    style = STYLES.get(key)
    if isinstance(style, LineStyle):
        if style.casing:
            canvas.line(across, Stroke(style.casing, Stroke.of(style).width_pt + 1.2))
        canvas.line(across, Stroke.of(style))
        if style.letter:
            half = text_width(style.letter, 4.8, bold=True) / 2.0 + 1.0
            canvas.box(x - half, y - 3.0, 2.0 * half, 6.0, fill=PAPER, edge=HAIRLINE)
            canvas.text(x, y + 1.8, style.letter, 4.8, anchor="middle", bold=True)
    elif isinstance(style, AreaStyle):
        shape = shapely_box(box.left, box.top, box.right, box.bottom)
        edge = Stroke.of(style.edge) if style.edge else HAIRLINE
        canvas.box(box.left, box.top, box.width, box.height, fill=PAPER)
        ring = np.asarray(shape.exterior.coords)[:-1]
        canvas.area([ring], style.fill, opacity=style.opacity)
        canvas.lines(hatch_lines(shape, style.hatch), Stroke(style.hatch_colour, 0.35))
        canvas.area([ring], "none", edge=edge)
    elif isinstance(style, MarkStyle):
        draw_mark(canvas, x, y, style, scale=min(1.0, 3.6 / mark_half(style)))
    elif key == "ground":
        canvas.line(across, Stroke(GROUND, 1.3))
    elif key == "crown":
        canvas.line(across, Stroke(INK, 0.6, (4.0, 1.6)))
