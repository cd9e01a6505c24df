"""Trenches against utilities by sampling in space, on generated digs of known ground.

``python tests/dig/sampled.py 500`` compares every 'clear', 'inside', 'below' and 'crosses' of 500
digs, with bends, risers and pipes of several sizes, with what the samples say, and tells where they
differ. Walls are found by walking out from the bottom's edge until they meet the ground; nothing of
the program's earthwork is used.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from analysis.builder import Floats, HandRoute, Sds
from dig.builder import FOOT, INCH, dig_rules

from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.trench import UNSEEN_RISE, lay_trench, measure_cross_slope
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.model.results import PipeStretch
from lateral_map.model.site import Plan, SoilLayer, SpotLevel, UtilityLine
from lateral_map.model.trench import SD_UTILITY_DEPTH_M

Z95 = 1.959964
SLOPES = {"A": 0.75, "B": 1.0, "C": 1.5}
# Nearer to the limit than this the samples cannot tell.
NEAR_M = 0.03


def edge_m(width: float, depth: float, slope: float, rise: float) -> float:
    """Return how far from the middle a wall meets ground rising outwards, walked in 2 mm steps."""
    out = np.arange(width / 2.0, width / 2.0 + 60.0, 0.002)
    return float(out[np.argmax(-depth + (out - width / 2.0) / slope >= rise * out)])


def _lines(rng: np.random.Generator, length: float) -> list[UtilityLine]:
    """Return utilities across and along a run to the east."""
    lines = []
    for index in range(8):
        ends = np.column_stack([rng.uniform(-4, length + 4, 2), rng.uniform(-9, 9, 2)])
        if index % 2:
            ends[:, 1] = rng.uniform(-2, 2) + rng.uniform(-0.4, 0.4, 2)
        deep = None if index == 3 else float(rng.uniform(0.2, 5.5))
        size = None if rng.random() < 0.4 else float(rng.uniform(0.03, 0.9))
        sd = float(rng.uniform(0.02, 0.3))
        lines.append(UtilityLine(f"line {index}", "gas", ends, deep, sd, "", size))
    return lines


def _course(rng: np.random.Generator) -> dict[str, Any]:
    """Return a run to the east in up to three pieces, each with its own heading and fall."""
    count = int(rng.integers(1, 4))
    turns = rng.choice([-45.0, -22.5, 22.5, 45.0], count - 1)
    return {
        "lengths_m": tuple(rng.uniform(6, 12, count)),
        "azimuths_deg": tuple(90.0 + np.concatenate([[0.0], np.cumsum(turns)])),
        "pitches": tuple(rng.uniform(0.0, 0.05, count)),
        "riser_m": float(rng.choice([0.0, 0.0, 1.5])),
    }


def _pipes(rng: np.random.Generator, end_m: float) -> tuple[PipeStretch, ...]:
    """Return pipe of one to three sizes along the run, in walls of half an inch."""
    ends = [0.0, *np.sort(rng.uniform(2.0, end_m, int(rng.integers(0, 3)))), 1000.0]
    sizes = [float(rng.uniform(3, 9)) * INCH for _ in ends[1:]]
    return tuple(
        PipeStretch(float(a), float(b), "other", size, size + INCH, "by hand")
        for a, b, size in zip(ends, ends[1:], sizes, strict=False)
    )


def _edges(
    course: dict[str, Any], footage_m: Floats, rise: float, edge: Callable[[int, float], float]
) -> tuple[Floats, Floats]:
    """Return how far out the wider side's edge lies at every footage, at the least and the most.

    The side's own rise goes by where the pipe heads: within a station of a bend it is either's.
    ``edge`` says how far out a wall at one of the footages meets ground that rises so.
    """
    piece_ends = course["riser_m"] + np.cumsum(course["lengths_m"])
    coarse = np.unique(np.r_[np.arange(0, len(footage_m), 12), len(footage_m) - 1])
    edges = []
    for k in coarse:
        near = footage_m[k] + np.array([-0.35, 0.0, 0.35])
        piece = np.minimum(np.searchsorted(piece_ends, near), len(piece_ends) - 1)
        steep = np.abs(rise * np.sin(np.radians(np.array(course["azimuths_deg"])[piece])))
        edges.append([edge(int(k), float(each)) for each in (steep.min(), steep.max())])
    least, most = (np.interp(footage_m, footage_m[coarse], each) for each in np.transpose(edges))
    return least, most


class _Count:
    """How many answers were compared, and those that differ."""

    def __init__(self, seed: int) -> None:
        self.seed, self.compared, self.wrong = seed, 0, list[str]()

    def compare(self, name: str, what: str, said: bool, *margins: float) -> None:
        """Hold an answer against margins, below 0 where it should hold."""
        if min(margins) > NEAR_M or max(margins) < -NEAR_M:
            self.compared += 1
            if said != (margins[0] < 0.0):
                told = f"{what} is {said}, samples say {margins[0]:.3f} m"
                self.wrong.append(f"{self.seed} {name}: {told}")


def disagreements(seed: int) -> tuple[int, list[str]]:
    """Return how many answers were compared on one dig, and those that differ."""
    rng = np.random.default_rng(seed)
    soils = [str(one) for one in rng.choice(list(SLOPES), 2)]
    # Of two layers the softer is reckoned with wherever no reach is chosen yet.
    layers = (SoilLayer(0.8, soils[1]),) if rng.random() < 0.4 else ()  # type: ignore[arg-type]
    slope = max(SLOPES[soil] for soil in (soils if layers else soils[:1]))
    course, depth = _course(rng), float(rng.uniform(0.8, 4.0))
    measured = rng.random() < 0.7
    rise = float(rng.uniform(-0.25, 0.25)) if measured else 0.0
    sd_start, sd_level = rng.uniform(0.0, 0.25, 2)
    lines = _lines(rng, sum(course["lengths_m"]))
    corners = [(-90.0, -90.0), (-90.0, 90.0), (120.0, -90.0), (120.0, 90.0)]
    levels = tuple(SpotLevel(x, y, 50.0 + rise * y) for x, y in corners) if measured else ()
    dig = replace(
        dig_rules(soils[0], float(rng.uniform(1.5, 4.0))),
        bedding_m=float(rng.uniform(0, 0.2)),
        layers=layers,
    )
    route = HandRoute(
        **course,
        depth_m=depth,
        sds=Sds(start=float(sd_start), elevation=float(sd_level)),
        site_fields={"plan": Plan(utilities=tuple(lines), levels=levels), "dig": dig},
    ).build()
    stations, tolerance = lay_stations(route), float(rng.uniform(0.3, 0.7))
    softest = replace(read_trench_rules(dig), layers=(), soil=max(soils, key=SLOPES.__getitem__))
    trench = lay_trench(
        stations,
        _pipes(rng, route.site.run.end_m),
        dig,
        softest if layers else read_trench_rules(dig),
        measure_cross_slope(route.site, stations),
    )
    at = trench.at(np.arange(trench.footage_m[0], trench.footage_m[-1], 0.02))
    unseen = (
        Z95 * np.sqrt(2.0) * route.site.accuracy.ground_m / (10 * FOOT) if measured else UNSEEN_RISE
    )
    found = {one.name: one for one in find_conflicts(route, trench, tolerance)}
    deeper = at.bottom_depth_m + Z95 * at.sd_depth_m
    width = dig.trench_width_m
    narrow, wide = _edges(
        course,
        at.footage_m,
        rise,
        lambda k, steep: edge_m(width, float(deeper[k]), slope, steep + unseen),
    )
    count = _Count(seed)
    for line in lines:
        one, half = found[line.name], (line.size_m or 0.0) / 2.0
        share = np.linspace(0.0, 1.0, 3000)[:, None]
        many = line.vertices_m[0] + share * (line.vertices_m[1] - line.vertices_m[0])
        away = np.hypot(*(many[None] - at.place_m[:, None]).transpose(2, 0, 1))
        to_axis = away.min(axis=1)
        gap = to_axis - half
        by_hand = tolerance + Z95 * np.hypot(at.across_sd_m, line.sd_m or 0.0)
        clear = [float((gap - edges - by_hand).min()) for edges in (narrow, wide)]
        count.compare(line.name, "not clear", one.verdict != "clear", *clear)
        near = float((gap - width / 2.0 - by_hand).min())
        count.compare(line.name, "hand dig", bool(one.hand_dig_m), near)
        inside = gap - width / 2.0
        # A line that crosses comes to the axis, and on beyond it; no end of either is near.
        ends = min(away[:, [0, -1]].min(), away[[0, -1]].min())
        if ends > 3 * NEAR_M:
            crosses = float(to_axis.min()) - 2 * NEAR_M
            count.compare(line.name, "crosses", bool(one.crossings), crosses)
        side = max(float(inside.min()), 0.0)
        count.compare(line.name, "side", abs(one.side_m - side) < NEAR_M, -1.0)
        if line.depth_m is None:
            count.compare(line.name, "inside", one.in_trench, float(inside.min()))
        else:
            top = line.depth_m - Z95 * SD_UTILITY_DEPTH_M
            margin = np.maximum(inside, top - deeper)
            count.compare(line.name, "inside", one.in_trench, float(margin.min()))
            for met in one.crossings:
                bottom = float(trench.at(met.footage_m).bottom_depth_m[0])
                count.compare(line.name, "below", met.passing == "below", bottom - line.depth_m)
    return count.compared, count.wrong


if __name__ == "__main__":
    answers = 0
    for number in range(int(sys.argv[1])):
        count, differ = disagreements(number)
        answers += count
        sys.stdout.write("".join(f"{one}\n" for one in differ))
    sys.stdout.write(f"{answers} answers compared\n")
