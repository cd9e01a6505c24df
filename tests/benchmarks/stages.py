"""Processor time of each stage from site folder to result.json, beside another version's.

Run as ``python tests/benchmarks/stages.py``; it prints the table of docs/reliability.md. With
``--against FOLDER`` (a checkout of another version) both are measured by turns in one run, each in
a process of its own, so that what else the machine does falls on both.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

TESTS = Path(__file__).parents[1]
STAGES = ("load", "adjust", "report", "result", "job", "solve60", "adjust100", "report100")
# How many site folders of tests/batch/programme.py, jobs of tests/truth/jobs.py, and turns.
FOLDERS, JOBS, ROUNDS = 24, 16, 5


def measure(root: Path) -> dict[str, float]:
    """Return median milliseconds of processor time a site of every stage, this version's."""
    from benchmarks.sizes import line_of_nodes
    from benchmarks.test_save_to_redraw import write_site
    from truth.jobs import draw_job

    from lateral_map.adjust.chain import turns_at_nodes
    from lateral_map.adjust.route import adjust_route, solve_site, solve_system
    from lateral_map.adjust.starts import first_guess
    from lateral_map.export.registry import make_products
    from lateral_map.model.threads import one_blas_thread
    from lateral_map.reading.folder import load_site
    from lateral_map.report import build_report, report_on

    spent: dict[str, list[float]] = {stage: [] for stage in STAGES}

    def clock(stage: str, work: Callable[..., Any], *given: Any) -> Any:
        begin = time.process_time()
        done = work(*given)
        spent[stage].append(1e3 * (time.process_time() - begin))
        return done

    folders = sorted(path.parent for path in root.rglob("site.toml"))
    jobs = [draw_job(seed)[0] for seed in range(JOBS)]
    line = line_of_nodes(60)
    with one_blas_thread():
        system = solve_site(line)[0]
        guess = first_guess(line, system.layout, turns_at_nodes(line, system.chain), 1.5708)

        def solve() -> Any:
            # Afresh, so that nothing formed once is taken from the last time.
            return solve_system(replace(system), guess).normal.inverse()

        build_report(load_site(folders[0]))
        for folder in folders:
            site = clock("load", load_site, folder)
            route = clock("adjust", adjust_route, site)
            report = clock("report", report_on, route)
            clock("result", make_products, report, ("result",))
        for job in jobs:
            clock("job", build_report, job)
        for _ in range(20):
            clock("solve60", solve)
        with tempfile.TemporaryDirectory() as scratch:
            write_site(large := Path(scratch, "site"), 100)
            site = load_site(large)
        for _ in range(6):
            clock("report100", report_on, clock("adjust100", adjust_route, site))
    return {stage: statistics.median(times) for stage, times in spent.items()}


def run(version: Path, root: Path) -> dict[str, float]:
    """Return what a process with the package of ``version`` measures."""
    command = [sys.executable, __file__, "--measure", str(root)]
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(version), str(version / "tests")])}
    done = subprocess.run(command, env=env, check=True, capture_output=True, text=True)
    return dict(json.loads(done.stdout))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Time the road from folder to result.")
    parser.add_argument("--against", type=Path, help="a checkout of another version")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        sys.stdout.write(json.dumps(measure(asked.measure)))
        return
    versions = [TESTS.parent, *([asked.against.resolve()] if asked.against else [])]
    sys.path.insert(0, str(TESTS))
    from batch.programme import write_programme

    with tempfile.TemporaryDirectory() as folder:
        write_programme(Path(folder), FOLDERS)
        rounds = [[run(version, Path(folder)) for version in versions] for _ in range(ROUNDS)]
    told = ["this version", "the other"][: len(versions)]
    sys.stdout.write(f"| stage | {' | '.join(told)} |\n| --- |{' ---: |' * len(told)}\n")
    for stage in STAGES:
        each = [statistics.median(one[stage] for one in own) for own in zip(*rounds, strict=True)]
        sys.stdout.write(f"| {stage} | {' | '.join(f'{ms:.1f}' for ms in each)} |\n")
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    sys.stdout.write(f"milliseconds of processor time, median a site; machine load {load}\n")


if __name__ == "__main__":
    main()
