"""One file replaced, whoever else has it open."""

from __future__ import annotations

from pathlib import Path

import pytest

from lateral_map.web import disk
from lateral_map.web.disk import ChangedMeanwhileError, replace_if_unchanged, version_of


def test_a_file_is_made_and_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    replace_if_unchanged(path, b"one", "")
    path.chmod(0o640)
    replace_if_unchanged(path, b"two", version_of(b"one"))
    assert path.read_bytes() == b"two"
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("there", [b"other", None])
def test_a_file_that_is_not_what_was_read_stays(tmp_path: Path, there: bytes | None) -> None:
    path = tmp_path / "a.csv"
    if there is not None:
        path.write_bytes(there)
    with pytest.raises(ChangedMeanwhileError):
        replace_if_unchanged(path, b"ours", version_of(b"one"))
    assert (path.read_bytes() if path.exists() else None) == there


def test_what_was_written_into_the_old_file_at_the_last_moment_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"one")
    with path.open("r+b", buffering=0) as other:  # a program that writes into the file it opened

        def late(_: Path) -> None:
            other.write(b"theirs")

        monkeypatch.setattr(disk, "sync_directory", late)
        with pytest.raises(ChangedMeanwhileError):
            replace_if_unchanged(path, b"ours", version_of(b"one"))
    assert path.read_bytes() == b"theirs"


@pytest.mark.parametrize(
    ("content", "name"),
    [(b"caf\xc3\xa9", "utf-8"), (b"caf\xe9", "cp1252"), ("x".encode("utf-16"), "utf-16-le")],
)
def test_the_encoding_of_a_table(content: bytes, name: str) -> None:
    assert disk.encoding_of(content) == name
