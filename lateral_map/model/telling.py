"""Which readings an answer rests on."""

from __future__ import annotations

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import Route

# Worth naming: without the reading the answer's variance would grow by a tenth or more.
_WORTH_NAMING = 0.1
_MOST_NAMED = 4


def find_telling_readings(route: Route, gradient: Floats) -> tuple[tuple[ReadingId, ...], ...]:
    """Return, for each linear quantity, the readings whose loss would hurt it most.

    ``gradient`` (k, unknowns) are the quantities' derivatives. Setting a reading with blunder
    signature S aside adds g C AᵀS (SᵀS - SᵀA C AᵀS)⁻¹ SᵀA C gᵀ to a quantity's variance; readings
    are named in the order of that growth. A line's mapped place counts as a reading.
    """
    ids, growth = _growth(route, gradient)
    if not ids:
        return ((),) * len(gradient)
    variance = np.einsum("kn,kn->k", gradient @ route.covariance, gradient)
    share = growth / np.maximum(variance, 1e-300)
    named = []
    for column in share.T:
        order = np.argsort(-column, kind="stable")[:_MOST_NAMED]
        worth = [column[i] >= _WORTH_NAMING or (i == order[0] and column[i] > 0.0) for i in order]
        named.append(tuple(ids[i] for i, is_worth in zip(order, worth, strict=True) if is_worth))
    return tuple(named)


def _growth(route: Route, gradient: Floats) -> tuple[tuple[ReadingId, ...], Floats]:
    """Return the readings and (readings, k): how each quantity's variance grows without each."""
    # The mark's and the counter's own noise are no readings that anybody could take again.
    readings = [one for one in route.observations if not one.id.is_noise]
    if not readings:
        return (), np.zeros((0, len(gradient)))
    # SᵀA of all readings, stacked.
    shadow = np.concatenate([one.signature.T @ route.design[one.rows] for one in readings])
    spread = shadow @ route.covariance
    effect = spread @ gradient.T
    growth = np.zeros((len(readings), len(gradient)))
    ends = np.cumsum([one.signature.shape[1] for one in readings])
    for index, (one, end) in enumerate(zip(readings, ends, strict=True)):
        own = one.signature.T @ one.signature
        block = slice(int(end) - len(own), int(end))
        left = own - spread[block] @ shadow[block].T
        # Where nothing else fixes what the reading fixes, its loss leaves the quantity adrift. The
        # rounded covariance tells such a rest from nothing to some 1e-8 of the whole.
        left = left + 1e-7 * np.trace(own) * np.eye(len(own))
        solved = np.linalg.solve(left, effect[block])
        growth[index] = np.maximum(np.einsum("wk,wk->k", effect[block], solved), 0.0)
    return tuple(one.id for one in readings), growth
