"""The trench in section where a reach is deepest: shored and sloped, to one scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from lateral_map.draw.dig.style import CLASS_FILLS, SHORED_AREA, SLOPED_AREA
from lateral_map.draw.flags import FONT_FAMILY
from lateral_map.draw.style import GROUND, INK, OKABE_ITO, QUIET
from lateral_map.draw.svg import figure_svg
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import DigReview, ReachReview
from lateral_map.model.trench import TrenchProfile
from lateral_map.units import format_length, format_small, from_metres

_TEXT_PT: Final = 8.5
_WIDE_IN: Final = 12.4
_NARROW_IN: Final = 4.1
_EDGE_IN: Final = 0.08
_HEAD_IN: Final = 0.34
_FOOT_IN: Final = 0.30
_GAP_IN: Final = 0.35
# Room for the depth's figure to the left of its arrow.
_WORDS_IN: Final = 0.62
_SPOIL_SHARE: Final = 0.9


@dataclass(frozen=True, slots=True)
class _Trench:
    """The section where the reach is deepest, lengths in the site's unit, 0 at its middle."""

    unit: str
    soil: str
    slope: float
    depth: float
    spread: float
    width: float
    outside: float
    bedding: float
    set_back: float
    ladder: float | None
    influence: float

    @property
    def top(self) -> float:
        """Width at the top of sloped walls."""
        return self.width + 2.0 * self.slope * self.depth

    @property
    def spoil(self) -> float:
        """Width of the spoil heap as drawn."""
        return _SPOIL_SHARE * self.depth


def section_svg(review: DigReview, one: ReachReview, *, narrow: bool, prefix: str) -> str:
    """Return a reach's section as SVG: side by side, or one under the other where narrow."""
    trench = _deepest(review, one)
    panels = (_Panel(trench, sloped=False), _Panel(trench, sloped=True))
    figure = _stacked(panels) if narrow else _abreast(panels)
    return figure_svg(figure, prefix=prefix)


def _deepest(review: DigReview, one: ReachReview) -> _Trench:
    unit, rules = review.report.site.unit, review.rules
    stretch = review.profile.between(one.reach.begin.footage_m, one.reach.end.footage_m)
    index = int(np.argmax(stretch.bottom_depth_m))

    def at(values_m: Any) -> float:
        return from_metres(float(values_m[index]), unit)

    ladder = from_metres(rules.value("ladder projection"), unit)
    return _Trench(
        unit=unit,
        soil=rules.soil,
        slope=rules.slope,
        depth=at(stretch.bottom_depth_m),
        spread=from_metres(TWO_SIDED_95 * float(stretch.sd_depth_m[index]), unit),
        width=at(stretch.width_m),
        outside=at(stretch.outside_diameter_m),
        bedding=_bedding(stretch, index, unit),
        set_back=from_metres(rules.value("spoil set-back"), unit),
        ladder=ladder if one.excavation.ways_out else None,
        influence=max(rules.value("influence slope"), rules.slope),
    )


def _bedding(stretch: TrenchProfile, index: int, unit: str) -> float:
    under = stretch.crown_depth_m + stretch.outside_diameter_m
    return from_metres(float((stretch.bottom_depth_m - under)[index]), unit)


@dataclass(frozen=True, slots=True)
class _Panel:
    """One of the two sections: how far its drawing reaches from the middle of the ground line."""

    trench: _Trench
    sloped: bool

    @property
    def top(self) -> float:
        """Half its width at the ground."""
        return (self.trench.top if self.sloped else self.trench.width) / 2.0

    @property
    def left(self) -> float:
        """How far it reaches to the left, its depth's arrow included."""
        return self.top + 1.3 * _foot(self.trench.unit)

    @property
    def right(self) -> float:
        """How far it reaches to the right, to the far foot of its spoil."""
        reach = self.top + self.trench.set_back + self.trench.spoil
        return reach + 0.3 * _foot(self.trench.unit)

    @property
    def above(self) -> float:
        """How far it reaches above the ground."""
        return max(self.trench.spoil * 0.62, self.trench.ladder or 0.0)


def _foot(unit: str) -> float:
    return from_metres(0.3048, unit)


