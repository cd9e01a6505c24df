"""Where things stand on a sheet: plan above, profile under it, the title strip along the foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.sheet.paper import Paper

BORDER_PT: Final = 28.0
AXIS_PT: Final = 42.0
ROW_PT: Final = 11.0
ROWS: Final = 5
_SMALL_IN: Final = 9.0
_FLAGS_PT: Final = 108.0
_FLAGS_SMALL_PT: Final = 96.0


@dataclass(frozen=True, slots=True)
class Panels:
    """The boxes of one sheet, in points.

    ``graph`` is the profile's own grid; ``flags`` the band of upright labels over it; ``rows`` the
    figures under it.
    """

    border: Box
    plan: Box
    profile: Box
    flags: Box
    graph: Box
    rows: Box
    strip: Box


def panels_on(paper: Paper) -> Panels:
    """Lay out a sheet of ``paper``."""
    border = Box(BORDER_PT, BORDER_PT, paper.width_pt - BORDER_PT, paper.height_pt - BORDER_PT)
    small = paper.height_in < _SMALL_IN
    strip_height = 104.0 if small else 116.0
    strip = Box(border.left, border.bottom - strip_height, border.right, border.bottom)
    room = strip.top - border.top
    split = border.top + (0.44 if small else 0.465) * room
    plan = Box(border.left, border.top, border.right, split)
    profile = Box(border.left, split, border.right, strip.top)
    flags_height = _FLAGS_SMALL_PT if small else _FLAGS_PT
    left, right = profile.left + AXIS_PT, profile.right - AXIS_PT
    rows = Box(left, profile.bottom - ROWS * ROW_PT, right, profile.bottom)
    flags = Box(left, profile.top + 12.0, right, profile.top + 12.0 + flags_height)
    graph = Box(left, flags.bottom, right, rows.top - 2.0)
    return Panels(border, plan, profile, flags, graph, rows, strip)
