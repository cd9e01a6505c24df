"""Sites that hold the same ground, however many: told as one-to-one comparison tells them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely.geometry import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

import lateral_map.batch.same_ground as same_ground
from lateral_map.batch.same_ground import Grounds, Shared
from lateral_map.batch.sources import Source
from lateral_map.batch.store import Outcome, Store
from lateral_map.batch.tables import LOT, Row, pack, unpack

SHARED = 0.1
Ground = tuple[BaseGeometry | None, BaseGeometry | None]


def quiet(*_: object) -> None:
    pass


def rows_of(ground: Ground) -> dict[str, list[Row]]:
    lot, buffer = ground
    rows: dict[str, list[Row]] = {LOT: [], "buffers": []}
    if lot is not None:
        rows[LOT] = [(lot.wkb, [])]
    if buffer is not None:
        rows["buffers"] = [(buffer.wkb, ["", 0.0])]
    return rows


def kept(path: Path, grounds: list[Ground]) -> Store:
    """A store of solved sites of these lots and dig buffers, in this order."""
    store = Store(path / "done.sqlite")
    sources = [Source(f"lot {number:05}") for number in range(len(grounds))]
    store.note(sources)
    store.keep(
        Outcome(one, "solved", digest=one.path, place=at, rows=pack(rows_of(ground)))
        for at, (one, ground) in enumerate(zip(sources, grounds, strict=True))
    )
    return store


def compared(store: Store) -> tuple[list[tuple[str, list[Shared]]], int]:
    grounds = Grounds()
    for one in store.kept():
        grounds.add(one, unpack(store.packed(one.key)))
    found = list(grounds.compare(store, quiet))
    return found, grounds.sharing


def common(one: Ground, other: Ground) -> tuple[float, str] | None:
    """What the plain way says of two sites."""
    for mine, theirs, what in zip(one, other, ("lot", "dig buffer"), strict=True):
        if mine is not None and theirs is not None:
            share = mine.intersection(theirs).area / min(mine.area, theirs.area)
            if share >= SHARED:
                return share, what
    return None


def plainly(grounds: list[Ground]) -> Iterator[tuple[int, dict[int, tuple[float, str]]]]:
    """Yield each site and those later ones, not yet in its group, that share ground with it."""
    groups = [{one} for one in range(len(grounds))]
    for one, ground in enumerate(grounds):
        found = {
            other: met
            for other in range(one + 1, len(grounds))
            if other not in groups[one] and (met := common(ground, grounds[other]))
        }
        joined = set().union(groups[one], *(groups[other] for other in found))
        for member in joined:
            groups[member] = joined
        if found:
            yield one, found


def scattered(rng: np.random.Generator, count: int) -> list[Ground]:
    """Lots that meet here and there, a few without one, without buffer, or without either."""
    grounds: list[Ground] = []
    for east, north in rng.uniform(0.0, 14.0, (count, 2)):
        lot = shapely.affinity.rotate(box(east, north, east + 1.4, north + 0.9), rng.uniform(0, 90))
        buffer = MultiPolygon([lot.centroid.buffer(rng.uniform(0.2, 1.0), 3)])
        grounds.append(
            (lot if rng.random() > 0.2 else None, buffer if rng.random() > 0.2 else None)
        )
    return grounds


def stacked(rng: np.random.Generator, places: int, each: int) -> list[Ground]:
    """``each`` lots, a little off one another, on every place; places far apart."""
    moves = rng.uniform(0.0, 0.2, (places * each, 2))
    moves[:, 0] += 10.0 * (np.arange(places * each) % places)
    return [
        (box(x, y, x + 2.0, y + 1.0), MultiPolygon([box(x, y, x + 1.0, y + 0.1)])) for x, y in moves
    ]


@pytest.mark.parametrize("at_once", [3, 500])
@pytest.mark.parametrize("kind", ["scattered", "stacked"])
def test_what_is_shared_is_what_comparing_two_by_two_says(tmp_path, monkeypatch, kind, at_once):
    monkeypatch.setattr(same_ground, "_AT_ONCE", at_once)
    rng = np.random.default_rng(7)
    grounds = scattered(rng, 120) if kind == "scattered" else stacked(rng, 3, 12)
    expected = list(plainly(grounds))
    found, sharing = compared(kept(tmp_path, grounds))
    assert len(expected) > 2
    assert [site for site, _ in found] == [f"lot {one:05}" for one, _ in expected]
    for (_, others), (_, plain) in zip(found, expected, strict=True):
        told = {int(one.site.removeprefix("lot ")): (one.share, one.of) for one in others}
        assert told.keys() == plain.keys()
        for other, (share, what) in plain.items():
            assert told[other] == (pytest.approx(share, rel=1e-9), what)
        shares = [one.share for one in others]
        assert shares == sorted(shares, reverse=True)
    told = {one for one, _ in expected} | {other for _, plain in expected for other in plain}
    assert sharing == len(told)


@pytest.mark.parametrize("each", [20, 80])
def test_many_sites_on_one_place_cost_a_comparison_each(tmp_path, monkeypatch, each):
    grounds = stacked(np.random.default_rng(3), 4, each)
    store = kept(tmp_path, grounds)
    unpacked, pairs = [], []
    cut = shapely.intersection

    def counted(one, others):
        pairs.append(len(others))
        return cut(one, others)

    before = unpack

    def counting(packed):
        unpacked.append(packed)
        return before(packed)

    monkeypatch.setattr(same_ground, "_REMEMBERED", 5)
    monkeypatch.setattr(same_ground, "unpack", counting)
    monkeypatch.setattr(same_ground.shapely, "intersection", counted)
    found, sharing = compared(store)
    assert [len(others) for _, others in found] == [each - 1] * 4
    assert sharing == len(grounds)
    assert len(unpacked) <= len(grounds)
    assert sum(pairs) <= len(grounds)


def test_lots_side_by_side_are_not_looked_at_again(tmp_path, monkeypatch):
    grounds: list[Ground] = [
        (box(x, y, x + 1, y + 1), MultiPolygon([box(x + 0.4, y + 0.4, x + 0.6, y + 0.6)]))
        for x in range(8)
        for y in range(8)
    ]
    store = kept(tmp_path, grounds)
    monkeypatch.setattr(same_ground, "unpack", lambda _: pytest.fail("unpacked"))
    assert compared(store) == ([], 0)


def test_no_site_with_a_place_shares_nothing(tmp_path):
    assert compared(kept(tmp_path, [(None, None)] * 3)) == ([], 0)
