"""Surfaces by cover, and buildings."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Area, Layer
from lateral_map.model.results import Report
from lateral_map.words.names import COVER_WORDS
from lateral_map.words.numbers import label
from lateral_map.words.picked import area_picked


def surfaces_layer(report: Report) -> Layer:
    """Return the plan's surfaces, each hatched by its cover."""
    surfaces = [area for area in report.site.plan.areas if area.kind == "surface"]
    items = tuple(
        Area(
            area.polygon,
            f"cover {area.cover or 'other'}",
            area_picked(area),
        )
        for area in surfaces
    )
    covers = {area.cover or "other" for area in surfaces}
    legend = tuple(
        (f"cover {cover}", COVER_WORDS[cover]) for cover in COVER_WORDS if cover in covers
    )
    return Layer("surfaces", "Surfaces", items, legend)


def buildings_layer(report: Report) -> Layer:
    """Return the plan's buildings."""
    items = tuple(
        Area(area.polygon, "building", area_picked(area), label(area.name))
        for area in report.site.plan.areas
        if area.kind == "building"
    )
    return Layer("buildings", "Buildings", items, (("building", "Building"),))
