"""Which readings an answer rests on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import Route

# Worth naming: without the reading the answer's variance would grow by a tenth or more.
_WORTH_NAMING = 0.1
_MOST_NAMED = 4


@dataclass(frozen=True, slots=True)
class _Readings:
    """What each named reading would leave behind if it were set aside, stacked.

    ``shadow`` (w, unknowns) is Sᵀ A, S a reading's blunder signature and A its equations;
    ``own`` gives Sᵀ S of each reading, ``blocks`` its rows in ``shadow``.
    """

    ids: tuple[ReadingId, ...]
    shadow: Floats
    own: tuple[Floats, ...]
    blocks: tuple[slice, ...]


def find_telling_readings(route: Route, gradient: Floats) -> tuple[tuple[ReadingId, ...], ...]:
    """Return, for each linear quantity, the readings whose loss would hurt it most.

    ``gradient`` (k, unknowns) are the quantities' derivatives. Setting a reading with blunder
    signature S aside adds g C AᵀS (SᵀS - SᵀA C AᵀS)⁻¹ SᵀA C gᵀ to a quantity's variance; readings
    are named in the order of that growth. A line's mapped place counts as a reading.
    """
    readings = _gather(route)
    if not readings.ids:
        return ((),) * len(gradient)
    spread = readings.shadow @ route.covariance
    growth = _growth(readings, spread, spread @ gradient.T)
    variance = np.einsum("kn,kn->k", gradient @ route.covariance, gradient)
    share = growth / np.maximum(variance, 1e-300)
    named = []
    for column in share.T:
        order = np.argsort(-column, kind="stable")[:_MOST_NAMED]
        worth = [column[i] >= _WORTH_NAMING or (i == order[0] and column[i] > 0.0) for i in order]
        named.append(
            tuple(readings.ids[i] for i, is_worth in zip(order, worth, strict=True) if is_worth)
        )
    return tuple(named)


def _gather(route: Route) -> _Readings:
    ids: list[ReadingId] = []
    shadow: list[Floats] = []
    own: list[Floats] = []
    for one in route.observations:
        # The mark's and the counter's own noise are no readings that anybody could take again.
        if one.id.is_noise:
            continue
        ids.append(one.id)
        shadow.append(one.signature.T @ route.design[one.rows])
        own.append(one.signature.T @ one.signature)
    ends = np.cumsum([len(rows) for rows in shadow])
    blocks = tuple(slice(int(e) - len(s), int(e)) for e, s in zip(ends, shadow, strict=True))
    stacked = np.concatenate(shadow) if shadow else np.zeros((0, route.layout.size))
    return _Readings(tuple(ids), stacked, tuple(own), blocks)


def _growth(readings: _Readings, spread: Floats, effect: Floats) -> Floats:
    """Return (readings, k): how much each quantity's variance grows without each reading."""
    growth = np.zeros((len(readings.ids), effect.shape[1]))
    for index, (own, block) in enumerate(zip(readings.own, readings.blocks, strict=True)):
        left = own - spread[block] @ readings.shadow[block].T
        # Where nothing else fixes what the reading fixes, its loss leaves the quantity adrift. The
        # rounded covariance tells such a rest from nothing to some 1e-8 of the whole.
        left = left + 1e-7 * np.trace(own) * np.eye(len(own))
        solved = np.linalg.solve(left, effect[block])
        growth[index] = np.maximum(np.einsum("wk,wk->k", effect[block], solved), 0.0)
    return growth
