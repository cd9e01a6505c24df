"""The trench in section where a reach is deepest: shored and sloped, to one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.svg import Anchor, Canvas, Stroke
from lateral_map.draw.style import (
    CLASS_FILLS,
    GROUND,
    INK,
    OKABE_ITO,
    PAPER,
    QUIET,
    SHORED_AREA,
    SLOPED_AREA,
)
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import DigReview, ReachReview
from lateral_map.units import format_length, format_small, from_metres
from lateral_map.words.numbers import label

Place = tuple[float, float]

_TEXT_PT: Final = 9.0
_WIDE_PT: Final = 893.0
_NARROW_PT: Final = 288.0
_TALLEST_PT: Final = 187.0
_EDGE_PT: Final = 6.0
_HEAD_PT: Final = 26.0
_FOOT_PT: Final = 22.0
_GAP_PT: Final = 25.0
# Room for the depth's figure to the left of its arrow.
_WORDS_PT: Final = 46.0
_SPOIL_SHARE: Final = 0.9
_ARROW: Final = Stroke(INK, 0.7)
_LADDER: Final = Stroke(OKABE_ITO["vermillion"], 1.0)


@dataclass(frozen=True, slots=True)
class _Trench:
    """The section where the reach is deepest, lengths in the site's unit, 0 at its middle."""

    unit: str
    soil: str
    slope: float
    depth: float
    spread: float
    width: float
    top: float
    outside: float
    bedding: float
    set_back: float
    ladder: float | None
    influence: float

    @classmethod
    def of(cls, review: DigReview, one: ReachReview) -> Self:
        """Return a reach's trench."""
        unit, rules, at = review.report.site.unit, one.rules, one.excavation.section

        def size(values_m: Floats) -> float:
            return from_metres(float(values_m[0]), unit)

        ladder = from_metres(rules.value("ladder projection"), unit)
        return cls(
            unit=unit,
            soil=rules.soil,
            slope=rules.slope,
            depth=size(at.bottom_depth_m),
            spread=size(TWO_SIDED_95 * at.sd_depth_m),
            width=size(at.width_m),
            top=size(np.add(*at.edges_m(rules.slope, 0.0))),
            outside=size(at.outside_diameter_m),
            bedding=size(at.bottom_depth_m - at.crown_depth_m - at.outside_diameter_m),
            set_back=from_metres(rules.value("spoil set-back"), unit),
            ladder=ladder if one.excavation.ways_out else None,
            influence=max(rules.value("influence slope"), rules.slope),
        )

    @property
    def spoil(self) -> float:
        """Width of the spoil heap as drawn."""
        return _SPOIL_SHARE * self.depth


def section_svg(review: DigReview, one: ReachReview, *, narrow: bool) -> str:
    """Return a reach's section as SVG: side by side, or one under the other where narrow."""
    trench = _Trench.of(review, one)
    panels = (_Panel(trench, sloped=False), _Panel(trench, sloped=True))
    deep, above = trench.depth, max(panel.above for panel in panels)
    spans = [panel.left + panel.right for panel in panels]
    if narrow:
        scale = (_NARROW_PT - _WORDS_PT - 2 * _EDGE_PT) / max(spans)
        step = (above + deep) * scale + _HEAD_PT + _FOOT_PT
        width, height = _NARROW_PT, 2 * step
        corners = [
            (_EDGE_PT + _WORDS_PT + (max(spans) - span) * scale / 2.0, k * step)
            for k, span in enumerate(spans)
        ]
    else:
        words = 2 * (_WORDS_PT + _EDGE_PT) + _GAP_PT
        scale = min((_WIDE_PT - words) / sum(spans), _TALLEST_PT / (above + deep))
        width, height = _WIDE_PT, (above + deep) * scale + _HEAD_PT + _FOOT_PT
        left = (width - words - sum(spans) * scale) / 2.0 + _EDGE_PT + _WORDS_PT
        corners = [(left, 0.0), (left + spans[0] * scale + _GAP_PT + _WORDS_PT, 0.0)]
    canvas = Canvas.sheet(width, height, f"Trench in section, {label(one.reach.name)}")
    canvas.box(0.0, 0.0, width, height, fill=PAPER)
    for panel, (x, y) in zip(panels, corners, strict=True):
        origin = (x + panel.left * scale, y + _HEAD_PT + above * scale)
        _Section(canvas.group("section"), panel, origin, scale).paint()
    return canvas.to_text()


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


