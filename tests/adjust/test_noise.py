"""Answers are as sure as the fit lets them be: variance components of the whole and the counter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t
from truth.slips import plant

from lateral_map.adjust.noise import measure_noise, student_95
from lateral_map.adjust.route import adjust_route
from lateral_map.model.chance import TWO_SIDED_95, less_sure


@given(st.floats(8.0, 500.0))
def test_students_t_agrees_with_scipy(freedom):
    assert student_95(freedom) == pytest.approx(t.ppf(0.975, freedom), abs=1e-3)


def test_a_fit_as_good_as_stated_widens_by_students_t_alone():
    route = adjust_route(straight_site(locate_footages_m=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0)))
    assert route.chi_square < route.degrees_of_freedom
    noise = measure_noise(route)
    assert 1.01 < noise.factor < student_95(10) / TWO_SIDED_95
    np.testing.assert_allclose(noise.scale_column, 0.0, atol=1e-9)


def _noisier(route, kinds, factor):
    """Return a route with the residuals of these kinds of reading ``factor`` times as large."""
    residuals = route.residuals.copy()
    for one in route.observations:
        if one.id.kind in kinds:
            residuals[one.rows] *= factor
    return replace(route, residuals=residuals)


def test_depths_that_misfit_say_nothing_of_the_plan():
    route = adjust_route(plant("clean jobs", 3).site)
    factor = measure_noise(route).factor
    deep = measure_noise(_noisier(route, ("depth", "start depth"), 4.0))
    aside = measure_noise(_noisier(route, ("tape", "position", "offset", "mark"), 4.0))
    assert deep.factor == pytest.approx(factor)
    assert aside.factor > 1.5 * factor


def test_readings_noisier_than_stated_widen_answers_as_the_components_say():
    for seed in range(4):
        route = adjust_route(plant("clean jobs", seed).site)
        noisy = replace(route, residuals=3.0 * route.residuals)
        # Of so many readings what is stated beforehand weighs little.
        assert measure_noise(noisy).factor == pytest.approx(
            3.0 * np.sqrt(route.chi_square / route.degrees_of_freedom), rel=0.3
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
        added = (one @ measure_noise(route).scale_column) ** 2
        # The line is not quite linear in the scale.
        assert added == pytest.approx(expected, rel=0.1, abs=0.02 * own)


@pytest.mark.parametrize(
    ("before", "wider", "after"),
    [(0.5, 3.0, 0.5), (0.97725, 2.0, 0.84134), (0.02275, 2.0, 0.15866), (0.0, 2.0, 0.0)],
)
def test_a_probability_is_less_sure_where_its_sd_is_wider(before, wider, after):
    assert less_sure(before, wider) == pytest.approx(after, abs=1e-5)
