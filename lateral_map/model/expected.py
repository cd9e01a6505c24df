"""How deep the transmitter should lie at each locate, before that locate's own depth is looked at.

What a reading weighs must never hang on the reading: a depth typed ten times too large would
excuse itself.
"""

from __future__ import annotations

import statistics
from typing import TYPE_CHECKING, Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.units import to_metres

if TYPE_CHECKING:
    from lateral_map.model.site import Site

# Nobody measured the invert at the start: most building drains leave between 1 and 7 ft down
# (common practice, no source).
UNKNOWN_DEPTH_M: Final = to_metres(4.0, "ft")
_NULLS_PER_DEPTH: Final = float(np.sqrt(2.0))
# How many other depths, each way along the pipe, say how deep a place should be.
_NEIGHBOURS: Final = 2
_SHALLOWEST_M: Final = to_metres(0.5, "ft")


def expect_depths(site: Site) -> dict[str, float]:
    """Return, by mark, the transmitter's expected depth (m) below ground at every locate.

    It is the lower median of what the start's depth and up to two other depths each way say, each
    carried along the pipe by riser, design fall, vertical bends and ground levels; one gross
    mistake among them moves it little, and the locate's own depths not at all.
    """
    locates = sorted(site.locates, key=lambda one: one.footage_m)
    at = np.array([site.transmitter_footage_m(one) for one in locates], float)
    below_start = design_drop_m(site, at)
    levels = [
        (f, one.ground_m) for f, one in zip(at, locates, strict=True) if one.ground_m is not None
    ]
    if site.start.ground_m is not None:
        levels.insert(0, (site.counter.zero_m, site.start.ground_m))
    if len(levels) > 1:
        footage, level = np.array(levels, float).T
        below_start = below_start + np.interp(at, footage, level) - level[0]
    start = UNKNOWN_DEPTH_M if site.start.depth_m is None else site.start.depth_m
    read = []
    for index, one in enumerate(locates):
        if not one.use:
            continue
        if one.transmitter_depth_m is not None:
            read.append((index, one.transmitter_depth_m))
        if one.nulls_m is not None:
            read.append((index, one.nulls_m / _NULLS_PER_DEPTH - one.nulls_held_above_m))
    expected = {}
    for index, one in enumerate(locates):
        before = [pair for pair in read if pair[0] < index][-_NEIGHBOURS:]
        after = [pair for pair in read if pair[0] > index][:_NEIGHBOURS]
        said = [start - site.transmitter.above_invert_m + below_start[index]]
        said += [depth + below_start[index] - below_start[i] for i, depth in (*before, *after)]
        expected[one.mark] = max(float(statistics.median_low(said)), _SHALLOWEST_M)
    return expected


def design_drop_m(site: Site, footage_m: Floats) -> Floats:
    """Return how far (m) the pipe should have dropped from the start by riser, fall and bends."""
    foot = site.counter.zero_m + site.start.riser_m
    drop = np.clip(footage_m - site.counter.zero_m, 0.0, site.start.riser_m)
    pitch = float(np.arctan(site.accuracy.fall))
    drop = drop + np.sin(pitch) * np.maximum(footage_m - foot, 0.0)
    for bend in sorted(site.bends, key=lambda one: one.footage_m):
        if bend.fall_deg:
            turned = pitch + np.radians(bend.fall_deg)
            past = np.maximum(footage_m - max(bend.footage_m, foot), 0.0)
            drop = drop + (np.sin(turned) - np.sin(pitch)) * past
            pitch = turned
    return np.asarray(drop)
