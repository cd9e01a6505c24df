"""No locate and no azimuth: what is said of side and crossing holds against the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from truth.simulate import simulate, true_crossing_m, true_past_m

from lateral_map.report import build_report

SEEDS = range(61_000, 61_040)


@pytest.fixture(scope="module")
def outcomes():
    """Return misfits past and of crossings over their sd, and (verdict, truly past)."""
    past, crossing, verdicts = [], [], []
    for seed in SEEDS:
        site, truth = simulate(seed)
        site = replace(site, locates=(), start=replace(site.start, azimuth_deg=None))
        report = build_report(site)
        for result, reading in zip(report.findings, truth.finding_reading_m, strict=True):
            real = truth.at(float(reading))[None, :2]
            for side in result.sides:
                true = float(true_past_m(truth, side.line, real)[0])
                past.append((true - side.past_m) / side.sd_past_m)
                verdicts.append((side.verdict, true > 0.0))
        for one in report.crossings:
            true_m = true_crossing_m(truth, one.line)
            if true_m is not None:
                crossing.append((true_m - one.footage_m) / one.sd_footage_m)
    return np.array(past), np.array(crossing), verdicts


def test_the_intervals_hold(outcomes):
    past, crossing, _ = outcomes
    assert np.mean(np.abs(past) < 1.96) >= 0.93
    assert np.mean(np.abs(crossing) < 1.96) >= 0.93


def test_what_is_decided_is_right(outcomes):
    stated = [(verdict, past) for verdict, past in outcomes[2] if verdict != "too close to call"]
    wrong = sum((verdict == "past") != past for verdict, past in stated)
    assert len(stated) > 200
    assert wrong <= 0.005 * len(outcomes[2])
