"""The parts of a profile inside its plotting window, each painted by one function."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from numpy.typing import ArrayLike, NDArray

from lateral_map.adjust.transmitter import sd_depth_m
from lateral_map.draw.along import (
    Stretch,
    basis_stretches,
    checks_by_locate,
    transmitter_footage,
    utility_meetings,
)
from lateral_map.draw.flags import drawable, fitting
from lateral_map.draw.plan.findings import side_style
from lateral_map.draw.plan.locates import locate_verdict
from lateral_map.draw.profile_layout import Lines, Window, at_footage
from lateral_map.draw.profile_legend import INNER_MARKERS, MARKERS, dashes
from lateral_map.draw.style import (
    BASIS_LINES,
    BEND_MARK,
    GROUND,
    INK,
    LINE_KINDS,
    LOCATE_MARKS,
    NO_SIDE_MARK,
    OKABE_ITO,
    PAPER,
    QUIET,
    SEVERITY_SCALE,
    SIDE_MARKS,
    UTILITY_COLOURS,
    UTILITY_LETTERS,
    MarkStyle,
)
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Basis, Report
from lateral_map.model.site import Locate
from lateral_map.units import from_metres
from lateral_map.words.names import BETWEEN_WORDS, DEAD_RECKONED_WORDS

Floats = NDArray[np.float64]

# A stretch between locates is named once the pipe goes this much of the run unmeasured.
_NAMED_SHARE: Final = 0.16


def _line(axes: Axes, across: ArrayLike, up: ArrayLike, **style: Any) -> None:
    # Not axes.plot: the window is fixed, and working out its limits again costs more than drawing.
    axes.add_artist(Line2D(np.asarray(across, float), np.asarray(up, float), **style))


def _band(axes: Axes, across: Floats, low: Floats, high: Floats, **style: Any) -> None:
    outline = np.concatenate([[across, low], np.stack([across, high])[:, ::-1]], axis=1).T
    axes.add_artist(Polygon(outline, closed=True, lw=0, **style))


def paint_soil(axes: Axes, lines: Lines, window: Window) -> None:
    """Tint the cover between ground and crown, and the ground below the pipe a little less."""
    footage = lines.footage
    foot = np.full_like(footage, window.low)
    _band(axes, footage, lines.crown, lines.ground, color="#efe6d6", zorder=0.2, gid="cover")
    _band(axes, footage, foot, lines.invert, color="#f7f3ea", zorder=0.2, gid="below")
    _band(axes, footage, lines.invert, lines.crown, color=PAPER, zorder=1.0, gid="bore")


def paint_band(axes: Axes, lines: Lines) -> None:
    """Draw the invert's 95 % band."""
    low, high = lines.invert - lines.half_band, lines.invert + lines.half_band
    sky = OKABE_ITO["sky blue"]
    _band(axes, lines.footage, low, high, color=sky, alpha=0.33, zorder=1.1, gid="band")
    for edge in (low, high):
        _line(axes, lines.footage, edge, color=OKABE_ITO["blue"], lw=0.7, ls=(0, (5, 2.5)))


def paint_ground(axes: Axes, report: Report, lines: Lines) -> None:
    """Draw the ground: solid where measured, dashed where a level line stands in for it."""
    dash: Any = "-" if report.stations.ground_known else (0, (6, 3))
    _line(axes, lines.footage, lines.ground, color=GROUND, lw=2.0, ls=dash, gid="ground")


def paint_pipe(axes: Axes, report: Report, lines: Lines) -> None:
    """Draw the crown, and the invert in the line style of what it rests on."""
    _line(axes, lines.footage, lines.crown, color=INK, lw=0.8, gid="crown")
    _line(axes, lines.footage, lines.invert, color=INK, lw=0.6, gid="invert")
    for basis, style in BASIS_LINES.items():
        footage = _footages_on(report, lines, basis)
        if len(footage):
            _line(
                axes, footage, np.interp(footage, lines.footage, lines.invert),
                color=style.colour, lw=2.6, ls=dashes(style.dash_px, 2.2),
                gid=f"invert-{basis.replace(' ', '-')}",
            )  # fmt: skip


