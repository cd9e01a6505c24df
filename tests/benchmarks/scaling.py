"""Measure how the adjustment's cost grows and draw it: docs/images/scaling.svg and its table.

Run as ``python tests/benchmarks/scaling.py``; it prints the table of docs/reliability.md.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np
from matplotlib import rcParams
from matplotlib.figure import Figure

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.sizes import line_of_nodes

import lateral_map.adjust.chain as chain_module
from lateral_map.adjust.route import solve_site

IMAGES = Path(__file__).parents[2] / "docs" / "images"


def measure(nodes: int) -> tuple[int, float]:
    """Return (chain nodes, median milliseconds) of forming, solving and inverting one line."""
    site = line_of_nodes(nodes)
    times = []
    count = 0
    for _ in range(9 if nodes <= 120 else 3):
        begin = time.perf_counter()
        system, solution, _ = solve_site(site)
        solution.normal.inverse()
        times.append((time.perf_counter() - begin) * 1e3)
        count = len(system.chain.nodes_m)
    return count, statistics.median(times)


def draw(rows: list[tuple[int, float]]) -> Figure:
    """Return the cost against the number of nodes, both logarithmic, with a cubic beside it."""
    figure = Figure(figsize=(6.0, 3.6), layout="constrained")
    axes = figure.subplots()
    nodes, cost = np.array(rows).T
    axes.loglog(nodes, cost, "o-", color="#0072B2", label="form, solve and invert")
    axes.loglog(nodes, cost[-1] * (nodes / nodes[-1]) ** 3, "--", color="#555555", label="cubic")
    axes.set_xlabel("chain nodes")
    axes.set_ylabel("milliseconds (median)")
    axes.grid(visible=True, which="both", alpha=0.3)
    axes.legend()
    return figure


def main() -> None:
    """Measure, print and draw."""
    # Short pieces everywhere, so that the chain really has as many nodes as asked for.
    chain_module._MOST_PIECES = 10_000
    rows = [measure(nodes) for nodes in (15, 30, 60, 120, 250, 500)]
    for nodes, cost in rows:
        sys.stdout.write(f"| {nodes} | {cost:.1f} |\n")
    slope = np.polyfit(np.log([n for n, _ in rows[-3:]]), np.log([c for _, c in rows[-3:]]), 1)[0]
    sys.stdout.write(f"exponent over the last three sizes: {slope:.2f}\n")
    rcParams["svg.hashsalt"] = "scaling"
    IMAGES.mkdir(parents=True, exist_ok=True)
    draw(rows).savefig(IMAGES / "scaling.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
