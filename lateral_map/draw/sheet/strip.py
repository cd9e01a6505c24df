"""The title strip: what the sheet is, its scales, legend and the one caution nobody may miss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import shorten, text_width, wrap
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.marks import draw_mark, mark_half
from lateral_map.draw.paint.svg import HAIRLINE, Canvas, Stroke
from lateral_map.draw.plan.figure import draw_scale_bar
from lateral_map.draw.sheet.plan import sheet_layers
from lateral_map.draw.sheet.setting import Cut, Setting
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
from lateral_map.words.notices import origin_words
from lateral_map.words.numbers import label, unit_sentence

CAUTION: Final = (
    "Not a utility locate, not a land survey, not a one-call ticket. Call before you dig; "
    "hand dig in the tolerance zone. Local code and record decide who answers for the pipe."
)
STATIONING: Final = (
    "Stationing is the footage along the pipe as the counter read it. ± is the 95 % range; "
    "? stands where who answers is within one."
)
# Letters as large as there is room for; smaller ones only where a site has more to say than most.
_SIZES_PT: Final = (9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0)
_FOOT_SIZE_PT: Final = 8.0
_LINE_EM: Final = 1.22
_PAD_PT: Final = 6.0
_SWATCH_PT: Final = 22.0
_PLATE_PT: Final = (58.0, 34.0)
_BAR_PT: Final = 26.0


@dataclass(frozen=True, slots=True)
class _Paragraph:
    """Words to set in a column, ``larger`` than the rest, with air over them."""

    words: str
    larger: float = 1.0
    bold: bool = False
    colour: str = INK
    over_pt: float = 0.0


def draw_strip(canvas: Canvas, report: Report, cut: Cut, setting: Setting, sheets: int) -> None:
    """Draw one sheet's title strip."""
    strip = setting.panels.strip
    canvas = canvas.group("strip")
    canvas.box(strip.left, strip.top, strip.width, strip.height, fill=PAPER, edge=Stroke(INK, 1.0))
    # Along the foot, the whole width: what nobody may miss, and which sheet this is.
    wide, high = _PLATE_PT
    room = strip.width - wide - 2.0 * _PAD_PT
    notes = [(CAUTION, True), (STATIONING, False)]
    lines = [
        (line, bold)
        for words, bold in notes
        for line in wrap(words, room, _FOOT_SIZE_PT, bold=bold)
    ]
    step = _LINE_EM * _FOOT_SIZE_PT
    foot = strip.bottom - max(high, len(lines) * step + 4.0)
    for k, (line, bold) in enumerate(lines):
        y = foot + 2.0 + k * step + 0.95 * _FOOT_SIZE_PT
        canvas.text(strip.left + _PAD_PT, y, line, _FOOT_SIZE_PT, bold=bold)
    canvas.line([(strip.left, foot), (strip.right, foot)], Stroke(INK, 0.6))
    plate = Box(strip.right - wide, foot, strip.right, strip.bottom)
    canvas.box(plate.left, plate.top, wide, plate.height, fill=PAPER, edge=Stroke(INK, 0.8))
    x, y = plate.middle
    canvas.text(x, y - 4.0, "SHEET", 9.0, anchor="middle", colour=QUIET)
    canvas.text(x, y + 10.0, f"{cut.number} of {sheets}", 11.0, anchor="middle", bold=True)

    first, second = (strip.left + share * strip.width for share in (0.22, 0.39))
    for x in (first, second):
        canvas.line([(x, strip.top), (x, foot)], Stroke(INK, 0.6))
    box = Box(strip.left, strip.top, first, foot)
    site = report.site
    date = f", {site.date.isoformat()}" if site.date else ""
    crs = "Sketch, tied to no place on earth" if site.frame.is_local else label(site.frame.crs, 60)
    # What nobody may overlook on a drawing: readings that disagree, lines as likely.
    warnings = []
    if report.likely_diagnoses:
        warnings.append("THE READINGS DO NOT AGREE: what may have gone wrong is said in the notes")
    elif report.suspects:
        warnings.append(f"SUSPECT READINGS: {len(report.suspects)}, named in the tables")
    if report.site.applied:
        warnings.append("READINGS TAKEN OTHERWISE THAN WRITTEN: said in the notes")
    if report.route.alternatives:
        warnings.append("ANOTHER LINE FITS ABOUT AS WELL: drawn dotted")
    name = shorten(label(site.name, 90), 1.9 * (box.width - 2.0 * _PAD_PT), 11.0, bold=True)
    said = (
        f"Plan and profile of a located sewer lateral{date}",
        f"Coordinates: {crs}",
        unit_sentence(site.unit),
        *origin_words(site),
    )
    loud = (_Paragraph(words, bold=True) for words in warnings)
    _set_column(canvas, box, [_Paragraph(name, 1.25, bold=True), *map(_Paragraph, said), *loud])
    box = Box(first, strip.top, second, foot)
    in_plan, *others = scale_sentences(setting)
    paragraphs = [_Paragraph(in_plan, bold=True), *map(_Paragraph, others)]
    below = _set_column(canvas, box, [*paragraphs, _Paragraph("", over_pt=_BAR_PT)])
    at = (box.left + _PAD_PT, below - _BAR_PT + 4.0)
    scale = setting.scale.points_per_metre
    draw_scale_bar(canvas, site.unit, scale, at, box.width - 2.0 * _PAD_PT)
    _legend(canvas, report, Box(second, strip.top, strip.right, foot))


