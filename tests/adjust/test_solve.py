"""Steps and covariance by fewer equations than unknowns: those of the whole normal matrix."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from truth.jobs import draw_job
from truth.simulate import simulate
from truth.sketching import make_job, report_of

from lateral_map.adjust.route import solve_site
from lateral_map.adjust.solve import LeastSquares, Linear, Normal, gram_matrix, solve_least_squares
from lateral_map.adjust.ties import split_unknowns
from lateral_map.model.site import Site


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.booleans(), st.sampled_from([0.0, 1e-3, 0.5]))
def test_what_is_eliminated_first_comes_out_as_in_one_solve(seed, is_job, damping):
    site = draw_job(seed)[0] if is_job else simulate(seed)[0]
    system, solution, _ = solve_site(site)
    rest, split = solution.design, split_unknowns(system.ties, system.layout)
    linear = system.rows.linear(split)
    fixed = gram_matrix(linear.design)
    assert linear.normal == pytest.approx(fixed, abs=1e-9 * np.abs(fixed).max())
    normal, full = Normal(linear, rest), fixed + gram_matrix(rest)
    assert len(normal.eliminate()[0]) == system.layout.size - np.count_nonzero(split.own >= 0)
    rng = np.random.default_rng(seed)
    covariance = np.linalg.inv(full)
    sd = np.sqrt(np.diag(covariance))
    gradient = full @ (sd * rng.normal(size=len(sd)))
    damped = full + damping * np.diag(np.diag(full))
    step = normal.solve(gradient, damping)
    assert step / sd == pytest.approx(np.linalg.solve(damped, gradient) / sd, abs=1e-6)
    assert normal.diagonal == pytest.approx(np.diag(full))
    scale = np.outer(sd, sd)
    assert normal.inverse() / scale == pytest.approx(covariance / scale, abs=1e-6)
    vectors = full @ (sd[:, None] * rng.normal(size=(len(sd), 3)))
    spread = normal.apply_inverse(vectors) / sd[:, None]
    assert spread == pytest.approx(covariance @ vectors / sd[:, None], abs=1e-6)
    assert normal.log_determinant == pytest.approx(np.linalg.slogdet(full)[1])
    kept = np.arange(len(rest)) % 3 > 0
    fewer = fixed + gram_matrix(rest[kept])
    without = normal.without(np.flatnonzero(~kept))
    assert without.diagonal == pytest.approx(np.diag(fewer))
    assert without.log_determinant == pytest.approx(np.linalg.slogdet(fewer)[1])


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_a_step_by_the_ties_is_that_of_the_normal_matrix(seed, is_job):
    check_step(draw_job(seed)[0] if is_job else simulate(seed)[0], seed)


@pytest.mark.parametrize("seed", range(3))
def test_so_it_is_on_a_sketch_from_a_point_of_it(seed, tmp_path):
    """The points' errors are correlated, and the start follows its point."""
    site = report_of(make_job(seed), tmp_path).route.site
    assert site.start.point
    check_step(site, seed)


def check_step(site: Site, seed: int) -> None:
    """Hold the step from somewhere near the best to that of the whole normal matrix."""
    system, solution, _ = solve_site(site)
    linear, observed = system.rows.linear(None), system.rows.observed
    design, root = linear.design, linear.root
    assert root is not None
    sd = np.sqrt(np.diag(solution.normal.inverse()))
    away = sd * np.random.default_rng(seed).normal(size=len(sd))
    unknowns = solution.unknowns + away
    residuals, rest = system.evaluate(unknowns)
    gradient = design.T @ (observed - design @ unknowns) + rest.T @ residuals
    expected = root.unknowns(observed)
    assert design @ expected == pytest.approx(observed, abs=1e-6)
    assert root.seen(rest) @ design == pytest.approx(rest, abs=1e-7 * np.abs(rest).max())
    ours = LeastSquares(linear, observed, system.evaluate)
    step = ours.at(unknowns).step()
    wanted = np.linalg.solve(design.T @ design + rest.T @ rest, gradient)
    assert step / sd == pytest.approx(wanted / sd, abs=1e-5)
    again = solve_least_squares(ours, unknowns)
    plain = solve_least_squares(replace(ours, linear=Linear.of(design)), unknowns)
    assert again.unknowns / sd == pytest.approx(plain.unknowns / sd, abs=1e-5)
    assert again.steps <= plain.steps + 1
