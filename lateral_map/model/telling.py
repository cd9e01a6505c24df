"""Which readings an answer rests on."""

from __future__ import annotations

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import ALMOST_NOTHING, Route
from lateral_map.model.strip import Strip

# Worth naming: without the reading the answer's variance would grow by a tenth or more.
_WORTH_NAMING = 0.1
_MOST_NAMED = 4


def find_telling_readings(route: Route, gradient: Floats) -> tuple[tuple[ReadingId, ...], ...]:
    """Return, for each linear quantity, the readings whose loss would hurt it most.

    ``gradient`` (k, unknowns) are the quantities' derivatives. Readings are named in the order of
    what their loss adds to the variance. A line's mapped place counts as a reading.
    """
    ids, growth = growth_by_loss(route, gradient)
    if not ids:
        return ((),) * len(gradient)
    variance = np.einsum("kn,kn->k", gradient @ route.covariance, gradient)
    share = np.maximum(growth, 0.0) / np.maximum(variance, 1e-300)
    named = []
    for column in share.T:
        order = np.argsort(-column, kind="stable")[:_MOST_NAMED]
        worth = [column[i] >= _WORTH_NAMING or (i == order[0] and column[i] > 0.0) for i in order]
        named.append(tuple(ids[i] for i, is_worth in zip(order, worth, strict=True) if is_worth))
    return tuple(named)


def growth_by_loss(route: Route, gradient: Floats) -> tuple[tuple[ReadingId, ...], Floats]:
    """Return readings and what each one's loss adds to the quantities' variances, (readings, k).

    A reading with blunder signature S adds g C AᵀS (SᵀS - SᵀA C AᵀS)⁻¹ SᵀA C gᵀ where it is set
    aside. Marks' and counter's own noise are no readings.
    """
    if isinstance(route.covariance, Strip):
        return _growth_of_long(route, route.covariance, gradient)
    ids, spread, alike = route.losses
    pulled, growth = spread @ gradient.T, np.empty((len(ids), len(gradient)))
    for which, rows, left in alike:
        growth[which] = (pulled[rows] * np.linalg.solve(left, pulled[rows])).sum(axis=1)
    return ids, growth


def _growth_of_long(
    route: Route, strip: Strip, gradient: Floats
) -> tuple[tuple[ReadingId, ...], Floats]:
    """Return the same of a long run, whose losses are never written out."""
    blunders = route.long_blunders
    pulled = blunders.project(strip.seen(gradient.T))
    growth = np.empty((len(blunders.widths), len(gradient)))
    alone = blunders.widths == 1
    at = blunders.starts[alone]
    # As much as losses allow for what nothing else fixes.
    growth[alone] = np.square(pulled[at]) / (blunders.redundancy[at] + ALMOST_NOTHING)[:, None]
    at = blunders.starts[~alone][:, None] + np.arange(2)
    left = blunders.pairs + 2.0 * ALMOST_NOTHING * np.eye(2)
    growth[~alone] = np.sum(pulled[at] * np.linalg.solve(left, pulled[at]), axis=1)
    kept = [index for index, one in enumerate(blunders.readings) if not one.id.is_noise]
    return tuple(blunders.readings[index].id for index in kept), growth[kept]
