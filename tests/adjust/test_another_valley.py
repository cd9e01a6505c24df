"""A slip so gross that another line altogether fits less badly: it is named, no verdict is wrong.

All distances are exact but for the slip; the places where points stand are made up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import FOOT, straight_site, surveyed, three_tapes

from lateral_map import build_report
from lateral_map.adjust.diagnose import explain
from lateral_map.adjust.route import fit_route
from lateral_map.model.site import Bend, Finding, Locate, PlanLine, PlanPoint, TapeTie

# What was written of a tape read at so many metres.
SLIPS = {
    "in metres": lambda distance_m: distance_m * FOOT,
    "5 ft too long": lambda distance_m: distance_m + 5 * FOOT,
}


def taped_from(points, count):
    """Return what ties a place by exact tapes to the nearest of some points."""

    def tie(easting_m, northing_m):
        def away(point):
            return float(np.hypot(easting_m - point.easting_m, northing_m - point.northing_m))

        nearest = sorted(points, key=away)[: count(easting_m, northing_m)]
        return tuple(
            TapeTie(point.name, away(point), 0.03, f"tape{index}")
            for index, point in enumerate(nearest, 1)
        )

    return tie


def corners_on_one_side(beyond_m):
    """Return a house front beside the run: seen from it the run has a mirror image."""
    return (
        PlanPoint("near corner", -1.5, beyond_m, 0.03),
        PlanPoint("porch", 7.6, beyond_m + 0.2, 0.03),
        PlanPoint("far corner", 18.3, beyond_m + 0.3, 0.03),
    )


def points_round(bearing_deg):
    """Return two points on one side of a short run and one on the other."""
    return tuple(
        PlanPoint(name, reach * np.cos(at), reach * np.sin(at), 0.03)
        for name, reach, at in zip(
            ("post", "tree", "meter"),
            (4.9, 5.1, 5.9),
            np.radians(bearing_deg + np.array([80.0, 100.0, -120.0])),
            strict=True,
        )
    )


def with_slip(site, index, slip):
    """Return a site with the first tape of one locate written wrong."""
    locate = site.locates[index]
    tape = locate.ties[0]
    wrong = replace(tape, distance_m=SLIPS[slip](tape.distance_m))
    locates = [*site.locates]
    locates[index] = replace(locate, ties=(wrong, *locate.ties[1:]))
    return replace(site, locates=tuple(locates))


def long_run(beyond_m):
    points = corners_on_one_side(beyond_m)
    site = straight_site(
        length_m=24.0,
        locate_footages_m=(2.4, 7.7, 12.9, 18.3, 23.4),
        tie=taped_from(points, lambda easting_m, northing_m: 3),
        known_azimuth=False,
    )
    curb = PlanLine("curb", "curb", np.array([[14.0, 30.0], [14.0, -30.0]]), 0.15)
    findings = tuple(Finding(at, "crack") for at in (4.0, 9.0, 12.0, 16.5, 21.0))
    return replace(site, findings=findings, plan=replace(site.plan, lines=(curb,), points=points))


def short_run(bearing_deg):
    points = points_round(bearing_deg)
    site = straight_site(
        length_m=3.7,
        locate_footages_m=(1.6, 3.05),
        tie=taped_from(
            points, lambda easting_m, northing_m: 3 if np.hypot(easting_m, northing_m) < 2.0 else 2
        ),
        known_azimuth=False,
    )
    curb = PlanLine("curb", "curb", np.array([[2.3, 30.0], [2.3, -30.0]]), 0.15)
    findings = tuple(Finding(at, "crack") for at in (0.8, 1.5, 3.2, 3.6))
    return replace(site, findings=findings, plan=replace(site.plan, lines=(curb,), points=points))


# Each is a line, which locate's first tape is wrong, and how.
CASES = {
    **{f"front {far} m away": (long_run, far, 0, "in metres") for far in (3.6, 4.0, 4.4)},
    **{f"points {turn}": (short_run, turn, 1, "5 ft too long") for turn in (0, 210, 300, 330)},
}


@pytest.fixture(params=CASES)
def case(request):
    """Return a site with exact readings, and the same with its slip, and whose mark that is."""
    make, place, index, slip = CASES[request.param]
    site = make(place)
    return site, with_slip(site, index, slip), site.locates[index].mark


def test_no_verdict_is_firm_and_wrong(case):
    site, written, _ = case
    (line,) = site.plan.lines
    for result in build_report(written).findings:
        truly = "past" if result.finding.footage_m > line.vertices_m[0, 0] else "inside"
        assert result.verdict in (truly, "too close to call")


def test_the_tape_is_named_first(case):
    _, written, mark = case
    slip = explain(fit_route(written))[0].slip
    assert slip.id is not None
    assert (slip.id.kind, slip.id.of, slip.id.column) == ("tape", mark, "tape1")


def led_round(turns, spacing_m, tie):
    """Return a run of 30 m east and round bends (footage, turn), exactly located so far apart."""

    def place(footage_m):
        east = north = begun = 0.0
        heading = np.radians(90.0)
        for at, turn_deg in (*turns, (np.inf, 0.0)):
            leg = max(min(footage_m, at) - begun, 0.0)
            east, north = east + leg * np.sin(heading), north + leg * np.cos(heading)
            begun, heading = at, heading + np.radians(turn_deg)
        return east, north

    site = straight_site(bends=tuple(Bend(*one) for one in turns), known_azimuth=False)
    behind = site.transmitter.behind_lens_m
    locates = (
        Locate(f"{index}", float(at), ties=tie(*place(at - behind)))
        for index, at in enumerate(np.arange(2.0, 29.5, spacing_m))
    )
    return replace(site, locates=tuple(locates))


@pytest.mark.parametrize("tie", [surveyed, three_tapes])
@pytest.mark.parametrize("spacing_m", [1.5, 2.5, 4.0])
@pytest.mark.parametrize(
    ("turns", "wrong"),
    [
        (((15.0, 90.0),), 0),
        (((20.0, 90.0),), 0),
        (((10.0, -90.0), (16.0, 90.0)), 1),
        (((8.0, 90.0), (14.0, -90.0), (20.0, 90.0)), 0),
    ],
)
def test_a_bend_led_round_the_wrong_way_is_told_however_far_off_that_leads(
    turns, wrong, spacing_m, tie
):
    """No step from a line so bent leads back: it must be sought anew, which way it turns left open.

    A half turn is the same either way round.
    """
    site = led_round(turns, spacing_m, tie)
    bends = [*site.bends]
    bends[wrong] = replace(bends[wrong], turn_deg=-bends[wrong].turn_deg)
    told = explain(fit_route(replace(site, bends=tuple(bends))))[0]
    assert told.slip.slip == "bend turned the other way"
    assert told.slip.footage_m == turns[wrong][0]
    assert told.together == (told.slip,)


@pytest.mark.parametrize("tie", [surveyed, three_tapes])
def test_with_one_mark_beyond_a_bend_is_likelier_wrong_than_that_mark(tie):
    """A mark may lie anywhere; that it lies just where the other turn leads says which it is."""
    site = led_round(((25.0, 90.0),), 2.5, tie)
    turned = tuple(replace(one, turn_deg=-one.turn_deg) for one in site.bends)
    assert sum(one.footage_m > 25.2 for one in site.locates) == 1
    assert explain(fit_route(replace(site, bends=turned)))[0].slip.slip == (
        "bend turned the other way"
    )


def test_a_bend_told_from_the_wrong_way_round_needs_no_other_slip_beside_it():
    """Bends close together, one noted to the wrong side, the locates few between them."""
    turns = ((6.0, -22.5), (9.0, 90.0), (12.0, -45.0))
    site = led_round(turns, 3.0, three_tapes)
    for index in range(len(turns)):
        bends = [*site.bends]
        bends[index] = replace(bends[index], turn_deg=-bends[index].turn_deg)
        told = explain(fit_route(replace(site, bends=tuple(bends))))[0]
        assert told.slip.slip in ("bend turned the other way", "bend angle")
        assert told.slip.footage_m == turns[index][0]
        assert told.together == (told.slip,)
