"""Bends."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Layer, Mark
from lateral_map.model.results import Report
from lateral_map.model.site import Bend
from lateral_map.words.picked import bend_picked, bend_words


def bends_layer(report: Report) -> Layer:
    """Return every bend, its triangle pointing the way the pipe runs into it."""
    return Layer(
        "bends",
        "Bends",
        tuple(_mark(report, bend) for bend in report.site.bends),
        (("bend", "Bend"),),
    )


def _mark(report: Report, bend: Bend) -> Mark:
    east, north, _ = (float(value) for value in report.route.positions([bend.footage_m])[0])
    heading = float(report.route.headings_deg([bend.footage_m])[0][0])
    return Mark(
        east,
        north,
        "bend",
        bend_words(bend),
        bend_picked(report, bend),
        turn_deg=heading,
        footage_m=bend.footage_m,
    )
