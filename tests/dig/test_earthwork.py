"""Volumes and footprints against closed-form solids, published arithmetic and hand clipping."""

from __future__ import annotations

import numpy as np
import pytest
from analysis.builder import HandRoute
from dig.builder import FOOT, INCH, dig_rules, sloped, straight, trench
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.surfaces import measure_surfaces
from lateral_map.analysis.trench import standard_width_m
from lateral_map.analysis.whitelines import clear_of
from lateral_map.model.earthwork import prismoidal_volume_m3, sweep_strip, trench_footprint
from lateral_map.model.site import Plan, PlanArea
from lateral_map.units import to_metres
from lateral_map.words.excavator import class_asks

YARD3 = 0.9144**3


def dig_of(route, dig, from_m=0.0, to_m=20 * FOOT):
    profile, rules = trench(route, dig)
    return profile, measure_excavation(profile, from_m, to_m, dig, rules)


@pytest.mark.parametrize(
    ("soil", "top_ft", "area_ft2", "bank_yd3"),
    [("A", 14.0, 64.0, 47.41), ("B", 18.0, 80.0, 59.26), ("C", 26.0, 112.0, 82.96)],
)
def test_eight_feet_deep_with_a_two_foot_bottom(soil, top_ft, area_ft2, bank_yd3):
    # Slopes of 29 CFR 1926 Subpart P, Appendix B, Table B-1; the areas follow by arithmetic.
    dig = dig_rules(soil)
    profile, _ = trench(straight(), dig)
    assert profile.top_width_m / FOOT == pytest.approx(top_ft)
    assert profile.sloped_area_m2 / FOOT**2 == pytest.approx(area_ft2)
    body = prismoidal_volume_m3(
        profile.plan_m, profile.width_m, profile.bottom_depth_m, sloped(0.0)
    )
    slope = {"A": 0.75, "B": 1.0, "C": 1.5}[soil]
    walls = prismoidal_volume_m3(
        profile.plan_m, 0 * profile.width_m, profile.bottom_depth_m, sloped(slope)
    )
    ends = 2 * 2 * slope**2 * (8 * FOOT) ** 3 / 3
    assert (body + walls - ends) / YARD3 == pytest.approx(bank_yd3, abs=0.005)


@pytest.mark.parametrize("soil", ["stable rock", "A", "B", "C"])
def test_level_trench_is_the_frustum_of_a_pyramid(soil):
    dig = dig_rules(soil)
    _, found = dig_of(straight(), dig)
    slope = {"stable rock": 0.0, "A": 0.75, "B": 1.0, "C": 1.5}[soil]
    length, width, depth = 20 * FOOT, 2 * FOOT, 8 * FOOT
    bottom = length * width
    top = (length + 2 * slope * depth) * (width + 2 * slope * depth)
    middle = (length + slope * depth) * (width + slope * depth)
    # The prismoidal formula is exact for a solid between two level rectangles.
    assert found.sloped.bank_m3 == pytest.approx(depth * (bottom + 4 * middle + top) / 6, rel=1e-3)
    assert found.sloped.footprint.area == pytest.approx(top, rel=1e-3)
    assert found.shored.bank_m3 == pytest.approx(bottom * depth, rel=1e-3)
    assert found.shored.footprint.area == pytest.approx(bottom, rel=1e-3)
    assert found.shored.held_m2 == pytest.approx(2 * length * depth, rel=1e-3)


def test_a_falling_trench_is_a_wedge_on_a_prism():
    # Depth runs straight from a to b: W L (a + b)/2 + s L (a² + ab + b²)/3, and the two ends.
    a, length, width, slope = 5 * FOOT, 60 * FOOT, 2 * FOOT, 1.5
    pitch = np.arctan(0.05)
    plan = length * np.cos(pitch)
    b = a + length * np.sin(pitch)
    dig = dig_rules("C")
    _, found = dig_of(straight(length, a, pitch), dig, 0.0, length)
    ends = sum(slope * width * d**2 / 2 + 2 * slope**2 * d**3 / 3 for d in (a, b))
    closed = width * plan * (a + b) / 2 + slope * plan * (a * a + a * b + b * b) / 3 + ends
    assert found.sloped.bank_m3 == pytest.approx(closed, rel=1e-3)
    assert found.shored.bank_m3 == pytest.approx(width * plan * (a + b) / 2, rel=1e-3)


