"""The planted slips are what they say, and the generator of jobs is as noisy as it states."""

from __future__ import annotations

import numpy as np
import pytest
from truth.coverage import Coverage, measure_coverage_of
from truth.jobs import draw_job
from truth.rivals import draw_doubtful, fit_by_force
from truth.simulate import FOOT, Truth
from truth.slips import CLASSES, Planted, plant, with_riser

from lateral_map.model.readings import bend_reading, tie_reading
from lateral_map.model.site import Site

NO_SLIP = {
    "clean", "clean jobs", "Student t errors", "counter scale 3 %", "wander twice",
}  # fmt: skip


@pytest.fixture(scope="module")
def coverage() -> Coverage:
    return measure_coverage_of(draw_job(seed) for seed in range(60))


@pytest.mark.parametrize("what", ["position", "depth", "crossing", "past"])
def test_clean_jobs_are_as_noisy_as_they_state(coverage, what):
    assert 0.90 <= coverage.shares()[what] <= 0.99


@pytest.mark.parametrize("seed", range(20))
def test_a_job_is_of_the_size_and_kind_that_technicians_map(seed):
    site, truth = draw_job(seed)
    assert 38.0 <= site.run.end_m / FOOT <= 125.0
    assert 6 <= len(site.locates) <= 14
    assert 1 <= len(site.bends) <= 4
    assert len(site.findings) == len(truth.finding_reading_m) >= 4


def _readings(site: Site) -> set:
    locates = site.locates
    found = {tie_reading(one, tie) for one in locates for tie in one.ties}
    found |= {bend_reading(site, one, "turn") for one in site.bends}
    return {(one.kind, one.of, one.column) for one in found} | {
        (kind, one.mark, kind) for one in locates for kind in ("depth", "footage")
    }


@pytest.mark.parametrize("name", CLASSES)
@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_a_slip_is_planted_where_it_says(name, seed):
    planted = plant(name, seed)
    assert len(planted.slips) == (0 if name in NO_SLIP else 2 if name == "two slips" else 1)
    for slip in planted.slips:
        one = slip.reading
        if one is not None and one.kind in ("tape", "depth", "footage", "turn"):
            assert (one.kind, one.of, one.column) in _readings(planted.site)
        if slip.footage_m is not None:
            assert 0.0 <= slip.footage_m <= planted.site.run.end_m


@pytest.mark.parametrize("name", CLASSES)
def test_the_same_seed_plants_the_same_slip(name):
    one, other = plant(name, 3), plant(name, 3)
    assert one.slips == other.slips
    assert one.site.locates == other.site.locates


def test_a_slip_leaves_the_findings_true_places_alone():
    for name in ("counter +4 ft", "counter slipped 5 ft", "counter scale 3 %"):
        planted = plant(name, 1)
        if name == "counter slipped 5 ft" and planted.slips[0].size < 0.0:
            continue
        np.testing.assert_allclose(
            _places(planted, planted.truth), _places(planted, planted.clean_truth), atol=0.05
        )


def _places(planted: Planted, truth: Truth) -> np.ndarray:
    return np.array([truth.at(one) for one in truth.finding_reading_m])


def test_a_riser_spends_footage_and_no_distance():
    site, truth = draw_job(5)
    longer, deeper = with_riser(site, truth, 3.0)
    assert longer.run.end_m == pytest.approx(site.run.end_m + 3.0)
    np.testing.assert_allclose(deeper.at(8.0 + 3.0), truth.at(8.0))
    np.testing.assert_allclose(deeper.at(deeper.reading_m[0])[:2], truth.position_m[0, :2])


def test_brute_force_finds_the_mirror_of_a_straight_run_taped_from_its_own_wall():
    seed = next(seed for seed in range(0, 50, 5) if len(_lines(seed)) > 1)
    first, second = _lines(seed)[:2]
    assert second[0] - first[0] < 5.992
    assert np.hypot(*(first[1] - second[1]).T).max() > 0.6


def _lines(seed: int) -> list:
    site, _, kind = draw_doubtful(seed)
    assert kind == "two tapes from the wall"
    return fit_by_force(site, seed)
