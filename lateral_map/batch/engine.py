"""Chunks of sites through an executor: this machine's cores, or an engine on many machines.

Both have the shape of ``concurrent.futures``. Few chunks are under way at a time, so that memory
does not grow with the number of sites. A chunk whose worker died is run again site by site, one at
a time: the site that kills its worker is found, and the others of its chunk are not lost.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager
from importlib.util import find_spec
from itertools import islice
from multiprocessing.connection import wait as wait_for_end
from typing import Any

from lateral_map.batch.solve import Asked, load_libraries, solve_chunk
from lateral_map.batch.sources import Source
from lateral_map.batch.store import Outcome
from lateral_map.errors import LateralMapError
from lateral_map.words.programme import WORKER_DIED

Chunk = tuple[tuple[Source, str], ...]


class Engine:
    """An executor that can be had again after one of its processes took it down."""

    def __init__(self, workers: int, make: Callable[[], Executor]) -> None:
        self.workers = workers
        self._make = make
        self._executor = make()

    def submit(self, asked: Asked, chunk: Chunk) -> Future[list[Outcome]]:
        """Give a chunk to a worker."""
        try:
            return self._executor.submit(solve_chunk, asked, chunk)
        except RuntimeError:  # a process died since: its executor takes no more work
            self.renew()
            return self._executor.submit(solve_chunk, asked, chunk)

    def renew(self) -> None:
        """Have a fresh executor."""
        self._executor.shutdown(wait=False, cancel_futures=True)
        self._executor = self._make()

    def stop(self) -> None:
        """End it; what is under way is not waited for."""
        self._executor.shutdown(wait=False, cancel_futures=True)


@contextmanager
def local_engine(workers: int) -> Iterator[Engine]:
    """Yield the engine of this machine: ``workers`` processes with one thread each."""
    # Inherited by every worker: a site's matrices are small, a second thread only waits.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    context: Any = multiprocessing.get_context(
        "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
    )
    if context.get_start_method() == "forkserver":
        context.set_forkserver_preload(["lateral_map.batch.solve"])

    def make() -> Executor:
        return ProcessPoolExecutor(workers, context, initializer=_begin_worker)

    engine = Engine(workers, make)
    try:
        yield engine
    finally:
        engine.stop()


@contextmanager
def dask_engine(address: str) -> Iterator[Engine]:
    """Yield the engine behind a Dask scheduler. Raises ``LateralMapError`` where none answers."""
    if find_spec("distributed") is None:
        raise LateralMapError("--scheduler needs Dask: pip install 'lateral-map[cluster]'")
    from distributed import Client

    try:
        client: Any = Client(address, timeout="5s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as error:
        raise LateralMapError(
            f"{address}: no Dask scheduler answers ({error}); "
            "start one with 'dask scheduler' and give its tcp:// address"
        ) from error
    with client:
        threads = client.nthreads()
        if not threads:
            raise LateralMapError(f"{address}: the scheduler has no workers; start 'dask worker'")
        yield Engine(sum(threads.values()), lambda: client.get_executor(pure=False))


def solve_all(
    engine: Engine, asked: Asked, sites: Iterator[tuple[Source, str]], size: int
) -> Iterator[list[Outcome]]:
    """Yield the outcomes of every site, a chunk of at most ``size`` at a time, in no set order."""
    under_way: dict[Future[list[Outcome]], Chunk] = {}
    doubtful: deque[Chunk] = deque()
    fresh = iter(lambda: tuple(islice(sites, size)), ())
    more = True
    while more or under_way or doubtful:
        while more and not doubtful and len(under_way) <= engine.workers:
            chunk = next(fresh, None)
            more = chunk is not None
            if chunk:
                under_way[engine.submit(asked, chunk)] = chunk
        if doubtful and not under_way:  # alone, so that it is known who killed the worker
            chunk = doubtful.popleft()
            under_way[engine.submit(asked, chunk)] = chunk
        done, _ = wait(under_way, return_when=FIRST_COMPLETED)
        for future in done:
            chunk = under_way.pop(future)
            error = CancelledError() if future.cancelled() else future.exception()
            if error is None:
                yield future.result()
            elif len(chunk) > 1 or under_way or len(done) > 1:
                doubtful.extend((one,) for one in chunk)
            else:
                (source, _), *_ = chunk
                yield [Outcome(source, "worker died", message=WORKER_DIED)]


def _begin_worker() -> None:
    """Make a fresh process a worker: it ends with the run that started it."""
    load_libraries()
    gc.freeze()
    # Later, more is held as garbage: 500 MB after 200 sites. Sooner takes no less and saves little.
    gc.set_threshold(20_000, 20, 50)
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def end_with(sentinel: int) -> None:
        wait_for_end([sentinel])
        os._exit(1)

    threading.Thread(target=end_with, args=(parent.sentinel,), daemon=True).start()
