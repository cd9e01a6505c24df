"""The dig review on two pages for the truck: letter or A4, lying, nothing set under 9 pt.

Page 1 is the trench seen from the side, page 2 from above. Both are drawn to the size of the paper,
so that they stay two whatever the site holds; what finds no room is counted, and said to be on
dig.html.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from markupsafe import escape
from shapely import get_coordinates

from lateral_map.draw.dig.layers import dig_layers
from lateral_map.draw.paint.fonts import shorten, text_width, wrap
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.figure import plan_on
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.draw.plan.scales import PAPERS, Paper
from lateral_map.draw.profile.trench import paint_dig_profile
from lateral_map.draw.style import DIG_STYLES, INK, STYLES
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import DepthRow, DigReview
from lateral_map.units import from_metres, to_metres
from lateral_map.words.cautions import TRUCK_CAUTIONS, WHO_TO_CALL
from lateral_map.words.excavator import (
    truck_depths_words,
    truck_reach_lines,
    truck_tape_lines,
    truck_urgent_lines,
    truck_utility_lines,
)
from lateral_map.words.notices import danger_notices, stop_line
from lateral_map.words.numbers import label, tidy

_TEXT_PT: Final = 9.0
_LINE_PT: Final = 11.4
_BIG_PT: Final = 12.0
_MARGIN_PT: Final = 26.0
_GAP_PT: Final = 12.0
_COLUMN_PT: Final = 31.0
_DEPTHS_PT: Final = 53.0
_BESIDE_PT: Final = 62.0
_LEAST_GRAPH_PT: Final = 70.0
_LEAST_PLAN_PT: Final = 190.0
_HIDDEN: Final = frozenset(
    {
        "picture",
        "ties",
        "corridor",
        "next",
        "responsibility",
        "dig",
        "locates",
        "bends",
        "stretches",
        "tapes",
    }
)
_LABEL: Final = re.compile(r'<svg[^>]* aria-label="([^"]*)"[^>]*>')


@dataclass
class _Page:
    """A page being filled from the top; ``y`` is where it is free, down to ``foot``."""

    canvas: Canvas
    left: float
    right: float
    y: float
    foot: float

    def paragraph(self, words: str, *, bold: bool = False, most: int = 9) -> None:
        """Set words as wide as the page, in at most so many lines."""
        for line in _lines(words, self.right - self.left, bold=bold, most=most):
            self.y += _LINE_PT
            self.canvas.text(self.left, self.y - 2.6, line, _TEXT_PT, bold=bold)


def truck_html(review: DigReview) -> str:
    """Return the two pages as HTML of one drawing each."""
    paper = PAPERS["A4" if review.report.site.unit == "m" else "letter"]
    drawings = "".join(
        "<section>{}</section>".format(
            _LABEL.sub(r"\g<0><title>\1</title>", page.to_text(), count=1)
        )
        for page in (_from_the_side(review, paper), _from_above(review, paper))
    )
    size = f"{paper.width_in:.4f}in {paper.height_in:.4f}in"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f"<title>Dig: {escape(tidy(review.report.site.name, 120))}</title>"
        f"<style>@page {{ size: {size}; margin: 0 }} body {{ margin: 0 }} "
        "section { break-after: page } section:last-child { break-after: auto } "
        "svg { display: block }</style></head>"
        f"<body>{drawings}</body></html>"
    )


def _begin(review: DigReview, paper: Paper, number: int, seen: str) -> _Page:
    name = tidy(review.report.site.name, 120) or "Unnamed site"
    canvas = Canvas.sheet(paper.width_pt, paper.height_pt, f"{seen}: {label(name, 60)}")
    page = _Page(
        canvas, _MARGIN_PT, paper.width_pt - _MARGIN_PT, _MARGIN_PT, paper.height_pt - _MARGIN_PT
    )
    room = page.right - page.left
    right = f"Page {number} of 2. Not a utility locate, not a land survey."
    # A long name gives way, what the page shows does not.
    seen = f": {seen}"
    kept = room - text_width(right, _TEXT_PT) - text_width(seen, _BIG_PT, bold=True) - _GAP_PT
    title = shorten(name, kept, _BIG_PT, bold=True) + seen
    page.y += 11.0
    canvas.text(page.left, page.y, title, _BIG_PT, bold=True)
    canvas.text(page.right, page.y, right, _TEXT_PT, anchor="end")
    page.y += 5.0
    return page


def _from_the_side(review: DigReview, paper: Paper) -> Canvas:
    page = _begin(review, paper, 1, "the trench from the side")
    room = page.right - page.left
    urgent = truck_urgent_lines(review)
    longest = 2 if sum(len(_lines(one, room, bold=True)) for one in urgent) <= 12 else 1
    stops = len(danger_notices(review.report))
    for k, words in enumerate(urgent):
        # What stops everything is never cut short.
        page.paragraph(words, bold=True, most=9 if k < stops else longest)
    page.y += 3.0
    cautions = _in_columns(page, TRUCK_CAUTIONS, 2, page.y)
    page.y = cautions + 3.0
    page.canvas.line([(page.left, page.y), (page.right, page.y)], Stroke(INK, 0.8))
    figures = [_figures(review, row) for row in review.depths]
    widest = max(text_width(one, _BIG_PT, bold=True) for each in figures for one in each)
    wide = max(widest + 4.0, _COLUMN_PT)
    rows, bands = _depth_bands(review, int((room - _BESIDE_PT) // wide))
    left_pt = page.foot - page.y - _DEPTHS_PT * len(bands) - _LINE_PT - 4.0
    graph = 100.0
    for _ in range(2):
        profile, _, height = paint_dig_profile(review, room, graph)
        graph = max(graph + left_pt - height, _LEAST_GRAPH_PT)
    _place(page.canvas, profile, page.left, page.y)
    page.y = page.foot - _DEPTHS_PT * len(bands) - _LINE_PT
    page.paragraph(truck_depths_words(review), most=1)
    for band in bands:
        _depths(page, review, [rows[k] for k in band], wide)
        page.y += _DEPTHS_PT
    return page.canvas


def _figures(review: DigReview, row: DepthRow) -> tuple[str, str]:
    """Return the depths of invert and cover as they are printed big, doubtful ones with a ?."""
    unit, doubt = review.report.site.unit, "?" if row.unread else ""
    invert, cover = (
        f"{from_metres(depth_m, unit):.{2 if unit == 'm' else 1}f}{doubt}"
        for depth_m in (row.invert_depth_m, row.cover_m)
    )
    return invert, cover


def _depth_bands(review: DigReview, a_band: int) -> tuple[list[DepthRow], list[range]]:
    """Return the depths to print, every 5 ft as far as they find room, and those of each band."""
    unit = review.report.site.unit
    step = to_metres(1.5 if unit == "m" else 5.0, unit)
    rows: list[DepthRow] = []
    for times in (1, 2, 4, 10, 20, 40):
        rows = [
            row
            for row in review.depths
            if abs(row.footage_m / (step * times) - round(row.footage_m / (step * times))) < 1e-6
        ]
        if len(rows) <= 2 * a_band:
            break
    rows = rows[: 2 * a_band]
    return rows, [range(k, min(k + a_band, len(rows))) for k in range(0, len(rows), a_band)]


def _depths(page: _Page, review: DigReview, rows: Sequence[DepthRow], wide: float) -> None:
    """Set one band of footages with the invert's depth, its 95 % and the cover under each."""
    unit, canvas = review.report.site.unit, page.canvas.group("depth-figures")
    names = (("Footage", 10.0), ("Invert", 23.0), ("95 %", 34.0), ("Cover", 47.0))
    for words, down in names:
        canvas.text(page.left, page.y + down, words, _TEXT_PT)
    for k, row in enumerate(rows):
        x = page.left + _BESIDE_PT + (k + 0.5) * wide
        if row.unread:
            canvas.box(x - wide / 2 + 0.8, page.y + 1.5, wide - 1.6, 48.0, fill="#e3e6e8")
        whole = f"{round(from_metres(row.footage_m, unit), 3) + 0.0:g}"
        canvas.text(x, page.y + 10.0, whole, _TEXT_PT, anchor="middle")
        spread = from_metres(TWO_SIDED_95 * row.sd_m, unit)
        words = f"±{spread:.{2 if unit == 'm' else 1}f}"
        canvas.text(x, page.y + 34.0, words, _TEXT_PT, anchor="middle")
        for figure, down in zip(_figures(review, row), (23.0, 47.0), strict=True):
            canvas.text(x, page.y + down, figure, _BIG_PT, anchor="middle", bold=True)


