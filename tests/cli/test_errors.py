"""Exit codes and complaints: plain, complete, on stderr, and nothing half done."""

from __future__ import annotations

import resource
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from cli.running import PLAIN_LOT, Done, Run

from lateral_map.cli import main
from lateral_map.errors import Fault, SiteError


def whole(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def assert_refused(done: Done, *words: str) -> None:
    assert done.returncode == 2, done
    said = done.stderr
    assert "Traceback" not in said
    for word in words:
        assert word in said


@pytest.mark.parametrize("command", ["check", "draw"])
def test_missing_folder(run: Run, tmp_path: Path, command: str) -> None:
    done = run(command, tmp_path / "nowhere")
    assert_refused(done, "nowhere")
    assert done.stdout == ""
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("command", ["check", "draw"])
def test_file_in_place_of_the_folder(run: Run, tmp_path: Path, command: str) -> None:
    (tmp_path / "site").write_text("not a folder")
    assert_refused(run(command, tmp_path / "site"), "site")


def test_every_fault_has_its_own_line(run: Run, site: Path) -> None:
    locates = (site / "locates.csv").read_text()
    damaged = locates.replace("A,10.0,3.3", "A,ten,3.3").replace("B,22.0,3.1", "B,22.0,-3.1")
    (site / "locates.csv").write_text(damaged.replace("hydrant", "hydrnat"))
    done = run("check", site)
    assert_refused(done, "'ten'", "row 2", "row 3", "row 5", "hydrant")
    faults = [line for line in done.stderr.splitlines() if "locates.csv row" in line]
    assert len(faults) >= 3


def test_wrong_word_for_only(run: Run, site: Path) -> None:
    done = run("draw", site, "--only", "chart")
    assert_refused(done, "chart", "result")
    assert not (site / "out").exists()


def test_nothing_is_written_where_one_may_not(run: Run, site: Path) -> None:
    """/proc refuses even root."""
    assert_refused(run("draw", site, "--out", "/proc/out", "--only", "result"), "/proc/out")


def test_full_disk_leaves_the_old_files(run: Run, run_apart: Run, site: Path) -> None:
    assert run("draw", site, "--only", "result", "--only", "stations").returncode == 0
    before = whole(site / "out")
    (site / "findings.csv").write_text("footage,to,finding,severity,note\n20,,crack,minor,\n")

    def no_file_over_4000_bytes() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))

    done = run_apart(
        "draw", site, "--only", "stations", "--only", "result", preexec_fn=no_file_over_4000_bytes
    )
    assert_refused(done, "cannot be written", "File too large")
    assert whole(site / "out") == before


STOPPED = """
import os, signal, sys, time
from lateral_map.cli.main import main
def stopped(*_):
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(60)
os.fsync = stopped  # what is written beside is not in place yet
sys.argv = ["lateral-map", "draw", sys.argv[1], "--only", "result"]
main()
"""


def test_being_stopped_leaves_no_trace(site: Path) -> None:
    before = sorted(site.iterdir())
    done = subprocess.run([sys.executable, "-c", STOPPED, str(site)], check=False)
    assert done.returncode == 128 + signal.SIGTERM
    assert sorted(site.iterdir()) == before


def test_failed_check_of_the_site_leaves_the_old_files(run: Run, site: Path) -> None:
    assert run("draw", site, "--only", "result").returncode == 0
    before = whole(site / "out")
    (site / "site.toml").write_text("format = 2")
    assert_refused(run("draw", site, "--only", "result"), "site.toml")
    assert whole(site / "out") == before


def test_terminal_controls_in_a_site_are_shown_not_obeyed(run: Run, site: Path) -> None:
    toml = (site / "site.toml").read_text()
    toml = toml.replace('"Sketch of a back-yard line"', '"[bold]\\u001b[31mred\\u001b]0;x\\u0007"')
    (site / "site.toml").write_text(toml)
    done = run("check", site)
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout
    assert "[bold]" in done.stdout


def test_unknown_command_and_option(run: Run) -> None:
    assert_refused(run("dro", PLAIN_LOT), "dro")
    assert_refused(run("draw", PLAIN_LOT, "--onyl", "map"), "--onyl")


class TestLastDoor:
    """The one handler, entered with errors that are hard to come by honestly."""

    @pytest.fixture
    def fail_with(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
        def fail_with(error: BaseException) -> tuple[object, str]:
            def failing(**_: object) -> None:
                raise error

            monkeypatch.setattr(main, "app", failing)
            monkeypatch.setattr(main.signal, "signal", lambda *_: None)
            monkeypatch.setattr(sys, "argv", ["lateral-map"])
            with pytest.raises(SystemExit) as leaving:
                main.main()
            return leaving.value.code, capsys.readouterr().err

        return fail_with

    def test_faults(self, fail_with) -> None:  # type: ignore[no-untyped-def]
        faults = (Fault("first", file="a.csv", row=2), Fault("second\x1b[2J", file="b.csv"))
        code, said = fail_with(SiteError(faults))
        assert code == 2
        assert said == "a.csv row 2: first\nb.csv: second\\x1b[2J\n"

    def test_unreadable_file(self, fail_with) -> None:  # type: ignore[no-untyped-def]
        code, said = fail_with(PermissionError(13, "Permission denied", "locates.csv"))
        assert code == 2
        assert said.startswith("locates.csv: Permission denied; ")

    def test_fault_of_the_program(self, fail_with) -> None:  # type: ignore[no-untyped-def]
        code, said = fail_with(ZeroDivisionError("division by zero"))
        assert code == 1
        assert "a fault of lateral-map" in said
        assert "ZeroDivisionError" in said
        assert "Traceback" not in said

    def test_fault_of_the_program_can_be_traced(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def failing(**_: object) -> None:
            raise ZeroDivisionError

        monkeypatch.setattr(main, "app", failing)
        monkeypatch.setattr(main.signal, "signal", lambda *_: None)
        monkeypatch.setenv("LATERAL_MAP_TRACEBACK", "1")
        with pytest.raises(ZeroDivisionError):
            main.main()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize("words", [["--version"], ["schema"], ["check", str(PLAIN_LOT)]])
def test_a_full_disk_under_standard_output_is_named(words: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "lateral_map", *words],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.startswith("standard output: ")
    assert len(done.stderr.splitlines()) == 1


def test_a_site_is_known_by_its_site_toml(run: Run, tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(PLAIN_LOT, site)
    done = run("draw", site / "site.toml", "--only", "result")
    assert done.returncode == 0, done.stderr
    assert (site / "out/result.json").exists()
