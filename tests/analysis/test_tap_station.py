"""The tap's distance along the main, by the plan and as read in the main."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheets.builder import line_report, line_site
from truth.simulate import FOOT

from lateral_map.model.referral import SewerMain
from lateral_map.model.results import TapStation
from lateral_map.model.site import PlanPoint, Run, Site, UtilityLine
from lateral_map.report import build_report
from lateral_map.words.desk import tap_words
from lateral_map.words.notices import drawing_notices

# The run leaves at 80 degrees; the main crosses its end squarely, running north by west.
ALONG = np.array([np.cos(np.radians(80.0)), -np.sin(np.radians(80.0))]) * -1.0


def on_main(main: SewerMain, off_ft: float = 0.0) -> Site:
    """Return a site whose end is 40 ft from MH 8 and 110 ft from MH 7 along a bent main."""
    site = line_site(100.0, 2)
    end = line_report(100.0, 2).route.positions([site.run.end_m])[0, :2]
    end = end + off_ft * FOOT * np.array([ALONG[1], -ALONG[0]])
    corner = end + 60.0 * FOOT * ALONG
    vertices = np.stack([
        end - 90.0 * FOOT * ALONG, corner, corner + 80.0 * FOOT * np.array([-1.0, 0.0])
    ])  # fmt: skip
    points = (
        PlanPoint("MH 8", *(end - 40.0 * FOOT * ALONG), 0.05),
        PlanPoint("MH 7", *(corner + 50.0 * FOOT * np.array([-1.0, 0.0])), 0.05),
    )
    line = UtilityLine("sewer main", "sewer", vertices, None, 0.1)
    plan = replace(
        site.plan,
        utilities=(*site.plan.utilities, line),
        points=(*site.plan.points, *points),
    )
    return replace(site, plan=plan, main=main)


MAIN = SewerMain(upstream="MH 7", downstream="MH 8", measured_from="MH 8")


def tap_of(site: Site) -> TapStation:
    tap = build_report(site).tap
    assert tap is not None
    return tap


@pytest.mark.parametrize(("manhole", "feet"), [("MH 8", 40.0), ("MH 7", 110.0)])
def test_it_is_measured_along_the_main_from_either_manhole(manhole: str, feet: float) -> None:
    site = on_main(replace(MAIN, measured_from=manhole))
    tap = tap_of(site)
    assert tap.station_m == pytest.approx(feet * FOOT, abs=1e-6)
    route = build_report(site).route
    covariance = route.position_covariance([site.run.end_m])[0][:2, :2]
    assert tap.sd_station_m == pytest.approx(np.sqrt(ALONG @ covariance @ ALONG + 0.05**2))
    assert not tap.disagrees


def test_what_was_read_in_the_main_is_held_against_it() -> None:
    read = tap_of(on_main(replace(MAIN, distance_m=41.0 * FOOT)))
    assert not read.disagrees
    assert "as read in the main" in tap_words(read, "ft")
    # Counted from the other manhole.
    wrong = tap_of(on_main(replace(MAIN, distance_m=109.0 * FOOT)))
    assert wrong.disagrees
    said = tap_words(wrong, "ft")
    assert said.startswith("40.0 ± ")
    assert said.endswith("the two do not agree, but from MH 7 they would")


def test_a_run_that_ends_off_the_main_says_so() -> None:
    said = tap_words(tap_of(on_main(MAIN, off_ft=12.0)), "ft")
    assert "the run ends 12.0 ± " in said
    assert said.endswith("from the main as mapped")
    assert "from the main as mapped" not in tap_words(tap_of(on_main(MAIN)), "ft")


def test_nothing_is_computed_that_the_plan_does_not_hold() -> None:
    site = on_main(replace(MAIN, distance_m=30.0))
    for changed in (
        replace(site, plan=replace(site.plan, utilities=site.plan.utilities[:-1])),
        replace(site, plan=replace(site.plan, points=site.plan.points[:1])),
        replace(site, run=Run(site.run.end_m, end="not reached")),
    ):
        tap = tap_of(changed)
        assert tap.station_m is None
        assert not tap.disagrees
        assert tap_words(tap, "ft").endswith("from MH 8 as read in the main")
    assert build_report(replace(site, plan=line_site(100.0, 2).plan, main=SewerMain())).tap is None


def told_missed(site: Site) -> bool:
    return any("no sewer of the plan" in one for one in drawing_notices(build_report(site)))


@pytest.mark.parametrize("off_ft", [0.0, -2.0, 15.0])
def test_a_run_that_ends_at_no_mapped_main_says_so(off_ft: float) -> None:
    site = on_main(MAIN, off_ft)
    assert told_missed(site) is (off_ft == 15.0)
    assert not told_missed(replace(site, run=Run(site.run.end_m, "not reached")))
    assert not told_missed(replace(site, plan=replace(site.plan, utilities=())))


def test_a_main_passed_under_on_the_way_is_missed_by_how_far_the_run_goes_on() -> None:
    site = on_main(MAIN)
    missed = build_report(replace(site, run=Run(site.run.end_m + 12.0 * FOOT, "main"))).missed_main
    assert missed is not None
    assert missed.gap_m == pytest.approx(12.0 * FOOT, abs=0.02)
    assert missed.sd_gap_m > 0.1
