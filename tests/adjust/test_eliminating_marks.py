"""Each locate's own unknowns eliminated first: steps and covariance of the whole matrix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from truth.jobs import draw_job
from truth.simulate import simulate

from lateral_map.adjust.route import solve_site
from lateral_map.adjust.solve import Fixed, Normal, gram_matrix
from lateral_map.adjust.ties import split_unknowns


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.booleans(), st.sampled_from([0.0, 1e-3, 0.5]))
def test_what_is_eliminated_first_comes_out_as_in_one_solve(seed, is_job, damping):
    site = draw_job(seed)[0] if is_job else simulate(seed)[0]
    system, solution, _ = solve_site(site)
    design, rest = system.rows.stacked()[0], solution.design
    split = split_unknowns(system.ties, system.layout)
    fixed = split.gram_matrix(design)
    assert fixed == pytest.approx(gram_matrix(design), abs=1e-9 * np.abs(fixed).max())
    normal, full = Normal(Fixed(fixed, split), rest), fixed + gram_matrix(rest)
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
