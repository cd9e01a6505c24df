"""Every product of made-up sites, each held against result.json.

    python tests/agreement/run.py                  300 sites, everything
    python tests/agreement/run.py --no-papers      without the PDFs and the owner's page, in minutes
    python tests/agreement/run.py --first 39 --sites 1

Prints a line for each disagreement; exit code 1 where there is any.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

# One thread each: two processes must not fight over the cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from agreement.bar import disagreements  # noqa: E402
from agreement.sites import write_site  # noqa: E402


def check_seed(seed: int, papers: bool) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "site"
        write_site(site, seed)
        return disagreements(site, papers=papers)


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
        papers = not asked.no_papers
        waiting = [(seed, pool.submit(check_seed, seed, papers)) for seed in seeds]
        for done, (seed, site) in enumerate(waiting, start=1):
            # One site that cannot be made must not hide the others.
            error = site.exception()
            found = [f"cannot be made: {error!r}"] if error else site.result()
            count += len(found)
            sys.stdout.writelines(f"site {seed}: {said}\n" for said in found)
            if done % 20 == 0 or done == len(waiting):
                sys.stdout.write(f"{done} sites, {count} disagreements\n")
            sys.stdout.flush()
    return 1 if count else 0


if __name__ == "__main__":
    sys.exit(main())
