"""Which ground is to be outlined in white for the one-call centre?"""

from __future__ import annotations

from typing import cast

import numpy as np
import shapely

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import RepairReach
from lateral_map.model.earthwork import sweep_strip
from lateral_map.model.trench import Area, TrenchProfile
from lateral_map.model.walls import WallShape


def outline_dig(profile: TrenchProfile, reach: RepairReach, shape: WallShape) -> Area:
    """Return the ground in which a reach may have to be dug, its walls standing so.

    The cut from the bottom at its deeper 95 % bound to ground rising as it may on either side, and
    round it the 95 % uncertainty of the pipe's place: across the pipe beside it, along it at both
    ends.
    """
    stretch = profile.between(reach.begin.footage_m, reach.end.footage_m)
    left, right = stretch.edges_m(shape, 1.0)
    overhang = np.maximum(left, right) - stretch.width_m / 2.0
    before, beyond = (
        float(overhang[index]) + TWO_SIDED_95 * end.along_sd_m
        for index, end in ((0, reach.begin), (-1, reach.end))
    )
    aside = TWO_SIDED_95 * stretch.across_sd_m
    return sweep_strip(stretch.place_m, left + aside, before, beyond, right + aside)


def clear_of(outline: Area, set_back_m: float) -> Area:
    """Return an outline and the ground round it that spoil, materials and machines keep off."""
    return cast("Area", shapely.buffer(outline, set_back_m, join_style="mitre"))
