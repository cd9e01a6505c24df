"""The command line as a person runs it: its exit code and what it says."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from cli.running import LOCAL_SKETCH, Done, Run

from lateral_map.cli.main import main


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process."""

    def run(*words: str | Path, environment: dict[str, str] | None = None) -> Done:
        before = signal.getsignal(signal.SIGTERM)
        with monkeypatch.context() as patch:
            patch.setattr(sys, "argv", ["lateral-map", *map(str, words)])
            for name, value in {"COLUMNS": "100", **(environment or {})}.items():
                patch.setenv(name, value)
            with pytest.raises(SystemExit) as leaving:
                main()
        signal.signal(signal.SIGTERM, before)
        said = capsys.readouterr()
        return Done(int(leaving.value.code or 0), said.out, said.err)

    return run


@pytest.fixture(scope="session")
def run_apart() -> Run:
    """Run a command in a process of its own."""

    def run(*words: str | Path, environment: dict[str, str] | None = None, **more: Any) -> Done:
        done = subprocess.run(
            [sys.executable, "-m", "lateral_map", *map(str, words)],
            capture_output=True,
            encoding="utf-8",
            check=False,
            env={**os.environ, **(environment or {})},
            **more,
        )
        return Done(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A small site of one's own to damage."""
    folder = tmp_path / "site"
    shutil.copytree(LOCAL_SKETCH, folder)
    return folder