def _footages_on(report: Report, lines: Lines, basis: Basis) -> Floats:
    """Return the footages of every stretch on one basis, a gap (nan) after each."""
    unit = report.site.unit
    found: list[Floats] = []
    for stretch in basis_stretches(report.stations):
        if stretch.basis == basis:
            begin, end = from_metres(stretch.from_m, unit), from_metres(stretch.to_m, unit)
            inside = lines.footage[(lines.footage > begin) & (lines.footage < end)]
            found.append(np.array([begin, *inside, end, np.nan]))
    return np.concatenate(found) if found else np.array([])


def paint_unlocated(axes: Axes, report: Report, window: Window, size_pt: float) -> None:
    """Shade what nothing was located on, and say so in words where they fit."""
    unit = report.site.unit
    run = window.to_footage - window.from_footage
    for stretch in basis_stretches(report.stations):
        share = from_metres(stretch.to_m - stretch.from_m, unit) / run
        if stretch.basis == "dead reckoned":
            _shade(axes, report, stretch, OKABE_ITO["vermillion"], "xx")
            _say(axes, report, window, stretch, DEAD_RECKONED_WORDS, size_pt, bold=True)
        elif stretch.basis == "between locates" and share >= _NAMED_SHARE:
            _shade(axes, report, stretch, OKABE_ITO["blue"], "//")
            _say(axes, report, window, stretch, BETWEEN_WORDS, size_pt, bold=False)


def _shade(axes: Axes, report: Report, stretch: Stretch, colour: str, hatch: str) -> None:
    unit = report.site.unit
    low, high = axes.get_ylim()
    begin, end = from_metres(stretch.from_m, unit), from_metres(stretch.to_m, unit)
    axes.add_artist(
        Rectangle(
            (begin, low), end - begin, high - low,
            facecolor="none", edgecolor=colour, alpha=0.22, hatch=hatch, lw=0.0,
            gid=f"unlocated-{stretch.basis.replace(' ', '-')}",
        )
    )  # fmt: skip


def _say(
    axes: Axes,
    report: Report,
    window: Window,
    stretch: Stretch,
    wordings: tuple[str, ...],
    size_pt: float,
    *,
    bold: bool,
) -> None:
    unit, figure = report.site.unit, _figure(axes)
    begin = window.across_in(from_metres(stretch.from_m, unit))
    end = window.across_in(from_metres(stretch.to_m, unit))
    words = fitting(wordings, end - begin - 0.12, size_pt, bold)
    if not words:
        return
    rise = (0.12 + size_pt / 72.0 * 1.1) * (1 + words.count("\n"))
    busy = any(
        begin <= window.across_in(at) <= end and window.up_in(level) < window.bottom_in + rise
        for at, level in utility_levels(report)
    )
    height = window.bottom_in + (window.height_in - 0.05 if busy else 0.05)
    # On the figure, not the axes: the flags' staffs are drawn there, and go behind the words.
    figure.text(
        (begin + end) / 2.0, height, words,
        transform=figure.dpi_scale_trans, linespacing=1.05,
        ha="center", va="top" if busy else "bottom", fontsize=size_pt, color=INK,
        parse_math=False, fontweight="bold" if bold else "normal", zorder=6,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.2, "alpha": 0.9},
    )  # fmt: skip


def paint_crossings(axes: Axes, report: Report) -> None:
    """Draw each crossed line upright with its 95 % range along the pipe."""
    unit = report.site.unit
    low, high = axes.get_ylim()
    for number, crossing in enumerate(report.crossings):
        at = from_metres(crossing.footage_m, unit)
        half = from_metres(TWO_SIDED_95 * crossing.sd_footage_m, unit)
        width, height = 2 * half, high - low
        axes.add_artist(
            Rectangle((at - half, low), width, height, facecolor=QUIET, alpha=0.16, lw=0)
        )
        style = LINE_KINDS[crossing.kind]
        _line(
            axes, [at, at], [low, high], color=style.colour, lw=0.6 * style.width_px,
            ls=dashes(style.dash_px, 2.0), gid=f"crossing-{number}",
        )  # fmt: skip


