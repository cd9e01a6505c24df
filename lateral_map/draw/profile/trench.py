"""The dig review's profile: ground, pipe, what is dug, and the depths the rules tell apart."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import text_width, wrap
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.labels import Box
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.profile.frame import Curves, Frame, exaggeration_words, heights_framed
from lateral_map.draw.profile.painter import for_page
from lateral_map.draw.profile.parts import (
    BAND_EDGE,
    BAND_FILL,
    CAP_PT,
    CROWN_EDGE,
    TEXT_PT,
    name_at_right,
    paint_axes,
    paint_utilities,
)
from lateral_map.draw.profile.rows import (
    ROW_PT,
    UNKNOWN_DEPTH,
    Entry,
    Patch,
    legend_places,
    legend_pt,
    paint_footages,
    paint_legend,
)
from lateral_map.draw.style import (
    CLASS_FILLS,
    GROUND,
    INK,
    OKABE_ITO,
    PAPER,
    QUIET,
    Hatch,
    MarkStyle,
)
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import DigReview
from lateral_map.model.site import RuleKey
from lateral_map.units import format_length, from_metres
from lateral_map.words.names import LEVEL_GROUND_WORDS
from lateral_map.words.numbers import label, unit_word

_LIMITS: Final[tuple[tuple[RuleKey, str], ...]] = (
    ("egress depth", "way out"),
    ("protective system depth", "protective system"),
    ("engineer depth", "engineer"),
)
BOTTOM: Final = Stroke(INK, 1.5)
DEEPER: Final = Stroke(INK, 0.8, (0.8, 1.6))
LIMIT: Final = Stroke(OKABE_ITO["blue"], 0.8, (6.0, 2.4))
PIPE_FILL: Final = "#8ec9b5"
_PIPE_EDGE: Final = Stroke(OKABE_ITO["bluish green"], 1.0)
_LIMIT_INK: Final = "#004b78"
_LINE_PT: Final = 12.0


@dataclass(frozen=True, slots=True)
class _Size:
    """One width of the drawing in points, and how high its graph is."""

    width_pt: float
    left_pt: float
    right_pt: float
    graph_pt: float
    narrow: bool


_WIDE: Final = _Size(950.0, 63.0, 130.0, 176.0, narrow=False)
_NARROW: Final = _Size(288.0, 54.0, 20.0, 190.0, narrow=True)


def dig_profile(review: DigReview, *, narrow: bool) -> dict[str, Any]:
    """Return the dig profile for a page: its SVG and how footage and height run, in SVG units."""
    canvas, frame, _ = _paint(review, _NARROW if narrow else _WIDE)
    return for_page(canvas, frame, review.report.site.unit)


def paint_dig_profile(
    review: DigReview, width_pt: float, graph_pt: float
) -> tuple[Canvas, Frame, float]:
    """Return the dig profile as wide as a paper, its graph so high, and how high it all is."""
    return _paint(review, _Size(width_pt, 63.0, 130.0, graph_pt, narrow=False), dodge=True)


def _paint(review: DigReview, size: _Size, *, dodge: bool = False) -> tuple[Canvas, Frame, float]:
    report, profile = review.report, review.profile
    first, last = float(profile.footage_m[0]), float(profile.footage_m[-1])
    deepest = float((profile.ground_m - profile.depth_at_bound(1.0)).min())
    box = Box(size.left_pt, 0.0, size.width_pt - size.right_pt, size.graph_pt)
    low, high = heights_framed(
        deepest, float(profile.ground_m.max()), last - first, (box.width, box.height)
    )
    frame = Frame(box, first, last, low, high)
    notes = f"Trench along the run. {exaggeration_words(frame.exaggeration)}"
    if not report.stations.ground_known:
        notes += f" {LEVEL_GROUND_WORDS}"
    head = wrap(notes, size.width_pt - 12.0, TEXT_PT, bold=True)
    top = 5.0 + _LINE_PT * len(head) + 17.0
    frame = replace(frame, box=replace(box, top=top, bottom=top + size.graph_pt))
    marked = (
        _Bar("hand dig", review.hand_dig_m(), OKABE_ITO["orange"], "rising"),
        _Bar("not read", review.unread_m, OKABE_ITO["vermillion"], "crossed"),
    )
    bars, keys = [bar for bar in marked if bar.spans_m], _keys(review, size)
    rows_top = frame.box.bottom + 3.0
    key_top = rows_top + ROW_PT * (1 + len(bars)) + 5.0
    places = legend_places(keys, frame.box.left, size.width_pt - 4.0)
    total = key_top + legend_pt(places) + 5.0

    canvas = Canvas.sheet(size.width_pt, total, f"Dig profile of {label(report.site.name)}")
    canvas.box(0.0, 0.0, size.width_pt, total, fill=PAPER)
    for k, line in enumerate(head):
        canvas.text(6.0, 13.0 + k * _LINE_PT, line, TEXT_PT, bold=True)
    paint_axes(canvas, report, frame)
    _paint_reaches(canvas, review, frame)
    _paint_limits(canvas, review, frame, names=not size.narrow)
    _paint_pipe(canvas, review, frame)
    curves = Curves.of(report, first, last)
    unit = report.site.unit
    paint_utilities(canvas, frame, curves, review.conflicts, [], unit, dodge=dodge)
    group, done = canvas.group("dug-names"), frame.box.left - 12.0
    for one in sorted(review.reaches, key=lambda one: one.reach.begin.footage_m):
        left, right = (frame.x(end.footage_m) for end in (one.reach.begin, one.reach.end))
        group.box(left, top - 2.0, right - left, 4.0, fill=INK)
        words = label(one.reach.name, 24)
        half = text_width(words, TEXT_PT, bold=True) / 2.0
        middle = min(max((left + right) / 2.0, done + 6.0 + half), frame.box.right)
        group.text(middle, top - 5.0, words, TEXT_PT, anchor="middle", bold=True)
        done = middle + half
    paint_footages(canvas, report, frame, rows_top)
    for k, bar in enumerate(bars):
        _paint_bar(canvas, bar, frame, rows_top + (k + 1) * ROW_PT)
    paint_legend(canvas, keys, places, key_top)
    return canvas, frame, total


def _paint_pipe(canvas: Canvas, review: DigReview, frame: Frame) -> None:
    """Draw the pipe by its outside wall within the 95 % of crown and invert, and the ground.

    It is dashed where nothing was located.
    """
    pipe, profile = canvas.group("pipe"), review.profile
    half = TWO_SIDED_95 * profile.sd_depth_m
    for depth_m, edge, opacity in (
        (profile.crown_depth_m, CROWN_EDGE, 0.16),
        (profile.invert_depth_m, BAND_EDGE, 0.33),
    ):
        level = profile.ground_m - depth_m
        above = frame.points(profile.footage_m, np.minimum(level + half, profile.ground_m))
        below = frame.points(profile.footage_m, level - half)
        pipe.area([np.concatenate([above, below[::-1]])], BAND_FILL, opacity=opacity)
        pipe.lines([above, below], edge)
    for stretch in review.report.stations.basis_stretches():
        part = review.profile.between(stretch.from_m, stretch.to_m)
        crown_m = part.ground_m - part.crown_depth_m
        crown = frame.points(part.footage_m, crown_m)
        foot = frame.points(part.footage_m, crown_m - part.outside_diameter_m)
        pipe.area([np.concatenate([crown, foot[::-1]])], PIPE_FILL)
        dash = () if stretch.basis == "located" else (4.0, 2.0)
        pipe.lines([crown, foot], replace(_PIPE_EDGE, dash_pt=dash))
    ground = frame.points(review.profile.footage_m, review.profile.ground_m)
    known = review.report.stations.ground_known
    canvas.group("ground").line(ground, Stroke(GROUND, 1.8, () if known else (5.0, 2.5)))


def _paint_reaches(canvas: Canvas, review: DigReview, frame: Frame) -> None:
    """Fill the earth to be dug, darker by the class of depth it reaches."""
    profile = review.profile
    bottom = profile.ground_m - profile.bottom_depth_m
    undug = frame.points(profile.footage_m, bottom)
    canvas.group("undug").line(undug, Stroke(QUIET, 0.8, (3.5, 2.0)))
    for one in review.reaches:
        group = canvas.group("dug", name=one.reach.name)
        part = profile.between(one.reach.begin.footage_m, one.reach.end.footage_m)
        at, depth = part.footage_m, part.bottom_depth_m
        # With stations where the depth passes from one class to the next.
        passes = []
        for edge in _class_edges_m(review):
            for k in np.flatnonzero((depth[:-1] < edge) != (depth[1:] < edge)):
                share = (edge - depth[k]) / (depth[k + 1] - depth[k])
                passes.append(at[k] + share * (at[k + 1] - at[k]))
        part = part.at(np.union1d(at, passes))
        at, depth = part.footage_m, part.bottom_depth_m
        middles = (depth[:-1] + depth[1:]) / 2.0
        classes = np.searchsorted(_class_edges_m(review), middles, side="right")
        begins = [0, *(np.flatnonzero(np.diff(classes)) + 1), len(classes)]
        for first, last in pairwise(begins):
            piece = part.at(at[first : last + 1])
            ground = frame.points(piece.footage_m, piece.ground_m)
            foot = frame.points(piece.footage_m, piece.ground_m - piece.bottom_depth_m)
            group.area([np.concatenate([ground, foot[::-1]])], CLASS_FILLS[int(classes[first])])
        foot = frame.points(part.footage_m, part.ground_m - part.bottom_depth_m)
        ground = frame.points(part.footage_m, part.ground_m)
        group.line(foot, BOTTOM)
        deeper = part.ground_m - part.depth_at_bound(1.0)
        group.line(frame.points(part.footage_m, deeper), DEEPER)
        group.lines([[foot[k], ground[k]] for k in (0, -1)], Stroke(INK, 0.9))


def _class_edges_m(review: DigReview) -> list[float]:
    return sorted({review.rules.value(key) for key, _ in _LIMITS})


def _paint_limits(canvas: Canvas, review: DigReview, frame: Frame, *, names: bool) -> None:
    """Draw the rules' depths below the ground, and name them at the right edge."""
    profile, unit = review.profile, review.report.site.unit
    group, wanted = canvas.group("limits"), []
    for key, words in _LIMITS:
        depth = review.rules.value(key)
        level = profile.ground_m - depth
        shown = level >= frame.low_m
        if shown.any():
            group.line(frame.points(profile.footage_m[shown], level[shown]), LIMIT)
        if shown[-1]:
            wanted.append((frame.y(float(level[-1])), _limit_words(depth, words, unit)))
    if names:
        heights = [y for y, _ in wanted]
        name_at_right(group, frame.box, heights, [(w, _LIMIT_INK) for _, w in wanted], 5.0)


