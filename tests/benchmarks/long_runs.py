"""Processor time and memory of sites of very many locates, from folder to result.json.

Run as ``python tests/benchmarks/long_runs.py``; it prints the table of docs/reliability.md. Each
site is read, adjusted and told in a process of its own, what Python itself takes to begin included.
"""

from __future__ import annotations

import argparse
import csv
import json
import math
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
# What ties each mark, and whatever else is there.
KINDS = ("positions", "no bends", "wander", "ground", "two slips", "one tape", "two tapes")
SIZES = (200, 500, 1_000)
ROUNDS = 3
STEP_FT = 5.0
SETTINGS = """format = 1
[site]
name = "a long run"
crs = "local"
unit = "ft"
[start]
x = 0.0
y = 0.0
depth = 4.0
azimuth = 20.0
[[pipe]]
from = 0.0
material = "clay"
size = 6
[[boundary]]
line = "curb"
inside = "owner"
outside = "city"
decides = true
"""
_MEASURED = """
import sys
from pathlib import Path
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report
from lateral_map.export.registry import make_products
make_products(build_report(load_site(Path(sys.argv[1]))), ("result",))
"""


def write_long_run(folder: Path, locates: int, kind: str = "positions", seed: int = 1) -> Path:
    """Write a site: so many locates, one every 5 ft, a bend every 30; nine findings and a curb."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    place, bends = _walk(rng, locates, kind)
    points = _points_beside(place) if kind.endswith(("tape", "tapes")) else {}
    off = np.zeros(locates)
    if kind == "two slips":
        off[rng.choice(np.arange(locates // 5, 4 * locates // 5), 2, replace=False)] = 2.2
    rows = []
    for index, here in enumerate(place + rng.normal(0.0, 0.3, place.shape)):
        depth = 4.0 + min(0.01 * STEP_FT * (index + 1), 16.0) + rng.normal(0.0, 0.15)
        row: list[object] = [f"M{index}", STEP_FT * (index + 1) + 0.5, f"{depth:.2f}"]
        if points:
            near = sorted(points, key=lambda name: math.dist(points[name], here))
            for name in near[: 1 if kind == "one tape" else 2]:
                row += [name, f"{math.dist(points[name], here) + rng.normal(0.0, 0.05):.2f}"]
        else:
            east, north = here + rng.normal(0.0, 0.1, 2) + [off[index], 0.0]
            row += [f"{east:.3f}", f"{north:.3f}", 0.3]
        level = 100.0 - 0.01 * STEP_FT * index + rng.normal(0.0, 0.03)
        rows.append([*row, f"{level:.2f}"] if kind == "ground" else row)
    tied = ["tape1_from", "tape1", "tape2_from", "tape2"] if points else ["x", "y", "accuracy"]
    tied = tied[:2] if kind == "one tape" else tied
    header = ["mark", "footage", "depth", *tied, *(["ground"] if kind == "ground" else [])]
    _write(folder / "locates.csv", header, rows)
    _write(folder / "bends.csv", ["footage", "turn", "how"], bends)
    found = [[round(STEP_FT * locates * (one + 0.5) / 9, 1), "roots"] for one in range(9)]
    _write(folder / "findings.csv", ["footage", "finding"], found)
    middle, ahead = place[locates // 2], place[locates // 2] - place[locates // 2 - 1]
    right = 100.0 * np.array([ahead[1], -ahead[0]]) / np.hypot(*ahead)
    curb = [(middle - right).tolist(), (middle + right).tolist()]
    features = [_feature("reference", name, "Point", list(at)) for name, at in points.items()]
    features.append(_feature("curb", "curb", "LineString", curb))
    plan = {"type": "FeatureCollection", "features": features}
    (folder / "plan.geojson").write_text(json.dumps(plan))
    (folder / "site.toml").write_text(SETTINGS)
    return folder


def _walk(
    rng: np.random.Generator, locates: int, kind: str
) -> tuple[np.ndarray, list[list[object]]]:
    """Return the pipe under each locate, feet, and the rows of bends.csv."""
    azimuth, here, place = 20.0, np.zeros(2), []
    bends: list[list[object]] = []
    for index in range(1, locates + 1):
        if kind == "wander":
            azimuth += rng.normal(0.0, 0.5 * math.sqrt(STEP_FT))
        turn = math.radians(azimuth)
        here = here + STEP_FT * np.array([math.sin(turn), math.cos(turn)])
        place.append(here)
        if index % 30 == 0 and kind not in ("wander", "no bends"):
            turned = 22.5 if index % 60 else -22.5
            bends.append([STEP_FT * index + 0.5, turned, "fitting"])
            azimuth += turned + rng.normal(0.0, 1.0)
    return np.array(place), bends


def _points_beside(place: np.ndarray) -> dict[str, tuple[float, float]]:
    """Return points to tape from, 25 ft to either side of every tenth locate."""
    points = {}
    for index in range(0, len(place), 10):
        ahead = place[min(index + 1, len(place) - 1)] - place[min(index, len(place) - 2)]
        ahead = ahead / np.hypot(*ahead)
        right = np.array([ahead[1], -ahead[0]])
        for side, aside in (("R", 25.0), ("L", -25.0)):
            east, north = place[index] + aside * right
            points[f"P{index}{side}"] = (round(float(east), 2), round(float(north), 2))
    return points


def _write(path: Path, header: list[str], rows: list[list[object]]) -> None:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([header, *rows])


def _feature(kind: str, name: str, shape: str, at: list) -> dict:
    geometry = {"type": shape, "coordinates": at}
    return {"type": "Feature", "properties": {"kind": kind, "name": name}, "geometry": geometry}


def measure(folder: Path) -> tuple[float, float]:
    """Return (processor seconds, most megabytes resident) of one site in a process of its own."""
    command = [sys.executable, "-c", _MEASURED, str(folder)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    with subprocess.Popen(command, env=env) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, folder
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time long runs, from folder to result.")
    parser.add_argument("--sizes", type=int, nargs="*", default=SIZES)
    parser.add_argument("--kinds", nargs="*", default=KINDS)
    asked = parser.parse_args()
    titles = "".join(f" {size:,} |" for size in asked.sizes)
    sys.stdout.write(f"| kind |{titles}\n| --- |{' ---: |' * len(asked.sizes)}\n")
    with tempfile.TemporaryDirectory() as scratch:
        for kind in asked.kinds:
            cells = []
            for size in asked.sizes:
                if kind.endswith(("tape", "tapes")) and size > 500:
                    cells.append("")
                    continue
                folder = write_long_run(Path(scratch, f"{kind} {size}"), size, kind)
                each = [measure(folder) for _ in range(ROUNDS)]
                cells.append(f"{min(s for s, _ in each):.2f} s, {max(m for _, m in each):.0f} MB")
            sys.stdout.write(f"| {kind} | {' | '.join(cells)} |\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
