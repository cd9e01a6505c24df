"""Apply each mutant in a copy, run the tests that mirror its module, and say which survive.

    python tests/mutants/run.py                 all of them, on every core
    python tests/mutants/run.py trench ties     those of files so named
    python tests/mutants/run.py --near          only the tests nearest to each module, in minutes

A mutant that survives the mirroring tests meets the wider suite, browsers left out. Exit code 1
where fewer than nine in ten are killed, 2 where a mutant's old text no longer stands exactly once.
Tests that fail without any mutant are left out and named. Hypothesis draws the same examples each
time.
"""

from __future__ import annotations

import importlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

import pytest  # noqa: E402

from mutants.mutants import MUTANTS, Mutant  # noqa: E402

MIRRORS = {
    "adjust": ["tests/adjust"],
    "analysis": ["tests/analysis", "tests/dig"],
    "model": ["tests/model", "tests/adjust", "tests/analysis"],
}
# Quick tests of all modules come first: most mutants end there.
NEAR = {
    "adjust": ["test_worked_by_hand", "test_closed_forms", "test_settling_of_numbers"],
    "analysis": ["test_worked_by_hand", "test_earthwork"],
    "model": ["test_worked_by_hand"],
}
# Modules whose tests stand under another name.
UNDER = {
    "null_depths": "test_depths",
    "depth_table": "test_depths",
    "slips": "test_diagnose",
    "mending": "test_diagnose",
    "readings": "test_set_aside",
    "site": "test_set_aside",
    "boundaries": "test_responsibility",
    "answering": "test_sides",
    "route": "test_noise",
    "main_end": "test_tap_station",
    "whitelines": "test_structures",
    "dug_into": "test_walls",
}
WIDER = ["tests/model", "tests/report", "tests/demos", "tests/truth"]
LEAST_KILLED = 0.9
LONGEST_S = 900
# Loaded once; a run for each mutant is then a fork that loads only the package itself.
HEAVY = (
    "numpy", "scipy.special", "scipy.interpolate", "scipy.optimize", "shapely", "pyproj",
    "playwright.sync_api", "geopandas", "tomlkit", "pydantic",
)  # fmt: skip


def stale(mutants: list[Mutant]) -> list[str]:
    """Return what is wrong with mutants whose old text is gone or stands more than once."""
    found = []
    for one in mutants:
        count = (ROOT / "lateral_map" / one.file).read_text(encoding="utf-8").count(one.old)
        if count != 1:
            found.append(f"{one.file}: {one.old!r} stands there {count} times, not once")
    return found


def mirroring(file: str) -> tuple[list[str], list[str]]:
    """Return the test files nearest to a module, and the others that mirror it."""
    folder, stem = file.split("/", maxsplit=1)[0], Path(file).stem
    near, others = [], []
    for place in MIRRORS[folder]:
        for path in sorted((ROOT / place).glob("test_*.py")):
            named = path.stem in (*NEAR[folder], UNDER.get(stem)) or stem.rstrip("s") in path.stem
            (near if named else others).append(str(path.relative_to(ROOT)))
    return near, others


class Failures:
    """A pytest plugin: which tests and files failed."""

    def __init__(self) -> None:
        self.names: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.names.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.names.append(report.nodeid)


def run_tests(copy: Path, tests: list[str], *, warm: bool) -> int:
    """Return pytest's exit code; ``warm`` leaves compiled files and the failing tests' names."""
    os.setsid()
    os.chdir(copy)
    sys.dont_write_bytecode = not warm
    sys.path[:0] = [str(copy), str(copy / "tests")]
    for name in [one for one in sys.modules if one.split(".", maxsplit=1)[0] == "mutants"]:
        del sys.modules[name]
    marks = "not slow and not benchmark and not browser"
    how = ["--continue-on-collection-errors"] if warm else ["-x"]
    failures = Failures()
    with (copy / "said.txt").open("w", encoding="utf-8") as out:
        os.dup2(out.fileno(), 1)
        os.dup2(out.fileno(), 2)
        code = pytest.main(
            ["-q", "-m", marks, "-p", "no:cacheprovider", *how, *tests], plugins=[failures]
        )
    if warm:
        (copy / "failing.json").write_text(json.dumps(failures.names), encoding="utf-8")
    return int(code)


