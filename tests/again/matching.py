"""Pairs of runs whose truth is known: is what is called new, gone, worse, unchanged so?

    python tests/again/matching.py            60 pairs
    python tests/again/matching.py --first 7 --pairs 1

A pipe is seen twice, each time with errors of its own; counters read up to 20 ft apart, every third
second run comes from the other end. Of the first run's defects some are gone, some worse, some
less; others are new. Prints each answer that is wrong and how many are right; exit code 1 where
fewer than 98 of 100 are.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import numpy as np  # noqa: E402
from again.test_same_pipe import compared, from_the_other_end, run  # noqa: E402

NAMES = ("roots", "crack", "offset joint", "hole")
SEVERITIES = ("minor", "moderate", "severe")
LEAST_RIGHT = 0.98


def judged(seed: int) -> Iterator[tuple[str, str]]:
    """Yield (what is true, what is told) of every finding of a pair of runs."""
    rng = np.random.default_rng(seed)
    places = np.arange(8.0, 94.0, 4.0) + rng.uniform(-0.5, 0.5, 22)
    was = [(float(at), str(rng.choice(NAMES)), int(rng.integers(0, 3))) for at in places]
    fate = [str(one) for one in rng.choice(["same", "same", "gone", "new", "changed"], 22)]
    before, now = [], []
    true: dict[tuple[int | None, int | None], str] = {}
    for (at, name, bad), what in zip(was, fate, strict=True):
        later = at + float(rng.normal(0.0, 0.2))
        then = (bad + int(rng.integers(1, 3))) % 3 if what == "changed" else bad
        if what != "new":
            before.append((at, name, SEVERITIES[bad]))
        if what != "gone":
            now.append((later, name, SEVERITIES[then]))
        one = len(before) if what != "new" else None
        other = len(now) if what != "gone" else None
        change = "worse" if then > bad else "less" if then < bad else "unchanged"
        true[one, other] = what if what in ("gone", "new") else change
    off_ft = float(rng.choice([0.0, -6.0, 20.0]))
    back = seed % 3 == 2
    second = run(*now, off_ft=0.0 if back else off_ft, seed=1000 + seed)
    if back:
        second = from_the_other_end(second)
    told = {
        (
            each.before and each.before.number,
            each.now and (len(now) + 1 - each.now.number if back else each.now.number),
        ): each.change
        for each in compared(run(*before, seed=seed), second).compared
    }
    for pair in {**true, **told}:
        yield true.get(pair, f"no such pair {pair}"), told.get(pair, f"not told {pair}")


def main() -> int:
    parser = argparse.ArgumentParser(description="Match pairs of runs whose truth is known.")
    parser.add_argument("--pairs", type=int, default=60)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    asked = parser.parse_args()
    right = many = 0
    kinds: Counter[str] = Counter()
    for seed in range(asked.first, asked.first + asked.pairs):
        for true, told in judged(seed):
            many += 1
            right += true == told
            kinds[true] += true == told
            if true != told:
                sys.stdout.write(f"pair {seed}: {true}, told {told}\n")
    counted = ", ".join(f"{count} {what}" for what, count in kinds.items() if count)
    sys.stdout.write(f"{asked.pairs} pairs, {many} answers, {right} right: {counted}\n")
    return 0 if right >= LEAST_RIGHT * many else 1


if __name__ == "__main__":
    sys.exit(main())
