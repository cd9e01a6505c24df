"""One figure a test, each worked out on paper from what is dug and not from the code."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import CORNERS, straight_site, three_tapes
from analysis.builder import HandRoute, Sds
from dig.builder import FOOT, INCH, dig_rules, straight, trench
from shapely.geometry import box

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.falls import measure_falls
from lateral_map.analysis.methods import compare_methods
from lateral_map.analysis.pipes import find_outside_diameter
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.refind import plan_refinds
from lateral_map.analysis.responsibility import share_responsibility
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.surfaces import measure_surfaces
from lateral_map.analysis.trench import lay_trench
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.model.dig import KeyMark, KeyPoint
from lateral_map.model.results import Crossing, PipeStretch, ResponsibilityStretch
from lateral_map.model.site import (
    Boundary,
    DigRules,
    Finding,
    Locate,
    Plan,
    PlanArea,
    PlanLine,
    PlanPoint,
    Rate,
    Rates,
    Reach,
    RuleOverride,
    Start,
)

LENGTH = 20 * FOOT


def stretch(from_ft, to_ft, bore_in, outside_in):
    return PipeStretch(
        from_ft * FOOT, to_ft * FOOT, "other", bore_in * INCH, outside_in * INCH, "by hand"
    )


def section(pipes, dig, **fields):
    return lay_trench(lay_stations(straight(dig=dig, **fields)), pipes, dig, read_trench_rules(dig))


class TestTrench:
    def test_the_bottom_lies_under_wall_and_bedding(self):
        """Invert 8 ft down, a wall of 1 in, 6 in of bedding: 8 ft 7 in."""
        dig = replace(dig_rules(), bedding_m=6 * INCH)
        found = section((stretch(0, 20, 6, 8),), dig)
        assert found.bottom_depth_m == pytest.approx(8 * FOOT + 7 * INCH)
        assert found.crown_depth_m == pytest.approx(8 * FOOT + 1 * INCH - 8 * INCH)
        assert found.outside_diameter_m == pytest.approx(8 * INCH)

    def test_at_a_joint_the_wider_pipe_and_the_thicker_wall_count(self):
        thick, thin = stretch(0, 10, 6, 8), stretch(10, 20, 6, 6.5)
        for pipes in ((thick, thin), (thin, thick)):
            found = section(pipes, dig_rules())
            joint = int(np.argmin(np.abs(found.footage_m - 10 * FOOT)))
            assert found.bottom_depth_m[joint] == pytest.approx(8 * FOOT + INCH)

    def test_a_sloped_section_is_a_trapezium(self):
        found = section((stretch(0, 20, 0, 0),), dig_rules("B"))
        # 2 ft at the bottom, 45 degrees up 8 ft on both sides: 18 ft; (2 + 18) / 2 x 8 = 80 sq ft.
        assert found.top_width_m == pytest.approx(18 * FOOT)
        assert found.sloped_area_m2 == pytest.approx(80 * FOOT**2)


def dug(dig=None, **fields):
    dig = dig or dig_rules()
    route = straight(dig=dig, **fields)
    profile, rules = trench(route, dig)
    return route, profile, rules, measure_excavation(profile, 0.0, LENGTH, dig, rules)


class TestEarth:
    def test_bedding_is_a_volume(self):
        _, _, _, found = dug(replace(dig_rules(), bedding_m=0.5 * FOOT))
        assert found.bedding_m3 == pytest.approx(20 * 2 * 0.5 * FOOT**3)

    def test_earth_hauled_runs_from_the_least_dug_and_swollen_to_the_most(self):
        sd = 0.5 * FOOT
        dig = replace(dig_rules(), swell=(0.1, 0.4), swell_source="by hand")
        _, _, _, found = dug(dig, sds=Sds(elevation=sd))
        low, high = (20 * 2 * (8 + sign * 1.959964 * 0.5) * FOOT**3 for sign in (-1, 1))
        shored = found.shored
        assert (shored.bank_low_m3, shored.bank_high_m3) == pytest.approx((low, high))
        assert shored.loose_low_m3 == pytest.approx(1.1 * low)
        assert shored.loose_high_m3 == pytest.approx(1.4 * high)
        assert found.deepest_high_m == pytest.approx((8 + 1.959964 * 0.5) * FOOT)

    def test_a_level_trench_lies_in_one_class_of_depth(self):
        _, _, _, found = dug()
        lengths = [one.length_m for one in found.classes]
        assert sum(lengths) == pytest.approx(LENGTH)
        assert max(lengths) == pytest.approx(LENGTH)

    def test_a_class_counts_where_it_may_be_deeper(self):
        """4.5 ft deep give or take 0.5 ft: under 5 ft, at 95 % over it."""
        _, _, _, found = dug(depth_m=4.5 * FOOT, sds=Sds(elevation=0.5 * FOOT))
        protected = next(one for one in found.classes if one.from_m == pytest.approx(5 * FOOT))
        assert protected.length_m == 0.0
        assert protected.length_if_deeper_m == pytest.approx(LENGTH)

    def test_a_sloped_cut_opens_wider(self):
        _, _, _, found = dug(dig_rules("B"))
        assert found.sloped.top_width_m == pytest.approx(18 * FOOT)
        assert found.shored.top_width_m == pytest.approx(2 * FOOT)
        assert found.shored.held_m2 == pytest.approx(2 * 20 * 8 * FOOT**2)


class TestMethods:
    def compared(self, rates=(), surfaces=((), ()), **fields):
        dig = replace(dig_rules(), swell=(0.1, 0.4), swell_source="by hand")
        route, _, _, cut = dug(dig, **fields)
        site = replace(route.site, reaches=(Reach(0.0, LENGTH),), rates=Rates("USD", tuple(rates)))
        route = replace(route, site=site)
        (reach,) = propose_reaches(route, judge_findings(route, lay_stations(route), ()), (), ())
        found = compare_methods(site, reach, cut, surfaces)
        return cut, {one.name: one for one in found}

    def quantity(self, method, item):
        return next(one for one in method.quantities if one.item == item)

    def test_the_haul_is_loose_earth(self):
        cut, found = self.compared(sds=Sds(elevation=0.5 * FOOT))
        haul = self.quantity(found["open cut, shored"], "haul")
        low, high = (20 * 2 * (8 + sign * 1.959964 * 0.5) * FOOT**3 for sign in (-1, 1))
        assert (haul.low, haul.high) == pytest.approx((1.1 * low, 1.4 * high))
        assert haul.high > cut.shored.bank_high_m3

    def test_costs_run_from_the_least_at_the_low_rate_to_the_most_at_the_high(self):
        rates = (Rate("excavate", 2.0, 3.0),)
        cut, found = self.compared(rates, sds=Sds(elevation=0.5 * FOOT))
        assert found["open cut, shored"].cost == pytest.approx(
            (2.0 * cut.shored.bank_low_m3, 3.0 * cut.shored.bank_high_m3)
        )

    def test_paving_is_restored_with_its_cutback(self):
        drive = PlanArea("drive", "surface", box(-1.0, -20.0, 20.0, 20.0), "concrete")
        _, profile, _, cut = dug()
        broken = measure_surfaces(
            Plan(areas=(drive,)), profile.place_m, cut.shored.footprint, 0.5 * FOOT
        )
        _, found = self.compared(surfaces=(broken, broken))
        concrete = self.quantity(found["open cut, shored"], "concrete")
        # 2 ft and 6 in either side; 20 ft long and 6 in beyond both ends.
        assert concrete.low == pytest.approx(3 * 21 * FOOT**2)


class TestSurfaces:
    def test_where_surfaces_overlap_the_smaller_counts_once(self):
        yard = PlanArea("yard", "surface", box(-50, -50, 50, 50), "lawn")
        path = PlanArea("path", "surface", box(0, -50, 1, 50), "gravel")
        cut = box(-5, -1, 5, 1)
        line = np.array([[-5.0, 0.0], [5.0, 0.0]])
        found = {
            one.cover: one for one in measure_surfaces(Plan(areas=(yard, path)), line, cut, 0.0)
        }
        assert found["gravel"].area_m2 == pytest.approx(2.0)
        assert found["lawn"].area_m2 == pytest.approx(18.0)
        assert "not mapped" not in found

    def test_ground_nobody_mapped_is_the_rest(self):
        path = PlanArea("path", "surface", box(0, -50, 1, 50), "gravel")
        line = np.array([[-5.0, 0.0], [5.0, 0.0]])
        cut = box(-5, -1, 5, 1)
        found = {one.cover: one for one in measure_surfaces(Plan(areas=(path,)), line, cut, 0.0)}
        assert found["not mapped"].area_m2 == pytest.approx(18.0)


class TestStructures:
    def tree(self, off_ft, sd_m=0.0, soil="B", **fields):
        """Return what is said of a tree so far north of the pipe's middle."""
        point = PlanPoint("tree", 10 * FOOT, off_ft * FOOT, sd_m)
        route, profile, rules, cut = dug(dig_rules(soil), plan=Plan(points=(point,)), **fields)
        found = find_structures(route.site, profile, cut, rules)
        return found[0] if found else None

    def test_the_influence_line_is_never_steeper_than_the_soil_stands(self):
        # Type C stands at 1.5 to 1: 1 ft of half width and 1.5 x 8 = 12 ft.
        assert self.tree(12.9, soil="C") is not None
        assert self.tree(13.1, soil="C") is None

    def test_influence_is_taken_from_the_deeper_bound(self):
        # Type B, 8 ft give or take 1 ft: 1 + 8 = 9 ft, at the deeper bound 10.96 ft.
        assert self.tree(10.9, sds=Sds(elevation=FOOT)) is not None
        assert self.tree(10.9) is None

    def test_what_may_stand_within_says_that_it_only_may(self):
        # 9 ft of influence; a tree at 9.5 ft mapped to 0.5 ft may stand 0.98 ft nearer.
        near, sure = self.tree(9.5, 0.5 * FOOT), self.tree(8.0)
        assert near.only_by_bound
        assert not sure.only_by_bound
        assert near.gap_m == pytest.approx(8.5 * FOOT)
        assert near.gap_low_m == pytest.approx((8.5 - 0.979982) * FOOT, rel=1e-6)
        assert self.tree(9.5) is None


