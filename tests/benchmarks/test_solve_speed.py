"""How long the adjustment takes. Run with ``poe benchmarks``; nothing here is asserted of time."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.sizes import line_of_nodes
from scipy.optimize import least_squares

from lateral_map.adjust.chain import lay_chain, turns_at_nodes
from lateral_map.adjust.route import adjust_route, solve_site
from lateral_map.adjust.solve import solve_least_squares
from lateral_map.adjust.starts import first_guess
from lateral_map.report import build_report

pytestmark = pytest.mark.benchmark


@pytest.fixture(scope="module")
def system():
    site = line_of_nodes(60)
    formed, _, _ = solve_site(site)
    guess = first_guess(
        site, formed.layout, turns_at_nodes(site, lay_chain(site)), np.radians(90.0)
    )
    return formed, guess


def test_solve_with_covariance_60_nodes(benchmark, system):
    formed, guess = system

    def solve():
        found = solve_least_squares(formed.problem, guess)
        return found, found.normal.inverse()

    benchmark(solve)
    benchmark.extra_info["unknowns"] = formed.layout.size


def test_scipy_least_squares_60_nodes(benchmark, system):
    """The same residuals with scipy's default numerical Jacobian."""
    formed, guess = system
    design, observed = formed.linear.design, formed.rows.observed

    def residuals(unknowns):
        return np.concatenate([observed - design @ unknowns, formed.evaluate(unknowns)[0]])

    benchmark.pedantic(lambda: least_squares(residuals, guess), rounds=3, iterations=1)


def test_whole_adjustment_60_nodes(benchmark):
    benchmark(adjust_route, line_of_nodes(60))


@pytest.mark.parametrize("nodes", [30, 60])
def test_report(benchmark, nodes):
    benchmark(build_report, line_of_nodes(nodes))
