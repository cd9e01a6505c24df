"""The dig profile: ground, pipe, trench bottom and the depths the rules tell apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from lateral_map.draw.dig.style import CLASS_FILLS
from lateral_map.draw.flags import FONT_FAMILY, drawable
from lateral_map.draw.style import GROUND, INK, OKABE_ITO, QUIET, UTILITY_COLOURS, UTILITY_LETTERS
from lateral_map.draw.svg import figure_svg
from lateral_map.model.dig import DigReview
from lateral_map.model.site import RuleKey
from lateral_map.model.trench import TrenchProfile
from lateral_map.units import format_length, from_metres
from lateral_map.words.numbers import label, unit_word

Floats = NDArray[np.float64]

_LIMITS: Final[tuple[tuple[RuleKey, str], ...]] = (
    ("egress depth", "way out"),
    ("protective system depth", "protective system"),
    ("engineer depth", "engineer"),
)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """Sizes in inches of one width of sheet, and its text in points."""

    width_in: float
    height_in: float
    left_in: float
    right_in: float
    head_in: float
    foot_in: float
    text_pt: float
    narrow: bool


@dataclass(frozen=True, slots=True)
class _Strip:
    """Stretches of footage (m) marked by bars under the profile."""

    name: str
    spans_m: tuple[tuple[float, float], ...]
    colour: str
    hatch: str


_WIDE: Final = _Sheet(13.2, 4.0, 0.88, 1.62, 0.62, 0.64, 8.5, narrow=False)
_NARROW: Final = _Sheet(4.1, 5.0, 0.66, 0.24, 0.86, 1.22, 8.5, narrow=True)
_STRIP_IN: Final = 0.19


def dig_profile(review: DigReview, *, narrow: bool) -> dict[str, Any]:
    """Return the dig profile for a page: its SVG and how footage and height run, in SVG units."""
    sheet = _NARROW if narrow else _WIDE
    figure, axes = _figure(review, sheet)
    box = axes.get_position()
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    across, up = 72.0 * sheet.width_in, 72.0 * sheet.height_in
    return {
        "svg": figure_svg(figure, prefix="dig-narrow" if narrow else "dig-wide"),
        "left": round(box.x0 * across, 4),
        "right": round(box.x1 * across, 4),
        "top": round((1.0 - box.y1) * up, 4),
        "bottom": round((1.0 - box.y0) * up, 4),
        "from": left,
        "to": right,
        "low": low,
        "high": high,
    }


def _figure(review: DigReview, sheet: _Sheet) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(sheet.width_in, sheet.height_in), facecolor="white")
    bottom = sheet.foot_in + len(_strips(review)) * _STRIP_IN
    axes = figure.add_axes(
        (
            sheet.left_in / sheet.width_in,
            bottom / sheet.height_in,
            (sheet.width_in - sheet.left_in - sheet.right_in) / sheet.width_in,
            (sheet.height_in - sheet.head_in - bottom) / sheet.height_in,
        )
    )
    _set_scales(axes, review, sheet)
    lines = _Lines.of(review)
    _paint_reaches(axes, review, lines)
    _paint_limits(axes, review, lines, sheet)
    _paint_pipe(axes, lines)
    _paint_utilities(axes, review, sheet)
    _paint_reach_names(axes, review, sheet)
    _paint_strips(figure, axes, review, sheet)
    _paint_words(figure, axes, review, sheet)
    return figure, axes


@dataclass(frozen=True, slots=True)
class _Lines:
    """Heights in the site's unit, one a station."""

    footage: Floats
    ground: Floats
    crown: Floats
    invert: Floats
    bottom: Floats
    lower: Floats

    @classmethod
    def of(cls, review: DigReview, profile: TrenchProfile | None = None) -> _Lines:
        """Return the lines of the whole run, or of a part of it."""
        part, unit = profile or review.profile, review.report.site.unit
        ground = part.ground_m

        def height(below_m: Floats) -> Floats:
            return np.array([from_metres(float(v), unit) for v in ground - below_m])

        return cls(
            footage=np.array([from_metres(float(v), unit) for v in part.footage_m]),
            ground=height(np.zeros_like(ground)),
            crown=height(part.crown_depth_m),
            invert=height(part.invert_depth_m),
            bottom=height(part.bottom_depth_m),
            lower=height(part.depth_at_bound(1.0)),
        )