class TestRules:
    @pytest.mark.parametrize(
        ("key", "figure"),
        [
            # 29 CFR 1926.652(a)(1), 651(c)(2), 651(j)(2); Subpart P Appendix B Table B-1.
            ("protective system depth", 5 * FOOT),
            ("egress depth", 4 * FOOT),
            ("egress travel", 25 * FOOT),
            ("spoil set-back", 2 * FOOT),
            ("slope A", 0.75),
            ("slope B", 1.0),
            ("slope C", 1.5),
        ],
    )
    def test_federal_figures(self, key, figure):
        assert read_trench_rules(DigRules()).value(key) == pytest.approx(figure)

    @pytest.mark.parametrize(("feet", "looser"), [(4.0, False), (6.0, True)])
    def test_a_local_figure_takes_its_place_and_says_if_it_asks_less(self, feet, looser):
        own = RuleOverride("protective system depth", feet * FOOT, "a local code")
        rules = read_trench_rules(DigRules(overrides=(own,)))
        assert rules.value("protective system depth") == pytest.approx(feet * FOOT)
        assert rules.rule("protective system depth").looser is looser

    @pytest.mark.parametrize(("length_ft", "ways"), [(20, 1), (49, 1), (51, 2), (101, 3)])
    def test_ladders_stand_50_ft_apart(self, length_ft, ways):
        route = straight(length_ft * FOOT)
        profile, rules = trench(route, dig_rules())
        found = measure_excavation(profile, 0.0, length_ft * FOOT, dig_rules(), rules)
        assert found.ways_out == ways


