"""Trenches and digs known by arithmetic alone."""

from __future__ import annotations

from typing import Any

import numpy as np
from analysis.builder import HandRoute

from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.trench import lay_trench
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.model.results import PipeStretch
from lateral_map.model.route import Route
from lateral_map.model.site import DigRules, Plan
from lateral_map.model.walls import WallShape

FOOT = 0.3048
INCH = 0.0254


def pipe(to_m: float = 300.0, outside_in: float = 0.0) -> PipeStretch:
    """Return a pipe whose wall is nothing, so that crown, invert and bottom are plain."""
    return PipeStretch(0.0, to_m, "other", outside_in * INCH, outside_in * INCH, "by hand")


def dig_rules(soil: str = "C", width_ft: float = 2.0, **fields: Any) -> DigRules:
    return DigRules(soil=soil, trench_width_m=width_ft * FOOT, bedding_m=0.0, **fields)  # type: ignore[arg-type]


def sloped(slope: float) -> WallShape:
    """Return a wall of one slope, run over rise, from the bottom to the ground."""
    return WallShape((slope,))


def trench(route: Route, dig: DigRules, pipes: tuple[PipeStretch, ...] | None = None):
    """Return (profile, rules) of a route's trench."""
    rules = read_trench_rules(dig)
    return lay_trench(lay_stations(route), pipes or (pipe(),), dig, rules), rules


def straight(
    length_m: float = 20 * FOOT,
    depth_m: float = 8 * FOOT,
    pitch: float = 0.0,
    plan: Plan | None = None,
    dig: DigRules | None = None,
    **fields: Any,
) -> Route:
    """Return a run heading east from the origin under level ground."""
    more = {"plan": plan or Plan(), "dig": dig or dig_rules()}
    return HandRoute(
        lengths_m=(length_m,), depth_m=depth_m, pitches=pitch, site_fields=more, **fields
    ).build()


def polyline(rng: np.random.Generator, count: int, dimensions: int) -> np.ndarray:
    """Return random vertices some metres apart."""
    return rng.uniform(-10.0, 10.0, (count, dimensions))
