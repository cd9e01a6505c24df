"""Answers are as sure as the fit lets them be: variance components of the whole and the counter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_t, norm, t
from truth.slips import plant

from lateral_map.adjust.route import adjust_route
from lateral_map.model.chance import TWO_SIDED_95, less_sure
from lateral_map.model.noise import chance_of_tails, student_95, wider_by_fit, wider_by_tails
from lateral_map.model.past import measure_past
from lateral_map.model.route import Doubt
from lateral_map.report import build_report


@given(st.floats(8.0, 500.0))
def test_students_t_agrees_with_scipy(freedom):
    assert student_95(freedom) == pytest.approx(t.ppf(0.975, freedom), abs=1e-3)


def test_a_fit_widens_as_the_variance_it_tells_and_never_narrows():
    assert wider_by_fit(0.0, 0.0) == pytest.approx(t.ppf(0.975, 10) / TWO_SIDED_95, abs=1e-3)
    assert wider_by_fit(5.0, 40.0) == 1.0
    # v = (2 + 78) / (2 + 18) = 4
    assert wider_by_fit(78.0, 18.0) == pytest.approx(
        2.0 * t.ppf(0.975, 20) / TWO_SIDED_95, abs=1e-3
    )


def test_tails_are_told_by_likelihood_of_readings_that_others_check():
    """It is Bayes' rule over scipy's own densities, one in five beforehand."""
    rng = np.random.default_rng(4)
    alone, pairs = rng.standard_t(3, 12), rng.standard_t(3, (6, 2))
    tails = np.sum(t.logpdf(alone, 3))
    tails += np.sum(multivariate_t.logpdf(pairs, shape=np.eye(2), df=3))
    normal = np.sum(norm.logpdf(alone)) + np.sum(norm.logpdf(pairs))
    missed = np.concatenate([alone**2, np.square(pairs).sum(axis=1)])
    size = np.repeat([1.0, 2.0], [12, 6])
    chance = chance_of_tails(missed, np.ones(18), size)
    assert chance == pytest.approx(1.0 / (1.0 + 4.0 * np.exp(normal - tails)))
    assert 0.02 < chance < 0.98
    # What nothing checks tells nothing; of half an error seen the misfit is half as large.
    assert chance_of_tails(missed, np.full(18, 0.04), size) == pytest.approx(0.2)
    assert chance_of_tails(missed / 2.0, np.full(18, 0.5), size) == pytest.approx(chance)


def test_one_large_miss_among_small_ones_tells_of_tails_where_as_much_in_all_does_not():
    checked, size = np.full(16, 0.8), np.ones(16)
    even = np.full(16, 1.2)
    uneven = np.full(16, 0.4)
    uneven[7] = even.sum() - 0.4 * 15
    assert uneven.sum() == even.sum()
    assert chance_of_tails(even, checked, size) < 0.2 < 0.5 < chance_of_tails(uneven, checked, size)


def test_tails_widen_to_their_own_range_and_never_narrow():
    assert wider_by_tails(0.0, 30.0, 0.0) == 1.0
    assert wider_by_tails(0.0, 30.0, 1.0) == pytest.approx(t.ppf(0.975, 3) / TWO_SIDED_95)
    # v = (2 + 78) / (2 + 18) = 4, more than tails about the stated sd tell
    assert wider_by_tails(78.0, 18.0, 0.7) == pytest.approx(2.0)


def _noisier(route, kinds, factor):
    """Return a route with the residuals of these kinds of reading ``factor`` times as large."""
    residuals = route.residuals.copy()
    for one in route.observations:
        if one.id.kind in kinds:
            residuals[one.rows] *= factor
    return replace(route, residuals=residuals)


def test_depths_say_nothing_of_the_plan_nor_ties_of_how_straight_the_pipe_is():
    route = adjust_route(plant("clean jobs", 3).site)
    noise = route.noise
    deep = _noisier(route, ("depth", "start depth"), 9.0).noise
    aside = _noisier(route, ("tape", "position", "offset", "mark"), 4.0).noise
    bent = _noisier(route, ("turn",), 4.0).noise
    assert (deep.readings, deep.pipe) == pytest.approx((noise.readings, noise.pipe))
    assert aside.readings > 1.5 * noise.readings
    assert aside.pipe == pytest.approx(noise.pipe)
    assert bent.pipe > 1.2 * noise.pipe
    assert bent.readings == pytest.approx(noise.readings)


def test_of_an_answers_variance_each_equation_counts_as_its_own_kind():
    """Told variance is g C AᵀVA C gᵀ, V how much larger each equation's variance is than stated."""
    route = adjust_route(plant("clean jobs", 2).site)
    noisy = replace(route, residuals=3.0 * route.residuals)
    noise = noisy.noise
    assert min(noise.readings, noise.pipe) > 1.5
    columns = np.zeros(route.layout.size, bool)
    columns[route.layout.azimuth] = True
    straight = np.array([not one[~columns].any() for one in route.design])
    larger = np.where(straight, noise.pipe, noise.readings) ** 2
    gradient = route.position_jacobian([10.0])[1][0, :2]
    moved = gradient @ route.covariance @ route.design.T
    expected = (moved * larger) @ moved.T
    expected += noise.readings**2 * np.outer(*2 * [gradient @ noise.scale_column])
    np.testing.assert_allclose(noisy.plan_covariance([10.0])[0], expected, rtol=1e-6)
    one = gradient[0]
    sd = np.sqrt(one @ route.covariance @ one)
    assert noise.widen(sd, one) == pytest.approx(np.sqrt(expected[0, 0]))