def test_volume_against_slices_counted_level_by_level():
    depth, width = np.array([1.0, 2.6, 1.9]), np.array([0.7, 0.7, 0.9])
    plan, slope = np.array([0.0, 3.0, 7.0]), 1.0
    steps = np.linspace(0.0, 7.0, 20001)
    d, w = np.interp(steps, plan, depth), np.interp(steps, plan, width)
    heights = (np.arange(2000) + 0.5) / 2000
    section = np.array([(w + 2 * slope * d * h) * d for h in heights]).mean(axis=0)
    body = np.trapezoid(section, steps)
    ends = 0.0
    for end in (0, -1):
        z = heights * depth[end]
        ends += np.mean((width[end] + 2 * slope * z) * slope * z) * depth[end]
    assert prismoidal_volume_m3(plan, width, depth, sloped(slope)) == pytest.approx(
        body + ends, rel=1e-4
    )


def test_published_swell_example():
    # 200 x 20 x 2 ft at 40 % swell: 8000 ft³ = 296 bank yd³, 414 loose (published bulking example,
    # which rounds before it multiplies; unrounded 296.30 and 414.81).
    dig = dig_rules("stable rock", 20.0, swell=(0.4, 0.4), swell_source="worked example")
    _, found = dig_of(straight(200 * FOOT, 2 * FOOT), dig, 0.0, 200 * FOOT)
    assert found.shored.bank_m3 / YARD3 == pytest.approx(296.30, abs=0.005)
    assert found.shored.loose_low_m3 / YARD3 == pytest.approx(414.81, abs=0.005)
    assert found.shored.loose_high_m3 == pytest.approx(found.shored.loose_low_m3)
    assert found.swell_source == "worked example"


@pytest.mark.parametrize(
    ("outside_in", "asked_in"), [(4.215, 20.215), (6.275, 22.275), (4.5, 20.5), (6.625, 22.625)]
)
def test_least_width_of_astm_d2321(outside_in, asked_in):
    # ASTM D2321: the greater of OD + 16 in and 1.25 OD + 12 in, on ASTM D3034 and D1785 diameters.
    assert standard_width_m(outside_in * INCH) / INCH == pytest.approx(asked_in)


def test_least_width_of_a_wide_pipe_takes_the_other_rule():
    assert standard_width_m(24 * INCH) / INCH == pytest.approx(1.25 * 24 + 12)


def area(name, polygon, cover):
    kind = "building" if cover is None else "surface"
    return PlanArea(name, kind, polygon, cover)


def by_cover(broken):
    return {one.cover: one for one in broken}


def test_hand_clipped_trench_across_a_driveway():
    # A 2 ft trench 20 ft long, square across a 10 ft driveway beginning at 4 ft; lawn elsewhere.
    drive = area("drive", box(4 * FOOT, -20.0, 14 * FOOT, 20.0), "concrete")
    lawn = area("lawn", box(-50.0, -50.0, 50.0, 50.0), "lawn")
    profile, found = dig_of(straight(), dig_rules())
    broken = by_cover(
        measure_surfaces(Plan(areas=(lawn, drive)), profile.place_m, found.shored.footprint)
    )
    assert broken["concrete"].length_m == pytest.approx(10 * FOOT)
    assert broken["concrete"].area_m2 == pytest.approx(20 * FOOT**2)
    # Paving is cut back 6 in each side: 3 ft wide, still 10 ft long.
    assert broken["concrete"].restored_area_m2 == pytest.approx(30 * FOOT**2)
    assert broken["lawn"].length_m == pytest.approx(10 * FOOT)
    assert broken["lawn"].restored_area_m2 == pytest.approx(20 * FOOT**2)
    assert "not mapped" not in broken


