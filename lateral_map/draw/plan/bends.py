"""Bends."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Layer, Mark
from lateral_map.model.results import Report
from lateral_map.words.picked import bend_picked, bend_words


def bends_layer(report: Report) -> Layer:
    """Return every bend, its triangle pointing the way the pipe runs into it."""
    marks = []
    for bend in report.site.bends:
        east, north, _ = report.route.positions([bend.footage_m])[0].tolist()
        marks.append(
            Mark(
                east,
                north,
                "bend",
                bend_words(bend),
                bend_picked(report, bend),
                turn_deg=float(report.route.headings_deg([bend.footage_m])[0][0]),
                footage_m=bend.footage_m,
            )
        )
    return Layer("bends", "Bends", tuple(marks), (("bend", "Bend"),))