def test_what_else_the_notes_may_mean_tells_the_noise_and_where_the_line_may_lie():
    planted = plant("tape in metres", 9002)
    route, other = adjust_route(planted.site), adjust_route(planted.clean_site)
    doubted = replace(route, doubts=(Doubt(0.9, other, float),))
    own, theirs = route.noise, other.noise
    assert own.readings > 2.0 * theirs.readings
    expected = np.sqrt(0.1 * own.readings**2 + 0.9 * theirs.readings**2)
    assert doubted.noise.readings == pytest.approx(expected)
    gap = (other.positions([15.0]) - route.positions([15.0]))[0, :2]
    covariance = 0.1 * route.plan_covariance([15.0])[0] + 0.9 * other.plan_covariance([15.0])[0]
    covariance += 0.9 * np.outer(gap, gap)
    assert np.hypot(*gap) > 0.1
    np.testing.assert_allclose(doubted.plan_covariance([15.0])[0], covariance)


def test_every_answer_in_plan_is_as_sure_as_the_crossing():
    """Corridor, ellipse, place and crossing tell one variance, that of the fit."""
    route = adjust_route(plant("Student t errors", 5).site)
    assert route.noise.readings > 1.1
    report = build_report(route.site, diagnose=False)
    crossing = next(one for one in report.crossings if one.kind == "curb")
    past = measure_past(route, crossing.line, crossing.footage_m)
    at = report.stations.index_of(crossing.footage_m)
    shift = route.layout.line_column(crossing.line)
    normal, place = past.normal[0], past.gradient[0].copy()
    place[shift] = 0.0
    covariance = route.told_covariance
    heading = np.radians(report.stations.heading_deg[at])
    right = np.array([np.cos(heading), -np.sin(heading)])
    plan = route.plan_covariance([crossing.footage_m])[0]
    across = report.stations.across_sd_m[at]
    assert across == pytest.approx(np.sqrt(right @ plan @ right), abs=1e-7)
    assert normal @ plan @ normal == pytest.approx(place @ covariance @ place)
    assert crossing.sd_footage_m == pytest.approx(
        np.sqrt(past.gradient[0] @ covariance @ past.gradient[0]) / abs(past.rate[0])
    )


def test_a_counter_off_by_more_than_stated_is_as_one_known_less_well():
    """The scale's column is what the mixture of the stated and the loosened prior would give."""
    planted = plant("counter scale 3 %", 5)
    site = planted.site
    route = adjust_route(site)
    at, stated = route.layout.scale, site.counter.sd_scale
    found = route.unknowns[at]
    checked = 1.0 - route.covariance[at, at] / stated**2
    looser = (0.5 + (found / stated) ** 2) / (0.5 + checked)
    assert looser > 1.5
    loosened = replace(site, counter=replace(site.counter, sd_scale=stated * np.sqrt(looser)))
    again = adjust_route(loosened)
    gradient = np.random.default_rng(1).normal(size=(5, route.layout.size))
    for one in gradient:
        own = one @ route.covariance @ one
        shift = one @ (again.unknowns - route.unknowns)
        expected = one @ again.covariance @ one + shift**2 - own
        added = (one @ route.noise.scale_column) ** 2
        # The line is not quite linear in the scale.
        assert added == pytest.approx(expected, rel=0.1, abs=0.02 * own)


@pytest.mark.parametrize(
    ("before", "wider", "after"),
    [(0.5, 3.0, 0.5), (0.97725, 2.0, 0.84134), (0.02275, 2.0, 0.15866), (0.0, 2.0, 0.0)],
)
def test_a_probability_is_less_sure_where_its_sd_is_wider(before, wider, after):
    assert less_sure(before, wider) == pytest.approx(after, abs=1e-5)