def test_hand_clipped_sloped_cut_beside_a_house():
    # Type B, 8 ft deep, 2 ft bottom: 18 ft wide and 36 ft long at the top. A house whose wall runs
    # 5 ft north of the pipe takes 4 ft of that width along 12 ft of it.
    house = area("house", box(3 * FOOT, 5 * FOOT, 15 * FOOT, 40 * FOOT), None)
    profile, found = dig_of(straight(), dig_rules("B"))
    broken = by_cover(
        measure_surfaces(Plan(areas=(house,)), profile.place_m, found.sloped.footprint)
    )
    assert broken["building"].area_m2 == pytest.approx(48 * FOOT**2)
    assert broken["building"].length_m == 0.0
    assert broken["not mapped"].area_m2 == pytest.approx((18 * 36 - 48) * FOOT**2)
    assert broken["not mapped"].length_m == pytest.approx(20 * FOOT)


def test_hand_clipped_trench_round_a_square_corner():
    # 4 m east, then 3 m south, 1 m wide with vertical walls: two strips overlapping in a 0.5 m
    # square, and a quarter disc of radius 0.5 m outside the corner.
    route = HandRoute(lengths_m=(4.0, 3.0), azimuths_deg=(90.0, 180.0), depth_m=1.0).build()
    place = route.positions([0.0, 4.0, 7.0])[:, :2]
    footprint = trench_footprint(place, np.ones(3), np.ones(3), sloped(0.0))
    assert footprint.area == pytest.approx(4.0 + 3.0 - 0.25 + np.pi / 16, rel=1e-3)
    east = area("east", box(4.0, -10.0, 10.0, 10.0), "gravel")
    broken = by_cover(measure_surfaces(Plan(areas=(east,)), place, footprint))
    # East of the corner: half the second leg's width, and the quarter disc.
    assert broken["gravel"].area_m2 == pytest.approx(3.0 * 0.5 + np.pi / 16, rel=1e-3)


def test_overlapping_surfaces_are_counted_once():
    path = area("path", box(0.0, -1.0, 2.0, 1.0), "concrete")
    lawn = area("lawn", box(-9.0, -9.0, 9.0, 9.0), "lawn")
    profile, found = dig_of(straight(), dig_rules())
    broken = measure_surfaces(Plan(areas=(lawn, path)), profile.place_m, found.shored.footprint)
    assert sum(one.area_m2 for one in broken) == pytest.approx(found.shored.footprint.area)


def test_length_by_depth_class():
    # From 3 ft to 6 ft deep over 30 ft: 4 ft is met a third of the way, 5 ft two thirds.
    pitch = np.arctan(0.1)
    length = 30 * FOOT / np.cos(pitch)
    _, found = dig_of(straight(length, 3 * FOOT, pitch), dig_rules(), 0.0, length)
    assert [one.length_m / FOOT for one in found.classes] == pytest.approx([10, 10, 10, 0])
    assert sum(one.length_m for one in found.classes) == pytest.approx(found.length_m)


@pytest.mark.parametrize(
    ("depth_ft", "asked"),
    [(3.0, ("no sign",)), (4.5, ("way out", "no sign")), (5.0, ("way out", "protective system"))],
)
def test_a_shallow_trench_still_asks_for_a_look(depth_ft, asked):
    # 29 CFR 1926.652(a)(1): under 5 ft only "no indication of a potential cave-in" lets one do
    # without a protective system; 651(c)(2) asks a way out from 4 ft.
    dig = dig_rules()
    profile, rules = trench(straight(20 * FOOT, depth_ft * FOOT), dig)
    found = measure_excavation(profile, 0.0, 20 * FOOT, dig, rules)
    (told,) = [class_asks(part.asks) for part in found.classes if part.length_m > 0.0]
    assert all(words in told for words in asked)
    assert ("no sign" in told) == (depth_ft < 5.0)


@pytest.mark.parametrize(
    ("length_ft", "depth_ft", "ways"),
    [(20.0, 3.5, 0), (20.0, 4.0, 1), (50.0, 6.0, 1), (51.0, 6.0, 2), (120.0, 6.0, 3)],
)
def test_nobody_is_farther_than_25_ft_from_a_way_out(length_ft, depth_ft, ways):
    # 29 CFR 1926.651(c)(2): from 4 ft on, no more than 25 ft of lateral travel.
    dig = dig_rules()
    profile, rules = trench(straight(length_ft * FOOT, depth_ft * FOOT), dig)
    assert measure_excavation(profile, 0.0, length_ft * FOOT, dig, rules).ways_out == ways


