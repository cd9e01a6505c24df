"""A CSV file as its own text: one row can change while every other byte stays as it was.

The ``csv`` module gives values and forgets how they were written. Here each cell keeps its text,
quotes and blanks included, so that a file kept by hand or by a spreadsheet is edited in place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from lateral_map.reading.words import clean_name, plain

_DELIMITERS: Final = ",;\t"
_LEADING: Final = re.compile(r"\ufeff?(?:sep=(?P<told>[,;\t|])\r?\n)?", re.IGNORECASE)
_QUOTED: Final = re.compile(r'"(?P<inner>(?:[^"]|"")*+)"?(?P<rest>.*)', re.DOTALL)


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One record: the text of each cell as written, and the line end after it."""

    cells: tuple[str, ...]
    ending: str = "\n"

    @property
    def is_blank(self) -> bool:
        """True for an empty line."""
        return all(not cell.strip() for cell in self.cells)

    @property
    def values(self) -> tuple[str, ...]:
        """What the cells say, quotes taken off."""
        return tuple(unquote(cell) for cell in self.cells)


@dataclass(frozen=True)
class CsvText:
    """A whole file. Rows are numbered from 1 as a spreadsheet does, blank ones too.

    ``known`` are the column names that other spellings in the header ('Held Above') stand for.
    ``leading`` is what comes before the first row: a byte order mark, a separator's declaration.
    """

    rows: tuple[CsvRow, ...]
    known: tuple[str, ...] = ()
    delimiter: str = ","
    newline: str = "\n"
    leading: str = ""

    @cached_property
    def header_row(self) -> int:
        """The number of the first row that is not blank."""
        return next((n for n, row in enumerate(self.rows, 1) if not row.is_blank), 1)

    @cached_property
    def columns(self) -> tuple[str, ...]:
        """The header's names, spelt as they are known."""
        if not self.rows:
            return ()
        names = [clean_name(name) for name in self.rows[self.header_row - 1].values]
        return tuple(plain(name) if plain(name) in self.known else name for name in names)

    def text(self) -> str:
        """Return the file's text."""
        return self.leading + "".join(
            self.delimiter.join(row.cells) + row.ending for row in self.rows
        )

    def row_text(self, number: int) -> str:
        """Return the text of row ``number`` without its line end."""
        return self.delimiter.join(self.rows[number - 1].cells)

    def row_values(self, number: int) -> dict[str, str]:
        """Return column -> value of row ``number``; missing cells are empty."""
        return self._named(self.rows[number - 1].values)

    def values_of(self, row_text: str) -> dict[str, str]:
        """Return column -> value of a row given as text."""
        rows = split_rows(row_text, self.delimiter)
        return self._named(rows[0].values if rows else ())

    def _named(self, values: Sequence[str]) -> dict[str, str]:
        padded = (*values, *[""] * max(0, len(self.columns) - len(values)))
        return {name: value for name, value in zip(self.columns, padded, strict=False) if name}

    def data_rows(self) -> Iterable[int]:
        """Return the numbers of the rows below the header that hold anything."""
        first = self.header_row + 1
        return (n for n in range(first, len(self.rows) + 1) if not self.rows[n - 1].is_blank)

    def find(self, row_text: str, near: int) -> int | None:
        """Return the number of the row written so, the one closest to ``near``; else None.

        Empty cells at its end do not count: a column added since left one more of them.
        """
        meant = row_text.rstrip(self.delimiter)
        found = [n for n in self.data_rows() if self.row_text(n).rstrip(self.delimiter) == meant]
        return min(found, key=lambda n: abs(n - near)) if found else None

    def with_columns(self, names: Iterable[str]) -> CsvText:
        """Return the file with the columns it lacks added on the right, in every row."""
        missing = [self._quote(name) for name in names if name not in self.columns]
        if not missing:
            return self
        if not self.rows:
            return replace(self, rows=(CsvRow(tuple(missing), self.newline),))
        header = self.rows[self.header_row - 1]
        rows = list(self.rows)
        rows[self.header_row - 1] = replace(header, cells=(*header.cells, *missing))
        for number in self.data_rows():
            row = self.rows[number - 1]
            short = max(0, len(header.cells) - len(row.cells)) + len(missing)
            rows[number - 1] = replace(row, cells=(*row.cells, *[""] * short))
        return replace(self, rows=tuple(rows))

    def with_row(self, values: Mapping[str, str], at: int | None = None) -> CsvText:
        """Return the file with a new row of ``values``, at its end or as row number ``at``."""
        table = self.with_columns(name for name, value in values.items() if value)
        cells = tuple(self._quote(values.get(name, "")) for name in table.columns)
        rows = list(table.ended().rows)
        place = len(rows) + 1 if at is None else max(table.header_row + 1, min(at, len(rows) + 1))
        rows.insert(place - 1, CsvRow(cells, self.newline))
        return replace(table, rows=tuple(rows))

    def with_values(self, number: int, values: Mapping[str, str]) -> CsvText:
        """Return the file with the given columns of row ``number`` changed; the rest untouched."""
        table = self.with_columns(name for name, value in values.items() if value)
        row = table.rows[number - 1]
        cells = list(row.cells) + [""] * (len(table.columns) - len(row.cells))
        for place, name in enumerate(table.columns):
            if name in values and unquote(cells[place]) != values[name]:
                cells[place] = self._quote(values[name])
        return table.with_row_cells(number, cells)

    def without_row(self, number: int) -> CsvText:
        """Return the file without row ``number``."""
        return replace(self, rows=(*self.rows[: number - 1], *self.rows[number:]))

    def with_row_text(self, number: int, row_text: str) -> CsvText:
        """Return the file with row ``number`` written exactly as ``row_text``."""
        rows = split_rows(row_text, self.delimiter)
        cells = rows[0].cells if rows else ()
        return self.with_row_cells(number, (*cells, *[""] * max(0, len(self.columns) - len(cells))))

    def with_row_cells(self, number: int, cells: Iterable[str]) -> CsvText:
        """Return the file with row ``number`` made of other cells, as written."""
        row = CsvRow(tuple(cells), self.rows[number - 1].ending)
        return replace(self, rows=(*self.rows[: number - 1], row, *self.rows[number:]))

    def ended(self) -> CsvText:
        """Return the file with a line end after its last row, so that another may follow."""
        if not self.rows or self.rows[-1].ending:
            return self
        last = replace(self.rows[-1], ending=self.newline)
        return replace(self, rows=(*self.rows[:-1], last))

    def _quote(self, value: str) -> str:
        needs = value != value.strip() or any(c in value for c in f'"\r\n{self.delimiter}')
        return '"' + value.replace('"', '""') + '"' if needs else value