def _set_scales(axes: Axes, review: DigReview, sheet: _Sheet) -> None:
    lines = _Lines.of(review)
    low, high = float(lines.lower.min()), float(lines.ground.max())
    room = max(high - low, 1e-3)
    axes.set_xlim(lines.footage[0], max(lines.footage[-1], lines.footage[0] + 1e-3))
    axes.set_ylim(low - 0.08 * room, high + 0.16 * room)
    across = 6 if sheet.narrow else 14
    axes.xaxis.set_major_locator(MaxNLocator(across, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    if not review.report.stations.ground_known:
        axes.yaxis.set_major_formatter(FuncFormatter(_as_depth))
    axes.tick_params(
        labelsize=sheet.text_pt, colors=INK, length=3, width=0.7, labelfontfamily=FONT_FAMILY
    )
    axes.tick_params(axis="x", labelbottom=True, length=3)
    axes.grid(visible=True, color="#e3e6e8", lw=0.6)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set_color(QUIET)
        spine.set_linewidth(0.8)


def _as_depth(value: float, _: int | None = None) -> str:
    return f"{-value + 0.0:g}" if value <= 1e-9 else ""


def _paint_reaches(axes: Axes, review: DigReview, lines: _Lines) -> None:
    """Fill the earth to be dug, darker by the class of depth it reaches."""
    axes.plot(lines.footage, lines.bottom, color=QUIET, lw=1.0, ls=(0, (5, 3)))
    for one in review.reaches:
        begin, end = one.reach.begin.footage_m, one.reach.end.footage_m
        part = _Lines.of(review, _fine(review.profile, begin, end))
        depth = part.ground - part.bottom
        # Each class over the shallower ones before it, so that no seam is left between them.
        for (low, _), fill in zip(_class_edges(review), CLASS_FILLS, strict=False):
            here = depth >= low
            axes.fill_between(
                part.footage, part.bottom, part.ground, where=here, color=fill, lw=0, zorder=1.2
            )
        axes.plot(part.footage, part.bottom, color=INK, lw=2.0, zorder=3, solid_capstyle="butt")
        axes.plot(part.footage, part.lower, color=INK, lw=1.0, ls=(0, (1, 2)), zorder=3)
        for at in (0, -1):
            axes.plot(
                [part.footage[at]] * 2, [part.bottom[at], part.ground[at]], color=INK, lw=1.2,
                zorder=3,
            )  # fmt: skip


def _fine(profile: TrenchProfile, from_m: float, to_m: float) -> TrenchProfile:
    inside = profile.footage_m[(profile.footage_m > from_m) & (profile.footage_m < to_m)]
    return profile.at(np.union1d(np.linspace(from_m, to_m, 121), inside))


def _class_edges(review: DigReview) -> list[tuple[float, float]]:
    unit = review.report.site.unit
    limits = sorted({from_metres(review.rules.value(key), unit) for key, _ in _LIMITS})
    return list(zip([-np.inf, *limits], [*limits, np.inf], strict=True))


def _paint_limits(axes: Axes, review: DigReview, lines: _Lines, sheet: _Sheet) -> None:
    low = axes.get_ylim()[0]
    unit = review.report.site.unit
    for key, words in _LIMITS:
        depth = review.rules.value(key)
        level = lines.ground - from_metres(depth, unit)
        if level.max() < low:
            continue
        axes.plot(lines.footage, level, color=OKABE_ITO["blue"], lw=1.0, ls=(0, (8, 3)), zorder=2)
        if level[-1] >= low and not sheet.narrow:
            axes.annotate(
                _limit_words(depth, words, unit), (lines.footage[-1], level[-1]), xytext=(5, 0),
                textcoords="offset points", ha="left", va="center",
                fontsize=sheet.text_pt - 0.5, color="#004b78", annotation_clip=False,
                parse_math=False, fontfamily=FONT_FAMILY,
            )  # fmt: skip


def _limit_words(depth_m: float, words: str, unit: str) -> str:
    return f"{format_length(depth_m, unit, 2 if unit == 'm' else 0)}: {words}"


def _paint_pipe(axes: Axes, lines: _Lines) -> None:
    axes.fill_between(lines.footage, lines.invert, lines.crown, color="#8ec9b5", lw=0, zorder=3.5)
    for line in (lines.invert, lines.crown):
        axes.plot(lines.footage, line, color=OKABE_ITO["bluish green"], lw=1.3, zorder=3.6)
    axes.plot(lines.footage, lines.ground, color=GROUND, lw=2.4, zorder=4)


def _paint_utilities(axes: Axes, review: DigReview, sheet: _Sheet) -> None:
    unit, profile = review.report.site.unit, review.profile
    low, (left, right) = axes.get_ylim()[0], axes.get_xlim()
    for one in review.conflicts:
        for met in one.crossings:
            at = from_metres(met.footage_m, unit)
            ground = from_metres(float(profile.at(met.footage_m).ground_m[0]), unit)
            near_end = at > right - 0.04 * (right - left)
            colour, letter = UTILITY_COLOURS[one.utility], UTILITY_LETTERS[one.utility]
            if one.depth_m is None:
                axes.plot([at, at], [ground, low], color=INK, lw=3.0, zorder=4.2)
                axes.plot([at, at], [ground, low], color=colour, lw=1.8, ls=(0, (2, 2)), zorder=4.3)
                height, letter = ground, f"{letter}?"
            else:
                height = ground - from_metres(one.depth_m, unit)
            axes.plot(
                [at], [height], marker="D", ms=8, mfc=colour, mec=INK, mew=1.2, zorder=5, ls=""
            )
            axes.annotate(
                letter, (at, height), xytext=(-7 if near_end else 7, 4),
                textcoords="offset points", ha="right" if near_end else "left",
                fontsize=sheet.text_pt, fontweight="bold", color=INK, zorder=6, parse_math=False,
                fontfamily=FONT_FAMILY,
            )  # fmt: skip


def _paint_reach_names(axes: Axes, review: DigReview, sheet: _Sheet) -> None:
    unit = review.report.site.unit
    high = axes.get_ylim()[1]
    for one in review.reaches:
        begin, end = (from_metres(e.footage_m, unit) for e in (one.reach.begin, one.reach.end))
        axes.plot(
            [begin, end], [high, high], color=INK, lw=5, solid_capstyle="butt", clip_on=False,
            zorder=7,
        )  # fmt: skip
        axes.annotate(
            drawable(label(one.reach.name, 14 if sheet.narrow else 24)),
            ((begin + end) / 2, high), xytext=(0, 4), textcoords="offset points", ha="center",
            va="bottom", fontsize=sheet.text_pt, fontweight="bold", color=INK,
            annotation_clip=False, parse_math=False, fontfamily=FONT_FAMILY,
        )  # fmt: skip


def _strips(review: DigReview) -> tuple[_Strip, ...]:
    """Return the bars under the footages that have anything to show."""
    hand = tuple(span for one in review.conflicts for span in one.hand_dig_m)
    strips = (
        _Strip("hand dig", hand, OKABE_ITO["orange"], "///"),
        _Strip("not read", tuple(_unread(review)), OKABE_ITO["vermillion"], "xxx"),
    )
    return tuple(strip for strip in strips if strip.spans_m)


def _paint_strips(figure: Figure, axes: Axes, review: DigReview, sheet: _Sheet) -> None:
    """Draw bars under the footages: where to dig by hand, where no depth was read."""
    unit = review.report.site.unit
    top = axes.get_position().y0 * sheet.height_in - 0.24
    left, right = axes.get_xlim()
    width = sheet.width_in - sheet.left_in - sheet.right_in

    def across(value_m: float) -> float:
        share = (from_metres(value_m, unit) - left) / (right - left)
        return sheet.left_in + float(np.clip(share, 0.0, 1.0)) * width

    for index, strip in enumerate(_strips(review)):
        low = top - (index + 1) * _STRIP_IN
        for begin, end in strip.spans_m:
            figure.add_artist(
                Rectangle(
                    (across(begin), low + 0.03), max(across(end) - across(begin), 0.02),
                    _STRIP_IN - 0.06, transform=figure.dpi_scale_trans, facecolor=strip.colour,
                    alpha=0.55, hatch=strip.hatch, edgecolor=INK, lw=0.6,
                )
            )  # fmt: skip
        figure.text(
            sheet.left_in - 0.07, low + _STRIP_IN / 2, strip.name,
            transform=figure.dpi_scale_trans, ha="right", va="center", fontsize=sheet.text_pt,
            color=INK, parse_math=False, fontfamily=FONT_FAMILY,
        )  # fmt: skip


def _unread(review: DigReview) -> Iterable[tuple[float, float]]:
    """Yield the stretches whose depth nothing near by was read for."""
    begin: float | None = None
    last = 0.0
    for row in review.depths:
        if row.loud and begin is None:
            begin = row.footage_m
        elif not row.loud and begin is not None:
            yield begin, last
            begin = None
        last = row.footage_m
    if begin is not None:
        yield begin, last


def _paint_words(figure: Figure, axes: Axes, review: DigReview, sheet: _Sheet) -> None:
    unit = review.report.site.unit
    known = review.report.stations.ground_known
    word = unit_word(unit)

    def say(x_in: float, y_in: float, words: str, **how: Any) -> None:
        style = {"fontsize": sheet.text_pt, "color": INK, "parse_math": False, **how}
        figure.text(
            x_in, y_in, words, transform=figure.dpi_scale_trans, fontfamily=FONT_FAMILY, **style
        )

    box = axes.get_position()
    middle = (box.y0 + box.y1) / 2 * sheet.height_in
    upright = f"Elevation, {word}" if known else f"Depth, {word}"
    say(0.14, middle, upright, rotation=90, ha="center", va="center")
    scale = _exaggeration(axes)
    level = "" if known else " Ground taken as level."
    head = f"Trench along the run. Vertical scale {scale:.2g} times the horizontal.{level}"
    if sheet.narrow:
        head = f"Trench along the run.\nVertical scale {scale:.2g} times.{level}"
    say(0.06, sheet.height_in - 0.06, head, ha="left", va="top", fontweight="bold")
    say(sheet.left_in - 0.07, box.y0 * sheet.height_in - 0.14, word, ha="right", va="center",
        fontweight="bold")  # fmt: skip
    figure.legend(
        handles=_legend(review, sheet), loc="lower left", ncols=2 if sheet.narrow else 7,
        bbox_to_anchor=(sheet.left_in / sheet.width_in if not sheet.narrow else 0.01, 0.0),
        frameon=False, fontsize=sheet.text_pt - 0.5, handlelength=1.8, columnspacing=1.2,
        borderaxespad=0.2, labelspacing=0.35,
        prop={"family": FONT_FAMILY, "size": sheet.text_pt - 0.5},
    )  # fmt: skip


def _exaggeration(axes: Axes) -> float:
    box = axes.get_window_extent()
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    return float(box.height / (high - low) / (box.width / (right - left)))


def _legend(review: DigReview, sheet: _Sheet) -> list[Line2D | Patch]:
    unit = review.report.site.unit
    entries: list[Line2D | Patch] = [
        Line2D([], [], color=INK, lw=2.0, label="Trench bottom"),
        Line2D([], [], color=INK, lw=1.0, ls=(0, (1, 2)), label="the same, 95 % deeper"),
        Patch(color="#8ec9b5", label="Pipe, outside wall"),
    ]
    present = _classes_present(review)
    for index, ((low, high), fill) in enumerate(
        zip(_class_edges(review), CLASS_FILLS, strict=False)
    ):
        if index in present:
            entries.append(
                Patch(facecolor=fill, edgecolor=QUIET, label=_class_label(low, high, unit))
            )
    return entries + _limit_entries(review, sheet)


def _limit_entries(review: DigReview, sheet: _Sheet) -> list[Line2D | Patch]:
    """Return the rules' depths for a sheet too narrow to write them beside their lines."""
    if not sheet.narrow:
        return []
    unit, deepest = review.report.site.unit, float(review.profile.depth_at_bound(1.0).max())
    return [
        Line2D(
            [], [], color=OKABE_ITO["blue"], lw=1.0, ls=(0, (8, 3)),
            label=_limit_words(review.rules.value(key), words, unit),
        )
        for key, words in _LIMITS
        if review.rules.value(key) <= deepest
    ]  # fmt: skip


def _classes_present(review: DigReview) -> set[int]:
    return {
        index
        for one in review.reaches
        for index, part in enumerate(one.excavation.classes)
        if part.length_m > 0.0
    }


def _class_label(low: float, high: float, unit: str) -> str:
    word = unit_word(unit)
    if low == -np.inf:
        return f"Dug less than {high:.3g} {word} deep"
    if high == np.inf:
        return f"Dug {low:.3g} {word} deep and more"
    return f"Dug {low:.3g} to {high:.3g} {word} deep"
