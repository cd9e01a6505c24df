"""The words of a drawing for CAD, each clear of every other and, with room, of what is drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely
from shapely.geometry import LineString

from lateral_map.draw.paint.labels import Box, Placer, Wish
from lateral_map.draw.plan.lettering import beside_line

if TYPE_CHECKING:
    from ezdxf.layouts import Modelspace
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.arrays import Floats

# Words are set as on paper, in points, where a letter is so high; CAD fonts are wide.
_LETTER_PT: Final = 8.0
_EM: Final = 0.85
# What words along a line are set at there for the sheets' own typeface to be as wide.
_ALONG_EM: Final = 1.55
_ROOM_PT: Final = 2000.0
# Black on white and white on black, and whole letters, whatever the layer's colour and dashes.
_LOOK: Final = {"color": 7, "linetype": "CONTINUOUS"}


@dataclass(frozen=True, slots=True)
class Lettered:
    """Words that name a place, or a line where ``places`` is (n, 2); in the drawing's own unit."""

    words: str
    layer: str
    places: Floats
    height: float = 0.0


def letter(
    space: Modelspace,
    size: float,
    line: Floats,
    drawn: Sequence[Floats],
    words: Sequence[Lettered],
    notes: Sequence[Lettered],
) -> None:
    """Add words to a drawing, their letters ``size`` high, and ``notes`` under its lower left.

    ``line`` is the lateral, ``drawn`` every line there is.
    """
    low, high = line.min(axis=0), line.max(axis=0)
    # Of a district's plan, what lies round the line.
    reach = max(1.5 * float((high - low).max()), 60.0 * size)
    near = shapely.box(*(low - reach), *(high + reach))
    shown = [part for each in drawn for part in _inside(each, near)]
    below = min(float(part[:, 1].min()) for part in (*shown, line))
    paper = _Paper(space, size, np.array([low[0], below]))
    marks = [paper.at(each.places) for each in words if each.places.ndim == 1]
    edges = np.array([*marks, *paper.at(near.exterior.coords)])
    placer = Placer(Box(*(edges.min(axis=0) - _ROOM_PT), *(edges.max(axis=0) + _ROOM_PT)))
    for row, note in enumerate(notes):
        top = (2.0 + 1.8 * row) * _LETTER_PT
        placer.keep_off(Box(0.0, top, _wide(note.words), top + 1.25 * _LETTER_PT))
        paper.write(note, (0.0, top + 1.1 * _LETTER_PT))
    for part in shown:
        placer.avoid(paper.at(part))
    for x, y in marks:
        placer.keep_off(Box.around(x, y, 0.3 * _LETTER_PT))
    for each in words:
        if each.places.ndim == 2:
            for part in _inside(each.places, near)[:1]:
                paper.write_along(each, part, placer)
    paper.write_beside([each for each in words if each.places.ndim == 1], placer)


def _inside(line: Floats, near: BaseGeometry) -> list[Floats]:
    """Return the parts of a line that lie in an area, the longest first."""
    parts = shapely.get_parts(shapely.intersection(LineString(line), near))
    # What lies wholly outside leaves an empty line.
    lines = [part for part in parts if part.geom_type == "LineString" and not part.is_empty]
    return [
        np.asarray(part.coords)[:, :2]
        for part in sorted(lines, key=lambda part: -round(part.length, 6))
    ]


def _wide(words: str) -> float:
    return _EM * _LETTER_PT * max(len(words), 1)


@dataclass(frozen=True, slots=True)
class _Paper:
    """The drawing as paper: points from ``corner``, y down."""

    space: Modelspace
    size: float
    corner: Floats

    def at(self, places: Any) -> Floats:
        """Return places of the drawing in points."""
        scale = _LETTER_PT / self.size
        return np.asarray((np.asarray(places, float)[..., :2] - self.corner) * [scale, -scale])

    def back(self, x_pt: float, y_pt: float) -> tuple[float, float]:
        """Return a place on the paper in the drawing's unit."""
        x, y = self.corner + np.array([x_pt, -y_pt]) * self.size / _LETTER_PT
        return round(float(x), 6), round(float(y), 6)

    def write(self, each: Lettered, begin: tuple[float, float], turn_deg: float = 0.0) -> None:
        """Set words from the left end of their base line, turned clockwise."""
        self.space.add_text(
            each.words,
            height=self.size,
            rotation=-turn_deg,
            dxfattribs={"layer": each.layer, **_LOOK},
        ).set_placement((*self.back(*begin), each.height))

    def write_along(self, each: Lettered, line: Floats, placer: Placer) -> None:
        """Set words along a line, beside it; none where it has no room for them."""
        found = beside_line(placer, self.at(line), each.words, _ALONG_EM * _LETTER_PT)
        if found is not None and each.words:
            turn = math.radians(found.turn_deg)
            half, down = 0.5 * (_wide(each.words) - 0.1 * _LETTER_PT), 0.5 * _LETTER_PT
            x = found.at[0] - half * math.cos(turn) - down * math.sin(turn)
            y = found.at[1] - half * math.sin(turn) + down * math.cos(turn)
            self.write(each, (x, y), found.turn_deg)

    def write_beside(self, words: Sequence[Lettered], placer: Placer) -> None:
        """Set words beside the places they name, led to them from farther off."""
        wishes = [
            Wish(
                key, x, y, _wide(each.words), 1.25 * _LETTER_PT, 0.5 * _LETTER_PT,
                reach_pt=_ROOM_PT,
            )
            for key, each in enumerate(words)
            for x, y in [self.at(each.places).tolist()]
        ]  # fmt: skip
        # In so much room none is left out that is looked at.
        placed, left_out = placer.place(wishes)
        for one in placed:
            each = words[one.key]
            if one.leader:
                begin, end = ((*self.back(*place), each.height) for place in one.leader)
                self.space.add_line(
                    begin, end, dxfattribs={"layer": each.layer, "linetype": "CONTINUOUS"}
                )
            self.write(each, (one.box.left, one.box.bottom - 0.15 * _LETTER_PT))
        if left_out:
            more = f"{len(left_out)} more places are not lettered; each has its words as its data"
            self.write(replace(words[left_out[0].key], words=more), (0.0, 1.3 * _LETTER_PT))
