"""How much earth does opening a reach move, and how wide does it open the ground?"""

from __future__ import annotations

import itertools
import math
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.dig import Cut, DepthClass, Excavation, TrenchRules
from lateral_map.model.earthwork import prismoidal_volume_m3
from lateral_map.model.site import DigRules, RuleKey, Walls
from lateral_map.model.trench import TrenchProfile
from lateral_map.model.walls import LEAST_DAYLIGHT, WallShape, daylight_share

COMMON_EARTH_SWELL: Final = (0.20, 0.30)
_DEPTHS: Final[tuple[RuleKey, ...]] = (
    "egress depth", "protective system depth", "engineer depth",
)  # fmt: skip


def measure_excavation(
    profile: TrenchProfile, from_m: float, to_m: float, dig: DigRules, rules: TrenchRules
) -> Excavation:
    """Return what opening the trench between two footages takes, each way its walls may stand.

    Volumes are prismoidal between neighbouring stations: exact for a trench whose bottom and ground
    run straight between them. The two ends stand as the walls do.
    """
    stretch = profile.between(from_m, to_m)
    swell = dig.swell or COMMON_EARTH_SWELL
    # Depth counts by the higher wall, at the bound.
    deeper = np.maximum(*stretch.faces_m(WallShape(), 1.0))
    deepest = float(deeper.max())
    at = stretch.footage_m[int(np.argmax(stretch.bottom_depth_m))]
    # As few as leave nobody farther from one than is allowed.
    run = float(np.ptp(stretch.footage_m))
    ways = math.ceil(run / (2.0 * rules.value("egress travel")) - 1e-9)
    # The classes of depth the rules tell apart, shallowest first.
    limits = sorted({rules.value(key) for key in _DEPTHS})
    classes = tuple(
        DepthClass(
            asks=tuple(key for key in _DEPTHS if low >= rules.value(key) - 1e-9),
            from_m=low,
            to_m=high,
            length_m=_length_between(stretch.plan_m, stretch.bottom_depth_m, low, high),
            length_if_deeper_m=_length_between(stretch.plan_m, deeper, low, high),
        )
        for low, high in itertools.pairwise([0.0, *limits, np.inf])
    )
    return Excavation(
        from_m=from_m,
        to_m=to_m,
        length_m=float(np.ptp(stretch.plan_m)),
        deepest_high_m=deepest,
        section=stretch.at(at),
        ways_out=max(ways, 1) if rules.reached("egress depth", deepest) else 0,
        classes=classes,
        cuts=tuple(
            _open(walls, shape, stretch, swell) for walls, shape in rules.wall_shapes().items()
        ),
        width_m=float(stretch.width_m.max()),
        standard_width_m=float(stretch.standard_width_m.max()),
        bedding_m3=float(np.trapezoid(stretch.width_m, stretch.plan_m)) * dig.bedding_m,
        swell=swell,
        swell_source=dig.swell_source if dig.swell else "",
    )


def _open(
    walls: Walls, shape: WallShape, stretch: TrenchProfile, swell: tuple[float, float]
) -> Cut:
    bank, low, high = (
        prismoidal_volume_m3(
            stretch.plan_m,
            stretch.width_m,
            stretch.depth_at_bound(sign),
            shape,
            stretch.rises(sign),
        )
        for sign in (0.0, -1.0, 1.0)
    )
    # From the bottom up to where nothing holds the wall any more: both sides of it.
    held, held_high = (
        float(np.trapezoid(sum(wall.up_m[1] for wall in both), stretch.plan_m))
        if shape.upright_m > 0.0
        else 0.0
        for both in (stretch.walls_m(shape, 0.0), stretch.walls_m(shape, 1.0))
    )
    steepest = np.maximum(*stretch.rises(1.0))
    return Cut(
        walls=walls,
        shape=shape,
        held_m2=held,
        held_high_m2=held_high,
        footprint=stretch.footprint(shape, 0.0),
        top_width_m=float(np.add(*stretch.edges_m(shape, 0.0)).max()),
        top_width_high_m=float(np.add(*stretch.edges_m(shape, 1.0)).max()),
        face_high_m=float(np.maximum(*stretch.faces_m(shape, 1.0)).max()),
        daylights=bool((daylight_share(shape.flattest, steepest) > LEAST_DAYLIGHT).all()),
        bank_m3=bank,
        bank_low_m3=low,
        bank_high_m3=high,
        loose_low_m3=low * (1.0 + swell[0]),
        loose_high_m3=high * (1.0 + swell[1]),
    )


def _length_between(plan: Floats, depth: Floats, low: float, high: float) -> float:
    """Return the length whose depth, straight between stations, is at least low and below high."""
    length, begin, rise = np.diff(plan), depth[:-1], np.diff(depth)
    level = np.abs(rise) < 1e-12
    safe = np.where(level, 1.0, rise)
    entries = np.stack([(low - begin) / safe, (high - begin) / safe])
    share = np.ptp(np.clip(entries, 0.0, 1.0), axis=0)
    share = np.where(level, (begin >= low) & (begin < high), share)
    return float((share * length).sum())