def _limit_words(depth_m: float, words: str, unit: str) -> str:
    return f"{format_length(depth_m, unit, 2 if unit == 'm' else 0)}: {words}"


@dataclass(frozen=True, slots=True)
class _Bar:
    """Stretches of footage (m) marked under the profile."""

    name: str
    spans_m: tuple[tuple[float, float], ...]
    colour: str
    hatch: Hatch


def _paint_bar(canvas: Canvas, bar: _Bar, frame: Frame, top: float) -> None:
    group = canvas.group("marked", of=bar.name)
    y = top + ROW_PT / 2.0 + CAP_PT
    group.text(frame.box.left - 5.0, y, bar.name, TEXT_PT, anchor="end")
    for begin, end in bar.spans_m:
        low, high = (float(np.clip(each, frame.from_m, frame.to_m)) for each in (begin, end))
        left, right = frame.x(low), max(frame.x(high), frame.x(low) + 1.5)
        box = Box(left, top + 2.0, right, top + ROW_PT - 2.0)
        group.area([box.ring], bar.colour, opacity=0.5, edge=Stroke(INK, 0.4))
        group.lines(hatch_lines(shapely_box(*box.row), bar.hatch), Stroke(INK, 0.3))


def _keys(review: DigReview, size: _Size) -> list[Entry]:
    """Return the legend's swatches and words."""
    unit = review.report.site.unit
    keys: list[Entry] = [
        (BOTTOM, "Trench bottom"),
        (DEEPER, "the same, 95 % deeper"),
        (Patch(PIPE_FILL, _PIPE_EDGE), "Pipe, outside wall"),
        (Patch(BAND_FILL, CROWN_EDGE, 0.16), "95 % of its crown"),
        (Patch(BAND_FILL, BAND_EDGE, 0.33), "95 % of its invert"),
    ]
    present = {
        index
        for one in review.reaches
        for index, part in enumerate(one.excavation.classes)
        if part.length_m > 0.0
    }
    edges = [f"{from_metres(edge, unit):.3g}" for edge in _class_edges_m(review)]
    classes = [f"less than {edges[0]} {unit_word(unit)} deep"]
    classes += [f"{low} to {high} {unit_word(unit)} deep" for low, high in pairwise(edges)]
    classes.append(f"{edges[-1]} {unit_word(unit)} deep and more")
    keys += [
        (Patch(CLASS_FILLS[index], Stroke(QUIET, 0.5)), f"Dug {classes[index]}")
        for index in sorted(present)
    ]
    if any(one.depth_known and (one.crossings or one.in_trench) for one in review.conflicts):
        keys.append((MarkStyle("disc", PAPER), "utility at its mapped depth, ± 95 %"))
    if any(not one.depth_known for one in review.conflicts):
        keys.append(UNKNOWN_DEPTH)
    if size.narrow:
        deepest = float(review.profile.depth_at_bound(1.0).max())
        limits = [(review.rules.value(key), words) for key, words in _LIMITS]
        keys += [
            (LIMIT, _limit_words(depth, words, unit)) for depth, words in limits if depth <= deepest
        ]
    return keys
