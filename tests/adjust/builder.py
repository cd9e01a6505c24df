"""Small sites on a level sketch, one call each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from truth.simulate import FOOT, default_accuracy

from lateral_map.frame import local_frame
from lateral_map.model.site import (
    Bend,
    Boundary,
    Locate,
    Plan,
    PlanLine,
    PlanPoint,
    PositionTie,
    Run,
    Site,
    Start,
    TapeTie,
)

CORNERS = (
    PlanPoint("north-east corner", 0.0, 4.0, 0.03),
    PlanPoint("hydrant", 12.0, 7.0, 0.03),
    PlanPoint("meter", 24.0, -5.0, 0.03),
)
CURB = PlanLine("curb", "curb", np.array([[24.0, 30.0], [24.0, -30.0]]), 0.3)

Tier = Callable[[float, float], tuple[TapeTie | PositionTie, ...]]


def three_tapes(easting_m: float, northing_m: float) -> tuple[TapeTie, ...]:
    """Return exact tapes to a place from each corner."""
    return tuple(
        TapeTie(
            point.name,
            float(np.hypot(easting_m - point.easting_m, northing_m - point.northing_m)),
            0.03,
            f"tape{index + 1}",
        )
        for index, point in enumerate(CORNERS)
    )


def surveyed(easting_m: float, northing_m: float) -> tuple[PositionTie, ...]:
    """Return an exact surveyed position."""
    return (PositionTie(easting_m, northing_m, 0.03, "xy"),)


def straight_site(
    *,
    length_m: float = 30.0,
    azimuth_deg: float = 90.0,
    locate_footages_m: tuple[float, ...] = (),
    tie: Tier = three_tapes,
    bends: tuple[Bend, ...] = (),
    riser_m: float = 0.0,
    known_azimuth: bool = True,
) -> Site:
    """Return a run from the origin, falling 2 %, with exact readings where it is straight."""
    behind = 0.1524
    level = np.cos(np.arctan(0.02))
    direction = np.array([np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))])
    locates = []
    for index, footage in enumerate(locate_footages_m):
        along = (footage - behind - riser_m) * level
        place = along * direction
        depth = 1.2 + riser_m + along * 0.02 - 0.036576
        locates.append(Locate(f"{index + 1}", footage, depth, ties=tie(*place)))
    return Site(
        name="straight",
        frame=local_frame("ft"),
        unit="ft",
        start=Start(
            0.0,
            0.0,
            0.15,
            depth_m=1.2,
            riser_m=riser_m,
            azimuth_deg=azimuth_deg if known_azimuth else None,
        ),
        accuracy=default_accuracy(),
        run=Run(length_m),
        boundaries=(Boundary("curb", "owner", "city", decides=True),),
        bends=bends,
        locates=tuple(locates),
        plan=Plan(lines=(CURB,), points=CORNERS),
    )


__all__ = ["CORNERS", "CURB", "FOOT", "straight_site", "surveyed", "three_tapes"]
