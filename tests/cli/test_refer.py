"""The sheet and the referral from the command line."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from cli.running import LOCAL_SKETCH, PLAIN_LOT, Run


def test_sheet_states_what_it_drew(run: Run, tmp_path: Path) -> None:
    done = run(
        "sheet", PLAIN_LOT, "--out", tmp_path, "--paper", "tabloid", "--scale", "1 in = 20 ft"
    )
    assert done.returncode == 0
    assert done.stdout.startswith("One sheet of tabloid: plan 1 in = 20 ft; profile 1 in = 20 ft")
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")


@pytest.fixture
def no_packet(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the command say what it asks, and lay nothing out."""
    monkeypatch.setattr(
        "lateral_map.cli.refer.make_referral", lambda *_, **__: {"referral.pdf": b""}
    )


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--paper", "legal", "paper 'legal' is not one of the sheet's: write letter, tabloid, A4"),
        ("--scale", "1:75", "scale '1:75' is not one of the sheet's: write 1 in = 5 ft"),
    ],
)
def test_a_paper_or_scale_there_is_not_changes_nothing(
    run: Run, tmp_path: Path, option: str, value: str, said: str
) -> None:
    for command in ("sheet", "refer"):
        done = run(command, PLAIN_LOT, "--out", tmp_path / "new", option, value)
        assert done.returncode == 2
        assert said in done.stderr
        assert not (tmp_path / "new").exists()


def test_refer_writes_the_packet_and_says_what_it_asks(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "site"
    shutil.copytree(LOCAL_SKETCH, folder)
    (folder / "mine.html").write_text("<p>Ours: {{ question }}</p>", encoding="utf-8")
    done = run("refer", folder, "--letter", folder / "mine.html", "--also", "dxf")
    assert done.returncode == 0, done.stderr
    assert "Asked: " in done.stdout
    assert "does not say whom to answer: write [referral] from in site.toml" in done.stdout
    names = {path.name for path in (folder / "out").iterdir()}
    assert names == {"referral.pdf", "owner.html", "owner.pdf", "referral.zip"}


@pytest.mark.usefixtures("no_packet")
def test_refer_says_what_would_make_a_letter_wrong(run: Run, tmp_path: Path) -> None:
    """Whom the letters go to hangs on the boundaries: where they contradict, it is said at once."""
    folder = tmp_path / "site"
    shutil.copytree(PLAIN_LOT, folder)
    toml = (folder / "site.toml").read_text("utf-8")
    kept, curb = toml.split('line = "curb"')
    curb = curb.replace('inside = "city"', 'inside = "county"\ndecides = true', 1)
    (folder / "site.toml").write_text(f'{kept}line = "curb"{curb}', "utf-8")
    done = run("refer", folder)
    assert done.returncode == 0, done.stderr
    assert "The boundaries contradict each other" in done.stdout
    assert "it is left open which of the two answers between them" in done.stdout


@pytest.mark.usefixtures("no_packet")
def test_refer_asks_for_no_sender_where_one_is_given(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "site"
    shutil.copytree(LOCAL_SKETCH, folder)
    with (folder / "site.toml").open("a", encoding="utf-8") as site:
        site.write('\n[referral]\nfrom = "Ours"\n')
    done = run("refer", folder)
    assert done.returncode == 0, done.stderr
    assert "whom to answer" not in done.stdout


def test_a_letter_that_cannot_be_used_leaves_what_was_there(run: Run, tmp_path: Path) -> None:
    folder = tmp_path / "site"
    shutil.copytree(LOCAL_SKETCH, folder)
    (folder / "out").mkdir()
    (folder / "out" / "referral.pdf").write_bytes(b"the one before")
    (folder / "mine.html").write_text("<p>{{ nobody }}</p>", encoding="utf-8")
    done = run("refer", folder, "--letter", folder / "mine.html")
    assert done.returncode == 2
    assert "mine.html row 1" in done.stderr
    assert "nobody" in done.stderr
    assert [path.name for path in (folder / "out").iterdir()] == ["referral.pdf"]
    assert (folder / "out" / "referral.pdf").read_bytes() == b"the one before"
