"""Jobs drawn from a tape alone whose truth is known: is the line where its 95 % says?

A house paced round, a curb parallel to its front, a right of way so far behind the curb, three
points by tape, six locates taped from all of these, two bends, five findings. Every true place is
plain arithmetic on a finely walked line; every reading gets the error its stated accuracy says. The
folder is written as a technician would and read back.

    python tests/truth/sketching.py --jobs 200
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lateral_map import build_report, load_site
from lateral_map.model.results import Report

Floats = NDArray[np.float64]
FOOT = 0.3048
_STEP = 0.1
_SQUARE = math.radians(1.5)
_HOUSE = ("NW", "NE", "SE", "jog S", "jog N", "SW")
_AT = ((0.0, 0.0), (40.0, 0.0), (40.0, -28.0), (25.0, -28.0), (25.0, -22.0), (0.0, -22.0))
_TURNS = ("right", "right", "right", "left", "right", "right")


@dataclass
class Job:
    """A folder's files, and the truth in feet: points, lines (a point, a direction), the pipe."""

    files: dict[str, str]
    points: dict[str, Floats]
    lines: dict[str, tuple[Floats, Floats]]
    footage: Floats
    place: Floats

    def at(self, footage: float) -> Floats:
        """Return the true place of the pipe at a counter reading free of error."""
        return np.array([np.interp(footage, self.footage, self.place[:, i]) for i in (0, 1)])

    def past(self, line: str, place: Floats) -> float:
        """Return how far a place lies beyond a true line, seen from the house."""
        base, right = self.lines[line]
        return float((place - base) @ np.array([-right[1], right[0]]))

    def crossing(self, line: str) -> float:
        """Return the footage at which the pipe truly crosses a line."""
        past = np.array([self.past(line, one) for one in self.place])
        return float(np.interp(0.0, past, self.footage))


def make_job(seed: int) -> Job:
    """Return one simulated job."""
    rng = np.random.default_rng(seed)

    def tape(length: float) -> float:
        return length + rng.normal(0.0, math.hypot(0.1, 0.002 * length))

    scale = rng.uniform(0.8, 1.3)
    points = {
        name: scale * np.array(at) + rng.normal(0.0, 0.1, 2)
        for name, at in zip(_HOUSE, _AT, strict=True)
    }
    front = points["NE"] - points["NW"]
    width = float(np.hypot(*front))
    front, out = front / width, np.array([-front[1], front[0]]) / width
    points["cleanout"] = points["NW"] + rng.uniform(0.3, 0.7) * width * front + 3.0 * out
    points["hydrant"] = points["NW"] + np.array([rng.uniform(-25.0, 0.0), rng.uniform(20.0, 32.0)])
    points["pole"] = points["NE"] + np.array([rng.uniform(5.0, 25.0), rng.uniform(15.0, 30.0)])
    rows = [_SKETCH_HEAD]
    for i, name in enumerate(_HOUSE):
        after = _HOUSE[(i + 1) % 6]
        side = tape(float(np.hypot(*(points[after] - points[name]))))
        rows.append(_row(what="wall", **{"from": name}, to=after, distance=side, turn=_TURNS[i]))
    gap = points["cleanout"] - points["NW"]
    along, off = float(gap @ front), float(gap @ out)
    along = tape(along) + off * math.tan(rng.normal(0.0, _SQUARE))
    rows.append(
        _row(what="point", name="cleanout", **{"from": "NW"}, to="NE", along=along,
             offset=tape(off), side="out")
    )  # fmt: skip
    for name, side, third in (("hydrant", "left", ""), ("pole", "", "SE")):
        tapes = {}
        for number, corner in enumerate(["NW", "NE", third], 1):
            if corner:
                away = float(np.hypot(*(points[name] - points[corner])))
                tapes |= {f"tape{number}_from": corner, f"tape{number}": tape(away)}
        rows.append(_row(what="point", name=name, side=side, **tapes))
    lines = _lines(rng, points["NW"] + width / 2.0 * front, front, out)
    curb = -_past(lines["curb"], points["NW"] + width / 2.0 * front)
    rows.append(_row(what="curb", **{"from": "NW"}, to="NE", offset=tape(curb), side="left"))
    rows.append(_row(what="right of way", line="curb", offset=12.0, side="behind", basis="assumed"))
    footage, place, bends = _pipe(rng, points["cleanout"], out, curb + 12.0)
    job = Job({}, points, lines, footage, place)
    fit = rng.choice(["NW", "NE", "hydrant", "pole", "SE"], (6, 3))
    locates = ["mark,footage,depth,tape1_from,tape1,tape2_from,tape2,tape3_from,tape3,line,past"]
    length = float(footage[-1]) - 0.5
    for i, at in enumerate(np.linspace(0.12, 0.97, 6) * length):
        mark = job.at(float(at) - 0.5 + rng.normal(0.0, 0.1))
        mark = mark + rng.normal(0.0, math.hypot(0.25, 0.03 * 5.0), 2)
        cells = [f"P{i + 1}", f"{at:.2f}", f"{5.0 + rng.normal(0.0, 0.25):.2f}"]
        names = list(dict.fromkeys(fit[i]))
        for k in range(3):
            here = names[k] if k < len(names) else ""
            away = tape(float(np.hypot(*(mark - points[here])))) if here else None
            cells += [here, "" if away is None else f"{away:.2f}"]
        past = job.past("curb", mark)
        near = abs(past) < 14.0
        cells += ["curb", f"{past + rng.normal(0.0, 0.1):.2f}"] if near else ["", ""]
        locates.append(",".join(cells))
    spots = np.linspace(0.3, 0.9, 5) * length
    found = ["footage,finding", *(f"{spot:.2f},roots" for spot in spots)]
    job.files = {
        "site.toml": _SITE.format(end=length),
        "sketch.csv": "\n".join(rows) + "\n",
        "locates.csv": "\n".join(locates) + "\n",
        "bends.csv": "\n".join(["footage,turn,how", *bends]) + "\n",
        "findings.csv": "\n".join(found) + "\n",
    }
    return job


