"""Where things stand on a sheet: plan above, profile under it, the title strip along the foot."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from lateral_map.draw.paint.labels import Box
from lateral_map.draw.profile.events import LANE_PT
from lateral_map.draw.profile.rows import ROW_PT
from lateral_map.draw.sheet.paper import Paper

BORDER_PT: Final = 28.0
AXIS_PT: Final = 54.0
ROWS: Final = 5
_SMALL_IN: Final = 9.0
_HEADING_PT: Final = 13.0


@dataclass(frozen=True, slots=True)
class Panels:
    """The boxes of one sheet, in points.

    ``graph`` is the profile's own grid as it is where its labels fill ``lanes_above`` over it and
    ``lanes_below`` under it; ``rows`` the figures at its foot.
    """

    border: Box
    plan: Box
    profile: Box
    heading: Box
    graph: Box
    rows: Box
    strip: Box
    lanes_above: int
    lanes_below: int


def panels_on(paper: Paper) -> Panels:
    """Lay out a sheet of ``paper``."""
    border = Box(BORDER_PT, BORDER_PT, paper.width_pt - BORDER_PT, paper.height_pt - BORDER_PT)
    small = paper.height_in < _SMALL_IN
    strip_height = 104.0 if small else 116.0
    strip = Box(border.left, border.bottom - strip_height, border.right, border.bottom)
    room = strip.top - border.top
    split = border.top + (0.44 if small else 0.445) * room
    plan = Box(border.left, border.top, border.right, split)
    profile = Box(border.left, split, border.right, strip.top)
    above, below = (4, 3) if small else (6, 4)
    left, right = profile.left + AXIS_PT, profile.right - AXIS_PT
    heading = replace(profile, bottom=profile.top + _HEADING_PT)
    rows = Box(left, profile.bottom - ROWS * ROW_PT, right, profile.bottom)
    graph = Box(
        left, heading.bottom + above * LANE_PT + 4.0, right, rows.top - below * LANE_PT - 6.0
    )
    return Panels(border, plan, profile, heading, graph, rows, strip, above, below)
