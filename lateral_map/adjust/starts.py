"""Where to start the solver: the dead-reckoned line, turned to each azimuth that fits the ties."""

from __future__ import annotations

import numpy as np

from lateral_map.adjust.chain import Turns
from lateral_map.adjust.ties import Ties
from lateral_map.model.arrays import Floats
from lateral_map.model.lines import signed_offsets
from lateral_map.model.route import Chain, Layout
from lateral_map.model.site import Site

_TRIED = 72
_MOST_STARTS = 6
# How far dead reckoning may have drifted, as a share of the footage: only for choosing starts.
_DRIFT = 0.08
# With no azimuth and no tie, all that is known is that the line heads for the main.
_TOWARD_MAIN_SD = np.pi / 3.0


def first_guess(site: Site, layout: Layout, turns: Turns, azimuth: float) -> Floats:
    """Return the dead-reckoned unknowns with the first piece at ``azimuth`` (radians)."""
    unknowns = np.zeros(layout.size)
    unknowns[layout.easting] = site.start.easting_m
    unknowns[layout.northing] = site.start.northing_m
    unknowns[layout.azimuth] = azimuth + np.concatenate([[0.0], np.cumsum(turns.turn)])
    fall = np.arctan(site.accuracy.fall)
    unknowns[layout.pitch] = fall + np.concatenate([[0.0], np.cumsum(turns.fall)])
    return unknowns


def first_azimuths(
    site: Site, chain: Chain, layout: Layout, turns: Turns, ties: Ties
) -> list[tuple[float, float]]:
    """Return (azimuth, its 1 sd as prior knowledge) to start from, radians, most likely first.

    Where the azimuth was measured its own sd is the prior; where it was not, each azimuth at which
    the ties fit best is tried with a prior so wide (180 degrees) that it decides nothing.
    """
    measured = site.start.azimuth_deg
    if not ties.count_in_plan:
        if measured is not None:
            return [(np.radians(measured), np.radians(site.start.sd_azimuth_deg))]
        # Toward the nearest place on a line that matters.
        here = np.array([site.start.easting_m, site.start.northing_m])
        for boundary in sorted(site.boundaries, key=lambda one: not one.decides):
            if boundary.kind != "line":
                continue
            found = signed_offsets(site.plan.line(boundary.line).segments, here)
            toward = -found.normal * np.sign(found.offset_m)
            if abs(found.offset_m) > 0.0:
                return [(float(np.arctan2(toward[0], toward[1])), _TOWARD_MAIN_SD)]
        return [(np.pi / 2.0, _TOWARD_MAIN_SD)]
    first = 0.0 if measured is None else float(np.radians(measured))
    tried = first + np.linspace(0.0, 2.0 * np.pi, _TRIED, endpoint=False)
    cost = _costs(site, chain, layout, turns, ties, tried)
    if measured is None:
        return [(float(tried[i]), np.pi) for i in _minima(cost)]
    sd = np.radians(site.start.sd_azimuth_deg)
    away = (tried - np.radians(measured) + np.pi) % (2.0 * np.pi) - np.pi
    total = cost + np.square(away / sd)
    near = [i for i in _minima(total) if abs(away[i]) < 4.0 * sd]
    # The prior stays at the measured azimuth; only where the solver starts differs.
    return [(float(np.radians(measured) + away[i]), sd) for i in near] or [
        (float(np.radians(measured)), sd)
    ]


def _minima(cost: Floats) -> list[int]:
    lower = (cost < np.roll(cost, 1)) & (cost <= np.roll(cost, -1))
    found = np.flatnonzero(lower)
    if not len(found):
        found = np.array([int(np.argmin(cost))])
    return [int(i) for i in found[np.argsort(cost[found])][:_MOST_STARTS]]


def _costs(
    site: Site, chain: Chain, layout: Layout, turns: Turns, ties: Ties, tried: Floats
) -> Floats:
    """Return (k,) how badly the ties fit the dead-reckoned line turned to each azimuth."""
    guess = first_guess(site, layout, turns, 0.0)
    start = guess[:2]
    north_up = chain.positions(guess, layout, ties.footage_m)[ties.mark_row, :2] - start
    sine, cosine = np.sin(tried)[:, None], np.cos(tried)[:, None]
    east = north_up[:, 0] * cosine + north_up[:, 1] * sine
    north = north_up[:, 1] * cosine - north_up[:, 0] * sine
    return squared_misses(site, chain, ties, np.stack([east, north], axis=-1) + start)


def squared_misses(site: Site, chain: Chain, ties: Ties, mark_m: Floats) -> Floats:
    """Return (...) how badly the ties fit marks (..., m, 2) of a line that may have drifted."""
    drift = _DRIFT * (ties.footage_m[ties.mark_row] - chain.zero_m) + site.start.sd_m + 0.1
    gap = ties.position_m - mark_m[..., ties.position_mark, :]
    variance = np.square(ties.position_sd_m) + np.square(drift[ties.position_mark])
    on_positions = (np.square(gap).sum(axis=-1) / variance).sum(axis=-1)
    away = mark_m[..., ties.tape_mark, :] - ties.tape_point_m
    gap = ties.tape_read_m - np.hypot(away[..., 0], away[..., 1])
    variance = np.square(ties.tape_sd_m) + np.square(drift[ties.tape_mark])
    total = on_positions + (np.square(gap) / variance).sum(axis=-1)
    for group in ties.lines:
        found = signed_offsets(group.segments, mark_m[..., group.mark, :])
        gap = group.read_m - np.where(group.is_offset, found.offset_m, found.along_m)
        variance = np.square(group.sd_m) + np.square(drift[group.mark])
        total = total + (np.square(gap) / variance).sum(axis=-1)
    return np.asarray(total)
