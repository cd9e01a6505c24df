"""What section must be dug at every station?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.model.arrays import Floats, read_only
from lateral_map.model.dig import TrenchRules
from lateral_map.model.earthwork import top_width_m
from lateral_map.model.results import PipeStretch, Stations
from lateral_map.model.site import DigRules
from lateral_map.model.trench import TrenchProfile
from lateral_map.units import to_metres

_INCH: Final = to_metres(1.0, "in")


def lay_trench(
    stations: Stations, pipes: Iterable[PipeStretch], dig: DigRules, rules: TrenchRules
) -> TrenchProfile:
    """Return the trench's section at every station.

    The bottom lies under the pipe's outside wall by the bedding. Across the pipe the ground is
    taken as level. Sloped walls slope from the bottom up at the steepest slope the soil allows;
    where a pipe ends and another begins the wider counts.
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
    top = top_width_m(width, bottom, rules.slope)
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
        shored_area_m2=read_only(width * bottom),
        sloped_area_m2=read_only((width + top) / 2.0 * bottom),
    )


def standard_width_m(outside_diameter_m: ArrayLike) -> Floats:
    """Return ASTM D2321's least trench width (m): the greater of OD + 16 in, 1.25 OD + 12 in."""
    diameter = np.asarray(outside_diameter_m, float)
    return np.maximum(diameter + 16.0 * _INCH, 1.25 * diameter + 12.0 * _INCH)
