"""The stated uncertainty is true: 95 % intervals hold 95 % of the time, odds come out as stated."""

from __future__ import annotations

import numpy as np
import pytest
from truth.coverage import Coverage, measure_coverage


@pytest.fixture(scope="module")
def coverage() -> Coverage:
    return measure_coverage(range(40_000, 40_300))


@pytest.mark.parametrize("what", ["position", "depth", "crossing", "past"])
def test_ninety_five_percent_intervals_hold(coverage, what):
    assert 0.93 <= coverage.shares()[what] <= 0.97


@pytest.mark.parametrize("what", ["depth", "crossing", "past"])
def test_standardised_misfits_have_unit_spread(coverage, what):
    values = np.array(getattr(coverage, what))
    assert np.std(values) == pytest.approx(1.0, abs=0.12)
    assert np.mean(values) == pytest.approx(0.0, abs=0.12)


def test_odds_of_being_past_come_out_as_stated(coverage):
    """Each band's share must lie within three binomial sd of the odds stated (plus 2 %)."""
    rows = coverage.reliability([0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0])
    assert len(rows) == 7
    for _, _, count, stated, share in rows:
        slack = 3.0 * np.sqrt(stated * (1.0 - stated) / count) + 0.02
        assert share == pytest.approx(stated, abs=slack)


def test_a_stated_side_is_wrong_at_most_one_time_in_twenty(coverage):
    verdict, past = np.array(coverage.verdicts), np.array(coverage.was_past)
    stated = verdict != "too close to call"
    wrong = np.where(verdict == "past", ~past, past)[stated]
    assert stated.sum() > 2000
    assert wrong.mean() < 0.05
