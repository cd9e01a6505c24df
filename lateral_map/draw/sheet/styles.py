"""The screen styles of draw.style, looked up by the keys that drawing elements carry."""

from __future__ import annotations

from typing import Final

from lateral_map.draw import style
from lateral_map.draw.style import AreaStyle, LineStyle, MarkStyle

LINES: Final[dict[str, LineStyle]] = {
    **{f"basis {name}": each for name, each in style.BASIS_LINES.items()},
    **{f"line {name}": each for name, each in style.LINE_KINDS.items()},
    **{f"utility {name}": each for name, each in style.UTILITY_LINES.items()},
    "alternative": style.ALTERNATIVE_LINE,
    "stretch": style.STRETCH_LINE,
}
AREAS: Final[dict[str, AreaStyle]] = {
    **{f"cover {name}": each for name, each in style.COVER_AREAS.items()},
    "building": style.BUILDING_AREA,
    "corridor": style.CORRIDOR_AREA,
    "dig": style.DIG_AREA,
}
MARKS: Final[dict[str, MarkStyle]] = {
    **{f"side {name}": each for name, each in style.SIDE_MARKS.items()},
    **{f"locate {name}": each for name, each in style.LOCATE_MARKS.items()},
    "side none": style.NO_SIDE_MARK,
    "bend": style.BEND_MARK,
    "gate": style.GATE_MARK,
    "terminal": style.START_MARK,
    "point": style.POINT_MARK,
    "level": style.LEVEL_MARK,
    "next": style.NEXT_MARK,
}
