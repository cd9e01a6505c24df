"""What a worker does: a chunk of sites, each within a bound of time and memory, each an outcome.

A worker of our own takes one chunk at a time on its main thread, where the system itself keeps the
bounds: an alarm, a limit of address space, and, for code that never comes back to Python, a limit
of processor time that ends the process. On a thread of another engine's worker the time bound
interrupts Python code only, and memory is that engine's to bound.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import FrameType
from typing import Final, NoReturn

from lateral_map import __version__
from lateral_map.batch.sources import Root, Source, digest_folder
from lateral_map.batch.store import Outcome, State
from lateral_map.batch.tables import pack, place_order, report_facts, report_rows
from lateral_map.errors import ImpossibleError, LateralMapError
from lateral_map.export.outward import lay_out
from lateral_map.export.result import result_record
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report
from lateral_map.words.programme import (
    beyond_memory_words,
    beyond_time_words,
    program_fault_words,
    unreadable_words,
)
from lateral_map.words.sayings import say_impossible

try:
    import resource
except ImportError:  # a system without it bounds no memory
    resource = None  # type: ignore[assignment]

# What reading and solving load when they first need it.
_LIBRARIES: Final = (
    "pyogrio.raw", "pyproj.transformer", "scipy.interpolate", "scipy.ndimage", "scipy.spatial",
    "threadpoolctl",
)  # fmt: skip
_LAYOUT: Final = 2  # of the rows; another one makes every site be solved anew
_LONGEST_MESSAGE: Final = 4_000


@dataclass(frozen=True, slots=True)
class Asked:
    """What is wanted of every site: the unit of its rows, its bounds, whether to keep result.json.

    ``memory_mb`` is what one site may take beyond what the worker itself holds. ``diagnose`` says
    whether to look for what would explain readings that disagree.
    """

    root: str
    unit: str = "ft"
    seconds: float = 60.0
    memory_mb: int = 2_000
    results: bool = False
    diagnose: bool = True

    @property
    def salt(self) -> str:
        """What an outcome depends on besides the site's files."""
        return f"{__version__} {_LAYOUT} {self.unit} {self.results} {self.diagnose}"


class _OutOfTimeError(BaseException):
    """The bound of time; no ``except Exception`` on the way may take it for its own."""


def load_libraries() -> None:
    """Load what solving needs: what one site may take is not to go into loading them.

    With too little memory left a library may also wait for it without end.
    """
    for name in _LIBRARIES:
        importlib.import_module(name)
    with suppress(ImportError):  # an extra, for ground.tif
        importlib.import_module("rasterio")


_open_root = lru_cache(maxsize=1)(Root)


def solve_chunk(asked: Asked, chunk: tuple[tuple[Source, str], ...]) -> list[Outcome]:
    """Solve each site of a chunk; one whose files have the digest beside it is left unchanged."""
    root = _open_root(asked.root)
    return [_solve(asked, root, source, known) for source, known in chunk]


def _solve(asked: Asked, root: Root, source: Source, known: str) -> Outcome:
    begin, digest = time.perf_counter(), ""
    try:
        if source.trouble:
            digest = hashlib.sha256(f"{asked.salt} {source.trouble}".encode()).hexdigest()
            if digest == known:
                return Outcome(source, "unchanged")
        with _bounded(asked), root.folder(source) as folder:
            digest = digest_folder(folder, asked.salt)
            if digest == known:
                return Outcome(source, "unchanged")
            site = load_site(folder, pictures=False)
            report = build_report(site, diagnose=asked.diagnose)
            record = result_record(report)
            result = lay_out(record).encode()
            facts = report_facts(report, asked.unit)
            facts["result_sha256"] = hashlib.sha256(result).hexdigest()
            return Outcome(
                source,
                "solved",
                digest,
                place=place_order(facts["lon"], facts["lat"]),
                facts=facts,
                rows=pack(report_rows(report, asked.unit, record)),
                result=result if asked.results else None,
                seconds=round(time.perf_counter() - begin, 3),
                memory_mb=_peak_mb(),
            )
    except (Exception, _OutOfTimeError) as error:  # noqa: BLE001 - never the whole run's trouble
        state, why = _failure(asked, error)
    why = why.encode("utf-8", "replace").decode()
    if len(why) > _LONGEST_MESSAGE:
        why = f"{why[:_LONGEST_MESSAGE]}\n(and more)"
    seconds = round(time.perf_counter() - begin, 3)
    return Outcome(source, state, digest, why, seconds, _peak_mb())


