"""The wrong reading is named, the unchecked one is never called good."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import CORNERS, CURB, straight_site, surveyed, three_tapes
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings, measure_fit
from lateral_map.errors import AdjustmentError
from lateral_map.model.identity import ReadingId
from lateral_map.model.site import Bend, Locate, OffsetTie, TapeTie
from lateral_map.words.names import reading_name
from lateral_map.words.notices import route_notices

FOOTAGES = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0)


def checks_of(site):
    """Return the site's reading checks by name."""
    return {
        reading_name(check.id, site.plan): check for check in check_readings(adjust_route(site))
    }


def test_exact_readings_are_all_good_or_unchecked():
    checks = checks_of(straight_site(locate_footages_m=FOOTAGES))
    assert {check.verdict for check in checks.values()} <= {"good", "unchecked"}
    assert checks["locate 3 tape1"].verdict == "good"


def test_a_tape_read_wrong_is_named_first():
    site = straight_site(locate_footages_m=FOOTAGES)
    wrong = site.locates[2]
    tapes = [t for t in wrong.ties if isinstance(t, TapeTie)]
    bad = replace(tapes[1], distance_m=tapes[1].distance_m + 0.9)
    locates = list(site.locates)
    locates[2] = replace(wrong, ties=(tapes[0], bad, tapes[2]))
    checks = checks_of(replace(site, locates=tuple(locates)))
    assert checks["locate 3 tape2"].verdict == "suspect"
    assert [name for name, check in checks.items() if check.set_aside_first] == ["locate 3 tape2"]
    # Reading minus route: the tape reads too long.
    assert checks["locate 3 tape2"].residual > 0.0
    assert checks["locate 3 tape2"].likely_error == pytest.approx(0.9, abs=0.1)


def test_a_depth_read_wrong_is_named_first():
    site = straight_site(locate_footages_m=FOOTAGES)
    locates = list(site.locates)
    locates[3] = replace(locates[3], depth_m=(locates[3].depth_m or 0.0) + 1.5)
    checks = checks_of(replace(site, locates=tuple(locates)))
    assert [name for name, check in checks.items() if check.set_aside_first] == ["locate 4 depth"]


def test_two_blunders_are_both_named():
    site = straight_site(locate_footages_m=FOOTAGES)
    locates = list(site.locates)
    locates[1] = replace(locates[1], depth_m=(locates[1].depth_m or 0.0) + 1.5)
    tapes = [t for t in locates[3].ties if isinstance(t, TapeTie)]
    bad = replace(tapes[1], distance_m=tapes[1].distance_m + 1.0)
    locates[3] = replace(locates[3], ties=(tapes[0], bad, tapes[2]))
    checks = checks_of(replace(site, locates=tuple(locates)))
    named = {name for name, check in checks.items() if check.set_aside_first}
    assert named == {"locate 2 depth", "locate 4 tape2"}


def test_a_bend_turned_the_wrong_way_is_named():
    site = straight_site(locate_footages_m=FOOTAGES, tie=surveyed)
    site = replace(site, bends=(Bend(14.0, turn_deg=45.0),))
    checks = checks_of(site)
    assert checks["bend 45.93 turn"].verdict == "suspect"
    assert checks["bend 45.93 turn"].is_angle
    assert checks["bend 45.93 turn"].likely_error == pytest.approx(45.0, abs=3.0)


def test_nothing_checks_the_only_reading():
    site = replace(straight_site(), bends=(Bend(10.0, turn_deg=22.5),))
    checks = checks_of(site)
    assert checks["bend 32.81 turn"].verdict == "unchecked"
    assert checks["start position"].verdict == "unchecked"
    assert checks["start azimuth"].standardised == 0.0


