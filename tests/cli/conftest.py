"""The command line as a person runs it: a process of its own, its exit code and what it says."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cli.running import LOCAL_SKETCH, Completed, Run


@pytest.fixture(scope="session")
def run() -> Run:
    def run(
        *arguments: str | Path, environment: dict[str, str] | None = None, **more: Any
    ) -> Completed:
        return subprocess.run(
            [sys.executable, "-m", "lateral_map", *map(str, arguments)],
            capture_output=True,
            encoding="utf-8",
            check=False,
            env={**os.environ, "COLUMNS": "100", **(environment or {})},
            **more,
        )

    return run


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A small site of one's own to damage."""
    folder = tmp_path / "site"
    shutil.copytree(LOCAL_SKETCH, folder)
    return folder