def _abreast(panels: tuple[_Panel, _Panel]) -> Figure:
    """Draw the two side by side."""
    words_in = 2 * (_WORDS_IN + _EDGE_IN) + _GAP_IN
    across = sum(panel.left + panel.right for panel in panels)
    deep = panels[0].trench.depth
    above = max(panel.above for panel in panels)
    scale = min((_WIDE_IN - words_in) / across, 2.6 / (above + deep))
    figure, axes = _sheet(_WIDE_IN, scale, above + _HEAD_IN / scale, deep + _FOOT_IN / scale)
    spare_in = _WIDE_IN - words_in - across * scale
    begin_in = spare_in / 2.0 + _EDGE_IN
    for panel in panels:
        begin_in += _WORDS_IN
        _paint(axes, panel, begin_in / scale + panel.left)
        begin_in += (panel.left + panel.right) * scale + _GAP_IN
    return figure


def _stacked(panels: tuple[_Panel, _Panel]) -> Figure:
    """Draw one under the other, for a telephone."""
    across = max(panel.left + panel.right for panel in panels)
    scale = (_NARROW_IN - _WORDS_IN - 2 * _EDGE_IN) / across
    deep = panels[0].trench.depth
    above = max(panel.above for panel in panels)
    step = above + deep + (_HEAD_IN + _FOOT_IN) / scale
    figure, axes = _sheet(
        _NARROW_IN, scale, above + _HEAD_IN / scale, step + deep + _FOOT_IN / scale
    )
    for index, panel in enumerate(panels):
        spare = across - panel.left - panel.right
        middle = (_EDGE_IN + _WORDS_IN) / scale + spare / 2.0 + panel.left
        _paint(axes, panel, middle, -index * step)
    return figure


def _sheet(width_in: float, scale: float, above: float, below: float) -> tuple[Figure, Axes]:
    """Return a figure whose whole is one plotting window, ``scale`` inches to the unit."""
    figure = Figure(figsize=(width_in, (above + below) * scale), facecolor="white")
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0.0, width_in / scale)
    axes.set_ylim(-below, above)
    axes.axis("off")
    return figure, axes


def _paint(axes: Axes, panel: _Panel, middle: float, level: float = 0.0) -> None:
    trench, half, top = panel.trench, panel.trench.width / 2.0, panel.top
    style = SLOPED_AREA if panel.sloped else SHORED_AREA
    corners = [(-top, 0.0), (-half, -trench.depth), (half, -trench.depth), (top, 0.0)]
    axes.add_patch(
        Polygon(
            [(middle + x, level + y) for x, y in corners],
            closed=True, facecolor=CLASS_FILLS[1], edgecolor="none", zorder=1,
        )
    )  # fmt: skip
    _paint_ground(axes, panel, middle, level, top)
    wall = style.edge.colour if style.edge else INK
    for sign in (-1.0, 1.0):
        axes.plot(
            [middle + sign * top, middle + sign * half], [level, level - trench.depth],
            color=wall if panel.sloped else INK, lw=2.0 if panel.sloped else 4.0, zorder=4,
            solid_capstyle="butt",
        )  # fmt: skip
    axes.plot(
        [middle - half, middle + half], [level - trench.depth] * 2, color=INK, lw=2.0, zorder=4
    )
    _paint_pipe(axes, trench, middle, level)
    _paint_spoil(axes, trench, middle + top, level)
    _paint_ladder(axes, trench, middle, level)
    _paint_figures(axes, panel, middle, level, top)


def _paint_ground(axes: Axes, panel: _Panel, middle: float, level: float, top: float) -> None:
    for begin, end in ((-panel.left, -top), (top, panel.right)):
        axes.plot([middle + begin, middle + end], [level, level], color=GROUND, lw=2.4, zorder=4)
    trench = panel.trench
    if not panel.sloped:
        reach = trench.influence * trench.depth
        # On one side only: on the other it would run through the depth's figure.
        foot = middle + trench.width / 2.0
        axes.plot(
            [foot, foot + reach], [level - trench.depth, level], color=QUIET, lw=1.0,
            ls=(0, (4, 3)), zorder=2,
        )  # fmt: skip


def _paint_pipe(axes: Axes, trench: _Trench, middle: float, level: float) -> None:
    bed = Rectangle(
        (middle - trench.width / 2.0, level - trench.depth), trench.width, trench.bedding,
        facecolor="#e9e4d8", edgecolor=QUIET, hatch="..", lw=0.5, zorder=2,
    )  # fmt: skip
    axes.add_patch(bed)
    radius = trench.outside / 2.0
    centre = (middle, level - trench.depth + trench.bedding + radius)
    axes.add_patch(
        Circle(
            centre, radius, facecolor="#8ec9b5", edgecolor=OKABE_ITO["bluish green"], lw=1.8,
            zorder=5,
        )
    )  # fmt: skip


