"""Saving all or nothing, under refusing disks and a process that dies at any moment."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from lateral_map.errors import ExportError
from lateral_map.export.atomic import write_folder

OLD = {"a": b"old a", "b": b"old b", "c": b"old c"}
NEW = {"a": b"new a", "b": b"new b", "c": b"new c"}


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "out"
    write_folder(folder, OLD)
    return folder


def test_writes_and_overwrites(folder: Path) -> None:
    (folder / "kept").write_bytes(b"someone else's")
    assert write_folder(folder, NEW) == tuple(folder / name for name in NEW)
    assert contents(folder) == NEW | {"kept": b"someone else's"}
    assert not [path for path in folder.iterdir() if path.is_dir()]


def test_makes_the_folder_it_writes_to(tmp_path: Path) -> None:
    write_folder(tmp_path / "deep" / "er", {"file": b"content"})
    assert contents(tmp_path / "deep" / "er") == {"file": b"content"}


@pytest.mark.parametrize("writes", range(3))
def test_full_disk_changes_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch, writes: int
) -> None:
    left = iter([True] * writes)

    def fsync(_: int) -> None:
        if not next(left, False):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", fsync)
    with pytest.raises(ExportError, match="No space left on device"):
        write_folder(folder, NEW)
    assert contents(folder) == OLD


@pytest.mark.parametrize("moves", range(3))
def test_refused_move_puts_the_old_files_back(
    folder: Path, monkeypatch: pytest.MonkeyPatch, moves: int
) -> None:
    left, replace = iter([True] * moves), Path.replace

    def refusing(self: Path, target: Path) -> Path:
        if self.parent.name == "new" and not next(left, False):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refusing)
    with pytest.raises(ExportError, match="Permission denied"):
        write_folder(folder, NEW | {"d": b"new d"})
    assert contents(folder) == OLD


def test_a_folder_in_the_way_of_a_file_is_refused(folder: Path) -> None:
    (folder / "d").mkdir()
    with pytest.raises(ExportError, match="cannot be written"):
        write_folder(folder, NEW | {"d": b"new d"})
    assert contents(folder) == OLD


def test_failure_leaves_no_new_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("os.fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_folder(tmp_path / "deep" / "er", NEW)
    assert not list(tmp_path.iterdir())


def test_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    with pytest.raises(ExportError, match="cannot be written"):
        write_folder(tmp_path / "out", NEW)
    assert (tmp_path / "out").read_text() == "a file"


DYING = """
import os, signal, sys
from pathlib import Path
from lateral_map.export import atomic
left = iter([True] * {steps})
def dying(work):
    def step(*arguments, **named):
        if not next(left, False):
            os.kill(os.getpid(), signal.SIGKILL)
        return work(*arguments, **named)
    return step
Path.replace, os.fsync = dying(Path.replace), dying(os.fsync)
atomic.write_folder(Path(sys.argv[1]), {contents!r})
"""


@pytest.mark.parametrize("steps", range(8))
def test_killed_at_any_step_leaves_whole_files(folder: Path, steps: int) -> None:
    """SIGKILL between any two syncs or moves: every file is old or new, and none is missing."""
    code = DYING.format(steps=steps, contents=NEW)
    done = subprocess.run([sys.executable, "-c", code, str(folder)], check=False)
    assert done.returncode == (-signal.SIGKILL if steps < 7 else 0)
    found = contents(folder)
    assert found.keys() == OLD.keys()
    assert all(found[name] in (OLD[name], NEW[name]) for name in found)
    if steps <= 3:
        assert found == OLD
    write_folder(folder, NEW)
    assert contents(folder) == NEW


def test_what_a_killed_run_left_is_cleared_later(folder: Path) -> None:
    old, young = folder / ".writing-old", folder / ".writing-young"
    for directory in (old, young):
        (directory / "new").mkdir(parents=True)
    os.utime(old, (0, 0))
    write_folder(folder, NEW)
    assert not old.exists()
    assert young.exists()
