"""Sheets drawn and printed once for every test that reads them back."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from sheets.builder import line_report

from lateral_map import build_report, load_site
from lateral_map.draw.packet.document import sheet_html
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.results import Report

DEMOS = Path(__file__).parents[2] / "demo_sites"


@pytest.fixture(scope="session")
def report() -> Report:
    return line_report(100.0, 10)


@pytest.fixture(scope="session")
def long_report() -> Report:
    """A 300 ft line with 80 findings."""
    return line_report(300.0, 80, ((90.0, 22.5), (200.0, -22.5)))


@pytest.fixture(scope="session")
def demo() -> Callable[[str], Report]:
    @cache
    def built(name: str) -> Report:
        return build_report(load_site(DEMOS / name))

    return built


@pytest.fixture(scope="session")
def drawn() -> Callable[..., SheetSet]:
    """Return a function that draws a report's sheets, each set of them once."""
    done: dict[tuple[Any, ...], tuple[Report, SheetSet]] = {}

    def draw(report: Report, **asked: Any) -> SheetSet:
        key = (id(report), *sorted(asked.items()))
        if key not in done:
            done[key] = (
                report,
                draw_sheets(report, **asked),
            )  # its id is nobody else's, while kept
        return done[key][1]

    return draw


@pytest.fixture(scope="session")
def printed(drawn: Callable[..., SheetSet]) -> Callable[..., bytes]:
    """Return a function that prints a report's sheets, each set of them once."""
    done: dict[int, bytes] = {}

    def print_(report: Report, **asked: Any) -> bytes:
        sheets = drawn(report, **asked)
        if id(sheets) not in done:
            done[id(sheets)] = html_to_pdf(sheet_html(report, sheets))
        return done[id(sheets)]

    return print_
