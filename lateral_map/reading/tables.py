"""Tables as spreadsheets save them: separators, quotation marks and columns made out.

A row's number is the one a spreadsheet shows: the header is row 1, blank rows count, a cell with
line breaks in it is still one row.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from lateral_map.reading.csv_text import is_unclosed, parse_csv
from lateral_map.reading.files import decode_table, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.words import (
    LONGEST_NAME,
    LONGEST_TEXT,
    clean_name,
    clean_text,
    nearest,
    plain,
)

# Columns of words: losing one loses no reading, so a near miss there is only noticed.
_WORD_COLUMNS: Final = frozenset({"mark", "note", "severity"})
# Common ways of heading a column that spelling alone does not bring near.
_OTHER_NAMES: Final = {
    "lat": ("latitude",),
    "lon": ("longitude", "long", "lng"),
    "x": ("easting", "east"),
    "y": ("northing", "north"),
    "footage": ("distance", "station", "chainage", "counter"),
    "turn": ("angle",),
    "ground": ("elevation",),
    "use": ("used",),
    "note": ("comment", "comments", "remarks"),
}


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
    path: Path, known: Sequence[str], required: Sequence[str], ledger: Ledger
) -> TextTable | None:
    """Read a table whose columns are ``known``; others are kept as extra.

    None, with a fault, where it is no table or a required column is missing.
    """
    file = path.name
    data = read_bytes(path, ledger)
    text = None if data is None else decode_table(data, file, ledger)
    if text is None:
        return None
    parsed = parse_csv(text, known)
    unclosed = (n for n, row in enumerate(parsed.rows, 1) if any(map(is_unclosed, row.cells)))
    if bad := next(unclosed, None):
        remedy = 'double the marks inside a quoted cell ("7\'6"""), or write 7 ft 6 in'
        ledger.fault("a quotation mark is opened and never closed", remedy, file=file, row=bad)
        return None
    records = [(n, [*row.values]) for n, row in enumerate(parsed.rows, 1) if any(row.values)]
    if not records:
        remedy = f"write the header {','.join(known[:3])},... or remove it"
        ledger.fault("the file is empty", remedy, file=file)
        return None
    header_row, header = records[0]
    columns = _columns(header, header_row, known, file, ledger)
    misspelt = _misspelt(columns, header_row, known, file, ledger)
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


def _columns(
    header: list[str], row: int, known: Sequence[str], file: str, ledger: Ledger
) -> dict[str, int]:
    """Return each column's place; a fault for a heading given twice."""
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
    return columns


def _misspelt(
    columns: dict[str, int], row: int, known: Sequence[str], file: str, ledger: Ledger
) -> frozenset[str]:
    """Report headings that are nearly a known column's; return the columns they seem to mean."""
    found: set[str] = set()
    for heading in columns:
        near = None if heading in known else _meant(heading, known)
        if near is None or near in columns:
            continue
        found.add(near)
        if near in _WORD_COLUMNS:
            ledger.notice(f"{file}: the column {heading!r} is kept as it is; it is not {near!r}.")
        else:
            ledger.fault(
                f"the column {heading!r} is unknown",
                f"did you mean {near!r}? (rename it if it is something else)",
                file=file,
                row=row,
                field=heading,
            )
    return frozenset(found)


def _meant(heading: str, known: Sequence[str]) -> str | None:
    """Return the known column a heading seems to mean, if any."""
    word = re.sub(r"_(ft|feet|m|in|mm|deg|degrees)$", "", plain(heading))
    if word in known:
        return word
    other = next((name for name, words in _OTHER_NAMES.items() if word in words), None)
    # Three letters are near too many words (a column 'user' is no 'use').
    long_enough = [name for name in known if len(name) > 3]
    return other if other in known else nearest(word, long_enough, closeness=0.8)
