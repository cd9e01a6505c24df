"""Whole sites, read and adjusted once, for the tests of every file format."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from lateral_map import build_report, load_site
from lateral_map.model.results import Report

ROOT = Path(__file__).parents[2]
SITES = {
    "plain_lot": ROOT / "demo_sites" / "plain_lot",
    "garage_slab": ROOT / "demo_sites" / "garage_slab",
    "rising_ground": ROOT / "demo_sites" / "rising_ground",
    "local_sketch": ROOT / "tests" / "sites" / "local_sketch",
}
HOSTILE = (
    "=cmd|' /C calc'!A0 {{7*7}} {% x %} {# #} ${1} `id` "
    "</script><img onerror=alert(1)> \u202e\u2028"
)


@pytest.fixture(scope="session")
def reports() -> dict[str, Report]:
    return {name: build_report(load_site(folder)) for name, folder in SITES.items()}


@pytest.fixture(params=list(SITES))
def report(request: pytest.FixtureRequest, reports: dict[str, Report]) -> Report:
    """Every site in turn."""
    return reports[request.param]


@pytest.fixture(scope="session")
def hostile_report(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """The local sketch with text that wants to be run in every field that takes words."""
    folder = tmp_path_factory.mktemp("hostile") / "site"
    shutil.copytree(SITES["local_sketch"], folder)
    quoted = HOSTILE.replace('"', '""')
    for name, first in (("locates.csv", "A"), ("findings.csv", "19.0")):
        lines = (folder / name).read_text().splitlines()
        lines[0] += ",crew"
        lines[1:] = [f'{line.rpartition(",")[0]},"{quoted}","{quoted}"' for line in lines[1:]]
        assert lines[1].startswith(first)
        (folder / name).write_text("\n".join(lines))
    toml = (folder / "site.toml").read_text()
    toml = toml.replace("Sketch of a back-yard line", HOSTILE.replace("\\", "\\\\"))
    toml = toml.replace('outside = "city"', f"outside = '''{HOSTILE}'''")
    (folder / "site.toml").write_text(toml)
    return build_report(load_site(folder))
