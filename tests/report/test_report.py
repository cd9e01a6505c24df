"""The report: complete, said once, the same however the plan is laid, and never silent on doubt."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from analysis.builder import HandRoute, line
from truth.simulate import simulate
from truth.slips import plant

import lateral_map
from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.cli.summary import drawing_parts
from lateral_map.draw.plan.layers import plan_layers
from lateral_map.model.diagnosis import Applied
from lateral_map.model.identity import ReadingId
from lateral_map.model.lines import signed_offsets
from lateral_map.model.mending import mend, take_so
from lateral_map.model.referral import Job
from lateral_map.model.site import (
    Boundary,
    DigRules,
    Finding,
    OffsetTie,
    PipeRun,
    PlanPoint,
    PositionTie,
    Run,
)
from lateral_map.report import build_report, report_on
from lateral_map.words.notices import report_notices
from lateral_map.words.owner import owner_facts
from lateral_map.words.technician import (
    deciding_words,
    next_locate_words,
    settling_words,
    summary_facts,
)
from lateral_map.words.utility import crossing_sentences, run_sentence

INCH = 0.0254


def good_site(**fields):
    """A straight run with nothing to complain of."""
    site = straight_site(locate_footages_m=(6.0, 12.0, 18.0, 23.0), tie=surveyed)
    site = replace(
        site,
        start=replace(site.start, ground_m=100.0),
        locates=tuple(replace(one, ground_m=100.0) for one in site.locates),
        pipes=(PipeRun(0.0, "pvc", 4 * INCH),),
        dig=DigRules(0.6096, "24 in each side"),
        findings=(Finding(8.0, "roots"), Finding(27.0, "crack")),
    )
    return replace(site, **fields)


def notices(site):
    return report_notices(build_report(site))


def test_three_lines_of_python():
    report = lateral_map.build_report(good_site())
    assert report.site.name == "straight"
    assert [c.line for c in report.crossings] == ["curb"]
    assert [f.answers for f in report.findings] == [("owner",), ("city",)]
    assert [s.party for s in report.responsibility] == ["owner", "city"]
    assert report.fit.degrees_of_freedom > 0
    assert report.readings
    assert report.enough
    assert report.next_locate is None
    assert report.dig.polygon.area > report.dig.corridor.area > 0.0
    assert report.stations.index_of(report.crossings[0].footage_m) > 0


def test_a_good_site_has_nothing_to_say():
    assert notices(good_site()) == ()


def test_progress_is_told_in_order():
    said: list[str] = []
    build_report(good_site(), progress=said.append)
    assert said[0] == "adjusting the readings"
    assert len(said) == len(set(said)) == 6


def test_the_same_site_gives_the_same_report():
    site, _ = simulate(5)
    one, two = build_report(site), build_report(site)
    assert one.crossings == two.crossings
    assert one.findings == two.findings
    assert one.next_locate == two.next_locate
    assert one.dig.polygon.equals_exact(two.dig.polygon, 0.0)
    for name in ("easting_m", "depth_sd_m", "semi_major_m"):
        assert np.array_equal(getattr(one.stations, name), getattr(two.stations, name))


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"dig": DigRules()}, "NO LOCAL DIG RULE WAS GIVEN"),
        ({"dig": DigRules(0.3, "a foot")}, "12 in each side, is narrower than the 18 in"),
        ({"run": Run(30.0, end="not reached")}, "the pipe goes on past 98.4 ft, undrawn"),
        ({"run": Run(23.5)}, "responsibility changes at a line the run does not reach: curb"),
        ({"pipes": ()}, "no pipe was given: taken as 6 in clay"),
        ({"pipes": (PipeRun(0.0, "hdpe", 4 * INCH),)}, "outside diameter of 4 in hdpe pipe"),
        ({"notices": ("read twice", "read twice")}, "read twice"),
    ],
)
def test_what_a_reader_must_know_is_said(fields, words):
    fields = {"findings": (), **fields}
    said = notices(good_site(**fields))
    assert sum(words in notice for notice in said) == 1


def test_a_plan_drawn_wrong_is_to_be_corrected_in_the_plan():
    site = good_site()
    curb = site.plan.lines[0]
    drawn = replace(curb, vertices_m=np.add(curb.vertices_m, (4.0, 0.0)), sd_m=0.1)
    # Every locate is tied to the real curb as well as fixed in plan.
    easts = [tie.easting_m for one in site.locates for tie in one.ties]
    locates = tuple(
        replace(one, ties=(*one.ties, OffsetTie("curb", 24.0 - east, 0.03, "offset")))
        for one, east in zip(site.locates, easts, strict=True)
    )
    plan = replace(site.plan, lines=(drawn, *site.plan.lines[1:]))
    said = notices(replace(site, locates=locates, plan=plan))
    assert "most probably curb as mapped: it lies about 13.1 ft from where the map" in said[0]
    assert said[0].endswith("Correct the plan or give it a wider accuracy, and run again")


def test_level_ground_is_owned_up_to():
    site = straight_site(locate_footages_m=(6.0, 12.0), tie=surveyed)
    assert any("nobody measured the ground" in notice for notice in notices(site))
    assert not build_report(site).stations.ground_known


def test_a_line_carried_on_is_owned_up_to():
    short = line("curb", (24.0, 30.0), (24.0, 10.0), sd_m=0.1)
    site = good_site()
    said = notices(replace(site, plan=replace(site.plan, lines=(short,))))
    assert len(said) == 1
    assert said[0].startswith(
        "curb was mapped too short and was carried straight on, 32.8 ft past its mapped end "
    )
    assert said[0].endswith("the pipe crosses it at 78.8 ft")
    decides = (Boundary("curb", "owner", "city", decides=True),)
    report = build_report(
        replace(site, plan=replace(site.plan, lines=(short,)), boundaries=decides)
    )
    told = crossing_sentences(report, report.letters[0])
    assert "The curb is a line carried straight on 32.8 ft past its mapped end." in told


def test_grazing_and_repeated_crossings_are_said():
    curb = line("curb", (-10.0, -1.0), (60.0, 1.5), sd_m=0.1)
    grazing = HandRoute(
        lines=(curb,), boundaries=(Boundary("curb", "owner", "city", True),)
    ).build()
    assert any(
        "degrees, nearly along it" in notice for notice in report_notices(report_on(grazing))
    )
    for decides in (False, True):
        bounds = (Boundary("curb", "owner", "city", True),) if decides else ()
        twice = HandRoute(
            lengths_m=(25.0, 4.0, 25.0),
            azimuths_deg=(90.0, 0.0, 270.0),
            lines=(line("curb", (20.0, 9.0), (20.0, -9.0)),),
            boundaries=bounds,
        ).build()
        (said,) = [one for one in report_notices(report_on(twice)) if "crossed twice" in one]
        assert said.startswith("curb is crossed twice")
        assert said.endswith("who answers changes back between them") == decides


def test_dead_reckoning_still_reports():
    site = straight_site(known_azimuth=True)
    report = build_report(replace(site, findings=(Finding(10.0, "roots"),)))
    assert set(report.stations.basis) == {"located", "dead reckoned"}
    assert any("dead reckoning" in notice for notice in report_notices(report))
    assert report.findings[0].near.basis == "dead reckoned"


def test_a_site_without_a_plan_still_reports():
    site = good_site(boundaries=())
    report = build_report(replace(site, plan=replace(site.plan, lines=())))
    assert report.crossings == ()
    assert report.uncrossed == ()
    assert report.responsibility == ()
    assert [finding.answers for finding in report.findings] == [(), ()]


def test_turning_and_moving_the_site_changes_no_footage_and_no_probability():
    site = good_site(findings=(Finding(8.0, "roots"), Finding(24.2, "crack")))
    here, there = build_report(site), build_report(_turned(site, 0.7, 1000.0, -400.0))
    assert [c.footage_m for c in there.crossings] == pytest.approx(
        [c.footage_m for c in here.crossings], abs=1e-6
    )
    for one, other in zip(here.findings, there.findings, strict=True):
        assert other.sides[0].past_m == pytest.approx(one.sides[0].past_m, abs=1e-6)
        assert other.sides[0].probability_past == pytest.approx(
            one.sides[0].probability_past, abs=1e-6
        )
        assert other.near.depth_m == pytest.approx(one.near.depth_m, abs=1e-6)
    assert there.stations.footage_m == pytest.approx(here.stations.footage_m, abs=1e-6)
    assert there.stations.semi_major_m == pytest.approx(here.stations.semi_major_m, rel=1e-4)
    assert there.dig.polygon.area == pytest.approx(here.dig.polygon.area, rel=1e-3)
    assert [f.ratio for f in there.falls] == pytest.approx([f.ratio for f in here.falls], abs=1e-6)


def _turned(site, angle, east, north):
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])

    def place(x, y):
        turned = matrix @ [x, y]
        return float(turned[0] + east), float(turned[1] + north)

    lines = tuple(
        replace(one, vertices_m=np.array([place(*vertex) for vertex in one.vertices_m]))
        for one in site.plan.lines
    )
    points = tuple(
        PlanPoint(one.name, *place(one.easting_m, one.northing_m), one.sd_m)
        for one in site.plan.points
    )
    locates = tuple(
        replace(
            one,
            ties=tuple(
                PositionTie(*place(tie.easting_m, tie.northing_m), tie.sd_m, tie.method)
                for tie in one.ties
            ),
        )
        for one in site.locates
    )
    begin = place(site.start.easting_m, site.start.northing_m)
    azimuth = site.start.azimuth_deg + np.degrees(angle)
    return replace(
        site,
        start=replace(site.start, easting_m=begin[0], northing_m=begin[1], azimuth_deg=azimuth),
        plan=replace(site.plan, lines=lines, points=points),
        locates=locates,
    )


@pytest.mark.parametrize("seed", range(12))
def test_simulated_sites_hold_together(seed):
    site, _ = simulate(seed)
    report = build_report(site)
    stations = report.stations
    assert np.all(np.diff(stations.footage_m) > 1e-6)
    assert np.all(stations.semi_major_m >= stations.semi_minor_m)
    for crossing in report.crossings:
        at = stations.index_of(crossing.footage_m)
        assert f"crosses {crossing.line}" in stations.events[at]
        assert stations.easting_m[at] == pytest.approx(crossing.easting_m, abs=1e-6)
        mapped = signed_offsets(
            site.plan.line(crossing.line).vertices_m, [crossing.easting_m, crossing.northing_m]
        )
        shift = report.route.unknowns[report.route.layout.line_column(crossing.line)]
        assert float(mapped.offset_m) == pytest.approx(shift, abs=1e-6)
    met = {crossing.line for crossing in report.crossings}
    said = {short.line for short in report.uncrossed}
    assert met | said == {one.name for one in site.plan.lines}
    assert not met & said
    for finding in report.findings:
        too_close = any(side.verdict == "too close to call" for side in finding.sides)
        assert (finding.settling is not None) is too_close
        assert finding.rests_on


def test_no_reading_is_told_to_use_a_column_it_has_not():
    report = build_report(good_site())
    bend = replace(
        report.readings[0],
        id=ReadingId("turn", "12", "turn"),
        verdict="suspect",
        set_aside_first=True,
    )
    doubtful = replace(report, readings=(bend,), diagnoses=())
    said = [one for one in report_notices(doubtful) if "not agree" in one]
    assert len(said) == 1
    assert "use = no" not in said[0]
    assert "Correct what was written" in said[0]


def test_what_hangs_on_a_slip_is_too_close_and_says_what_to_look_at():
    planted = plant("counter slipped 5 ft", 9004)
    report = build_report(planted.site)
    assert report.diagnoses[0].slip.slip == "counter slipped"
    hanging = [one for one in report.findings if one.verdict_under]
    assert hanging
    for one in hanging:
        assert one.verdict == "too close to call"
        assert one.settling is not None
        assert one.settling.way == "look again"
        assert settling_words(one.settling, "ft").startswith("look at the notes and the video near")


def test_a_depth_hangs_on_the_depths_that_may_be_wrong():
    site = good_site()
    wrong = replace(site.locates[-1], depth_m=site.locates[-1].depth_m + 1.0)
    site = replace(site, locates=(*site.locates[:-1], wrong))
    route = adjust_route(site)
    report, (plain, *_) = report_on(route), find_crossings(route)[0]
    assert report.diagnoses[0].slip.id == ReadingId("depth", wrong.mark, "depth")
    (crossing,) = report.crossings
    (without,) = [one for one in crossing.footage_without if one.reading.kind == "depth"]
    assert without.depth_m < crossing.depth_m - 0.05
    assert crossing.depth_m == plain.depth_m
    assert crossing.sd_depth_m > 1.5 * plain.sd_depth_m
    far = report.findings[-1]
    assert far.depth_without[0].depth_m < far.near.depth_m
    assert abs(far.depth_without[0].depth_m - far.near.depth_m) < 3.0 * far.near.sd_depth_m


def test_a_counter_taken_to_have_slipped_may_have_done_so_anywhere_between_two_locates():
    site = plant("counter slipped 5 ft", 7).site
    slip = build_report(site).diagnoses[0].slip
    near = (Finding(slip.footage_m + side * 0.3, "crack") for side in (-1.0, 1.0))
    site = replace(site, findings=(Finding(1.0, "roots"), *near))
    taken = build_report(take_so(site, [Applied(slip)]))
    alone = build_report(mend(site, slip))
    ratios = [
        one.sides[0].sd_past_m / other.sides[0].sd_past_m
        for one, other in zip(taken.findings, alone.findings, strict=True)
    ]
    assert max(ratios[1:]) > 1.5
    assert ratios[0] < 1.1
    assert not taken.diagnoses


def test_a_size_that_no_note_tells_counts_for_no_more_than_is_known_of_it():
    site = plant("counter +4 ft", 7).site
    slip = build_report(site).diagnoses[0].slip
    known, guessed = (
        build_report(take_so(site, [Applied(replace(slip, sd=sd))])) for sd in (0.0, 0.2)
    )
    for one, other in zip(known.crossings, guessed.crossings, strict=True):
        assert other.footage_m == one.footage_m
        assert one.sd_footage_m < other.sd_footage_m < np.hypot(one.sd_footage_m, 0.21)


def test_what_else_may_have_gone_wrong_stays_open_until_somebody_checks():
    site = plant("tape 5 ft", 9004).site
    likeliest, next_best = build_report(site).diagnoses[:2]
    assert likeliest.probability > 0.5 > next_best.probability > 0.05

    def reported(slip, **fields):
        return build_report(take_so(site, [Applied(slip, **fields)]))

    taken, checked = reported(likeliest.slip), reported(likeliest.slip, checked=True)
    doubts = [one.slip for finding in taken.findings for one in finding.verdict_under]
    assert next_best.slip in doubts
    assert not any(one.verdict_under for one in checked.findings)
    for one, other in zip(checked.findings, taken.findings, strict=True):
        assert other.verdict in (one.verdict, "too close to call")
    assert taken.findings != checked.findings
    # Whoever takes another than the likeliest knows more than the readings tell.
    assert not any(one.verdict_under for one in reported(next_best.slip).findings)


@pytest.mark.parametrize(
    ("name", "seed"), [("tape in metres", 9002), ("counter slipped 5 ft", 9005)]
)
def test_corridor_and_places_allow_for_what_may_have_gone_wrong(name, seed):
    """At every station the told covariance is that of the mixture, summed by hand."""
    planted = plant(name, seed)
    report = build_report(planted.site)
    route, stations = report.route, report.stations
    assert 0.3 < sum(one.weight for one in route.doubts) <= 1.0
    plain = adjust_route(planted.site)
    np.testing.assert_allclose(stations.easting_m, plain.positions(stations.footage_m)[:, 0])
    at = stations.footage_m[5::10]
    left = 1.0 - sum(one.weight for one in route.doubts)
    expected = left * plain.plan_covariance(at)
    for one in route.doubts:
        mended = [one.meant(float(footage)) for footage in at]
        gap = (one.route.positions(mended) - route.positions(at))[:, :2]
        expected += one.weight * one.route.plan_covariance(mended)
        expected += one.weight * np.einsum("kx,ky->kxy", gap, gap)
    np.testing.assert_allclose(route.plan_covariance(at), expected)
    right = np.radians(stations.heading_deg[5::10])
    right = np.stack([np.cos(right), -np.sin(right)], axis=-1)
    across = np.sqrt(np.einsum("kx,kxy,ky->k", right, expected, right))
    np.testing.assert_allclose(stations.across_sd_m[5::10], across, atol=1e-7)
    assert (across > np.sqrt(np.einsum(
        "kx,kxy,ky->k", right, adjust_route(planted.clean_site).plan_covariance(at), right
    ))).any()  # fmt: skip
    if report.next_locate is not None:
        said = next_locate_words(report.next_locate, report.site)
        assert "once what may have gone wrong is settled" in said
        assert report.next_locate.sd_before_m < across.max()
    for finding in report.findings:
        here = stations.index_of(finding.near.footage_m)
        assert finding.near.semi_major_m == stations.semi_major_m[here]
        assert finding.near.sd_depth_m == stations.depth_sd_m[here]


def test_a_diagnosis_widens_what_hangs_on_it_and_moves_nothing():
    planted = plant("bend 45 not noted", 9001)
    route = adjust_route(planted.site)
    report = report_on(route)
    assert report.diagnoses[0].probability > 0.9
    plain, _ = find_crossings(route)
    for before, after in zip(plain, report.crossings, strict=True):
        assert after.footage_m == before.footage_m
        assert after.sd_footage_m >= before.sd_footage_m
    assert any(
        after.sd_footage_m > 1.2 * before.sd_footage_m
        for before, after in zip(plain, report.crossings, strict=True)
    )


@pytest.mark.parametrize("outside", ["owner", "city"])
def test_a_line_with_one_party_on_both_sides_is_said_to_change_nothing(outside):
    boundary = Boundary("curb", "owner", outside, decides=True)
    report = build_report(good_site(boundaries=(boundary,)))
    (crossing,) = report.crossings
    changes = outside != "owner"
    assert crossing.decides
    assert ("one party on both sides" in deciding_words(crossing)) is not changes
    facts = {fact.name: fact.note for fact in summary_facts(report)}
    assert facts["Crosses curb"] == deciding_words(crossing)
    short = build_report(good_site(boundaries=(boundary,), locates=(), run=Run(15.0), findings=()))
    assert any("esponsibility changes" in one for one in report_notices(short)) is changes


@pytest.fixture(scope="module")
def built():
    return build_report(good_site())


@pytest.mark.parametrize(
    ("point", "direction", "far"),
    [
        ("manhole", None, "other"), ("MH 12", None, "other"), ("the main", None, "other"),
        ("man hole 4", "upstream", "house"), ("front cleanout", "upstream", "house"),
        ("front cleanout", None, "main"), ("main cleanout", None, "main"),
        ("manhole", "downstream", "main"), ("", None, "main"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("end", ["main", "tank", "not reached"])
def test_what_a_run_did_not_reach_lies_the_way_the_camera_went(built, point, direction, far, end):
    site = replace(built.site, run=Run(30.0, end), job=Job(camera_direction=direction))
    report = replace(built, site=replace(site, start=replace(site.start, point=point)))
    route = next(layer for layer in plan_layers(report) if layer.key == "route")
    said = {
        "letter": run_sentence(report),
        "owner": owner_facts(report)["came_to"],
        "page": summary_facts(report)[0].note,
        "terminal": next(one.plain for one in drawing_parts(report) if " of pipe, " in str(one)),
        "map": route.items[-1].caption,
        "notices": " ".join(one for one in report_notices(report) if "undrawn" in one),
    }
    if end != "not reached":
        assert "reach" not in said["owner"] + said["letter"] + said["page"] + said["map"]
        assert all(end in said[each] for each in ("letter", "owner", "page", "terminal", "map"))
        assert said["notices"] == ""
        return
    for there in ("main", "house", "other"):
        told = {each for each, words in said.items() if there in words}
        assert told == (set(said) if there == far else set()), there


def test_a_run_whose_end_is_not_the_main_is_not_said_to_lead_to_it():
    """It may have been run from the main to the house."""
    (said,) = [one for one in notices(good_site(run=Run(30.0, "not reached"))) if "main" in one]
    assert said.startswith("the run does not end at the main")


@pytest.mark.parametrize("off_m", [0.0, 0.3, 0.8, 1.1])
def test_the_chance_of_a_side_is_that_of_its_distance_and_range_however_bad_the_fit(off_m):
    """Marks off to either side by turns, which nothing explains, make every answer wide."""
    site = straight_site(locate_footages_m=(4.0, 9.0, 14.0, 19.0, 24.0), tie=surveyed)
    moved = []
    for index, locate in enumerate(site.locates):
        (tie,) = locate.ties
        aside = replace(tie, northing_m=tie.northing_m + off_m * (-1.0) ** index)
        moved.append(replace(locate, ties=(aside,)))
    findings = tuple(Finding(at, "roots") for at in (1.0, 12.0, 20.0, 23.0, 24.5, 26.0, 29.0))
    report = build_report(replace(site, locates=tuple(moved), findings=findings), diagnose=False)
    assert not report.route.alternatives
    for one in report.findings:
        (side,) = one.sides
        expected = 0.5 * math.erfc(-side.past_m / side.sd_past_m / math.sqrt(2.0))
        assert side.probability_past == pytest.approx(expected, abs=1e-9)
        if not 0.05 < expected < 0.95:
            continue
        assert (side.verdict, one.verdict) == ("too close to call",) * 2
