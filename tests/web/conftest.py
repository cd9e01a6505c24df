from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from web.yard import all_ended

SITES = Path(__file__).parents[1] / "sites"


@pytest.fixture(scope="session", autouse=True)
def _ended() -> Iterator[None]:
    yield
    all_ended()


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    return tmp_path / "keys"


@pytest.fixture
def sketch(tmp_path: Path) -> Path:
    """A copy of the sketch on a site of its own."""
    folder = tmp_path / "sketch"
    folder.mkdir()
    for path in (SITES / "local_sketch").iterdir():
        if path.is_file():
            (folder / path.name).write_bytes(path.read_bytes())
    return folder
