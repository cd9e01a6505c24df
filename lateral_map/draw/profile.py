"""The profile chart: the line unrolled along its footage, for the page and for print."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from lateral_map.draw import profile_parts as parts
from lateral_map.draw.flags import (
    FONT_FAMILY,
    Flag,
    PlacedFlag,
    drawable,
    place_flags,
    text_width_in,
)
from lateral_map.draw.profile_flags import event_flags, finding_flags
from lateral_map.draw.profile_layout import (
    NARROW,
    WIDE,
    Lines,
    Metrics,
    Window,
    choose_heights,
    exaggeration_words,
    measure_exaggeration,
    profile_lines,
    suitable_height,
)
from lateral_map.draw.profile_legend import Entry, legend_entries, legend_rows, paint_legend
from lateral_map.draw.profile_strips import Strip, paint_strips, profile_strips
from lateral_map.draw.style import INK, QUIET
from lateral_map.draw.svg import figure_svg
from lateral_map.model.results import Report
from lateral_map.words.names import CONFIDENCE_WORDS, LEVEL_GROUND_WORDS
from lateral_map.words.numbers import label, unit_word

Floats = NDArray[np.float64]

WIDE_IN: Final = 13.2
NARROW_IN: Final = 4.1
PRINT_IN: Final = 11.0
PRINT_DPI: Final = 200


def profile_figure(
    report: Report, *, width_in: float, height_in: float, narrow: bool = False
) -> Figure:
    """Return the profile as a figure of the given size in inches, with title and legend.

    Footage runs across, elevation (or depth below a ground taken as level) up, both in the site's
    unit. The vertical exaggeration printed is measured from the finished axes. ``narrow`` suits a
    telephone's width.
    """
    return draw_profile(report, width_in=width_in, height_in=height_in, narrow=narrow).figure


@dataclass(frozen=True, slots=True)
class Profile:
    """A finished profile with the window and axes it was drawn in."""

    figure: Figure
    axes: Axes
    window: Window


def draw_profile(
    report: Report,
    *,
    width_in: float,
    height_in: float | None = None,
    narrow: bool = False,
    standalone: bool = True,
) -> Profile:
    """Return the profile with what is needed to find places on it again.

    ``standalone`` adds the site's name and a legend; a page has them already. Without a
    ``height_in`` the figure is as high as its contents want.
    """
    metrics = NARROW if narrow else WIDE
    lines = profile_lines(report)
    window = _window_across(lines, metrics, width_in)
    above = _place(
        event_flags(report, window, narrow=narrow), metrics.lanes_above, metrics, width_in
    )
    below = _place(
        finding_flags(report, window, narrow=narrow), metrics.lanes_below, metrics, width_in
    )
    sheet = _sheet(report, metrics, width_in, standalone=standalone)
    low_in = sheet.foot_in + _depth_of(below, metrics)
    over_in = metrics.head_in + sheet.title_in + _depth_of(above, metrics)
    also = np.array(parts.event_heights(report))
    inside_in = (
        suitable_height(lines, also, window.width_in, metrics.inside_in)
        if height_in is None
        else max(height_in - low_in - over_in, 0.6)
    )
    window = _window_up(window, lines, also, low_in, inside_in)
    height_in = low_in + inside_in + over_in

    figure = Figure(figsize=(width_in, height_in), facecolor="white")
    axes = _axes(figure, window, report, metrics)
    _paint_inside(axes, report, lines, window, metrics)
    _paint_flags(figure, above, lines, window, metrics, up=True)
    _paint_flags(figure, below, lines, window, metrics, up=False)
    _paint_sheet(figure, axes, report, window, metrics, sheet)
    _paint_words(figure, axes, window, metrics, report, sheet)
    return Profile(figure, axes, window)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """What stands round the plotting window, with the room it needs in inches."""

    strips: tuple[Strip, ...]
    legend: tuple[tuple[tuple[float, Entry], ...], ...]
    title: str
    narrow: bool
    title_in: float
    legend_in: float
    foot_in: float


def _sheet(report: Report, metrics: Metrics, width_in: float, *, standalone: bool) -> _Sheet:
    strips = profile_strips(report)
    legend: tuple[tuple[tuple[float, Entry], ...], ...] = ()
    title = ""
    if standalone:
        legend = legend_rows(
            legend_entries(report), width_in - metrics.left_in, metrics.text_pt - 1
        )
        day = f", {report.site.date.isoformat()}" if report.site.date else ""
        title = drawable(f"{label(report.site.name, 60)}{day}")
    legend_in = len(legend) * metrics.lane_in + (0.05 if legend else 0.0)
    foot_in = metrics.foot_in + legend_in + len(strips) * metrics.strip_in + metrics.tick_in
    title_in = 0.22 if title else 0.0
    return _Sheet(strips, legend, title, metrics is NARROW, title_in, legend_in, foot_in)


def _paint_sheet(
    figure: Figure, axes: Axes, report: Report, window: Window, metrics: Metrics, sheet: _Sheet
) -> None:
    size_pt = metrics.text_pt - 1
    paint_strips(
        figure, report, window, sheet.strips,
        top_in=sheet.foot_in - metrics.tick_in, strip_in=metrics.strip_in, size_pt=size_pt,
        narrow=sheet.narrow,
    )  # fmt: skip
    paint_legend(
        figure, sheet.legend, left_in=metrics.left_in, top_in=metrics.foot_in + sheet.legend_in,
        row_in=metrics.lane_in, size_pt=size_pt,
    )  # fmt: skip
    _paint_footages(figure, axes, window, sheet.foot_in, metrics, report)


def _window_across(lines: Lines, metrics: Metrics, width_in: float) -> Window:
    return Window(
        from_footage=float(lines.footage[0]),
        to_footage=float(lines.footage[-1]),
        low=0.0,
        high=1.0,
        left_in=metrics.left_in,
        bottom_in=0.0,
        width_in=width_in - metrics.left_in - metrics.right_in,
        height_in=1.0,
    )


def _window_up(
    window: Window, lines: Lines, also: Floats, bottom_in: float, height_in: float
) -> Window:
    low, high = choose_heights(lines, also, window.width_in, height_in)
    return replace(window, low=low, high=high, bottom_in=bottom_in, height_in=height_in)


def _place(
    flags: tuple[Flag, ...], lanes: int, metrics: Metrics, width_in: float
) -> tuple[PlacedFlag, ...]:
    def measure(text: str, bold: bool) -> float:
        return 0.03 + text_width_in(text, metrics.text_pt, bold)

    return place_flags(flags, lanes=lanes, right=width_in - 0.03, gap=0.07, measure=measure)


def _depth_of(placed: tuple[PlacedFlag, ...], metrics: Metrics) -> float:
    lanes = 1 + max((flag.lane for flag in placed), default=-1)
    return lanes * metrics.lane_in + (0.06 if lanes else 0.0)


def _axes(figure: Figure, window: Window, report: Report, metrics: Metrics) -> Axes:
    width_in, height_in = figure.get_size_inches()
    axes = figure.add_axes(
        (
            window.left_in / width_in,
            window.bottom_in / height_in,
            window.width_in / width_in,
            window.height_in / height_in,
        )
    )
    axes.set_xlim(window.from_footage, window.to_footage)
    axes.set_ylim(window.low, window.high)
    axes.xaxis.set_major_locator(
        MaxNLocator(_tick_count(window.width_in, 0.62), steps=[1, 2, 5, 10])
    )
    axes.yaxis.set_major_locator(
        MaxNLocator(_tick_count(window.height_in, 0.26), steps=[1, 2, 5, 10])
    )
    if not report.stations.ground_known:
        axes.yaxis.set_major_formatter(FuncFormatter(_as_depth))
    axes.tick_params(
        axis="y",
        labelsize=metrics.text_pt,
        colors=INK,
        length=3,
        width=0.7,
        labelfontfamily=FONT_FAMILY,
    )
    axes.tick_params(axis="x", length=0, labelbottom=False)
    axes.grid(visible=True, color="#d5d9dc", lw=0.6)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set_color(QUIET)
        spine.set_linewidth(0.8)
    return axes


def _as_depth(value: float, _: int | None = None) -> str:
    return f"{-value + 0.0:g}" if value <= 1e-9 else ""


def _tick_count(length_in: float, each_in: float) -> int:
    return max(2, int(length_in / each_in))


def _paint_inside(
    axes: Axes, report: Report, lines: Lines, window: Window, metrics: Metrics
) -> None:
    parts.paint_soil(axes, lines, window)
    parts.paint_unlocated(axes, report, window, metrics.text_pt)
    parts.paint_band(axes, lines)
    parts.paint_crossings(axes, report)
    parts.paint_ground(axes, report, lines)
    parts.paint_pipe(axes, report, lines)
    parts.paint_utilities(axes, report, metrics.text_pt)
    parts.paint_bends(axes, report)
    parts.paint_findings(axes, report, window)
    parts.paint_locates(axes, report)
    if metrics is WIDE:
        parts.paint_line_names(axes, report, lines, window, metrics.text_pt)


def _paint_flags(
    figure: Figure,
    placed: tuple[PlacedFlag, ...],
    lines: Lines,
    window: Window,
    metrics: Metrics,
    *,
    up: bool,
) -> None:
    edge_in = window.bottom_in + window.height_in if up else window.bottom_in
    sense = 1.0 if up else -1.0
    for flag in placed:
        middle = edge_in + sense * (0.06 + (flag.lane + 0.5) * metrics.lane_in)
        foot = _staff_foot(flag, lines, window, up=up)
        figure.add_artist(
            Line2D(
                [flag.flag.at, flag.flag.at], [foot, middle + sense * 0.06],
                transform=figure.dpi_scale_trans, color=QUIET, lw=0.7,
            )
        )  # fmt: skip
        figure.text(
            flag.flag.at + 0.03, middle, flag.text, transform=figure.dpi_scale_trans,
            ha="left", va="center_baseline", fontsize=metrics.text_pt, color=INK,
            fontweight="bold" if flag.flag.bold else "normal", parse_math=False,
            gid=f"flag-{flag.flag.key}",
        )  # fmt: skip


def _staff_foot(flag: PlacedFlag, lines: Lines, window: Window, *, up: bool) -> float:
    """Return the height (in) a flag's staff starts from: the ground above, the pipe below."""
    share = (flag.flag.at - window.left_in) / window.width_in
    footage = window.from_footage + share * (window.to_footage - window.from_footage)
    if flag.flag.key == "crossing":
        return window.bottom_in + window.height_in
    level = lines.ground if up else lines.invert
    return window.up_in(float(np.interp(footage, lines.footage, level)))


