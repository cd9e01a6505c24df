"""A CSV file edited in place: the one cell changes, every other byte stays."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.reading.csv_text import parse_csv, unquote

CELLS = st.text(st.sampled_from("ab 1.'\",;\n\r\té"), max_size=8)
ROWS = st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=5)
BY_HAND = (
    '\ufeffMark;Footage;"My note";colour\r\nA ; 10,5;"soft; ""wet"" ground"\r\n\r\nB;21;over\r\n'
)


@given(st.text(st.sampled_from('a,;\t"\n\r\ufeff =s'), max_size=40))
def test_any_text_is_a_table_and_comes_back_as_it_was(text: str) -> None:
    assert parse_csv(text).text() == text


@given(ROWS, st.sampled_from(["\n", "\r\n"]))
def test_what_the_csv_module_wrote_is_read_as_it_reads_it(rows: list[list[str]], end: str) -> None:
    sheet = io.StringIO()
    csv.writer(sheet, lineterminator=end).writerows([["footage", "mark", "note", "depth"], *rows])
    table = parse_csv(sheet.getvalue(), ("footage", "mark", "note", "depth"))
    expected = [
        [cell.strip() for cell in row or [""]]
        for row in csv.reader(io.StringIO(sheet.getvalue(), newline=""))
    ]
    assert [list(row.values) for row in table.rows] == expected


@given(ROWS, st.data())
def test_changing_a_cell_changes_that_row_alone(rows: list[list[str]], data: st.DataObject) -> None:
    sheet = io.StringIO()
    csv.writer(sheet).writerows([["footage", "mark", "note", "depth"], *rows])
    table = parse_csv(sheet.getvalue(), ("footage", "mark", "note", "depth"))
    numbers = list(table.data_rows())
    if not numbers:
        return
    number = data.draw(st.sampled_from(numbers))
    value = data.draw(CELLS).strip()
    changed = table.with_values(number, {"note": value})
    assert changed.row_values(number)["note"] == value
    for other in range(1, len(table.rows) + 1):
        if other != number:
            assert changed.rows[other - 1] == table.rows[other - 1]
    read = list(csv.reader(io.StringIO(changed.text(), newline="")))
    assert read[number - 1][2].strip() == value


def test_a_file_kept_by_hand_keeps_its_mark_its_separator_and_its_columns() -> None:
    table = parse_csv(BY_HAND, ("mark", "footage", "depth"))
    assert table.columns == ("mark", "footage", "My note", "colour")
    assert list(table.data_rows()) == [2, 4]
    assert table.row_values(2)["My note"] == 'soft; "wet" ground'
    changed = table.with_values(4, {"footage": "21,5"})
    assert changed.text() == BY_HAND.replace("B;21;over", "B;21,5;over;")


def test_a_new_column_is_added_on_the_right_of_every_row() -> None:
    table = parse_csv("mark,footage\nA,1\n\nB,2", ("mark", "footage", "depth"))
    assert table.with_row({"mark": "C", "footage": "3", "depth": "4'6\""}).text() == (
        'mark,footage,depth\nA,1,\n\nB,2,\nC,3,"4\'6"""\n'
    )


def test_a_row_is_found_again_though_a_column_was_added_since() -> None:
    table = parse_csv("mark,footage\nA,1\nB,2\n").with_columns(["depth"])
    assert table.find("B,2", 3) == 3
    assert table.find("B,9", 3) is None


def test_of_two_rows_alike_the_nearer_is_meant() -> None:
    table = parse_csv("mark,footage\nA,1\nB,2\nA,1\n")
    assert table.find("A,1", 4) == 4
    assert table.find("A,1", 2) == 2


@pytest.mark.parametrize(
    ("cell", "said"),
    [('"a""b"', 'a"b'), (" a ", "a"), ('""', ""), ('"open', "open"), ('a"b', 'a"b')],
)
def test_what_a_cell_says(cell: str, said: str) -> None:
    assert unquote(cell) == said


def test_a_declared_separator_is_taken_at_its_word() -> None:
    table = parse_csv("sep=;\nmark;note\nA;a,b,c,d\n", ("mark", "note"))
    assert table.row_values(2) == {"mark": "A", "note": "a,b,c,d"}
    assert table.text() == "sep=;\nmark;note\nA;a,b,c,d\n"
