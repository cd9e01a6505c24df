"""Sides of findings: a worked example, probabilities against drawn routes, and who answers."""

from __future__ import annotations

import re
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from analysis.builder import HandRoute, Sds, draw_routes, line, turned
from hypothesis import given
from hypothesis import strategies as st
from truth.simulate import FOOT, simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.responsibility import share_responsibility
from lateral_map.analysis.settling import settle_findings
from lateral_map.analysis.sides import judge_along, judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.chance import ONE_SIDED_95
from lateral_map.model.past import measure_past
from lateral_map.model.route import Alternative
from lateral_map.model.site import Boundary, Finding, OffsetTie, PlanLine
from lateral_map.model.trade import calls_for_repair
from lateral_map.words.notices import danger_words
from lateral_map.words.technician import settling_words, verdict_words

CURB = line("curb", (20.0, 8.0), (20.0, -8.0), sd_m=0.5)
DECIDES = (Boundary("curb", "owner", "city", decides=True),)


def judge(route):
    crossings, _ = find_crossings(route)
    return judge_findings(route, lay_stations(route, crossings), crossings)


def one(**wishes):
    findings = wishes.pop("findings")
    route = HandRoute(
        findings=findings, boundaries=DECIDES, **({"lines": (CURB,)} | wishes)
    ).build()
    (found,) = judge(route)
    return found


def test_offset_of_a_point_from_a_line_of_two_unsure_ends():
    # off = n.(P - (1-t)A - tB), sd² = n'[C_P + (1-t)² C_A + t² C_B] n, derived for independent
    # points: A (0,0) sd .05, B (10,0) sd .10, P (3,4) sd .02 give 4 +- 0.0502494.
    share = 0.3
    sd_line = np.hypot((1.0 - share) * 0.05, share * 0.10)
    line_ab = line("AB", (0.0, 0.0), (10.0, 0.0), sd_m=float(sd_line))
    (found,) = judge(
        HandRoute(
            start=(3.0, -6.0),
            azimuths_deg=(0.0,),
            sds=Sds(start=0.02),
            lines=(line_ab,),
            boundaries=(Boundary("AB", "owner", "city"),),
            findings=(Finding(10.0, "crack"),),
        ).build()
    )
    (side,) = found.sides
    assert side.past_m == pytest.approx(4.0)
    assert side.sd_past_m == pytest.approx(0.0502494, abs=5e-8)
    # P(wrong side) = Phi(-|off|/sd)
    assert 1.0 - side.probability_past == pytest.approx(
        NormalDist().cdf(-4.0 / 0.0502494), abs=1e-12
    )


def test_the_lines_own_shift_and_the_counters_reading_count():
    found = one(
        findings=(Finding(20.6, "roots"),), sds=Sds(start=0.3, scale=0.01), sd_reading_m=0.05
    )
    (side,) = found.sides
    assert side.past_m == pytest.approx(0.6)
    assert side.sd_past_m == pytest.approx(np.sqrt(0.3**2 + 0.206**2 + 0.05**2 + 0.5**2))
    assert side.probability_past == pytest.approx(NormalDist().cdf(0.6 / side.sd_past_m))


def test_reading_noise_acts_along_the_pipe_only():
    beside = line("lot", (-5.0, 3.0), (40.0, 3.0), sd_m=0.2, kind="property_line")
    found = one(
        findings=(Finding(10.0, "roots"),),
        lines=(CURB, beside),
        sd_reading_m=5.0,
        sds=Sds(start=0.1),
        site_fields={"boundaries": (*DECIDES, Boundary("lot", "owner", "neighbour"))},
    )
    assert found.sides[0].sd_past_m == pytest.approx(np.sqrt(25.0 + 0.25 + 0.01))
    assert found.sides[1].sd_past_m == pytest.approx(np.hypot(0.2, 0.1))


@pytest.mark.parametrize(
    ("sds_past", "verdict"),
    [(1.66, "past"), (1.63, "too close to call"), (0.0, "too close to call"),
     (-1.63, "too close to call"), (-1.66, "inside")],
)  # fmt: skip
def test_a_verdict_asks_for_95_percent(sds_past, verdict):
    # The one-sided 95 % point of the normal distribution is 1.645 (any normal table).
    found = one(findings=(Finding(20.0 + 0.5 * sds_past, "roots"),))
    assert found.sides[0].verdict == verdict
    assert found.verdict == verdict
    assert found.answers == {"past": ("city",), "inside": ("owner",)}.get(verdict, ())


@given(st.floats(0.5, 29.5), st.floats(0.0, 1.0))
def test_past_and_inside_share_all_the_probability(footage, sd):
    ahead = one(findings=(Finding(footage, "roots"),), sds=Sds(start=sd)).sides[0]
    mirrored = one(findings=(Finding(40.0 - footage, "roots"),), sds=Sds(start=sd)).sides[0]
    assert ahead.probability_past + mirrored.probability_past == pytest.approx(1.0)


