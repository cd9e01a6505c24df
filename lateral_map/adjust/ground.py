"""The ground along the run, from whatever levels were measured."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point

from lateral_map.model.arrays import Floats
from lateral_map.model.route import Chain, Ground
from lateral_map.model.site import PlanArea, Site

# Ground between known levels may rise or dip unseen: 3 % of the distance to the nearest one.
# A reasoned allowance (common practice, no source).
_UNSEEN_SLOPE = 0.03
_NEAR_SPOT_M = 6.0
# The floor gives way to the yard at the wall, within this much footage.
_STEP_M = 1e-3


def has_levels(site: Site) -> bool:
    """Say whether anybody measured the ground."""
    return (
        site.start.ground_m is not None
        or has_surface(site)
        or any(locate.ground_m is not None for locate in site.used_locates())
    )


def has_surface(site: Site) -> bool:
    """Say whether levels stand about the plan, not only along the line."""
    return bool(site.plan.levels) or site.plan.terrain is not None


def floor_under_start(site: Site) -> PlanArea | None:
    """Return the building the run starts in, whose floor is a level of its own; None outdoors."""
    if site.start.ground_m is None:
        return None
    place = Point(site.start.easting_m, site.start.northing_m)
    inside = (a for a in site.plan.areas if a.kind == "building" and a.polygon.contains(place))
    return next(inside, None)


def _wall_m(building: PlanArea, chain: Chain, route_m: Floats) -> float:
    """Return the footage at which the run first leaves a building, its start where it stands."""
    run = LineString(route_m)
    if run.length == 0.0:
        return float(chain.nodes_m[0]) + _STEP_M
    wall = run.intersection(building.polygon.exterior)
    if wall.is_empty:
        return float(chain.nodes_m[-1])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(route_m, axis=0).T))])
    out = min(run.project(Point(xy)) for xy in shapely.get_coordinates(wall))
    return float(np.interp(out, along, chain.nodes_m))


def lay_ground(site: Site, chain: Chain, route_m: Floats) -> Ground:
    """Return the ground along the chain.

    ``route_m`` (nodes, 2) is the best plan position of the chain's nodes so far; spot levels are
    read off at those places. A run that starts in a building starts from that floor, which holds up
    to the wall and nowhere beyond: nothing is interpolated from a floor to the yard. Without any
    level the ground is a level line at elevation 0.
    """
    if not has_levels(site):
        zero = np.array([chain.zero_m])
        return Ground(zero, np.zeros(1), np.zeros(1), True, np.zeros(0))
    direct = [
        (site.transmitter_footage_m(one), one.ground_m, 0.0)
        for one in site.used_locates()
        if one.ground_m is not None
    ]
    building = floor_under_start(site)
    if site.start.ground_m is not None and building is None:
        direct.insert(0, (chain.zero_m, site.start.ground_m, 0.0))
    known = direct + [
        row
        for row in _from_spot_levels(site, chain, route_m, at_least_one=not direct)
        if all(abs(row[0] - one[0]) > 1e-6 for one in direct)
    ]
    wall = None if building is None else _wall_m(building, chain, route_m)
    if wall is not None:
        # A level is no yard's where the run is still indoors, and the floor is none outdoors.
        known = [row for row in known if row[0] >= wall]
    if not known:
        known = [(chain.zero_m, site.start.ground_m or 0.0, 0.0)]
        wall = None
    table = np.array(sorted(known, key=lambda row: row[0]), float)
    footage, level, distance = table[_apart(table[:, 0])].T
    knots = np.unique(np.concatenate([[chain.zero_m], chain.nodes_m, footage]))
    if wall is not None:
        knots = np.unique([*knots, wall, wall + _STEP_M])
    # The 1 sd grows away from the measured levels.
    away = (np.abs(knots[:, None] - footage[None, :]) + distance[None, :]).min(axis=1)
    terrain = site.plan.terrain
    sd_measured = site.accuracy.ground_m if terrain is None else terrain.sd_m
    read = [
        one for one in site.used_locates() if one.depth_m is not None or one.nulls_m is not None
    ]
    levels = np.interp(knots, footage, level)
    sd = np.hypot(sd_measured, _UNSEEN_SLOPE * away)
    if wall is not None:
        indoors = knots <= wall
        levels[indoors], sd[indoors] = site.start.ground_m, site.accuracy.ground_m
    corrected = np.sort([chain.zero_m, *(site.transmitter_footage_m(one) for one in read)])
    return Ground(
        knots_m=knots,
        levels_m=levels,
        sd_m=sd,
        is_level=False,
        correction_knots_m=corrected[_apart(corrected)],
    )


def _apart(footages: Floats) -> NDArray[np.bool_]:
    """Say of ascending footages which are not the one before over again."""
    return np.concatenate([[True], np.diff(footages) > 1e-6])


def _from_spot_levels(
    site: Site, chain: Chain, route_m: Floats, *, at_least_one: bool
) -> list[tuple[float, float, float]]:
    """Return footages, elevations, and how far each stands from where it was measured (m).

    Where spot levels and terrain make a surface it is read off at every node within it; else those
    near the line count, and where there is none ``at_least_one`` takes the nearest.
    """
    if not has_surface(site):
        return []
    spots = site.plan.spots_m
    gap = np.hypot(*(route_m[:, None, :] - spots[None, :, :2]).transpose(2, 0, 1))
    if site.plan.surface is not None:
        level = np.asarray(site.plan.surface(route_m), float)
        inside = np.isfinite(level)
        columns = chain.nodes_m[inside], level[inside], gap.min(axis=1)[inside]
        found = list(zip(*(column.tolist() for column in columns), strict=True))
    else:
        closest = gap.argmin(axis=0)
        found = [
            (float(chain.nodes_m[node]), float(spots[i, 2]), float(gap[node, i]))
            for i, node in enumerate(closest)
            if gap[node, i] <= _NEAR_SPOT_M
        ]
    if not found and at_least_one:
        node, spot = np.unravel_index(int(gap.argmin()), gap.shape)
        found = [(float(chain.nodes_m[node]), float(spots[spot, 2]), float(gap[node, spot]))]
    return found
