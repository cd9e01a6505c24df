"""The same observations given to other solvers: scipy's, and derivatives by differences."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import approx_fprime, least_squares
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route, solve_site

SEEDS = st.integers(0, 10_000)


@pytest.mark.parametrize("seed", range(12))
def test_least_squares_of_scipy_finds_the_same_unknowns(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    system, _, _ = solve_site(site)
    design, observed = system.linear.design, system.rows.observed

    def residuals(unknowns):
        return np.concatenate([observed - design @ unknowns, system.evaluate(unknowns)[0]])

    found = least_squares(
        residuals, route.unknowns + 1e-3, method="trf", x_scale="jac",
        ftol=1e-15, xtol=1e-15, gtol=1e-15, max_nfev=200,
    )  # fmt: skip
    assert found.x == pytest.approx(route.unknowns, abs=1e-6)
    normal = found.jac.T @ found.jac
    assert np.linalg.inv(normal) == pytest.approx(route.covariance, rel=1e-4, abs=1e-8)


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.integers(0, 2**31))
def test_design_of_the_ties_by_differences(seed, shake):
    site, _ = simulate(seed)
    route = adjust_route(site)
    system, _, _ = solve_site(site)
    here = route.unknowns + np.random.default_rng(shake).normal(0.0, 0.02, len(route.unknowns))
    _, design = system.evaluate(here)
    numeric = -approx_fprime(here, lambda x: system.evaluate(x)[0], 1e-7)
    assert design == pytest.approx(numeric, rel=1e-4, abs=2e-4)


@settings(max_examples=12, deadline=None)
@given(SEEDS)
def test_derivatives_of_position_and_depth_by_differences(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    footage = np.linspace(0.0, site.run.end_m + 1.0, 7)
    position, jacobian = route.position_jacobian(footage)
    assert position == pytest.approx(route.positions(footage))

    def places(unknowns):
        return route.chain.positions(unknowns, route.layout, footage).ravel()

    numeric = approx_fprime(route.unknowns, places, 1e-7).reshape(jacobian.shape)
    assert jacobian == pytest.approx(numeric, rel=1e-5, abs=1e-5)


def test_slow_walk_along_the_pieces():
    """The matrix of lengths against a plain loop that walks piece by piece."""
    site, _ = simulate(3)
    route = adjust_route(site)
    nodes = route.chain.nodes_m
    azimuth, pitch = route.unknowns[route.layout.azimuth], route.unknowns[route.layout.pitch]
    scale, offset = 1.0 + route.unknowns[3], route.unknowns[4]
    for footage in (0.7, 5.3, 11.9, site.run.end_m):
        place = list(route.unknowns[:3])
        for index in range(len(azimuth)):
            length = min(footage, nodes[index + 1]) - nodes[index]
            if length <= 0.0:
                break
            length -= offset if index == 0 else 0.0
            place[0] += scale * length * np.cos(pitch[index]) * np.sin(azimuth[index])
            place[1] += scale * length * np.cos(pitch[index]) * np.cos(azimuth[index])
            place[2] -= scale * length * np.sin(pitch[index])
        assert route.positions(footage)[0] == pytest.approx(place, abs=1e-12)