@dataclass(frozen=True, slots=True)
class _Section:
    """One section being drawn: ``origin`` is the middle of the ground line on the paper."""

    canvas: Canvas
    panel: _Panel
    origin: Place
    scale: float

    def at(self, points: Sequence[Place]) -> Floats:
        """Return places on the paper of lengths right of the middle and up from the ground."""
        steps = self.scale * np.array([1.0, -1.0])
        return np.asarray(np.array(self.origin) + steps * np.array(points))

    def say(
        self,
        place: Place,
        words: str,
        shift: Place = (0.0, 0.0),
        anchor: Anchor = "middle",
        *,
        bold: bool = False,
    ) -> None:
        """Set words by a place, moved by points right and down, their middle on it."""
        x, y = self.at([place])[0] + np.array(shift)
        self.canvas.text(x, y + 0.36 * _TEXT_PT, words, _TEXT_PT, anchor=anchor, bold=bold)

    def measure(self, begin: Place, end: Place) -> None:
        """Draw an arrow with a head at each end."""
        one, other = self.at([begin, end])
        self.canvas.line([one, other], _ARROW)
        way = (other - one) / max(float(np.hypot(*(other - one))), 1e-9)
        across = np.array([-way[1], way[0]])
        for tip, back in ((one, way), (other, -way)):
            barbs = [tip + 4.5 * back + 1.6 * across, tip + 4.5 * back - 1.6 * across]
            self.canvas.area([[tip, *barbs]], INK)

    def paint(self) -> None:
        panel, trench = self.panel, self.panel.trench
        half, top = trench.width / 2.0, panel.top
        style = SLOPED_AREA if panel.sloped else SHORED_AREA
        wall = style.edge.colour if style.edge and panel.sloped else INK
        left = [(-top, 0.0), (-half, -trench.depth)]
        right = [(half, -trench.depth), (top, 0.0)]
        self.canvas.area([self.at([*left, *right])], CLASS_FILLS[1])
        sides = [[(-panel.left, 0.0), left[0]], [right[1], (panel.right, 0.0)]]
        self.canvas.lines([self.at(side) for side in sides], Stroke(GROUND, 1.8))
        if not panel.sloped:
            # On one side only: on the other it would run through the depth's figure.
            reach = [right[0], (half + trench.influence * trench.depth, 0.0)]
            self.canvas.line(self.at(reach), Stroke(QUIET, 0.8, (3.0, 2.2)))
        level = trench.bedding - trench.depth
        bed = self.at([(-half, level), (half, -trench.depth)])
        area = shapely_box(*bed[0], *bed[1])
        ring = np.asarray(area.exterior.coords)[:-1]
        self.canvas.area([ring], "#e9e4d8", edge=Stroke(QUIET, 0.4))
        self.canvas.lines(hatch_lines(area, "dots"), Stroke(QUIET, 0.5))
        radius = trench.outside / 2.0
        x, y = self.at([(0.0, level + radius)])[0]
        pipe = Stroke(OKABE_ITO["bluish green"], 1.4)
        self.canvas.circle(x, y, radius * self.scale, fill="#8ec9b5", edge=pipe)
        walls = Stroke(wall, 1.5 if panel.sloped else 3.0)
        self.canvas.lines([self.at(left), self.at(right)], walls)
        self.canvas.line(self.at([left[1], right[0]]), Stroke(INK, 1.5))
        foot = top + trench.set_back
        peak, end = (foot + trench.spoil / 2.0, 0.6 * trench.spoil), (foot + trench.spoil, 0.0)
        heap = self.at([(foot, 0.0), peak, end])
        self.canvas.area([heap], "#c9a26b", edge=Stroke("#6b4f2a", 0.8))
        self.measure((top, 0.0), (foot, 0.0))
        self.say((top, 0.0), format_size(trench, trench.set_back), (4.0, 8.5), "start")
        if trench.ladder is not None:
            low, high = np.array([[-0.55 * half, -trench.depth], [-0.95 * half, trench.ladder]])
            gap = np.array([0.3 * half, 0.0])
            rails = [[low, high], [low + gap, high + gap]]
            steps = [low + share * (high - low) for share in np.linspace(0.06, 0.97, 12)]
            rungs = [[step, step + gap] for step in steps]
            self.canvas.lines([self.at(line) for line in (*rails, *rungs)], _LADDER)
        self._figures()

    def _figures(self) -> None:
        panel, trench = self.panel, self.panel.trench
        if panel.sloped:
            title = f"Sloped for soil {trench.soil}, {trench.slope:g} across to 1 up"
        else:
            title = "Vertical walls, shored or shielded"
        self.say((-panel.top, panel.above), title, (-24.0, -12.0), "start", bold=True)
        left = -panel.top - 0.9 * _foot(trench.unit)
        self.measure((left, 0.0), (left, -trench.depth))
        middle = (left, -trench.depth / 2.0)
        self.say(middle, format_size(trench, trench.depth), (-4.0, -5.5), "end")
        self.say(middle, f"± {format_size(trench, trench.spread)}", (-4.0, 5.5), "end")
        metres = trench.width / from_metres(1.0, trench.unit)
        self.say((0.0, -trench.depth), format_small(metres, trench.unit), (0.0, 10.0))
        if panel.sloped:
            self.measure((-panel.top, 0.0), (panel.top, 0.0))
            # Off the middle, where the ladder stands.
            place = (0.36 * panel.top, 0.0)
            self.say(place, format_size(trench, 2.0 * panel.top), (0.0, -7.5))


def format_size(trench: _Trench, value: float) -> str:
    """Return a length given in the site's unit as text."""
    metres = value / from_metres(1.0, trench.unit)
    return format_length(metres, trench.unit, 2 if trench.unit == "m" else 1)
