"""Trenches against utilities by sampling in space, on generated digs of known ground.

``python tests/dig/sampled.py 500`` compares every 'clear', 'inside' and 'below' of 500 digs with
what the samples say, and tells where they differ. Walls are found by walking out from the bottom's
edge until they meet the ground; nothing of the program's earthwork is used.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from analysis.builder import HandRoute, Sds
from dig.builder import FOOT, dig_rules, pipe

from lateral_map.analysis.conflicts import SD_UTILITY_DEPTH_M, find_conflicts
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.trench import UNSEEN_RISE, lay_trench, measure_cross_slope
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.model.site import Plan, SpotLevel, UtilityLine

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


def disagreements(seed: int) -> tuple[int, list[str]]:
    """Return how many answers were compared on one dig, and those that differ."""
    rng = np.random.default_rng(seed)
    soil = str(rng.choice(list(SLOPES)))
    length, depth = float(rng.uniform(8, 25)), float(rng.uniform(0.8, 4.0))
    measured = rng.random() < 0.7
    rise = float(rng.uniform(-0.25, 0.25)) if measured else 0.0
    sd_start, sd_level = rng.uniform(0.0, 0.25, 2)
    lines = _lines(rng, length)
    corners = [(-90.0, -90.0), (-90.0, 90.0), (120.0, -90.0), (120.0, 90.0)]
    levels = tuple(SpotLevel(x, y, 50.0 + rise * y) for x, y in corners) if measured else ()
    dig = replace(
        dig_rules(soil, float(rng.uniform(1.5, 4.0))), bedding_m=float(rng.uniform(0, 0.2))
    )
    route = HandRoute(
        lengths_m=(length,),
        depth_m=depth,
        pitches=float(rng.uniform(0.0, 0.05)),
        sds=Sds(start=float(sd_start), elevation=float(sd_level)),
        site_fields={"plan": Plan(utilities=tuple(lines), levels=levels), "dig": dig},
    ).build()
    stations, tolerance = lay_stations(route), float(rng.uniform(0.3, 0.7))
    trench = lay_trench(
        stations,
        (pipe(outside_in=float(rng.uniform(3, 9))),),
        dig,
        read_trench_rules(dig),
        measure_cross_slope(route.site, stations),
    )
    at = trench.at(np.arange(trench.footage_m[0], trench.footage_m[-1], 0.02))
    # The wider of two sides, on ground that never counts as falling away.
    unseen = (
        Z95 * np.sqrt(2.0) * route.site.accuracy.ground_m / (10 * FOOT) if measured else UNSEEN_RISE
    )
    steep = abs(rise) + unseen
    deeper = at.bottom_depth_m + Z95 * at.sd_depth_m
    width = dig.trench_width_m
    found = {one.name: one for one in find_conflicts(route, trench, tolerance)}
    ends = [edge_m(width, float(d), SLOPES[soil], steep) for d in deeper[[0, -1]]]
    edges = np.interp(at.footage_m, at.footage_m[[0, -1]], ends)
    compared, wrong = 0, []

    def compare(name: str, what: str, said: bool, margin: float) -> None:
        nonlocal compared
        if abs(margin) > NEAR_M:
            compared += 1
            if said != (margin < 0.0):
                wrong.append(f"{seed} {name}: {what} is {said}, samples say {margin:.3f} m")

    for line in lines:
        one, half = found[line.name], (line.size_m or 0.0) / 2.0
        share = np.linspace(0.0, 1.0, 3000)[:, None]
        many = line.vertices_m[0] + share * (line.vertices_m[1] - line.vertices_m[0])
        gap = np.hypot(*(many[None] - at.place_m[:, None]).transpose(2, 0, 1)).min(axis=1) - half
        by_hand = tolerance + Z95 * np.hypot(at.across_sd_m, line.sd_m or 0.0)
        compare(
            line.name, "not clear", one.verdict != "clear", float((gap - edges - by_hand).min())
        )
        near = float((gap - width / 2.0 - by_hand).min())
        compare(line.name, "hand dig", bool(one.hand_dig_m), near)
        inside = gap - width / 2.0
        if line.depth_m is None:
            compare(line.name, "inside", one.in_trench, float(inside.min()))
        else:
            top = line.depth_m - Z95 * SD_UTILITY_DEPTH_M
            margin = np.maximum(inside, top - deeper)
            compare(line.name, "inside", one.in_trench, float(margin.min()))
            for met in one.crossings:
                bottom = float(trench.at(met.footage_m).bottom_depth_m[0])
                compare(line.name, "below", met.passing == "below", bottom - line.depth_m)
    return compared, wrong


if __name__ == "__main__":
    answers = 0
    for number in range(int(sys.argv[1])):
        count, differ = disagreements(number)
        answers += count
        sys.stdout.write("".join(f"{one}\n" for one in differ))
    sys.stdout.write(f"{answers} answers compared\n")
