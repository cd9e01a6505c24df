"""Which ground must be treated as holding the pipe?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats, read_only
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import DigBuffer, PipeStretch, Stations
from lateral_map.model.route import Route
from lateral_map.units import to_metres

# Common Ground Alliance, Best Practice 5.19: the facility's width and 18 in on each side.
LEAST_TOLERANCE_M: Final = to_metres(18.0, "in")
# The widest of docs/reference/tolerance-zones.md: Michigan, MCL 460.723. What nobody looked up must
# not be narrower than the law of the place may be.
WIDEST_TOLERANCE_M: Final = to_metres(48.0, "in")
_NO_RULE = (
    "no local rule was given: 48 in (1.22 m) each side, the widest known (Michigan, MCL 460.723); "
    "others ask less, Common Ground Alliance Best Practice 5.19 has 18 in: look yours up"
)


def draw_dig_buffer(route: Route, stations: Stations, pipes: Iterable[PipeStretch]) -> DigBuffer:
    """Return the polygon to dig by hand in, and the 95 % corridor of the centreline alone.

    Half the width at a station is the pipe's outside radius, the tolerance of the local rule (the
    widest known where none was given), and 1.96 sd across the pipe. Both polygons go on past the
    run's two ends by 1.96 sd along it. The first also covers every other route that fits as well,
    by its greatest half width.
    """
    rules = route.site.dig
    given = rules.tolerance_zone_m
    tolerance = WIDEST_TOLERANCE_M if given is None else given
    lateral = TWO_SIDED_95 * stations.across_sd_m
    # The widest pipe between a station's two neighbours: a change of pipe between two stations then
    # never leaves the wider pipe too little room.
    at = stations.footage_m
    before, after = np.concatenate([at[:1], at[:-1]]), np.concatenate([at[1:], at[-1:]])
    radii = np.zeros(len(at))
    for pipe in pipes:
        near = (pipe.from_m <= after) & (pipe.to_m >= before)
        radii[near] = np.maximum(radii[near], pipe.outside_diameter_m / 2.0)
    # Carried past both ends by 1.96 sd along.
    place = np.stack([stations.easting_m, stations.northing_m], axis=-1)
    end = np.radians(stations.heading_deg[[0, -1]])
    ahead = np.stack([np.sin(end), np.cos(end)], axis=-1)
    reach = TWO_SIDED_95 * stations.along_sd_m[[0, -1], None] * ahead
    return DigBuffer(
        centre_m=np.concatenate([place[:1] - reach[:1], place, place[-1:] + reach[1:]]),
        heading_deg=np.pad(stations.heading_deg, 1, mode="edge"),
        half_width_m=read_only(half_width_m(radii, tolerance, lateral)),
        lateral_m=lateral,
        tolerance_m=tolerance,
        rule=_NO_RULE if given is None else rules.rule,
        others_m=tuple(one.line_m for one in route.alternatives),
    )


def half_width_m(outside_radius_m: Floats, tolerance_m: float, lateral_95_m: Floats) -> Floats:
    """Return half the width of the ground to treat as holding the pipe, in metres."""
    return outside_radius_m + tolerance_m + lateral_95_m
