"""Saving without half-written files: everything is written beside its place, then moved into it.

A reader of the folder sees either the old files or the new ones, whole. Where a move fails
half-way through a set of files, those already moved are put back.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from lateral_map.errors import ExportError

_STAGING = ".writing-"
_ABANDONED_S = 3600.0


def write_folder(folder: Path, contents: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write several files (name -> content) into ``folder``, all of them or none.

    A folder made for the purpose is taken away again on failure. Raises ``ExportError``.
    """
    with staged_folder(folder) as fresh:
        for name, content in contents.items():
            (fresh / name).write_bytes(content)
    return tuple(folder / name for name in contents)


@contextmanager
def staged_folder(folder: Path) -> Iterator[Path]:
    """Yield a folder to write files in, all of which then move into ``folder``, or none.

    ``folder`` is made if need be and taken away again on failure. Raises ``ExportError``.
    """
    with _made(folder):
        # What a process that was killed left behind; a living one is long done by then.
        for directory in folder.glob(f"{_STAGING}*"):
            with suppress(OSError):
                if time.time() - directory.stat().st_mtime > _ABANDONED_S:
                    shutil.rmtree(directory, ignore_errors=True)
        # Inside the folder, so that the move never leaves its file system.
        with tempfile.TemporaryDirectory(
            prefix=_STAGING, dir=folder, ignore_cleanup_errors=True
        ) as staging:
            fresh, kept = Path(staging, "new"), Path(staging, "old")
            fresh.mkdir()
            kept.mkdir()
            yield fresh
            names = tuple(sorted(path.name for path in fresh.iterdir()))
            for name in names:
                with (fresh / name).open("rb+") as file:
                    os.fsync(file.fileno())
            _move_all(fresh, folder, kept, names)


def _move_all(fresh: Path, folder: Path, kept: Path, names: tuple[str, ...]) -> None:
    """Move every file into place; put the old ones back where one of the moves fails."""
    moved: list[str] = []
    for name in names:
        if (folder / name).exists():
            try:
                (kept / name).hardlink_to(folder / name)
            except OSError:  # a file system without a second name for a file
                shutil.copy2(folder / name, kept / name)
    try:
        for name in names:
            (fresh / name).replace(folder / name)
            moved.append(name)
    except BaseException:
        for name in moved:
            old, place = kept / name, folder / name
            with suppress(OSError):
                if old.exists():
                    old.replace(place)
                else:
                    place.unlink()
        raise
    sync_directory(folder)


def sync_directory(folder: Path) -> None:
    """Make a rename in ``folder`` survive a power cut, where the system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


@contextmanager
def _made(folder: Path) -> Iterator[None]:
    """Make ``folder`` if need be, and take away what was made if the body fails.

    The disk's refusals become one plain sentence.
    """
    made = tuple(path for path in (folder, *folder.parents) if not path.exists())
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException as error:
        for directory in made:
            with suppress(OSError):
                directory.rmdir()
        if not isinstance(error, OSError):
            raise
        reason = error.strerror or str(error)
        raise ExportError(
            f"{folder}: cannot be written ({reason}); "
            "nothing there was changed; free some space or give another folder"
        ) from error