def parse_csv(text: str, known: Sequence[str] = (), most: int | None = None) -> CsvText:
    """Read a file's text; any text is some table, and ``parse_csv(text).text() == text``.

    With ``most`` no more rows are read than hold that many that are not blank.
    """
    match = _LEADING.match(text)
    leading = match[0] if match else ""
    body = text[len(leading) :]
    header = next((line for line in body.splitlines() if line.strip(" ,;\t")), "")

    def score(delimiter: str) -> tuple[int, int]:
        cells = [plain(cell.strip(' "')) for cell in header.split(delimiter)]
        return sum(cell in known for cell in cells), len(cells)

    delimiter = (match["told"] if match else None) or max(_DELIMITERS, key=score)
    rows = split_rows(body, delimiter, most)
    newline = next((row.ending for row in rows if row.ending), "\n")
    return CsvText(rows, tuple(known), delimiter, newline, leading)


def split_rows(text: str, delimiter: str, most: int | None = None) -> tuple[CsvRow, ...]:
    """Split text into records; line ends within quotes belong to their cell.

    With ``most`` it ends after the record that is that many'th of those that are not blank.
    """
    stop = re.escape(delimiter)
    quoted = rf'"(?:[^"]++|"")*+(?:"[^{stop}\r\n]*|\Z)'
    # One cell, and what ends it: the delimiter, a line end, or the end of the text.
    cell = re.compile(rf"(?P<cell>{quoted}|[^{stop}\r\n]*)(?P<end>{stop}|\r\n|\r|\n|\Z)")
    rows: list[CsvRow] = []
    cells: list[str] = []
    left = math.inf if most is None else most
    if not text:
        return ()
    for match in cell.finditer(text):
        cells.append(match["cell"])
        if match["end"] != delimiter:
            rows.append(CsvRow(tuple(cells), match["end"]))
            left -= any(map(str.strip, cells))
            cells = []
            if match.end() == len(text) or left <= 0:
                break
    return tuple(rows)


def unquote(cell: str) -> str:
    """Return what a cell says: quotes taken off, doubled quotes made single."""
    match = _QUOTED.fullmatch(cell)
    said = match["inner"].replace('""', '"') + match["rest"] if match else cell
    return said.strip()


def is_unclosed(cell: str) -> bool:
    """Say whether a cell's quotation mark is never closed, or closed by a later cell's."""
    match = _QUOTED.fullmatch(cell)
    if match is None:
        return False
    inner, rest = match["inner"], match["rest"].strip()
    return len(inner) + 1 == len(cell) or (rest != "" and ("\n" in inner or "\r" in inner))
