from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from drawings.builder import build
from playwright.sync_api import Browser, Page

from lateral_map.draw.page import map_page
from lateral_map.model.results import Report

MakeReport = Callable[..., Report]


@pytest.fixture(scope="session")
def make_report() -> Any:
    """Return a function that builds a report: ``make_report(unit="m", local=True, ...)``."""
    return build


@pytest.fixture(scope="session")
def page_of() -> Callable[..., str]:
    """Return a function that gives a report's page, each made once."""

    @cache
    def page(**wishes: Any) -> str:
        return map_page(build(**wishes))

    return page


@pytest.fixture(scope="session")
def report(make_report: MakeReport) -> Report:
    return make_report()


@dataclass
class Opened:
    """A page open in the browser, with what it asked for and complained of."""

    page: Page
    requests: list[str] = field(default_factory=list)
    refused: dict[str, str] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)

    def run(self, script: str, given: Any = None) -> Any:
        return self.page.evaluate(script, given)


@pytest.fixture
def open_page(browser: Browser, tmp_path: Path) -> Iterator[Callable[..., Opened]]:
    contexts = []

    def opened(text: str, *, width: int = 1280, height: int = 900, touch: bool = False) -> Opened:
        file = tmp_path / f"map{len(contexts)}.html"
        file.write_text(text, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": width, "height": height}, has_touch=touch, is_mobile=touch
        )
        contexts.append(context)
        shown = Opened(context.new_page())
        page = shown.page
        page.on("request", lambda request: shown.requests.append(request.url))
        page.on("requestfailed", lambda each: shown.refused.update({each.url: each.failure or ""}))
        page.on("console", lambda message: shown.complaints.append(message.text))
        page.on("pageerror", lambda error: shown.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (shown.complaints.append("dialog"), dialog.dismiss()))
        page.goto(file.as_uri())
        page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
        return shown

    yield opened
    for context in contexts:
        context.close()
