"""What stands near a cut, and the ground outlined in white."""

from __future__ import annotations

import numpy as np
import pytest
from analysis.builder import HandRoute, Sds
from dig.builder import FOOT, dig_rules, sloped, straight, trench
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.whitelines import outline_dig
from lateral_map.model.site import Plan, PlanArea, PlanPoint, Reach, UtilityLine

LENGTH, DEPTH = 20 * FOOT, 8 * FOOT
Z95 = 1.959964


def near(plan, soil="B", **fields):
    dig = dig_rules(soil)
    route = straight(LENGTH, DEPTH, plan=plan, dig=dig, **fields)
    profile, rules = trench(route, dig)
    found = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    return find_structures(route.site, profile, found, rules)


def tree(offset_ft, sd_m=0.0):
    return PlanPoint("oak", LENGTH / 2, offset_ft * FOOT, sd_m)


@pytest.mark.parametrize(
    ("offset_ft", "verdict"),
    [
        (0.5, "within the trench"),
        (8.9, "within the sloped cut"),  # 1 ft of half width and 8 ft of slope
        (9.1, None),  # Type B slopes as the influence line does: beyond it nothing is said
    ],
)
def test_a_tree_by_its_distance(offset_ft, verdict):
    found = near(Plan(points=(tree(offset_ft),)))
    assert [one.verdict for one in found] == ([verdict] if verdict else [])


def test_the_influence_line_reaches_past_a_steeper_cut():
    found = near(Plan(points=(tree(8.5),)), soil="A")  # the cut ends at 7 ft, the line at 9 ft
    assert [one.verdict for one in found] == ["within the influence line"]
    assert found[0].gap_m == pytest.approx(7.5 * FOOT)
    assert not found[0].only_by_bound


def test_the_influence_line_rises_from_the_deeper_bound():
    # 1 ft and 8 ft, and 1.96 x 0.1 m more at the bound: 9.64 ft.
    seen = [
        [one.verdict for one in near(Plan(points=(tree(at),)), soil="A", sds=Sds(elevation=0.1))]
        for at in (9.6, 9.7)
    ]
    assert seen == [["within the influence line"], []]


def test_a_place_is_held_against_the_pipe_where_that_is_least_sure():
    # A house beside the whole reach, a hair nearer at its begin, where the pipe is surely known.
    corners = [(0.0, 2.95), (LENGTH, 3.0), (LENGTH, 9.0), (0.0, 9.0)]
    house = PlanArea("house", "building", Polygon(corners))
    dig = dig_rules("B")
    found = {}
    for sd in (0.0, 0.05):
        route = straight(LENGTH, DEPTH, plan=Plan(areas=(house,)), dig=dig, sds=Sds(azimuth=sd))
        profile, rules = trench(route, dig)
        cut = measure_excavation(profile, 0.0, LENGTH, dig, rules)
        found[sd] = [one.verdict for one in find_structures(route.site, profile, cut, rules)]
    # The sloped cut ends 9 ft, 2.74 m off; at the far end the pipe may lie 0.6 m aside.
    assert found == {0.0: [], 0.05: ["within the sloped cut"]}


def test_a_place_mapped_loosely_counts_by_its_bound():
    found = near(Plan(points=(tree(9.5, sd_m=0.2),)))
    assert [one.verdict for one in found] == ["within the sloped cut"]
    assert found[0].only_by_bound
    assert found[0].gap_low_m == pytest.approx(8.5 * FOOT - Z95 * 0.2, rel=1e-5)


def test_buildings_and_utilities_are_looked_at_too():
    house = PlanArea("house", "building", box(0.0, 4 * FOOT, LENGTH, 30 * FOOT))
    gas = UtilityLine("gas", "gas", np.array([[-5.0, -1.5], [20.0, -1.5]]), None, 0.1)
    found = {one.name: one for one in near(Plan(areas=(house,), utilities=(gas,)))}
    assert found["house"].kind == "building"
    assert found["house"].gap_m == pytest.approx(3 * FOOT)
    assert found["gas"].kind == "utility"


def test_surfaces_are_no_structures():
    lawn = PlanArea("lawn", "surface", box(-50, -50, 50, 50), "lawn")
    assert near(Plan(areas=(lawn,))) == ()


def test_white_lines_hold_the_cut_and_its_uncertainty():
    dig = dig_rules("B")
    route = HandRoute(
        lengths_m=(30.0,),
        depth_m=DEPTH,
        sds=Sds(start=0.2),
        sd_reading_m=0.1,
        site_fields={"dig": dig, "reaches": (Reach(10.0, 10.0 + LENGTH),)},
    ).build()
    profile, rules = trench(route, dig)
    (reach,) = propose_reaches(route, (), (), ())
    outline = outline_dig(profile, reach, rules.wall_shapes()["sloped"])
    west, south, east, north = outline.bounds
    assert north == pytest.approx(9 * FOOT + Z95 * 0.2, rel=1e-4)
    assert south == pytest.approx(-north)
    along = 8 * FOOT + Z95 * np.hypot(0.2, 0.1)
    assert west == pytest.approx(10.0 - along, rel=1e-4)
    assert east == pytest.approx(10.0 + LENGTH + along, rel=1e-4)
    found = measure_excavation(profile, 10.0, 10.0 + LENGTH, dig, rules)
    assert outline.covers(found.sloped.footprint)


def test_white_lines_hold_the_cut_of_a_trench_as_deep_as_it_may_be():
    dig = dig_rules("B")
    route = HandRoute(
        lengths_m=(30.0,),
        depth_m=DEPTH,
        sds=Sds(elevation=0.2),
        site_fields={"dig": dig, "reaches": (Reach(10.0, 20.0),)},
    ).build()
    profile, rules = trench(route, dig)
    (reach,) = propose_reaches(route, (), (), ())
    outline = outline_dig(profile, reach, rules.wall_shapes()["sloped"])
    # 1 ft of half width, and 1 across to 1 up from 8 ft and 1.96 x 0.2 m down.
    assert outline.bounds[3] == pytest.approx(9 * FOOT + Z95 * 0.2, rel=1e-4)
    assert outline.bounds[0] == pytest.approx(10.0 - 8 * FOOT - Z95 * 0.2, rel=1e-4)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5))
def test_less_certainty_never_shrinks_the_white_lines(sd, more):
    outlines = []
    for one in (sd, sd + more):
        dig = dig_rules("C")
        route = HandRoute(
            lengths_m=(20.0,),
            sds=Sds(start=one),
            site_fields={"dig": dig, "reaches": (Reach(5.0, 12.0),)},
        ).build()
        profile, rules = trench(route, dig)
        outlines.append(
            outline_dig(profile, propose_reaches(route, (), (), ())[0], sloped(rules.slope))
        )
    assert outlines[1].buffer(1e-6).covers(outlines[0])
    assert outlines[0].covers(Point(8.0, 0.0))
