"""What section must be dug at every station?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.model.arrays import Floats, read_only
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import TrenchRules
from lateral_map.model.earthwork import corner_depth_m
from lateral_map.model.results import PipeStretch, Stations
from lateral_map.model.site import DigRules, Site
from lateral_map.model.trench import TrenchProfile
from lateral_map.model.walls import WallShape, draw_wall
from lateral_map.units import to_metres

_INCH: Final = to_metres(1.0, "in")
# The ground across is looked at as far out as this, a third of it at a time.
_ACROSS_M: Final = to_metres(10.0, "ft")
# Where nobody measured the ground across, it may rise by this on either side: 1 in 20 (a reasoned
# allowance, no source).
UNSEEN_RISE: Final = 0.05


@dataclass(frozen=True, slots=True)
class CrossSlope:
    """How the ground rises outwards from above the pipe, over its run, one entry a station.

    ``unseen`` is by how much steeper it may be on either side.
    """

    left: Floats
    right: Floats
    unseen: Floats


def measure_cross_slope(site: Site, stations: Stations) -> CrossSlope:
    """Return the ground's rise to either side of the pipe, from spot levels and terrain.

    Of what is known within 10 ft the steepest counts, as seen from above the pipe. Where nothing is
    known on a side the ground is taken as level there, and an allowance is made for what it may be.
    """
    count = len(stations.footage_m)
    rises, seen = np.zeros((2, count)), np.zeros((2, count), bool)
    surface = site.plan.surface
    if surface is not None:
        place = np.stack([stations.easting_m, stations.northing_m], axis=-1)
        heading = np.radians(stations.heading_deg)
        right = np.stack([np.cos(heading), -np.sin(heading)], axis=-1)
        out = _ACROSS_M * np.array([1.0, 2.0, 3.0]) / 3.0
        level = surface(place)[:, None]
        for side, sign in enumerate((-1.0, 1.0)):
            places = place[:, None] + sign * out[None, :, None] * right[:, None]
            rise = (surface(places) - level) / out
            seen[side] = np.isfinite(rise).any(axis=1)
            rises[side] = np.where(np.isfinite(rise), rise, -np.inf).max(axis=1)
    rises[~seen] = 0.0
    sd = site.accuracy.ground_m if site.plan.terrain is None else site.plan.terrain.sd_m
    measured = TWO_SIDED_95 * np.sqrt(2.0) * sd / _ACROSS_M
    unseen = np.where(seen.all(axis=0), np.minimum(measured, UNSEEN_RISE), UNSEEN_RISE)
    return CrossSlope(read_only(rises[0]), read_only(rises[1]), read_only(unseen))


def lay_trench(
    stations: Stations,
    pipes: Iterable[PipeStretch],
    dig: DigRules,
    rules: TrenchRules,
    across: CrossSlope | None = None,
) -> TrenchProfile:
    """Return the trench's section at every station.

    The bottom lies under the pipe's outside wall by the bedding. Across the pipe the ground lies as
    ``across`` says, level without it. Sloped walls rise from the bottom at the slope of the softest
    soil in the rules; where a pipe ends and another begins the wider counts.
    """
    footage = stations.footage_m
    diameter, wall = np.zeros(len(footage)), np.zeros(len(footage))
    for pipe in pipes:
        here = (pipe.from_m <= footage + 1e-6) & (footage <= pipe.to_m + 1e-6)
        bore = pipe.outside_diameter_m if pipe.size_m is None else pipe.size_m
        own = max((pipe.outside_diameter_m - bore) / 2.0, 0.0)
        diameter[here] = np.maximum(diameter[here], pipe.outside_diameter_m)
        wall[here] = np.maximum(wall[here], own)
    bottom = np.maximum(stations.depth_m + wall + dig.bedding_m, 0.0)
    width = np.full(len(bottom), dig.trench_width_m)
    step = np.hypot(np.diff(stations.easting_m), np.diff(stations.northing_m))
    level = np.zeros(len(bottom))
    slopes = across or CrossSlope(level, level, level)
    walls = [
        draw_wall(WallShape((rules.slope,)), corner_depth_m(width, bottom, rise), rise)
        for rise in (slopes.left, slopes.right)
    ]
    top = width + sum(wall.out_m[-1] for wall in walls)
    upright = bottom + (slopes.left + slopes.right) * width / 8.0
    return TrenchProfile(
        footage_m=footage,
        plan_m=read_only(np.concatenate([[0.0], np.cumsum(step)])),
        easting_m=stations.easting_m,
        northing_m=stations.northing_m,
        ground_m=stations.ground_m,
        invert_depth_m=stations.depth_m,
        crown_depth_m=read_only(stations.depth_m + wall - diameter),
        bottom_depth_m=read_only(bottom),
        sd_depth_m=stations.depth_sd_m,
        across_sd_m=stations.across_sd_m,
        outside_diameter_m=read_only(diameter),
        width_m=read_only(width),
        standard_width_m=read_only(standard_width_m(diameter)),
        top_width_m=read_only(top),
        shored_area_m2=read_only(width * upright),
        sloped_area_m2=read_only(width * upright + sum(wall.area_m2 for wall in walls)),
        slope=read_only(np.full(len(bottom), rules.slope)),
        rise_left=slopes.left,
        rise_right=slopes.right,
        rise_unseen=slopes.unseen,
    )


def standard_width_m(outside_diameter_m: ArrayLike) -> Floats:
    """Return ASTM D2321's least trench width (m): the greater of OD + 16 in, 1.25 OD + 12 in."""
    diameter = np.asarray(outside_diameter_m, float)
    return np.maximum(diameter + 16.0 * _INCH, 1.25 * diameter + 12.0 * _INCH)
