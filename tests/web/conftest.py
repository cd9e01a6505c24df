from __future__ import annotations

from pathlib import Path

import pytest

SITES = Path(__file__).parents[1] / "sites"


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
