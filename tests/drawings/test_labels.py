"""Labels never lie on one another, whatever is asked of them."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import minimize

from lateral_map.draw.paint import labels
from lateral_map.draw.paint.labels import Box, Placer, Wish, spread

FRAME = Box(0.0, 0.0, 400.0, 250.0)
inside_x, inside_y = st.floats(0.0, 400.0), st.floats(0.0, 250.0)
wishes = st.lists(
    st.builds(
        Wish,
        key=st.integers(0, 10**6),
        x=inside_x,
        y=inside_y,
        width=st.floats(4.0, 120.0),
        height=st.floats(4.0, 14.0),
        clear_pt=st.floats(1.0, 8.0),
        weight=st.integers(0, 9),
        reach_pt=st.sampled_from([10.0, 60.0, 230.0]),
    ),
    max_size=40,
    unique_by=lambda wish: wish.key,
)
boxes = st.lists(st.builds(Box.around, inside_x, inside_y, st.floats(1.0, 20.0)), max_size=15)


@given(wishes, boxes)
def test_labels_keep_off_each_other_and_what_is_taken(asked: list[Wish], taken: list[Box]) -> None:
    placer = Placer(FRAME)
    for box in taken:
        placer.keep_off(box)
    placed, left_out = placer.place(asked)
    assert {one.key for one in placed} | {one.key for one in left_out} == {one.key for one in asked}
    assert len(placed) + len(left_out) == len(asked)
    for one in placed:
        assert FRAME.holds(one.box)
        assert not any(one.box.meets(box) for box in taken)
    for one, other in combinations(placed, 2):
        assert not one.box.meets(other.box)


@given(wishes)
def test_a_label_keeps_its_own_size_and_clearance(asked: list[Wish]) -> None:
    placed, _ = Placer(FRAME).place(asked)
    sizes = {wish.key: wish for wish in asked}
    for one in placed:
        wish = sizes[one.key]
        assert np.isclose(one.box.width, wish.width)
        assert np.isclose(one.box.height, wish.height)
        clear = Box.around(wish.x, wish.y, wish.clear_pt - 1e-6)
        assert not one.box.meets(clear)


def test_the_first_label_stands_beside_its_mark() -> None:
    placed, left_out = Placer(FRAME).place([Wish(1, 200.0, 120.0, 40.0, 8.0, 4.0)])
    assert not left_out
    assert placed[0].leader is None


def test_a_crowd_is_led_away_by_leaders_and_loses_nobody() -> None:
    crowd = [Wish(k, 200.0 + 0.5 * k, 120.0, 30.0, 8.0, 3.0) for k in range(40)]
    placed, left_out = Placer(FRAME).place(crowd)
    assert not left_out
    assert any(one.leader for one in placed)


def test_what_cannot_fit_is_handed_back() -> None:
    placed, left_out = Placer(FRAME).place([Wish(1, 200.0, 120.0, 500.0, 8.0, 3.0)])
    assert not placed
    assert [wish.key for wish in left_out] == [1]


@given(st.lists(st.floats(0.0, 300.0), min_size=1, max_size=30), st.floats(1.0, 9.0))
def test_spread_keeps_order_and_gaps(centres: list[float], width: float) -> None:
    centres.sort()
    places = spread(centres, [width] * len(centres), 0.0, 300.0)
    assert places.min() >= width / 2.0 - 1e-9
    assert places.max() <= 300.0 - width / 2.0 + 1e-9
    assert (np.diff(places) >= width - 1e-7).all()


@given(st.lists(st.floats(20.0, 280.0), min_size=2, max_size=7))
def test_spread_is_the_least_squares_answer(centres: list[float]) -> None:
    """Against scipy's SLSQP on the same problem."""
    centres.sort()
    width = 12.0
    own = spread(centres, [width] * len(centres), 0.0, 300.0)
    gaps = [
        {"type": "ineq", "fun": lambda at, i=i: at[i + 1] - at[i] - width}
        for i in range(len(centres) - 1)
    ]
    other = minimize(
        lambda at: float(np.sum((at - np.array(centres)) ** 2)),
        np.linspace(20.0, 280.0, len(centres)),
        method="SLSQP",
        bounds=[(width / 2.0, 300.0 - width / 2.0)] * len(centres),
        constraints=gaps,
        options={"ftol": 1e-12, "maxiter": 500},
    )
    assume(other.success)
    cost = float(np.sum((own - np.array(centres)) ** 2))
    assert cost <= other.fun + 1e-4 * (1.0 + other.fun)


def test_leaders_cross_and_meet_what_geometry_says():
    rng = np.random.default_rng(5)
    lines, others = rng.integers(0, 9, (2, 60, 4)).astype(float)
    boxes = np.sort(rng.integers(0, 9, (50, 2, 2)).astype(float), axis=1).reshape(-1, 4)
    boxes = boxes[(boxes[:, :2] < boxes[:, 2:]).all(axis=1)]
    lines, others = (each[(each[:, :2] != each[:, 2:]).any(axis=1)] for each in (lines, others))
    one, two = (shapely.linestrings(each.reshape(-1, 2, 2)) for each in (lines, others))
    within = np.array(  # a place in the middle of both, not along both
        [[shapely.relate_pattern(a, b, "0********") for b in two] for a in one]
    )
    assert np.array_equal(labels._crosses(lines, others), within)
    met = [[a.intersects(box) for box in shapely.box(*boxes.T)] for a in one]
    assert np.array_equal(labels._enters(lines, boxes), np.array(met))
    assert within.any()
    assert np.array(met).any()
    assert not np.array(met).all()


def test_more_labels_than_a_drawing_can_be_read_with_are_left_out_and_counted():
    placer = Placer(Box(0, 0, 60_000, 9000))
    wishes = [Wish(key, 30.0 * key, 4500.0, 20.0, 8.0, 3.0, key) for key in range(2000)]
    placed, left_out = placer.place(wishes)
    assert len(placed) + len(left_out) == 2000
    assert len(placed) == labels._MOST
    assert min(one.key for one in placed) > max(one.key for one in left_out)
