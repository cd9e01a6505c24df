"""Damaged sites through ``lateral-map batch``: each must be a row, solved or refused with why.

``python tests/batch/fuzzing.py 10000`` writes that many damaged copies of made-up sites, runs the
batch over them, and prints the states and what is wrong: a site without a row, a fault of the
program, a refusal without a message, a traceback in one. Exit 1 where anything is.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from batch.programme import write_programme

from lateral_map.batch.run import STORE_NAME, Batch, run_batch
from lateral_map.batch.solve import Asked
from lateral_map.batch.store import Kept, Store

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


_WAYS: tuple[Callable[[bytes, random.Random], bytes], ...] = (cut, flip, another_value, lines)


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


def write_damaged(root: Path, count: int, seed: int = 0) -> int:
    """Write ``count`` damaged sites and return how many of them still are folders of a site."""
    whole = write_programme(root / "whole", min(count, 40), first=12)
    rng, there = random.Random(seed), 0
    for number in range(count):
        folder = root / "damaged" / f"{number // 1000}" / f"lot {number}"
        shutil.copytree(whole[number % len(whole)], folder)
        damage(folder, rng)
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


def run(root: Path, count: int, seed: int = 0, jobs: int = 0) -> tuple[Counter[str], list[str]]:
    """Return how many sites are in which state, and what is wrong."""
    there = write_damaged(root, count, seed)
    out = root.parent / f"{root.name} out"
    run_batch(Batch(Asked(str(root)), out, jobs=jobs), lambda *_: None)
    states: Counter[str] = Counter()
    wrong = []
    with closing(Store(out / STORE_NAME)) as store:
        for kept in store.kept():
            states[kept.state] += 1
            if found := find_wrong(kept):
                wrong.append(f"{kept.name}: {found}")
    if states.total() != there:
        wrong.append(f"{there} sites, {states.total()} rows")
    return states, wrong


def main() -> None:
    """Write, run and tell."""
    with tempfile.TemporaryDirectory() as scratch:
        states, wrong = run(Path(scratch, "sites"), int((sys.argv[1:] or ["10000"])[0]))
    sys.stdout.write(f"{dict(states)}\n" + "".join(f"{one}\n" for one in wrong[:100]))
    sys.stdout.write(f"{len(wrong)} wrong\n")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
