"""Tables as spreadsheets save them: separators, quotation marks and columns made out.

A row's number is the one a spreadsheet shows: the header is row 1, blank rows count, a cell with
line breaks in it is still one row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final, Generic, TypeVar

from lateral_map.reading.csv_text import is_unclosed, parse_csv
from lateral_map.reading.files import decode_table, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import ROWS
from lateral_map.reading.typed import Spelling, Typed, key_names, read_typed
from lateral_map.reading.words import (
    LONGEST_NAME,
    LONGEST_TEXT,
    clean_name,
    clean_text,
    nearest,
    plain,
)

_BLANK: Final = " ,;\t\r\n"
# Columns of words: losing one loses no reading, so a near miss there is only noticed.
_WORD_COLUMNS: Final = frozenset({"mark", "note", "severity"})
# Common ways of heading a column that spelling alone does not bring near.
_OTHER_NAMES: Final = {
    "latitude": "lat", "longitude": "lon", "long": "lon", "lng": "lon",
    "easting": "x", "east": "x", "northing": "y", "north": "y",
    "distance": "footage", "station": "footage", "chainage": "footage", "counter": "footage",
    "angle": "turn", "elevation": "ground", "used": "use",
    "comment": "note", "comments": "note", "remarks": "note",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row: its spreadsheet number, and its cells that are not blank, by column."""

    number: int
    cells: dict[str, str]
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table's rows as text. ``decimal_comma`` is True where commas do not separate cells.

    ``misspelt`` are known columns that seem to stand under another heading.
    """

    file: str
    misspelt: frozenset[str]
    rows: tuple[TableRow, ...]
    decimal_comma: bool


def read_table(
    path: Path,
    known: Sequence[str],
    required: Sequence[str],
    ledger: Ledger,
    most: int | None = None,
) -> TextTable | None:
    """Read a table whose columns are ``known``; others are kept as extra.

    With ``most`` no more rows are read than that, and one too many. None, with a fault, where it is
    no table or a required column is missing.
    """
    file = path.name
    data = read_bytes(path, ledger)
    text = None if data is None else decode_table(data, file, ledger)
    if text is None:
        return None
    # Spreadsheets save a million blank rows below what is typed.
    typed = text.rstrip(_BLANK)
    text = text[: len(typed) + len(text[len(typed) :].partition("\n")[0]) + 1]
    parsed = parse_csv(text, known, None if most is None else most + 2)  # and the header
    unclosed = (n for n, row in enumerate(parsed.rows, 1) if any(map(is_unclosed, row.cells)))
    if bad := next(unclosed, None):
        remedy = 'double the marks inside a quoted cell ("7\'6"""), or write 7 ft 6 in'
        ledger.fault("a quotation mark is opened and never closed", remedy, file=file, row=bad)
        return None
    every = ((n, [*row.values]) for n, row in enumerate(parsed.rows, 1))
    records = [(n, cells) for n, cells in every if any(cells)]
    if not records:
        remedy = f"write the header {','.join(known[:3])},... or remove it"
        ledger.fault("the file is empty", remedy, file=file)
        return None
    header_row, header = records[0]
    columns, misspelt = _read_header(header, header_row, known, file, ledger)
    missing = [name for name in required if name not in columns]
    remedy = f"the header needs {' and '.join(required)}, such as {','.join(known[:4])}"
    for name in [one for one in missing if one not in misspelt]:
        problem = f"the column {name!r} is missing"
        ledger.fault(problem, remedy, file=file, row=header_row, field=name)
    if missing:
        return None
    rows = []
    for number, cells in records[1:]:
        if any(cells[len(header) :]):
            problem = f"there are {len(cells)} cells under {len(header)} headings"
            remedy = "put a cell with a separator in it between quotation marks"
            ledger.fault(problem, remedy, file=file, row=number)
            continue
        said = {name: cells[i] for name, i in columns.items() if i < len(cells) and cells[i]}
        other = [name for name in said if name not in known]
        extra = {name: clean_text(said.pop(name))[:LONGEST_TEXT] for name in other}
        rows.append(TableRow(number, said, extra))
    return TextTable(file, misspelt, tuple(rows), parsed.delimiter != ",")


def _read_header(
    header: list[str], row: int, known: Sequence[str], file: str, ledger: Ledger
) -> tuple[dict[str, int], frozenset[str]]:
    """Return each column's place, and the known columns that seem to have another heading.

    A heading given twice, or nearly a known column's, is a fault.
    """
    columns: dict[str, int] = {}
    for index, heading in enumerate(header):
        word = plain(clean_name(heading))
        name = word if word in known else clean_name(heading)[:LONGEST_NAME]
        name = name or f"column {index + 1}"
        if name in columns:
            ledger.fault(
                "the column is there twice", "keep one of them", file=file, row=row, field=name
            )
        columns.setdefault(name, index)
    # Three letters are near too many words (a column 'user' is no 'use').
    long_enough = [name for name in known if len(name) > 3]
    misspelt: set[str] = set()
    for heading in [one for one in columns if one not in known]:
        word = re.sub(r"_(ft|feet|m|in|mm|deg|degrees)$", "", plain(heading))
        near = _OTHER_NAMES.get(word, word)
        meant = near if near in known else nearest(word, long_enough, closeness=0.8)
        if meant is None or meant in columns:
            continue
        misspelt.add(meant)
        if meant in _WORD_COLUMNS:
            ledger.notice(f"{file}: the column {heading!r} is kept as it is; it is not {meant!r}.")
        else:
            remedy = f"did you mean {meant!r}? (rename it if it is something else)"
            problem = f"the column {heading!r} is unknown"
            ledger.fault(problem, remedy, file=file, row=row, field=heading)
    return columns, frozenset(misspelt)


# ── typed ────────────────────────────────────────────────────────────────────────────────────────

Row = TypeVar("Row", bound=Typed)
Row_co = TypeVar("Row_co", bound=Typed, covariant=True)


@dataclass(frozen=True, slots=True)
class ReadRow(Generic[Row_co]):
    """One row as read. ``typed`` is None where the row lacks what it needs most."""

    file: str
    number: int
    cells: Mapping[str, str]
    extra: Mapping[str, str]
    typed: Row_co | None

    def fault(self, ledger: Ledger, field: str, problem: str, remedy: str) -> None:
        """Report what is wrong in one of its cells."""
        ledger.fault(problem, remedy, file=self.file, row=self.number, field=field)


def read_rows(
    path: Path | None, model: type[Row], unit: str, ledger: Ledger
) -> tuple[ReadRow[Row], ...]:
    """Read a table of ``model`` rows; nothing where there is no file or it is no table."""
    if path is None:
        return ()
    required = tuple(
        field.alias or name for name, field in model.model_fields.items() if field.is_required()
    )
    limit = ROWS[path.name.casefold()]
    table = read_table(path, key_names(model), required, ledger, limit.most)
    if table is None:
        return ()
    too_many = limit.fault(len(table.rows), counted=False)
    if too_many is not None:
        ledger.add(replace(too_many, file=table.file))
        return ()
    spelling = Spelling(unit, numbers_as_text=True, decimal_comma=table.decimal_comma)
    rows: list[ReadRow[Row]] = []
    for row in table.rows:
        typed, faults = read_typed(model, row.cells, spelling, table.misspelt)
        for fault in faults:
            ledger.add(replace(fault, file=table.file, row=row.number))
        rows.append(ReadRow(table.file, row.number, row.cells, row.extra, typed))
    return tuple(rows)
