"""Marks on paper: the shapes of draw.style drawn in points."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.style import PAPER, MarkStyle, Shape
from lateral_map.model.arrays import Floats

MARK_PT: Final = 0.5  # points for a screen pixel of a mark
_EDGE: Final = 0.7

Draw = Callable[[Canvas, float, float, float, MarkStyle, float], None]
Place = tuple[float, float]


def draw_mark(
    canvas: Canvas,
    x: float,
    y: float,
    style: MarkStyle,
    *,
    turn_deg: float = 0.0,
    scale: float = 1.0,
) -> float:
    """Draw a mark, its top turned ``turn_deg`` clockwise; return half its size in points."""
    half = mark_half(style, scale)
    _SHAPES[style.shape](canvas, x, y, half, style, turn_deg)
    return half


def mark_half(style: MarkStyle, scale: float = 1.0) -> float:
    """Return half a mark's size in points."""
    return style.size_px * MARK_PT * scale / 2.0


def _turned(x: float, y: float, half: float, points: Sequence[Place], turn_deg: float) -> Floats:
    turn = np.radians(turn_deg)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return np.asarray(np.array([x, y]) + half * np.asarray(points) @ spin)


# A shape is made of rings, lines and polygons, each in shares of half the mark's size.


def _ring(share: float, width: float = _EDGE, dash: tuple[float, ...] = (), fill: str = "") -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
        edge = Stroke(style.edge, width, dash)
        c.circle(x, y, half * share, fill=fill or style.fill, edge=edge)

    return draw


def _dot(share: float) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
        c.circle(x, y, half * share, fill=style.edge)

    return draw


def _lines(*lines: Sequence[Place], width: float, turns: bool) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
        for line in lines:
            points = _turned(x, y, half, line, turn if turns else 0.0)
            c.line(points, Stroke(style.edge, width))

    return draw


def _polygon(points: Sequence[Place], *, turns: bool) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
        ring = _turned(x, y, half, points, turn if turns else 0.0)
        c.area([ring], style.fill, edge=Stroke(style.edge, _EDGE))

    return draw


def _each(*parts: Draw) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
        for part in parts:
            part(c, x, y, half, style, turn)

    return draw


def _half_and_half(behind: Sequence[Place]) -> Draw:
    """Return a mark whose half ahead along the pipe is a square's, ``behind`` the other."""
    seam = [(-0.8, 0.0), (0.8, 0.0)]
    whole = _polygon([*behind, (-0.8, -0.8), (0.8, -0.8)], turns=True)
    return _each(whole, _lines(seam, width=_EDGE, turns=True))


def _cross(arm: float, width: float) -> Draw:
    return _lines([(-arm, 0.0), (arm, 0.0)], [(0.0, -arm), (0.0, arm)], width=width, turns=False)


def _round(radius: float, from_deg: float, to_deg: float, count: int) -> list[Place]:
    turns = np.radians(np.linspace(from_deg, to_deg, count))
    return [(radius * float(np.cos(turn)), radius * float(np.sin(turn))) for turn in turns]


_SALTIRE: Final = _lines(
    [(-0.85, -0.85), (0.85, 0.85)], [(-0.85, 0.85), (0.85, -0.85)], width=1.0, turns=False
)
_SHAPES: Final[dict[Shape, Draw]] = {
    "disc": _ring(0.9),
    "square": _polygon([(-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)], turns=False),
    "diamond": _polygon([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)], turns=False),
    "disc to square": _half_and_half(_round(0.85, 0.0, 180.0, 13)),
    "diamond to square": _half_and_half([(0.95, 0.0), (0.0, 1.0), (-0.95, 0.0)]),
    "octagon": _polygon(_round(0.95, 22.5, 337.5, 8), turns=False),
    "end": _lines([(-1.0, 0.4), (-1.0, 0.0), (1.0, 0.0), (1.0, 0.4)], width=1.2, turns=True),
    "triangle": _polygon([(0.0, -1.0), (0.85, 0.8), (-0.85, 0.8)], turns=True),
    "target": _each(_ring(0.85, 0.9), _dot(0.3)),
    "target open": _ring(0.85, 0.9),
    "target crossed": _each(_ring(0.85, 0.9), _SALTIRE),
    "target struck": _each(
        _ring(0.85, 0.9), _lines([(-0.5, 0.5), (0.5, -0.5)], width=0.9, turns=False)
    ),
    "saltire": _SALTIRE,
    "target dashed": _ring(0.85, 0.9, (1.5, 1.2)),
    "gate": _lines(
        [(-1.0, -0.28), (1.0, -0.28)], [(-1.0, 0.28), (1.0, 0.28)], width=1.2, turns=True
    ),
    "terminal": _each(_ring(0.85, 1.0, fill=PAPER), _dot(0.5)),
    "plus ring": _each(_ring(0.9, 1.0, (2.0, 1.0)), _cross(0.5, 0.9)),
    "cross": _cross(1.0, 0.9),
    "level": _polygon([(-0.9, -0.5), (0.9, -0.5), (0.0, 0.9)], turns=False),
    "cursor": _ring(0.9),
    "tick": _lines([(-1.0, 0.0), (1.0, 0.0)], width=0.6, turns=True),
}
