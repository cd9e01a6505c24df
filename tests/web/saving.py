"""Saving without end, in a process of its own that may be killed."""

from __future__ import annotations

import itertools
import multiprocessing
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerProcess
from pathlib import Path

from lateral_map.web.store import FeatureEdit, RowEdit, SettingEdit, SiteStore

# Its processes are forked with the program loaded already, none of them from this one.
_FORKED = multiprocessing.get_context("forkserver")
_FORKED.set_forkserver_preload(["lateral_map.web.store"])


def save_without_end(folder: Path, first: int, told: Connection) -> None:
    """Save rows, settings and plan features, and tell each one that the disk has taken."""
    site = SiteStore(folder)
    told.send(("ready", 0))
    for number in itertools.count(first):
        values = {"mark": f"K{number}", "footage": "45", "depth": "3", "note": "x" * 4000}
        site.save_rows(f"op-row-{number:06}", "locates.csv", [RowEdit(values)], "row")
        told.send(("row", number))
        if number % 5 == 0:
            seen = site.settings().get("start.ground")
            edit = SettingEdit("start.ground", str(number), seen)
            site.save_settings(f"op-set-{number:06}", [edit], "")
            told.send(("setting", number))
        if number % 7 == 0:
            at = {"type": "Point", "coordinates": [number, 1]}
            part = FeatureEdit({"kind": "reference", "name": f"P{number}"}, at)
            site.save_feature(f"op-plan-{number:06}", part, "")
            told.send(("feature", number))


@contextmanager
def saving(folder: Path, first: int) -> Iterator[tuple[ForkServerProcess, Connection]]:
    """Yield a process that saves without end, and where it tells what it has saved."""
    hears, tells = _FORKED.Pipe(duplex=False)
    process = _FORKED.Process(target=save_without_end, args=(folder, first, tells), daemon=True)
    process.start()
    tells.close()
    try:
        yield process, hears
    finally:
        process.kill()
        process.join()
        hears.close()
