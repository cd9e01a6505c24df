"""Ground to treat as holding the pipe."""

from __future__ import annotations

from lateral_map.draw.plan.scene import Area, Detail, Layer
from lateral_map.model.results import Report
from lateral_map.words.numbers import length, tidy


def dig_layer(report: Report) -> Layer:
    """Return the dig buffer: outside radius, tolerance zone and 95 % lateral uncertainty."""
    dig, unit = report.dig, report.site.unit
    narrowest, widest = (
        length(float(m), unit) for m in (dig.half_width_m.min(), dig.half_width_m.max())
    )
    rows = (
        ("Tolerance zone", f"{length(dig.tolerance_m, unit)} each side of the pipe's wall"),
        ("Rule", tidy(dig.rule) or "none written in site.toml"),
        ("Half width", f"{narrowest} to {widest}"),
    )
    detail = Detail(
        "Dig buffer",
        rows,
        "Hand dig or vacuum in here. It is this pipe's buffer only: every other line in the ground "
        "has one of its own, and this is no one-call ticket.",
    )
    items = () if dig.polygon.is_empty else (Area(dig.polygon, "dig", detail),)
    return Layer("dig", "Dig buffer", items, (("dig", "Dig buffer: hand dig in here"),))