@pytest.mark.parametrize("seed", [2, 4, 9])
def test_probabilities_are_the_share_of_drawn_routes_past_the_line(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    near = [measure_past(route, b.line, np.linspace(1.0, site.run.end_m - 1.0, 60)).past_m
            for b in site.boundaries]  # fmt: skip
    places = [float(np.linspace(1.0, site.run.end_m - 1.0, 60)[np.abs(p).argmin()]) for p in near]
    findings = tuple(Finding(at + step, "roots") for at in places for step in (-0.3, 0.0, 0.3))
    route = replace(route, site=replace(site, findings=findings))
    judged = judge(route)
    count = 1200
    footages = np.array([finding.footage_m for finding in findings])
    noise = np.random.default_rng(seed).normal(
        0.0, site.counter.sd_reading_m, (count, len(findings))
    )
    past = {boundary.line: np.zeros(len(findings)) for boundary in site.boundaries}
    for unknowns, errors in zip(draw_routes(route, count, seed), noise, strict=True):
        drawn = replace(route, unknowns=unknowns)
        for name in past:
            past[name] += measure_past(drawn, name, footages + errors).past_m > 0.0
    for index, result in enumerate(judged):
        for side in result.sides:
            share = past[side.line][index] / count
            spread = np.sqrt(side.probability_past * (1.0 - side.probability_past) / count)
            assert share == pytest.approx(side.probability_past, abs=4.0 * spread + 0.01)


def test_a_stretch_across_the_line_says_so():
    found = one(findings=(Finding(15.0, "standing water", to_m=26.0),))
    assert [side.verdict for side in found.sides] == ["inside"]
    assert [side.verdict for side in found.sides_to] == ["past"]
    assert found.verdict == "across"
    assert found.answers == ("owner", "city")


def test_a_stretch_that_may_reach_the_line():
    found = one(findings=(Finding(15.0, "standing water", to_m=20.2),))
    assert found.verdict == "too close to call"
    assert found.answers == ()
    assert found.may_answer == ("owner", "city")


def test_a_point_has_no_far_end():
    found = one(findings=(Finding(15.0, "crack"),))
    assert found.sides_to == ()
    assert found.far is None


NESTED = (
    Boundary("right of way", "owner", "city", decides=True),
    Boundary("centreline", "city", "county", decides=True),
)


@pytest.mark.parametrize(
    ("footage", "answers"),
    [(8.0, ("owner",)), (14.0, ("city",)), (26.0, ("county",)), (10.1, ())],
)
def test_of_two_deciding_lines_the_last_crossed_rules(footage, answers):
    lines = (
        line("right of way", (10.0, 9.0), (10.0, -9.0), sd_m=0.2, kind="right_of_way"),
        line("centreline", (20.0, 9.0), (20.0, -9.0), sd_m=0.2, kind="centreline"),
    )
    found = one(
        findings=(Finding(footage, "crack"),), lines=lines, site_fields={"boundaries": NESTED}
    )
    assert found.answers == answers


def test_doubt_that_changes_nothing_is_no_doubt():
    same = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary("curb", "city", "city", decides=True),
    )
    lines = (line("right of way", (10.0, 9.0), (10.0, -9.0), sd_m=0.2, kind="right_of_way"), CURB)
    found = one(findings=(Finding(20.1, "crack"),), lines=lines, site_fields={"boundaries": same})
    assert found.sides[1].verdict == "too close to call"
    assert found.answers == ("city",)


def test_nobody_answers_where_no_line_decides():
    found = one(
        findings=(Finding(5.0, "crack"),),
        site_fields={"boundaries": (Boundary("curb", "owner", "city"),)},
    )
    assert found.answers == ()
    assert found.sides[0].verdict == "inside"


def test_a_finding_with_no_boundary_at_all():
    found = one(findings=(Finding(5.0, "crack"),), lines=(), site_fields={"boundaries": ()})
    assert found.sides == ()
    assert found.answers == ()
    assert (found.near.easting_m, found.near.northing_m) == pytest.approx((5.0, 0.0))


def test_a_tape_from_the_real_curb_makes_a_bad_map_harmless():
    site = straight_site(locate_footages_m=(6.0, 12.0, 23.0), tie=surveyed)
    loose = replace(
        site,
        plan=replace(site.plan, lines=(replace(site.plan.lines[0], sd_m=0.9),)),
        findings=(Finding(25.0, "roots"),),
    )
    last = loose.locates[-1]
    taped = replace(last, ties=(*last.ties, OffsetTie("curb", 1.152, 0.03, as_past=True)))
    (without,) = judge(adjust_route(loose))
    (with_tape,) = judge(adjust_route(replace(loose, locates=(*loose.locates[:-1], taped))))
    assert without.sides[0].sd_past_m > 0.9
    assert with_tape.sides[0].sd_past_m < 0.2
    assert without.sides[0].verdict == "too close to call"
    assert with_tape.sides[0].verdict == "past"