class TestReach:
    def reaches(self, *findings, sd_reading_m=0.0, parties=()):
        route = straight(100 * FOOT, findings=findings, sd_reading_m=sd_reading_m)
        results = judge_findings(route, lay_stations(route), ())
        return propose_reaches(route, results, (), parties)

    def crack(self, at_ft, to_ft=None):
        return Finding(at_ft * FOOT, "crack", to_m=to_ft and to_ft * FOOT, severity="severe")

    def test_sound_pipe_and_the_counters_95_percent(self):
        (one,) = self.reaches(self.crack(50), sd_reading_m=0.1 * FOOT)
        assert one.begin.footage_m == pytest.approx((50 - 2 - 0.1959964) * FOOT)
        assert one.end.footage_m == pytest.approx((50 + 2 + 0.1959964) * FOOT)

    def test_a_short_break_inside_a_long_one_cuts_nothing_off(self):
        (one,) = self.reaches(self.crack(40, 60), self.crack(45, 46))
        assert one.end.footage_m == pytest.approx(62 * FOOT)

    def test_neighbours_within_ten_feet_are_one(self):
        assert len(self.reaches(self.crack(40), self.crack(53.9))) == 1
        assert len(self.reaches(self.crack(40), self.crack(54.1))) == 2

    def test_a_party_beyond_the_reach_has_no_part_of_it(self):
        parties = (
            ResponsibilityStretch(0.0, 70 * FOOT, "owner", 0.0, 0.1, "", "curb"),
            ResponsibilityStretch(70 * FOOT, 100 * FOOT, "city", 0.1, 0.0, "curb", ""),
        )
        (one,) = self.reaches(self.crack(50), parties=parties)
        assert [part.party for part in one.parts] == ["owner"]

    def test_an_end_is_as_unsure_as_the_counter(self):
        (one,) = self.reaches(self.crack(50), sd_reading_m=0.1 * FOOT)
        assert one.begin.along_sd_m == pytest.approx(0.1 * FOOT)
        assert one.begin.across_sd_m == pytest.approx(0.0, abs=1e-6)


