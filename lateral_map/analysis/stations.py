"""Where does the pipe lie, and how surely, at regular footages and at everything that happened?"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from lateral_map.model.arrays import Floats, read_only
from lateral_map.model.chance import ELLIPSE_95, error_ellipses
from lateral_map.model.results import Basis, Crossing, Stations
from lateral_map.model.route import Route
from lateral_map.units import metres_per, to_metres

Event = tuple[float, str]

_SAME_M = 1e-6
_DECIMALS = 8
# The place a locate fixes: 1 ft along the pipe either way, 0.3 m on metric sites.
_STEP = {"ft": 1.0, "us_ft": 1.0, "m": 0.25}
_NEAR = {"ft": 1.0, "us_ft": 1.0, "m": 0.3}


def lay_stations(
    route: Route, crossings: Iterable[Crossing] = (), *, places_only: bool = False
) -> Stations:
    """Return the route every 1 ft (0.25 m) and at every event, start and end included.

    Locates stand at their transmitter's footage, behind the counter's reading at the lens.
    ``places_only`` leaves out the line between the events.
    """
    footage, events = _gather_footages(route, crossings, places_only=places_only)
    positions, plan = route.positions(footage), route.plan_covariance(footage)
    ellipses = error_ellipses(plan)
    heading, heading_sd = route.headings_deg(footage)
    angle = np.radians(heading)
    ahead = np.stack([np.sin(angle), np.cos(angle)], axis=-1)
    right = np.stack([ahead[:, 1], -ahead[:, 0]], axis=-1)
    across, along = (np.sqrt(np.einsum("ki,kij,kj->k", u, plan, u)) for u in (right, ahead))
    depth, depth_sd = route.depths(footage)
    near = _NEAR[route.site.unit] * metres_per(route.site.unit) + _SAME_M
    start = float(route.chain.nodes_m[0])
    fixed = np.sort([start, *route.tied_footages_m])
    after = np.minimum(np.searchsorted(fixed, footage), len(fixed) - 1)
    gap = np.minimum(*(np.abs(footage - fixed[at]) for at in (after, np.maximum(after - 1, 0))))
    # The riser stands straight under the start: in plan it is the start.
    located = (gap <= near) | (footage <= start)
    basis: tuple[Basis, ...] = tuple(
        "located" if here else "between locates" if inner else "dead reckoned"
        for here, inner in zip(located, footage <= fixed.max(), strict=True)
    )
    return Stations(
        footage_m=read_only(footage),
        easting_m=_kept(positions[:, 0]),
        northing_m=_kept(positions[:, 1]),
        elevation_m=_kept(positions[:, 2]),
        ground_m=_kept(route.ground_elevation(footage)),
        depth_m=_kept(depth),
        depth_sd_m=_kept(depth_sd),
        heading_deg=_kept(heading),
        heading_sd_deg=_kept(heading_sd),
        across_sd_m=_kept(across),
        along_sd_m=_kept(along),
        semi_major_m=_kept(ELLIPSE_95 * ellipses.semi_major_m),
        semi_minor_m=_kept(ELLIPSE_95 * ellipses.semi_minor_m),
        ellipse_azimuth_deg=_kept(ellipses.azimuth_deg),
        basis=basis,
        events=events,
        ground_known=not route.ground.is_level,
    )


def _kept(values: Floats) -> Floats:
    """Round far below what is measured: drawings hash and join these numbers to the last bit."""
    return read_only(np.round(values, _DECIMALS) + 0.0)


def _gather_footages(
    route: Route, crossings: Iterable[Crossing], *, places_only: bool
) -> tuple[Floats, tuple[tuple[str, ...], ...]]:
    """Return the footages in order, each once, and the names of what stands at each."""
    site = route.site
    events = [(site.counter.zero_m, "start"), (site.run.end_m, "end")]
    for locate in site.locates:
        at = site.transmitter_footage_m(locate)
        events.append((at, f"locate {locate.mark}{'' if locate.use else ' (set aside)'}"))
    for bend in site.bends:
        words = f"bend {' and '.join(bend.angles_in_words())}".rstrip()
        events.append((bend.footage_m, words))
    for finding in site.findings:
        if finding.to_m is None:
            events.append((finding.footage_m, finding.finding))
        else:
            events.append((finding.footage_m, f"{finding.finding} begins"))
            events.append((finding.to_m, f"{finding.finding} ends"))
    events += [(crossing.footage_m, f"crosses {crossing.line}") for crossing in crossings]
    named = sorted(events, key=lambda event: event[0])
    # The counter's whole feet (or quarter metres) within the run.
    step = to_metres(_STEP[site.unit], site.unit)
    first = np.ceil(site.counter.zero_m / step - 1e-9)
    last = np.floor(site.run.end_m / step + 1e-9)
    regular = np.zeros(0) if places_only else np.arange(first, last + 1) * step
    every = np.sort(np.concatenate([[at for at, _ in named], regular]))
    apart = np.concatenate([[True], np.diff(every) > _SAME_M])
    names: list[list[str]] = [[] for _ in range(int(apart.sum()))]
    group = np.cumsum(apart) - 1
    # Footages closer than that are one station, so the last at or below it is its own.
    station = group[np.searchsorted(every, [at for at, _ in named], side="right") - 1]
    for index, (_, name) in zip(station.tolist(), named, strict=True):
        names[index].append(name)
    return every[apart], tuple(tuple(dict.fromkeys(each)) if each else () for each in names)