def test_spoil_keeps_two_feet_off_both_cuts():
    # 29 CFR 1926.651(j)(2).
    dig = dig_rules()
    profile, rules = trench(straight(), dig)
    found = measure_excavation(profile, 0.0, 20 * FOOT, dig, rules)
    for cut, half in ((found.shored, 1.0), (found.sloped, 13.0)):
        kept = clear_of(cut.footprint, 2.0 * FOOT)
        assert kept.bounds[3] == pytest.approx((half + 2.0) * FOOT)
        assert kept.exterior.distance(cut.footprint) == pytest.approx(2.0 * FOOT)


def test_bounds_hold_the_estimate():
    route = HandRoute(lengths_m=(10.0,), depth_m=2.0).build()
    route.covariance[2, 2] = 0.1**2
    _, found = dig_of(route, dig_rules(), 0.0, 10.0)
    width = 2 * FOOT
    assert found.shored.bank_high_m3 == pytest.approx(width * 10 * (2 + 1.959964 * 0.1), rel=1e-3)
    assert found.shored.bank_low_m3 == pytest.approx(width * 10 * (2 - 1.959964 * 0.1), rel=1e-3)


depths = st.lists(st.floats(0.0, 7.0), min_size=3, max_size=8)


@given(depths, st.floats(0.0, 3.0), st.sampled_from([0.0, 0.75, 1.0, 1.5]), st.integers(0, 7))
def test_deeper_never_means_less_earth(depth, more, slope, where):
    base = np.array(depth)
    deeper = base.copy()
    deeper[where % len(base)] += more
    plan, width = np.linspace(0.0, 12.0, len(base)), np.full(len(base), 0.6)
    before = prismoidal_volume_m3(plan, width, base, sloped(slope))
    assert prismoidal_volume_m3(plan, width, deeper, sloped(slope)) >= before - 1e-9


@given(depths, st.floats(0.0, 3.0), st.sampled_from([0.0, 0.75, 1.0, 1.5]))
def test_deeper_never_opens_less_ground(depth, more, slope):
    base = np.array(depth) + 0.1
    turn = np.linspace(0.0, 1.0, len(base))
    place = np.column_stack([np.linspace(0.0, 12.0, len(base)), 2.0 * turn**2])
    width = np.full(len(base), 0.6)
    before = trench_footprint(place, width, base, sloped(slope))
    after = trench_footprint(place, width, base + more, sloped(slope))
    assert before.difference(after).area <= 1e-3


@given(st.floats(0.1, 3.0), st.floats(0.0, 2.0))
def test_a_strip_holds_everything_near_its_line(half, beyond):
    place = np.array([[0.0, 0.0], [5.0, 0.0], [8.0, 4.0]])
    strip = sweep_strip(place, np.full(3, half), beyond, beyond)
    assert isinstance(strip, Polygon)
    assert strip.area >= 10.0 * 2 * half * 0.5
    assert strip.buffer(1e-6).covers(Polygon([(1, -half), (4, -half), (4, half), (1, half)]))


def test_a_riser_alone_opens_a_disc():
    place = np.zeros((2, 2))
    assert trench_footprint(place, np.ones(2), np.ones(2), sloped(0.0)).area == pytest.approx(
        np.pi / 4, rel=0.01
    )


def test_cutback_is_six_inches_unless_the_site_says_more():
    drive = area("drive", box(-50.0, -50.0, 50.0, 50.0), "asphalt")
    profile, found = dig_of(straight(), dig_rules())
    footprint, place = found.shored.footprint, profile.place_m
    wide = measure_surfaces(Plan(areas=(drive,)), place, footprint, to_metres(12, "in"))
    assert wide[0].restored_area_m2 == pytest.approx(22 * FOOT * 4 * FOOT)
