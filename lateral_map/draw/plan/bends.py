"""Bends."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Detail, Layer, Mark
from lateral_map.model.results import Report
from lateral_map.model.site import Bend
from lateral_map.words.numbers import length, tidy


def bend_words(bend: Bend) -> str:
    """Return a bend in words, such as ``45° right, 22.5° down``."""
    return ", ".join(bend.angles_in_words()) or "straight"


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
    rows = (
        ("Footage", length(bend.footage_m, report.site.unit)),
        ("Known by", "its fitting" if bend.how == "fitting" else "eye"),
    )
    detail = Detail(f"Bend {bend_words(bend)}", rows, tidy(bend.note))
    return Mark(
        east,
        north,
        "bend",
        bend_words(bend),
        detail,
        turn_deg=heading,
        footage_m=bend.footage_m,
    )
