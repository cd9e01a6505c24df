"""Where one more locate would help most."""

from __future__ import annotations

from lateral_map.draw.plan.scene import NEXT_LOCATE, Detail, Layer, Mark
from lateral_map.model.results import Report
from lateral_map.words.numbers import length, range_95, tidy
from lateral_map.words.technician import next_locate_words


def next_locate_layer(report: Report) -> Layer:
    """Return the suggested next locate, if any."""
    suggestion = report.next_locate
    if suggestion is None:
        return Layer("next", "Next locate", ())
    unit = report.site.unit
    detail = Detail(
        f"Locate next at {length(suggestion.footage_m, unit)}",
        (
            ("Range now", range_95(suggestion.sd_before_m, unit)),
            ("Range after", range_95(suggestion.sd_after_m, unit)),
        ),
        tidy(next_locate_words(report.next_locate, report.site)),
    )
    mark = Mark(
        suggestion.easting_m,
        suggestion.northing_m,
        "next",
        f"locate next: {length(suggestion.footage_m, unit)}",
        detail,
        footage_m=suggestion.footage_m,
        weight=NEXT_LOCATE,
    )
    return Layer("next", "Next locate", (mark,), (("next", "Where one more locate helps most"),))
