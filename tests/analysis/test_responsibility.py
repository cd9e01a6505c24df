"""Who answers for which stretch."""

from __future__ import annotations

import itertools

import pytest
from analysis.builder import HandRoute, Sds, line

from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.responsibility import share_responsibility
from lateral_map.analysis.sides import judge_along, judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.site import Boundary, Finding, Run

ROW = line("right of way", (10.0, 9.0), (10.0, -9.0), sd_m=0.2, kind="right_of_way")
CURB = line("curb", (20.0, 9.0), (20.0, -9.0), sd_m=0.4)


def share(route):
    return share_responsibility(route, find_crossings(route)[0])


def test_the_deciding_line_parts_the_run():
    boundaries = (
        Boundary("right of way", "owner", "owner"),
        Boundary("curb", "owner", "city", True),
    )
    route = HandRoute(lines=(ROW, CURB), boundaries=boundaries, sds=Sds(start=0.3)).build()
    owner, city = share(route)
    assert (owner.party, city.party) == ("owner", "city")
    assert (owner.from_m, owner.to_m, city.to_m) == pytest.approx((0.0, 20.0, 30.0))
    assert (owner.sd_from_m, owner.sd_to_m, city.sd_to_m) == pytest.approx((0.0, 0.5, 0.0))
    assert (owner.line_from, owner.line_to, city.line_from, city.line_to) == (
        "",
        "curb",
        "curb",
        "",
    )


def test_three_parties():
    boundaries = (
        Boundary("curb", "city", "county", decides=True),
        Boundary("right of way", "owner", "city", decides=True),
    )
    shared = share(HandRoute(lines=(ROW, CURB), boundaries=boundaries).build())
    assert [stretch.party for stretch in shared] == ["owner", "city", "county"]
    assert all(a.to_m == b.from_m for a, b in itertools.pairwise(shared))


def test_one_party_on_both_sides_is_one_stretch():
    boundaries = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary("curb", "city", "city", decides=True),
    )
    shared = share(HandRoute(lines=(ROW, CURB), boundaries=boundaries).build())
    assert [(s.party, s.from_m, s.to_m) for s in shared] == [
        ("owner", 0.0, pytest.approx(10.0)), ("city", pytest.approx(10.0), 30.0),
    ]  # fmt: skip


def test_coming_back_gives_it_back():
    there_and_back = HandRoute(
        lengths_m=(25.0, 4.0, 25.0),
        azimuths_deg=(90.0, 0.0, 270.0),
        lines=(CURB,),
        boundaries=(Boundary("curb", "owner", "city", decides=True),),
    )
    assert [stretch.party for stretch in share(there_and_back.build())] == [
        "owner",
        "city",
        "owner",
    ]


def test_a_line_never_reached_leaves_it_all_inside():
    route = HandRoute(
        lengths_m=(15.0,), lines=(CURB,), boundaries=(Boundary("curb", "owner", "city", True),)
    ).build()
    (all_of_it,) = share(route)
    assert (all_of_it.party, all_of_it.from_m, all_of_it.to_m) == ("owner", 0.0, 15.0)


def test_nobody_is_named_where_nothing_decides():
    assert (
        share(HandRoute(lines=(CURB,), boundaries=(Boundary("curb", "owner", "city"),)).build())
        == ()
    )