def mirrored(weight=0.5):
    """Two tapes from points in a row leave two routes: one reaches past the line, one does not."""
    route = HandRoute(
        lengths_m=(15.0, 15.0), azimuths_deg=(90.0, 90.0), lines=(CURB,), boundaries=DECIDES
    )
    route = replace(route, findings=(Finding(26.0, "roots"), Finding(5.0, "crack"))).build()
    unknowns = route.unknowns.copy()
    unknowns[route.layout.azimuth] = np.pi
    line_m = np.array([[0.0, 0.0], [0.0, -15.0], [0.0, -30.0]])
    other = Alternative(line_m, unknowns, route.covariance, 0.0, weight)
    return replace(route, alternatives=(other,))


def test_a_mirror_route_leaves_the_side_open():
    roots, crack = judge(mirrored())
    assert roots.sides[0].past_m == pytest.approx(6.0)
    assert roots.sides[0].probability_past == pytest.approx(0.5)
    assert roots.sides[0].verdict == "too close to call"
    assert roots.answers == ()
    # Both routes have the crack on the owner's side.
    assert crack.answers == ("owner",)


@pytest.mark.parametrize(("weight", "verdict"), [(0.3, "too close to call"), (0.02, "past")])
def test_a_rival_votes_by_its_weight(weight, verdict):
    roots, _ = judge(mirrored(weight))
    assert roots.sides[0].probability_past == pytest.approx(1.0 - weight)
    assert roots.sides[0].verdict == verdict


def test_what_settles_a_mirror_is_which_route():
    route = mirrored()
    roots, crack = settle_findings(route, judge(route))
    assert roots.settling.way == "which route"
    assert "a third point" in settling_words(roots.settling, "ft")
    assert crack.settling is None


def test_the_far_part_may_be_past_while_the_beginning_is_in_doubt():
    # 71 % past at the near end is no straddle: only the far end is stated.
    found = one(findings=(Finding(20.28, "standing water", to_m=26.0),))
    assert found.sides[0].probability_past == pytest.approx(0.71, abs=0.005)
    assert found.verdict == "past from within"
    assert found.answers == ("city",)
    assert found.may_answer == ("owner", "city")


def seen_from_both_ends(from_m, to_m, first_m=20.0, second_m=24.0, sds_m=(0.5, 0.5)):
    """A stretch over an owner's, a terrace's and a city's part, from the house and from the street.

    The pipe lies along the x axis from 0 to 30 m; footages are counted from its west end.
    """
    lines = tuple(
        line(name, (at, 9.0), (at, -9.0), sd_m=sd_m, kind="property_line")
        for name, at, sd_m in zip(("lot line", "curb"), (first_m, second_m), sds_m, strict=True)
    )
    house = (
        Boundary("lot line", "owner", "terrace", decides=True),
        Boundary("curb", "terrace", "city", decides=True),
    )
    street = tuple(replace(one, inside=one.outside, outside=one.inside) for one in house)
    for start, azimuth_deg, boundaries, begin, end in (
        (0.0, 90.0, house, from_m, to_m),
        (30.0, 270.0, street, 30.0 - to_m, 30.0 - from_m),
    ):
        (found,) = judge(
            HandRoute(
                start=(start, 0.0),
                azimuths_deg=(azimuth_deg,),
                lines=lines,
                boundaries=boundaries,
                findings=(Finding(begin, "roots", to_m=end),),
            ).build()
        )
        yield found


@pytest.mark.parametrize(
    ("stretch", "sure"),
    [
        ((20.3, 28.0), ("terrace", "city")),  # begins at the lot line
        ((20.3, 22.0), ("terrace",)),
        ((10.0, 19.9), ("owner",)),  # and ends there
        ((10.0, 24.3), ("owner", "terrace")),  # goes over it and ends at the curb
        ((22.5, 23.9), ("terrace",)),
        ((20.1, 24.1), ("terrace",)),  # begins at the one, ends at the other
        ((19.9, 20.1), ()),  # nothing of it is sure
        ((10.0, 28.0), ("owner", "terrace", "city")),
        ((26.0, 28.0), ("city",)),
    ],
)
@pytest.mark.parametrize("second_m", [24.0, 21.4])
def test_who_surely_answers_for_a_part_is_the_same_from_either_end(stretch, sure, second_m):
    begin, end = (at + second_m - 24.0 if at > 22.0 else at for at in stretch)
    there, back = seen_from_both_ends(begin, end, second_m=second_m)
    assert there.surely_answers == back.surely_answers[::-1]
    assert set(there.may_answer) == set(back.may_answer)
    assert (there.begins_with, there.ends_with) == (back.ends_with, back.begins_with)
    for found in (there, back):
        assert set(found.answers) <= set(found.surely_answers) <= set(found.may_answer)
    if second_m == 24.0:
        assert there.surely_answers == sure


