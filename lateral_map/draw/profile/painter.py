"""The profile at its own best height: for a page, wide and narrow, and for print."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np

from lateral_map.draw.paint.fonts import wrap
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.raster import png_bytes
from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.profile.events import (
    events_above,
    findings_below,
    hang_flags,
    lanes_pt,
)
from lateral_map.draw.profile.frame import (
    Frame,
    exaggeration_words,
    heights_framed,
    heights_shown,
    needed_m,
)
from lateral_map.draw.profile.parts import TEXT_PT, name_at_right, paint_graph
from lateral_map.draw.profile.rows import (
    ROW_PT,
    legend_entries,
    legend_places,
    legend_pt,
    paint_footages,
    paint_legend,
    paint_rows,
    profile_rows,
)
from lateral_map.draw.style import GROUND, INK, PAPER
from lateral_map.model.results import Report
from lateral_map.units import from_metres
from lateral_map.words.names import CONFIDENCE_WORDS, LEVEL_GROUND_WORDS
from lateral_map.words.numbers import label, unit_word
from lateral_map.words.technician import crossing_words

_LINE_PT: Final = 12.0
_EDGE_PT: Final = 5.0
_PRINT_DPI: Final = 200


@dataclass(frozen=True, slots=True)
class Size:
    """How wide a profile is in points, what stands beside its graph, and how high that may be.

    ``stands_alone`` adds the site's name and a legend; a page has them already.
    """

    width_pt: float
    left_pt: float
    right_pt: float
    lanes_above: int
    lanes_below: int
    graph_pt: tuple[float, float]
    names_lines: bool = True
    stands_alone: bool = False


WIDE: Final = Size(950.0, 63.0, 92.0, 6, 4, (115.0, 216.0))
# At 390 px a point is more than a pixel: letters stay as large as on paper.
NARROW: Final = Size(288.0, 54.0, 28.0, 6, 6, (144.0, 216.0), names_lines=False)
# Printed 509 pt wide on A4 stood upright, 526 pt on letter: no letters under 8 pt.
PAPER_PAGE: Final = Size(570.0, 52.0, 72.0, 5, 3, (72.0, 90.0))
PRINT: Final = Size(792.0, 63.0, 88.0, 6, 4, (115.0, 216.0), stands_alone=True)

PageWidth = Literal["wide", "narrow", "paper"]
_PAGE_SIZES: Final[dict[PageWidth, Size]] = {"wide": WIDE, "narrow": NARROW, "paper": PAPER_PAGE}


@dataclass(frozen=True, slots=True)
class Profile:
    """A finished profile and where footage and elevation stand on it."""

    canvas: Canvas
    frame: Frame


def draw_profile(report: Report, size: Size) -> Profile:
    """Return the profile of the run, as high as its contents want.

    Footage runs across, elevation (or depth below a ground taken as level) up. The vertical
    exaggeration printed is that of the finished graph.
    """
    first, last = (float(report.stations.footage_m[k]) for k in (0, -1))
    box = Box(size.left_pt, 0.0, size.width_pt - size.right_pt, 1.0)
    frame = Frame(box, first, last, 0.0, 1.0)
    right = size.width_pt - 2.0
    above = events_above(report, frame, size.lanes_above, right)
    below = findings_below(report, frame, size.lanes_below, right)
    heights = heights_shown(report, first, last)
    true_pt = needed_m(*heights, last - first) * box.width / (last - first)
    height = float(np.clip(1.001 * true_pt, *size.graph_pt))
    low, high = heights_framed(*heights, last - first, (box.width, height))
    frame = replace(frame, low_m=low, high_m=high, box=replace(box, bottom=height))

    said = {flag.text for flag in above}
    head = _head(report, frame, size, said)
    top = _EDGE_PT + sum(step for _, _, step in head) + lanes_pt(above)
    frame = replace(frame, box=Box(box.left, top, box.right, top + height))
    foot = frame.box.bottom + lanes_pt(below) + 3.0
    rows = profile_rows(report)
    legend = legend_entries(report) if size.stands_alone else []
    places = legend_places(legend, box.left, right)
    rows_foot = foot + ROW_PT * (1 + len(rows)) + 3.0
    axis = f"Footage along the pipe, {unit_word(report.site.unit)}. {CONFIDENCE_WORDS}"
    words = wrap(axis, right - box.left, TEXT_PT)
    legend_foot = rows_foot + legend_pt(places)
    total = legend_foot + _LINE_PT * len(words) + _EDGE_PT

    canvas = Canvas.sheet(size.width_pt, total, f"Profile of {label(report.site.name)}")
    canvas.box(0.0, 0.0, size.width_pt, total, fill=PAPER)
    y = _EDGE_PT
    for line, text_pt, step in head:
        canvas.group("heading").text(6.0, y + 0.8 * text_pt, line, text_pt, bold=True)
        y += step
    curves = paint_graph(canvas, report, frame).curves
    hang_flags(canvas, above, frame, curves, up=True)
    hang_flags(canvas, below, frame, curves, up=False)
    if size.names_lines:
        ground = "ground" if report.stations.ground_known else "ground (level)"
        named = [(ground, curves.ground_m, GROUND), ("invert, 95 %", curves.invert_m, INK)]
        if curves.crown_m[-1] > curves.invert_m[-1]:
            named.insert(1, ("crown", curves.crown_m, INK))
        levels = [frame.y(float(level[-1])) for _, level, _ in named]
        names = [(name, colour) for name, _, colour in named]
        name_at_right(canvas.group("names"), frame.box, levels, names, 6.0)
    paint_footages(canvas, report, frame, foot)
    paint_rows(canvas, frame, rows, foot + ROW_PT)
    paint_legend(canvas, legend, places, rows_foot)
    for k, line in enumerate(words):
        canvas.text(box.left, legend_foot + 9.0 + k * _LINE_PT, line, TEXT_PT)
    return Profile(canvas, frame)


def _head(
    report: Report, frame: Frame, size: Size, said: set[str]
) -> list[tuple[str, float, float]]:
    """Return the lines over a profile, each with its size and how far it takes down (points).

    Where parties change is said in full here if no flag in ``said`` had room for it.
    """
    room = size.width_pt - 12.0
    changes = [
        crossing_words(together, report.site.unit)
        for together in report.crossings_together
        if any(one.decides for one in together)
    ]
    unsaid = ". ".join(words for words in changes if words not in said)
    notes = exaggeration_words(frame.exaggeration)
    if not report.stations.ground_known:
        notes += f" {LEVEL_GROUND_WORDS}"
    paragraphs = [wrap(words, room, TEXT_PT, bold=True) for words in (notes, unsaid) if words]
    lines = [(line, TEXT_PT, _LINE_PT) for lines in paragraphs for line in lines]
    if not size.stands_alone:
        return lines
    day = f", {report.site.date.isoformat()}" if report.site.date else ""
    name = wrap(f"{label(report.site.name, 60)}{day}", room, 11.5, bold=True)
    return [*((line, 11.5, 15.0) for line in name), *lines]


def profile_files(report: Report) -> tuple[str, bytes]:
    """Return the profile for print as SVG text and as PNG, the same bytes for the same site."""
    canvas = draw_profile(report, PRINT).canvas
    return canvas.to_text(), png_bytes(canvas.element, _PRINT_DPI)


def page_profile(report: Report, width: PageWidth) -> dict[str, Any]:
    """Return a profile for a page: its SVG and how footage runs across it, in SVG units."""
    drawn = draw_profile(report, _PAGE_SIZES[width])
    return for_page(drawn.canvas, drawn.frame, report.site.unit)


def for_page(canvas: Canvas, frame: Frame, unit: str) -> dict[str, Any]:
    """Return a drawing with where its graph stands: points, and the site's unit at its edges."""
    box = frame.box
    return {
        "svg": canvas.to_text(),
        "left": round(box.left, 3),
        "right": round(box.right, 3),
        "top": round(box.top, 3),
        "bottom": round(box.bottom, 3),
        "from": round(from_metres(frame.from_m, unit), 6),
        "to": round(from_metres(frame.to_m, unit), 6),
        "low": round(from_metres(frame.low_m, unit), 6),
        "high": round(from_metres(frame.high_m, unit), 6),
    }
