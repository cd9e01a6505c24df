"""Colours and line styles of the dig review's own layers and figures."""

from __future__ import annotations

from typing import Final

from lateral_map.draw.style import (
    INK,
    OKABE_ITO,
    PAPER,
    UTILITY_COLOURS,
    AreaStyle,
    LineStyle,
    MarkStyle,
    Style,
)

SHORED_AREA: Final = AreaStyle(
    OKABE_ITO["vermillion"], 0.45, LineStyle(INK, 1.8), "falling", "#7a2f00"
)
SLOPED_AREA: Final = AreaStyle(
    "#c9a26b", 0.38, LineStyle("#6b4f2a", 1.8, (10.0, 4.0)), "dots", "#6b4f2a"
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