def curb_drawn_off(by_m, *, offset_ties=True):
    """Return a site whose curb is mapped ``by_m`` beyond the real one, taped from at six marks."""
    site = straight_site(locate_footages_m=FOOTAGES)
    real = CURB.vertices_m[0, 0]
    drawn = replace(CURB, vertices_m=np.add(CURB.vertices_m, (by_m, 0.0)))
    locates = site.locates
    if offset_ties:
        level = np.cos(np.arctan(0.02))
        # The curb runs south, so what lies beyond it is on its left: an offset short of it is +.
        short = [real - (one.footage_m - 0.1524) * level for one in locates]
        locates = tuple(
            replace(one, ties=(*one.ties, OffsetTie("curb", by, 0.03, "offset")))
            for one, by in zip(locates, short, strict=True)
        )
    return replace(site, locates=locates, plan=replace(site.plan, lines=(drawn,)))


def test_a_curb_drawn_wrong_is_named_and_measured():
    checks = checks_of(curb_drawn_off(3.0))
    curb = checks["curb as mapped"]
    assert [name for name, check in checks.items() if check.set_aside_first] == ["curb as mapped"]
    assert curb.verdict == "suspect"
    assert curb.footage_m is None
    assert abs(curb.likely_error) == pytest.approx(3.0, abs=0.05)


def test_a_point_of_the_lines_name_hides_no_guilty_reading():
    site = curb_drawn_off(3.0)
    points = tuple(
        replace(one, name="curb" if index == 0 else one.name)
        for index, one in enumerate(site.plan.points)
    )
    locates = tuple(
        replace(
            one,
            ties=tuple(
                replace(tie, point="curb")
                if isinstance(tie, TapeTie) and tie.point == site.plan.points[0].name
                else tie
                for tie in one.ties
            ),
        )
        for one in site.locates
    )
    plan = replace(site.plan, points=points)
    checks = check_readings(adjust_route(replace(site, plan=plan, locates=locates)))
    first = [one.id for one in checks if one.set_aside_first]
    assert first == [ReadingId("line", "curb")]
    assert reading_name(first[0], plan) == "curb (line) as mapped"
    assert ReadingId("point", "curb") in {one.id for one in checks}


def test_a_curb_drawn_as_well_as_it_says_is_good():
    curb = checks_of(curb_drawn_off(0.3))["curb as mapped"]
    assert curb.verdict == "good"
    assert abs(curb.residual) == pytest.approx(0.3, abs=0.02)


def test_a_boundary_nobody_taped_is_unchecked_and_an_idle_line_is_left_out():
    site = curb_drawn_off(3.0, offset_ties=False)
    idle = replace(CURB, name="far curb", vertices_m=np.add(CURB.vertices_m, (9.0, 0.0)))
    checks = checks_of(replace(site, plan=replace(site.plan, lines=(*site.plan.lines, idle))))
    assert checks["curb as mapped"].verdict == "unchecked"
    assert "far curb as mapped" not in checks


def test_a_hydrant_drawn_wrong_is_named():
    site = straight_site(locate_footages_m=FOOTAGES)
    points = (site.plan.points[0], replace(site.plan.points[1], easting_m=13.0), CORNERS[2])
    checks = checks_of(replace(site, plan=replace(site.plan, points=points)))
    assert [name for name, check in checks.items() if check.set_aside_first] == [
        "hydrant as mapped"
    ]
    assert checks["hydrant as mapped"].likely_error == pytest.approx(1.0, abs=0.15)


@pytest.fixture(scope="module")
def many_routes():
    """Simulated sites, each adjusted once."""
    return [adjust_route(simulate(seed)[0]) for seed in range(150)]


def test_standardised_residuals_are_standard_normal_over_many_sites(many_routes):
    values = []
    for route in many_routes[:120]:
        checks = check_readings(route)
        values.extend(check.standardised for check in checks if check.redundancy > 0.1)
    spread = np.abs(np.array(values))
    assert np.mean(spread > 1.96) == pytest.approx(0.05, abs=0.012)
    assert np.mean(spread > 3.29) < 0.004


