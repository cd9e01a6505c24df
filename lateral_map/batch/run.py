"""``run_batch``: find, solve and gather every site under a root, going on from where it stopped."""

from __future__ import annotations

import hashlib
import os
import posixpath
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Protocol

from lateral_map.batch.engine import dask_engine, local_engine, solve_all
from lateral_map.batch.files import WGS_84, programme_crs
from lateral_map.batch.gather import Written, gather
from lateral_map.batch.solve import Asked
from lateral_map.batch.sources import Root, Source
from lateral_map.batch.store import Store
from lateral_map.errors import ExportError, LateralMapError
from lateral_map.export.atomic import write_folder

STORE_NAME: Final = "done.sqlite"
_RESULT: Final = "result.json"
_LONGEST_NAME: Final = 240  # bytes; most disks take 255
_LEAST_CHUNKS: Final = 4  # a worker, so that the last one to end keeps nobody waiting long


class Told(Protocol):
    """Hears how far a run is."""

    def __call__(self, doing: str, done: int, of: int, /) -> None:
        """Hear that ``done`` of ``of`` sites are through what is being done."""


@dataclass(frozen=True, slots=True)
class Batch:
    """One programme: where the sites are, where the files go, how it is run.

    ``scheduler`` is the address of a Dask scheduler, empty for this machine's cores. ``chunk`` is
    how many sites a worker takes at a time, at most.
    """

    asked: Asked
    out: Path
    crs: str = WGS_84
    jobs: int = 0
    scheduler: str = ""
    chunk: int = 50


@dataclass(frozen=True, slots=True)
class Ran:
    """What a run did: how many sites it found and solved now, and what was written."""

    sites: int
    solved_now: int
    written: Written


def run_batch(batch: Batch, told: Told) -> Ran:
    """Solve every site that is not done yet and write the programme's files.

    Raises ``LateralMapError`` where the root holds no sites or the files cannot be written; what
    was solved till then is kept, and the same call goes on from there.
    """
    root = Root(batch.asked.root)
    programme_crs(batch.crs)  # refused now rather than after hours
    try:
        batch.out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ExportError(
            f"{batch.out}: cannot be made ({error.strerror or error}); give another --out"
        ) from error
    with closing(Store(batch.out / STORE_NAME)) as store:
        told("Finding the sites", 0, 0)
        sites = store.note(root.find(leave_out=batch.out))
        for gone in store.forget():
            (_result_folder(batch, gone) / _RESULT).unlink(missing_ok=True)
        if not sites:
            raise LateralMapError(
                f"{batch.asked.root}: no site is under it; a site is a folder with a site.toml"
            )
        done = solved_now = 0
        told("Solving", 0, sites)
        workers = batch.jobs or os.cpu_count() or 1
        engine = dask_engine(batch.scheduler) if batch.scheduler else local_engine(workers)
        with engine as running:
            chunk = max(1, min(batch.chunk, sites // (running.workers * _LEAST_CHUNKS)))
            for outcomes in solve_all(running, batch.asked, store.sources(), chunk):
                for one in outcomes:
                    if one.result is not None:
                        write_folder(_result_folder(batch, one.source), {_RESULT: one.result})
                    elif one.state != "unchanged":  # an earlier run's is no longer so
                        (_result_folder(batch, one.source) / _RESULT).unlink(missing_ok=True)
                store.keep(outcomes)
                done += len(outcomes)
                solved_now += sum(one.state != "unchanged" for one in outcomes)
                told("Solving", done, sites)
        written = gather(
            store,
            batch.out,
            unit=batch.asked.unit,
            crs=batch.crs,
            title=Path(batch.asked.root).absolute().name if root.is_local else root.address,
            told=told,
        )
        return Ran(sites, solved_now, written)


def _result_folder(batch: Batch, source: Source) -> Path:
    """Return where a site's result.json stands: at the site's own path, under results.

    A folder's name that no disk takes, as an archive may have it, is cut, with a digest.
    """
    place = posixpath.normpath(posixpath.join("/", source.path, source.inside or ""))
    folder = batch.out / "results"
    for name in place.strip("/").split("/"):
        told = os.fsencode(name)
        taken = len(told) <= _LONGEST_NAME and name != _RESULT
        cut = f"{name[: _LONGEST_NAME // 4]}~{hashlib.sha256(told).hexdigest()[:16]}"
        folder /= name if taken else cut
    return folder


def watch(batch: Batch, told: Told, each: Callable[[Ran], None], wait: Callable[[], None]) -> None:
    """Run, then run again whenever a site's files change, until interrupted.

    ``each`` is given every run's outcome, ``wait`` waits between two looks. Raises what
    ``run_batch`` raises.
    """
    root = Root(batch.asked.root)
    if not root.is_local:
        raise LateralMapError("--watch looks at local folders only; give a folder of this machine")
    seen = None
    while True:
        now = root.fingerprint(leave_out=batch.out)
        if now != seen:
            seen = now
            each(run_batch(batch, told))
        wait()
