"""The site folder changed row by row: nothing lost, whoever else writes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from lateral_map.web import disk, store
from lateral_map.web.history import Entry
from lateral_map.web.parts import Conflict
from lateral_map.web.settings import EntrySeen, entries_of, value_at
from lateral_map.web.store import FeatureEdit, RowEdit, SettingEdit, SiteStore, UnreadableError


def op() -> str:
    return uuid4().hex


def marks(site: SiteStore) -> list[str]:
    site.look()
    table = site.table("locates.csv")
    return [table.row_values(n)["mark"] for n in table.data_rows()]


def add(site: SiteStore, mark: str, footage: str = "45", **more: str) -> Entry:
    edit = RowEdit({"mark": mark, "footage": footage, "depth": "3", **more})
    return site.save_rows(op(), "locates.csv", [edit], f"{mark} added")


def row(site: SiteStore, mark: str) -> tuple[int, str]:
    table = site.table("locates.csv")
    number = next(n for n in table.data_rows() if table.row_values(n)["mark"] == mark)
    return number, table.row_text(number)


def change(site: SiteStore, mark: str, base: str, **values: str) -> Entry:
    number, _ = row(site, mark)
    return site.save_rows(op(), "locates.csv", [RowEdit(values, base, number)], f"{mark} changed")


@pytest.fixture
def site(sketch: Path) -> SiteStore:
    return SiteStore(sketch)


# ── saving and undoing ───────────────────────────────────────────────────────────────────────────


def test_a_change_touches_its_own_cell_alone(site: SiteStore, sketch: Path) -> None:
    before = (sketch / "locates.csv").read_bytes()
    change(site, "B", row(site, "B")[1], depth="3'2\"")
    assert (sketch / "locates.csv").read_bytes() == before.replace(
        b"B,22.0,3.1,", b'B,22.0,"3\'2""",'
    )


def test_every_change_can_be_undone_and_done_again(site: SiteStore, sketch: Path) -> None:
    files = {path.name: path.read_bytes() for path in sketch.iterdir() if path.is_file()}
    changes = [
        add(site, "E"),
        change(site, "A", row(site, "A")[1], use="no"),
        site.save_settings(op(), [SettingEdit("start.depth", "3.2", "3 ft")], "depth"),
        site.save_settings(op(), [SettingEdit("pipe.1.from", "20", None)], "pipe"),
        site.save_feature(
            op(), FeatureEdit({"kind": "reference", "name": "post"}, point(1, 2)), "post"
        ),
    ]
    after = {path.name: path.read_bytes() for path in sketch.iterdir() if path.is_file()}
    for entry in reversed(changes):
        site.undo(op(), entry.op)
    undone = {path.name: path.read_bytes() for path in sketch.iterdir() if path.is_file()}
    assert undone["plan.geojson"] == files["plan.geojson"]
    assert values(undone["locates.csv"]) == values(files["locates.csv"])
    assert site.settings() == SiteStore(sketch).settings()
    assert site.settings()["start.depth"] == "3 ft"
    for entry in changes:
        site.undo(op(), entry.op)
    again = {path.name: path.read_bytes() for path in sketch.iterdir() if path.is_file()}
    assert values(again["locates.csv"]) == values(after["locates.csv"])
    assert again["plan.geojson"] == after["plan.geojson"]
    assert site.settings()["pipe.1.from"] == "20"


