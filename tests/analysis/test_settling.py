"""What is said to settle a finding does what it promises when it is really measured."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from adjust.builder import straight_site, surveyed
from shapely.geometry import box

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.settling import (
    _doubts,
    _End,
    _locate_over,
    _option,
    _tape_from_line,
    settle_findings,
)
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.past import measure_past
from lateral_map.model.site import Finding, Locate, NoLocate, OffsetTie, PlanArea, PositionTie
from lateral_map.words.technician import settling_words


def site_with(sd_curb_m, footage_m=24.5, tie=surveyed, locates=(6.0, 12.0, 23.0)):
    site = straight_site(locate_footages_m=locates, tie=tie)
    curb = replace(site.plan.lines[0], sd_m=sd_curb_m)
    return replace(
        site,
        plan=replace(site.plan, lines=(curb,)),
        findings=(Finding(footage_m, "roots"),),
    )


def judge(route):
    crossings, _ = find_crossings(route)
    return judge_findings(route, lay_stations(route, crossings), crossings)


def said(site, found):
    return settling_words(found.settling, site.unit)


def settled(site):
    route = adjust_route(site)
    (found,) = settle_findings(route, judge(route))
    return route, found


def sd_past(site):
    route = adjust_route(site)
    (found,) = judge(route)
    return found.sides[0].sd_past_m


def test_a_badly_mapped_curb_asks_for_a_tape_from_the_real_one():
    site = site_with(0.9)
    _, found = settled(site)
    assert found.sides[0].verdict == "too close to call"
    assert said(site, found).startswith("one more tape from the real curb to mark 3 near 75.0 ft: ")
    assert "would become" in said(site, found)
    assert "uncovering" not in said(site, found)


def test_an_unsure_pipe_asks_for_a_locate():
    site = site_with(0.05, footage_m=24.3, locates=(4.0,))
    _, found = settled(site)
    assert said(site, found).startswith("one more locate over 79.7 ft, ")


def test_a_finding_on_the_line_itself_asks_for_a_shovel():
    site = site_with(0.3, footage_m=24.01)
    _, found = settled(site)
    assert said(site, found).endswith("uncovering the pipe there would settle it")


def test_metric_sites_are_told_to_the_centimetre():
    site = replace(site_with(0.9), unit="m")
    _, found = settled(site)
    assert re.search(r"near 22\.8 m: ± 1\.\d\d m would become ± 0\.\d\d m$", said(site, found))


def test_nothing_is_said_where_the_odds_are_clear():
    site = site_with(0.05, footage_m=10.0)
    _, found = settled(site)
    assert found.settling is None


def test_the_tape_from_the_real_line_keeps_its_promise():
    site = site_with(0.9)
    route, found = settled(site)
    (doubt,) = _doubts(route, [_End(site.findings[0].footage_m, found.sides[0])])
    marks = measure_past(route, "curb", route.tied_footages_m)
    promised = _tape_from_line(route, doubt, marks)
    last = site.locates[-1]
    tie = OffsetTie("curb", 1.152, site.accuracy.offset_m, as_past=True)
    taped = replace(last, ties=(*last.ties, tie))
    got = sd_past(replace(site, locates=(*site.locates[:-1], taped)))
    assert got == pytest.approx(promised.sd_after_m, rel=1e-3)


def _located_at(site, route, footage_m, ties):
    """The same site with a locate whose transmitter lies at a footage."""
    depth = float(route.depths(footage_m)[0][0]) - site.transmitter.above_invert_m
    extra = Locate("new", footage_m + site.transmitter.behind_lens_m, depth, ties=ties)
    return adjust_route(replace(site, locates=(*site.locates, extra)))


def test_the_locate_over_the_finding_keeps_its_promise():
    # Without reading noise: the camera parked on the finding reads what it read of the finding.
    site = site_with(0.05, locates=(4.0,))
    site = replace(site, counter=replace(site.counter, sd_reading_m=1e-6))
    route, found = settled(site)
    footage = site.findings[0].footage_m
    (doubt,) = _doubts(route, [_End(footage, found.sides[0])])
    promised = _locate_over(route, doubt)
    east, north, _ = route.positions(footage)[0]
    ties = (PositionTie(float(east), float(north), site.accuracy.tape_m, "xy"),)
    again = _located_at(site, route, footage, ties)
    (found,) = judge(again)
    assert found.sides[0].sd_past_m == pytest.approx(promised.sd_after_m, rel=0.02)


def test_the_locate_taped_from_the_line_keeps_its_promise():
    site = site_with(0.5, locates=(4.0,))
    site = replace(site, counter=replace(site.counter, sd_reading_m=1e-6))
    route, found = settled(site)
    footage = site.findings[0].footage_m
    (doubt,) = _doubts(route, [_End(footage, found.sides[0])])
    noise = doubt.mark_m2 + site.accuracy.offset_m**2
    variance = doubt.variance_m2
    promised = _option("locate taped from line", doubt, variance, variance + noise)
    ties = (OffsetTie("curb", -found.sides[0].past_m, site.accuracy.offset_m),)
    again = _located_at(site, route, footage, ties)
    (found,) = judge(again)
    assert found.sides[0].sd_past_m == pytest.approx(promised.sd_after_m, rel=0.02)


def test_the_far_end_of_a_stretch_can_be_what_needs_settling():
    site = site_with(0.5)
    site = replace(site, findings=(Finding(8.0, "standing water", to_m=24.2),))
    _, found = settled(site)
    assert found.sides[0].verdict == "inside"
    assert found.sides_to[0].verdict == "too close to call"
    assert said(site, found)


def test_no_locate_settles_a_finding_where_none_can_be_taken():
    untied, tied = site_with(0.3, 24.3, locates=()), site_with(0.3, 24.3)
    slab = (PlanArea("garage", "building", box(22.0, -5.0, 40.0, 5.0)),)
    hidden = (
        lambda site: replace(site, plan=replace(site.plan, areas=slab)),
        lambda site: replace(site, no_locates=(NoLocate(25.0, "under the slab"),)),
        lambda site: replace(site, run=replace(site.run, end_m=24.4)),
    )
    assert "locate" in settled(untied)[1].settling.way
    for hide in hidden:
        assert settled(hide(untied))[1].settling is None
        assert settled(hide(tied))[1].settling.way == "tape from line"
