"""Measure what comes after solving, on as many sites as asked for: the files and the overview.

``python tests/benchmarks/gathering.py 1000 10000 20000`` solves 60 made-up sites, puts them into a
store over and over, each time at another place, and prints how long gathering took in a process
of its own, its peak memory, how large the files are, how soon the overview opens in headless
Chromium and how many frames a second it draws while it is dragged.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))

from batch.programme import write_programme
from chromium import launched
from playwright.sync_api import Page

from lateral_map.batch.gather import gather
from lateral_map.batch.solve import Asked, solve_chunk
from lateral_map.batch.sources import Root, Source
from lateral_map.batch.store import Outcome, Store
from lateral_map.batch.tables import pack, place_order, unpack

_SOLVED = 60
_APART_DEG = 0.0009
_ORIGIN_DEG = np.array([-83.62, 43.86])  # open water
# Frames are counted by the page itself while the mouse drags the map to and fro.
_COUNT_FRAMES = """() => { window.frames_ = 0; window.longest_ = 0; let last = performance.now();
const tick = now => { window.frames_++; window.longest_ = Math.max(window.longest_, now - last);
last = now; requestAnimationFrame(tick); }; requestAnimationFrame(tick); }"""


def moved(one: Outcome, number: int, side: int) -> Outcome:
    """Return a solved site at another place, under another name."""
    by = np.array([number % side, number // side]) * _APART_DEG
    by += _ORIGIN_DEG - np.array([one.facts["lon"], one.facts["lat"]])
    rows = {
        name: [
            (
                shape
                and shapely.to_wkb(shapely.transform(shapely.from_wkb(shape), lambda at: at + by)),
                cells,
            )
            for shape, cells in found
        ]
        for name, found in unpack(one.rows).items()
    }
    lon, lat = one.facts["lon"] + by[0], one.facts["lat"] + by[1]
    return replace(
        one,
        source=Source(f"district {number // 100}/lot {number}"),
        digest=f"{number}",
        place=place_order(lon, lat),
        facts=one.facts | {"name": f"Lot {number}, Ambersea", "lon": lon, "lat": lat},
        rows=pack(rows),
    )


def fill(out: Path, count: int, solved: list[Outcome]) -> None:
    """Put ``count`` sites into a store."""
    side = int(np.ceil(np.sqrt(count)))
    store = Store(out / "done.sqlite")
    store.note(Source(f"district {number // 100}/lot {number}") for number in range(count))

    def chunks() -> Iterator[list[Outcome]]:
        for first in range(0, count, 50):
            numbers = range(first, min(first + 50, count))
            yield [moved(solved[number % len(solved)], number, side) for number in numbers]

    for chunk in chunks():
        store.keep(chunk)
    store.close()


def gather_alone(out: str) -> None:
    """Gather a filled store and print seconds and peak memory (MB)."""
    store = Store(Path(out, "done.sqlite"))
    begin = time.perf_counter()
    gather(store, Path(out), unit="ft", crs="EPSG:4326", title="Ambersea", told=lambda *_: None)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    sys.stdout.write(f"{time.perf_counter() - begin:.1f} {peak:.0f}\n")


def open_and_drag(page: Page, path: Path) -> tuple[float, list[float]]:
    """Return seconds until the overview is ready, and frames a second far off, near and close."""
    begin = time.perf_counter()
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    seconds = time.perf_counter() - begin
    rates = []
    for closer in (0, 3, 6):
        for _ in range(closer):
            page.click(".leaflet-control-zoom-in")
            page.wait_for_timeout(350)
        page.evaluate(_COUNT_FRAMES)
        page.mouse.move(600, 450)
        page.mouse.down()
        begin, before = time.perf_counter(), page.evaluate("frames_")
        for step in range(60):
            page.mouse.move(600 + 260 * np.sin(step / 6.0), 450 + 200 * np.cos(step / 9.0))
        frames = page.evaluate("frames_") - before
        rates.append(frames / (time.perf_counter() - begin))
        page.mouse.up()
    return seconds, rates


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as scratch, launched() as browser:
        write_programme(Path(scratch, "sites"), _SOLVED)
        root = Root(str(Path(scratch, "sites")))
        chunk = tuple((one, "") for one in root.find())
        solved = [one for one in solve_chunk(Asked(root.address), chunk)
                  if one.state == "solved" and one.facts["lon"] is not None]  # fmt: skip
        load = os.getloadavg
        for count in [int(one) for one in sys.argv[1:]] or [1000, 10_000, 20_000]:
            out = Path(scratch, f"out {count}")
            out.mkdir()
            fill(out, count, solved)
            command = [sys.executable, __file__, "--gather", str(out)]
            seconds, peak = subprocess.run(
                command, capture_output=True, text=True, check=True
            ).stdout.split()
            sizes = {path.name: path.stat().st_size / 1e6 for path in out.iterdir()}
            told = ", ".join(f"{name} {size:.1f} MB" for name, size in sorted(sizes.items()))
            page = browser.new_page(viewport={"width": 1360, "height": 850})
            opened, rates = open_and_drag(page, out / "overview.html")
            if "--keep" in os.environ.get("GATHERING", ""):
                page.screenshot(path=f"/tmp/overview-{count}.png")
                page.click("#classes button")
                page.wait_for_timeout(500)
                page.screenshot(path=f"/tmp/overview-{count}-all.png")
            page.close()
            frames = ", ".join(f"{rate:.0f}" for rate in rates)
            sys.stdout.write(
                f"{count} sites: gathered in {seconds} s, {peak} MB at most; the "
                f"overview opens in {opened:.2f} s and draws {frames} frames a second; "
                f"load {load()[0]:.1f}\n"
                f"  {told}\n"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    if sys.argv[1:2] == ["--gather"]:
        gather_alone(sys.argv[2])
    else:
        main()
