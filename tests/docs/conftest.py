"""A place to follow the documentation in."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

import pytest
from docs.pages import TOP


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder with a copy of the demo sites, the working directory; commands are found."""
    shutil.copytree(
        TOP / "demo_sites", tmp_path / "demo_sites", ignore=shutil.ignore_patterns("out")
    )
    monkeypatch.chdir(tmp_path)
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    monkeypatch.setenv("PATH", path)
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "200")
    return tmp_path
