"""How each layer of route.gpkg is drawn in a desktop GIS: the drawings' own colours and lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lateral_map.draw.style import (
    ALTERNATIVE_LINE,
    BASIS_LINES,
    CORRIDOR_AREA,
    DIG_AREA,
    GATE_MARK,
    INK,
    LOCATE_MARKS,
    NO_SIDE_MARK,
    PAPER,
    QUIET,
    SIDE_MARKS,
    AreaStyle,
    LineStyle,
    MarkStyle,
)
from lateral_map.export.features import LayerName
from lateral_map.words.names import BASIS_WORDS, VERDICT_WORDS

Symbol = LineStyle | AreaStyle | MarkStyle


@dataclass(frozen=True, slots=True)
class StyleClass:
    """One legend entry: features whose attribute has ``value`` (None: all others)."""

    value: str | None
    label: str
    symbol: Symbol


@dataclass(frozen=True, slots=True)
class LayerStyle:
    """A layer's legend. ``attribute`` tells the classes apart, empty where there is only one."""

    attribute: str
    classes: tuple[StyleClass, ...]


def _single(label: str, symbol: Symbol) -> LayerStyle:
    return LayerStyle("", (StyleClass(None, label, symbol),))


_STATION: Final = MarkStyle("disc", PAPER, QUIET, size_px=5.0)

LAYER_STYLES: Final[dict[LayerName, LayerStyle]] = {
    "corridor": _single("95 % corridor", CORRIDOR_AREA),
    "buffer": _single("Dig buffer", DIG_AREA),
    "alternatives": _single("Another route that fits about as well", ALTERNATIVE_LINE),
    "route": _single("Route", LineStyle(INK, 7.0)),
    "stretches": LayerStyle(
        "basis",
        tuple(StyleClass(key, BASIS_WORDS[key], line) for key, line in BASIS_LINES.items()),
    ),
    "stations": _single("Station", _STATION),
    "crossings": _single("Crossing", GATE_MARK),
    "findings": LayerStyle(
        "verdict",
        (
            *(
                StyleClass(key, f"Finding, {VERDICT_WORDS[key]}", mark)
                for key, mark in SIDE_MARKS.items()
            ),
            StyleClass(None, "Finding", NO_SIDE_MARK),
        ),
    ),
    "locates": LayerStyle(
        "state",
        tuple(StyleClass(key, f"Locate, {key}", mark) for key, mark in LOCATE_MARKS.items()),
    ),
}


def stacked_marks(style: MarkStyle) -> tuple[MarkStyle, ...]:
    """Return the plain marks that make up one: a target is a ring with a dot in it."""
    if style.shape != "target":
        return (style,)
    return style, MarkStyle("disc", INK, INK, size_px=style.size_px / 3.0)
