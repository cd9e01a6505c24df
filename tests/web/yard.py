"""A served site and a browser to enter it with, for the tests of the entry page."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from playwright.sync_api import Browser, BrowserContext, Page, expect

from lateral_map.web.serve import Served, prepare

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True,
    "device_scale_factor": 2,
}  # fmt: skip
DESKTOP: dict[str, Any] = {"viewport": {"width": 1440, "height": 900}}
# Servers that hear nobody any more, and take their time to end.
_ENDING: list[threading.Thread] = []


@contextmanager
def served(folder: Path, keys: Path, **how: Any) -> Iterator[Served]:
    """Serve a folder from a thread of this process until the body ends."""
    _ENDING[:] = [thread for thread in _ENDING if thread.is_alive()]
    server = prepare(folder, keys=keys, **how)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        _ENDING.append(thread)
        place = urlsplit(server.address)
        wait_until(lambda: not _hears(place.hostname, place.port), every=0.01)


def all_ended() -> None:
    """Wait until every server that was stopped has ended."""
    while _ENDING:
        thread = _ENDING.pop()
        thread.join(10)
        assert not thread.is_alive(), "the server did not stop"


def _hears(host: str | None, port: int | None) -> bool:
    with socket.socket() as asking:
        return asking.connect_ex((host, port)) == 0


class Yard:
    """One page open on one site. What the browser complains of is gathered in ``complaints``."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        self.page: Page = context.new_page()
        self.complaints: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", self._heard)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        # Somebody listens all the time: begun with the key that opens one, it may come too late.
        self.page.on("filechooser", lambda _: None)
        self.address = address
        self.open()

    def _heard(self, message: Any) -> None:
        if message.type in ("error", "warning") and "blocked by Playwright" not in message.text:
            self.complaints.append(message.text)

    def open(self) -> None:
        """Load the page and wait until it is drawn."""
        self.page.goto(self.address)
        self.page.wait_for_selector("body[data-ready]", timeout=30_000)

    def look(self) -> None:
        """Have the page look at once, as where a network comes back, what became of its server."""
        self.page.evaluate("window.dispatchEvent(new Event('online'))")

    def tab(self, name: str) -> None:
        """Go to one of the tabs."""
        self.page.locator("#tabs").get_by_role("button", name=name).click()

    def panel(self) -> Any:
        """Return what is below the tabs."""
        return self.page.locator("#panel")

    def fill(self, values: dict[str, str], within: Any = None) -> None:
        """Fill fields by their file names; choices and flags as well as typed ones."""
        form = within or self.panel().locator("form").first
        for name, value in values.items():
            field = form.locator(f'[data-field="{name}"]').first
            group = field.locator("xpath=ancestor::fieldset[@hidden]")
            if group.count():
                chip = group.first.get_attribute("id")
                form.locator(f'[aria-controls="{chip}"]').click()
            self._put(field, value)

    def _put(self, field: Any, value: str) -> None:
        if field.locator("select").count():
            field.locator("select").select_option(value)
        elif field.locator('input[type="checkbox"]').count():
            field.locator("input").set_checked(value == "yes")
        elif field.get_attribute("class").split()[1] == "choice":
            chip = field.get_by_role("button", name=value, exact=True)
            if chip.count():
                chip.click()
            else:
                field.locator("input").fill(value)
        else:
            field.locator("input, textarea").fill(value)

    def save(self, within: Any = None) -> None:
        """Press the form's own button and wait until it is saved and drawn."""
        form = within or self.panel().locator("form").first
        before = self.saves()
        form.locator('button[type="submit"]').click()
        self.wait_saved(before)

    def saves(self) -> int:
        """Return how many saves were drawn so far."""
        return int(
            self.page.evaluate("performance.getEntriesByName('save to redraw', 'measure').length")
        )

    def wait_saved(self, before: int) -> None:
        """Wait for one more save than ``before`` to be drawn."""
        self.page.wait_for_function(
            "n => performance.getEntriesByName('save to redraw', 'measure').length > n",
            arg=before, timeout=20_000,
        )  # fmt: skip

    def enter(self, values: dict[str, str]) -> None:
        """Fill the form of the open tab and save it."""
        self.fill(values)
        self.save()

    def add_feature(self, kind: str, values: dict[str, str], places: list[list[float]]) -> None:
        """Add a part of the plan by typed x and y."""
        self.panel().locator(f'[data-kind="{kind}"]').click()
        form = self.panel().locator("form.entry")
        self.fill(values, form)
        for x, y in places:
            form.get_by_role("button", name="x and y").click()
            self.fill({"x": repr(x), "y": repr(y)}, form.locator(".way-form"))
            form.get_by_role("button", name="Take this place").click()
        self.save(form)

    def says(self, words: str) -> None:
        """Expect words among what the readings say."""
        expect(self.page.locator("#says-list")).to_contain_text(words)


@contextmanager
def browser_context(browser: Browser, **how: Any) -> Iterator[BrowserContext]:
    """Give a fresh context and close it."""
    context = browser.new_context(**{"service_workers": "block", **how})
    # Some telephones' browsers have none: no page may rest on it.
    context.add_init_script("delete window.requestIdleCallback")
    try:
        yield context
    finally:
        context.close()


def wait_until(true: Any, seconds: float = 10.0, every: float = 0.05) -> None:
    """Wait for something to be true; fails where it never is."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came true"
        time.sleep(every)
