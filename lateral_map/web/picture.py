"""The drawing of a report for the page: the same map and profile as map.html draws."""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from lateral_map.draw.data import map_data
from lateral_map.draw.plan.scene import bounds_of
from lateral_map.draw.profile.painter import PageWidth, page_profile
from lateral_map.model.results import Report

# What is left of a drawing whose line means nothing yet.
_YARD_M: Final = 15.0
_PLAN_ONLY: Final = frozenset(("surfaces", "buildings", "utilities", "boundaries", "points"))


def draw_map(report: Report, *, plan_only: bool) -> dict[str, Any]:
    """Return the data the drawing's script shows, without the profile.

    The profile takes the longer to draw: the page asks for it at once, and draws the map meanwhile.
    ``plan_only`` leaves out all that rests on the route.
    """
    data = map_data(report, widths=())
    if plan_only:
        data["layers"] = [layer for layer in data["layers"] if layer["key"] in _PLAN_ONLY]
        data["facts"], data["notices"], data["tables"] = [], [], []
        # Round the plan's points and lines, a small yard at least.
        start, plan = report.site.start, report.site.plan
        middle = np.array([[start.easting_m, start.northing_m]])
        known = [np.array([[point.easting_m, point.northing_m]]) for point in plan.points]
        known += [line.vertices_m for line in plan.lines]
        yard = known or [middle - _YARD_M, middle + _YARD_M]
        west, south, east, north = (round(one, 3) for one in bounds_of(yard, _YARD_M / 4.0))
        data["view"] = {"must": [[west, south], [east, north]], "beside": [], "along": None}
    return data


def draw_profile(report: Report, *, narrow: bool) -> dict[str, Any]:
    """Return the profile for a page's width, by the name of that width."""
    width: PageWidth = "narrow" if narrow else "wide"
    return {width: page_profile(report, width)}
