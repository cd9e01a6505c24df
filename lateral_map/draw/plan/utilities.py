"""Mapped utilities in the APWA colours, lettered for black and white."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Detail, Layer, Line
from lateral_map.draw.style import UTILITY_LETTERS
from lateral_map.model.results import Report
from lateral_map.model.site import UtilityLine
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.numbers import length, range_95, tidy


def utilities_layer(report: Report) -> Layer:
    """Return the plan's utilities."""
    utilities = report.site.plan.utilities
    items = tuple(
        Line(utility.vertices_m, f"utility {utility.utility}", _detail(report, utility))
        for utility in utilities
    )
    kinds = {utility.utility for utility in utilities}
    legend = tuple(
        (f"utility {kind}", f"{UTILITY_WORDS[kind]}, lettered {UTILITY_LETTERS[kind]}")
        for kind in UTILITY_WORDS
        if kind in kinds
    )
    return Layer("utilities", "Mapped utilities", items, legend)


def _detail(report: Report, utility: UtilityLine) -> Detail:
    unit = report.site.unit
    depth = "unknown" if utility.depth_m is None else f"{length(utility.depth_m, unit)} to its top"
    rows = [("Utility", UTILITY_WORDS[utility.utility]), ("Depth", depth)]
    if utility.sd_m is not None:
        rows.append(("Mapped to", range_95(utility.sd_m, unit)))
    if utility.source:
        rows.append(("Source", tidy(utility.source)))
    return Detail(
        tidy(utility.name) or UTILITY_WORDS[utility.utility],
        tuple(rows),
        "As mapped: have it marked by its owner before digging.",
    )
