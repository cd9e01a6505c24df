"""Every layer of the plan, the same on the screen and on paper."""

from __future__ import annotations

from typing import Final

from lateral_map.draw.plan.bends import bends_layer
from lateral_map.draw.plan.boundaries import boundaries_layer
from lateral_map.draw.plan.crossings import crossings_layer
from lateral_map.draw.plan.dig import dig_layer
from lateral_map.draw.plan.findings import findings_layer
from lateral_map.draw.plan.footage import footage_layer
from lateral_map.draw.plan.ground import buildings_layer, surfaces_layer
from lateral_map.draw.plan.locates import locates_layer, points_layer, ties_layer
from lateral_map.draw.plan.next_locate import next_locate_layer
from lateral_map.draw.plan.responsibility import responsibility_layer
from lateral_map.draw.plan.route import alternatives_layer, corridor_layer, route_layer
from lateral_map.draw.plan.scene import Layer
from lateral_map.draw.plan.utilities import utilities_layer
from lateral_map.model.results import Report

# From the ground up.
_MAKERS: Final = (
    surfaces_layer,
    buildings_layer,
    dig_layer,
    corridor_layer,
    responsibility_layer,
    utilities_layer,
    boundaries_layer,
    alternatives_layer,
    ties_layer,
    route_layer,
    footage_layer,
    points_layer,
    bends_layer,
    crossings_layer,
    # Under the findings: one is often proposed, or made, at the very finding in question.
    next_locate_layer,
    locates_layer,
    findings_layer,
)
LAYER_KEYS: Final = (
    "surfaces", "buildings", "dig", "corridor", "responsibility", "utilities", "boundaries",
    "alternatives", "ties", "route", "footage", "points", "bends", "crossings", "next", "locates",
    "findings",
)  # fmt: skip


def plan_layers(report: Report) -> tuple[Layer, ...]:
    """Return every layer of the plan, the lowest first."""
    return tuple(maker(report) for maker in _MAKERS)
