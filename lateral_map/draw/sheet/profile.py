"""The profile panel: ground, crown, invert and its 95 % band on the plan's own stationing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely import box as shapely_box
from shapely.geometry import Polygon

from lateral_map.draw.along import (
    basis_stretches,
    checks_by_locate,
    interpolated,
    telling_side,
    transmitter_footage,
    utility_meetings,
)
from lateral_map.draw.paint.fonts import shorten, text_width
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box, spread
from lateral_map.draw.paint.marks import draw_mark
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.bends import bend_words
from lateral_map.draw.plan.findings import side_style
from lateral_map.draw.plan.footage import round_step_m
from lateral_map.draw.plan.locates import locate_verdict
from lateral_map.draw.sheet.cuts import Cut, Setting, height_range
from lateral_map.draw.sheet.panels import AXIS_PT, ROW_PT
from lateral_map.draw.style import (
    BASIS_HATCH,
    GROUND,
    INK,
    LINES,
    MARKS,
    OKABE_ITO,
    PAPER,
    QUIET,
    UTILITY_COLOURS,
    UTILITY_LETTERS,
)
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Crossing, Report, ResponsibilityStretch
from lateral_map.units import from_metres, small_unit, to_metres
from lateral_map.words.names import finding_words
from lateral_map.words.numbers import label, length, plus_minus, range_95, unit_word

Floats = NDArray[np.float64]

_FLAG_PT: Final = 6.0
_FLAG_WIDTH_PT: Final = 7.6
_SMALLEST_FLAG_PT: Final = 5.0
_ROW_TEXT_PT: Final = 5.8
_AXIS_TEXT_PT: Final = 6.0
_GRID: Final = Stroke("#c9ced2", 0.25)
_BAND: Final = OKABE_ITO["sky blue"]


@dataclass(frozen=True, slots=True)
class _Flag:
    """An upright label over the profile: where it stands, what it says, the fullest first."""

    footage_m: float
    spellings: tuple[str, ...]
    bold: bool = False


@dataclass(frozen=True, slots=True)
class _Profile:
    """One profile panel being drawn. ``top_m`` is the elevation at the top of the graph."""

    canvas: Canvas
    report: Report
    cut: Cut
    setting: Setting
    top_m: float
    left_pt: float

    def x(self, footage_m: ArrayLike) -> Floats:
        """Return positions across the sheet of footages."""
        along = np.asarray(footage_m, float) - self.cut.from_m
        return np.asarray(self.left_pt + along * self.setting.scale.points_per_metre)

    def y(self, elevation_m: ArrayLike) -> Floats:
        """Return positions down the sheet of elevations."""
        down = self.top_m - np.asarray(elevation_m, float)
        return np.asarray(
            self.setting.panels.graph.top + down * self.setting.upright.points_per_metre
        )

    def at(self, footage_m: float) -> float:
        """Return one footage's position across the sheet."""
        return float(self.x([footage_m])[0])

    @property
    def span(self) -> Box:
        """The part of the graph this sheet's stretch takes up."""
        graph = self.setting.panels.graph
        return Box(self.at(self.cut.from_m), graph.top, self.at(self.cut.to_m), graph.bottom)


def draw_profile(canvas: Canvas, report: Report, cut: Cut, setting: Setting) -> None:
    """Draw one sheet's profile."""
    graph = setting.panels.graph
    width = (cut.to_m - cut.from_m) * setting.scale.points_per_metre
    profile = _Profile(
        canvas.group("profile"),
        report,
        cut,
        setting,
        _top_m(report, cut, setting),
        graph.left + (graph.width - width) / 2.0,
    )
    _grid(profile)
    _band(profile)
    _lines(profile)
    _utilities(profile)
    _flags(profile)
    _marks(profile)
    _rows(profile)
    _match(profile)


def _top_m(report: Report, cut: Cut, setting: Setting) -> float:
    """Return the elevation at the top of the graph, the heights standing in its middle."""
    low, high, _ = height_range(report, cut.from_m, cut.to_m)
    room = setting.panels.graph.height / setting.upright.points_per_metre
    return high + (room - (high - low)) * 0.4


def _level_step(profile: _Profile) -> float:
    """Return a round height between grid lines (m), about a quarter inch or more apart."""
    unit = profile.report.site.unit
    for value in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0):
        if to_metres(value, unit) * profile.setting.upright.points_per_metre >= 14.0:
            return to_metres(value, unit)
    return to_metres(100.0, unit)


