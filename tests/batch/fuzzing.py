"""Damaged sites through ``lateral-map batch``: each must be a row, solved or refused with why.

``python tests/batch/fuzzing.py 10000`` writes that many damaged copies of made-up sites, every
other one so gently that it may still be solved, runs the batch over them, and prints the states and
what is wrong: a site without a row, a fault of the program, a refusal without a message, a
traceback in one, and of every tenth that is solved another result than ``draw`` has. Exit 1 where
anything is. ``--seed`` damages otherwise, ``--first`` takes other sites, ``--jobs`` so many
processes.
"""

from __future__ import annotations

import argparse
import hashlib
import random
import re
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from batch.programme import write_programme

from lateral_map import build_report, load_site
from lateral_map.batch.run import STORE_NAME, Batch, run_batch
from lateral_map.batch.solve import Asked
from lateral_map.batch.store import Kept, Store
from lateral_map.export.result import result_json

_VALUES = (
    "", "-1", "0", "1e308", "nan", "inf", "-", "=1+1", "7'6\"", "9" * 400, "true", "[]", "{}",
    "\x00", "\ufffd", "{{7*7}}", "<script>", "\u202e", "1,5", "1e-300",
)  # fmt: skip


def cut(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def flip(data: bytes, rng: random.Random) -> bytes:
    changed = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        if changed:
            changed[rng.randrange(len(changed))] = rng.randrange(256)
    return bytes(changed)


def another_value(data: bytes, rng: random.Random) -> bytes:
    """Put something else where a number or a word stands."""
    parts = (
        data.replace(b",", b"\0,\0").replace(b" ", b"\0 \0").replace(b"\n", b"\0\n\0").split(b"\0")
    )
    for _ in range(rng.randint(1, 3)):
        parts[rng.randrange(len(parts))] = rng.choice(_VALUES).encode("utf-8", "replace")
    return b"".join(parts)


def lines(data: bytes, rng: random.Random) -> bytes:
    """Leave out, double or shuffle lines."""
    given = data.split(b"\n")
    at = rng.randrange(len(given))
    match rng.randrange(3):
        case 0:
            del given[at]
        case 1:
            given[at:at] = [given[at]] * rng.randint(1, 5)
        case _:
            rng.shuffle(given)
    return b"\n".join(given)


def number(data: bytes, rng: random.Random) -> bytes:
    """Put another number where one stands: nearly the same, its sign or a digit mistaken."""
    found = list(re.finditer(rb"-?\d+(?:\.\d+)?", data))
    if not found:
        return data
    at = rng.choice(found)
    value = float(at[0])
    other = (1.01 * value, value + 1.0, value - 1.0, -value, 10.0 * value, 0.1 * value, 0.0,
             100.0 * value, float(round(value)))  # fmt: skip
    return data[: at.start()] + f"{rng.choice(other):.10g}".encode() + data[at.end() :]


def cells(data: bytes, rng: random.Random) -> bytes:
    """Empty a cell, or exchange two of one column."""
    rows = [line.split(b",") for line in data.split(b"\n")]
    one, other = rng.choice(rows), rng.choice(rows)
    at = rng.randrange(min(len(one), len(other)))
    if rng.random() < 0.5:
        one[at] = b""
    else:
        one[at], other[at] = other[at], one[at]
    return b"\n".join(b",".join(row) for row in rows)


Way = Callable[[bytes, random.Random], bytes]
_WAYS: tuple[Way, ...] = (cut, flip, another_value, lines)
_GENTLE: tuple[Way, ...] = (number, number, cells)


def damage_gently(folder: Path, rng: random.Random) -> None:
    """Write one or two numbers or cells of a site otherwise."""
    for _ in range(rng.randint(1, 2)):
        path = rng.choice(sorted(path for path in folder.iterdir() if path.is_file()))
        path.write_bytes(rng.choice(_GENTLE)(path.read_bytes(), rng))


def damage(folder: Path, rng: random.Random) -> None:
    """Damage one to three of a site's files, or take one away."""
    for _ in range(rng.randint(1, 3)):
        files = sorted(path for path in folder.iterdir() if path.is_file())
        if not files:
            return
        path = rng.choice(files)
        match rng.randrange(12):
            case 0:
                path.unlink()
            case 1:
                path.write_bytes(b"")
            case 2:
                path.unlink()
                path.mkdir()
            case _:
                path.write_bytes(rng.choice(_WAYS)(path.read_bytes(), rng))


def write_damaged(root: Path, count: int, seed: int = 0, first: int = 12) -> int:
    """Write ``count`` damaged sites and return how many of them still are folders of a site."""
    whole = write_programme(root / "whole", min(count, 40), first=first)
    rng, there = random.Random(seed), 0
    for number in range(count):
        folder = root / "damaged" / f"{number // 1000}" / f"lot {number}"
        shutil.copytree(whole[number % len(whole)], folder)
        (damage_gently if number % 2 else damage)(folder, rng)
        names = {path.name for path in folder.iterdir() if path.is_file()}
        there += bool(names & {"site.toml", "locates.csv", "bends.csv", "findings.csv"})
    shutil.rmtree(root / "whole")
    return there


def find_wrong(kept: Kept) -> str:
    """Return what is wrong with a site's row; empty where nothing is."""
    if kept.state == "solved":
        return "" if kept.facts.get("result_sha256") else "solved without a result"
    if kept.state != "refused":
        return f"{kept.state}: {kept.message}"
    if not kept.message.strip() or "Traceback" in kept.message:
        return f"refused without words: {kept.message!r}"
    return ""


def run(
    root: Path, count: int, seed: int = 0, jobs: int = 0, first: int = 12
) -> tuple[Counter[str], list[str]]:
    """Return how many sites are in which state, and what is wrong."""
    there = write_damaged(root, count, seed, first)
    out = root.parent / f"{root.name} out"
    run_batch(Batch(Asked(str(root)), out, jobs=jobs), lambda *_: None)
    states: Counter[str] = Counter()
    wrong = []
    with closing(Store(out / STORE_NAME)) as store:
        for kept in store.kept():
            states[kept.state] += 1
            if found := find_wrong(kept):
                wrong.append(f"{kept.name}: {found}")
            if kept.state == "solved" and states["solved"] % 10 == 1:
                # In another process and order: nothing solved before may show in an answer.
                drawn = result_json(build_report(load_site(root / kept.name))).encode()
                if hashlib.sha256(drawn).hexdigest() != kept.facts["result_sha256"]:
                    wrong.append(f"{kept.name}: another result than draw has")
    if states.total() != there:
        wrong.append(f"{there} sites, {states.total()} rows")
    return states, wrong


def main() -> None:
    """Write, run and tell."""
    parser = argparse.ArgumentParser()
    parser.add_argument("count", type=int, nargs="?", default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--first", type=int, default=12)
    parser.add_argument("--jobs", type=int, default=0)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        states, wrong = run(
            Path(scratch, "sites"), asked.count, asked.seed, asked.jobs, asked.first
        )
    sys.stdout.write(f"{dict(states)}\n" + "".join(f"{one}\n" for one in wrong[:100]))
    sys.stdout.write(f"{len(wrong)} wrong\n")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