def test_a_part_surely_one_partys_is_told_where_only_its_middle_is():
    # Both ends lie by a line that is never crossed, the middle well clear of it.
    beside = line("lot line", (-5.0, 0.3), (40.0, 0.3), sd_m=0.5, kind="property_line")
    found = one(
        lengths_m=(10.0, 10.0, 10.0, 10.0),
        azimuths_deg=(90.0, 150.0, 30.0, 90.0),
        findings=(Finding(5.0, "roots", to_m=35.0),),
        lines=(beside,),
        site_fields={"boundaries": (Boundary("lot line", "owner", "neighbour", decides=True),)},
    )
    assert found.verdict == "too close to call"
    assert (found.answers, found.surely_answers) == ((), ("owner",))
    assert (found.begins_with, found.ends_with) == ("", "")


@pytest.mark.parametrize(("line_m", "verdict"), [(5.1, "too close to call"), (8.0, "inside")])
def test_a_stretch_that_comes_near_a_line_in_between_is_as_open_as_the_pipe_there(line_m, verdict):
    """Its ends are surely inside; between them the run comes to 0.1 m, or 3 m, of the line."""
    route = HandRoute(
        lengths_m=(10.0, 10.0),
        azimuths_deg=(60.0, 120.0),
        lines=(line("lot line", (-9.0, line_m), (40.0, line_m), sd_m=0.3),),
        boundaries=(Boundary("lot line", "owner", "neighbour", decides=True),),
        findings=(Finding(2.0, "roots", to_m=18.0),),
    ).build()
    (found,) = judge(route)
    assert {side.verdict for side in (*found.sides, *found.sides_to)} == {"inside"}
    assert (found.verdict, found.surely_answers) == (verdict, ("owner",))
    crossings, _ = find_crossings(route)
    along = share_responsibility(route, crossings, judge_along(route, crossings, [found]))
    assert set(found.may_answer) == {party for one in along for party in one.parties}
    if verdict == "too close to call":
        assert found.between.past_m == pytest.approx(-0.1, abs=0.15)
        assert found.between_m == pytest.approx(10.0, abs=0.4)
        assert "between them" in verdict_words(found, "m")
        assert settle_findings(route, (found,))[0].settling.at_m == pytest.approx(10.0, abs=0.4)


@pytest.mark.parametrize("stretch", [(15.0, 25.0), (10.0, 20.0), (5.0, 15.0), (20.0, 25.0)])
def test_nobody_is_sure_of_a_part_where_boundaries_contradict(stretch):
    """Not where one of them is crossed either, which the ends or middles here are put on."""
    lines = (line("lot line", (10.0, 9.0), (10.0, -9.0)), line("curb", (20.0, 9.0), (20.0, -9.0)))
    decide = (
        Boundary("lot line", "owner", "association", decides=True),
        Boundary("curb", "city", "county", decides=True),
    )
    found = one(
        lines=lines,
        findings=(Finding(stretch[0], "roots", to_m=stretch[1]),),
        sds=Sds(start=0.3),
        site_fields={"boundaries": decide},
    )
    assert {"association", "city"} & set(found.surely_answers) == set()


@pytest.mark.parametrize("turned_order", [False, True])
def test_of_two_lines_at_one_place_that_contradict_the_first_written_does_not_rule(turned_order):
    lines = tuple(line(name, (20.0, 9.0), (20.0, -9.0)) for name in ("lot line", "curb"))
    decide = [
        Boundary("lot line", "owner", "association", decides=True),
        Boundary("curb", "owner", "city", decides=True),
    ]
    route = HandRoute(
        lines=lines,
        boundaries=tuple(decide[::-1] if turned_order else decide),
        findings=(Finding(10.0, "roots"), Finding(26.0, "roots")),
        sds=Sds(start=0.3),
    ).build()
    before, beyond = judge(route)
    assert before.answers == ("owner",)
    assert (beyond.verdict, beyond.answers, beyond.left_open) == (
        "past", (), "boundaries contradict",
    )  # fmt: skip
    assert set(beyond.may_answer) == {"association", "city"}
    crossings, _ = find_crossings(route)
    along = share_responsibility(route, crossings, judge_along(route, crossings, (before, beyond)))
    assert [set(one.parties) for one in along] == [{"owner"}, {"association", "city"}]


@pytest.mark.parametrize("askew_m", [0.0, 2.0, 5.0])
def test_nobody_answers_for_the_nothing_between_lines_met_at_one_place(askew_m):
    """Lines that coincide, and lines that only cross each other where the pipe crosses them."""
    lines = (
        line("lot line", (20.0 - askew_m, 9.0), (20.0 + askew_m, -9.0), sd_m=0.3),
        line("curb", (20.0 + askew_m, 9.0), (20.0 - askew_m, -9.0), sd_m=0.3),
    )
    decide = (
        Boundary("lot line", "owner", "terrace", decides=True),
        Boundary("curb", "terrace", "city", decides=True),
    )
    found = one(
        lines=lines,
        findings=(Finding(10.0, "roots", to_m=26.0),),
        site_fields={"boundaries": decide},
    )
    assert (found.answers, found.surely_answers) == (("owner", "city"), ("owner", "city"))