def _grid(p: _Profile) -> None:
    graph, span, unit = p.setting.panels.graph, p.span, p.report.site.unit
    step = _level_step(p)
    lowest = p.top_m - graph.height / p.setting.upright.points_per_metre
    for k in range(int(np.ceil(lowest / step)), int(np.floor(p.top_m / step)) + 1):
        y = float(p.y([k * step])[0])
        p.canvas.line([(span.left, y), (span.right, y)], _GRID)
        if graph.top + 3.0 < y < graph.bottom - 3.0:
            words = f"{from_metres(k * step, unit):.4g}"
            p.canvas.text(span.left - 4.0, y + 2.1, words, _AXIS_TEXT_PT, anchor="end")
            p.canvas.text(span.right + 4.0, y + 2.1, words, _AXIS_TEXT_PT)
    for footage in tick_footages(p):
        p.canvas.line([(p.at(footage), graph.top), (p.at(footage), graph.bottom)], _GRID)
    p.canvas.box(span.left, graph.top, span.width, graph.height, edge=Stroke(QUIET, 0.5))
    known = p.report.stations.ground_known
    words = "Elevation" if known else "Below a level ground line"
    p.canvas.text(
        span.left - 24.0, (graph.top + graph.bottom) / 2.0, f"{words}, {unit_word(unit)}",
        _AXIS_TEXT_PT, anchor="middle", turn_deg=-90.0, colour=QUIET,
    )  # fmt: skip


def tick_footages(p: _Profile) -> list[float]:
    """Return the round footages (m) on this sheet."""
    step = round_step_m(0.45 * p.setting.scale.metres_per_inch, p.report.site.unit)
    first = int(np.ceil(p.cut.from_m / step - 1e-9))
    return [k * step for k in range(first, int(np.floor(p.cut.to_m / step + 1e-9)) + 1)]


def _sampled(p: _Profile) -> Floats:
    """Return the stations' footages on this sheet with the sheet's own ends."""
    footage = p.report.stations.footage_m
    inside = footage[(footage > p.cut.from_m) & (footage < p.cut.to_m)]
    return np.concatenate([[p.cut.from_m], inside, [p.cut.to_m]])


def _heights(p: _Profile, footage: Floats, values: Floats) -> Floats:
    return np.interp(footage, p.report.stations.footage_m, values)


def _cover_band(p: _Profile, from_m: float, to_m: float) -> Polygon:
    footage = _sampled(p)
    inside = footage[(footage > from_m) & (footage < to_m)]
    at = np.concatenate([[from_m], inside, [to_m]])
    stations = p.report.stations
    middle = _heights(p, at, stations.elevation_m)
    half = TWO_SIDED_95 * _heights(p, at, stations.depth_sd_m)
    upper = np.stack([p.x(at), p.y(middle + half)], axis=-1)
    lower = np.stack([p.x(at), p.y(middle - half)], axis=-1)
    return Polygon(np.concatenate([upper, lower[::-1]]))


def _band(p: _Profile) -> None:
    """Fill the invert's 95 % band, hatched where it rests on less than a locate."""
    graph = p.setting.panels.graph
    frame = shapely_box(graph.left, graph.top, graph.right, graph.bottom)
    for stretch in basis_stretches(p.report.stations):
        low, high = max(stretch.from_m, p.cut.from_m), min(stretch.to_m, p.cut.to_m)
        if high - low < 1e-6:
            continue
        band = _cover_band(p, low, high).buffer(0).intersection(frame)
        for part in getattr(band, "geoms", [band]):
            if isinstance(part, Polygon) and not part.is_empty:
                ring = np.asarray(part.exterior.coords)[:-1]
                p.canvas.area([ring], _BAND, opacity=0.35)
                p.canvas.lines(hatch_lines(part, BASIS_HATCH[stretch.basis]), Stroke(QUIET, 0.3))


def _pipe_height(report: Report, footage: Floats) -> Floats:
    height = np.zeros_like(footage)
    for pipe in report.pipes:
        inside = (footage >= pipe.from_m) & (footage <= pipe.to_m)
        height[inside] = pipe.size_m or 0.0
    return height


def _lines(p: _Profile) -> None:
    stations = p.report.stations
    at = _sampled(p)
    ground = np.stack([p.x(at), p.y(_heights(p, at, stations.ground_m))], axis=-1)
    dash = () if stations.ground_known else (5.0, 2.0)
    p.canvas.line(ground, Stroke(GROUND, 1.3, dash))
    if _pipe_height(p.report, at).any():
        crown = _heights(p, at, stations.elevation_m) + _pipe_height(p.report, at)
        p.canvas.line(np.stack([p.x(at), p.y(crown)], axis=-1), Stroke(INK, 0.6, (4.0, 1.6)))
    for stretch in basis_stretches(stations):
        low, high = max(stretch.from_m, p.cut.from_m), min(stretch.to_m, p.cut.to_m)
        if high - low > 1e-6:
            inside = at[(at > low) & (at < high)]
            here = np.concatenate([[low], inside, [high]])
            line = np.stack([p.x(here), p.y(_heights(p, here, stations.elevation_m))], axis=-1)
            p.canvas.line(line, Stroke.of(LINES[f"basis {stretch.basis}"]))


