"""How far along the main the lateral joins it, by the plan and as somebody read it in the main."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from shapely.geometry import LineString, Point

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import TapStation
from lateral_map.model.route import Route
from lateral_map.model.site import PlanPoint, Site, UtilityLine

# A manhole mapped farther than this from the main's line stands on another main.
_ON_MAIN_M: Final = 1.5


def station_tap(route: Route) -> TapStation | None:
    """Return the tap's distance along the main from a manhole, None where nothing says either.

    By geometry it runs along the plan's line from the foot of the manhole's point to the foot of
    the run's end; its variance is that of the run's end along the main and the manhole's own. Only
    a run that reached the main has one.
    """
    site = route.site
    given, line = site.main, main_line(site)
    ends = dict.fromkeys(filter(None, (given.measured_from, given.downstream, given.upstream)))
    mapped = {point.name: point for point in site.plan.points}
    placed = [mapped[name] for name in ends if name in mapped]
    manhole = given.measured_from or (placed[0].name if placed else "")
    typed = given.distance_m
    if line is None or not placed or not site.run.reached_main:
        if typed is None:
            return None
        return TapStation(manhole, None, None, None, None, typed, given.sd_distance_m)
    end_m = route.positions([site.run.end_m])[0, :2]
    covariance = route.plan_covariance([site.run.end_m])[0]
    drawn = LineString(line.vertices_m)
    at_m = drawn.project(Point(end_m))
    ahead, behind = (drawn.interpolate(at_m + step) for step in (0.5, -0.5))
    along = np.array([ahead.x - behind.x, ahead.y - behind.y])
    along /= math.hypot(*along)
    across = np.array([-along[1], along[0]])
    gap_m = float(drawn.distance(Point(end_m)))
    sd_gap_m = math.hypot(math.sqrt(across @ covariance @ across), line.sd_m or 0.0)

    def station(point: PlanPoint) -> float | None:
        foot = Point(point.easting_m, point.northing_m)
        return abs(at_m - drawn.project(foot)) if drawn.distance(foot) <= _ON_MAIN_M else None

    by_manhole = {point: found for point in placed if (found := station(point)) is not None}
    chosen = next((point for point in by_manhole if point.name == manhole), None)
    if chosen is None:
        station_m, sd_m = None, None
    else:
        station_m = by_manhole[chosen]
        sd_m = math.hypot(math.sqrt(along @ covariance @ along), chosen.sd_m)
    fits = [
        point.name
        for point, found in by_manhole.items()
        if typed is not None
        and abs(found - typed)
        <= TWO_SIDED_95
        * math.hypot(math.sqrt(along @ covariance @ along), point.sd_m, given.sd_distance_m)
    ]
    return TapStation(
        manhole, station_m, sd_m, gap_m, sd_gap_m, typed,
        None if typed is None else given.sd_distance_m, tuple(fits),
    )  # fmt: skip


def main_line(site: Site) -> UtilityLine | None:
    """Return the main as the plan holds it: the one named, else its only sewer."""
    sewers = [one for one in site.plan.utilities if one.utility == "sewer"]
    if site.main.line:
        sewers = [one for one in site.plan.utilities if one.name == site.main.line]
    return sewers[0] if len(sewers) == 1 else None