_COLUMNS = (
    "what", "name", "from", "to", "distance", "turn", "along", "offset", "side", "line",
    "tape1_from", "tape1", "tape2_from", "tape2", "tape3_from", "tape3", "basis",
)  # fmt: skip
_SKETCH_HEAD = ",".join(_COLUMNS)
_SITE = """format = 1
[site]
name = "Simulated"
crs = "local"
unit = "ft"
[start]
point = "cleanout"
accuracy = 0.3
depth = 5.0
[[boundary]]
line = "right of way"
inside = "owner"
outside = "city"
decides = true
[[boundary]]
line = "curb"
inside = "city"
outside = "city"
[run]
end_footage = {end:.2f}
"""


def _row(**cells: object) -> str:
    said = {k: f"{v:.2f}" if isinstance(v, float) else str(v) for k, v in cells.items()}
    return ",".join(said.get(column, "") for column in _COLUMNS)


def _past(line: tuple[Floats, Floats], place: Floats) -> float:
    base, along = line
    return float((place - base) @ np.array([-along[1], along[0]]))


def _lines(
    rng: np.random.Generator, middle: Floats, front: Floats, out: Floats
) -> dict[str, tuple[Floats, Floats]]:
    """Return the true curb and right of way: a point of each, and its direction."""

    def turned(along: Floats) -> Floats:
        angle = rng.normal(0.0, _SQUARE)
        c, s = math.cos(angle), math.sin(angle)
        return np.array([c * along[0] - s * along[1], s * along[0] + c * along[1]])

    curb_way = turned(front)
    curb = middle + rng.uniform(26.0, 40.0) * out
    way = turned(curb_way)
    square = np.array([-curb_way[1], curb_way[0]])
    row = curb - (12.0 + rng.normal(0.0, 1.0)) * square
    return {"curb": (curb, curb_way), "right of way": (row, way)}