def _utilities(p: _Profile) -> None:
    """Mark where mapped utilities pass; one of unknown depth stands at the ground with a ?."""
    stations = p.report.stations
    for meeting in utility_meetings(p.report):
        if not p.cut.holds(meeting.footage_m):
            continue
        utility = meeting.utility
        ground = interpolated(stations, stations.ground_m, meeting.footage_m)
        x = p.at(meeting.footage_m)
        y = float(p.y([ground - (utility.depth_m or 0.0)])[0])
        graph = p.setting.panels.graph
        y = float(np.clip(y, graph.top + 5.0, graph.bottom - 5.0))
        letter = UTILITY_LETTERS[utility.utility] + ("" if utility.depth_m is not None else "?")
        p.canvas.circle(x, y, 5.2, fill=UTILITY_COLOURS[utility.utility], edge=Stroke(INK, 0.6))
        p.canvas.circle(x, y, 4.1, fill=PAPER)
        p.canvas.text(x, y + 1.7, letter, 4.6, anchor="middle", bold=True)


def _flags(p: _Profile) -> None:
    """Set the upright labels over the graph, spread so that none touches its neighbour."""
    flags = [flag for flag in _all_flags(p) if p.cut.holds(flag.footage_m)]
    if not flags:
        return
    flags.sort(key=lambda flag: flag.footage_m)
    band, graph = p.setting.panels.flags, p.setting.panels.graph
    width = min(_FLAG_WIDTH_PT, band.width / len(flags))
    size = (_FLAG_PT if band.height > 80.0 else 5.6) * width / _FLAG_WIDTH_PT
    places = spread(
        [p.at(flag.footage_m) for flag in flags], [width] * len(flags), band.left, band.right
    )
    for flag, x in zip(flags, places, strict=True):
        foot = p.at(flag.footage_m)
        stations = p.report.stations
        ground = float(p.y([interpolated(stations, stations.ground_m, flag.footage_m)])[0])
        elbow = [(x, band.bottom - 12.0), (x, band.bottom - 9.0), (foot, band.bottom)]
        p.canvas.line([*elbow, (foot, max(ground, graph.top))], Stroke(QUIET, 0.3))
        words, set_pt = flag_text(flag.spellings, band.height - 14.0, size, bold=flag.bold)
        p.canvas.text(
            float(x) + 0.36 * set_pt, band.bottom - 13.5, words, set_pt,
            bold=flag.bold, turn_deg=-90.0,
        )  # fmt: skip


def flag_text(
    spellings: Sequence[str], room_pt: float, size_pt: float, *, bold: bool
) -> tuple[str, float]:
    """Return the fullest of ``spellings`` that fits in ``room_pt``, and its size in points.

    Smaller letters come before fewer words, and only what fits in no other way is cut.
    """
    for words in spellings:
        fitting = size_pt * room_pt / max(text_width(words, size_pt, bold=bold), room_pt)
        if fitting >= min(size_pt, _SMALLEST_FLAG_PT):
            return words, fitting
    return shorten(spellings[-1], room_pt, size_pt, bold=bold), size_pt


def _all_flags(p: _Profile) -> list[_Flag]:
    report = p.report
    flags = [_crossing_flag(report, crossing) for crossing in report.crossings]
    flags += [_Flag(bend.footage_m, (f"bend {bend_words(bend)}",)) for bend in report.site.bends]
    flags += [
        _Flag(transmitter_footage(report, locate), (f"locate {label(locate.mark, 12)}",))
        for locate in report.site.locates
        if locate.use
    ]
    flags += [
        _Flag(
            result.finding.footage_m,
            (f"#{number} {finding_words(result)}", f"#{number} {label(result.finding.finding)}"),
            _is_past(report, number),
        )
        for number, result in enumerate(report.findings, start=1)
    ]
    return flags


def _crossing_flag(report: Report, crossing: Crossing) -> _Flag:
    line, unit = label(crossing.line), report.site.unit
    range_words = plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)
    spellings = (f"{line} {range_words}", f"{line} {length(crossing.footage_m, unit)}", line)
    return _Flag(crossing.footage_m, spellings, crossing.decides)


def _is_past(report: Report, number: int) -> bool:
    side = telling_side(report, report.findings[number - 1])
    return side is not None and side.verdict == "past"


