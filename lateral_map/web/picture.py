"""The drawing of a report for the page: the same map and profile as map.html draws."""

from __future__ import annotations

from typing import Any, Final

from lateral_map.draw.data import map_data
from lateral_map.model.results import Report

# What is left of a drawing whose line means nothing yet.
_PLAN_ONLY: Final = frozenset(("surfaces", "buildings", "utilities", "boundaries", "points"))


def draw_picture(report: Report, *, narrow: bool, plan_only: bool) -> dict[str, Any]:
    """Return the data the drawing's script shows.

    ``narrow`` draws the profile for a telephone's width; ``plan_only`` leaves out all that rests on
    the route.
    """
    del narrow
    data = map_data(report)
    if plan_only:
        data["layers"] = [layer for layer in data["layers"] if layer["key"] in _PLAN_ONLY]
        data["facts"], data["notices"], data["tables"] = [], [], []
    return data
