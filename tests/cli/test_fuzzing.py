"""Whatever is given and whatever stands under its streams, a command is done or refuses.

``fuzzing.py`` runs thousands; each is forked from this process, which has loaded everything.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from cli import fuzzing
from cli.running import PLAIN_LOT


@pytest.fixture(scope="module", autouse=True)
def warm() -> None:
    fuzzing.warm_up()


def test_any_folder_and_any_argument_is_done_or_refused() -> None:
    ended, wrong = fuzzing.run_all(30, seed=3)
    assert not wrong
    # Where the machine is slow, some are still at work when they are interrupted.
    assert {"0", "2"} <= {name.split()[-1] for name in ended} <= {"0", "2", "130"}


@pytest.mark.parametrize(
    ("words", "stdout", "stderr", "code"),
    [
        (["check", "site"], "closed", "file", 0),
        (["check", "site"], "file", "closed", 0),
        (["check", "site"], "full", "full", 2),
        (["check", "site"], "pipe", "file", 2),
        (["schema"], "pipe", "file", 2),
        (["check", "nowhere"], "file", "full", 2),
        (["check", "nowhere"], "closed", "closed", 2),
        (["chekc"], "file", "pipe", 2),
        (["plan", "site"], "file", "full", 2),
    ],
)
def test_what_stands_under_the_streams_never_makes_it_a_fault(
    tmp_path: Path, words: list[str], stdout: str, stderr: str, code: int
) -> None:
    shutil.copytree(PLAIN_LOT, tmp_path / "site")
    ended = fuzzing.start(fuzzing.Run(words, tmp_path, stdout, stderr))
    assert ended.code == code
    if stdout == "file" and code == 0:
        assert ended.stdout
    if stdout == "full" and stderr == "file":
        assert b"standard output" in ended.stderr


def test_what_is_printed_never_goes_into_a_file_that_took_a_closed_streams_number(
    tmp_path: Path,
) -> None:
    shutil.copytree(PLAIN_LOT, tmp_path / "site")
    for stdout in ("file", "closed"):
        run = fuzzing.Run(["draw", "site", "--only", "result"], tmp_path, stdout)
        assert fuzzing.start(run).code == 0
        result = tmp_path / "site/out/result.json"
        result.rename(tmp_path / stdout)
    assert (tmp_path / "file").read_bytes() == (tmp_path / "closed").read_bytes()


@pytest.mark.parametrize("command", ["check", "draw", "dig", "sheet", "refer", "enter", "new"])
def test_a_folder_that_may_not_be_read_is_one_message(tmp_path: Path, command: str) -> None:
    shutil.copytree(PLAIN_LOT, tmp_path / "site")
    (tmp_path / "site").chmod(0)
    ended = fuzzing.start(fuzzing.Run([command, "site"], tmp_path, nobody=True))
    (tmp_path / "site").chmod(0o755)
    assert ended.code == 2
    assert len(ended.stderr.splitlines()) == 1
    assert b"site" in ended.stderr


def test_settings_in_the_current_folder_change_no_file(tmp_path: Path) -> None:
    shutil.copytree(PLAIN_LOT, tmp_path / "site")
    (tmp_path / "ezdxf.ini").write_text("no settings at all")
    run = fuzzing.Run(["draw", "site", "--only", "dxf"], tmp_path)
    assert fuzzing.start(run).code == 0


def test_no_compiler_is_asked_where_a_library_is() -> None:
    """Importing is what asked; a fork of this process has it loaded already."""
    script = (
        "import subprocess, os\n"
        "def never(*words, **_): raise SystemExit(f'started {words}')\n"
        "subprocess.Popen = os.posix_spawn = never\n"
        "from lateral_map.export.pdf import html_to_pdf\n"
        "assert html_to_pdf('<p>x</p>').startswith(b'%PDF')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
