"""Mapped utilities in the APWA colours, lettered for black and white."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Layer, Line
from lateral_map.draw.style import UTILITY_LETTERS
from lateral_map.model.results import Report
from lateral_map.words.names import UTILITY_WORDS
from lateral_map.words.picked import utility_picked


def utilities_layer(report: Report) -> Layer:
    """Return the plan's utilities."""
    utilities = report.site.plan.utilities
    items = tuple(
        Line(
            utility.vertices_m,
            f"utility {utility.utility}{' depth unknown' if utility.depth_m is None else ''}",
            utility_picked(utility, report.site.unit),
        )
        for utility in utilities
    )
    used = {item.style for item in items}
    legend = []
    for kind, words in UTILITY_WORDS.items():
        letter = UTILITY_LETTERS[kind]
        legend.append((f"utility {kind}", f"{words}, lettered {letter}"))
        legend.append((f"utility {kind} depth unknown", f"{words}, depth unknown, {letter}?"))
    rows = tuple((style, words) for style, words in legend if style in used)
    return Layer("utilities", "Mapped utilities", items, rows)
