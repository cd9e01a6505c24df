"""Tables as spreadsheets save them: separators, quotation marks and columns made out.

A row's number is the one a spreadsheet shows: the header is row 1, blank rows count, a cell with
line breaks in it is still one row.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

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

_SEPARATORS: Final = (",", ";", "\t")
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

Record = tuple[int, list[str]]


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
    separator, text = _separator(text, known)
    records = _records(text, separator, file, ledger)
    if records is None:
        return None
    if not records:
        ledger.fault(
            "the file is empty",
            f"write the header {','.join(known[:3])},... or remove it",
            file=file,
        )
        return None
    header_row, header = records[0]
    columns = _columns(header, header_row, known, file, ledger)
    misspelt = _misspelt(columns, header_row, known, file, ledger)
    missing = [name for name in required if name not in columns]
    for name in missing:
        if name not in misspelt:
            ledger.fault(
                f"the column {name!r} is missing",
                f"the header needs {' and '.join(required)}, such as {','.join(known[:4])}",
                file=file,
                row=header_row,
                field=name,
            )
    if missing:
        return None
    rows = tuple(
        row
        for record in records[1:]
        if (row := _row(record, columns, len(header), known, file, ledger)) is not None
    )
    return TextTable(file, misspelt, rows, separator != ",")


def _separator(text: str, known: Sequence[str]) -> tuple[str, str]:
    """Return the separator whose header has most known columns, and the text after a sep= line."""
    first, _, rest = text.partition("\n")
    told = re.fullmatch(r"sep=([,;\t|])\r?", first, re.IGNORECASE)
    if told:
        return told[1], rest
    header = next((line for line in text.splitlines() if line.strip(" ,;\t")), "")

    def score(separator: str) -> tuple[int, int]:
        cells = [plain(cell.strip(' "')) for cell in header.split(separator)]
        return sum(cell in known for cell in cells), len(cells)

    return max(_SEPARATORS, key=score), text


def _records(text: str, separator: str, file: str, ledger: Ledger) -> list[Record] | None:
    """Return the records that are not blank, each with its spreadsheet row."""
    limit = csv.field_size_limit(len(text) + 1)
    try:
        records, trouble = _split(text, separator, strict=True)
        unclosed = len(records) + 1 if "unexpected end" in trouble else None
        if trouble and unclosed is None:
            # Typed by hand: a cell such as "soft" ground has quotation marks inside. Read so, a
            # cell that spans lines is one whose mark was never closed.
            records, _ = _split(text, separator, strict=False)
            unclosed = next((number for number, cells in records if _spans_lines(cells)), None)
    finally:
        csv.field_size_limit(limit)
    if unclosed is not None:
        ledger.fault(
            "a quotation mark is opened and never closed",
            'double the marks inside a quoted cell ("7\'6"""), or write 7 ft 6 in',
            file=file,
            row=unclosed,
        )
        return None
    return [(number, cells) for number, cells in records if any(cell.strip() for cell in cells)]


def _split(text: str, separator: str, *, strict: bool) -> tuple[list[Record], str]:
    """Return the records up to the first trouble, and the trouble in csv's words."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=strict)
    records: list[Record] = []
    try:
        records.extend(enumerate(reader, 1))
    except csv.Error as error:
        return records, str(error)
    return records, ""


def _spans_lines(cells: list[str]) -> bool:
    return any("\n" in cell or "\r" in cell for cell in cells)


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
    for name in columns:
        near = None if name in known else _meant(name, known)
        if near is not None and near not in columns:
            found.add(near)
            _report_misspelt(name, near, file, row, ledger)
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


def _report_misspelt(heading: str, near: str, file: str, row: int, ledger: Ledger) -> None:
    if near in _WORD_COLUMNS:
        ledger.notice(f"{file}: the column {heading!r} is kept as it is; it is not {near!r}.")
        return
    ledger.fault(
        f"the column {heading!r} is unknown",
        f"did you mean {near!r}? (rename it if it is something else)",
        file=file,
        row=row,
        field=heading,
    )


def _row(
    record: Record,
    columns: dict[str, int],
    width: int,
    known: Sequence[str],
    file: str,
    ledger: Ledger,
) -> TableRow | None:
    number, cells = record
    if any(cell.strip() for cell in cells[width:]):
        ledger.fault(
            f"there are {len(cells)} cells under {width} headings",
            "put a cell with a separator in it between quotation marks",
            file=file,
            row=number,
        )
        return None
    filled = {
        name: cells[index].strip()
        for name, index in columns.items()
        if index < len(cells) and cells[index].strip()
    }
    return TableRow(
        number,
        {name: cell for name, cell in filled.items() if name in known},
        {
            name: clean_text(cell)[:LONGEST_TEXT]
            for name, cell in filled.items()
            if name not in known
        },
    )
