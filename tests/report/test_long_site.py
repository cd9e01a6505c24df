"""A site at the limit of locates is read, adjusted and told as a shorter one is."""

from __future__ import annotations

import json

import numpy as np
import pytest
from benchmarks.long_runs import write_long_run

import lateral_map.model.route
from lateral_map.errors import SiteError
from lateral_map.export.result import result_json
from lateral_map.model.strip import Strip
from lateral_map.reading.folder import load_site
from lateral_map.reading.limits import ROWS, TAPED
from lateral_map.report import build_report
from lateral_map.words.diagnoses import undiagnosed_words

APPLIED = """
[[applied]]
slip = "bend not noted"
footage = 62
size = 2.0
accuracy = 1.0
checked = true
"""
KINDS = ("positions", "wander", "ground", "two slips", "one tape", "two tapes")


def differences(one, other, path=""):
    """Yield the places where two results differ by more than rounding shows."""
    if isinstance(one, dict):
        assert one.keys() == other.keys(), path
        for key in one:
            yield from differences(one[key], other[key], f"{path}/{key}")
    elif isinstance(one, list):
        assert len(one) == len(other), path
        for index, pair in enumerate(zip(one, other, strict=True)):
            yield from differences(*pair, f"{path}/{index}")
    elif isinstance(one, float) and isinstance(other, float):
        if one != pytest.approx(other, rel=3e-6, abs=5e-5):
            yield path, one, other
    elif one != other:
        yield path, one, other


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_told_of_a_long_run_is_what_the_whole_matrix_tells(tmp_path, monkeypatch, kind):
    site = load_site(write_long_run(tmp_path / "site", 45, kind))
    written = build_report(site, diagnose=False)
    monkeypatch.setattr(lateral_map.model.route, "MOST_WRITTEN_OUT", 40)
    long = build_report(site, diagnose=False)
    assert isinstance(long.route.covariance, Strip)
    assert not isinstance(written.route.covariance, Strip)
    told = [json.loads(result_json(one)) for one in (written, long)]
    assert not list(differences(*told))


@pytest.mark.parametrize("kind", ["positions", "ground"])
def test_a_site_of_as_many_locates_as_there_may_be_is_told(tmp_path, kind):
    most = ROWS["locates.csv"].most
    report = build_report(load_site(write_long_run(tmp_path / "site", most, kind)))
    assert len(report.locates) == most
    assert report.route.settled
    # Made from the accuracies stated, so that its own are as small as those have it.
    assert 0.05 < report.fit.chi_square / report.fit.degrees_of_freedom < 2.0
    assert not report.diagnosed
    assert "no diagnosis was sought" in undiagnosed_words(report)
    place = np.column_stack([report.stations.easting_m, report.stations.northing_m])
    marks = np.array(
        [(one.ties[0].easting_m, one.ties[0].northing_m) for one in report.site.locates]
    )
    at = [report.stations.index_of(one.footage_m) for one in report.locates]
    assert np.hypot(*(place[at] - marks).T).max() < 0.6


def test_more_locates_than_are_told_from_their_mirror_images_are_refused(tmp_path):
    folder = write_long_run(tmp_path / "site", TAPED.most + 1, "two tapes")
    with pytest.raises(SiteError, match=f"{TAPED.most + 1} {TAPED.what}"):
        load_site(folder)


def test_a_slip_taken_for_true_on_a_long_run_keeps_its_mixture(tmp_path, monkeypatch):
    folder = write_long_run(tmp_path / "site", 45)
    with (folder / "site.toml").open("a") as file:
        file.write(APPLIED)
    site = load_site(folder)
    written = build_report(site, diagnose=False)
    monkeypatch.setattr(lateral_map.model.route, "MOST_WRITTEN_OUT", 40)
    long = build_report(site, diagnose=False)
    assert len(long.route.doubts) == len(written.route.doubts) > 1
    told = [json.loads(result_json(one)) for one in (written, long)]
    assert not list(differences(*told))