def _failure(asked: Asked, error: BaseException) -> tuple[State, str]:
    """Return what an error makes of a site, and the words for it."""
    match error:
        case _OutOfTimeError():
            return "out of time", beyond_time_words(asked.seconds)
        case MemoryError():
            return "out of memory", beyond_memory_words(asked.memory_mb)
        case ImpossibleError():
            return "refused", _impossible_in_words(asked, error)
        case LateralMapError():
            return "refused", str(error)
        case OSError():
            where = Path(os.fsdecode(error.filename)).name if error.filename else "the folder"
            return "refused", unreadable_words(where, error.strerror or str(error))
    return "program fault", program_fault_words(f"{type(error).__name__}: {error}")


def _impossible_in_words(asked: Asked, error: ImpossibleError) -> str:
    """Say what is impossible and, where that is found within the bounds, what would explain it."""
    try:
        with _bounded(asked):
            return "\n".join([str(error), *(saying.words for saying in say_impossible(error))])
    except (_OutOfTimeError, MemoryError, Exception):  # noqa: BLE001 - the refusal itself stands
        return str(error)


@contextmanager
def _bounded(asked: Asked) -> Iterator[None]:
    """Hold the body to the bounds; raises ``_OutOfTimeError`` or ``MemoryError`` beyond them."""
    if sys.platform == "linux":
        with suppress(OSError):  # the most memory used is counted from here on
            Path("/proc/self/clear_refs").write_text("5", "ascii")
    if threading.current_thread() is not threading.main_thread() or resource is None:
        with _interrupted(asked.seconds):
            yield
        return
    # From a hang in code that never looks at signals, the processor's own clock ends the process.
    signal.signal(signal.SIGPROF, signal.SIG_DFL)
    before = signal.signal(signal.SIGALRM, _ring)
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    signal.setitimer(signal.ITIMER_PROF, 2.0 * asked.seconds + 5.0)
    signal.setitimer(signal.ITIMER_REAL, asked.seconds, 1.0)
    try:
        held = _held_bytes()
        if held is not None:
            most = held + asked.memory_mb * 1_000_000
            most = most if hard == resource.RLIM_INFINITY else min(most, hard)
            resource.setrlimit(resource.RLIMIT_AS, (most, hard))
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGALRM, before)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _ring(_number: int, _frame: FrameType | None) -> NoReturn:
    raise _OutOfTimeError


@contextmanager
def _interrupted(seconds: float) -> Iterator[None]:
    """Interrupt this thread's Python code after ``seconds``."""
    thread = ctypes.c_ulong(threading.get_ident())
    interrupt = ctypes.pythonapi.PyThreadState_SetAsyncExc
    timer = threading.Timer(seconds, interrupt, (thread, ctypes.py_object(_OutOfTimeError)))
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _held_bytes() -> int | None:
    """Return the address space held now, None where the system doesn't say."""
    with suppress(OSError, ValueError):
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
        return pages * os.sysconf("SC_PAGE_SIZE")
    return None


def _peak_mb() -> float | None:
    """Return the most memory (MB) resident since the site was begun, None where nobody says."""
    with suppress(OSError, ValueError, IndexError):
        status = Path("/proc/self/status").read_text("ascii")
        return round(int(status.split("VmHWM:")[1].split()[0]) / 1e3, 1)
    return None
