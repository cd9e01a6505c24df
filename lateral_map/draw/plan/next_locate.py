"""Where one more locate would help most."""

from __future__ import annotations

from lateral_map.draw.plan.scene import NEXT_LOCATE, Layer, Mark
from lateral_map.model.results import Report
from lateral_map.words.numbers import length
from lateral_map.words.picked import next_locate_picked


def next_locate_layer(report: Report) -> Layer:
    """Return the suggested next locate, if any."""
    suggestion = report.next_locate
    if suggestion is None:
        return Layer("next", "Next locate", ())
    mark = Mark(
        suggestion.easting_m,
        suggestion.northing_m,
        "next",
        f"locate next: {length(suggestion.footage_m, report.site.unit)}",
        next_locate_picked(report),
        footage_m=suggestion.footage_m,
        weight=NEXT_LOCATE,
    )
    return Layer("next", "Next locate", (mark,), (("next", "Where one more locate helps most"),))
