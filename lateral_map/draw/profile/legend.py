"""The legend of a profile: only what is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.marks import draw_mark
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.profile.parts import (
    BAND_EDGE,
    BAND_FILL,
    CAP_PT,
    CROWN_EDGE,
    TEXT_PT,
    UNKNOWN_EDGE,
)
from lateral_map.draw.style import (
    BASIS_LINES,
    BEND_MARK,
    GROUND,
    INK,
    LOCATE_MARKS,
    MARKS,
    PAPER,
    MarkStyle,
)
from lateral_map.model.results import Report
from lateral_map.words.names import LOCATE_WORDS

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
        if key in MARKS
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
            ring = [(left, y - 4.0), (right, y - 4.0), (right, y + 4.0), (left, y + 4.0)]
            canvas.area([ring], swatch.fill, opacity=swatch.opacity)
            canvas.lines([ring[:2], ring[2:]], swatch.edge)
            canvas.text(x, y + CAP_PT, swatch.letters, TEXT_PT, anchor="middle", bold=True)
        else:
            draw_mark(canvas, x, y, swatch, scale=0.85)
        canvas.text(right + 4.0, y + CAP_PT, words, TEXT_PT)
