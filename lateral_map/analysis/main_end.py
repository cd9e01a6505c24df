"""Does a run that is said to end at the main end where the plan has one?"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from shapely.geometry import LineString, Point

from lateral_map.model.results import MissedMain
from lateral_map.model.route import Route
from lateral_map.model.trench import UtilityConflict


def miss_main(route: Route, utilities: Iterable[UtilityConflict]) -> MissedMain | None:
    """Return the mapped sewer nearest to the end of a run that joins none, and how far off it is.

    None where the run is not said to end at the main, where the plan holds no sewer, and where one
    lies at its end as well as that is known. Its sd joins the run's end and the map, across the
    line.
    """
    site = route.site
    sewers = [one for one in site.plan.utilities if one.utility == "sewer"]
    if not site.run.reached_main or not sewers or any(one.joins for one in utilities):
        return None
    end_m = Point(route.positions([site.run.end_m])[0, :2])
    drawn = {one.name: LineString(one.vertices_m) for one in sewers}
    nearest = min(sewers, key=lambda one: drawn[one.name].distance(end_m))
    line = drawn[nearest.name]
    foot = line.interpolate(line.project(end_m))
    away = np.array([foot.x - end_m.x, foot.y - end_m.y]) / max(foot.distance(end_m), 1e-9)
    variance = float(away @ route.plan_covariance([site.run.end_m])[0] @ away)
    return MissedMain(
        nearest.name, foot.distance(end_m), math.hypot(math.sqrt(variance), nearest.sd_m or 0.0)
    )
