"""A published point fixed by three distances, carried on to the crossing of a line.

The point is G. Strang and K. Borre's, as F. Krumm prints it in Geodetic Network Adjustment
Examples, University of Stuttgart, Rev 3.5 (2020), read through the adjusted values that GNU Gama
2.24 ships with its tests (StrangBorre_Distance_fix): stations, distances, the point and its sd are
theirs. No published example leads on from tapes to where a pipe crosses a line: the pipe from one
of the stations straight to the point, and the line across it, are ours, and the crossing follows
from the printed point by similar triangles.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares
from truth.simulate import default_accuracy

from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.sides import judge_findings
from lateral_map.frame import local_frame
from lateral_map.model.results import Report
from lateral_map.model.site import (
    Accuracy,
    Boundary,
    Counter,
    Finding,
    Locate,
    Plan,
    PlanLine,
    PlanPoint,
    Run,
    Site,
    Start,
    TapeTie,
    Transmitter,
)
from lateral_map.report import build_report

STATIONS = {"1": (170.71, 270.71), "2": (100.0, 100.0), "3": (241.42, 100.0)}
DISTANCES = {"1": 100.01, "2": 100.02, "3": 100.03}
SD = 0.01
PRINTED_POINT = np.array([170.7029, 170.7234])
PRINTED_SD, PRINTED_S0 = np.array([0.03303, 0.02335]), 0.033029
LINE_EASTING = 150.0
FOOTAGE = 100.0


@pytest.fixture(scope="module")
def report() -> Report:
    """Run a straight pipe from station 2; the counter's scale is free, so the tapes alone tell."""
    usual, exact = default_accuracy(), 1e-6
    accuracy = Accuracy(
        mark_m=1e-5,
        mark_fraction=0.0,
        wander_deg=exact,
        fall=0.0,
        sd_fall=exact,
        fall_wander_deg=exact,
        tape_m=usual.tape_m,
    )
    tapes = tuple(
        TapeTie(name, distance, SD, f"tape{name}") for name, distance in DISTANCES.items()
    )
    site = Site(
        name="published point",
        frame=local_frame("m"),
        unit="m",
        start=Start(*STATIONS["2"], sd_m=exact, depth_m=1.0),
        accuracy=accuracy,
        run=Run(end_m=FOOTAGE + 1.0),
        counter=Counter(sd_zero_m=exact, sd_scale=1.0, sd_reading_m=exact),
        transmitter=Transmitter(behind_lens_m=0.0),
        boundaries=(Boundary("line", "owner", "city", decides=True),),
        locates=(Locate("P", FOOTAGE, ties=tapes),),
        findings=(Finding(FOOTAGE, "crack"),),
        plan=Plan(
            lines=(
                PlanLine(
                    "line", "curb", np.array([[LINE_EASTING, 0.0], [LINE_EASTING, 300.0]]), exact
                ),
            ),
            points=tuple(PlanPoint(name, *place, 0.0) for name, place in STATIONS.items()),
        ),
    )
    return build_report(site)


def test_the_point_is_where_it_is_printed(report):
    place = report.route.positions(FOOTAGE)[0, :2]
    assert place == pytest.approx(PRINTED_POINT, abs=6e-5)
    # Printed with the distances' sd judged from their own misfit, s0; ours takes it as stated.
    sd = np.sqrt(np.diag(report.route.position_covariance(FOOTAGE)[0])[:2])
    assert sd == pytest.approx(PRINTED_SD * SD / PRINTED_S0, rel=2e-3)


def test_the_crossing_follows_from_the_printed_point(report):
    (crossing,) = report.crossings
    start = np.array(STATIONS["2"])
    share = (LINE_EASTING - start[0]) / (PRINTED_POINT[0] - start[0])
    assert crossing.footage_m == pytest.approx(share * FOOTAGE, abs=2e-4)
    northing = start[1] + share * (PRINTED_POINT[1] - start[1])
    assert (crossing.easting_m, crossing.northing_m) == pytest.approx(
        (LINE_EASTING, northing), abs=2e-4
    )
    # Where it crosses the pipe is as unsure across the line as the point is, by its share.
    sd_past = share * PRINTED_SD[0] * SD / PRINTED_S0
    per_metre = (PRINTED_POINT[0] - start[0]) / FOOTAGE
    (plain,), _ = find_crossings(report.route)
    assert plain.sd_footage_m == pytest.approx(sd_past / per_metre, rel=2e-3)
    assert crossing.sd_footage_m >= plain.sd_footage_m


def test_the_point_is_past_the_line_by_its_printed_easting(report):
    # By the readings' stated accuracy, before what noise beyond it adds.
    (plain,) = judge_findings(report.route, report.stations, report.crossings)
    (side,) = plain.sides
    assert side.past_m == pytest.approx(PRINTED_POINT[0] - LINE_EASTING, abs=6e-5)
    assert side.sd_past_m == pytest.approx(PRINTED_SD[0] * SD / PRINTED_S0, rel=2e-3)
    assert report.findings[0].sides[0].sd_past_m >= side.sd_past_m
    assert report.findings[0].verdict == "past"


def test_scipy_finds_the_same_point_and_crossing(report):
    stations, read = np.array(list(STATIONS.values())), np.array(list(DISTANCES.values()))
    found = least_squares(
        lambda place: (np.hypot(*(place - stations).T) - read) / SD, (170.0, 170.0), xtol=1e-15
    )
    assert report.route.positions(FOOTAGE)[0, :2] == pytest.approx(found.x, abs=1e-6)
    start = np.array(STATIONS["2"])
    share = (LINE_EASTING - start[0]) / (found.x[0] - start[0])
    assert report.crossings[0].footage_m == pytest.approx(share * FOOTAGE, abs=1e-5)