def passes(copy: Path, tests: list[str], *, warm: bool = False) -> bool:
    """Run tests in a fork of this process, in ``copy``; a fork that hangs has not passed."""
    child = os.fork()
    if not child:
        try:
            os._exit(run_tests(copy, tests, warm=warm))
        except BaseException:  # noqa: BLE001  # a fork must never go on where its parent would
            traceback.print_exc()
            os._exit(99)
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.1)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def killed_by(copy: Path, mutant: Mutant, stages: dict[str, list[str]]) -> str:
    """Return the stage whose tests kill a mutant; empty where it survives them all."""
    path = copy / "lateral_map" / mutant.file
    before, times = path.read_text(encoding="utf-8"), path.stat()
    path.write_text(before.replace(mutant.old, mutant.new), encoding="utf-8")
    # Never the original's time, or its compiled form would be taken.
    os.utime(path, (times.st_atime, times.st_mtime + 100))
    try:
        return next((name for name, tests in stages.items() if not passes(copy, tests)), "")
    finally:
        path.write_text(before, encoding="utf-8")
        os.utime(path, (times.st_atime, times.st_mtime))


def work(share: list[Mutant], results: Path, *, near_only: bool) -> None:
    """Judge a share of the mutants in a copy of its own."""
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder) / "copy"
        skip = shutil.ignore_patterns(".git", ".venv", "__pycache__", "out", ".hypothesis", "docs")
        shutil.copytree(ROOT, copy, ignore=skip)
        (copy / "docs").symlink_to(ROOT / "docs")
        without: dict[str, list[str]] = {}
        with results.open("w", encoding="utf-8") as out:
            for mutant in share:
                near, others = mirroring(mutant.file)
                stages = {"near": near}
                if not near_only:
                    stages |= {"mirror": others, "wider": WIDER}
                for tests in stages.values():
                    without |= {t: failing(copy, t) for t in tests if t not in without}
                stages = {
                    name: [
                        w
                        for t in tests
                        for w in (*without[t], *([t] * (f"--ignore={t}" not in without[t])))
                    ]
                    for name, tests in stages.items()
                }
                by = killed_by(copy, mutant, stages)
                left_out = sorted(
                    {one for found in without.values() for one in found if "=" in one}
                )
                out.write(json.dumps({"by": by, "without": left_out}) + "\n")
                out.flush()
                print(f"{by or 'SURVIVED':9}{mutant.file}: {mutant.why}", flush=True)  # noqa: T201


def failing(copy: Path, tests: str) -> list[str]:
    """Return pytest's words for leaving out what fails in a file or folder without any mutant."""
    passes(copy, [tests], warm=True)
    names = json.loads((copy / "failing.json").read_text(encoding="utf-8"))
    return [f"--deselect={name}" if "::" in name else f"--ignore={name}" for name in names]


def main(names: list[str]) -> int:
    """Judge all mutants, or those of the files named, and print the sum."""
    near_only = "--near" in names
    names = [name for name in names if name != "--near"]
    chosen = [m for m in MUTANTS if not names or Path(m.file).stem in names]
    if wrong := stale(chosen):
        print("\n".join(wrong))  # noqa: T201
        return 2
    os.environ["CI"] = "1"
    for name in HEAVY:
        importlib.import_module(name)
    workers = min(os.cpu_count() or 1, len(chosen), 8)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        files = [Path(folder) / f"{index}.jsonl" for index in range(workers)]
        children = []
        for index, file in enumerate(files):
            child = os.fork()
            if not child:
                work(chosen[index::workers], file, near_only=near_only)
                os._exit(0)
            children.append(child)
        for child in children:
            os.waitpid(child, 0)
        found = [json.loads(line) for file in files for line in file.read_text().splitlines()]
    for name in sorted({name for one in found for name in one["without"]}):
        print(f"left out, it fails without any mutant: {name}")  # noqa: T201
    killed = sum(bool(one["by"]) for one in found)
    print(f"{killed} of {len(found)} mutants killed ({killed / len(found):.0%})")  # noqa: T201
    return 0 if killed >= LEAST_KILLED * len(chosen) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
