"""Measure ``lateral-map batch``: rate, memory against the number of sites, two workers against one.

Run as ``python tests/benchmarks/many_sites.py SITES ...`` (1000 4000 where none is given). Each
size is a fresh process and a fresh programme: 200 made-up sites, and those under other names.
``--workers`` compares one and two workers. The load of the machine stands beside every figure.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from batch.programme import write_programme

_MADE = 200  # different sites; the rest are these under other names


def make(root: Path, count: int) -> None:
    """Write ``count`` sites: a few made up, and those again under other names."""
    folders = write_programme(root, min(count, _MADE))
    for number in range(len(folders), count):
        copy = root / f"more {number // 500}" / f"lot {number}"
        shutil.copytree(folders[number % len(folders)], copy)
        said = copy / "site.toml"
        text = said.read_text("utf-8")
        said.write_text(re.sub(r'name = "', f'name = "{number} ', text, count=1), "utf-8")


def run(root: Path, out: Path, workers: int) -> tuple[float, float]:
    """Return seconds, and the peak memory (MB) of the run itself, its workers left out."""
    script = (
        "import sys, resource\n"
        "from lateral_map.cli.main import main\n"
        "try:\n    main()\n"
        "finally:\n"
        "    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "    print('peak', peak, file=sys.stderr)\n"
    )
    command = [sys.executable, "-c", script, "batch", str(root), "--out", str(out),
               "--jobs", str(workers)]  # fmt: skip
    begin = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - begin
    return seconds, int(done.stderr.split("peak")[-1]) / 1e3


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="*", type=int, default=[1000, 4000])
    parser.add_argument("--workers", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        for size in asked.sizes:
            root = Path(scratch, str(size))
            make(root, size)
            for workers in (1, 2) if asked.workers else (os.cpu_count() or 1,):
                out = Path(scratch, f"out {size} {workers}")
                seconds, peak = run(root, out, workers)
                load = os.getloadavg()[0]
                sys.stdout.write(
                    f"{size} sites, {workers} workers: {seconds:.1f} s, {size / seconds:.1f} a "
                    f"second; the run itself "
                    f"{peak:.0f} MB at most; load {load:.1f}\n"
                )
                sys.stdout.flush()


if __name__ == "__main__":
    main()