def test_redundancy_of_scalar_readings_sums_to_the_freedom():
    """Baarda: redundancy numbers of all equations add up to the degrees of freedom."""
    route = adjust_route(simulate(5)[0])
    hat = np.einsum("ij,jk,ik->i", route.design, route.covariance, route.design)
    assert np.sum(1.0 - hat) == pytest.approx(route.degrees_of_freedom, abs=1e-6)


def test_chi_square_is_uniform_in_probability(many_routes):
    values = [measure_fit(route).p_value for route in many_routes]
    counts, _ = np.histogram(values, 5, (0.0, 1.0))
    assert counts.min() > 15
    assert counts.max() < 50


def test_places_farther_apart_than_the_footage_are_refused_by_name():
    site = straight_site(locate_footages_m=FOOTAGES)
    locates = list(site.locates)
    locates[4] = replace(locates[4], ties=three_tapes(29.0, 3.0))
    with pytest.raises(AdjustmentError) as caught:
        adjust_route(replace(site, locates=tuple(locates)))
    text = str(caught.value)
    assert "locate 4 and locate 5" in text
    assert "13.1 ft of pipe between them" in text


def impossible(site):
    """Return the faults of a site whose places cannot all be."""
    with pytest.raises(AdjustmentError) as caught:
        adjust_route(site)
    return caught.value.faults


def test_one_place_too_far_from_all_others_is_one_fault_in_its_own_row():
    site = straight_site(locate_footages_m=FOOTAGES, tie=surveyed)
    locates = list(site.locates)
    locates[2] = replace(locates[2], ties=surveyed(12.0, 60.0))
    (fault,) = impossible(replace(site, locates=tuple(locates)))
    assert "locate 3 is too far from the start, locate 1" in fault.problem
    assert "the ties of locate 3" in fault.remedy


def test_a_start_too_far_from_every_locate_is_the_starts_fault():
    site = straight_site(locate_footages_m=FOOTAGES, tie=surveyed)
    (fault,) = impossible(replace(site, start=replace(site.start, northing_m=90.0)))
    assert (fault.file, fault.row, fault.field) == ("site.toml", None, "start")
    assert "check the start's place" in fault.remedy


def test_two_places_wrong_apart_are_two_faults():
    site = straight_site(locate_footages_m=FOOTAGES, tie=surveyed)
    locates = list(site.locates)
    locates[1] = replace(locates[1], ties=surveyed(8.0, 70.0))
    locates[4] = replace(locates[4], ties=surveyed(20.0, -70.0))
    faults = impossible(replace(site, locates=tuple(locates)))
    assert sorted(fault.remedy.split("ties of ")[1][:8] for fault in faults) == [
        "locate 2",
        "locate 5",
    ]


def test_two_tapes_from_one_side_leave_a_mirror_image_and_it_is_said():
    """Both reference points stand in line with the start: left and right look the same."""
    site = straight_site(known_azimuth=False, azimuth_deg=60.0)
    points = (
        replace(site.plan.points[0], easting_m=0.0, northing_m=0.0),
        replace(site.plan.points[1], easting_m=9.0, northing_m=0.0),
    )
    plan = replace(site.plan, points=points, lines=())
    locates = []
    for index, footage in enumerate((8.0, 16.0, 24.0)):
        along = (footage - 0.1524) * np.cos(np.arctan(0.02))
        place = along * np.array([np.sin(np.radians(60.0)), np.cos(np.radians(60.0))])
        ties = tuple(
            TapeTie(p.name, float(np.hypot(*(place - [p.easting_m, p.northing_m]))), 0.03)
            for p in points
        )
        locates.append(Locate(f"{index}", footage, 1.3, ties=ties))
    route = adjust_route(replace(site, plan=plan, locates=tuple(locates), boundaries=()))
    assert len(route.alternatives) == 1
    assert any("mirror image" in notice for notice in route_notices(route))
    mirrored = route.alternatives[0].line_m[-1] * [1.0, -1.0]
    assert mirrored == pytest.approx(route.positions(route.chain.nodes_m[-1])[0, :2], abs=0.05)
