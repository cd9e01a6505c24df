"""Where the chain's straight pieces begin and end, and what turns between them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.route import Chain
from lateral_map.model.site import Bend, Site

# A chord over a wandering pipe strays from it by wander * sqrt(L^3 / 48) at mid-length (an
# integrated random walk). At 5 ft and 0.5 degrees per square root of a foot that is 0.014 ft.
_LONGEST_PIECE_M = 1.524
_MOST_PIECES = 80
_SAME_M = 1e-6


@dataclass(frozen=True, slots=True)
class Turns:
    """The expected change of direction at each node between pieces, radians, and its variance.

    Arrays have one entry a node between pieces (pieces - 1). ``bends`` gives, for each bend that
    lies between pieces, the node's index.
    """

    turn: Floats
    fall: Floats
    turn_variance: Floats
    fall_variance: Floats
    bends: tuple[tuple[int, Bend], ...]


def lay_chain(site: Site) -> Chain:
    """Cut the run into straight pieces at bends, locates and its end, none over-long."""
    first = site.counter.zero_m + site.start.riser_m
    located = [site.transmitter_footage_m(one) for one in site.used_locates()]
    last = max([site.run.end_m, first + 0.3, *located])
    inner = [at for at in (*(bend.footage_m for bend in site.bends), *located) if first < at < last]
    corners = np.unique([first, last, *inner])
    corners = corners[np.concatenate([[True], np.diff(corners) > _SAME_M])]
    longest = max(_LONGEST_PIECE_M, (last - first) / _MOST_PIECES)
    begin, length = corners[:-1], np.diff(corners)
    count = np.ceil(length / longest - 1e-9).astype(int)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    nodes = within * np.repeat(length / count, count) + np.repeat(begin, count)
    nodes = np.concatenate([nodes, corners[-1:]])
    return Chain(site.counter.zero_m, site.start.riser_m, nodes)


def wander_rates(site: Site, chain: Chain) -> Floats:
    """Return each piece's plan wander in radians per square root of a metre."""
    middle = (chain.nodes_m[:-1] + chain.nodes_m[1:]) / 2.0
    rates = np.full(len(middle), site.accuracy.wander_deg, dtype=np.float64)
    for run in sorted(site.pipes, key=lambda pipe: pipe.from_m):
        own = site.accuracy.wander_deg if run.wander_deg is None else run.wander_deg
        rates[middle >= run.from_m] = own
    return np.asarray(np.radians(rates))


def turns_at_nodes(site: Site, chain: Chain) -> Turns:
    """Return the bends as turns at the chain's inner nodes; nodes with no bend turn by zero."""
    inner = chain.nodes_m[1:-1]
    zeros = np.zeros((4, len(inner)))
    turns = Turns(zeros[0], zeros[1], zeros[2], zeros[3], bends=())
    placed = []
    for bend in site.bends:
        near = np.flatnonzero(np.abs(inner - bend.footage_m) <= _SAME_M)
        if not len(near):
            continue
        node = int(near[0])
        usual = site.accuracy.fitting_deg if bend.how == "fitting" else site.accuracy.eye_deg
        sd = np.radians(usual if bend.sd_deg is None else bend.sd_deg)
        turns.turn[node] += np.radians(bend.turn_deg)
        turns.fall[node] += np.radians(bend.fall_deg)
        # A bend in one plane says nothing new of the other; only the plane it turns in is unsure.
        turns.turn_variance[node] += sd**2 if bend.turn_deg else 0.0
        turns.fall_variance[node] += sd**2 if bend.fall_deg else 0.0
        placed.append((node, bend))
    return replace(turns, bends=tuple(placed))


def wander_covariance(lengths_m: Floats, rates: Floats) -> Floats:
    """Return (k, k) covariance (radians²) of the changes between the mean directions of k pieces.

    Direction along the pipe is a random walk, so a piece's mean direction and its neighbour's
    share the walk on both: the variance of the change is (q1 L1 + q2 L2)/3 and the covariance of
    neighbouring changes q L/6 of the piece they share, q the squared rate. The first change is from
    the direction at the very start to the first piece's mean. Derivation in docs/mathematics.md.
    """
    walked = np.square(rates) * lengths_m
    before = np.concatenate([[0.0], walked[:-1]])
    covariance = np.diag((before + walked) / 3.0)
    shared = walked[:-1] / 6.0
    index = np.arange(len(shared))
    covariance[index, index + 1] = covariance[index + 1, index] = shared
    return covariance
