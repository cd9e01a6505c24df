"""Writing one file of a site so that a power cut, a kill or another program loses nothing."""

from __future__ import annotations

import codecs
import hashlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from lateral_map.export.atomic import sync_directory


class ChangedMeanwhileError(Exception):
    """The file is no longer what the new content was made from."""


def version_of(content: bytes | None) -> str:
    """Return the name of a file's content: its SHA-256, empty for a file that is not there."""
    return "" if content is None else hashlib.sha256(content).hexdigest()


def encoding_of(content: bytes) -> str:
    """Return how a site's text file is written: UTF-8, UTF-16, or else Windows-1252."""
    for mark, name in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if content.startswith(mark):
            return name
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def read_if_there(path: Path) -> bytes | None:
    """Return a file's content, None where there is no such file."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None


def replace_if_unchanged(path: Path, content: bytes | None, expected: str) -> None:
    """Put ``content`` in place of a file whose version is ``expected``; None takes it away.

    Written beside, flushed to the disk, then renamed: whoever reads sees the old file or the new
    one. Raises ``ChangedMeanwhileError`` where another program wrote in the meantime; its file then
    stays. What is left between the last look and the rename are some microseconds; a program that
    writes into the old file even then is noticed, for the old file is still at hand.
    """
    if content is None:
        if version_of(read_if_there(path)) != expected:
            raise ChangedMeanwhileError(path.name)
        path.unlink()
        sync_directory(path.parent)
        return
    beside = path.with_name(f".{path.name}.saving")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    try:
        with _kept_open(path) as old:
            if version_of(old()) != expected:
                raise ChangedMeanwhileError(path.name)
            if path.exists():
                beside.chmod(path.stat().st_mode & 0o7777)
            beside.replace(path)
            sync_directory(path.parent)
            late = old()
    finally:
        with suppress(FileNotFoundError):
            beside.unlink()
    if version_of(late) != expected:
        # Another program wrote into the file while it was being replaced: its content stands.
        if late is not None and read_if_there(path) == content:
            beside.write_bytes(late)
            beside.replace(path)
        raise ChangedMeanwhileError(path.name)


@contextmanager
def _kept_open(path: Path) -> Iterator[_Reader]:
    """Give a reader of the file as it is now; it reads the same file after that was replaced."""
    try:
        file = path.open("rb")
    except FileNotFoundError:
        yield _Reader(None)
        return
    with file:
        yield _Reader(file.fileno())


class _Reader:
    def __init__(self, descriptor: int | None) -> None:
        self._descriptor = descriptor

    def __call__(self) -> bytes | None:
        if self._descriptor is None:
            return None
        size = os.fstat(self._descriptor).st_size
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        parts, left = [], size
        while left > 0 and (part := os.read(self._descriptor, left)):
            parts.append(part)
            left -= len(part)
        return b"".join(parts)


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Hold a lock file, so that two servers on one folder write one after the other."""
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        _lock(descriptor)
        yield
    finally:
        os.close(descriptor)


if sys.platform == "win32":  # pragma: no cover - the other system's way of locking
    import msvcrt

    def _lock(descriptor: int) -> None:
        msvcrt.locking(descriptor, msvcrt.LK_LOCK, 1)
else:
    import fcntl

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
