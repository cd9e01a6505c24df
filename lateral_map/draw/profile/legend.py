"""The legend of a profile that stands alone: only what is drawn."""

from __future__ import annotations

from typing import Final

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.marks import draw_mark
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.profile.parts import (
    BAND_EDGE,
    BAND_FILL,
    CAP_PT,
    CROWN_EDGE,
    TEXT_PT,
)
from lateral_map.draw.style import BASIS_LINES, GROUND, INK, LINES, MARKS, PAPER
from lateral_map.model.results import Report
from lateral_map.words.names import LOCATE_WORDS

LEGEND_ROW_PT: Final = 12.0
_SWATCH_PT: Final = 21.0
_GAP_PT: Final = 12.0

Entry = tuple[str, str]
Rows = tuple[tuple[tuple[float, Entry], ...], ...]


def legend_entries(report: Report) -> tuple[Entry, ...]:
    """Return (style key, words) of what is drawn."""
    states = {one.state for one in report.locates if one.depth_m is not None}
    depths = {utility.depth_known for utility in report.utilities if utility.crossings}
    entries = [
        ("ground", "ground" if report.stations.ground_known else "ground, taken as level"),
        *(
            (f"basis {basis}", f"invert, {basis}")
            for basis in BASIS_LINES
            if basis in report.stations.basis
        ),
        ("band invert", "95 % range of the invert"),
    ]
    if any(pipe.size_m for pipe in report.pipes):
        entries += [("crown", "crown"), ("band crown", "95 % range of the crown")]
    entries += [
        (key, words if words.startswith("STOP") else _small(words))
        for key, words in findings_layer(report).legend
        if key in MARKS
    ]
    entries += [
        (f"locate {key}", _small(LOCATE_WORDS[key])) for key in LOCATE_WORDS if key in states
    ]
    if report.site.bends:
        entries.append(("bend", "bend"))
    if True in depths:
        entries.append(("utility known", "utility at its mapped depth, ± 95 %"))
    if False in depths:
        entries.append(("utility unknown", "utility of unknown depth"))
    return tuple(entries)


def _small(words: str) -> str:
    return words[0].lower() + words[1:]


def legend_rows(entries: tuple[Entry, ...], room_pt: float) -> Rows:
    """Return entries in rows of at most ``room_pt``, each with its place from the left."""
    rows: list[list[tuple[float, Entry]]] = [[]]
    at = 0.0
    for entry in entries:
        width = _SWATCH_PT + 4.0 + text_width(entry[1], TEXT_PT)
        if at + width > room_pt and rows[-1]:
            rows.append([])
            at = 0.0
        rows[-1].append((at, entry))
        at += width + _GAP_PT
    return tuple(tuple(row) for row in rows)


def paint_legend(canvas: Canvas, rows: Rows, left_pt: float, top_pt: float) -> None:
    """Paint legend rows downward from a place."""
    canvas = canvas.group("key")
    for index, row in enumerate(rows):
        middle = top_pt + (index + 0.5) * LEGEND_ROW_PT
        for offset, (key, words) in row:
            left = left_pt + offset
            _paint_swatch(canvas, key, Box(left, middle - 4.5, left + _SWATCH_PT, middle + 4.5))
            canvas.text(left + _SWATCH_PT + 4.0, middle + CAP_PT, words, TEXT_PT)


def _paint_swatch(canvas: Canvas, key: str, box: Box) -> None:
    x, y = box.middle
    across = [(box.left, y), (box.right, y)]
    lines = {
        "ground": Stroke(GROUND, 1.6),
        "crown": Stroke(INK, 0.7),
        **{name: Stroke.of(LINES[name]) for name in LINES if name.startswith("basis ")},
    }
    if key in lines:
        canvas.line(across, lines[key])
    elif key.startswith("band "):
        crown = key == "band crown"
        ring = [
            (box.left, y - 3.5),
            (box.right, y - 3.5),
            (box.right, y + 3.5),
            (box.left, y + 3.5),
        ]
        canvas.area([ring], BAND_FILL, opacity=0.16 if crown else 0.33)
        canvas.lines([ring[:2], ring[2:]], CROWN_EDGE if crown else BAND_EDGE)
    elif key == "utility known":
        canvas.lines([[(x, box.top), (x, box.bottom)]], Stroke(INK, 0.8))
        canvas.circle(x, y, 3.4, fill=PAPER, edge=Stroke(INK, 1.2))
    elif key == "utility unknown":
        canvas.box(
            x - 5.0, box.top, 10.0, box.height, fill="#e3e6e8", edge=Stroke(INK, 0.5, (2.0, 2.0))
        )
        canvas.text(x, y + CAP_PT, "?", TEXT_PT, anchor="middle", bold=True)
    else:
        draw_mark(canvas, x, y, MARKS[key], scale=0.85)
