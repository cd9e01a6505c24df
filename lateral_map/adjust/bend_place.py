"""How well the ties tell where along the run a bend lies that nobody noted."""

from __future__ import annotations

import math

import numpy as np

from lateral_map.model.route import Course, Route
from lateral_map.model.strip import Strip
from lateral_map.units import to_metres

_TIES = ("position", "tape", "along", "offset")
# What lies so near the bend is moved in part when the bend moves.
_NEAR_M = to_metres(2.5, "ft")


def measure_bend_place(route: Route, footage_m: float) -> float:
    """Return 1 sd (m) of how far along the run a bend of the route may lie from where it stands.

    Moved by a unit, a bend moves all beyond it by the difference of its two directions; how well
    the ties see that, all else adjusted to it, is what is known of its place. Ties on either side
    hold it besides: anywhere between two ties the gap over √12.
    """
    direction, strip = Course(route.unknowns, route.layout).direction, route.covariance
    at = int(np.argmin(np.abs(route.chain.nodes_m[1:-1] - footage_m)))
    turned = direction[at + 1] - direction[at]
    column = np.zeros(len(route.residuals))
    # Of an equation's derivatives those in the start are those in its place.
    places = strip.place_design() if isinstance(strip, Strip) else route.design[:, :3]
    for one in route.observations:
        if one.id.kind in _TIES and one.footage_m is not None:
            share = (one.footage_m - footage_m + _NEAR_M) / (2.0 * _NEAR_M)
            column[one.rows] = min(max(share, 0.0), 1.0) * (places[one.rows] @ turned)
    if isinstance(strip, Strip):
        known = float(column @ (column - strip.followed(column[:, None])[:, 0]))
    else:
        shadow = column @ route.design
        known = float(column @ column - shadow @ strip @ shadow)
    tied = np.concatenate([[route.chain.nodes_m[0]], route.tied_footages_m, [route.site.run.end_m]])
    before, after = tied[tied <= footage_m], tied[tied > footage_m]
    gap = (after.min() if len(after) else footage_m) - (before.max() if len(before) else 0.0)
    return min(1.0 / math.sqrt(max(known, 1e-9)), float(gap) / math.sqrt(12.0))