def two_lines(first_m, second_m, *findings, first_sd_m=0.5):
    lines = (
        line("lot line", (first_m, 9.0), (first_m, -9.0), sd_m=first_sd_m, kind="property_line"),
        line("curb", (second_m, 9.0), (second_m, -9.0), sd_m=0.5),
    )
    decide = (
        Boundary("lot line", "owner", "terrace", decides=True),
        Boundary("curb", "terrace", "city", decides=True),
    )
    return HandRoute(findings=findings, lines=lines, boundaries=decide).build()


def test_a_line_in_doubt_to_the_end_decides_before_one_in_doubt_at_the_beginning():
    # Begins at the lot line and ends at the curb: past the first of them is not all it must tell.
    (found,) = judge(two_lines(20.0, 21.4, Finding(19.95, "roots", to_m=21.5)))
    assert found.deciding.line == "curb"
    assert (found.verdict, found.answers) == ("too close to call", ())
    assert found.may_answer == ("owner", "terrace", "city")


def test_a_stretch_that_may_reach_the_second_line_leaves_its_end_open():
    # Past the lot line for sure, which it is nearer to, and perhaps past the curb.
    finding = Finding(10.0, "roots", to_m=20.62)
    (found,) = judge(two_lines(20.0, 21.3, finding, first_sd_m=0.1))
    assert (found.verdict, found.answers) == ("too close to call", ())
    assert set(found.may_answer) == {"owner", "terrace", "city"}


def test_who_answers_up_to_a_later_line_is_told_though_the_beginning_is_in_doubt():
    # Begins at the lot line, surely past it where it meets the curb, and ends past the curb.
    (found,) = judge(two_lines(15.0, 16.4, Finding(14.95, "roots", to_m=24.0)))
    assert (found.verdict, found.answers) == ("past from within", ("terrace", "city"))


@pytest.mark.parametrize("turn_deg", range(0, 360, 30))
def test_turning_the_plan_changes_no_deciding_line(turn_deg):
    route = two_lines(
        18.0, 21.0, Finding(4.0, "roots", to_m=26.0), Finding(12.0, "hole", to_m=28.0)
    )
    found = judge(turned(route, turn_deg, 40.0, -7.0))
    assert [one.deciding.line for one in found] == ["curb", "lot line"]
    assert [one.verdict for one in found] == ["across", "across"]
    assert {one.answers for one in found} == {("owner", "terrace", "city")}


def test_a_stretch_on_one_side_reaches_across_nothing():
    inside = one(findings=(Finding(5.0, "standing water", to_m=15.0),))
    past = one(findings=(Finding(24.0, "standing water", to_m=28.0),))
    assert (inside.verdict, inside.answers) == ("inside", ("owner",))
    assert (past.verdict, past.answers) == ("past", ("city",))


def test_a_stretch_over_two_deciding_lines_names_all_three():
    lines = (
        line("right of way", (10.0, 9.0), (10.0, -9.0), sd_m=0.2, kind="right_of_way"),
        line("centreline", (20.0, 9.0), (20.0, -9.0), sd_m=0.2, kind="centreline"),
    )
    found = one(
        findings=(Finding(5.0, "roots", to_m=26.0),),
        lines=lines,
        site_fields={"boundaries": NESTED},
    )
    assert found.verdict == "across"
    assert found.answers == ("owner", "city", "county")


def hairpin(from_m, to_m, *, beyond_m=6.0, lines=(CURB,), boundaries=DECIDES):
    """Out over the curb by so much, 5 m along it, and back: out at 20, back at 25 + 2 beyond."""
    return HandRoute(
        lengths_m=(20.0 + beyond_m, 5.0, 30.0),
        azimuths_deg=(90.0, 0.0, 270.0),
        findings=(Finding(from_m, "standing water", to_m=to_m),),
        lines=lines,
        boundaries=boundaries,
    ).build()


BACK = 25.0 + 2.0 * 6.0  # where the run comes back over the curb


@pytest.mark.parametrize(
    ("ends", "answers"),
    [
        ((10.0, BACK + 10.0), ("owner", "city", "owner")),
        ((10.0, BACK - 6.0), ("owner", "city")),
        ((26.0, BACK + 10.0), ("city", "owner")),
        ((19.9, BACK + 10.0), ("city", "owner")),  # where it begins is too close to call
    ],
)
def test_a_stretch_that_goes_over_a_line_and_comes_back_is_on_both_sides(ends, answers):
    (found,) = judge(hairpin(*ends))
    assert (found.verdict, found.answers) == ("across", answers)
    both_inside = found.sides[0].past_m < 0.0 > found.sides_to[0].past_m
    assert (found.between is not None) == both_inside
    if both_inside:
        assert found.between.past_m == pytest.approx(6.0, abs=0.2)
        assert found.between.verdict == "past"


