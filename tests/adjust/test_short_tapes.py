"""A mark taped from close by lies on a ring so small that its curvature matters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from scipy.optimize import least_squares

from lateral_map.adjust import route as route_module
from lateral_map.adjust.route import adjust_route, solve_site
from lateral_map.adjust.screening import check_readings
from lateral_map.adjust.solve import LeastSquares, Linear, solve_least_squares
from lateral_map.model.identity import ReadingId
from lateral_map.model.site import PlanPoint, PositionTie, Site, TapeTie
from lateral_map.words.notices import route_notices

BESIDE = PlanPoint("valve", 15.1, 0.3, 0.04)


def tied(*ties: TapeTie | PositionTie) -> Site:
    """Return a straight run whose one mark has these ties, and the point beside it."""
    site = straight_site(locate_footages_m=(15.0,), tie=surveyed)
    plan = replace(site.plan, points=(*site.plan.points, BESIDE))
    return replace(site, plan=plan, locates=(replace(site.locates[0], ties=ties),))


@pytest.mark.parametrize("length_m", [0.0, 0.05, 0.15])
def test_a_short_tape_says_that_the_mark_lies_at_the_point(length_m):
    # A mark anywhere on a ring of radius L has the variance L²/2 along each axis.
    sd = np.sqrt(0.03**2 + BESIDE.sd_m**2 + length_m**2 / 2.0)
    taped = adjust_route(tied(TapeTie("valve", length_m, 0.03)))
    placed = adjust_route(tied(PositionTie(BESIDE.easting_m, BESIDE.northing_m, sd, "xy")))
    at = [5.0, 15.0, 30.0]
    assert taped.positions(at) == pytest.approx(placed.positions(at), abs=1e-7)
    assert taped.position_covariance(at) == pytest.approx(placed.position_covariance(at), abs=1e-7)
    assert taped.iterations < 20
    names = [check.id for check in check_readings(taped)]
    assert names.count(ReadingId("tape", "1", "tape1")) == 1


def test_a_longer_tape_is_a_distance():
    route = adjust_route(tied(TapeTie("valve", 0.2, 0.03)))
    (mark,) = route.site.locates
    place = route.positions(mark.footage_m - 0.1524)[0, :2]
    offset = route.unknowns[route.layout.mark]
    shift = route.unknowns[route.layout.point]
    away = place + offset - shift - [BESIDE.easting_m, BESIDE.northing_m]
    assert np.hypot(*away) == pytest.approx(0.2, abs=0.05)


@pytest.mark.parametrize("radius_m", [0.2, 0.5, 2.0])
@pytest.mark.parametrize("seed", range(4))
def test_a_small_ring_settles_where_scipy_settles(radius_m, seed):
    """A place known to 0.3 m on each axis, and taped from one point: scipy's minimum is ours."""
    rng = np.random.default_rng(seed)
    guess = rng.normal(0.0, 0.4, 2)

    def ring(place):
        return np.array([(radius_m - np.hypot(*place)) / 0.02])

    def evaluate(place):
        return ring(place), (place / np.hypot(*place) / 0.02)[None]

    design = np.eye(2) / 0.3
    found = solve_least_squares(LeastSquares(Linear.of(design), design @ guess, evaluate), guess)
    expected = least_squares(
        lambda place: np.concatenate([design @ (place - guess), ring(place)]), guess,
        xtol=1e-15, ftol=1e-15, gtol=1e-15,
    )  # fmt: skip
    assert found.settled
    assert found.unknowns == pytest.approx(expected.x, abs=1e-6)


def test_a_route_that_did_not_settle_says_so(monkeypatch):
    site = straight_site(locate_footages_m=(10.0, 20.0))
    assert not any("provisional" in notice for notice in route_notices(adjust_route(site)))
    _, solution, _ = solve_site(site)
    cut_short = replace(solution, settled=False)
    monkeypatch.setattr(route_module, "solve_least_squares", lambda *_: cut_short)
    assert any("provisional" in notice for notice in route_notices(adjust_route(site)))


def test_too_few_steps_are_not_settled():
    design, start = np.eye(2) / 10.0, np.array([5.0, 0.1])

    def evaluate(place):
        return np.array([(1.0 - np.hypot(*place)) / 0.01]), (place / np.hypot(*place) / 0.01)[None]

    hasty = solve_least_squares(
        LeastSquares(Linear.of(design), design @ [-4.0, 0.0], evaluate), start, most_steps=1
    )
    assert not hasty.settled
