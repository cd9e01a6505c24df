"""What the solver hands on has the same bits wherever it was worked out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from truth.simulate import simulate
from truth.slips import plant

from lateral_map.adjust.route import adjust_route, solve_site
from lateral_map.adjust.solve import settle

SEEDS = (1, 2, 3, 4)


def shaken(values, rng, share):
    """Return values off by about ``share`` of themselves, as another order of sums leaves them."""
    return values * (1.0 + share * rng.standard_normal(values.shape))


# Notes so far off that Gauss-Newton's own steps lead away from the best.
GROSS = [
    (name, seed) for name in ("tape in metres", "tape from another point") for seed in range(4)
]


@pytest.mark.parametrize(("slip", "seed"), [*(("clean", seed) for seed in SEEDS), *GROSS])
def test_a_solver_that_sums_in_another_order_hands_on_the_same_bits(slip, seed):
    system, solution, _ = solve_site(plant(slip, seed).site)
    rng = np.random.default_rng(seed)
    sd = np.sqrt(np.diag(solution.normal.inverse()))

    def evaluate(unknowns):
        residuals, rest = system.evaluate(unknowns)
        return residuals + 1e-14 * rng.standard_normal(len(residuals)), shaken(rest, rng, 1e-15)

    usual = settle(system.problem, solution)
    assert usual.settled
    # Where the steps end short of the best, by a share of an sd that nobody could read.
    short = solution.unknowns + 1e-8 * sd * rng.standard_normal(len(sd))
    residuals, rest = evaluate(short)
    begun = replace(solution, unknowns=short, residuals=residuals, design=rest)
    linear = replace(system.linear, design=shaken(system.linear.design, rng, 1e-16))
    other = settle(replace(system.problem, linear=linear, evaluate=evaluate), begun)
    assert other.unknowns.tobytes() == usual.unknowns.tobytes()
    assert other.covariance.tobytes() == usual.covariance.tobytes()
    assert other.residuals.tobytes() == usual.residuals.tobytes()


@pytest.mark.parametrize("seed", SEEDS)
def test_the_covariance_handed_on_is_symmetric_and_positive_definite(seed):
    covariance = adjust_route(simulate(seed)[0]).covariance
    assert (covariance == covariance.T).all()
    np.linalg.cholesky(covariance)


@pytest.mark.parametrize("seed", SEEDS)
def test_rounding_moves_nothing_that_was_measured(seed):
    system, solution, _ = solve_site(simulate(seed)[0])
    design = system.linear.design
    settled = settle(system.problem, solution)
    exact = np.linalg.inv(
        design.T @ design + (rest := system.evaluate(solution.unknowns)[1]).T @ rest
    )
    sd = np.sqrt(np.diag(exact))
    assert np.abs((settled.unknowns - solution.unknowns) / sd).max() < 1e-5
    assert np.abs((settled.covariance - exact) / np.outer(sd, sd)).max() < 1e-6


def test_what_is_exactly_nothing_stays_nothing():
    """A correlation that is only rounding's would turn the ellipse of a round uncertainty."""
    system, solution, _ = solve_site(simulate(1)[0])
    settled = settle(system.problem, solution)
    small = np.abs(settled.covariance) > 0.0
    sd = np.sqrt(np.diag(settled.covariance))
    correlation = np.abs(settled.covariance / np.outer(sd, sd))[small]
    assert correlation.min() > 1e-16
    assert not np.signbit(settled.unknowns[settled.unknowns == 0.0]).any()
