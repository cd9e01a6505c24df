"""The documented command line is the real one."""

from __future__ import annotations

import subprocess
import sys

from cli.running import ROOT


def test_reference_page_is_the_real_help() -> None:
    done = subprocess.run(
        [sys.executable, ROOT / ".ci" / "cli_reference.py", "--check"], check=False
    )
    assert done.returncode == 0, "docs/reference/cli.md is out of date: run poe reference"
