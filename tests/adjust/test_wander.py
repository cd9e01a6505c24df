"""The covariance of the pipe's wander against a brute-force random walk."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site

from lateral_map.adjust.chain import lay_chain, wander_covariance, wander_rates
from lateral_map.model.site import PipeRun


def test_changes_of_mean_direction_of_a_random_walk():
    rng = np.random.default_rng(1)
    lengths, rates = np.array([1.0, 0.5, 1.5]), np.array([0.02, 0.03, 0.01])
    step = 0.01
    counts = (lengths / step).astype(int)
    rate = np.repeat(rates, counts)
    walk = np.cumsum(rng.normal(0.0, 1.0, (20_000, len(rate))) * rate * np.sqrt(step), axis=1)
    ends = np.cumsum(counts)
    means = np.stack(
        [walk[:, end - n : end].mean(axis=1) for end, n in zip(ends, counts, strict=True)], axis=1
    )
    changes = np.diff(np.concatenate([np.zeros((len(means), 1)), means], axis=1), axis=1)
    expected = wander_covariance(lengths, rates)
    assert np.cov(changes.T) == pytest.approx(expected, rel=0.05, abs=0.03 * expected.max())


def test_a_run_of_pipe_may_wander_on_its_own():
    site = straight_site()
    site = replace(site, pipes=(PipeRun(0.0, "clay", 0.15, 2.0), PipeRun(10.0, "pvc", 0.15, None)))
    chain = lay_chain(site)
    rates = np.degrees(wander_rates(site, chain))
    middle = (chain.nodes_m[1:] + chain.nodes_m[:-1]) / 2.0
    assert rates[middle < 9.0] == pytest.approx(2.0)
    assert rates[middle > 11.0] == pytest.approx(site.accuracy.wander_deg)


def test_no_piece_is_over_long():
    assert np.diff(lay_chain(straight_site(length_m=60.0)).nodes_m).max() <= 1.524 + 1e-9
    assert len(lay_chain(straight_site(length_m=600.0)).nodes_m) <= 90