def _pipe(
    rng: np.random.Generator, start: Floats, out: Floats, reach: float
) -> tuple[Floats, Floats, list[str]]:
    """Walk the true pipe; return its footages, places, and the bends as noted."""
    heading = math.atan2(out[0], out[1]) + rng.normal(0.0, math.radians(15.0))
    length = reach + 6.0
    footage = np.arange(0.0, length, _STEP)
    wander = rng.normal(0.0, math.radians(0.5) * math.sqrt(_STEP), len(footage))
    headings = heading + np.cumsum(wander)
    noted, sign = [], rng.choice([-1.0, 1.0])
    for share in (0.25, 0.6):
        at, turn = round(share * length, 1), sign * 22.5
        headings[footage >= at] += math.radians(turn + rng.normal(0.0, 2.0))
        noted.append(f"{at},{turn},fitting")
        sign = -sign
    begin = start + rng.normal(0.0, 0.3, 2)
    steps = _STEP * math.cos(math.atan(0.02))
    moves = steps * np.stack([np.sin(headings), np.cos(headings)], axis=1)
    place = begin + np.concatenate([np.zeros((1, 2)), np.cumsum(moves, axis=0)[:-1]])
    counter = 1.0 + rng.normal(0.0, 0.01)
    return footage / counter + rng.normal(0.0, 0.3), place, noted


def report_of(job: Job, folder: Path) -> Report:
    """Write a job's folder and read it as any user's."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in job.files.items():
        (folder / name).write_text(text, encoding="utf-8")
    return build_report(load_site(folder))


def measure(job: Job, report: Report) -> dict[str, list[float]]:
    """Return the standardised misses of one job: the pipe's place, its crossings, its findings.

    A sketch has no place on earth: the truth is laid onto its named points by shift and turn.
    """
    route, plan = report.route, report.site.plan
    here = np.array([[p.easting_m, p.northing_m] for p in plan.points]) / FOOT
    true = np.array([job.points[p.name] for p in plan.points])
    a, b = true - true.mean(axis=0), here - here.mean(axis=0)
    u, _, v = np.linalg.svd(a.T @ b)
    turn = u @ v
    found: dict[str, list[float]] = {"place": [], "crossing": [], "finding": []}
    for at in np.linspace(0.15, 1.0, 6) * (report.site.run.end_m / FOOT):
        place = (job.at(at) - true.mean(axis=0)) @ turn + here.mean(axis=0)
        off = place * FOOT - route.positions(at * FOOT)[0][:2]
        covariance = route.plan_covariance(at * FOOT)[0]
        found["place"].append(float(off @ np.linalg.solve(covariance, off)))
    for one in report.crossings:
        off_m = job.crossing(one.line) * FOOT - one.footage_m
        found["crossing"].append(off_m / one.sd_footage_m)
    for finding in report.findings:
        for side in finding.sides:
            true_m = job.past(side.line, job.at(finding.finding.footage_m / FOOT)) * FOOT
            found["finding"].append((true_m - side.past_m) / side.sd_past_m)
    return found


def shares(misses: list[dict[str, list[float]]]) -> dict[str, float]:
    """Return the share of cases inside their stated 95 %."""
    place = [one for each in misses for one in each["place"]]
    share = {"place": float(np.mean(np.array(place) < 5.991464547))}
    for key in ("crossing", "finding"):
        values = np.array([one for each in misses for one in each[key]])
        share[key] = float(np.mean(np.abs(values) < 1.959963985))
    return share


def main() -> None:
    """Simulate jobs and print the shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--jobs", type=int, default=200)
    count = parser.parse_args().jobs
    with tempfile.TemporaryDirectory() as folder:
        misses = []
        for seed in range(count):
            job = make_job(seed)
            misses.append(measure(job, report_of(job, Path(folder) / str(seed))))
    for key, share in shares(misses).items():
        sys.stdout.write(f"{key}: {share:.1%} inside the stated 95 %\n")


if __name__ == "__main__":
    main()
