"""Where does the line lie under a mapped building, or in another lot's ground?"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import shapely
from shapely.geometry import LineString

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.past import measure_past
from lateral_map.model.results import Crossing, OtherGround, Stations
from lateral_map.model.route import Route
from lateral_map.model.site import PlanArea

# A lot's front runs along the line that decides, and lies no farther before it than a verge is wide
# (common practice, no source). Any other lot line that is gone over leads into another's ground.
_ALONG: Final = math.cos(math.radians(45.0))
_VERGE_M: Final = 10.0


def find_other_ground(
    route: Route, stations: Stations, crossings: tuple[Crossing, ...]
) -> tuple[OtherGround, ...]:
    """Return the buildings the line lies under and the lot lines that lead into others, by footage.

    Of lot lines those count that are no boundary, are no front, and are gone over before, seen from
    the house, the first line that decides. Where only the 95 % range of the line reaches a
    building, it is not ``sure``. The building the pipe serves, at the run's beginning, or at its
    end where it was run against the flow, is left out.
    """
    found = [*_lot_lines_left(route, crossings)]
    run = stations.footage_m >= float(route.chain.nodes_m[0])
    if run.sum() >= 2:
        for area in route.site.plan.areas:
            if area.kind == "building":
                found += _under(route, stations, run, area)
    return tuple(sorted(found, key=lambda one: one.from_m))


def _lot_lines_left(route: Route, crossings: tuple[Crossing, ...]) -> list[OtherGround]:
    """Return the lot lines but its front gone over before, from the house, what decides is met."""
    site = route.site
    bounding = {one.line for one in site.boundaries}
    deciding = [one.line for one in site.boundaries if one.decides and one.kind == "line"]
    if not deciding:
        return []
    upstream = site.against_flow
    met = [one for one in crossings if one.decides and one.boundary[0] == "line"]
    decides = (met[-1] if upstream else met[0]) if met else None
    found = []
    for one in crossings:
        if one.kind != "property_line" or one.line in bounding:
            continue
        if decides and (one.footage_m < decides.footage_m) == upstream:
            continue
        line, at = (decides.line, decides.footage_m) if decides else (deciding[0], one.footage_m)
        normals = [measure_past(route, *pair).normal[0] for pair in
                   ((line, at), (one.line, one.footage_m))]  # fmt: skip
        before_m = abs(decides.footage_m - one.footage_m) if decides else 0.0
        if abs(float(normals[0] @ normals[1])) < _ALONG or before_m > _VERGE_M:
            found.append(OtherGround(one.line, "lot line", one.footage_m, one.footage_m))
    return found


def _under(route: Route, stations: Stations, run: np.ndarray, area: PlanArea) -> list[OtherGround]:
    """Return the stretches under one building, else the one that may be."""
    footage = stations.footage_m[run]
    place = np.column_stack([stations.easting_m, stations.northing_m])[run]
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(place, axis=0).T))])
    # The house at the end of the pipe it serves, whichever end the camera went in at.
    upstream = route.site.against_flow
    served = len(place) - 1 if upstream else 0
    sd = np.hypot(stations.across_sd_m[run], route.site.accuracy.mapped_point_m)
    near = shapely.distance(shapely.points(place), area.polygon) <= TWO_SIDED_95 * sd
    name = area.name or "a building"
    middle = LineString(place)
    met = shapely.get_parts(middle.intersection(area.polygon))
    found = []
    for part in met:
        ends = sorted(middle.project(shapely.points(at)) for at in shapely.get_coordinates(part))
        if part.length > 0.0 and abs(ends[-1 if upstream else 0] - along[served]) > 1e-6:
            begin, end = np.interp([ends[0], ends[-1]], along, footage)
            found.append(OtherGround(name, "building", float(begin), float(end)))
    if found or near[served] or not near.any():
        return found
    within = footage[near]
    return [OtherGround(name, "building", float(within[0]), float(within[-1]), sure=False)]
