"""The documented command line and site format are the real ones."""

from __future__ import annotations

import subprocess
import sys

import pytest
from cli.running import ROOT


@pytest.mark.parametrize(
    ("script", "page"), [("cli_reference.py", "cli.md"), ("site_reference.py", "site-format.md")]
)
def test_reference_pages_say_what_the_program_does(script: str, page: str) -> None:
    done = subprocess.run([sys.executable, ROOT / ".ci" / script, "--check"], check=False)
    assert done.returncode == 0, f"docs/reference/{page} is out of date: run poe reference"
