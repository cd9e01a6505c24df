"""Where one more locate can be taken."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats
from lateral_map.model.site import Site
from lateral_map.units import to_metres

# What hid the signal at one place hides it about it: a slab, a parked van (common practice, no
# source).
_FAILED_REACH_M: Final = to_metres(3.0, "ft")


def can_locate(
    site: Site, footage_m: Floats, easting_m: Floats, northing_m: Floats
) -> NDArray[np.bool_]:
    """Say over which footages (k,) of the transmitter, at such places, a locate can be taken.

    Past the riser, no farther than the transmitter gets, under no building, and not where somebody
    tried already and could not.
    """
    behind_m = site.transmitter.behind_lens_m
    begin = site.counter.zero_m + site.start.riser_m
    free = (footage_m > begin) & (footage_m <= site.run.end_m - behind_m + 1e-9)
    for area in site.plan.areas:
        if area.kind == "building":
            free &= ~shapely.intersects_xy(area.polygon, easting_m, northing_m)
    for failed in site.no_locates:
        free &= np.abs(footage_m - (failed.footage_m - behind_m)) > _FAILED_REACH_M
    return np.asarray(free)
