"""Run a programme on a cluster of two worker processes, one of which is killed in mid-run.

A process of its own, as a person's would be: ``python losing_a_worker.py ROOT OUT`` prints how many
sites there are, how many were solved, and how many workers were killed.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

from distributed import LocalCluster

from lateral_map.batch.run import Batch, run_batch
from lateral_map.batch.solve import Asked


def main() -> None:
    killed: list[int] = []
    with LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as cluster:

        def kill_one(doing: str, done: int, _of: int) -> None:
            if doing == "Solving" and done and not killed:
                killed.append(next(iter(cluster.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        address = cluster.scheduler_address
        batch = Batch(Asked(sys.argv[1]), Path(sys.argv[2]), scheduler=address, chunk=1)
        ran = run_batch(batch, kill_one)
    sys.stdout.write(f"{ran.sites} {ran.solved_now} {len(killed)}\n")


if __name__ == "__main__":
    main()
