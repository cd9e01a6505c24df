"""The trench in section where a reach is deepest, each way its walls may stand, to one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

import numpy as np
from shapely import box as shapely_box

from lateral_map.draw.paint.fonts import wrap
from lateral_map.draw.paint.hatch import hatch_lines
from lateral_map.draw.paint.svg import Anchor, Canvas, Stroke
from lateral_map.draw.style import (
    CLASS_FILLS,
    GROUND,
    INK,
    OKABE_ITO,
    PAPER,
    QUIET,
    SLOPED_AREA,
)
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import Cut, DigReview, ReachReview
from lateral_map.units import format_length, format_small, from_metres
from lateral_map.words.excavator import soil_words
from lateral_map.words.names import WALL_WORDS
from lateral_map.words.numbers import label

Place = tuple[float, float]

_TEXT_PT: Final = 9.0
_WIDE_PT: Final = 893.0
_NARROW_PT: Final = 288.0
_TALLEST_PT: Final = 187.0
_EDGE_PT: Final = 6.0
_HEAD_PT: Final = 37.0
_LINE_PT: Final = 11.0
_FOOT_PT: Final = 22.0
_GAP_PT: Final = 25.0
# Room for the depth's figure to the left of its arrow.
_WORDS_PT: Final = 46.0
_SPOIL_SHARE: Final = 0.9
_ARROW: Final = Stroke(INK, 0.7)
_LADDER: Final = Stroke(OKABE_ITO["vermillion"], 1.0)


@dataclass(frozen=True, slots=True)
class _Trench:
    """The section where the reach is deepest, lengths in the site's unit, 0 at its middle.

    ``rises`` are how the ground rises outwards to the left and right, over its run.
    """

    unit: str
    depth: float
    spread: float
    width: float
    rises: tuple[float, float]
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
        left, right = at.rises(0.0)
        return cls(
            unit=unit,
            depth=size(at.bottom_depth_m),
            spread=size(TWO_SIDED_95 * at.sd_depth_m),
            width=size(at.width_m),
            rises=(float(left[0]), float(right[0])),
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

    def ground(self, place: float) -> float:
        """Return the ground's height there over that above the pipe."""
        return self.rises[int(place > 0.0)] * abs(place)


@dataclass(frozen=True, slots=True)
class _Panel:
    """One of the sections: ``walls`` are its left and right wall, from the bottom's edge up.

    Their corners are (n, 2) right of the trench's middle and up from the ground above it.
    """

    trench: _Trench
    title: str
    held: bool
    sloped: bool
    walls: tuple[Floats, Floats]

    @classmethod
    def of(cls, one: ReachReview, cut: Cut, trench: _Trench) -> Self:
        """Return the section of one of a reach's cuts."""
        soil = soil_words(one.rules, trench.unit)
        title = WALL_WORDS[cut.walls].capitalize()
        if cut.walls != "shored":
            slopes = dict.fromkeys(f"{slope:g}" for slope in cut.shape.slopes)
            title += f", soil {soil}: {', '.join(slopes)} across to 1 up"
        half = trench.width / 2.0
        lines = []
        for wall, side in zip(one.excavation.section.walls_m(cut.shape, 0.0), (-1, 1), strict=True):
            out, up = (
                from_metres(1.0, trench.unit) * each[:, 0] for each in (wall.out_m, wall.up_m)
            )
            lines.append(np.stack([side * (half + out), up - trench.depth], axis=-1))
        left, right = lines
        return cls(trench, title, cut.shape.upright_m > 0.0, cut.walls != "shored", (left, right))

    @property
    def edges(self) -> tuple[float, float]:
        """Where its left and right wall meet the ground."""
        return float(self.walls[0][-1, 0]), float(self.walls[1][-1, 0])

    @property
    def left(self) -> float:
        """How far it reaches to the left, its depth's arrow included."""
        return 1.3 * _foot(self.trench.unit) - self.edges[0]

    @property
    def right(self) -> float:
        """How far it reaches to the right, to the far foot of its spoil."""
        reach = self.edges[1] + self.trench.set_back + self.trench.spoil
        return reach + 0.3 * _foot(self.trench.unit)

    @property
    def above(self) -> float:
        """How far it reaches above the ground over the pipe."""
        trench, foot = self.trench, self.edges[1] + self.trench.set_back
        heap = trench.ground(foot + trench.spoil / 2.0) + 0.6 * trench.spoil
        grounds = (trench.ground(-self.left), trench.ground(self.right))
        return max(heap + 0.02 * trench.spoil, trench.ladder or 0.0, *grounds)

    @property
    def under(self) -> float:
        """How far it reaches below the ground over the pipe."""
        trench = self.trench
        return max(trench.depth, -trench.ground(-self.left), -trench.ground(self.right))


