"""Measure the reliability over many simulated lines and draw it for the docs.

Run as ``python tests/truth/reliability.py [lines]``; prints the tables of docs/reliability.md and
draws docs/images/reliability.svg.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from matplotlib import rcParams
from matplotlib.figure import Figure

sys.path.insert(0, str(Path(__file__).parents[1]))

from truth.coverage import Coverage, measure_coverage

IMAGES = Path(__file__).parents[2] / "docs" / "images"
BANDS = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0]


def tables(coverage: Coverage) -> str:
    """Return the two tables in Markdown."""
    counts = {
        "position": len(coverage.position),
        "depth": len(coverage.depth),
        "crossing": len(coverage.crossing),
        "past": len(coverage.past),
    }
    lines = ["| what | cases | inside its 95 % interval |", "| --- | ---: | ---: |"]
    lines += [
        f"| {name} | {counts[name]:,} | {share:.1%} |" for name, share in coverage.shares().items()
    ]
    lines += [
        "",
        "| odds stated | cases | mean stated | came out past |",
        "| --- | ---: | ---: | ---: |",
    ]
    lines += [
        f"| {low:.0%} to {high:.0%} | {count:,} | {stated:.1%} | {share:.1%} |"
        for low, high, count, stated, share in coverage.reliability(BANDS)
    ]
    return "\n".join(lines)


def draw(coverage: Coverage) -> Figure:
    """Return the share that came out past against the odds stated, with binomial 95 % bars."""
    figure = Figure(figsize=(4.6, 4.2), layout="constrained")
    axes = figure.subplots()
    rows = np.array(coverage.reliability(BANDS))
    stated, share = rows[:, 3], rows[:, 4]
    bars = 1.96 * np.sqrt(np.clip(share * (1.0 - share), 1e-4, None) / rows[:, 2])
    axes.plot([0, 1], [0, 1], "--", color="#555555", label="perfect")
    axes.errorbar(stated, share, bars, fmt="o", color="#0072B2", capsize=3, label="simulated lines")
    axes.set_xlabel("probability of being past the line, as stated")
    axes.set_ylabel("share that truly was past")
    axes.set_aspect("equal")
    axes.grid(visible=True, alpha=0.3)
    axes.legend()
    return figure


def main() -> None:
    """Measure, print and draw."""
    lines = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    coverage = measure_coverage(range(100_000, 100_000 + lines))
    sys.stdout.write(tables(coverage) + "\n")
    rcParams["svg.hashsalt"] = "reliability"
    IMAGES.mkdir(parents=True, exist_ok=True)
    draw(coverage).savefig(IMAGES / "reliability.svg", metadata={"Date": None})


if __name__ == "__main__":
    main()