@pytest.mark.parametrize(
    ("length_m", "expected"),
    [
        (30.0, [("owner",), ("owner", "city"), ("city",)]),  # both crossed
        (15.0, [("owner",), ("owner", "city")]),  # it ends before the second
        (8.0, [("owner",)]),
    ],
)
@pytest.mark.parametrize("listed", [1, -1])
def test_where_boundaries_contradict_nobody_is_named(length_m, expected, listed):
    boundaries = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary("curb", "owner", "city", decides=True),
    )
    route = HandRoute(
        lengths_m=(length_m,),
        lines=(ROW, CURB),
        boundaries=boundaries[::listed],
        findings=tuple(Finding(at, "crack") for at in (5.0, 14.0, 25.0) if at < length_m),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    assert [stretch.parties for stretch in share(route)] == expected
    assert [one.party for one in share(route)] == [
        each[0] if len(each) == 1 else "" for each in expected
    ]
    assert [set(one.may_answer) for one in found] == [set(each) for each in expected]
    assert [one.answers for one in found] == [each if len(each) == 1 else () for each in expected]


@pytest.mark.parametrize("listed", list(itertools.permutations(range(3))))
@pytest.mark.parametrize(
    ("lengths_m", "azimuths_deg", "footages", "parties"),
    [
        ((30.0,), (90.0,), (3.0, 15.0, 27.0), ["owner", "city", "county"]),
        ((16.0, 4.0, 16.0), (90.0, 0.0, 270.0), (3.0, 18.0, 33.0), ["owner", "city", "owner"]),
    ],
)
def test_lines_at_one_place_give_the_pipe_to_whoever_is_beyond(
    listed, lengths_m, azimuths_deg, footages, parties
):
    again = line("lot line", (10.0, 9.0), (10.0, -9.0), sd_m=0.2, kind="property_line")
    named = (
        Boundary("right of way", "owner", "association", decides=True),
        Boundary("lot line", "association", "city", decides=True),
        Boundary("curb", "city", "county", decides=True),
    )
    route = HandRoute(
        lengths_m=lengths_m,
        azimuths_deg=azimuths_deg,
        lines=(ROW, again, CURB),
        boundaries=tuple(named[index] for index in listed),
        findings=tuple(Finding(at, "crack") for at in footages),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    assert [stretch.party for stretch in share(route)] == parties
    assert [one.answers for one in found] == [(party,) for party in parties]


def told(end="main", length_m=30.0, lines=(), boundaries=(), places=(1.0, 14.0, 25.0)):
    """Return who may answer at places along an eastward run, by its stretches and its findings."""
    route = HandRoute(
        lengths_m=(length_m,),
        lines=lines,
        boundaries=boundaries,
        sds=Sds(start=0.15),
        findings=tuple(Finding(at, "crack") for at in places),
        site_fields={"run": Run(length_m, end)},
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    shared = share_responsibility(route, crossings, judge_along(route, crossings, found))
    along = [set(part.parties) for at in places for part in shared if part.from_m <= at < part.to_m]
    assert [set(one.may_answer) for one in found] == along
    assert [one.answers for one in found] == [tuple(may) if len(may) == 1 else () for may in along]
    return along


@pytest.mark.parametrize("behind_m", [-2.0, -18.0, -40.0])
@pytest.mark.parametrize("listed", [1, -1])
@pytest.mark.parametrize("end", ["main", "not reached"])
def test_a_start_within_two_lines_that_name_two_parties_for_it_is_nobodys(behind_m, listed, end):
    """Past the outer one the run is told; the inner one it never crossed, so it began beyond it."""
    inner = line("right of way", (behind_m, 9.0), (behind_m, -9.0), kind="right_of_way")
    boundaries = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary("curb", "city", "county", decides=True),
    )
    both = {"owner", "city"}
    given = {"end": end, "lines": (inner, CURB), "boundaries": boundaries[::listed]}
    assert told(**given) == [both, both, {"county"}]
    # Nor does it matter whether it gets as far as the outer one.
    assert told(**given, length_m=16.0, places=(1.0, 14.0)) == [both, both]


def test_a_line_led_round_the_run_is_one_it_began_beyond_or_the_plan_is_wrong():
    round_it = line("right of way", (15.0, 2.0), (25.0, 2.0), (25.0, 9.0), kind="right_of_way")
    boundaries = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary("curb", "city", "county", decides=True),
    )
    along = told(lines=(round_it, CURB), boundaries=boundaries)
    assert along == [{"owner", "city"}, {"owner", "city"}, {"county"}]


@pytest.mark.parametrize(
    ("kind", "at_m", "inside", "expected"),
    [
        ("main", -2.0, "city", {"owner", "city"}),  # it began beyond the line, or that is wrong
        ("main", 40.0, "city", {"owner", "city"}),  # the main lies before a line it was to follow
        ("main", -2.0, "owner", {"owner"}),
        ("cleanout", -2.0, "city", {"owner", "city"}),
        ("cleanout", 40.0, "owner", {"owner"}),
    ],
)
def test_before_a_main_or_cleanout_a_line_never_crossed_has_its_say(kind, at_m, inside, expected):
    never = line("right of way", (at_m, 9.0), (at_m, -9.0), kind="right_of_way")
    boundaries = (
        Boundary("right of way", "owner", "city", decides=True),
        Boundary(kind, inside, "county", True, kind, 29.0 if kind == "cleanout" else None),
    )
    along = told(lines=(never,), boundaries=boundaries, places=(1.0, 14.0))
    assert along == [expected, expected]


@pytest.mark.parametrize("back_m", [-2.0, -9.0])
def test_lines_behind_the_start_that_agree_open_nothing(back_m):
    lines = tuple(
        line(name, (at, 9.0), (at, -9.0), kind="property_line")
        for name, at in (("back line", back_m), ("alley", back_m - 4.0))
    )
    boundaries = (
        Boundary("back line", "owner", "association", decides=True),
        Boundary("alley", "association", "county", decides=True),
        Boundary("curb", "owner", "city", decides=True),
    )
    assert told(lines=(*lines, CURB), boundaries=boundaries) == [{"owner"}, {"owner"}, {"city"}]


@pytest.mark.parametrize(
    ("beyond", "expected"),
    [
        ((Boundary("main", "owner", "county", True, "main"),), {"city", "owner"}),
        ((Boundary("main", "city", "county", True, "main"),), {"city"}),
        ((Boundary("cleanout", "owner", "county", True, "cleanout", 40.0),), {"city", "owner"}),
        ((Boundary("cleanout", "city", "county", True, "cleanout", 40.0),), {"city"}),
        # What lies between is the cleanout's to part.
        (
            (
                Boundary("cleanout", "city", "owner", True, "cleanout", 40.0),
                Boundary("main", "owner", "county", True, "main"),
            ),
            {"city"},
        ),
        (
            (
                Boundary("cleanout", "owner", "county", True, "cleanout", 40.0),
                Boundary("main", "county", "city", True, "main"),
            ),
            {"city", "owner"},
        ),
    ],
)
@pytest.mark.parametrize("first", ["line", "cleanout"])
def test_what_contradicts_beyond_the_run_s_end_leaves_its_last_part_open(beyond, expected, first):
    met = {
        "line": Boundary("right of way", "owner", "city", decides=True),
        "cleanout": Boundary("cleanout at the walk", "owner", "city", True, "cleanout", 10.0),
    }[first]
    along = told("not reached", lines=(ROW,), boundaries=(met, *beyond))
    assert along == [{"owner"}, expected, expected]


@pytest.mark.parametrize("inward", [False, True])
def test_beside_a_line_in_doubt_what_contradicts_on_its_other_side_counts_too(inward):
    """From either end of the run the same parties may answer at the same place."""
    lines = (ROW, line("curb", (20.0, 9.0), (20.0, -9.0), sd_m=0.2))
    parties = ("city", "owner") if inward else ("owner", "city")
    route = HandRoute(
        azimuths_deg=(270.0 if inward else 90.0,),
        start=(30.0 if inward else 0.0, 0.0),
        lines=lines,
        boundaries=tuple(Boundary(one.name, *parties, decides=True) for one in lines),
        findings=tuple(
            Finding(30.0 - at if inward else at, "crack") for at in (5.0, 9.9, 10.1, 19.9, 20.1)
        ),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    both = {"owner", "city"}
    assert [set(one.may_answer) for one in found] == [{"owner"}, both, both, both, both]
    assert [one.answers for one in found] == [("owner",), (), (), (), ()]


def test_a_stretch_that_begins_where_the_boundaries_contradict_is_left_open():
    route = HandRoute(
        lines=(ROW, CURB),
        boundaries=tuple(
            Boundary(one, "owner", "city", decides=True) for one in ("right of way", "curb")
        ),
        findings=(Finding(5.0, "crack", to_m=14.0), Finding(14.0, "crack", to_m=27.0)),
    ).build()
    crossings, _ = find_crossings(route)
    found = judge_findings(route, lay_stations(route, crossings), crossings)
    assert [(one.verdict, one.answers) for one in found] == [("across", ()), ("across", ())]
    assert all(one.contradicted for one in found)
