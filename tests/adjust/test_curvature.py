"""What tapes' rings bend of the cost, and what minding it is good for."""

from __future__ import annotations

import numpy as np
import pytest
from truth.slips import plant

from lateral_map.adjust.route import fit_route, solve_site

# Slips that leave a tape off by several times its mark's distance from where it was read.
FAR_OFF = ("tape in metres", "tape from another point")


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("slip", ["clean", *FAR_OFF])
def test_it_is_what_differences_of_the_gradient_add_to_the_normal_matrix(slip, seed):
    """In the marks' offsets, which are added to the line, nothing but the rings is bent."""
    system, solution, _ = solve_site(plant(slip, seed).site)
    unknowns, offsets = solution.unknowns, np.r_[system.layout.mark]
    at = system.problem.at(unknowns)
    assert len(system.ties.tape_mark)
    step = 1e-5
    bent = []
    for column in offsets:
        moved = np.zeros(len(unknowns))
        moved[column] = step
        ahead, behind = (system.problem.at(unknowns + sign * moved) for sign in (1.0, -1.0))
        bent.append((behind.gradient - ahead.gradient)[offsets] / (2.0 * step))
    added = system.curvature(unknowns, at.residuals)
    normal = system.linear.normal + at.normal.rest.T @ at.normal.rest
    found = (normal + added)[np.ix_(offsets, offsets)]
    assert found == pytest.approx(np.array(bent), rel=1e-5, abs=1e-6 * np.abs(found).max())
    assert added == pytest.approx(added.T)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("slip", FAR_OFF)
def test_a_line_settles_however_far_off_a_tape_is(slip, seed):
    route = fit_route(plant(slip, seed).site)
    assert route.settled
    assert route.iterations < 60
