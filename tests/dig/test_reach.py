"""Which stretches are proposed, and who has which part of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from analysis.builder import HandRoute, Sds, line
from dig.builder import FOOT
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.reach import (
    JOINED_WITHIN_M,
    SOUND_PIPE_M,
    calls_for_repair,
    propose_reaches,
)
from lateral_map.analysis.responsibility import share_responsibility
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.results import PipeStretch
from lateral_map.model.site import Bend, Boundary, Finding, Reach
from lateral_map.words.excavator import reach_reason

CURB = line("curb", (15.0, 40.0), (15.0, -40.0), sd_m=0.3)
DECIDES = (Boundary("curb", "owner", "city", decides=True),)


def reaches(findings=(), pipes=(), **fields):
    site_fields = {"reaches": fields.pop("given", ()), "bends": fields.pop("bends", ())}
    route = HandRoute(findings=tuple(findings), site_fields=site_fields, **fields).build()
    stations = lay_stations(route)
    crossings, _ = find_crossings(route)
    parties = share_responsibility(route, crossings)
    return propose_reaches(route, judge_findings(route, stations, crossings), pipes, parties)


@pytest.mark.parametrize(
    ("finding", "severity", "wanted"),
    [
        ("crack", "severe", True),
        ("crack", "moderate", True),
        ("crack", "minor", False),
        ("broken pipe", None, True),
        ("roots", "moderate", True),
        ("offset joint", "minor", False),
        ("standing water", "moderate", True),
        ("standing water", None, False),
        ("standing water", "minor", False),
        ("grease", "severe", False),
        ("tap", None, False),
        ("transition", None, False),
        ("other", "severe", True),
        ("other", "moderate", False),
        ("crack at the tap", "severe", True),
        ("grease and roots", "moderate", True),
        ("roots in standing water", None, True),
        ("manhole", None, False),
        ("steel band", None, False),
    ],
)
def test_what_calls_for_repair(finding, severity, wanted):
    assert calls_for_repair(Finding(1.0, finding, severity=severity)) is wanted


def test_a_single_break_gets_sound_pipe_either_side():
    (found,) = reaches([Finding(10.0, "broken pipe", severity="severe")])
    assert found.proposed
    assert found.begin.footage_m == pytest.approx(10.0 - SOUND_PIPE_M)
    assert found.end.footage_m == pytest.approx(10.0 + SOUND_PIPE_M)
    assert [one.finding.footage_m for one in found.wanted] == [10.0]
    assert reach_reason(found) == "for broken pipe (severe)"


def test_near_neighbours_are_joined_and_far_ones_are_not():
    gap = 2 * SOUND_PIPE_M + JOINED_WITHIN_M
    near = [
        Finding(5.0, "crack", severity="severe"),
        Finding(4.9 + gap, "crack", severity="severe"),
    ]
    assert len(reaches(near)) == 1
    far = [Finding(5.0, "crack", severity="severe"), Finding(5.1 + gap, "crack", severity="severe")]
    assert len(reaches(far)) == 2


def test_the_sites_own_reach_comes_first():
    found = reaches(
        [Finding(3.0, "broken pipe", severity="severe")], given=(Reach(12.0, 18.0, "bad stretch"),)
    )
    assert [(one.name, one.proposed) for one in found] == [("bad stretch", False)]
    assert found[0].findings == ()


def test_nothing_wrong_proposes_nothing():
    assert reaches([Finding(10.0, "grease", severity="severe")]) == ()


def test_what_lies_within():
    pipes = (
        PipeStretch(0.0, 12.0, "clay", 0.15, 0.19, ""),
        PipeStretch(12.0, 30.0, "pvc", 0.15, 0.17, ""),
    )
    seen = [
        Finding(10.0, "tap"),
        Finding(11.0, "standing water", 13.0, "moderate"),
        Finding(25.0, "tap"),
    ]
    (found,) = reaches(
        seen, pipes, given=(Reach(9.0, 14.0),), bends=(Bend(9.5, 45.0), Bend(20.0, 45.0))
    )
    assert found.transitions_m == (12.0,)
    assert [bend.footage_m for bend in found.bends] == [9.5]
    assert [tap.footage_m for tap in found.taps] == [10.0]
    assert [water.footage_m for water in found.standing_water] == [11.0]
    assert found.length_m == pytest.approx(5.0)


def test_ends_carry_the_routes_and_the_readings_uncertainty():
    (found,) = reaches(given=(Reach(9.0, 14.0),), sds=Sds(start=0.3, scale=0.01), sd_reading_m=0.1)
    assert found.begin.across_sd_m == pytest.approx(0.3)
    assert found.begin.along_sd_m == pytest.approx(np.sqrt(0.3**2 + 0.09**2 + 0.1**2))
    assert found.end.sd_footage_m == pytest.approx(0.1)
    assert found.sd_length_m == pytest.approx(np.sqrt(2) * 0.1)


def test_a_reach_across_the_boundary_is_split_there():
    (found,) = reaches(given=(Reach(9.0, 21.0),), lines=(CURB,), boundaries=DECIDES)
    owner, city = found.parts
    assert (owner.party, city.party) == ("owner", "city")
    assert owner.to_m == pytest.approx(15.0)
    assert city.from_m == pytest.approx(15.0)
    assert owner.sd_to_m == pytest.approx(0.3, rel=1e-3)
    assert owner.probability == pytest.approx(1.0)
    assert city.probability == pytest.approx(1.0)


@pytest.mark.parametrize("to_m", [14.6, 14.9, 15.2])
def test_a_reach_that_ends_near_the_boundary_gives_odds(to_m):
    (found,) = reaches(
        given=(Reach(9.0, to_m),), lines=(CURB,), boundaries=DECIDES, sd_reading_m=0.05
    )
    city = next(part for part in found.parts if part.party == "city")
    odds = norm.cdf((to_m - 15.0) / np.hypot(0.3, 0.05))
    assert city.probability == pytest.approx(odds, abs=1e-4)


def test_a_party_with_no_chance_is_left_out():
    (found,) = reaches(given=(Reach(2.0, 6.0),), lines=(CURB,), boundaries=DECIDES)
    assert [part.party for part in found.parts] == ["owner"]


footages = st.lists(st.floats(0.5, 29.5), min_size=1, max_size=6)


@given(footages)
def test_every_break_lies_in_exactly_one_reach(places):
    found = reaches([Finding(at, "broken pipe", severity="severe") for at in sorted(places)])
    for at in places:
        holding = [one for one in found if one.begin.footage_m <= at <= one.end.footage_m]
        assert len(holding) == 1
    for before, after in itertools.pairwise(found):
        assert after.begin.footage_m - before.end.footage_m > JOINED_WITHIN_M
    assert all(0.0 <= one.begin.footage_m < one.end.footage_m <= 30.0 for one in found)


@given(st.floats(0.0, 15.0 * FOOT))
def test_a_reach_never_leaves_the_run(at):
    (found,) = reaches([Finding(at, "hole", severity="severe")])
    assert found.begin.footage_m >= 0.0
