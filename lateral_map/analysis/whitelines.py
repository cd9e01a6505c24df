"""Which ground is to be outlined in white for the one-call centre?"""

from __future__ import annotations

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import RepairReach, TrenchRules
from lateral_map.model.earthwork import sweep_strip, top_width_m
from lateral_map.model.trench import Area, TrenchProfile


def outline_dig(profile: TrenchProfile, reach: RepairReach, rules: TrenchRules) -> Area:
    """Return the ground in which a reach may have to be dug, however it is opened.

    The widest cut (walls and ends sloped to the soil from the bottom at its deeper 95 % bound), and
    round it the 95 % uncertainty of the pipe's place: across the pipe beside it, along it at both
    ends.
    """
    stretch = profile.between(reach.begin.footage_m, reach.end.footage_m)
    half = top_width_m(stretch.width_m, stretch.depth_at_bound(1.0), rules.slope) / 2.0
    overhang = half - stretch.width_m / 2.0
    before, beyond = (
        float(overhang[index]) + TWO_SIDED_95 * end.along_sd_m
        for index, end in ((0, reach.begin), (-1, reach.end))
    )
    half = half + TWO_SIDED_95 * stretch.across_sd_m
    return sweep_strip(stretch.place_m, half, before, beyond)
