"""Which sites hold the same ground: their lots, or their dig buffers, have a good part in common.

A site is compared only with those not known by then to hold the same ground as it, be it through
others: a hundred sites of one lot cost a hundred comparisons, not one for every two of them, and
are told as one site and the others.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from lateral_map.batch.store import Kept, Store
from lateral_map.batch.tables import LOT, Row, unpack

SHARED: Final = 0.1  # of the smaller of two shapes, from which it is told
_SHAPES: Final = {LOT: "lot", "buffers": "dig buffer"}  # the first that is shared is told
_AT_ONCE: Final = 500  # sites compared with one at a time
_REMEMBERED: Final = 1000  # sites whose shapes are held: neighbours follow soon on one another

Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Shared:
    """A site that holds ground of another: what share of the smaller of their lots or buffers."""

    site: str
    share: float
    of: str


class Grounds:
    """A box and an area of every site's lot and dig buffer; shapes are fetched where boxes meet."""

    def __init__(self) -> None:
        self._keys: list[bytes] = []
        self._boxes, self._areas = array("d"), array("d")
        self._groups: dict[int, list[int]] = {}

    @property
    def sharing(self) -> int:
        """How many sites were found to hold ground that another one holds."""
        return sum(map(len, self._groups.values()))

    def add(self, kept: Kept, rows: dict[str, list[Row]]) -> None:
        """Take in one site, if it has a place."""
        shapes = _shapes(rows)
        if any(shapes):
            self._keys.append(kept.key)
            self._boxes.extend(shapely.bounds(shapes).ravel())
            self._areas.extend(shapely.area(shapes))

    def compare(
        self, store: Store, progress: Callable[[int, int], None]
    ) -> Iterator[tuple[str, list[Shared]]]:
        """Yield each site that shares ground with others not yet told with it, most shared first.

        ``progress`` is told how many sites, of how many, are compared.
        """
        count = len(self._keys)
        boxes = np.reshape(self._boxes, (count, len(_SHAPES), 4))
        areas = np.reshape(self._areas, (count, len(_SHAPES)))
        low, high = np.fmin.reduce(boxes[..., :2], 1), np.fmax.reduce(boxes[..., 2:], 1)
        around = shapely.box(*low.T, *high.T)
        tree, group_of = shapely.STRtree(around), np.arange(count)

        @lru_cache(_REMEMBERED)
        def fetch(site: int) -> Shapes:
            return _shapes(unpack(store.packed(self._keys[site])))

        for one in range(count):
            near = np.sort(tree.query(around[one]))
            near = near[(near > one) & (group_of[near] != group_of[one])]
            smaller = np.minimum(areas[one], areas[near])
            may = _may_share(boxes[one], boxes[near], smaller)
            told: dict[int, Shared] = {}
            hopeful = np.flatnonzero(may.any(1))
            for begin in range(0, len(hopeful), _AT_ONCE):
                some = hopeful[begin : begin + _AT_ONCE]
                theirs = np.array([fetch(site) for site in near[some].tolist()])
                shares = _shares(fetch(one), theirs, smaller[some], may[some])
                for at, kind in np.argwhere(shares).tolist():
                    site, what = int(near[some[at]]), list(_SHAPES.values())[kind]
                    name = store.name(self._keys[site])
                    told[site] = Shared(name, float(shares[at, kind]), what)
            if told:
                self._join(group_of, [one, *told])
                most_first = sorted(told.values(), key=lambda each: -each.share)
                yield store.name(self._keys[one]), most_first
            progress(one + 1, count)

    def _join(self, group_of: NDArray[np.int_], sites: list[int]) -> None:
        """Make one group of the sites' groups; the members of the smaller ones move."""
        joined = {
            group: self._groups.pop(group, [group]) for group in set(group_of[sites].tolist())
        }
        largest = max(joined, key=lambda group: len(joined[group]))
        members = joined.pop(largest)
        for moved in joined.values():
            group_of[moved] = largest
            members += moved
        self._groups[largest] = members


def _shapes(rows: dict[str, list[Row]]) -> Shapes:
    """Return the valid shapes of a site's rows, in the order of ``_SHAPES``; None for none."""
    first = [next((shape for shape, _ in rows.get(name, [])), None) for name in _SHAPES]
    return np.asarray(shapely.make_valid(shapely.from_wkb(first)))


def _may_share(box: Floats, boxes: Floats, smaller: Floats) -> NDArray[np.bool_]:
    """Say (n, kind) whether the boxes have so much in common that the shapes in them may, too."""
    low = np.maximum(box[:, :2], boxes[..., :2])
    high = np.minimum(box[:, 2:], boxes[..., 2:])
    common = np.maximum(high - low, 0.0).prod(-1)
    return np.asarray((common > 0.0) & (common > 0.999 * SHARED * smaller))


def _shares(mine: Shapes, theirs: Shapes, smaller: Floats, may: NDArray[np.bool_]) -> Floats:
    """Return (n, kind) the shares told, else 0: a kind is asked only where none before is told."""
    shares, left = np.zeros(may.shape), np.ones(len(may), bool)
    for kind, shape in enumerate(mine):
        at = np.flatnonzero(may[:, kind] & left)
        common = shapely.area(shapely.intersection(shape, theirs[at, kind])) / smaller[at, kind]
        at, common = at[common >= SHARED], common[common >= SHARED]
        shares[at, kind] = common
        left[at] = False
    return shares