def test_a_beginning_in_doubt_before_the_owners_side_is_nobodys():
    # It may begin in the street: what is known of the rest does not say whose all of it is.
    (found,) = judge(hairpin(BACK - 0.1, BACK + 10.0))
    assert (found.sides[0].verdict, found.sides_to[0].verdict) == ("too close to call", "inside")
    assert (found.verdict, found.answers) == ("too close to call", ())


@pytest.mark.parametrize(("beyond_m", "verdict"), [(0.3, "too close to call"), (2.0, "across")])
def test_a_stretch_that_comes_back_is_across_where_it_surely_was_over(beyond_m, verdict):
    (found,) = judge(hairpin(10.0, 35.0, beyond_m=beyond_m))
    assert {side.verdict for side in (*found.sides, *found.sides_to)} == {"inside"}
    assert found.verdict == verdict
    assert found.answers == (() if verdict == "too close to call" else ("owner", "city", "owner"))
    assert found.may_answer == ("owner", "city")


def test_a_stretch_over_two_lines_and_back_names_every_part_in_order():
    lines = (CURB, line("centreline", (23.0, 9.0), (23.0, -9.0), sd_m=0.2, kind="centreline"))
    decide = (*DECIDES, Boundary("centreline", "city", "county", decides=True))
    (found,) = judge(hairpin(10.0, BACK + 10.0, lines=lines, boundaries=decide))
    assert found.verdict == "across"
    assert found.answers == ("owner", "city", "county", "city", "owner")


def test_the_words_of_a_stretch_that_comes_back_say_how_far_it_was_over():
    (found,) = judge(hairpin(10.0, BACK + 10.0))
    said = verdict_words(found, "m")
    assert said.startswith("curb: reaches across (begins 10.00 ")
    assert re.search(r"ends 10\.00 ± \S+ m inside.*, between them [56]\.\d+ ± \S+ m past", said)
    assert found.between.probability_past > 0.99


def test_from_the_street_the_start_side_is_the_citys():
    street = (Boundary("curb", "city", "owner", decides=True),)
    found = one(findings=(Finding(26.0, "roots"),), site_fields={"boundaries": street})
    assert (found.verdict, found.answers) == ("past", ("owner",))


def test_one_party_on_both_sides_answers_whatever_the_side():
    both = (Boundary("curb", "owner", "owner", decides=True),)
    found = one(findings=(Finding(20.1, "roots"),), site_fields={"boundaries": both})
    assert found.deciding.verdict == "too close to call"
    assert found.answers == ("owner",)


@pytest.mark.parametrize(
    ("footage", "verdict", "answers"),
    [(11.0, "inside", ("owner",)), (12.01, "too close to call", ()), (13.0, "past", ("city",))],
)
def test_a_cleanout_parts_the_run_by_the_counter_alone(footage, verdict, answers):
    at = Boundary("cleanout", "owner", "city", decides=True, kind="cleanout", footage_m=12.0)
    found = one(
        findings=(Finding(footage, "roots"),), sd_reading_m=0.05, site_fields={"boundaries": (at,)}
    )
    assert (found.verdict, found.answers) == (verdict, answers)
    assert found.deciding.past_m == pytest.approx(footage - 12.0)
    # Two readings of one counter, each with its own noise.
    assert found.deciding.sd_past_m == pytest.approx(np.hypot(0.05, 0.05))


def test_before_the_main_all_is_the_owners():
    at = Boundary("main", "owner", "city", decides=True, kind="main")
    found = one(findings=(Finding(29.9, "roots"),), site_fields={"boundaries": (at,)})
    assert (found.verdict, found.answers) == ("inside", ("owner",))