def test_an_odd_size_takes_the_next_larger_pipe():
    # Clay of 5 in: as 6 in, 7.7 in outside; iron of 4 in: ASTM A74's 4.30.
    assert find_outside_diameter("clay", 5 * INCH)[0].inches == pytest.approx(7.7)
    assert find_outside_diameter("cast iron", 4 * INCH)[0].inches == pytest.approx(4.30)
    assert find_outside_diameter("bituminous fibre", 4 * INCH)[0].inches == pytest.approx(4.8)
    # No table of stoneware: a fifth of the bore, 0.8 in, on both sides.
    assert find_outside_diameter("stoneware", 4 * INCH)[0].inches == pytest.approx(5.6)


def test_a_run_that_comes_in_over_the_line_begins_with_the_party_outside():
    crossing = Crossing(
        "curb", "curb", 10 * FOOT, 0.1, 3.0, 0.0, 1.0, 0.1, 90.0, True, False, (), outward=False
    )
    boundary = Boundary("curb", "owner", "city", decides=True)
    curb = PlanLine("curb", "curb", np.array([[10 * FOOT, -9.0], [10 * FOOT, 9.0]]), 0.0)
    route = HandRoute(lengths_m=(30.0,), lines=(curb,), boundaries=(boundary,)).build()
    shared = share_responsibility(route, [crossing])
    assert [stretch.party for stretch in shared] == ["city", "owner"]


def test_before_the_first_depth_the_fall_is_assumed():
    locates = (Locate("A", 10.1524, 1.5), Locate("B", 25.1524, 2.0))
    start = Start(0.0, 0.0, 0.0, depth_m=None)
    route = HandRoute(
        pitches=0.05, sds=Sds(pitch=1e-6), site_fields={"locates": locates, "start": start}
    ).build()
    found = measure_falls(route, (stretch(0, 98, 4, 4.5),))
    assert found[0].to_m == pytest.approx(10.0)
    assert [one.verdict for one in found[:2]] == ["readings cannot tell", "enough fall"]


def test_corners_mapped_badly_lead_back_to_what_was_taped_from_them():
    """Every corner may be half a metre off: the same tapes still meet over the pipe."""
    site = straight_site(locate_footages_m=(10.1524,), tie=three_tapes)
    corners = tuple(replace(one, sd_m=0.5) for one in CORNERS)
    route = adjust_route(replace(site, plan=replace(site.plan, points=corners)))
    (found,) = plan_refinds(route, [KeyPoint((KeyMark("finding", "place"),), 10.0)])
    own = np.sqrt(np.trace(route.position_covariance(10.0)[0, :2, :2]))
    assert own > 0.3
    assert found.error_m < 2.4477 * 0.25
