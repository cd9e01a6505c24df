from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright
from web.yard import CHROMIUM, SWITCHES

SITES = Path(__file__).parents[1] / "sites"


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield browser
        browser.close()


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    return tmp_path / "keys"


@pytest.fixture
def sketch(tmp_path: Path) -> Path:
    """A copy of the sketch on a site of its own."""
    folder = tmp_path / "sketch"
    folder.mkdir()
    for path in (SITES / "local_sketch").iterdir():
        if path.is_file():
            (folder / path.name).write_bytes(path.read_bytes())
    return folder
