"""A table's rows read into typed rows, with every fault of every row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Generic, TypeVar

from lateral_map.reading.ledger import Ledger
from lateral_map.reading.tables import read_table
from lateral_map.reading.typed import Spelling, Typed, key_names, read_typed

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


def read_rows(
    path: Path | None, model: type[Row], unit: str, ledger: Ledger
) -> tuple[ReadRow[Row], ...]:
    """Read a table of ``model`` rows; nothing where there is no file or it is no table."""
    if path is None:
        return ()
    required = tuple(
        field.alias or name for name, field in model.model_fields.items() if field.is_required()
    )
    table = read_table(path, key_names(model), required, ledger)
    if table is None:
        return ()
    spelling = Spelling(unit, numbers_as_text=True, decimal_comma=table.decimal_comma)
    rows: list[ReadRow[Row]] = []
    for row in table.rows:
        typed, faults = read_typed(model, row.cells, spelling, table.misspelt)
        for fault in faults:
            ledger.add(replace(fault, file=table.file, row=row.number))
        rows.append(ReadRow(table.file, row.number, row.cells, row.extra, typed))
    return tuple(rows)
