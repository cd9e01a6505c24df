"""Reports for the packet, and its pages turned to plain text."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from sheets.builder import line_report

from lateral_map import build_report, load_site
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.model.results import Report

ROOT = Path(__file__).parents[2]
PLAIN_LOT = ROOT / "demo_sites" / "plain_lot"


@pytest.fixture(scope="session")
def report() -> Report:
    return line_report(100.0, 9)


@pytest.fixture(scope="session")
def sheets(report: Report) -> SheetSet:
    return draw_sheets(report)


@pytest.fixture(scope="session")
def demo() -> Callable[[str], Report]:
    @cache
    def built(name: str) -> Report:
        return build_report(load_site(ROOT / "demo_sites" / name))

    return built


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of a demo site that may be changed."""
    return Path(shutil.copytree(PLAIN_LOT, tmp_path / "site"))