def _paint_spoil(axes: Axes, trench: _Trench, edge: float, level: float) -> None:
    foot = edge + trench.set_back
    heap = [(foot, 0.0), (foot + trench.spoil / 2.0, 0.6 * trench.spoil), (foot + trench.spoil, 0)]
    axes.add_patch(
        Polygon(
            [(x, level + y) for x, y in heap], closed=True, facecolor="#c9a26b",
            edgecolor="#6b4f2a", lw=1.0, zorder=3,
        )
    )  # fmt: skip
    _measure(axes, (edge, level), (foot, level), format_size(trench, trench.set_back), below=True)


def _paint_ladder(axes: Axes, trench: _Trench, middle: float, level: float) -> None:
    if trench.ladder is None:
        return
    half = trench.width / 2.0
    foot, head = (middle - 0.55 * half, -trench.depth), (middle - 0.95 * half, trench.ladder)
    gap = 0.3 * half
    for shift in (0.0, gap):
        axes.plot(
            [foot[0] + shift, head[0] + shift], [level + foot[1], level + head[1]],
            color=OKABE_ITO["vermillion"], lw=1.3, zorder=4.5,
        )  # fmt: skip
    for share in np.linspace(0.06, 0.97, 12):
        x = foot[0] + share * (head[0] - foot[0])
        y = level + foot[1] + share * (head[1] - foot[1])
        axes.plot([x, x + gap], [y, y], color=OKABE_ITO["vermillion"], lw=0.9, zorder=4.5)


def format_size(trench: _Trench, value: float) -> str:
    """Return a length given in the site's unit as text."""
    metres = value * from_metres(1.0, "m") / from_metres(1.0, trench.unit)
    return format_length(metres, trench.unit, 2 if trench.unit == "m" else 1)


def _paint_figures(axes: Axes, panel: _Panel, middle: float, level: float, top: float) -> None:
    trench = panel.trench
    foot = _foot(trench.unit)
    metres = trench.width / from_metres(1.0, trench.unit)
    if panel.sloped:
        title = f"Sloped for soil {trench.soil}, {trench.slope:g} across to 1 up"
    else:
        title = "Vertical walls, shored or shielded"
    _say(
        axes, (middle - top, level + panel.above), title, fontweight="bold", va="bottom",
        ha="left", xytext=(-24, 5),
    )  # fmt: skip
    left = middle - top - 0.9 * foot
    axes.annotate(
        "", (left, level), (left, level - trench.depth),
        arrowprops={"arrowstyle": "<->", "color": INK, "lw": 0.9, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    deep = f"{format_size(trench, trench.depth)}\n± {format_size(trench, trench.spread)}"
    _say(axes, (left, level - trench.depth / 2.0), deep, ha="right", xytext=(-4, 0))
    _say(
        axes, (middle, level - trench.depth), format_small(metres, trench.unit), va="top",
        xytext=(0, -3),
    )  # fmt: skip
    if panel.sloped:
        _measure(
            axes, (middle - top, level), (middle + top, level), format_size(trench, 2.0 * top),
            below=False,
        )  # fmt: skip


def _measure(
    axes: Axes, begin: tuple[float, float], end: tuple[float, float], words: str, *, below: bool
) -> None:
    """Write a level distance between two places, with an arrow along it."""
    shift = -9 if below else 9
    axes.annotate(
        "", begin, end, textcoords="data",
        arrowprops={"arrowstyle": "<->", "color": INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0},
        zorder=6,
    )  # fmt: skip
    # Off the middle, where the ladder stands.
    place = (begin[0] + (0.0 if below else 0.68) * (end[0] - begin[0]), begin[1])
    how = {"va": "top", "ha": "left"} if below else {"va": "bottom"}
    _say(axes, place, words, xytext=(5 if below else 0, shift / 2), **how)


def _say(axes: Axes, at: tuple[float, float], words: str, **how: Any) -> None:
    style = {"ha": "center", "va": "center", "xytext": (0, 0), **how}
    axes.annotate(
        words, at, textcoords="offset points", fontsize=_TEXT_PT, color=INK,
        annotation_clip=False, parse_math=False, fontfamily=FONT_FAMILY, zorder=7, **style,
    )  # fmt: skip
