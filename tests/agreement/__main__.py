"""``python -m agreement --sites 300``: every product of so many made-up sites against result.json.

Run from ``tests``. Prints a line for each disagreement, and exits with 1 where there is any.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from agreement.bar import disagreements
from agreement.sites import write_site


def check_seed(seed: int, papers: bool) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "site"
        write_site(site, seed)
        try:
            return disagreements(site, papers=papers)
        except Exception as error:  # one site that cannot be made must not hide the others
            return [f"not made: {error!r}"]


def main() -> int:
    parser = argparse.ArgumentParser(description="Hold every product against result.json.")
    parser.add_argument("--sites", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument(
        "--no-papers", action="store_true", help="leave out the PDFs and the owner's page"
    )
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.sites)
    count = 0
    with ProcessPoolExecutor(asked.jobs) as pool:
        check = partial(check_seed, papers=not asked.no_papers)
        for seed, found in zip(seeds, pool.map(check, seeds), strict=True):
            count += len(found)
            for said in found:
                print(f"site {seed}: {said}", flush=True)
            if seed % 20 == 19:
                print(f"{seed + 1 - asked.first} sites, {count} disagreements", flush=True)
    print(f"{asked.sites} sites, {count} disagreements")
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main())
