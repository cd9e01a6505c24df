"""Do the depths from the nulls agree with the depths read out?"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.model.arrays import Floats
from lateral_map.model.dig import NullCheck
from lateral_map.model.route import Route

# Two-sided 0.1 %, the limit a single standardised residual is rejected at (Baarda).
SUSPECT_BEYOND: Final = 3.29
_STEP_M: Final = 0.3
# Past this tilt one null runs off along the line and the ratio with it.
_STEEPEST_DEG: Final = 60.0


def check_null_depths(route: Route) -> tuple[NullCheck, ...]:
    """Return every locate with both a read-out and nulls, the two depths side by side.

    The nulls' distance is taken at the tilt the adjusted pipe has against the ground there. Both
    are depths below the ground of the transmitter's axis.
    """
    site, transmitter = route.site, route.site.transmitter
    checks = []
    for locate in site.locates:
        if not locate.use or locate.depth_m is None or locate.nulls_m is None:
            continue
        footage, read = site.transmitter_footage_m(locate), locate.depth_m - locate.held_above_m
        # The pipe's slope against the ground along it.
        about = [footage - _STEP_M, footage + _STEP_M]
        run = max(float(np.hypot(*np.diff(route.positions(about)[:, :2], axis=0)[0])), 1e-6)
        slope = abs(float(np.diff(route.best_depths(about))[0]))
        tilt = min(float(np.degrees(np.arctan2(slope, run))), _STEEPEST_DEG)
        found = float(depth_from_nulls_m(locate.nulls_m, tilt))
        from_nulls = found - locate.nulls_held_above_m
        sd_read = max(transmitter.sd_depth_fraction * locate.depth_m, transmitter.sd_depth_floor_m)
        # A tape between two places each found to the same share of the depth as the read-out.
        share = found / locate.nulls_m
        sd_nulls = float(
            np.hypot(share * site.accuracy.tape_m, transmitter.sd_depth_fraction * found)
        )
        sd = float(np.hypot(sd_read, sd_nulls))
        apart = (from_nulls - read) / sd
        checks.append(
            NullCheck(
                locate=locate.mark,
                footage_m=footage,
                read_depth_m=read,
                nulls_depth_m=from_nulls,
                sd_difference_m=sd,
                tilt_deg=tilt,
                standardised=apart,
                verdict="suspect" if abs(apart) > SUSPECT_BEYOND else "agree",
            )
        )
    return tuple(checks)


def depth_from_nulls_m(nulls_m: ArrayLike, tilt_deg: ArrayLike = 0.0) -> Floats:
    """Return the depth below the antenna's path (m) from the distance between in-line nulls (m).

    With the transmitter tilted by t against the path, the in-line field 3 (m.r) r_x - m_x vanishes
    where cos(2 p + t) = cos t / 3, p being the angle at the transmitter off the perpendicular; the
    nulls lie at depth x tan p on either side. Level, depth = distance / sqrt 2. Derivation in
    docs/reference/depth-from-nulls.md.
    """
    tilt = np.radians(np.asarray(tilt_deg, float))
    opening = np.arccos(np.cos(tilt) / 3.0)
    ahead, behind = (opening - tilt) / 2.0, (-opening - tilt) / 2.0
    return np.asarray(np.asarray(nulls_m, float) / (np.tan(ahead) - np.tan(behind)))
