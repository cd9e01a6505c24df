"""Trenches under ground that slopes across the pipe: closed forms, brute force, laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis.builder import HandRoute
from dig.builder import FOOT, dig_rules, pipe, sloped
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, box

from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.dug_into import list_dug_into
from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.methods import compare_methods
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.trench import UNSEEN_RISE, lay_trench, measure_cross_slope
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.analysis.whitelines import outline_dig
from lateral_map.model.earthwork import prismoidal_volume_m3
from lateral_map.model.site import (
    Plan,
    PlanArea,
    Rate,
    Rates,
    Reach,
    SoilLayer,
    SpotLevel,
    UtilityLine,
)

LENGTH = 20 * FOOT
SLOPES = {"A": 0.75, "B": 1.0, "C": 1.5}


def levels(rise, reach=60.0):
    """Return spot levels of a plane that rises towards north, the left of a run to the east."""
    corners = [(-reach, -reach), (-reach, reach), (reach, -reach), (reach, reach)]
    return tuple(SpotLevel(x, y, 100.0 + rise * y) for x, y in corners)


def laid(rise, soil="C", depth=8 * FOOT, plan=None, dig=None, **fields):
    """Return (route, profile, rules, dig) of a run east under a plane rising to its left."""
    dig = dig or dig_rules(soil)
    given = replace(plan or Plan(), levels=() if rise is None else levels(rise))
    more = {"plan": given, "dig": dig, "reaches": (Reach(0.0, LENGTH),)}
    route = HandRoute(lengths_m=(LENGTH,), depth_m=depth, site_fields=more, **fields).build()
    stations, rules = lay_stations(route), read_trench_rules(dig)
    across = measure_cross_slope(route.site, stations)
    return route, lay_trench(stations, (pipe(),), dig, rules, across), rules, dig


def counted(rise, slope, width, depth, length):
    """Return the volume between a plane and a pit with four walls of one slope, cell by cell.

    Beyond the run's ends the ground is taken level along the run, as it is along it.
    """
    far = width / 2 + slope * depth * 4
    x = np.linspace(-far, length + far, 1501)
    y = np.linspace(-far, far, 1501)
    x, y = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2
    out_x = np.maximum(np.maximum(-x, x - length), 0.0)[:, None]
    out_y = np.maximum(np.abs(y) - width / 2, 0.0)[None, :]
    floor = -depth + np.maximum(out_x, out_y) / slope
    return float(np.maximum(rise * y[None, :] - floor, 0.0).sum() * (x[1] - x[0]) * (y[1] - y[0]))


@pytest.mark.parametrize("soil", list(SLOPES))
@pytest.mark.parametrize("rise", [0.0, 0.1, 0.3])
def test_a_cut_into_a_plane_hillside_against_cells(soil, rise):
    _, profile, rules, dig = laid(rise, soil)
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    brute = counted(rise, SLOPES[soil], 2 * FOOT, 8 * FOOT, LENGTH)
    assert found.sloped.bank_m3 == pytest.approx(brute, rel=1e-3)
    # Vertical walls: the rises of the two sides cancel.
    assert found.shored.bank_m3 == pytest.approx(2 * 8 * 20 * FOOT**3, rel=1e-3)


@pytest.mark.parametrize("rise", [0.05, 0.2])
def test_the_section_is_a_quadrilateral(rise):
    # Walls y = w/2 + s (z + D) and ground z = r y meet where the closed forms say.
    _, profile, _, _ = laid(rise, "B")
    half, depth = FOOT, 8 * FOOT
    up, down = (half + depth) / (1 - rise), (half + depth) / (1 + rise)
    left, right = profile.edges_m(sloped(1.0), 0.0)
    assert left == pytest.approx(up, rel=1e-6)
    assert right == pytest.approx(down, rel=1e-6)
    corners = np.array([(-half, -depth), (half, -depth), (up, rise * up), (-down, -rise * down)])
    x, y = corners.T
    area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert profile.sloped_area_m2 == pytest.approx(area, rel=1e-3)


def test_the_uphill_edge_is_inside_the_lines_painted():
    for rise in (0.1, 0.2, 0.3):
        route, profile, rules, dig = laid(rise)
        (reach,) = propose_reaches(route, (), (), ())
        found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
        up = (FOOT + 1.5 * 8 * FOOT) / (1 - 1.5 * rise)
        uphill = Point(LENGTH / 2, up - 1e-3)
        assert found.sloped.footprint.covers(uphill)
        assert outline_dig(profile, reach, found.sloped.shape).covers(uphill)
        assert found.sloped.face_high_m >= (up - FOOT) / 1.5 - 1e-6
        assert found.sloped.footprint.bounds[3] == pytest.approx(up, rel=1e-3)


def test_ground_nobody_measured_widens_what_warns_and_no_estimate():
    route, profile, rules, dig = laid(None)
    (reach,) = propose_reaches(route, (), (), ())
    assert set(profile.rise_unseen) == {UNSEEN_RISE}
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    assert found.sloped.top_width_m == pytest.approx(26 * FOOT)
    edge = FOOT + 1.5 * (8 * FOOT + UNSEEN_RISE * FOOT) / (1 - 1.5 * UNSEEN_RISE)
    assert found.sloped.top_width_high_m == pytest.approx(2 * edge)
    assert outline_dig(profile, reach, found.sloped.shape).bounds[3] == pytest.approx(
        edge, rel=1e-3
    )


def test_ground_as_steep_as_the_wall_is_refused_and_not_priced():
    route, profile, rules, dig = laid(0.6)
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    assert not found.sloped.daylights
    (reach,) = propose_reaches(route, (), (), ())
    site = replace(route.site, rates=Rates(rates=(Rate("excavate", 1.0, 2.0),)))
    methods = {one.name: one for one in compare_methods(site, reach, found, ((), ()))}
    assert methods["open cut, sloped"].cost is None
    assert methods["open cut, sloped"].refused
    assert methods["open cut, shored"].cost is not None


def test_a_house_refuses_the_cut_that_goes_through_it():
    house = PlanArea("house", "building", box(2.0, 2.0, 5.0, 9.0), None)
    route, profile, rules, dig = laid(0.0, plan=Plan(areas=(house,)))
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    near = find_structures(route.site, profile, found, rules)
    (reach,) = propose_reaches(route, (), (), ())
    rates = Rates(rates=(Rate("excavate", 1.0, 2.0), Rate("liner", 1.0, 2.0)))
    methods = {
        one.name: one
        for one in compare_methods(replace(route.site, rates=rates), reach, found, ((), ()), near)
    }
    assert [one.why for one in methods["open cut, sloped"].refused] == ["through a building"]
    assert [one.why for one in methods["open cut, shored"].refused] == [
        "into a building's influence"
    ]
    assert methods["open cut, sloped"].cost is None
    assert methods["liner"].cost is not None


SHARE = st.floats(0.0, 1.0)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.5, 5.0), st.floats(-0.3, 0.3), st.floats(0.3, 2.0), st.floats(0.0, 1.5),
    SHARE, SHARE, SHARE, SHARE,
)  # fmt: skip
def test_deeper_wider_steeper_softer_never_digs_less(
    depth, rise, width, slope, deeper, steeper, wider, softer
):
    def volume(depth, rise, width, slope):
        wide, deep = np.full(2, width), np.full(2, depth)
        return prismoidal_volume_m3(np.array([0.0, 5.0]), wide, deep, sloped(slope), (rise, rise))

    before = volume(depth, rise, width, slope)
    assert volume(depth + deeper, rise, width, slope) >= before - 1e-9
    assert volume(depth, rise + 0.2 * steeper, width, slope) >= before - 1e-9
    assert volume(depth, rise, width + wider, slope) >= before - 1e-9
    if rise >= 0.0:
        assert volume(depth, rise, width, slope + softer) >= before - 1e-9


WORSE = ("clear", "hand dig if sloped", "hand dig", "within the trench", "crosses the pipe")


@settings(max_examples=20, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from(["deeper", "steeper", "softer", "larger", "thicker", "wider", "thinner firm"]),
    SHARE,
)
def test_a_worse_dig_never_removes_a_warning(seed, change, share):
    rng = np.random.default_rng(seed)
    ends = np.array([[rng.uniform(-3, 9), rng.uniform(-9, 9)] for _ in range(2)])
    rise, depth = float(rng.uniform(0.0, 0.25)), float(rng.uniform(0.6, 4.0))
    house = PlanArea("house", "building", box(1.0, rng.uniform(0.5, 9.0), 4.0, 30.0), None)
    line = UtilityLine("gas", "gas", ends, float(rng.uniform(0.3, 4.0)), 0.1)

    walls = ("sloped", "box and slope")[seed % 2]
    layers = ((), (SoilLayer(0.7, "A"), SoilLayer(1.4, "C")))[seed // 2 % 2]

    def judged(rise=rise, depth=depth, soil="B", line=line, layers=layers, width=2.0):
        asked = dig_rules(soil, width, layers=layers, box_height_m=1.5, walls=walls)
        plan = Plan(utilities=(line,), areas=(house,))
        route, profile, rules, dig = laid(rise, soil, depth, plan, asked)
        (found,) = find_conflicts(route, profile, 0.5)
        cut = measure_excavation(profile, 0.0, LENGTH, dig, rules)
        (reach,) = propose_reaches(route, (), (), ())
        near = find_structures(route.site, profile, cut, rules)
        outlines = [outline_dig(profile, reach, one.shape) for one in cut.cuts]
        refused = {
            (each.name, why.of)
            for each in compare_methods(route.site, reach, cut, ((),) * len(cut.cuts), near)
            for why in each.refused
        }
        # Vertical walls once the slope is refused open less: then it is the refusal that warns.
        into = list_dug_into(walls, cut, near, (found,))
        return found, cut, {one.name for one in near}, outlines, refused, into

    worse = {
        "deeper": {"depth": depth + share},
        "steeper": {"rise": rise + 0.3 * share},
        "softer": {"soil": "C"},
        "wider": {"width": 2.0 + 3.0 * share},
        "thinner firm": {"layers": tuple(replace(one, soil="C") for one in layers)},
        "larger": {"line": replace(line, sd_m=0.1 + share)},
        "thicker": {"line": replace(line, size_m=share + 0.01)},
    }[change]
    before, after = judged(), judged(**worse)
    assert WORSE.index(after[0].verdict) >= WORSE.index(before[0].verdict)
    for spans, wider in (
        (before[0].hand_dig_m, after[0].hand_dig_m),
        (before[0].hand_dig_sloped_m, after[0].hand_dig_sloped_m),
    ):
        for begin, end in spans:
            assert any(b - 1e-6 <= begin and end <= e + 1e-6 for b, e in wider)
    assert after[0].in_trench or not before[0].in_trench
    assert after[1].ways_out >= before[1].ways_out
    assert after[1].deepest_high_m >= before[1].deepest_high_m - 1e-9
    assert after[2] >= before[2]
    for less, more in zip(before[3], after[3], strict=True):
        assert more.buffer(2e-3).covers(less)
    assert after[4] >= before[4]
    assert after[5] or after[0].in_trench or not before[5]
