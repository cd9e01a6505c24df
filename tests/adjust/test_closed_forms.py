"""Lines simple enough to work out on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed

from lateral_map.adjust.route import adjust_route
from lateral_map.model.site import Bend, Locate, Start
from lateral_map.words.notices import route_notices

LEVEL = np.cos(np.arctan(0.02))
FALL = np.sin(np.arctan(0.02))
# What the solver hands on is rounded to about 1e-8 of an sd.
ROUNDED = 1e-7


def test_dead_reckoning_of_a_straight_run():
    route = adjust_route(straight_site())
    place = route.positions([0.0, 10.0, 30.0])
    assert place[:, 0] == pytest.approx([0.0, 10.0 * LEVEL, 30.0 * LEVEL], abs=1e-9)
    assert place[:, 1] == pytest.approx(0.0, abs=ROUNDED)
    assert place[:, 2] == pytest.approx(-1.2 - FALL * np.array([0.0, 10.0, 30.0]), abs=ROUNDED)
    assert route.chi_square == pytest.approx(0.0, abs=1e-15)


def test_dead_reckoning_sd_at_the_far_end():
    """Across: start, first azimuth and wander. Along: start, scale, zero and little else."""
    site = straight_site()
    route = adjust_route(site)
    covariance = route.position_covariance(30.0)[0]
    wander = np.radians(site.accuracy.wander_deg)
    # A random walk's double integral over length L has variance q L^3 / 3.
    across = 0.15**2 + (30.0 * np.radians(10.0) * LEVEL) ** 2 + wander**2 * 30.0**3 / 3.0
    # The fall's own uncertainty shortens the level distance only by sin(fall) of it.
    fall_wander = np.radians(site.accuracy.fall_wander_deg)
    fallen = (30.0 * site.accuracy.sd_fall) ** 2 + fall_wander**2 * 30.0**3 / 3.0
    steep = np.sin(np.arctan(0.02)) ** 2 * fallen
    along = 0.15**2 + (30.0 * 0.01 * LEVEL) ** 2 + (0.09144 * LEVEL) ** 2 + steep
    assert covariance[1, 1] == pytest.approx(across, rel=1e-3)
    assert covariance[0, 0] == pytest.approx(along, rel=1e-3)


def test_right_angle_bend_turns_right():
    bend = Bend(10.0, turn_deg=90.0)
    route = adjust_route(straight_site(azimuth_deg=0.0, bends=(bend,)))
    assert route.positions(20.0)[0, :2] == pytest.approx([10.0 * LEVEL, 10.0 * LEVEL], abs=ROUNDED)
    heading, _ = route.headings_deg([5.0, 15.0])
    assert np.cos(np.radians(heading - [0.0, 90.0])) == pytest.approx(1.0, abs=1e-15)


def test_fall_bend_turns_down():
    route = adjust_route(straight_site(bends=(Bend(10.0, fall_deg=45.0),)))
    drop = route.positions(10.0)[0, 2] - route.positions(12.0)[0, 2]
    assert drop == pytest.approx(2.0 * np.sin(np.arctan(0.02) + np.pi / 4.0), abs=1e-9)


def test_riser_uses_footage_and_makes_no_plan_distance():
    route = adjust_route(straight_site(riser_m=2.0))
    place = route.positions([0.0, 1.0, 2.0, 5.0])
    assert place[:3, :2] == pytest.approx(0.0, abs=1e-12)
    assert place[:3, 2] == pytest.approx([-1.2, -2.2, -3.2])
    assert place[3, 0] == pytest.approx(3.0 * LEVEL)


def test_a_locate_is_behind_the_lens():
    """With the transmitter 6 in behind, exact readings leave nothing to adjust."""
    route = adjust_route(straight_site(locate_footages_m=(6.0, 14.0, 22.0)))
    assert route.chi_square == pytest.approx(0.0, abs=1e-12)
    assert route.tied_footages_m == pytest.approx(np.array([6.0, 14.0, 22.0]) - 0.1524)


def test_held_above_shortens_the_depth():
    site = straight_site(locate_footages_m=(6.0, 14.0, 22.0))
    held = tuple(
        replace(one, depth_m=(one.depth_m or 0.0) + 0.9, held_above_m=0.9) for one in site.locates
    )
    route = adjust_route(replace(site, locates=held))
    level = adjust_route(site)
    assert route.depths(14.0)[0] == pytest.approx(level.depths(14.0)[0], abs=1e-9)


def test_counter_zero_moves_the_whole_run():
    site = straight_site()
    moved = replace(
        site, counter=replace(site.counter, zero_m=2.0), run=replace(site.run, end_m=32.0)
    )
    assert adjust_route(moved).positions([2.0, 12.0]) == pytest.approx(
        adjust_route(site).positions([0.0, 10.0]), abs=1e-9
    )


def test_one_surveyed_mark_cannot_be_better_than_the_mark():
    """However exact the tie, the mark stands 0.25 ft and 3 % of the depth from the pipe."""
    site = straight_site(locate_footages_m=(20.0,), tie=surveyed, length_m=20.0)
    many = replace(
        site.locates[0], ties=tuple(replace(t, sd_m=1e-4) for t in site.locates[0].ties * 10)
    )
    route = adjust_route(replace(site, locates=(many,)))
    sd = np.sqrt(route.position_covariance(20.0 - 0.1524)[0, 1, 1])
    alone = np.sqrt(0.0762**2 + (0.03 * many.depth_m) ** 2)
    assert 0.9 * alone < sd < 1.05 * alone


def test_no_ties_and_no_azimuth_still_draws():
    route = adjust_route(straight_site(known_azimuth=False))
    assert route.positions(30.0)[0, 0] == pytest.approx(30.0 * LEVEL)
    assert np.sqrt(route.position_covariance(30.0)[0, 1, 1]) > 15.0
    assert any("dead reckoning" in notice for notice in route_notices(route))
    assert any("direction is a guess" in notice for notice in route_notices(route))


def test_depth_only_locates_pull_the_profile():
    site = straight_site()
    deep = Locate("1", 15.0, 2.5)
    route = adjust_route(replace(site, locates=(deep,)))
    depth, sd = route.depths(15.0 - 0.1524)
    assert depth[0] > 1.8
    assert sd[0] < 0.13


def test_start_on_a_plan_point_shares_its_uncertainty():
    """A tape from the very point the start stands on does not care where that point is mapped."""
    site = straight_site(locate_footages_m=(10.0,))
    point = replace(site.plan.points[0], easting_m=0.0, northing_m=0.0, sd_m=1.0)
    plan = replace(site.plan, points=(point, *site.plan.points[1:]))
    start = Start(0.0, 0.0, 0.05, point=point.name, depth_m=1.2, azimuth_deg=90.0)
    route = adjust_route(replace(site, plan=plan, start=start, locates=()))
    assert np.sqrt(route.position_covariance(0.0)[0, 0, 0]) == pytest.approx(
        np.hypot(1.0, 0.05), rel=ROUNDED
    )


def test_an_unmeasured_start_depth_is_said_in_the_sites_own_unit():
    site = straight_site()
    unknown = replace(site, unit="m", start=replace(site.start, depth_m=None))
    notices = tuple(route_notices(adjust_route(unknown)))
    assert any("1.22 ± 1.79 m is assumed" in notice for notice in notices)
    assert not any("sd" in notice for notice in notices)