def scale_sentences(setting: Setting) -> tuple[str, ...]:
    """Return the sentences that state the scales."""
    return (
        f"Plan {setting.scale.words}",
        f"Profile {setting.scale.words} along, {setting.upright.words} up",
        f"Vertical exaggeration {setting.exaggeration:.3g}",
        f"True to scale on {setting.paper.words}, printed at 100 %",
    )


def _set_column(canvas: Canvas, box: Box, paragraphs: Sequence[_Paragraph]) -> float:
    """Set paragraphs in the largest letters that fit a box; return where the last begins."""
    room = box.width - 2.0 * _PAD_PT
    for size_pt in _SIZES_PT:
        lines = [
            wrap(each.words, room, each.larger * size_pt, bold=each.bold) for each in paragraphs
        ]
        height = sum(
            len(set_in) * _LINE_EM * each.larger * size_pt + each.over_pt
            for each, set_in in zip(paragraphs, lines, strict=True)
        )
        if height <= box.height - _PAD_PT:
            break
    y = began = box.top + _PAD_PT / 2.0
    for each, set_in in zip(paragraphs, lines, strict=True):
        y += each.over_pt
        began, size = y, each.larger * size_pt
        for line in set_in:
            baseline = y + 0.95 * size
            canvas.text(
                box.left + _PAD_PT, baseline, line, size, bold=each.bold, colour=each.colour
            )
            y += _LINE_EM * size
    return began


def legend_rows(report: Report) -> list[tuple[str, str]]:
    """Return (style key, words) of everything a sheet may show."""
    rows = [row for layer in reversed(sheet_layers(report)) if layer.items for row in layer.legend]
    ground = "Ground" if report.stations.ground_known else "Ground, taken as level"
    return [*dict.fromkeys(rows), ("ground", ground), ("crown", "Crown of the pipe, in profile")]


def _legend(canvas: Canvas, report: Report, box: Box) -> None:
    """Set the legend in the largest letters and the number of columns in which all of it fits."""
    rows = legend_rows(report)
    for size_pt in _SIZES_PT:
        line_pt = _LINE_EM * size_pt
        most = int((box.height - _PAD_PT) / line_pt)
        for count in (2, 3, 4, 5):
            room = (box.width - 2.0 * _PAD_PT) / count - _SWATCH_PT - 9.0
            wrapped = [wrap(words, room, size_pt) for _, words in rows]
            columns = _in_columns([len(lines) for lines in wrapped], most)
            if columns[-1] < count:
                break
        else:
            continue
        break
    down = dict.fromkeys(columns, 0)
    for (style, _), lines, column in zip(rows, wrapped, columns, strict=True):
        x = box.left + _PAD_PT + column * (box.width - 2.0 * _PAD_PT) / count
        top = box.top + _PAD_PT / 2.0 + down[column] * line_pt
        draw_swatch(canvas, style, Box(x, top + 0.1 * line_pt, x + _SWATCH_PT, top + 0.9 * line_pt))
        for k, line in enumerate(lines):
            canvas.text(x + _SWATCH_PT + 3.0, top + k * line_pt + 0.95 * size_pt, line, size_pt)
        down[column] += len(lines)


def _in_columns(heights: Sequence[int], most: int) -> list[int]:
    """Return the column of each entry, filled in turn to so many lines."""
    columns, column, filled = [], 0, 0
    for height in heights:
        if filled + height > most:
            column, filled = column + 1, 0
        filled += height
        columns.append(column)
    return columns


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
            half = text_width(style.letter, 6.0, bold=True) / 2.0 + 1.0
            canvas.box(x - half, y - 3.8, 2.0 * half, 7.6, fill=PAPER, edge=HAIRLINE)
            canvas.text(x, y + 2.2, style.letter, 6.0, anchor="middle", bold=True)
    elif isinstance(style, AreaStyle):
        shape = shapely_box(box.left, box.top, box.right, box.bottom)
        edge = Stroke.of(style.edge) if style.edge else HAIRLINE
        canvas.box(box.left, box.top, box.width, box.height, fill=PAPER)
        ring = np.asarray(shape.exterior.coords)[:-1]
        canvas.area([ring], style.fill, opacity=style.opacity)
        canvas.lines(hatch_lines(shape, style.hatch), Stroke(style.hatch_colour, 0.35))
        canvas.area([ring], "none", edge=edge)
    elif isinstance(style, MarkStyle):
        draw_mark(canvas, x, y, style, scale=min(1.0, 4.2 / mark_half(style)))
    elif key == "ground":
        canvas.line(across, Stroke(GROUND, 1.3))
    elif key == "crown":
        canvas.line(across, Stroke(INK, 0.6, (4.0, 1.6)))
