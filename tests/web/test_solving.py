"""A folder as far as it has been entered: the rest is solved, what is wrong is named."""

from __future__ import annotations

import json
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from uuid import uuid4

import pytest
from broken.test_broken_sites import CASES
from reading.good_site import good_folder
from truth.simulate import simulate
from web.yard import wait_until

from lateral_map import build_report, load_site
from lateral_map.errors import SiteError
from lateral_map.reading.gnss import RADIUS_SHARES, sd_of_radius
from lateral_map.web import state
from lateral_map.web.entering import Entering
from lateral_map.web.solving import setting_path, solve
from lateral_map.web.state import Solutions, page_state
from lateral_map.web.store import RowEdit, SiteStore
from lateral_map.words.entering import MEANINGS, accuracy_words, picture_words, position_taken_words
from lateral_map.words.notices import as_sentence
from lateral_map.words.sayings import say_all


def marks(folder: Path) -> list[str]:
    report = solve(folder).report
    return [] if report is None else [locate.mark for locate in report.site.locates]


def replace_in(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_a_sound_folder_has_no_faults(sketch: Path) -> None:
    assert solve(sketch).faults == ()
    assert marks(sketch) == ["A", "B", "C", "D"]


def test_faulty_rows_are_left_out_and_keep_their_numbers(sketch: Path) -> None:
    locates = sketch / "locates.csv"
    replace_in(locates, "B,22.0,3.1", "B,22.0,deep")
    replace_in(locates, "hydrant", "hidrant")
    solved = solve(sketch)
    assert {(fault.file, fault.row) for fault in solved.faults} == {
        ("locates.csv", 3), ("locates.csv", 5),
    }  # fmt: skip
    assert marks(sketch) == ["A", "C"]
    assert solved.report is not None
    assert [one.place.row for one in solved.report.site.locates] == [2, 4]


def test_a_locate_that_cannot_be_there_is_left_out(sketch: Path) -> None:
    with (sketch / "locates.csv").open("a") as file:
        file.write("E,45,3,,,,,curb,85,-30,,\n")
    solved = solve(sketch)
    assert "apart on the ground" in solved.faults[0].problem
    # The tie of the row, not the footage, is what would explain it.
    (said,) = solved.says
    assert "Most probably locate E" in said.words
    assert 'of = "E"' in said.entries[0]
    assert marks(sketch) == ["A", "B", "C", "D"]


def test_faulty_settings_and_features_are_left_out(sketch: Path) -> None:
    replace_in(sketch / "site.toml", 'depth = "3 ft"', 'depth = "three"')
    replace_in(sketch / "site.toml", 'material = "clay"', 'material = "cley"')
    replace_in(sketch / "plan.geojson", '"kind": "surface", "name": "yard"', '"kind": "sorface"')
    solved = solve(sketch)
    assert {fault.file for fault in solved.faults} == {"site.toml", "plan.geojson"}
    assert solved.report is not None
    assert not solved.plan_only
    assert solved.report.site.start.depth_m is None
    assert solved.report.site.pipes == ()
    assert [area.name for area in solved.report.site.plan.areas] == ["house", "sidewalk"]


def test_without_a_start_the_plan_is_shown_alone(sketch: Path) -> None:
    replace_in(sketch / "site.toml", 'point = "cleanout"', "")
    solved = solve(sketch)
    assert solved.plan_only
    assert solved.report is not None
    assert {line.name for line in solved.report.site.plan.lines} == {"curb", "right of way"}


@pytest.mark.parametrize("text", ["", "nonsense =", "[site]\n", "format = 1\n[site]\ncrs = 3\n"])
def test_a_folder_that_says_nothing_still_has_a_state(tmp_path: Path, text: str) -> None:
    (tmp_path / "site.toml").write_text(text)
    state = Entering(SiteStore(tmp_path)).state()
    assert state["picture"] is None
    assert state["tables"]["locates.csv"]["rows"] == []


def test_an_entry_that_no_longer_fits_is_said_and_the_others_keep_their_places(
    sketch: Path,
) -> None:
    with (sketch / "site.toml").open("a") as file:
        for mark in ("Q", "B"):
            file.write(
                '\n[[applied]]\nslip = "tape misread"\nkind = "tape"\n'
                f'of = "{mark}"\ncolumn = "tape1"\nsize = "1 ft"\n'
            )
    says = {one["title"]: one for one in Entering(SiteStore(sketch)).state()["says"]}
    assert says["Taken so, but it does not fit"]["applied"] == 0
    assert says["Taken so"]["applied"] == 1
    assert "taken as" in says["Taken so"]["words"]


def test_a_setting_is_known_by_its_path() -> None:
    assert setting_path("pipe[2].size") == "pipe.1.size"
    assert setting_path("start.depth") == "start.depth"


def test_verdicts_stand_beside_their_rows(sketch: Path) -> None:
    entering = Entering(SiteStore(sketch))
    values = {"mark": "E", "footage": "45", "depth": "3", "tape1_from": "hydrant",
              "tape1": "33 ft 2 in", "line": "curb", "past": "12.5"}  # fmt: skip
    entering.save_rows(uuid4().hex, "locates.csv", [RowEdit(values)])
    rows = entering.state()["tables"]["locates.csv"]["rows"]
    assert rows[-1]["verdict"] == "suspect"
    entering.save_rows(
        uuid4().hex, "locates.csv", [RowEdit({"use": "no"}, rows[-1]["text"], rows[-1]["at"])]
    )
    state = entering.state()
    assert state["tables"]["locates.csv"]["rows"][-1]["verdict"] == "set aside"
    assert state["history"][0]["words"] == "locate E at 45 set aside"
    assert state["history"][1]["words"] == "locate E at 45 added"


@pytest.mark.parametrize("seed", range(12))
def test_simulated_lines_are_spoken_of_in_whole_sentences(seed: int) -> None:
    report = build_report(simulate(seed)[0])
    sayings = say_all(report)
    next_step = "Enough" if report.enough else "Locate here next"
    assert {"How sure the line is", next_step} <= {saying.title for saying in sayings}
    for saying in sayings:
        for words in saying.points or (saying.words,):
            assert words[0].isupper() or words[0].isdigit() or words[0] in "-−"
            assert "+-" not in words
    close = [r for r in report.findings if any(s.verdict == "too close to call" for s in r.sides)]
    told = [saying for saying in sayings if saying.title.startswith("Too close to call")]
    assert len(told) <= len(close)
    told_of = " ".join(f"{s.title} {s.words}" for s in sayings if s.title.startswith("Suspect"))
    for check in report.suspects[:8]:
        assert check.reading in told_of


def test_words_become_sentences() -> None:
    assert as_sentence("one more tape, +- 2 ft") == "One more tape, ± 2 ft."
    assert as_sentence("") == ""
    assert as_sentence("Done.") == "Done."


def test_many_saves_at_once_are_solved_together(
    sketch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    entering, solved = Entering(SiteStore(sketch)), []

    def rows() -> int:
        return len((sketch / "locates.csv").read_text().splitlines()) - 1

    def solve_when_all_are_saved(folder: Path) -> state.Solved:
        wait_until(lambda: rows() == 24)
        solved.append(rows())
        return solve(folder)

    monkeypatch.setattr(state, "solve", solve_when_all_are_saved)

    def save(number: int) -> list[str]:
        edit = RowEdit({"mark": f"S{number}", "footage": "45", "depth": "3"})
        entering.save_rows(uuid4().hex, "locates.csv", [edit])
        told = json.loads(entering.state_text())["tables"]["locates.csv"]["rows"]
        return [row["values"]["mark"] for row in told]

    with ThreadPoolExecutor(20) as saving:
        answers = list(saving.map(save, range(20)))
    assert all(f"S{number}" in answer for number, answer in enumerate(answers))
    # One for all of them, and one more for a save that came while the first was under way.
    assert set(solved) == {24}
    assert len(solved) <= 2


# What only another program can have written is said of its file.
_OF_A_FILE = re.compile(
    r"key is unknown|this is unknown|\[(site|start)\] is missing|TOML|format 2|list of tables|kind|"
    r"is drawn as|wander is given"
)
_SPEAKS_OF_FILES = re.compile(
    r"\.(toml|csv|geojson|gpkg)\b|\[\[?[a-z_]+\]|(?<!')\brows? \d|\b[a-z]+_[a-z_]+\b|[a-z] = |"
    r"\d\.\d?0 (ft|m)\b|\bfeature \d|\bcolumn|\bheader\b|\bvertices\b"
)


def test_no_fault_of_a_form_speaks_of_files_and_all_of_the_command_line_do(tmp_path: Path) -> None:
    """Every broken site that forms could have made: what the page says of each field."""
    told = 0
    for number, case in enumerate(CASES):
        folder = tmp_path / str(number)
        folder.mkdir()
        damaged = good_folder()
        case.damage(damaged)
        damaged.write(folder)
        state = page_state(Solutions(SiteStore(folder)), with_picture=False)
        said = [one["words"] for one in state["settings"]["faults"]]
        rows = [row for table in state["tables"].values() for row in table["rows"]]
        said += [
            one["words"] for part in (*state["plan"]["features"], *rows) for one in part["faults"]
        ]
        for words in said:
            if not _OF_A_FILE.search(words):
                told += 1
                # What was worked out keeps its tenth.
                typed = re.sub(r"[\d.]+ (ft|m) (apart|of pipe)", "", words)
                assert not _SPEAKS_OF_FILES.search(typed), (case.name, words)
    assert told > 100


def test_a_fault_names_another_forms_field_as_that_form_does(sketch: Path) -> None:
    table = sketch / "locates.csv"
    table.write_text(table.read_text() + "E,300,3,house corner A,,,,,,,,\n")
    with pytest.raises(SiteError) as error:
        load_site(sketch)
    assert "300 ft is beyond the run's end, 46 ft; check the footage, or [run] end_footage in " in (
        str(error.value)
    )
    assert "locates.csv row 6, tape1: tape1_from is given without tape1" in str(error.value)
    state = page_state(Solutions(SiteStore(sketch)), with_picture=False)
    said = [one["words"] for one in state["tables"]["locates.csv"]["rows"][-1]["faults"]]
    beyond, half = sorted(said)
    assert beyond.endswith("ft; check the footage, or “Footage at the end” under Site")
    assert half == "“First tape from” is given without “Distance”; write “Distance” too"


def test_what_a_site_still_wants_is_said_with_the_rest(tmp_path: Path) -> None:
    """One thing at a time before the first locate, and no more once it is there."""

    def wanted(**files: str) -> list[str]:
        folder = tmp_path / str(len(list(tmp_path.iterdir())))
        folder.mkdir()
        for name, text in files.items():
            (folder / {"site": "site.toml"}.get(name, f"{name}.csv")).write_text(text, "utf-8")
        shown = Entering(SiteStore(folder)).state()
        # Said once, in the reader's words: no card beside it speaks of keys and tables.
        assert shown["settings"]["faults"] == []
        known = ("Begin", "Where does", "No locate", "How far")
        return [one["title"] for one in shown["says"] if one["title"].startswith(known)]

    site = 'format = 1\n[site]\nname = "Yard"\ncrs = "local"\nunit = "ft"\n'
    placed = f"{site}[start]\nx = 0\ny = 0\n"
    locates, findings = "mark,footage,depth\nA,10,4\n", "footage,finding\n12,roots\n"
    assert wanted() == ["Begin the site"]
    assert wanted(site=site) == ["Where does the footage start?", "How far did the camera go?"]
    assert wanted(site=placed) == ["No locate yet", "How far did the camera go?"]
    assert wanted(site=f"{placed}[run]\nend_footage = 40\n") == ["No locate yet"]
    assert wanted(site=placed, findings=findings) == ["No locate yet"]
    assert wanted(site=placed, locates=locates) == []
    deep = f"{site}[start]\ndepth = 4\n"
    assert wanted(site=deep) == ["Where does the footage start?", "How far did the camera go?"]


def test_what_is_wrong_in_the_settings_is_still_said_beside_what_is_missing(tmp_path: Path) -> None:
    site = (
        'format = 1\n[site]\nname = "Yard"\ncrs = "local"\nunit = "ft"\n[start]\ndepth = "deep"\n'
    )
    (tmp_path / "site.toml").write_text(site, "utf-8")
    shown = Entering(SiteStore(tmp_path)).state()
    assert [one["field"] for one in shown["settings"]["faults"]] == ["start.depth"]


def test_what_is_taken_in_is_said_in_the_sites_own_unit() -> None:
    assert accuracy_words(None, "ft").endswith("the usual 4 ft")
    assert accuracy_words(None, "m").endswith("the usual 1.22 m")
    for meaning in RADIUS_SHARES:
        sd_m = sd_of_radius(6.0, meaning)
        said = position_taken_words(6.0, sd_m, meaning)
        assert f"accuracy {sd_m:.2f} m" in said
        assert f"{meaning} %" in said
        assert float(said.rstrip(".").split()[-1]) == pytest.approx(6.0 / sd_m, abs=0.005)
    assert set(MEANINGS) == {"sd", *RADIUS_SHARES}


@pytest.mark.parametrize("count", [0, 2, 3])
def test_points_in_a_picture_are_said_to_check_one_another_where_they_do(count: int) -> None:
    offs = tuple((f"P{i}", "0.1 ft", "0.3 ft" if count > 2 else None) for i in range(count))
    head, *each = picture_words(count, offs)
    assert ("third checks them" in head) is (count == 2)
    assert [("others put it 0.3 ft" in one) for one in each] == [count > 2] * count