def snapshot(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


CHANGES: dict[str, Any] = {
    "a row added": lambda s: add(s, "E"),
    "a row with a new column": lambda s: add(s, "E", peak="9", lat="1"),
    "a row changed": lambda s: change(s, "B", row(s, "B")[1], depth="3'2\""),
    "a table begun": lambda s: s.save_rows(
        op(), "bends.csv", [RowEdit({"footage": "3", "turn": "45"})], ""
    ),
    "a setting changed": lambda s: s.save_settings(
        op(), [SettingEdit("start.depth", "3.2", "3 ft")], ""
    ),
    "a setting added": lambda s: s.save_settings(
        op(), [SettingEdit("dig.soil", "B", None), SettingEdit("dig.bedding", "6", None)], ""
    ),
    "a pipe run added": lambda s: s.save_settings(
        op(), [SettingEdit("pipe.1.from", "20", None), SettingEdit("pipe.1.size", "6", None)], ""
    ),
    "a pipe run taken out": lambda s: s.save_settings(
        op(), [SettingEdit("pipe.0", None, store.value_at(s.text("site.toml"), "pipe.0"))], ""
    ),
    "a boundary added": lambda s: s.save_settings(
        op(), [SettingEdit("boundary.1.line", "curb", None)], ""
    ),
    "a plan feature added": lambda s: s.save_feature(
        op(), FeatureEdit({"kind": "reference", "name": "post"}, point(1, 2)), ""
    ),
    "a plan feature taken out": lambda s: s.save_feature(
        op(), FeatureEdit(None, None, s.plan().features[0], 0), ""
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_an_undo_gives_the_very_bytes_back(what: str, sketch: Path) -> None:
    with (sketch / "locates.csv").open("ab") as file:
        file.write(b"  \r\n")  # as no writer of ours would leave it
    site = SiteStore(sketch)
    before = snapshot(sketch)
    entry = CHANGES[what](site)
    after = snapshot(sketch)
    assert after != before
    site.undo(op(), entry.op)
    assert snapshot(sketch) == before
    site.undo(op(), entry.op)
    assert snapshot(sketch) == after


def test_all_changes_undone_one_by_one_leave_the_folder_as_it_was(sketch: Path) -> None:
    site, before = SiteStore(sketch), snapshot(sketch)
    entries = [make(site) for what, make in CHANGES.items() if what != "a row with a new column"]
    for entry in reversed(entries):
        site.undo(op(), entry.op)
    assert snapshot(sketch) == before


def test_a_pipe_run_undone_out_of_order_leaves_no_empty_table(sketch: Path) -> None:
    site = SiteStore(sketch)
    entry = CHANGES["a pipe run added"](site)
    CHANGES["a setting changed"](site)
    site.undo(op(), entry.op)
    assert (sketch / "site.toml").read_text().count("[[pipe]]") == 1
    assert site.settings()["start.depth"] == "3.2"


def test_a_change_typed_again_stands_in_place_of_the_first(site: SiteStore, sketch: Path) -> None:
    first = op()
    site.save_rows(first, "locates.csv", [RowEdit({"mark": "E", "footage": "45"})], "")
    edit = RowEdit({"mark": "E", "footage": "46", "depth": "3"})
    site.save_rows(op(), "locates.csv", [edit], "", instead=first)
    assert marks(site).count("E") == 1
    assert site.table("locates.csv").row_values(row(site, "E")[0])["footage"] == "46"


def test_a_change_that_comes_after_the_one_typed_in_its_place_is_passed_over(
    site: SiteStore,
) -> None:
    late = op()
    edit = RowEdit({"mark": "E", "footage": "46"})
    site.save_rows(op(), "locates.csv", [edit], "", instead=late)
    site.save_rows(late, "locates.csv", [RowEdit({"mark": "E", "footage": "45"})], "")
    assert marks(site).count("E") == 1
    assert site.table("locates.csv").row_values(row(site, "E")[0])["footage"] == "46"


def values(content: bytes) -> list[dict[str, str]]:
    from lateral_map.reading.csv_text import parse_csv
    from lateral_map.web.parts import said

    table = parse_csv(content.decode())
    return [said(table.row_values(n)) for n in table.data_rows()]


def point(x: float, y: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [x, y]}


def test_an_undo_of_what_was_changed_again_is_refused(site: SiteStore) -> None:
    first = change(site, "B", row(site, "B")[1], depth="3.2")
    change(site, "B", row(site, "B")[1], depth="3.3")
    with pytest.raises(Conflict, match="changed again"):
        site.undo(op(), first.op)
    assert site.table("locates.csv").row_values(row(site, "B")[0])["depth"] == "3.3"


def test_a_save_sent_twice_is_made_once(site: SiteStore, sketch: Path) -> None:
    name, edit = op(), RowEdit({"mark": "E", "footage": "45", "depth": "3"})
    site.save_rows(name, "locates.csv", [edit], "E")
    site.save_rows(name, "locates.csv", [edit], "E")
    SiteStore(sketch).save_rows(name, "locates.csv", [edit], "E")
    assert marks(site).count("E") == 1


def test_a_new_folder_is_begun_file_by_file(tmp_path: Path) -> None:
    site = SiteStore(tmp_path)
    site.save_settings(op(), [SettingEdit("format", "1", None)], "begun")
    add(site, "A", "5")
    site.save_feature(op(), FeatureEdit({"kind": "reference"}, point(0, 0)), "point")
    assert {p.name for p in tmp_path.iterdir()} == {
        ".history", "site.toml", "locates.csv", "plan.geojson",
    }  # fmt: skip
    assert marks(site) == ["A"]


def test_files_in_other_encodings_keep_theirs(sketch: Path) -> None:
    text = (sketch / "locates.csv").read_text().replace("rose", "rosé")
    (sketch / "locates.csv").write_bytes(text.encode("cp1252"))
    site = SiteStore(sketch)
    add(site, "E", note="crème")
    assert (sketch / "locates.csv").read_bytes().decode("cp1252").endswith("crème\n")
    with pytest.raises(UnreadableError, match="UTF-8"):
        add(site, "F", note="日本")


def test_a_geopackage_plan_is_left_to_a_gis(site: SiteStore, sketch: Path) -> None:
    (sketch / "plan.gpkg").write_bytes(b"")
    with pytest.raises(UnreadableError, match="GIS"):
        site.save_feature(op(), FeatureEdit({"kind": "curb"}, point(0, 0)), "curb")


# ── two tabs ─────────────────────────────────────────────────────────────────────────────────────


def test_two_tabs_that_change_different_fields_both_count(sketch: Path) -> None:
    one, other = SiteStore(sketch), SiteStore(sketch)
    seen = row(one, "B")[1]
    change(one, "B", seen, depth="3.2")
    change(other, "B", seen, note="wet")
    now = one.table("locates.csv") if one.look() else None
    assert now is not None
    said = now.row_values(row(one, "B")[0])
    assert (said["depth"], said["note"]) == ("3.2", "wet")
    assert one.outside_saves() == []


def test_two_tabs_that_change_one_field_are_asked(sketch: Path) -> None:
    one, other = SiteStore(sketch), SiteStore(sketch)
    seen = row(one, "B")[1]
    change(one, "B", seen, depth="3.2")
    with pytest.raises(Conflict, match="“Depth shown” of this row changed") as conflict:
        change(other, "B", seen, depth="3.4")
    assert conflict.value.theirs is not None
    assert conflict.value.theirs["depth"] == "3.2"
    # What the page offers then: mine over it.
    change(other, "B", conflict.value.row, depth="3.4")
    one.look()
    assert one.table("locates.csv").row_values(row(one, "B")[0])["depth"] == "3.4"


def test_a_setting_both_changed_is_asked_about(sketch: Path) -> None:
    one, other = SiteStore(sketch), SiteStore(sketch)
    one.save_settings(op(), [SettingEdit("start.depth", "3.2", "3 ft")], "")
    with pytest.raises(Conflict, match="“Depth to invert” changed") as conflict:
        other.save_settings(op(), [SettingEdit("start.depth", "3.4", "3 ft"),
                                   SettingEdit("start.riser", "1", None)], "")  # fmt: skip
    assert conflict.value.theirs == {"start.depth": "3.2"}
    other.save_settings(op(), [SettingEdit("start.depth", "3.4", "3.2")], "")
    assert one.look()
    assert one.settings()["start.depth"] == "3.4"


def test_an_entry_of_a_list_is_followed_and_never_taken_for_another(sketch: Path) -> None:
    one, other = SiteStore(sketch), SiteStore(sketch)

    def entry(at: int) -> EntrySeen:
        path, text = f"pipe.{at}", SiteStore(sketch).text("site.toml")
        return EntrySeen(path, value_at(text, path), len(entries_of(text, "pipe")))

    def materials() -> list[str]:
        settings = SiteStore(sketch).settings()
        return [value for path, value in settings.items() if path.endswith(".material")]

    def add(site: SiteStore, material: str) -> None:
        new = EntrySeen("pipe.1", None, 1)
        edits = [SettingEdit("pipe.1.from", "20", None),
                 SettingEdit("pipe.1.material", material, None)]  # fmt: skip
        site.save_settings(op(), edits, "", new)

    # Both add one at the same time: neither is written over, nor are they mixed.
    add(one, "pvc")
    add(other, "concrete")
    assert materials() == ["clay", "pvc", "concrete"]
    # The one above is taken out: what is typed into the last goes with it.
    last, first = entry(2), entry(0)
    other.save_settings(op(), [SettingEdit("pipe.0", None, first.seen)], "", first)
    one.save_settings(op(), [SettingEdit("pipe.2.size", "8", None)], "", last)
    assert (materials(), SiteStore(sketch).settings()["pipe.1.size"]) == (["pvc", "concrete"], "8")
    # Another field of it changed, both count; it is gone, and no half of it comes back.
    last = entry(1)
    other.save_settings(op(), [SettingEdit("pipe.1.material", "clay", "concrete")], "", last)
    one.save_settings(op(), [SettingEdit("pipe.1.from", "22", "20")], "", last)
    assert materials() == ["pvc", "clay"]
    last = entry(1)
    other.save_settings(op(), [SettingEdit("pipe.1", None, last.seen)], "", last)
    with pytest.raises(Conflict, match="taken out"):
        one.save_settings(op(), [SettingEdit("pipe.1.joint_length", "3", None)], "", last)
    assert materials() == ["pvc"]


def test_a_part_of_the_plan_both_changed_is_asked_about(sketch: Path) -> None:
    one, other = SiteStore(sketch), SiteStore(sketch)
    seen = one.plan().features[0]
    kept = json.loads(seen)["properties"]
    one.save_feature(op(), FeatureEdit({**kept, "note": "ours"}, None, seen, 0), "")
    with pytest.raises(Conflict) as conflict:
        other.save_feature(op(), FeatureEdit({**kept, "note": "theirs"}, None, seen, 0), "")
    assert conflict.value.theirs is not None
    assert conflict.value.theirs["note"] == "ours"
    again = FeatureEdit({**kept, "note": "theirs"}, None, conflict.value.row, conflict.value.at)
    other.save_feature(op(), again, "")
    assert "theirs" in other.plan().features[0]


# ── other programs ───────────────────────────────────────────────────────────────────────────────


def test_a_spreadsheet_that_saves_an_old_copy_loses_nothing(site: SiteStore, sketch: Path) -> None:
    old = (sketch / "locates.csv").read_bytes()
    add(site, "E")
    (sketch / "locates.csv").write_bytes(old.replace(b"by the rose bed", b"by the roses"))
    assert marks(site) == ["A", "B", "C", "D"]
    (save,) = site.outside_saves()
    assert [(lost.what, lost.theirs) for lost in save.lost] == [("mark E", None)]
    site.put_back(op(), save.key)
    assert marks(site) == ["A", "B", "C", "D", "E"]
    assert b"by the roses" in (sketch / "locates.csv").read_bytes()
    assert site.outside_saves() == []


def test_even_an_old_copy_byte_for_byte_is_noticed(site: SiteStore, sketch: Path) -> None:
    add(site, "E")
    old = (sketch / "locates.csv").read_bytes()
    add(site, "F")
    (sketch / "locates.csv").write_bytes(old)
    assert marks(site)[-1] == "E"
    assert [lost.what for lost in site.outside_saves()[0].lost] == ["mark F"]


def test_a_row_another_program_changed_may_stay_so(site: SiteStore, sketch: Path) -> None:
    add(site, "E")
    path = sketch / "locates.csv"
    path.write_bytes(path.read_bytes().replace(b"E,45,3,", b"E,45,3.7,"))
    site.look()
    (save,) = site.outside_saves()
    assert save.lost[0].theirs is not None
    assert "depth 3.7" in save.lost[0].theirs
    site.leave_as_saved(save.key)
    assert site.outside_saves() == []
    assert b"E,45,3.7," in path.read_bytes()


def test_a_spreadsheet_that_only_spells_differently_lost_nothing(
    site: SiteStore, sketch: Path
) -> None:
    add(site, "E", note="a b")
    path = sketch / "locates.csv"
    path.write_bytes(path.read_bytes().replace(b"a b", b'"a b"').replace(b"\n", b"\r\n"))
    site.look()
    assert site.outside_saves() == []
    add(site, "F")
    assert marks(site)[-2:] == ["E", "F"]


def test_plan_and_settings_another_program_lost_come_back(site: SiteStore, sketch: Path) -> None:
    plan, settings = (sketch / "plan.geojson").read_bytes(), (sketch / "site.toml").read_bytes()
    site.save_feature(op(), FeatureEdit({"kind": "reference", "name": "post"}, point(1, 2)), "")
    site.save_settings(op(), [SettingEdit("start.depth", "3.2", "3 ft")], "")
    (sketch / "plan.geojson").write_bytes(plan)
    (sketch / "site.toml").write_bytes(settings)
    site.look()
    saves = site.outside_saves()
    assert sorted(lost.what for save in saves for lost in save.lost) == [
        "post",
        "“Depth to invert”",
    ]
    for save in saves:
        site.put_back(op(), save.key)
    assert "post" in (sketch / "plan.geojson").read_text()
    assert site.settings()["start.depth"] == "3.2"


def test_a_write_between_the_look_and_the_rename_is_taken_in(
    site: SiteStore, sketch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, path = disk.replace_if_unchanged, sketch / "locates.csv"
    seen: list[str] = []

    def slow(place: Path, content: bytes, expected: str) -> None:
        if not seen:
            seen.append(expected)
            path.write_bytes(path.read_bytes() + b"X,12,3,,,,,,,,,\n")
        real(place, content, expected)

    monkeypatch.setattr(store, "replace_if_unchanged", slow)
    add(site, "E")
    assert marks(site) == ["A", "B", "C", "D", "X", "E"]


def test_a_program_that_never_stops_writing_is_named(
    site: SiteStore, sketch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> None:
        raise disk.ChangedMeanwhileError

    monkeypatch.setattr(store, "replace_if_unchanged", never)
    with pytest.raises(Conflict, match="keeps writing"):
        add(site, "E")
    assert marks(SiteStore(sketch)) == ["A", "B", "C", "D"]


# ── crashes ──────────────────────────────────────────────────────────────────────────────────────


def test_a_change_that_never_reached_its_file_is_struck_out_and_can_be_sent_again(
    site: SiteStore, sketch: Path
) -> None:
    before = (sketch / "locates.csv").read_bytes()
    entry = add(site, "E")
    (sketch / "locates.csv").write_bytes(before)  # as if the power went between the two writes
    again = SiteStore(sketch)
    assert marks(again) == ["A", "B", "C", "D"]
    edit = RowEdit({"mark": "E", "footage": "45", "depth": "3"})
    again.save_rows(entry.op, "locates.csv", [edit], "E")
    assert marks(again)[-1] == "E"


def test_a_journal_line_cut_short_is_passed_over(site: SiteStore, sketch: Path) -> None:
    first = add(site, "E")
    with (sketch / ".history" / "journal.jsonl").open("ab") as file:
        file.write(b'{"op": "half')
    again = SiteStore(sketch)
    second = add(again, "F")
    assert [entry.op for entry in SiteStore(sketch).history.standing] == [first.op, second.op]


def test_a_full_disk_changes_nothing(
    site: SiteStore, sketch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    before = (sketch / "locates.csv").read_bytes()
    monkeypatch.setattr(store, "replace_if_unchanged", full)
    with pytest.raises(OSError, match="No space"):
        add(site, "E")
    monkeypatch.undo()
    assert (sketch / "locates.csv").read_bytes() == before
    add(site, "E")
    assert marks(site)[-1] == "E"


def test_the_history_is_lines_of_json(site: SiteStore, sketch: Path) -> None:
    add(site, "E")
    (line,) = (sketch / ".history" / "journal.jsonl").read_text().splitlines()
    assert json.loads(line)["words"] == "E added"
