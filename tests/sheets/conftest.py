"""Sheets drawn and printed once for every test that reads them back."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pdfplumber
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
def printed() -> Callable[..., tuple[SheetSet, Any]]:
    """Return a function that draws and prints a report: the sheets, and the PDF opened again."""
    done: dict[tuple[Any, ...], tuple[SheetSet, Any]] = {}

    def make(report: Report, **asked: Any) -> tuple[SheetSet, Any]:
        key = (id(report), *sorted(asked.items()))
        if key not in done:
            sheets = draw_sheets(report, **asked)
            content = html_to_pdf(sheet_html(report, sheets))
            done[key] = (sheets, pdfplumber.open(io.BytesIO(content)))
        return done[key]

    return make
