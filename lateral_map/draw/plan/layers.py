"""Every layer of the plan, the same on the screen and on paper."""

from __future__ import annotations

from typing import Final

from lateral_map.draw.plan.findings import findings_layer, stretches_layer
from lateral_map.draw.plan.ground import (
    boundaries_layer,
    buildings_layer,
    picture_layer,
    surfaces_layer,
    utilities_layer,
)
from lateral_map.draw.plan.locates import locates_layer, next_locate_layer, points_layer, ties_layer
from lateral_map.draw.plan.pipe import (
    alternatives_layer,
    bends_layer,
    corridor_layer,
    crossings_layer,
    dig_layer,
    footage_layer,
    responsibility_layer,
    route_layer,
)
from lateral_map.draw.plan.scene import Layer
from lateral_map.model.results import Report

# From the ground up.
_MAKERS: Final = (
    picture_layer,
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
    # Under the locates: a locate within a stretch keeps its own colours.
    stretches_layer,
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
    "picture", "surfaces", "buildings", "dig", "corridor", "responsibility", "utilities",
    "boundaries", "alternatives", "ties", "route", "stretches", "footage", "points", "bends",
    "crossings", "next", "locates", "findings",
)  # fmt: skip


def plan_layers(report: Report) -> tuple[Layer, ...]:
    """Return every layer of the plan, the lowest first."""
    return tuple(maker(report) for maker in _MAKERS)
