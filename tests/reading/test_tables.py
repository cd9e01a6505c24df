"""Tables as spreadsheets of all kinds save them."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading.good_site import good_folder, table_text

from lateral_map.errors import SiteError
from lateral_map.model.site import Site
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.tables import read_table

KNOWN = ("mark", "footage", "depth", "note")


def read(tmp_path: Path, data: str | bytes) -> tuple[list[tuple[int, dict[str, str]]], Ledger]:
    path = tmp_path / "t.csv"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    ledger = Ledger()
    table = read_table(path, KNOWN, ("footage",), ledger)
    rows = [] if table is None else [(row.number, row.cells | row.extra) for row in table.rows]
    return rows, ledger


def plain(site: Site) -> list[tuple[object, ...]]:
    return [(one.mark, one.footage_m, one.depth_m, len(one.ties), one.note) for one in site.locates]


def commas(text: str) -> str:
    """Write numbers with a decimal comma."""
    return text.replace(".", ",")


def headed(rows: list[dict[str, str]], heading: Callable[[str], str]) -> list[dict[str, str]]:
    return [{heading(key): cell for key, cell in row.items()} for row in rows]


DIALECTS = {
    "semicolons": lambda rows: table_text(rows, ";"),
    "semicolons and decimal commas": lambda rows: commas(table_text(rows, ";")),
    "tabs": lambda rows: table_text(rows, "\t"),
    "Windows line ends": lambda rows: table_text(rows, end="\r\n"),
    "old Macintosh line ends": lambda rows: table_text(rows, end="\r"),
    "byte-order mark": lambda rows: "\ufeff" + table_text(rows),
    "UTF-16": lambda rows: table_text(rows, "\t").encode("utf-16"),
    "sep= line": lambda rows: "sep=;\r\n" + table_text(rows, ";", "\r\n"),
    "no last line end": lambda rows: table_text(rows).rstrip("\n"),
    "capital headings": lambda rows: table_text(headed(rows, str.upper)),
    "headings with spaces": lambda rows: table_text(
        headed(rows, lambda key: key.replace("_", " ").title())
    ),
    "columns in another order": lambda rows: table_text(
        [dict(reversed(row.items())) for row in rows]
    ),
    "empty columns at the end": lambda rows: "\n".join(
        f"{line},,," for line in table_text(rows).splitlines()
    ),
}  # fmt: skip


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_dialect_reads_the_same(dialect: str, tmp_path: Path) -> None:
    folder = good_folder()
    header = list(dict.fromkeys(key for row in folder.locates for key in row))
    folder.locates = [{key: row.get(key, "") for key in header} for row in folder.locates]
    expected = plain(folder.load(tmp_path / "plain"))
    folder.raw["locates.csv"] = DIALECTS[dialect](folder.locates)
    assert plain(folder.load(tmp_path / "other")) == expected


def test_western_text_that_is_not_utf8_is_read_and_noted(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0]["note"] = "Café, ½ in off"
    folder.raw["locates.csv"] = table_text(folder.locates).encode("cp1252")
    site = folder.load(tmp_path)
    assert site.locates[0].note == "Café, ½ in off"
    assert "locates.csv is not UTF-8; it was read as Windows-1252." in site.notices


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    rows, _ = read(tmp_path, 'mark,footage,depth,note\n\nA,1,1,"two\nlines"\n,,,\nB,2,2,\n')
    assert [number for number, _ in rows] == [3, 5]
    assert rows[0][1]["note"] == "two\nlines"


def test_blank_lines_before_the_header_count_too(tmp_path: Path) -> None:
    rows, _ = read(tmp_path, "\n,,\nmark,footage,depth\nA,1,1\n")
    assert [number for number, _ in rows] == [4]


def test_feet_and_inches_survive_quoting(tmp_path: Path) -> None:
    rows, ledger = read(tmp_path, 'mark,footage,depth\nA,1,"7\'6"""\nB,2,7\'6"\nC,3,"7 ft, 6 in"\n')
    assert [cells["depth"] for _, cells in rows] == ["7'6\"", "7'6\"", "7 ft, 6 in"]
    assert not ledger.faults


def test_words_in_quotation_marks_inside_a_cell(tmp_path: Path) -> None:
    rows, ledger = read(tmp_path, 'footage,note\n1,"soft" ground\n2,"so-called "soft" ground"\n')
    assert rows[0][1]["note"] == "soft ground"
    assert not ledger.faults


@pytest.mark.parametrize(
    "text",
    [
        'footage,note\n1,"7\'6""\n2,b\n',
        'footage,note\n1,"open\n2,b\n',
        'footage,note\n1,"a" b\n2,"open\n3,c\n',
    ],
)
def test_a_mark_never_closed_does_not_swallow_rows_in_silence(text: str, tmp_path: Path) -> None:
    rows, ledger = read(tmp_path, text)
    assert rows == []
    assert "never closed" in ledger.faults[0].problem


def test_short_rows_are_blank_at_the_end(tmp_path: Path) -> None:
    rows, _ = read(tmp_path, "mark,footage,depth,note\nA,1\n")
    assert rows == [(2, {"mark": "A", "footage": "1"})]


def test_a_column_without_a_heading_is_kept(tmp_path: Path) -> None:
    rows, ledger = read(tmp_path, "mark,,footage\nA,x,1\n")
    assert rows == [(2, {"mark": "A", "footage": "1", "column 2": "x"})]
    assert not ledger.faults


@pytest.mark.parametrize(
    "heading", ["user", "path", "date", "crew", "photo", "time", "by", "id", "clock"]
)
def test_other_columns_are_no_misspellings(heading: str, tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0][heading] = "7"
    assert folder.load(tmp_path).locates[0].extra == {heading: "7"}


def test_reading_leaves_the_csv_module_as_it_was(tmp_path: Path) -> None:
    before = csv.field_size_limit()
    read(tmp_path, "footage,note\n1," + "x" * 300_000 + "\n")
    assert csv.field_size_limit() == before


CELLS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)


@given(
    cells=st.lists(st.tuples(CELLS, CELLS), max_size=6),
    separator=st.sampled_from([",", ";", "\t"]),
)
def test_what_a_spreadsheet_writes_is_what_is_read(
    cells: list[tuple[str, str]], separator: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("t") / "t.csv"
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, delimiter=separator)
        writer.writerow(KNOWN)
        writer.writerows(("", "1", note, mark) for note, mark in cells)
    table = read_table(path, KNOWN, ("footage",), Ledger())
    assert table is not None
    read_back = [(row.cells.get("depth", ""), row.cells.get("note", "")) for row in table.rows]
    assert read_back == [(note.strip(), mark.strip()) for note, mark in cells]


@pytest.mark.parametrize(("beyond_ft", "taken"), [(0.06, True), (0.25, True), (0.5, False)])
@pytest.mark.parametrize("table", ["locates", "findings"])
def test_a_hair_past_the_end_is_the_end(
    tmp_path: Path, table: str, beyond_ft: float, taken: bool
) -> None:
    folder = good_folder()
    getattr(folder, table)[-1]["footage"] = f"{80.0 + beyond_ft}"
    if table == "findings":
        folder.findings[-1].pop("to", None)
    if not taken:
        with pytest.raises(SiteError, match="beyond the run's end"):
            folder.load(tmp_path)
        return
    site = folder.load(tmp_path)
    assert site.run.end_m == pytest.approx((80.0 + beyond_ft) * 0.3048)
    assert any("by no more than the counter may be off" in one for one in site.notices)
