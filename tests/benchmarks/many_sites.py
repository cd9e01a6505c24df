"""Measure ``lateral-map batch``: rate, memory against the number of sites, two workers against one.

Run as ``python tests/benchmarks/many_sites.py SITES ...`` (1000 4000 where none is given). Each
size is a fresh process and a fresh programme: 200 made-up sites, and those under other names.
``--workers`` compares one and two workers. The load of the machine stands beside every figure; what
other work does not touch is the processor time, of the run itself in each of its parts and of its
workers, their start included (Linux only: orphans of the run are waited for here).
"""

from __future__ import annotations

import argparse
import ctypes
import json
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from batch.programme import write_programme

Spent = dict[str, float]
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


_RUN = """
import json, resource, sys, time
from pathlib import Path
from lateral_map.batch.run import Batch, run_batch
from lateral_map.batch.solve import Asked

spent = {"start": time.process_time()}
part = "Finding the sites"

def told(doing, *_):
    global part
    if doing != part:
        spent[part] = time.process_time() - sum(spent.values())
        part = doing

if __name__ == "__main__":
    root, out, workers, plain = sys.argv[1:]
    asked = Asked(root, diagnose=not plain)
    run_batch(Batch(asked, Path(out), jobs=int(workers)), told)
    spent[part] = time.process_time() - sum(spent.values())
    print(json.dumps([spent, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3]))
"""
_BE_WAITED_FOR = 36  # PR_SET_CHILD_SUBREAPER of Linux


def _processor_seconds() -> float:
    """Return what the children that have ended took, once all of them have."""
    with suppress(ChildProcessError):
        while True:
            os.wait()
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(root: Path, out: Path, workers: int, *, plain: bool) -> tuple[float, float, Spent]:
    """Return seconds, the peak memory (MB) of the run itself, and who took processor time."""
    command = [sys.executable, "-c", _RUN, str(root), str(out), str(workers), "plain" * plain]
    before, begin = _processor_seconds(), time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - begin
    spent, peak = json.loads(done.stdout)
    spent["workers"] = _processor_seconds() - before - sum(spent.values())
    return seconds, peak, spent


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("sizes", nargs="*", type=int, default=[1000, 4000])
    parser.add_argument("--workers", action="store_true")
    parser.add_argument("--no-diagnoses", action="store_true")
    asked = parser.parse_args()
    ctypes.CDLL(None).prctl(_BE_WAITED_FOR, 1)
    with tempfile.TemporaryDirectory() as scratch:
        for size in asked.sizes:
            root = Path(scratch, str(size))
            make(root, size)
            for workers in (1, 2) if asked.workers else (os.cpu_count() or 1,):
                out = Path(scratch, f"out {size} {workers}")
                seconds, peak, spent = run(root, out, workers, plain=asked.no_diagnoses)
                load = os.getloadavg()[0]
                told = ", ".join(f"{one} {1e3 * of / size:.1f}" for one, of in spent.items())
                sys.stdout.write(
                    f"{size} sites, {workers} workers: {seconds:.1f} s, {size / seconds:.1f} a "
                    f"second; the run itself {peak:.0f} MB at most; load {load:.1f}\n"
                    f"  ms of processor time a site: {told}; "
                    f"{size / sum(spent.values()):.1f} sites a second and core\n"
                )
                sys.stdout.flush()


if __name__ == "__main__":
    main()