def section_svg(review: DigReview, one: ReachReview, *, narrow: bool) -> str:
    """Return a reach's sections as SVG: two beside each other, or one under the other if narrow."""
    trench = _Trench.of(review, one)
    panels = [_Panel.of(one, cut, trench) for cut in one.excavation.cuts]
    deep, above = (max(getattr(panel, way) for panel in panels) for way in ("under", "above"))
    spans = [panel.left + panel.right for panel in panels]
    a_row = 1 if narrow else 2
    rows = [range(k, min(k + a_row, len(panels))) for k in range(0, len(panels), a_row)]
    words = a_row * (_WORDS_PT + _EDGE_PT) + (a_row - 1) * _GAP_PT
    width = _NARROW_PT if narrow else _WIDE_PT
    widest = max(sum(spans[k] for k in row) for row in rows)
    scale = (width - words - _EDGE_PT) / widest
    scale = scale if narrow else min(scale, _TALLEST_PT / (above + deep))
    step = (above + deep) * scale + _HEAD_PT + _FOOT_PT
    canvas = Canvas.sheet(width, len(rows) * step, f"Trench in section, {label(one.reach.name)}")
    canvas.box(0.0, 0.0, width, len(rows) * step, fill=PAPER)
    for number, row in enumerate(rows):
        left = (width - words - widest * scale) / 2.0 + _EDGE_PT + _WORDS_PT
        for k in row:
            origin = (left + panels[k].left * scale, number * step + _HEAD_PT + above * scale)
            room = width - left if k == row[-1] else spans[k] * scale + _GAP_PT
            _Section(canvas.group("section"), panels[k], origin, scale, room + _WORDS_PT).paint()
            left += spans[k] * scale + _GAP_PT + _WORDS_PT
    return canvas.to_text()


def _foot(unit: str) -> float:
    return from_metres(0.3048, unit)