def utility_levels(report: Report) -> list[tuple[float, float]]:
    """Return footage and elevation, in the site's unit, at which each met utility is drawn.

    One of unknown depth is drawn part of the way down to the pipe, hollow.
    """
    stations, unit = report.stations, report.site.unit
    places = []
    for meeting in utility_meetings(report):
        ground = at_footage(report, stations.ground_m, meeting.footage_m)
        invert = at_footage(report, stations.elevation_m, meeting.footage_m)
        depth_m = meeting.utility.depth_m
        depth = 0.4 * (ground - invert) if depth_m is None else from_metres(depth_m, unit)
        places.append((from_metres(meeting.footage_m, unit), ground - depth))
    return places


def paint_utilities(axes: Axes, report: Report, size_pt: float) -> None:
    """Draw each utility where the line meets it: at its depth, or as unknown depth."""
    stations = report.stations
    places = zip(utility_meetings(report), utility_levels(report), strict=True)
    for number, (meeting, (at, level)) in enumerate(places):
        kind, known = meeting.utility.utility, meeting.utility.depth_m is not None
        ground = at_footage(report, stations.ground_m, meeting.footage_m)
        invert = at_footage(report, stations.elevation_m, meeting.footage_m)
        _line(
            axes, [at, at], [ground, level if known else invert],
            color=INK, lw=0.7, ls=(0, (1.5, 2.0)) if not known else "-",
        )  # fmt: skip
        # Hollow where the depth is unknown, so that a print without colour says so too.
        _line(
            axes, [at], [level], marker="o", ms=size_pt + 3,
            mfc=UTILITY_COLOURS[kind] if known else PAPER,
            mec=INK if known else UTILITY_COLOURS[kind], mew=1.0 if known else 2.2,
            ls="none", gid=f"utility-{number}", clip_on=False,
        )  # fmt: skip
        axes.text(
            at, level, UTILITY_LETTERS[kind], ha="center", va="center_baseline",
            fontsize=size_pt - 1.5, fontweight="bold", parse_math=False, zorder=7,
            color=PAPER if known and kind != "gas" else INK,
        )  # fmt: skip


def paint_locates(axes: Axes, report: Report) -> None:
    """Draw each depth as read, brought down to the invert, with its own 95 % range."""
    checks = checks_by_locate(report)
    for locate in report.site.locates:
        verdict = locate_verdict(locate, checks.get(locate.mark, ()))
        _paint_locate(axes, report, locate, verdict)


def locate_invert(report: Report, locate: Locate) -> tuple[float, float, float]:
    """Return a locate's footage, invert elevation and half 95 % range, in the site's unit.

    Invert depth = reading - height held above ground + height the transmitter rides above invert.
    """
    site, unit = report.site, report.site.unit
    read_m = locate.depth_m or 0.0
    depth_m = read_m - locate.held_above_m + site.transmitter.above_invert_m
    footage_m = transmitter_footage(report, locate)
    ground = at_footage(report, report.stations.ground_m, footage_m)
    return (
        from_metres(footage_m, unit),
        ground - from_metres(depth_m, unit),
        from_metres(TWO_SIDED_95 * sd_depth_m(site, locate), unit),
    )


def event_heights(report: Report) -> list[float]:
    """Return elevations, in the site's unit, a window must show: used locates and utilities."""
    heights = [level for _, level in utility_levels(report)]
    for locate in report.site.locates:
        if locate.use and locate.depth_m is not None:
            _, level, half = locate_invert(report, locate)
            heights += [level - half, level + half]
    return heights


