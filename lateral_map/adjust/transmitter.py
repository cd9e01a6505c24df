"""How far a locate may be off because of the transmitter itself.

The transmitter is a magnetic dipole lying along the pipe. Where it lies tilted, the peak or null
the locator finds moves along the line by a share of the depth. The shares below are exact for a
dipole in uniform ground (quasi-static); they are recomputed from the field in the tests. The depth
meant is always the expected one (``model.expected``): no reading sets its own weight.
"""

from __future__ import annotations

import functools
import math

import numpy as np

from lateral_map.model.site import Locate, Site

_TILT_DEG = np.array([0.0, 1.19, 5.0, 10.0, 20.0, 30.0, 45.0])
# Shift of the found point along the pipe, as a share of the depth, by what was found.
_SHARES = {
    "in-line": np.array([0.0, 0.0069, 0.0291, 0.0581, 0.1158, 0.1729, 0.2567]),
    "null": np.array([0.0, 0.0138, 0.0582, 0.1168, 0.2359, 0.3600, 0.5616]),
    # A total-field peak is flat along the pipe: the least tilt moves it by a sixth of the depth.
    "total field": np.array([0.161, 0.161, 0.227, 0.248, 0.240, 0.212, 0.160]),
    # What 0.70711 x null-to-null distance over-reads.
    "depth over": np.array([0.0, 0.0002, 0.0043, 0.0173, 0.0719, 0.1726, 0.4577]),
}

NEAR_VERTICAL_BEND_DEPTHS = 1.5
_VERTICAL_BEND_DEG = 5.0


def near_vertical_bend_deg(site: Site, locate: Locate, depth_m: float) -> float:
    """Return the largest fall (degrees) of a vertical bend within 1.5 depths, 0 where none is.

    ``depth_m`` is the transmitter's expected depth here, never the one that was read.
    """
    reach = NEAR_VERTICAL_BEND_DEPTHS * depth_m
    here = site.transmitter_footage_m(locate)
    near = [abs(bend.fall_deg) for bend in site.bends if abs(bend.footage_m - here) <= reach]
    riser = site.start.riser_m
    if riser > 0.0 and here - site.counter.zero_m - riser <= reach:
        near.append(90.0)
    worst = max(near, default=0.0)
    return worst if worst >= _VERTICAL_BEND_DEG else 0.0


def tilt_deg(site: Site, locate: Locate, depth_m: float) -> float:
    """Return the tilt (degrees) a locate must allow for: the expected grade, or a bend near by."""
    grade = math.degrees(math.atan(abs(site.accuracy.fall)))
    return max(grade, min(near_vertical_bend_deg(site, locate, depth_m), 45.0))


@functools.lru_cache(maxsize=1024)
def _share_of_depth(what: str, tilt: float) -> float:
    return float(np.interp(tilt, _TILT_DEG, _SHARES[what]))


def sd_mark_m(site: Site, locate: Locate, depth_m: float) -> float:
    """Return the 1 sd per axis (m) of the paint mark against the transmitter expected that deep."""
    depth = depth_m + locate.held_above_m
    shift = _share_of_depth(locate.peak, tilt_deg(site, locate, depth_m))
    return float(
        np.sqrt(
            site.accuracy.mark_m**2
            + (site.accuracy.mark_fraction * depth) ** 2
            + (shift * depth) ** 2
        )
    )


def sd_depth_m(site: Site, locate: Locate, depth_m: float) -> float:
    """Return the 1 sd (m) of a depth read-out of a transmitter expected ``depth_m`` below ground.

    The read-out counts from the locator, so what it is held above the ground counts too.
    """
    depth = depth_m + locate.held_above_m
    own = max(site.transmitter.sd_depth_fraction * depth, site.transmitter.sd_depth_floor_m)
    over = _share_of_depth("depth over", tilt_deg(site, locate, depth_m))
    return float(np.hypot(own, over * depth))


def nulls_depth_m(nulls_m: float) -> float:
    """Return antenna-to-transmitter depth (m) from the distance between the two in-line nulls.

    The in-line field of a level dipole is zero at +-depth / sqrt 2, so depth = distance / sqrt 2.
    """
    return nulls_m / float(np.sqrt(2.0))


def sd_nulls_m(site: Site, locate: Locate, depth_m: float) -> float:
    """Return the 1 sd (m) of a depth from nulls, a tape between two points, expected that deep."""
    depth = depth_m + locate.nulls_held_above_m
    over = _share_of_depth("depth over", tilt_deg(site, locate, depth_m))
    share = np.hypot(site.transmitter.sd_depth_fraction, over)
    return float(np.hypot(site.accuracy.tape_m, share * depth))
