"""How long a save takes until the map and the profile are drawn anew, measured in the browser.

Run with ``poe benchmarks``; nothing here is asserted of time. The clock is the page's own: from the
press of the button to the second frame after the last drawing.
"""

from __future__ import annotations

import csv
import json
import math
import os
import statistics
import subprocess
import sys
from pathlib import Path

import pytest
from benchmarks.long_runs import SETTINGS
from playwright.sync_api import Browser
from web.yard import DESKTOP, PHONE, Yard, browser_context

pytestmark = [pytest.mark.benchmark, pytest.mark.browser]
SAVES = 15
# How a site of so many nodes is looked at: how much slower its browser is made, the median allowed.
CASES = {
    "30 nodes, desktop": (30, DESKTOP, 1, 250), "30 nodes, phone": (30, PHONE, 1, 250),
    "30 nodes, phone four times slower": (30, PHONE, 4, 600),
    "100 nodes, desktop": (100, DESKTOP, 1, 450),
}  # fmt: skip


def write_site(folder: Path, nodes: int = 30) -> None:
    """Write a sketch: start, 4 bends and else locates with two tapes each; 9 findings."""
    folder.mkdir()
    most_bends = 4
    azimuth, east, north = 20.0, 0.0, 0.0
    points = {f"P{i}": (25.0 * (-1) ** i, 12.0 * i - 10.0) for i in range(nodes // 2 + 1)}
    locates, bends = [], []
    for i in range(1, nodes - most_bends):
        east += 5.0 * math.sin(math.radians(azimuth))
        north += 5.0 * math.cos(math.radians(azimuth))
        near = sorted(points, key=lambda name: math.dist(points[name], (east, north)))[:2]
        tapes = [(name, f"{math.dist(points[name], (east, north)):.2f}") for name in near]
        locates.append([f"M{i}", 5 * i, 4.0 + 0.1 * i, *tapes[0], *tapes[1]])
        if i % 6 == 0 and len(bends) < most_bends:
            turn = 22.5 if i % 12 else -22.5
            bends.append([5 * i + 0.5, turn, "fitting"])
            azimuth += turn
    write(folder / "locates.csv", "mark,footage,depth,tape1_from,tape1,tape2_from,tape2", locates)
    write(folder / "bends.csv", "footage,turn,how", bends)
    write(folder / "findings.csv", "footage,finding", [[13 * i, "roots"] for i in range(1, 10)])
    features = [feature("reference", name, "Point", list(at)) for name, at in points.items()] + [
        feature("curb", "curb", "LineString", [[-100.0, 80.0], [150.0, 80.0]])
    ]
    plan = {"type": "FeatureCollection", "features": features}
    (folder / "plan.geojson").write_text(json.dumps(plan))
    (folder / "site.toml").write_text(SETTINGS)


def write(path: Path, header: str, rows: list[list[object]]) -> None:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([header.split(","), *rows])


def feature(kind: str, name: str, shape: str, at: list) -> dict:
    geometry = {"type": shape, "coordinates": at}
    return {"type": "Feature", "properties": {"kind": kind, "name": name}, "geometry": geometry}


@pytest.mark.parametrize("case", CASES)
def test_save_to_redraw(case: str, tmp_path: Path, browser: Browser, benchmark) -> None:
    nodes, screen, slower, allowed = CASES[case]
    write_site(tmp_path / "site", nodes)
    command = [sys.executable, "-m", "lateral_map", "enter", str(tmp_path / "site"), "--port", "0",
               "--no-browser"]  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.readline()
        address = process.stdout.readline().split()[-1]
        with browser_context(browser, **screen) as context:
            yard = Yard(context, address)
            slowing = {"rate": slower}
            context.new_cdp_session(yard.page).send("Emulation.setCPUThrottlingRate", slowing)
            numbers = iter(range(1000))

            def save() -> None:
                yard.enter({"mark": f"Z{next(numbers)}", "footage": "125", "depth": "6.5"})

            benchmark.pedantic(save, rounds=SAVES, warmup_rounds=2)
            spent = yard.page.evaluate(
                "performance.getEntriesByName('save to redraw', 'measure').map(e => e.duration)"
            )[2:]
        process.terminate()
    median, worst = statistics.median(spent), max(spent)
    load = f"load {os.getloadavg()[0]:.1f}"
    told = f"{case}: median {median:.0f} ms of {allowed}, worst {worst:.0f} ms, {load}"
    benchmark.extra_info["save to redraw"] = told
    sys.stderr.write(f"\nsave to redraw: {told}\n")
    assert len(spent) == SAVES
