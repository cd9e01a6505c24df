from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from drawings.builder import build

from lateral_map.model.results import Report

MakeReport = Callable[..., Report]


@pytest.fixture(scope="session")
def make_report() -> Any:
    """Return a function that builds a report: ``make_report(unit="m", local=True, ...)``."""
    return build


@pytest.fixture(scope="session")
def report(make_report: MakeReport) -> Report:
    return make_report()