def _paint_footages(
    figure: Figure, axes: Axes, window: Window, foot_in: float, metrics: Metrics, report: Report
) -> None:
    up = foot_in - metrics.tick_in / 2 - 0.01
    low, high = window.from_footage, window.to_footage
    for value in axes.xaxis.get_major_locator()():
        if low - 1e-9 <= value <= high + 1e-9:
            figure.text(
                window.across_in(value), up, f"{value:g}", transform=figure.dpi_scale_trans,
                ha="center", va="center_baseline", fontsize=metrics.text_pt, color=INK,
                parse_math=False,
            )  # fmt: skip
    figure.text(
        window.left_in - 0.07, up, unit_word(report.site.unit), transform=figure.dpi_scale_trans,
        ha="right", va="center_baseline", fontsize=metrics.text_pt, color=INK, fontweight="bold",
        parse_math=False,
    )  # fmt: skip


def _paint_words(
    figure: Figure, axes: Axes, window: Window, metrics: Metrics, report: Report, sheet: _Sheet
) -> None:
    height_in = figure.get_size_inches()[1]
    unit, known = unit_word(report.site.unit), report.stations.ground_known
    scale = exaggeration_words(measure_exaggeration(axes))
    notes = [f"{scale[0].upper()}{scale[1:]}."] + ([] if known else [LEVEL_GROUND_WORDS])
    gaps = "\n" if sheet.narrow else "   "
    ends = f"Footage, {unit}. ± is 95 %."
    if not sheet.narrow:
        ends = f"Footage along the pipe, {unit}. {CONFIDENCE_WORDS}"

    def say(x_in: float, y_in: float, words: str, **how: Any) -> None:
        figure.text(
            x_in, y_in, words,
            **{"transform": figure.dpi_scale_trans, "fontsize": metrics.text_pt, "color": INK,
               "parse_math": False, **how},
        )  # fmt: skip

    upright = f"Elevation, {unit}" if known else f"Depth, {unit}"
    middle = window.bottom_in + window.height_in / 2
    say(0.14, middle, upright, rotation=90, ha="center", va="center")
    top = height_in - 0.06
    if sheet.title:
        size = metrics.text_pt + 2.5
        say(0.06, top, sheet.title, ha="left", va="top", fontsize=size, fontweight="bold")
    say(
        0.06, top - sheet.title_in, gaps.join(notes),
        ha="left", va="top", fontweight="bold", gid="exaggeration",
    )  # fmt: skip
    say(window.left_in, 0.07, ends, ha="left", va="bottom")