def _paint_locate(axes: Axes, report: Report, locate: Locate, verdict: str) -> None:
    footage_m = transmitter_footage(report, locate)
    ground = at_footage(report, report.stations.ground_m, footage_m)
    at = from_metres(footage_m, report.site.unit)
    if locate.depth_m is None:
        _line(axes, [at], [ground], marker="|", ms=8, mew=1.4, color=INK, ls="none")
        return
    at, level, half = locate_invert(report, locate)
    style = LOCATE_MARKS[verdict]  # type: ignore[index]  # a verdict or set aside
    colour = style.edge
    _line(axes, [at, at], [ground, level], color=QUIET, lw=0.6, ls=(0, (1, 2)))
    ends = [level - half, level + half]
    _line(axes, [at, at], ends, color=colour, lw=1.1, marker="_", ms=7.0, mew=1.1)
    _mark(axes, at, level, style, 7.0, f"locate-{locate.place.row or locate.footage_m:g}")
    inner = INNER_MARKERS.get(style.shape)
    if inner:
        _line(axes, [at], [level], marker=inner, ms=4.5, mew=1.2, color=INK, ls="none", zorder=6)


def paint_bends(axes: Axes, report: Report) -> None:
    """Draw each bend on the invert."""
    for number, bend in enumerate(report.site.bends):
        at = from_metres(bend.footage_m, report.site.unit)
        level = at_footage(report, report.stations.elevation_m, bend.footage_m)
        _mark(axes, at, level, BEND_MARK, 7.5, f"bend-{number}")


def paint_findings(axes: Axes, report: Report, window: Window) -> None:
    """Draw each finding on the invert, and its stretch where it has one; smaller in a crowd."""
    unit = report.site.unit
    crowd = float(np.clip(7.0 * window.width_in / max(len(report.findings), 1), 0.6, 1.0))
    for number, result in enumerate(report.findings, start=1):
        finding = result.finding
        at = from_metres(finding.footage_m, unit)
        level = at_footage(report, report.stations.elevation_m, finding.footage_m)
        if finding.to_m is not None:
            end = at_footage(report, report.stations.elevation_m, finding.to_m)
            _line(
                axes, [at, from_metres(finding.to_m, unit)], [level, end],
                color=INK, alpha=0.25, lw=7.0, solid_capstyle="butt",
            )  # fmt: skip
        key = side_style(result).removeprefix("side ")
        style = SIDE_MARKS.get(key, NO_SIDE_MARK)  # type: ignore[call-overload]
        size = crowd * 6.8 * SEVERITY_SCALE[finding.severity]
        _mark(axes, at, level, style, size, f"finding-{number}")


def _mark(axes: Axes, at: float, level: float, style: MarkStyle, size: float, gid: str) -> None:
    _line(
        axes, [at], [level], marker=MARKERS[style.shape], ms=size, mfc=style.fill, mec=style.edge,
        mew=1.2, ls="none", zorder=5, gid=gid, clip_on=False,
    )  # fmt: skip


def paint_line_names(
    axes: Axes, report: Report, lines: Lines, window: Window, size_pt: float
) -> None:
    """Name ground, crown, invert and band at the right edge, spread so that they do not meet."""
    wanted = [
        ("ground" if report.stations.ground_known else "ground (level)", float(lines.ground[-1])),
        ("crown", float(lines.crown[-1])),
        ("invert, 95 %", float(lines.invert[-1])),
    ]
    step = 1.25 * size_pt / 72.0
    tops = _spread([window.up_in(level) for _, level in wanted], step)
    for (words, _), up in zip(wanted, tops, strict=True):
        axes.text(
            window.left_in + window.width_in + 0.06, up, drawable(words),
            transform=_figure(axes).dpi_scale_trans, ha="left", va="center",
            fontsize=size_pt, color=INK, parse_math=False,
        )  # fmt: skip


def _figure(axes: Axes) -> Figure:
    figure = axes.get_figure(root=True)
    if figure is None:
        raise ValueError("a profile's axes stand in a figure")
    return figure


def _spread(wanted: list[float], step: float) -> list[float]:
    """Push positions (highest first) apart to at least ``step``, keeping their middle."""
    placed: list[float] = []
    for value in wanted:
        placed.append(value if not placed else min(value, placed[-1] - step))
    shift = (sum(wanted) - sum(placed)) / len(wanted)
    return [value + shift for value in placed]
