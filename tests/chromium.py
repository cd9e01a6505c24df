"""The Chromium that tests and pictures are made with: Debian's, cut off from the network."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from axe_playwright_python.base import AXE_SCRIPT
from playwright.sync_api import Browser, Page, sync_playwright

# Debian's Chromium without its desktop opens a page in half the time; the same engine draws it.
# The program itself, for the script that /usr/bin has for it would outlive a driver's kill.
HEADLESS = Path("/usr/lib/chromium/chromium-headless-shell")
PROGRAM = HEADLESS if HEADLESS.exists() else Path("/usr/bin/chromium")
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@contextmanager
def launched() -> Iterator[Browser]:
    """Yield a browser, closed afterwards. A process can hold only one of these at a time."""
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=PROGRAM, args=SWITCHES)
        try:
            yield browser
        finally:
            browser.close()


def check_with_axe(page: Page, **options: Any) -> dict[str, Any]:
    """Return what axe-core says of a page: its violations in full, of what passes the names.

    To list every element that passes, and how to find it, takes as long as all of the checking.
    """
    if page.evaluate("!window.axe"):
        page.evaluate(AXE_SCRIPT)
    asked = {"resultTypes": ["violations"], **options}
    said: dict[str, Any] = page.evaluate("asked => axe.run(asked)", asked)
    return said
