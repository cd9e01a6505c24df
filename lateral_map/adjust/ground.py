"""The ground along the run, from whatever levels were measured."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lateral_map.adjust.chain import transmitter_footage_m, used_locates
from lateral_map.model.arrays import Floats
from lateral_map.model.route import Chain, Ground
from lateral_map.model.site import Site

# Ground between known levels may rise or dip unseen: 3 % of the distance to the nearest one.
# A reasoned allowance (common practice, no source).
_UNSEEN_SLOPE = 0.03
_NEAR_SPOT_M = 6.0


def has_levels(site: Site) -> bool:
    """Say whether anybody measured the ground."""
    return (
        site.start.ground_m is not None
        or has_surface(site)
        or any(locate.ground_m is not None for locate in used_locates(site))
    )


def has_surface(site: Site) -> bool:
    """Say whether levels stand about the plan, not only along the line."""
    return bool(site.plan.levels) or site.plan.terrain is not None


def lay_ground(site: Site, chain: Chain, route_m: Floats) -> Ground:
    """Return the ground along the chain.

    ``route_m`` (nodes, 2) is the best plan position of the chain's nodes so far; spot levels are
    read off at those places. Without any level the ground is a level line at elevation 0.
    """
    if not has_levels(site):
        zero = np.array([chain.zero_m])
        return Ground(zero, np.zeros(1), np.zeros(1), True, np.zeros(0))
    footage, level, distance = _known_along(site, chain, route_m)
    order = np.argsort(footage, kind="stable")
    footage, level, distance = footage[order], level[order], distance[order]
    first = np.concatenate([[True], np.diff(footage) > 1e-6])
    footage, level, distance = footage[first], level[first], distance[first]
    return _with_uncertainty(site, chain, footage, level, distance)


def _known_along(site: Site, chain: Chain, route_m: Floats) -> tuple[Floats, Floats, Floats]:
    """Return footages, elevations, and how far each stands from where it was measured (m)."""
    direct = [
        (transmitter_footage_m(site, one), one.ground_m, 0.0)
        for one in used_locates(site)
        if one.ground_m is not None
    ]
    if site.start.ground_m is not None:
        direct.insert(0, (chain.zero_m, site.start.ground_m, 0.0))
    rows = direct + [
        row
        for row in _from_spot_levels(site, chain, route_m)
        if all(abs(row[0] - known[0]) > 1e-6 for known in direct)
    ]
    if not rows:
        rows = [_nearest_spot(site, chain, route_m)]
    table = np.array(rows, float)
    return table[:, 0], table[:, 1], table[:, 2]


def _from_spot_levels(
    site: Site, chain: Chain, route_m: Floats
) -> list[tuple[float, float, float]]:
    if not has_surface(site):
        return []
    spots = _spots(site)
    gap = np.hypot(*(route_m[:, None, :] - spots[None, :, :2]).transpose(2, 0, 1))
    surface = _surface(spots)
    if surface is not None:
        level = surface(route_m)
        inside = np.isfinite(level)
        nearest = gap.min(axis=1)
        return list(
            zip(
                chain.nodes_m[inside].tolist(),
                level[inside].tolist(),
                nearest[inside].tolist(),
                strict=True,
            )
        )
    closest = gap.argmin(axis=0)
    return [
        (float(chain.nodes_m[node]), float(spots[i, 2]), float(gap[node, i]))
        for i, node in enumerate(closest)
        if gap[node, i] <= _NEAR_SPOT_M
    ]


def _nearest_spot(site: Site, chain: Chain, route_m: Floats) -> tuple[float, float, float]:
    """Carry the one nearest spot level across where none lies near the line."""
    spots = _spots(site)
    gap = np.hypot(*(route_m[:, None, :] - spots[None, :, :2]).transpose(2, 0, 1))
    node, spot = np.unravel_index(int(gap.argmin()), gap.shape)
    return float(chain.nodes_m[node]), float(spots[spot, 2]), float(gap[node, spot])


def _spots(site: Site) -> Floats:
    """Return (n, 3) easting, northing, elevation of spot levels and terrain."""
    levels = [[s.easting_m, s.northing_m, s.elevation_m] for s in site.plan.levels]
    spots = np.array(levels, float).reshape(-1, 3)
    terrain = site.plan.terrain
    return spots if terrain is None else np.concatenate([spots, terrain.points_m])


def _surface(spots: Floats) -> Callable[[Floats], Floats] | None:
    """Return a linear surface through three or more spot levels, None where they lie in a row."""
    from scipy.interpolate import LinearNDInterpolator
    from scipy.spatial import QhullError

    if len(spots) < 3:
        return None
    try:
        surface = LinearNDInterpolator(spots[:, :2], spots[:, 2])
    except QhullError:
        return None
    return lambda points: np.asarray(surface(points), float)


def _with_uncertainty(
    site: Site, chain: Chain, footage: Floats, level: Floats, distance: Floats
) -> Ground:
    """Give every chain node a level and a 1 sd that grows away from the measured ones."""
    corrections = [chain.zero_m] + [
        transmitter_footage_m(site, one)
        for one in used_locates(site)
        if one.depth_m is not None or one.nulls_m is not None
    ]
    knots = np.unique(np.concatenate([[chain.zero_m], chain.nodes_m, footage]))
    away = (np.abs(knots[:, None] - footage[None, :]) + distance[None, :]).min(axis=1)
    return Ground(
        knots_m=knots,
        levels_m=np.interp(knots, footage, level),
        sd_m=np.hypot(_sd_measured(site), _UNSEEN_SLOPE * away),
        is_level=False,
        correction_knots_m=_distinct(np.array(corrections)),
    )


def _sd_measured(site: Site) -> float:
    """Return the 1 sd (m) of a ground level where one was measured, or read off the terrain."""
    terrain = site.plan.terrain
    return site.accuracy.ground_m if terrain is None else terrain.sd_m


def _distinct(footages: Floats) -> Floats:
    ordered = np.sort(footages)
    return np.asarray(ordered[np.concatenate([[True], np.diff(ordered) > 1e-6])])
