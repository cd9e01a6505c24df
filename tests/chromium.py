"""The Chromium that tests and pictures are made with: Debian's, cut off from the network."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright

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
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=SWITCHES)
        try:
            yield browser
        finally:
            browser.close()