@pytest.mark.parametrize(
    ("words", "found_class"),
    [
        ("roots", "defect"), ("standing water", "defect"), ("other", "defect"),
        ("crack at tap", "defect"), ("protruding tap", "defect"), ("offset joint", "defect"),
        ("tap", "feature"), ("transition", "feature"), ("cleanout", "feature"),
        ("connection to the main", "feature"), ("material change", "feature"),
        ("gas pipe through sewer", "danger"), ("gas main", "danger"), ("Electric cable", "danger"),
        ("water service through the pipe", "danger"), ("cross-bore", "danger"),
        ("broken pipe at gas line", "danger"), ("sewer gas smell", "defect"),
        ("gas smell", "danger"), ("smell of gas", "danger"), ("gas odor at joint", "danger"),
        ("C/O", "feature"), ("C.O. at walk", "feature"), ("broken C/O", "defect"),
        ("bituminous fibre, deformed", "defect"), ("missing gasket", "defect"),
        # Dangers in other people's words: nobody may be sent to dig at one.
        ("watermain through sewer", "danger"), ("gasline", "danger"), ("gas_pipe", "danger"),
        ("cross  bore", "danger"), ("yellow pipe through sewer", "danger"), ("HDD bore", "danger"),
        ("telecom ducts", "danger"), ("tracer wire", "danger"), ("utilities found", "danger"),
        ("fiber optic conduit", "danger"), ("Wasserleitung", "danger"), ("Stromkabel", "danger"),
        ("gas service tapped through the sewer", "danger"),
        ("PE pipe penetrating pipe", "danger"), ("steel pipe through invert", "danger"),
        ("yellow plastic pipe in lateral", "danger"), ("x-bore", "danger"), ("xbore", "danger"),
        ("wires", "danger"), ("wire in pipe", "danger"), ("fiber through pipe", "danger"),
        ("service line in pipe", "danger"), ("pipe crossing", "danger"),
        ("drill through lateral", "danger"), ("pipe punctured by pipe", "defect"),
        # Words that only look like one.
        ("electric-blue paint", "defect"), ("cable tie in pipe", "defect"),
        ("wire mesh showing", "defect"), ("wire brush left behind", "defect"),
        ("bituminous fibre pipe, blistered", "defect"), ("crossing roots", "defect"),
        ("utility sink tap", "feature"), ("ductile iron begins, rust", "defect"),
        ("gas bubbles", "defect"),
        # Something ails the feature; the utility is to be asked about it.
        ("misaligned wye", "defect"), ("blockage at main", "defect"), ("plugged tee", "defect"),
        ("roots at main", "defect"), ("defective connection", "defect"), ("bad tap", "defect"),
        ("infiltrating tee", "defect"), ("encrusted tap", "defect"),
        ("disconnected tap", "defect"), ("high water at the main", "defect"),
        # A word that begins like a feature's is none.
        ("taproot", "defect"), ("tape in the pipe", "defect"), ("maintenance needed", "defect"),
        ("tapped in", "feature"), ("mainline", "feature"), ("manhole", "feature"),
    ],
)  # fmt: skip
def test_defects_features_and_dangers_are_told_apart(words, found_class):
    assert one(findings=(Finding(5.0, words),)).finding_class == found_class


@pytest.mark.parametrize(
    ("note", "danger"),
    [
        ("gas line bored through the pipe", True), ("Yellow plastic pipe across the pipe", True),
        ("behind them a gas service goes straight through the sewer", True),
        ("looks like a cross bore", True), ("X-bore at 3 o'clock", True),
        ("electric conduit in the lateral", True), ("unknown cable through the roots", True),
        ("fibre cable inside the pipe", True), ("power line runs through the joint", True),
        # What lies near by, was looked for or is the crew's own.
        ("no cross bore seen", False), ("cross bore ruled out", False),
        ("beside the gas meter", False), ("camera cable caught", False),
        ("under the power pole", False),
        ("gas line marked 3 ft north of the pipe", False), ("by the electric box", False),
        ("bead of glue, catches paper", False), ("fine roots in the joint", False), ("", False),
    ],
)  # fmt: skip
@pytest.mark.parametrize("words", ["roots", "tap"])
def test_a_danger_in_a_note_is_one_whatever_the_finding_is_called(words, note, danger):
    found = one(findings=(Finding(5.0, words, note=note),))
    assert (found.finding_class == "danger") is danger
    if danger:
        assert note.lower() in danger_words(found, "ft").lower()
        assert not calls_for_repair(found.finding)


def test_findings_are_numbered_in_their_order():
    route = HandRoute(
        findings=(Finding(5.0, "roots"), Finding(9.0, "tap")), boundaries=DECIDES, lines=(CURB,)
    ).build()
    assert [found.number for found in judge(route)] == [1, 2]


# The run goes east along y = 0, 30 m from x = 0; the line stands at x, drawn either way.
@pytest.mark.parametrize("drawn", [1.0, -1.0])
@pytest.mark.parametrize(
    ("line_at", "verdict", "answers"),
    [
        (0.0, "past", ("city",)),  # on the line: the run leads beyond it
        (0.005, "past", ("city",)),
        (-0.005, "past", ("city",)),
        (0.1, "past", ("city",)),  # within the start's accuracy, but crossed
        (-0.1, "too close to call", ()),  # or on the other side of the start and crossed
        (-2.0, "inside", ("owner",)),
        (2.0, "past", ("city",)),
    ],
)
def test_from_a_start_at_a_line_what_is_past_it_hangs_on_no_drawing_order(
    line_at, verdict, answers, drawn
):
    ends = np.array([[line_at, -30.0 * drawn], [line_at, 30.0 * drawn]])
    route = HandRoute(
        sds=Sds(start=0.15),
        findings=(Finding(12.0, "roots"),),
        lines=(PlanLine("street line", "right_of_way", ends, 0.03),),
        boundaries=(Boundary("street line", "owner", "city", decides=True),),
    ).build()
    (found,) = judge(route)
    assert (found.verdict, found.answers) == (verdict, answers)
    crossings, _ = find_crossings(route)
    shared = share_responsibility(route, crossings, judge_along(route, crossings, [found]))
    # Who answers along the run is who answers for what is found there, nobody where that is open.
    (there,) = [one for one in shared if one.from_m <= 12.0 < one.to_m]
    assert (there.party, there.parties) == ("".join(answers), found.may_answer)


