"""Every page with a map under the hand: dragged, flung, wheeled and pinched, and never at a stop.

A page that hangs answers nothing, not even a time-out asked of it, so a watchdog outside the
browser ends the browser's own process; what waits on it then fails.
"""

from __future__ import annotations

import os
import random
import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest
from chromium import PROGRAM, SWITCHES
from drawings.builder import build
from playwright.sync_api import Browser, BrowserContext, CDPSession, Page
from web.yard import Yard, served

from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.page import map_page
from lateral_map.model.results import Report
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[2]
SCALE_FACTORS = (1.0, 1.5, 2.625)
GESTURES = 25
PATIENCE_S = 15.0


class Watchdog:
    """Ends a browser's process unless it is fed in time."""

    def __init__(self, browser: Browser) -> None:
        asked = browser.new_browser_cdp_session().send("SystemInfo.getProcessInfo")
        self.process = next(one["id"] for one in asked["processInfo"] if one["type"] == "browser")
        self.timer: threading.Timer | None = None

    def feed(self) -> None:
        self.rest()
        self.timer = threading.Timer(PATIENCE_S, os.kill, (self.process, signal.SIGKILL))
        self.timer.daemon = True
        self.timer.start()

    def rest(self) -> None:
        if self.timer:
            self.timer.cancel()


class Own:
    """A browser of these tests' own, for the watchdog may have to end it; begun anew where it did.

    One serves all of them: to start it takes longer than most of what is done in it.
    """

    def __init__(self, like: Browser) -> None:
        self.like, self.browser, self.dog = like, None, None

    @contextmanager
    def context(self, factor: float) -> Iterator[tuple[BrowserContext, Watchdog]]:
        if self.browser is None or not self.browser.is_connected():
            kind = self.like.browser_type
            self.browser = kind.launch(executable_path=PROGRAM, args=SWITCHES)
            self.dog = Watchdog(self.browser)
        size = {"width": 390, "height": 844} if factor > 2 else {"width": 1024, "height": 700}
        self.dog.feed()
        context = self.browser.new_context(
            viewport=size, device_scale_factor=factor, has_touch=True
        )
        try:
            yield context, self.dog
        finally:
            # A page at a stop cannot be closed: the dog stays awake over that.
            self.dog.feed()
            context.close()
            self.dog.rest()


@pytest.fixture(scope="module")
def own(browser: Browser) -> Iterator[Own]:
    own = Own(browser)
    yield own
    if own.browser:
        own.browser.close()


@cache
def page_text(kind: str) -> str:
    """Return a page that stands in a file, on earth or as a sketch."""

    def demo(name: str) -> Report:
        return build_report(load_site(ROOT / "demo_sites" / name))

    return {
        "map": lambda: map_page(demo("plain_lot")),
        "sketch": lambda: map_page(build(unit="us_ft", local=True, alternatives=True)),
        "dig page": lambda: dig_page(build_dig_review(demo("garage_slab"))),
    }[kind]()


class Hand:
    """A hand on the map: each gesture is drawn from a seed."""

    def __init__(self, page: Page, session: CDPSession, seed: int) -> None:
        self.page, self.session, self.draw = page, session, random.Random(seed)
        self.box = page.locator("#plan .leaflet-container, .leaflet-container").first.bounding_box()

    def place(self) -> tuple[float, float]:
        box = self.box
        return (
            box["x"] + self.draw.uniform(0.2, 0.8) * box["width"],
            box["y"] + self.draw.uniform(0.2, 0.8) * box["height"],
        )

    def away(self, place: tuple[float, float]) -> tuple[float, float]:
        return tuple(at + self.draw.uniform(-160, 160) for at in place)

    def drag(self) -> None:
        begin = self.place()
        end = self.away(begin)
        self.page.mouse.move(*begin)
        self.page.mouse.down()
        self.page.mouse.move(*end, steps=self.draw.randint(2, 6))
        self.page.mouse.up()

    def fling(self) -> None:
        """Swipe by finger and let go at speed, so that the map runs on by itself."""
        begin = self.place()
        end = self.away(begin)
        self.touches("touchStart", [begin])
        for step in range(1, 5):
            share = step / 4
            self.touches(
                "touchMove",
                [tuple(a + share * (b - a) for a, b in zip(begin, end, strict=True))],
            )
        self.touches("touchEnd", [])

    def pinch(self) -> None:
        x, y = self.place()
        before, after = self.draw.uniform(30, 120), self.draw.uniform(30, 120)
        for step in range(5):
            reach = before + (after - before) * step / 4
            fingers = [(x - reach, y - reach / 3), (x + reach, y + reach / 3)]
            self.touches("touchMove" if step else "touchStart", fingers)
        self.touches("touchEnd", [])

    def wheel(self) -> None:
        self.page.mouse.move(*self.place())
        self.page.mouse.wheel(0, self.draw.uniform(-300, 300))

    def touches(self, kind: str, places: list[tuple[float, ...]]) -> None:
        points = [{"x": at[0], "y": at[1], "id": i} for i, at in enumerate(places)]
        self.session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def any(self) -> None:
        self.draw.choice((self.drag, self.drag, self.fling, self.fling, self.pinch, self.wheel))()
        if self.draw.random() < 0.15:
            # Wander no farther than a person who is still looking at the line.
            self.page.evaluate("document.getElementById('whole-site')?.click()")


def handle(page: Page, dog: Watchdog, seed: int) -> None:
    """Handle the page's map for a while; the watchdog bites where it stops answering."""
    hand = Hand(page, page.context.new_cdp_session(page), seed)
    for _ in range(GESTURES):
        dog.feed()
        hand.any()
        assert page.evaluate("1 + 1") == 2
    dog.feed()
    page.wait_for_function("() => !lateralMap.page.map._panAnim?._inProgress")
    assert page.evaluate("1 + 1") == 2


@pytest.mark.parametrize("factor", SCALE_FACTORS)
@pytest.mark.parametrize("kind", ["map", "sketch", "dig page"])
def test_a_page_in_a_file_never_stops_answering(own, tmp_path, kind, factor) -> None:
    text = page_text(kind)
    with own.context(factor) as (context, dog):
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        page = context.new_page()
        page.goto(file.as_uri())
        page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
        page.locator(".leaflet-container").first.scroll_into_view_if_needed()
        handle(page, dog, seed=int(factor * 1000))


@pytest.mark.parametrize("factor", SCALE_FACTORS)
def test_the_entry_page_never_stops_answering(own, sketch_copy, tmp_path, factor) -> None:
    with (
        served(sketch_copy, tmp_path / "keys") as server,
        own.context(factor) as (context, dog),
    ):
        yard = Yard(context, server.address)
        handle(yard.page, dog, seed=int(factor * 1000) + 1)


@pytest.fixture
def sketch_copy(tmp_path: Path) -> Path:
    folder = tmp_path / "sketch"
    folder.mkdir()
    for path in (ROOT / "tests" / "sites" / "local_sketch").iterdir():
        if path.is_file():
            (folder / path.name).write_bytes(path.read_bytes())
    return folder