def profile_svg(report: Report) -> str:
    """Return the profile for print as SVG text, the same bytes for the same site."""
    return figure_svg(draw_profile(report, width_in=PRINT_IN).figure, prefix="profile")


def profile_png(report: Report) -> bytes:
    """Return the profile for print as PNG, the same bytes for the same site."""
    figure = draw_profile(report, width_in=PRINT_IN).figure
    sheet = io.BytesIO()
    figure.savefig(sheet, format="png", dpi=PRINT_DPI, metadata={"Software": None})
    return sheet.getvalue()


def page_profile(report: Report, *, narrow: bool) -> dict[str, Any]:
    """Return a profile for a page: its SVG and how footage runs across it, in SVG units."""
    width_in = NARROW_IN if narrow else WIDE_IN
    profile = draw_profile(report, width_in=width_in, narrow=narrow, standalone=False)
    window, height_in = profile.window, float(profile.figure.get_size_inches()[1])
    return {
        "svg": figure_svg(profile.figure, prefix="narrow" if narrow else "wide"),
        "left": round(72.0 * window.left_in, 4),
        "right": round(72.0 * (window.left_in + window.width_in), 4),
        "top": round(72.0 * (height_in - window.bottom_in - window.height_in), 4),
        "bottom": round(72.0 * (height_in - window.bottom_in), 4),
        "from": window.from_footage,
        "to": window.to_footage,
        "low": window.low,
        "high": window.high,
    }
