"""Footages ticked along the line."""

from __future__ import annotations

from typing import Final

import numpy as np

from lateral_map.draw.plan.scene import Layer, Mark
from lateral_map.model.results import Report
from lateral_map.units import from_metres, to_metres

_STEPS: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_TICK_WEIGHT: Final = 1


def footage_layer(report: Report, step_m: float | None = None) -> Layer:
    """Return a tick across the line at every ``step_m`` of footage, about ten where not given."""
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    unit = report.site.unit
    step = step_m or round_step_m((last - first) / 14.0, unit)
    at = step * np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 1.0)
    places = report.route.positions(at)[:, :2]
    headings = report.route.headings_deg(at)[0]
    marks = tuple(
        Mark(
            float(east),
            float(north),
            "tick",
            f"{from_metres(footage, unit):zg}",
            turn_deg=float(heading),
            footage_m=float(footage),
            weight=_TICK_WEIGHT,
        )
        for footage, (east, north), heading in zip(at, places, headings, strict=True)
    )
    return Layer("footage", "Footage", marks, (("tick", "Footage along the pipe"),))


def round_step_m(least_m: float, unit: str) -> float:
    """Return a round number of the unit (m), no less than ``least_m`` but for very long ones."""
    steps = [to_metres(value, unit) for value in _STEPS]
    return next((step for step in steps if step >= least_m), steps[-1])