@pytest.mark.parametrize("outside", ["city", "county"])
def test_a_line_that_may_lie_ahead_unmet_leaves_open_what_the_main_alone_would_tell(outside):
    """From a start at the street line away from it: past it all along, or within it all along."""
    ends = np.array([[-50.0, 0.1], [50.0, 0.1]])
    route = HandRoute(
        lengths_m=(30.0,),
        azimuths_deg=(180.0,),
        start=(0.0, 0.0),
        sds=Sds(start=0.3),
        findings=(Finding(4.0, "roots"), Finding(28.0, "roots")),
        lines=(PlanLine("street line", "right_of_way", ends, 0.2),),
        boundaries=(
            Boundary("street line", "owner", outside, decides=True),
            Boundary("main", "city", "county", decides=True, kind="main"),
        ),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    may = {"owner", outside, "city"}
    assert [one.answers for one in found] == [(), ()]
    assert all({"owner", outside} <= set(one.may_answer) <= may for one in found)
    shared = share_responsibility(route, crossings, judge_along(route, crossings, found))
    assert {one.party for one in shared} == {""}


def test_a_line_that_may_lie_ahead_unmet_has_its_say_beside_the_boundary_met_next():
    """Nearer to the cleanout than to the line, too: whoever is within the line is not forgotten."""
    ends = np.array([[-50.0, 0.1], [50.0, 0.1]])
    route = HandRoute(
        azimuths_deg=(180.0,),
        sds=Sds(start=0.3),
        findings=(Finding(4.0, "roots"), Finding(14.0, "roots")),
        lines=(PlanLine("street line", "right_of_way", ends, 0.2),),
        boundaries=(
            Boundary("street line", "association", "city", decides=True),
            Boundary("cleanout", "owner", "association", True, kind="cleanout", footage_m=17.0),
        ),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    assert [set(one.may_answer) for one in found] == [{"association", "city", "owner"}] * 2


def test_along_a_line_never_crossed_the_run_is_told_where_it_is_clear_of_it():
    # East along the line at 0.3 m, then away from it: 0.3 m of sd throughout.
    ends = np.array([[-10.0, 0.3], [60.0, 0.3]])
    route = HandRoute(
        lengths_m=(20.0, 20.0),
        azimuths_deg=(90.0, 180.0),
        start=(0.0, 0.0),
        sds=Sds(start=0.25),
        findings=(Finding(4.0, "roots"), Finding(38.0, "roots")),
        lines=(PlanLine("street line", "right_of_way", ends, 0.2),),
        boundaries=(Boundary("street line", "owner", "city", decides=True),),
    ).build()
    crossings, _ = find_crossings(route)
    near, far = judge_findings(route, lay_stations(route, crossings), crossings)
    assert (near.answers, far.answers) == ((), ("owner",))
    shared = share_responsibility(route, crossings, judge_along(route, crossings, [near, far]))
    assert [(one.party, one.parties) for one in shared] == [
        ("", ("owner", "city")), ("owner", ("owner",)),
    ]  # fmt: skip
    # Where the run is as far from the line as 95 % asks of both sds together.
    clear_m = 20.0 + ONE_SIDED_95 * np.hypot(0.25, 0.2) - 0.3
    assert shared[0].to_m == shared[1].from_m == pytest.approx(clear_m, abs=0.05 * FOOT)


@pytest.mark.parametrize(("end_m", "wider"), [(24.6, 1.0), (33.1, 1.0), (33.1, 2.0)])
def test_an_open_part_ends_where_the_doubt_does_however_long_the_run(end_m, wider):
    """Toward a line never crossed and away from it: both ends of what is open, to 0.1 ft.

    Where readings fit worse than stated the doubt is as much wider as every ± is.
    """
    beside = line("lot line", (-9.0, 6.0), (90.0, 6.0), sd_m=0.5, kind="property_line")
    route = HandRoute(
        lengths_m=(11.4, end_m),
        azimuths_deg=(60.0, 120.0),
        lines=(beside,),
        boundaries=(Boundary("lot line", "owner", "neighbour", decides=True),),
    ).build()
    vars(route)["noise"] = replace(route.noise, readings=wider, pipe=wider)
    crossings, _ = find_crossings(route)
    shared = share_responsibility(route, crossings, judge_along(route, crossings, ()))
    # The run climbs and falls by half of what it goes, and is open within 1.645 sd of the line.
    begins = 2.0 * (6.0 - ONE_SIDED_95 * 0.5 * wider)
    assert [one.party for one in shared] == ["owner", "", "owner"]
    assert shared[1].from_m == pytest.approx(begins, abs=0.05 * FOOT)
    assert shared[1].to_m == pytest.approx(2.0 * 11.4 - begins, abs=0.05 * FOOT)
