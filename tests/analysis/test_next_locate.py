"""The next locate: where it is put, and that it delivers what it says."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from shapely.geometry import box

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.next_locate import plan_locates, propose_next_locate
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.site import (
    Finding,
    Locate,
    NoLocate,
    OffsetTie,
    PlanArea,
    PositionTie,
    Run,
)
from lateral_map.report import build_report
from lateral_map.words.technician import (
    enough_words,
    next_locate_words,
    planned_title,
    planned_words,
)


def analysed(site):
    route = adjust_route(site)
    crossings, _ = find_crossings(route)
    stations = lay_stations(route, crossings)
    findings = judge_findings(route, stations, crossings)
    return route, stations, crossings, findings


def propose(site):
    return propose_next_locate(*analysed(site))


def plain(locates=(6.0, 12.0), **fields):
    return replace(straight_site(locate_footages_m=locates, tie=surveyed), **fields)


def undecided(site):
    return replace(site, boundaries=())


def located(site, footage_m, *, line=""):
    """The site once the proposed locate was made there, its readings as the route has it."""
    route = adjust_route(site)
    east, north, _ = route.positions(footage_m)[0]
    depth = float(route.depths(footage_m)[0][0]) - site.transmitter.above_invert_m
    ties = [PositionTie(float(east), float(north), site.accuracy.tape_m, "xy")]
    if line:
        ties.append(OffsetTie(line, 24.0 - float(east), site.accuracy.offset_m))
    extra = Locate("new", footage_m + site.transmitter.behind_lens_m, depth, ties=tuple(ties))
    return replace(site, locates=(*site.locates, extra))


class TestBeforeTheJob:
    """A plan and a guessed route: how many locates, and where."""

    def planned(self, site):
        route, stations, crossings, _ = analysed(site)
        return plan_locates(route, stations, crossings)

    @pytest.mark.parametrize("azimuth", [None, 90.0])
    def test_two_stand_about_the_line_and_the_rest_where_it_is_widest(self, azimuth):
        site = plain(())
        site = replace(site, start=replace(site.start, azimuth_deg=azimuth))
        plan = self.planned(site)
        assert len(plan.locates) >= 3
        before, after = [one.footage_m for one in plan.locates if one.line == "curb"]
        assert before < 24.0 < after
        at = [one.footage_m for one in plan.locates]
        assert at == sorted(set(at))
        assert plan.locates[0].lens_m == at[0] + site.transmitter.behind_lens_m

    def test_it_delivers_what_it_promises(self):
        site = plain(())
        plan = self.planned(site)
        for one in plan.locates:
            site = replace(located(site, one.footage_m, line=one.line))
            *rest, last = site.locates
            site = replace(site, locates=(*rest, replace(last, mark=f"new {len(rest)}")))
        _, stations, (crossing,), _ = analysed(site)
        assert float(stations.across_sd_m.max()) == pytest.approx(plan.sd_across_m, rel=0.1)
        assert crossing.sd_footage_m == pytest.approx(plan.sd_crossing_m, rel=0.1)

    def test_none_is_planned_once_one_is_tied(self):
        assert self.planned(plain((6.0,))) is None

    def test_it_is_told(self):
        report = build_report(plain(()))
        assert "taped from the real curb too" in planned_words(report)


@pytest.mark.parametrize("locates", [(), (6.0, 12.0)])
def test_a_run_said_to_be_miles_long_takes_no_more_memory_than_it_must(locates):
    # A decimal point left out of the end's footage; every station against every other is 2 GB.
    site = undecided(plain(locates, run=Run(3000.0)))
    tracemalloc.start()
    route, stations, crossings, findings = analysed(site)
    planned = plan_locates(route, stations, crossings)
    propose_next_locate(route, stations, crossings, findings)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(stations.footage_m) > 2000
    assert bool(planned) == (not locates)
    assert peak < 100e6


def test_enough_says_what_it_rests_on_alone():
    site = plain((6.0, 12.0, 18.0), findings=(Finding(8.0, "roots"), Finding(27.0, "crack")))
    report = build_report(site)
    assert report.enough
    assert "Nothing checks where the map has the curb" in enough_words(report)
    taped = located(site, 22.0, line="curb")
    assert "Nothing checks" not in enough_words(build_report(located(taped, 21.0, line="")))


def test_a_finding_in_doubt_comes_first():
    site = plain(findings=(Finding(24.3, "roots"), Finding(8.0, "crack")))
    found = propose(site)
    assert next_locate_words(found, site).startswith(
        "whether finding 1, roots at 79.7 ft, lies past the curb: "
    )
    assert "and from the real curb" in next_locate_words(found, site)
    assert found.footage_m == pytest.approx(24.3, abs=0.5)


def test_the_counter_reading_brings_the_transmitter_there():
    site = plain(findings=(Finding(24.3, "roots"),))
    found = propose(site)
    lens_ft = found.footage_m / 0.3048 + 0.5
    assert f"stop where the counter reads {lens_ft:.1f} ft" in next_locate_words(found, site)


def test_then_the_deciding_crossing():
    site = plain()
    found = propose(site)
    assert next_locate_words(found, site).startswith("where the pipe crosses the curb: ")
    crossing = analysed(site)[2][0]
    assert found.sd_before_m == pytest.approx(crossing.sd_footage_m)
    assert abs(found.footage_m - crossing.footage_m) < 1.0


def test_then_the_widest_place():
    site = undecided(plain())
    found = propose(site)
    assert next_locate_words(found, site).startswith(
        "how wide the route's least certain place is: "
    )
    assert "real" not in next_locate_words(found, site)
    stations = analysed(site)[1]
    assert found.sd_before_m == pytest.approx(stations.across_sd_m.max())
    assert found.footage_m > 20.0


@pytest.mark.parametrize("kind", ["finding", "crossing", "width"])
def test_it_delivers_what_it_says(kind):
    findings = (Finding(24.3, "roots"),) if kind == "finding" else ()
    site = plain(findings=findings)
    site = undecided(site) if kind == "width" else site
    found = propose(site)
    after = analysed(located(site, found.footage_m, line="" if kind == "width" else "curb"))
    got = {
        "finding": lambda: after[3][0].sides[0].sd_past_m,
        "crossing": lambda: after[2][0].sd_footage_m,
        "width": after[1].across_sd_m.max,
    }[kind]()
    assert got == pytest.approx(found.sd_after_m, rel=0.03)
    assert got < found.sd_before_m


def test_no_other_place_does_much_better():
    site = undecided(plain())
    found = propose(site)
    others = [analysed(located(site, at))[1].across_sd_m.max() for at in np.arange(2.0, 29.5, 2.5)]
    assert found.sd_after_m <= 1.03 * min(others)


def test_never_under_a_building():
    slab = PlanArea("garage", "building", box(15.0, -5.0, 40.0, 5.0))
    site = undecided(plain())
    covered = replace(site, plan=replace(site.plan, areas=(slab,)))
    assert propose(site).easting_m > 15.0
    assert propose(covered).easting_m < 15.0


def test_never_again_where_nothing_could_be_located():
    """Whatever is asked for: the next locate, those of a plan, what would settle a finding."""
    site = plain(findings=(Finding(24.3, "roots"),))
    behind_m = site.transmitter.behind_lens_m
    for tried in (site, undecided(site), replace(site, locates=())):
        report = build_report(tried)
        wanted = [] if report.next_locate is None else [report.next_locate.footage_m]
        wanted += [one.footage_m for one in report.planned.locates] if report.planned else []
        failed = tuple(NoLocate(at + behind_m, "under the slab") for at in wanted)
        again = build_report(replace(tried, no_locates=failed))
        found = [] if again.next_locate is None else [again.next_locate.footage_m]
        found += [one.footage_m for one in again.planned.locates] if again.planned else []
        assert wanted
        assert found
        assert np.abs(np.subtract.outer(wanted, found)).min() > 0.9
        assert planned_title(again) != "Before the job"


def test_a_paved_yard_is_no_obstacle():
    yard = PlanArea("drive", "surface", box(-5.0, -5.0, 40.0, 5.0), "concrete")
    site = undecided(plain())
    paved = replace(site, plan=replace(site.plan, areas=(yard,)))
    assert propose(paved).footage_m == pytest.approx(propose(site).footage_m)


def test_nothing_is_proposed_where_nothing_can_be_reached():
    roof = PlanArea("hall", "building", box(-50.0, -50.0, 80.0, 50.0))
    site = plain()
    assert propose(replace(site, plan=replace(site.plan, areas=(roof,)))) is None


def test_nothing_is_proposed_where_it_brings_nothing():
    # Where a locate is only good to 100 m, another one is not worth the walk.
    site = undecided(plain())
    assert propose(replace(site, accuracy=replace(site.accuracy, mark_m=100.0))) is None


def test_the_camera_must_reach_it():
    # The transmitter rides behind the lens: it never gets to the run's very end.
    site = undecided(plain(locates=(3.0,)))
    assert propose(site).footage_m <= 30.0 - site.transmitter.behind_lens_m


def test_with_every_side_firm_no_locate_is_wanted():
    site = plain(findings=(Finding(8.0, "crack"), Finding(12.0, "roots")))
    report = build_report(site)
    assert {one.verdict for one in report.findings} == {"inside"}
    assert report.enough
    assert report.next_locate is None


def test_one_side_in_doubt_and_it_is_not_enough():
    report = build_report(plain(findings=(Finding(8.0, "crack"), Finding(24.3, "roots"))))
    assert not report.enough
    assert report.next_locate.finding == 2
