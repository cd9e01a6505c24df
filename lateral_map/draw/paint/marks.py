"""Marks on paper: the shapes of draw.style drawn in points."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.style import PAPER, MarkStyle, Shape
from lateral_map.model.arrays import Floats

MARK_PT: Final = 0.5  # points for a screen pixel of a mark
_EDGE: Final = 0.7

Draw = Callable[[Canvas, float, float, float, MarkStyle, float], None]


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


def _edge(style: MarkStyle, dash: tuple[float, ...] = (), width: float = _EDGE) -> Stroke:
    return Stroke(style.edge, width, dash)


def _turned(x: float, y: float, points: list[tuple[float, float]], turn_deg: float) -> Floats:
    turn = np.radians(turn_deg)
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return np.asarray(np.array([x, y]) + np.asarray(points) @ spin)


def _disc(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
    c.circle(x, y, half * 0.9, fill=style.fill, edge=_edge(style))


def _polygon(points: list[tuple[float, float]], *, turns: bool) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
        scaled = [(px * half, py * half) for px, py in points]
        ring = _turned(x, y, scaled, turn if turns else 0.0)
        c.area([ring], style.fill, edge=_edge(style))

    return draw


def _half_and_half(behind: list[tuple[float, float]]) -> Draw:
    """Return a mark whose half ahead along the pipe is a square's, ``behind`` the other."""
    ring = [*behind, (-0.8, -0.8), (0.8, -0.8)]

    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
        scaled = [(px * half, py * half) for px, py in ring]
        c.area([_turned(x, y, scaled, turn)], style.fill, edge=_edge(style))
        seam = [(-0.8 * half, 0.0), (0.8 * half, 0.0)]
        c.line(_turned(x, y, seam, turn), _edge(style))

    return draw


def _end(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
    bracket = [(-half, 0.4 * half), (-half, 0.0), (half, 0.0), (half, 0.4 * half)]
    c.line(_turned(x, y, bracket, turn), Stroke(style.edge, 1.2))


def _target(dash: tuple[float, ...], *, heart: bool, cross: bool, fill: bool) -> Draw:
    def draw(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
        ring = style.fill if fill else PAPER
        c.circle(x, y, half * 0.85, fill=ring, edge=_edge(style, dash, 0.9))
        if heart:
            c.circle(x, y, half * 0.3, fill=style.edge)
        if cross:
            arm = half * 0.85
            edge = _edge(style, (), 1.0)
            c.line([(x - arm, y - arm), (x + arm, y + arm)], edge)
            c.line([(x - arm, y + arm), (x + arm, y - arm)], edge)

    return draw


def _gate(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
    for side in (-1.0, 1.0):
        post = [(-half, side * half * 0.28), (half, side * half * 0.28)]
        c.line(_turned(x, y, post, turn), Stroke(style.fill, 1.2))


def _tick(c: Canvas, x: float, y: float, half: float, style: MarkStyle, turn: float) -> None:
    c.line(_turned(x, y, [(-half, 0.0), (half, 0.0)], turn), Stroke(style.edge, 0.6))


def _terminal(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
    c.circle(x, y, half * 0.85, fill=PAPER, edge=_edge(style, (), 1.0))
    c.circle(x, y, half * 0.5, fill=style.fill)


def _cross(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
    edge = Stroke(style.edge, 0.9)
    c.line([(x - half, y), (x + half, y)], edge)
    c.line([(x, y - half), (x, y + half)], edge)


def _plus_ring(c: Canvas, x: float, y: float, half: float, style: MarkStyle, _turn: float) -> None:
    c.circle(x, y, half * 0.9, fill=style.fill, edge=_edge(style, (2.0, 1.0), 1.0))
    _cross(c, x, y, half * 0.5, style, 0.0)


_SHAPES: Final[dict[Shape, Draw]] = {
    "disc": _disc,
    "square": _polygon([(-0.8, -0.8), (0.8, -0.8), (0.8, 0.8), (-0.8, 0.8)], turns=False),
    "diamond": _polygon([(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)], turns=False),
    "disc to square": _half_and_half(
        [(0.85 * np.cos(turn), 0.85 * np.sin(turn)) for turn in np.linspace(0.0, np.pi, 13)]
    ),
    "diamond to square": _half_and_half([(0.95, 0.0), (0.0, 1.0), (-0.95, 0.0)]),
    "octagon": _polygon(
        [
            (0.95 * np.cos(turn), 0.95 * np.sin(turn))
            for turn in np.radians(22.5) + np.linspace(0.0, 1.75 * np.pi, 8)
        ],
        turns=False,
    ),
    "end": _end,
    "triangle": _polygon([(0.0, -1.0), (0.85, 0.8), (-0.85, 0.8)], turns=True),
    "target": _target((), heart=True, cross=False, fill=True),
    "target open": _target((), heart=False, cross=False, fill=True),
    "target crossed": _target((), heart=False, cross=True, fill=True),
    "target dashed": _target((1.5, 1.2), heart=False, cross=False, fill=True),
    "gate": _gate,
    "terminal": _terminal,
    "plus ring": _plus_ring,
    "cross": _cross,
    "level": _polygon([(-0.9, -0.5), (0.9, -0.5), (0.0, 0.9)], turns=False),
    "cursor": _disc,
    "tick": _tick,
}
