"""How deep is everything, every few feet and at every event, and on what does it rest?"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from lateral_map.model.dig import DepthRow, DepthUnread
from lateral_map.model.results import Stations
from lateral_map.model.route import Route
from lateral_map.model.trench import TrenchProfile
from lateral_map.units import to_metres

_EVERY: Final = {"ft": 5.0, "us_ft": 5.0, "m": 1.5}
# A depth farther than this from any depth reading is interpolated (common practice, no source).
_READ_WITHIN_M: Final = to_metres(10.0, "ft")
# Under a building a reading counts only where it was taken there.
_READ_HERE_M: Final = to_metres(2.0, "ft")


def table_depths(route: Route, stations: Stations, profile: TrenchProfile) -> tuple[DepthRow, ...]:
    """Return the depths every 5 ft (1.5 m) and at every event; ``profile`` stands at ``stations``.

    A depth that nothing near by was read for says so, and names the building it lies under.
    """
    site, footage = route.site, stations.footage_m
    step = to_metres(_EVERY[site.unit], site.unit)
    regular = np.abs(footage / step - np.round(footage / step)) * step < 1e-6
    # In the riser the pipe stands upright: it has no cover and no trench.
    in_run = footage >= site.counter.zero_m + site.start.riser_m - 1e-6
    read = np.array(site.depth_footages_m(), float)
    under, places = [""] * len(footage), shapely.points(profile.place_m)
    for area in site.plan.areas:
        if area.kind == "building":
            for index in np.flatnonzero(shapely.intersects(area.polygon, places)):
                under[index] = area.name
    known = stations.ground_known
    rows = []
    for i in range(len(footage)):
        if not in_run[i] or not (regular[i] or stations.events[i]):
            continue
        at, cover = float(footage[i]), float(profile.crown_depth_m[i])
        away = float(np.abs(read - at).min()) if len(read) else None
        unread: DepthUnread | None = None
        if away is None:
            unread = "never read"
        elif away > (_READ_HERE_M if under[i] else _READ_WITHIN_M):
            unread = "interpolated" if read[0] <= at <= read[-1] else "carried on"
        rows.append(
            DepthRow(
                footage_m=at,
                events=stations.events[i],
                ground_m=float(stations.ground_m[i]) if known else None,
                sd_ground_m=float(route.ground.sd(at)[0]),
                crown_m=float(stations.ground_m[i]) - cover if known else None,
                sd_crown_m=float(np.sqrt(route.position_covariance(at)[0, 2, 2])),
                cover_m=cover,
                invert_depth_m=float(stations.depth_m[i]),
                bottom_depth_m=float(profile.bottom_depth_m[i]),
                sd_m=float(stations.depth_sd_m[i]),
                basis=stations.basis[i],
                from_reading_m=away,
                under=under[i],
                unread=unread,
            )
        )
    return tuple(rows)


def find_unread(
    route: Route, stations: Stations, profile: TrenchProfile
) -> tuple[tuple[float, float], ...]:
    """Return the stretches of footage (m) whose depth nothing near by was read for, to 1 cm."""
    site, ends = route.site, stations.footage_m[[0, -1]]
    first = max(float(ends[0]), site.counter.zero_m + site.start.riser_m)
    fine = np.linspace(first, float(ends[1]), max(int((ends[1] - first) / 0.01), 1) + 1)
    read = np.array(site.depth_footages_m(), float)
    away = np.abs(fine[:, None] - read[None, :]).min(axis=1, initial=np.inf)
    inside = np.zeros(len(fine), bool)
    places = shapely.points(profile.at(fine).place_m)
    for area in site.plan.areas:
        if area.kind == "building":
            inside |= shapely.intersects(area.polygon, places)
    far = away > np.where(inside, _READ_HERE_M, _READ_WITHIN_M)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], far, [False]]).astype(int)))
    return tuple((float(fine[begin]), float(fine[end - 1])) for begin, end in edges.reshape(-1, 2))