@dataclass(frozen=True, slots=True)
class _Section:
    """One section being drawn: ``origin`` is the middle of the ground line on the paper.

    ``room`` is how wide its title may run.
    """

    canvas: Canvas
    panel: _Panel
    origin: Place
    scale: float
    room: float

    def at(self, points: Sequence[Place] | Floats) -> Floats:
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
        half, (left, right) = trench.width / 2.0, panel.walls
        last = panel.edges[1]
        # The ground bends above the pipe, in the middle of what is dug.
        self.canvas.area([self.at([*left[::-1], *right, (0.0, 0.0)])], CLASS_FILLS[1])
        sides = [
            [(-panel.left, trench.ground(-panel.left)), left[-1]],
            [right[-1], (panel.right, trench.ground(panel.right))],
        ]
        self.canvas.lines([self.at(side) for side in sides], Stroke(GROUND, 1.8))
        if not panel.sloped:
            # On one side only: on the other it would run through the depth's figure.
            share = max(1.0 - trench.influence * trench.rises[1], 0.25)
            away = half + trench.influence * (trench.depth + trench.ground(half)) / share
            reach = [right[0], (away, trench.ground(away))]
            self.canvas.line(self.at(reach), Stroke(QUIET, 0.8, (3.0, 2.2)))
        self._bottom()
        walls = SLOPED_AREA.edge if panel.sloped and SLOPED_AREA.edge else None
        edge = Stroke(walls.colour if walls else INK, 1.5)
        self.canvas.lines([self.at(left), self.at(right)], edge)
        if panel.held:
            # Shores or a box: the first two corners are its foot and its head.
            self.canvas.lines([self.at(left[:2]), self.at(right[:2])], Stroke(INK, 3.0))
        self.canvas.line(self.at([left[0], right[0]]), Stroke(INK, 1.5))
        foot, heap = last + trench.set_back, trench.spoil
        ring = [(foot, 0.0), (foot + heap / 2.0, 0.6 * heap), (foot + heap, 0.0)]
        corners = self.at([(x, trench.ground(x) + y) for x, y in ring])
        self.canvas.area([corners], "#c9a26b", edge=Stroke("#6b4f2a", 0.8))
        self.measure((last, trench.ground(last)), (foot, trench.ground(foot)))
        place = (last, trench.ground(last))
        self.say(place, format_size(trench, trench.set_back), (4.0, 8.5), "start")
        if trench.ladder is not None:
            low, high = np.array([[-0.55 * half, -trench.depth], [-0.95 * half, trench.ladder]])
            gap = np.array([0.3 * half, 0.0])
            rails = [[low, high], [low + gap, high + gap]]
            steps = [low + share * (high - low) for share in np.linspace(0.06, 0.97, 12)]
            rungs = [[step, step + gap] for step in steps]
            self.canvas.lines([self.at(line) for line in (*rails, *rungs)], _LADDER)
        self._figures()

    def _bottom(self) -> None:
        """Draw the bedding and the pipe on it."""
        trench = self.panel.trench
        half, level = trench.width / 2.0, trench.bedding - trench.depth
        bed = self.at([(-half, level), (half, -trench.depth)])
        area = shapely_box(*bed[0], *bed[1])
        ring = np.asarray(area.exterior.coords)[:-1]
        self.canvas.area([ring], "#e9e4d8", edge=Stroke(QUIET, 0.4))
        self.canvas.lines(hatch_lines(area, "dots"), Stroke(QUIET, 0.5))
        radius = trench.outside / 2.0
        x, y = self.at([(0.0, level + radius)])[0]
        pipe = Stroke(OKABE_ITO["bluish green"], 1.4)
        self.canvas.circle(x, y, radius * self.scale, fill="#8ec9b5", edge=pipe)

    def _figures(self) -> None:
        panel, trench = self.panel, self.panel.trench
        first, last = panel.edges
        lines = wrap(panel.title, self.room, _TEXT_PT, bold=True)
        for k, words in enumerate(reversed(lines[:2])):
            shift = (2.0 - _WORDS_PT, -12.0 - k * _LINE_PT)
            self.say((-panel.left, panel.above), words, shift, "start", bold=True)
        left = first - 0.9 * _foot(trench.unit)
        self.measure((left, 0.0), (left, -trench.depth))
        middle = (left, -trench.depth / 2.0)
        self.say(middle, format_size(trench, trench.depth), (-4.0, -5.5), "end")
        self.say(middle, f"± {format_size(trench, trench.spread)}", (-4.0, 5.5), "end")
        metres = trench.width / from_metres(1.0, trench.unit)
        self.say((0.0, -trench.depth), format_small(metres, trench.unit), (0.0, 10.0))
        if panel.sloped:
            self.measure((first, 0.0), (last, 0.0))
            # Off the middle, where the ladder stands.
            self.say((0.36 * last, 0.0), format_size(trench, last - first), (0.0, -7.5))


def format_size(trench: _Trench, value: float) -> str:
    """Return a length given in the site's unit as text."""
    metres = value / from_metres(1.0, trench.unit)
    return format_length(metres, trench.unit, 2 if trench.unit == "m" else 1)
