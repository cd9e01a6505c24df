"""Colours, line styles, marker shapes and wording, once for every drawing.

Meaning is never carried by colour alone: each line also has its own dashes, each mark its own
shape, each surface its own hatch, so that a black-and-white print still tells them apart.

The eight colours of ``OKABE_ITO`` are the palette of Okabe and Ito, 'Color Universal Design (CUD):
How to make figures and presentations that are friendly to colorblind people' (2008), chosen to be
told apart with the common kinds of colour blindness. Utilities take the hues of the APWA Uniform
Color Code; that code names hues, not screen values, so the values here are this program's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from lateral_map.model.results import Basis, BoundaryKind, FindingVerdict, LocateState
from lateral_map.model.site import Cover, Severity, UtilityKind

OKABE_ITO: Final[dict[str, str]] = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}

INK: Final = "#16191c"
QUIET: Final = "#4a5258"
FAINT: Final = "#9aa2a8"
PAPER: Final = "#ffffff"
GROUND: Final = "#6b4f2a"

Shape = Literal[
    "disc", "square", "diamond", "disc to square", "diamond to square", "octagon", "end",
    "triangle", "target", "target crossed", "target open", "target struck",
    "target dashed", "saltire", "gate", "terminal", "plus ring", "cross", "level", "cursor", "tick",
]  # fmt: skip
Hatch = Literal["", "rising", "falling", "crossed", "dots", "tufts", "pebbles", "level"]


@dataclass(frozen=True, slots=True)
class LineStyle:
    """A stroke: ``width_px`` on screen, ``dash_px`` on and off, ``casing`` a wider line under it.

    ``letter`` is repeated along the line.
    """

    colour: str
    width_px: float
    dash_px: tuple[float, ...] = ()
    casing: str = ""
    casing_px: float = 0.0
    opacity: float = 1.0
    letter: str = ""


@dataclass(frozen=True, slots=True)
class AreaStyle:
    """A filled area: ``fill`` at ``opacity``, a ``hatch`` in ``hatch_colour`` if any, an edge."""

    fill: str
    opacity: float
    edge: LineStyle | None = None
    hatch: Hatch = ""
    hatch_colour: str = QUIET


@dataclass(frozen=True, slots=True)
class MarkStyle:
    """A point mark: ``shape``, its fill and edge, ``size_px`` across."""

    shape: Shape
    fill: str
    edge: str = INK
    size_px: float = 16.0


Style = LineStyle | AreaStyle | MarkStyle

BASIS_LINES: Final[dict[Basis, LineStyle]] = {
    "located": LineStyle(OKABE_ITO["bluish green"], 5.0, (), PAPER, 9.0),
    "between locates": LineStyle(OKABE_ITO["blue"], 4.5, (13.0, 5.0), PAPER, 9.0),
    "dead reckoned": LineStyle(OKABE_ITO["vermillion"], 4.5, (3.0, 5.0), PAPER, 9.0),
}
BASIS_HATCH: Final[dict[Basis, Hatch]] = {
    "located": "",
    "between locates": "rising",
    "dead reckoned": "crossed",
}

# Of a stretch that changes sides, the shape changes along the pipe as the side does.
SIDE_MARKS: Final[dict[FindingVerdict, MarkStyle]] = {
    "inside": MarkStyle("disc", OKABE_ITO["sky blue"], size_px=17),
    "past": MarkStyle("square", OKABE_ITO["reddish purple"], size_px=17),
    "across": MarkStyle("disc to square", OKABE_ITO["reddish purple"], size_px=19),
    "past from within": MarkStyle("diamond to square", OKABE_ITO["reddish purple"], size_px=20),
    "too close to call": MarkStyle("diamond", OKABE_ITO["yellow"], size_px=20),
}
DANGER_MARK: Final = MarkStyle("octagon", OKABE_ITO["vermillion"], size_px=26)
STRETCH_END_MARK: Final = MarkStyle("end", INK, size_px=20)
NO_SIDE_MARK: Final = MarkStyle("disc", PAPER, size_px=17)

LOCATE_MARKS: Final[dict[LocateState, MarkStyle]] = {
    "good": MarkStyle("target", PAPER, size_px=18),
    "unchecked": MarkStyle("target open", PAPER, size_px=18),
    "suspect": MarkStyle("target crossed", OKABE_ITO["orange"], size_px=22),
    "put off": MarkStyle("target struck", OKABE_ITO["orange"], size_px=18),
    "set aside": MarkStyle("target dashed", PAPER, QUIET, size_px=18),
}

NO_LOCATE_MARK: Final = MarkStyle("saltire", INK, size_px=14)
TICK_MARK: Final = MarkStyle("tick", INK, size_px=16)
BEND_MARK: Final = MarkStyle("triangle", PAPER, size_px=17)
SLIP_MARK: Final = MarkStyle("triangle", OKABE_ITO["orange"], size_px=22)
GATE_MARK: Final = MarkStyle("gate", INK, size_px=32)
START_MARK: Final = MarkStyle("terminal", INK, size_px=18)
POINT_MARK: Final = MarkStyle("cross", INK, size_px=11)
LEVEL_MARK: Final = MarkStyle("level", PAPER, QUIET, size_px=11)
NEXT_MARK: Final = MarkStyle("plus ring", PAPER, OKABE_ITO["blue"], size_px=24)
CURSOR_MARK: Final = MarkStyle("cursor", OKABE_ITO["yellow"], size_px=26)
MEASURED_MARK: Final = MarkStyle("cross", QUIET, QUIET, size_px=9)

LINE_KINDS: Final[dict[BoundaryKind, LineStyle]] = {
    "curb": LineStyle(INK, 3.0),
    "right_of_way": LineStyle(INK, 2.0, (16.0, 4.0, 3.0, 4.0)),
    "property_line": LineStyle(INK, 1.6, (18.0, 4.0, 2.0, 4.0, 2.0, 4.0)),
    "centreline": LineStyle(QUIET, 1.4, (10.0, 5.0)),
    "main": LineStyle(INK, 2.2),
    "cleanout": LineStyle(INK, 1.2),
}

# Hues: APWA Uniform Color Code (yellow gas, red electric, blue potable water, orange
# communication, purple reclaimed water, green sewer and storm
# drain; steam and oil are yellow as gas is, told apart by their letters).
UTILITY_COLOURS: Final[dict[UtilityKind, str]] = {
    "gas": "#FFD400",
    "electric": "#D81E1E",
    "water": "#1F6FE0",
    "communication": "#F57C00",
    "reclaimed": "#7E3FA8",
    "sewer": "#1E8E3E",
    "storm": "#1E8E3E",
    "steam": "#FFD400",
    "oil": "#FFD400",
}
UTILITY_LETTERS: Final[dict[UtilityKind, str]] = {
    "gas": "G", "electric": "E", "water": "W",
    "communication": "C", "reclaimed": "R", "sewer": "S", "storm": "SD", "steam": "ST", "oil": "O",
}  # fmt: skip
UTILITY_LINES: Final[dict[UtilityKind, LineStyle]] = {
    kind: LineStyle(colour, 2.6, (), INK, 4.6, letter=UTILITY_LETTERS[kind])
    for kind, colour in UTILITY_COLOURS.items()
}

COVER_AREAS: Final[dict[Cover, AreaStyle]] = {
    "lawn": AreaStyle("#eef4e4", 1.0, LineStyle("#b9c7a0", 1.0), "tufts", "#a9bb8c"),
    "planting": AreaStyle("#e3eed6", 1.0, LineStyle("#9db27f", 1.0), "dots", "#8aa56a"),
    "concrete": AreaStyle("#f0efec", 1.0, LineStyle("#a9a6a0", 1.0), "pebbles", "#c3bfb7"),
    "asphalt": AreaStyle("#dcdee1", 1.0, LineStyle("#9a9ea4", 1.0), "level", "#c6c9cd"),
    "gravel": AreaStyle("#efe9dc", 1.0, LineStyle("#b9ad92", 1.0), "dots", "#b9ad92"),
    "other": AreaStyle("#f6f6f6", 1.0, LineStyle("#b5b5b5", 1.0)),
}
BUILDING_AREA: Final = AreaStyle("#cfc9c0", 1.0, LineStyle(INK, 1.8), "rising", "#aaa298")

CORRIDOR_AREA: Final = AreaStyle(
    OKABE_ITO["sky blue"], 0.32, LineStyle(OKABE_ITO["blue"], 1.2, opacity=0.9)
)
DIG_AREA: Final = AreaStyle(
    OKABE_ITO["orange"], 0.13, LineStyle(OKABE_ITO["orange"], 2.0, (7.0, 4.0))
)
ELLIPSE_AREA: Final = AreaStyle(OKABE_ITO["yellow"], 0.35, LineStyle(INK, 1.4, (4.0, 3.0)))
ALTERNATIVE_LINE: Final = LineStyle(OKABE_ITO["vermillion"], 3.0, (2.0, 6.0), PAPER, 6.0)
TIE_LINE: Final = LineStyle(QUIET, 1.2, (5.0, 4.0))
STRETCH_LINE: Final = LineStyle(INK, 14.0, opacity=0.28)
# On paper alone: the stretches on other sheets, and where they meet this one.
OTHER_SHEET_LINE: Final = LineStyle(FAINT, 2.2, (4.0, 4.0))
MATCH_LINE: Final = LineStyle(INK, 3.6, (20.0, 6.0, 4.0, 6.0))
PARTY_LINES: Final[tuple[LineStyle, ...]] = (
    LineStyle(OKABE_ITO["sky blue"], 17.0, opacity=0.45),
    LineStyle(OKABE_ITO["reddish purple"], 17.0, (5.0, 3.0), opacity=0.5),
    LineStyle(OKABE_ITO["yellow"], 17.0, (14.0, 3.0), opacity=0.6),
)
UNDECIDED_LINE: Final = LineStyle(QUIET, 17.0, (2.0, 3.0), opacity=0.55)

# Bigger for worse; the word stands beside it in every text.
SEVERITY_SCALE: Final[dict[Severity | None, float]] = {
    None: 1.0, "minor": 0.85, "moderate": 1.0, "severe": 1.25,
}  # fmt: skip


LINES: Final[dict[str, LineStyle]] = {
    **{f"basis {name}": style for name, style in BASIS_LINES.items()},
    **{f"line {name}": style for name, style in LINE_KINDS.items()},
    **{f"utility {name}": style for name, style in UTILITY_LINES.items()},
    **{
        f"utility {name} depth unknown": replace(style, letter=f"{style.letter}?")
        for name, style in UTILITY_LINES.items()
    },
    **{f"party {index}": style for index, style in enumerate(PARTY_LINES)},
    "party undecided": UNDECIDED_LINE,
    "alternative": ALTERNATIVE_LINE,
    "tie": TIE_LINE,
    "stretch": STRETCH_LINE,
    "other sheet": OTHER_SHEET_LINE,
    "match line": MATCH_LINE,
}
AREAS: Final[dict[str, AreaStyle]] = {
    **{f"cover {name}": style for name, style in COVER_AREAS.items()},
    "building": BUILDING_AREA,
    "picture": AreaStyle(FAINT, 0.55, LineStyle(QUIET, 1.0)),
    "corridor": CORRIDOR_AREA,
    "dig": DIG_AREA,
    "ellipse": ELLIPSE_AREA,
}
MARKS: Final[dict[str, MarkStyle]] = {
    **{f"side {name}": style for name, style in SIDE_MARKS.items()},
    **{f"locate {name}": style for name, style in LOCATE_MARKS.items()},
    "no locate": NO_LOCATE_MARK,
    "side none": NO_SIDE_MARK,
    "danger": DANGER_MARK,
    "stretch end": STRETCH_END_MARK,
    "tick": TICK_MARK,
    "bend": BEND_MARK,
    "slip": SLIP_MARK,
    "gate": GATE_MARK,
    "terminal": START_MARK,
    "point": POINT_MARK,
    "level": LEVEL_MARK,
    "next": NEXT_MARK,
    "cursor": CURSOR_MARK,
    "measured": MEASURED_MARK,
}
STYLES: Final[dict[str, Style]] = {**LINES, **AREAS, **MARKS}

# The dig review's own.
SHORED_AREA: Final = AreaStyle(
    OKABE_ITO["vermillion"], 0.45, LineStyle(INK, 1.8), "falling", "#7a2f00"
)
SLOPED_AREA: Final = AreaStyle(
    "#c9a26b", 0.38, LineStyle("#6b4f2a", 1.8, (10.0, 4.0)), "dots", "#6b4f2a"
)
BENCHED_AREA: Final = AreaStyle(
    "#d9c08a", 0.30, LineStyle("#6b4f2a", 1.8, (3.0, 3.0)), "rising", "#6b4f2a"
)
BOXED_AREA: Final = AreaStyle(
    OKABE_ITO["orange"], 0.35, LineStyle("#7a4a00", 1.8, (10.0, 3.0, 2.0, 3.0)), "dots", "#7a4a00"
)
# White paint marks proposed excavation (APWA Uniform Color Code); the dark casing lets it be seen
# on white paper.
WHITE_LINE: Final = LineStyle(PAPER, 3.0, (), INK, 6.0)
SPOIL_LINE: Final = LineStyle("#6b4f2a", 1.4, (2.0, 4.0))
TAPE_LINE: Final = LineStyle(INK, 1.4, (6.0, 3.0), PAPER, 4.0)
KEY_MARK: Final = MarkStyle("target", PAPER, INK, size_px=14)

# Depth classes get darker with depth; the words stand beside the colour everywhere.
CLASS_FILLS: Final = ("#f1e6d3", "#e3cda6", "#cfa86a", "#9c6b2f")

DIG_STYLES: Final[dict[str, Style]] = {
    "white line": WHITE_LINE,
    "spoil line": SPOIL_LINE,
    "refind tape": TAPE_LINE,
    "cut shored": SHORED_AREA,
    "cut sloped": SLOPED_AREA,
    "cut benched": BENCHED_AREA,
    "cut box and slope": BOXED_AREA,
    **{
        f"zone {kind}": AreaStyle(colour, 0.22, LineStyle(colour, 1.6, (4.0, 4.0)))
        for kind, colour in UTILITY_COLOURS.items()
    },
    "key point": KEY_MARK,
    **{
        f"conflict {kind}": MarkStyle("diamond", colour, INK, size_px=18)
        for kind, colour in UTILITY_COLOURS.items()
    },
}


def style_values(styles: Mapping[str, Style]) -> dict[str, dict[str, object]]:
    """Return line, area and mark styles by key in plain values for the page's script."""
    return {
        key: {"as": "line", **line_values(style)}
        if isinstance(style, LineStyle)
        else area_values(style)
        if isinstance(style, AreaStyle)
        else mark_values(style)
        for key, style in styles.items()
    }


def line_values(style: LineStyle) -> dict[str, object]:
    """Return a stroke in plain values for the page's script."""
    return {
        "colour": style.colour,
        "width": style.width_px,
        "dash": " ".join(f"{length:g}" for length in style.dash_px),
        "casing": style.casing,
        "casingWidth": style.casing_px,
        "opacity": style.opacity,
        "letter": style.letter,
    }


def area_values(style: AreaStyle) -> dict[str, object]:
    """Return an area in plain values for the page's script."""
    return {
        "as": "area",
        "fill": style.fill,
        "opacity": style.opacity,
        "edge": line_values(style.edge) if style.edge else None,
        "hatch": style.hatch,
        "hatchColour": style.hatch_colour,
    }


def mark_values(style: MarkStyle) -> dict[str, object]:
    """Return a mark in plain values for the page's script."""
    return {
        "as": "mark",
        "shape": style.shape,
        "fill": style.fill,
        "edge": style.edge,
        "size": style.size_px,
    }
