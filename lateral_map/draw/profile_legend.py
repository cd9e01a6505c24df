"""What the marks of a printed profile mean."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from lateral_map.draw.along import checks_by_locate, utility_meetings
from lateral_map.draw.flags import drawable, text_width_in
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.plan.locates import locate_verdict
from lateral_map.draw.style import (
    BASIS_LINES,
    BEND_MARK,
    GROUND,
    INK,
    LOCATE_MARKS,
    NO_SIDE_MARK,
    OKABE_ITO,
    PAPER,
    SIDE_MARKS,
    MarkStyle,
)
from lateral_map.model.results import Report
from lateral_map.words.names import LOCATE_WORDS

MARKERS: Final = {
    "disc": "o", "square": "s", "diamond": "D", "triangle": "^", "target": "o",
    "disc to square": "p", "diamond to square": "h", "octagon": "8",
    "target crossed": "o", "target open": "o", "target dashed": "o",
}  # fmt: skip
INNER_MARKERS: Final = {"target": ".", "target crossed": "x"}
_SWATCH_IN: Final = 0.3


@dataclass(frozen=True, slots=True)
class Entry:
    """One legend entry: matplotlib line properties of each part of its swatch, and its words."""

    words: str
    swatch: tuple[dict[str, Any], ...]


def legend_entries(report: Report) -> tuple[Entry, ...]:
    """Return the entries for what this profile shows."""
    entries = [
        Entry("ground", ({"color": GROUND, "lw": 2.0},)),
        *_basis_entries(report),
        Entry(
            "95 % range of the invert", ({"color": OKABE_ITO["sky blue"], "lw": 6.0, "alpha": 0.5},)
        ),
        *_finding_entries(report),
        *_locate_entries(report),
    ]
    if report.site.bends:
        entries.append(Entry("bend", (_point(BEND_MARK),)))
    meetings = utility_meetings(report)
    if any(meeting.utility.depth_m is not None for meeting in meetings):
        entries.append(Entry("utility at its mapped depth", (_utility(hollow=False),)))
    if any(meeting.utility.depth_m is None for meeting in meetings):
        entries.append(Entry("utility, depth unknown", (_utility(hollow=True),)))
    return tuple(entries)


def _basis_entries(report: Report) -> list[Entry]:
    return [
        Entry(
            f"invert, {basis}",
            ({"color": style.colour, "lw": 2.6, "ls": dashes(style.dash_px, 2.2)},),
        )
        for basis, style in BASIS_LINES.items()
        if basis in report.stations.basis
    ]


def dashes(dash_px: tuple[float, ...], divisor: float) -> Any:
    """Return a screen dash pattern as matplotlib wants it, in widths of a line of that many px."""
    return (0, tuple(length / divisor for length in dash_px)) if dash_px else "-"


def _finding_entries(report: Report) -> list[Entry]:
    marks = {f"side {verdict}": style for verdict, style in SIDE_MARKS.items()}
    return [
        Entry(drawable(words[0].lower() + words[1:]), (_point(marks.get(key, NO_SIDE_MARK)),))
        for key, words in findings_layer(report).legend
    ]


def _locate_entries(report: Report) -> list[Entry]:
    checks = checks_by_locate(report)
    used = {
        locate_verdict(locate, checks.get(locate.mark, ()))
        for locate in report.site.locates
        if locate.depth_m is not None
    }
    return [
        Entry(words[0].lower() + words[1:], mark_swatch(LOCATE_MARKS[verdict]))
        for verdict, words in LOCATE_WORDS.items()
        if verdict in used
    ]


def mark_swatch(style: MarkStyle) -> tuple[dict[str, Any], ...]:
    """Return the line properties of a mark and of what stands inside it."""
    inner = INNER_MARKERS.get(style.shape)
    parts = [_point(style)]
    if inner:
        parts.append({"marker": inner, "ms": 4.5, "mew": 1.2, "color": INK, "ls": "none"})
    return tuple(parts)


def _point(style: MarkStyle) -> dict[str, Any]:
    return {
        "marker": MARKERS[style.shape],
        "ms": 7.0,
        "mfc": style.fill,
        "mec": style.edge,
        "mew": 1.2,
        "ls": "none",
    }


def _utility(*, hollow: bool) -> dict[str, Any]:
    return {
        "marker": "o",
        "ms": 8.0,
        "mfc": PAPER if hollow else "#c9ced2",
        "mec": INK,
        "mew": 2.0 if hollow else 1.0,
        "ls": "none",
    }


def legend_rows(
    entries: tuple[Entry, ...], room_in: float, size_pt: float
) -> tuple[tuple[tuple[float, Entry], ...], ...]:
    """Return entries in rows of at most ``room_in`` inches, each with its place from the left."""
    rows: list[list[tuple[float, Entry]]] = [[]]
    at = 0.0
    for entry in entries:
        width = _SWATCH_IN + 0.22 + text_width_in(entry.words, size_pt)
        if at + width > room_in and rows[-1]:
            rows.append([])
            at = 0.0
        rows[-1].append((at, entry))
        at += width
    return tuple(tuple(row) for row in rows)


def paint_legend(
    figure: Figure,
    rows: tuple[tuple[tuple[float, Entry], ...], ...],
    *,
    left_in: float,
    top_in: float,
    row_in: float,
    size_pt: float,
) -> None:
    """Paint legend rows downward from ``top_in`` inches above the sheet's foot."""
    for index, row in enumerate(rows):
        up = top_in - (index + 0.5) * row_in
        for offset, entry in row:
            left = left_in + offset
            for part in entry.swatch:
                figure.add_artist(_swatch(figure, part, left, up))
            figure.text(
                left + _SWATCH_IN + 0.05, up, entry.words, transform=figure.dpi_scale_trans,
                ha="left", va="center_baseline", fontsize=size_pt, color=INK, parse_math=False,
            )  # fmt: skip


def _swatch(figure: Figure, part: dict[str, Any], left_in: float, up_in: float) -> Line2D:
    is_point = "marker" in part
    across = [left_in + _SWATCH_IN / 2] if is_point else [left_in, left_in + _SWATCH_IN]
    return Line2D(across, [up_in] * len(across), transform=figure.dpi_scale_trans, **part)
