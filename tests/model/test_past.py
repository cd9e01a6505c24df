"""Distances past a line: derivatives against finite differences, and rings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis.builder import HandRoute, line
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.model.lines import signed_offsets
from lateral_map.model.past import measure_past


@pytest.mark.parametrize("seed", [1, 7, 23])
@pytest.mark.parametrize("name", ["curb", "right of way"])
def test_gradient_and_rate_are_the_numerical_ones(seed, name):
    site, _ = simulate(seed)
    route = adjust_route(site)
    footages = np.linspace(0.31, site.run.end_m - 0.17, 9)
    past = measure_past(route, name, footages)
    step = 1e-6
    for column in range(route.layout.size):
        up, down = route.unknowns.copy(), route.unknowns.copy()
        up[column] += step
        down[column] -= step
        there, here = (
            measure_past(replace(route, unknowns=moved), name, footages).past_m
            for moved in (up, down)
        )
        assert past.gradient[:, column] == pytest.approx((there - here) / (2 * step), abs=1e-6)
    ahead, behind = (measure_past(route, name, footages + d).past_m for d in (step, -step))
    assert past.rate == pytest.approx((ahead - behind) / (2 * step), abs=1e-6)


def test_past_is_positive_beyond_the_line_whichever_way_it_was_drawn():
    for vertices in (((10, -9), (10, 9)), ((10, 9), (10, -9))):
        route = HandRoute(lines=(line("curb", *vertices),)).build()
        assert measure_past(route, "curb", [4.0, 14.0]).past_m == pytest.approx([-6.0, 4.0])


def test_a_shift_is_to_the_right_of_the_line():
    # Drawn southwards, with the run heading east: its right is west, towards the start.
    curb = line("curb", (10, 9), (10, -9), sd_m=0.5)
    route = HandRoute(lines=(curb,), shifts_m=(0.4,)).build()
    assert measure_past(route, "curb", 14.0).past_m == pytest.approx([4.4])


def test_nothing_moves_in_plan_in_the_riser():
    route = HandRoute(lines=(line("curb", (10, 9), (10, -9)),), riser_m=2.0).build()
    past = measure_past(route, "curb", [1.0, 2.0, 3.0])
    assert past.rate == pytest.approx([0.0, 1.0, 1.0])
    assert past.past_m == pytest.approx([-10.0, -10.0, -9.0])


def test_a_line_round_a_parcel_has_no_ends_to_carry_on():
    parcel = np.array([[0, 0], [10, 0], [10, 10], [0, 10], [0, 0]], float)
    outside = signed_offsets(parcel, [[-3.0, -4.0], [13.0, 5.0], [5.0, 13.0]])
    assert np.abs(outside.offset_m) == pytest.approx([5.0, 3.0, 3.0])
    assert not outside.extended.any()
    inside = signed_offsets(parcel, [[5.0, 1.0], [1.0, 5.0]])
    assert np.sign(inside.offset_m) == pytest.approx(-np.sign(outside.offset_m[:2]))


def test_carrying_on_is_measured_from_the_mapped_end():
    route = HandRoute(lines=(line("curb", (10, 9), (10, 2)),)).build()
    assert measure_past(route, "curb", 14.0).carried_m == pytest.approx([2.0])