def _from_above(review: DigReview, paper: Paper) -> Canvas:
    page = _begin(review, paper, 2, "the dig from above")
    room = page.right - page.left
    if stop := stop_line(review.report):
        page.paragraph(stop, bold=True, most=2)
    reaches = truck_reach_lines(review)
    stopped = [one.all_cuts_refused for one in review.reaches] or [False]
    for words, bold in zip(reaches, stopped, strict=True):
        page.paragraph(words, bold=bold, most=2 if len(reaches) <= 4 else 1)
    column = (room - _GAP_PT) / 2.0
    utilities = _set_lines(*truck_utility_lines(review), column)
    tapes = _set_lines(*truck_tape_lines(review), column)
    tapes += _set_lines(*WHO_TO_CALL, column)
    most = int((page.foot - page.y - _LEAST_PLAN_PT - 8.0) // _LINE_PT)
    needed = min(max(len(utilities), len(tapes)), most)
    height = page.foot - page.y - needed * _LINE_PT - 8.0
    layers = [
        layer
        for layer in (*plan_layers(review.report), *dig_layers(review, chosen=True))
        if layer.key not in _HIDDEN
    ]
    plan = plan_on(
        review.report,
        room,
        height,
        "Plan",
        layers=layers,
        styles=STYLES | DIG_STYLES,
        sizes_pt=(_TEXT_PT,),
        must_m=[get_coordinates(one.ground_chosen.kept_back) for one in review.reaches],
    )
    _place(page.canvas, plan, page.left, page.y)
    top = page.y + height + 6.0
    for lines, left in ((utilities, page.left), (tapes, page.left + column + _GAP_PT)):
        cut = lines
        if len(lines) > most:
            cut = [
                *lines[: most - 1],
                (f"{len(lines) - most + 1} more lines are on dig.html", True),
            ]
        for k, (words, bold) in enumerate(cut):
            y = top + (k + 1) * _LINE_PT - 2.6
            page.canvas.text(left, y, words, _TEXT_PT, bold=bold)
    return page.canvas


def _set_lines(heading: str, paragraphs: Sequence[str], width: float) -> list[tuple[str, bool]]:
    """Return a bold heading and paragraphs, broken into lines, each with whether it is bold."""
    bold = [(line, True) for line in _lines(heading, width, bold=True, most=3)]
    return bold + [(line, False) for words in paragraphs for line in _lines(words, width, most=3)]


def _lines(words: str, width: float, *, bold: bool = False, most: int = 9) -> list[str]:
    """Return words broken into at most so many lines, the last cut short where there were more."""
    lines = wrap(words, width, _TEXT_PT, bold=bold)
    if len(lines) <= most:
        return lines
    last = shorten(" ".join(lines[most - 1 :]), width, _TEXT_PT, bold=bold)
    return [*lines[: most - 1], last]


def _in_columns(page: _Page, paragraphs: Sequence[str], count: int, top: float) -> float:
    """Set paragraphs in columns, each whole; return where they end."""
    width = (page.right - page.left - _GAP_PT * (count - 1)) / count
    broken = [_lines(words, width - 8.0) for words in paragraphs]
    most = -(-sum(map(len, broken)) // count)
    column, y, lowest = 0, top, top
    for lines in broken:
        if column < count - 1 and (y - top) / _LINE_PT + len(lines) / 2.0 > most:
            column, y = column + 1, top
        left = page.left + column * (width + _GAP_PT)
        page.canvas.text(left, y + _LINE_PT - 2.6, "•", _TEXT_PT)
        for line in lines:
            y += _LINE_PT
            page.canvas.text(left + 8.0, y - 2.6, line, _TEXT_PT)
        lowest = max(lowest, y)
    return lowest


def _place(canvas: Canvas, drawing: Canvas, left: float, top: float) -> None:
    """Put one drawing into another at its own size."""
    group = canvas.group("drawing")
    group.element.set("transform", f"translate({left:.2f} {top:.2f})")
    group.element.extend(list(drawing.element))