def _marks(p: _Profile) -> None:
    """Stand locates at the depth they read and findings on the pipe."""
    report, stations = p.report, p.report.stations
    checks = checks_by_locate(report)
    graph = p.setting.panels.graph
    for locate in report.site.locates:
        footage = transmitter_footage(report, locate)
        if locate.depth_m is None or not p.cut.holds(footage):
            continue
        ground = interpolated(stations, stations.ground_m, footage)
        read = locate.depth_m - locate.held_above_m + report.site.transmitter.above_invert_m
        y = float(np.clip(p.y([ground - read])[0], graph.top + 4.0, graph.bottom - 4.0))
        verdict = locate_verdict(locate, checks.get(locate.mark, ()))
        draw_mark(p.canvas, p.at(footage), y, MARKS[f"locate {verdict}"], scale=0.75)
    for result in report.findings:
        footage = result.finding.footage_m
        if p.cut.holds(footage):
            y = float(p.y([interpolated(stations, stations.elevation_m, footage)])[0])
            draw_mark(p.canvas, p.at(footage), y, MARKS[side_style(result)], scale=0.6)


def _rows(p: _Profile) -> None:
    """Write footage, depth, pipe and who answers under the graph."""
    rows, unit = p.setting.panels.rows, p.report.site.unit
    span, stations = p.span, p.report.stations
    tops = [rows.top + k * ROW_PT for k in range(5)]
    names = (f"Footage, {unit_word(unit)}", f"Depth, {unit_word(unit)}", "95 %", "Pipe", "Answers")
    for top, name in zip(tops, names, strict=True):
        p.canvas.line([(span.left, top), (span.right, top)], Stroke(QUIET, 0.3))
        words = shorten(name, AXIS_PT + 2.0, 5.0)
        p.canvas.text(span.left - 3.0, top + 7.6, words, 5.0, anchor="end", colour=QUIET)
    for footage in tick_footages(p):
        figures = (
            f"{from_metres(footage, unit):g}",
            length(interpolated(stations, stations.depth_m, footage), unit).split(" ")[0],
            range_95(interpolated(stations, stations.depth_sd_m, footage), unit).rsplit(" ", 1)[0],
        )
        half = max(text_width(words, _ROW_TEXT_PT) for words in figures) / 2.0
        x = float(np.clip(p.at(footage), span.left + half, span.right - half))
        for top, words in zip(tops, figures, strict=False):
            p.canvas.text(x, top + 7.8, words, _ROW_TEXT_PT, anchor="middle")
    _bar(
        p,
        tops[3],
        [(s.from_m, s.to_m, _pipe_words(p, s.material, s.size_m)) for s in p.report.pipes],
    )
    _bar(p, tops[4], answers_bar(p.report.responsibility))


def answers_bar(stretches: Sequence[ResponsibilityStretch]) -> list[tuple[float, float, str]]:
    """Return (from, to, words) of who answers, footages in m.

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
            bar.append((begin, end, label(stretch.party)))
        done = end
    return bar


def _pipe_words(p: _Profile, material: str, size_m: float | None) -> str:
    if not size_m:
        return material
    unit = p.report.site.unit
    small = small_unit(unit)
    return f"{from_metres(size_m, small):.3g} {'mm' if unit == 'm' else 'in'} {material}"


def _bar(p: _Profile, top: float, stretches: list[tuple[float, float, str]]) -> None:
    """Write stretches along a row, each in its own length."""
    for from_m, to_m, words in stretches:
        low, high = max(from_m, p.cut.from_m), min(to_m, p.cut.to_m)
        if high <= low:
            continue
        left, right = p.at(low), p.at(high)
        p.canvas.box(left, top, right - left, ROW_PT, edge=Stroke(QUIET, 0.4))
        shown = shorten(words, right - left - 3.0, _ROW_TEXT_PT)
        if shown != "…":
            p.canvas.text((left + right) / 2.0, top + 7.8, shown, _ROW_TEXT_PT, anchor="middle")


def _match(p: _Profile) -> None:
    graph, band = p.setting.panels.graph, p.setting.panels.flags
    cut, unit = p.cut, p.report.site.unit
    ends = [] if cut.is_first else [(cut.from_m, cut.number - 1, "start")]
    ends += [] if cut.is_last else [(cut.to_m, cut.number + 1, "end")]
    for footage, neighbour, anchor in ends:
        x = p.at(footage)
        p.canvas.line([(x, graph.top), (x, graph.bottom)], Stroke(INK, 1.3, (10.0, 3.0, 2.0, 3.0)))
        words = f"MATCH LINE {length(footage, unit)}, SEE SHEET {neighbour}"
        beside = x - 33.0 if anchor == "start" else x + 38.0
        middle = (graph.top + graph.bottom) / 2.0
        if text_width(words, 5.4, bold=True) < band.height + graph.height:
            p.canvas.text(beside, middle, words, 5.4, anchor="middle", bold=True, turn_deg=-90.0)
