"""Every command in the documentation exists, runs, and says what the page says it says."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import typer
from docs.pages import PAGES, TOP, Block, blocks, commands, prose

from lateral_map.cli.main import COMMANDS, app, main

TUTORIAL = TOP / "docs" / "tutorial.md"
OFFICE = TOP / "docs" / "how-to" / "office.md"
TECHNICIAN = TOP / "docs" / "how-to" / "technician.md"
# Commands that set a machine up or run every check: too much for one test, so each is only looked
# at, in test_readme_names_what_is_there.
_WHOLE = ("python3 -m venv", "bash .ci/test")
_MENTION = re.compile(r"`lateral-map ([a-z-]+)([^`]*)`")


Typed = Callable[[str], str]


@pytest.fixture
def type_(desk: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Typed:
    """Type a command at the desk and get what it says.

    A plain ``lateral-map`` command runs in this process, which saves its start; anything else goes
    to the shell.
    """

    def type_(command: str) -> str:
        if command.startswith("lateral-map enter "):
            return _begin_and_stop(command, desk)
        if not command.startswith("lateral-map ") or "|" in command:
            return _ask_the_shell(command)
        monkeypatch.setattr(sys, "argv", shlex.split(command))
        before = signal.getsignal(signal.SIGTERM)
        with pytest.raises(SystemExit) as leaving:
            main()
        signal.signal(signal.SIGTERM, before)
        said = "".join(capsys.readouterr())
        assert leaving.value.code == 0, f"$ {command}\n{said}"
        return said

    return type_


def _begin_and_stop(command: str, home: Path) -> str:
    """Open the entry page, which serves until it is stopped, and stop it once it says where."""
    typed = [*shlex.split(command), "--port", "0", "--no-browser"]
    environment = os.environ | {"XDG_CONFIG_HOME": str(home)}
    with subprocess.Popen(
        typed, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8", env=environment
    ) as page:
        assert page.stdout is not None
        said = ""
        for line in page.stdout:
            said += line
            if "http" in line:
                break
        page.terminate()  # not Ctrl+C's signal: what a shell starts behind itself ignores that one
    assert "http" in said, f"$ {command}\n{said}"
    return said


def _ask_the_shell(command: str) -> str:
    done = subprocess.run(
        command,
        shell=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, f"$ {command}\n{done.stdout}"
    return done.stdout


def _plain(text: str) -> str:
    return " ".join(text.split())  # no-break spaces and line ends are no difference to a reader


def follow(block: Block, type_: Typed) -> None:
    """Do what a block says: write the file it is titled, or type its commands.

    What a console block shows must appear in what its commands say, in that order.
    """
    if block.title:
        Path(block.title).parent.mkdir(exist_ok=True)
        Path(block.title).write_text(block.text, encoding="utf-8")
        return
    said = ""
    for line in block.text.splitlines():
        if line.startswith("$ "):
            said = _plain(type_(line[2:]))
            continue
        shown = _plain(line)
        assert shown in said, f"{block}: {shown!r} is not in what is said:\n{said}"
        said = said[said.index(shown) + len(shown) :]


def test_the_tutorial_can_be_followed(desk: Path, type_: Typed) -> None:
    for block in blocks("console", "toml", "csv", pages=(TUTORIAL,)):
        follow(block, type_)
    assert (desk / "lot_7" / "out" / "map.html").exists()


def test_the_technicians_own_sketch_can_be_followed(desk: Path, type_: Typed) -> None:
    for block in blocks("console", "toml", "csv", pages=(TECHNICIAN,)):
        follow(block, type_)


def test_a_real_lot_is_drawn_from_open_data_in_two_commands(desk: Path, type_: Typed) -> None:
    pytest.importorskip("momepy")
    from truth.open_lots import district, place_of

    (block,) = [one for one in blocks("text", pages=(OFFICE,)) if "lateral-map plan" in one.text]
    shutil.copy(district(), desk / "district.gpkg")
    plan, draw = block.text.replace("\\\n", " ").splitlines()
    lon, lat = place_of(4)
    said = type_(re.sub(r"--at \S+", f"--at {lat:.7f},{lon:.7f}", plan))
    assert "street edge, proposed" in said
    assert "street edge at" in type_(draw)
    page = (desk / "lot_12" / "out" / "map.html").read_text(encoding="utf-8")
    assert "County register, 2026-03-01, CC BY 4.0" in page
    assert "no boundary survey" in page


_FOLLOWED = (TUTORIAL, TECHNICIAN)


@pytest.mark.parametrize(
    "block", [b for b in blocks("console") if b.page not in _FOLLOWED], ids=str
)
def test_commands_elsewhere_run(block: Block, desk: Path, type_: Typed) -> None:
    typed = [command for command in commands(block) if not command.startswith(_WHOLE)]
    for command in typed:
        if "referral.zip" in command:
            type_("lateral-map refer demo_sites/plain_lot --out sent")
            # Whoever receives the archive has it alone.
            shutil.move(desk / "sent" / "referral.zip", desk)
        else:
            assert command.startswith("lateral-map "), f"{block}: {command}"
        type_(command)


@pytest.mark.parametrize("block", blocks("html"), ids=str)
def test_letters_can_be_sent(block: Block, desk: Path, type_: Typed) -> None:
    (desk / "own.html").write_text(block.text, encoding="utf-8")
    type_("lateral-map refer demo_sites/plain_lot --letter own.html")
    assert (desk / "demo_sites" / "plain_lot" / "out" / "referral.pdf").exists()


def test_readme_names_what_is_there() -> None:
    typed = [
        command
        for block in blocks("console", pages=(TOP / "README.md",))
        for command in commands(block)
    ]
    assert [command.startswith(_WHOLE) for command in typed] == [True, True]
    for path in (".ci/test", ".ci/constraints.txt", "demo_sites/plain_lot/site.toml"):
        assert (TOP / path).exists()
        assert any(path.removesuffix("/site.toml") in command for command in typed)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(TOP)))
def test_commands_mentioned_exist(page: Path) -> None:
    group = typer.main.get_command(app)
    names = {command.__name__.replace("_", "-") for command in COMMANDS}
    for name, rest in _MENTION.findall(prose(page)):
        assert name in names
        known = {option for one in group.commands[name].params for option in one.opts}
        assert set(re.findall(r"--[a-z-]+", rest)) <= known
