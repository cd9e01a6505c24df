"""Ground to treat as holding the pipe."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Area, Layer
from lateral_map.model.results import Report
from lateral_map.words.picked import dig_picked


def dig_layer(report: Report) -> Layer:
    """Return the dig buffer: outside radius, tolerance zone and 95 % lateral uncertainty."""
    items = (
        ()
        if report.dig.polygon.is_empty
        else (Area(report.dig.polygon, "dig", dig_picked(report)),)
    )
    return Layer("dig", "Dig buffer", items, (("dig", "Dig buffer: hand dig in here"),))
