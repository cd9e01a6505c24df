"""Tables as .xlsx: a number is one whatever a locale takes for its decimal point."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from lateral_map.export.features import flat_record, route_layers
from lateral_map.export.layer_styles import LENGTH_COLUMNS
from lateral_map.export.result import result_record

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_SHEETS: Final = ("stations", "crossings", "findings", "locates", "stretches")
_LONGEST_CELL: Final = 32_000


def tables_xlsx(report: Report) -> bytes:
    """Return tables.xlsx: stations, crossings, findings, locates, stretches and readings.

    A length's column names its unit, as in stations.csv.
    """
    unit, sheets = report.site.unit, {}
    by_name = {layer.name: layer for layer in route_layers(report)}
    for name in _SHEETS:
        records = [flat_record(one.record) for one in by_name[name].features]
        sheets[name] = [
            {f"{key}_{unit}" if key in LENGTH_COLUMNS else key: one[key] for key in one}
            for one in records
        ]
    sheets["readings"] = [flat_record(one) for one in result_record(report)["readings"]]
    return workbook(sheets, report.site.date)


def workbook(sheets: Mapping[str, Sequence[Mapping[str, Any]]], date: dt.date | None) -> bytes:
    """Return a workbook of one sheet a table, a row a record, the first row the columns' names.

    Text is written as text: what looks like a formula is shown, not run. ``date`` is the time the
    file says it was made.
    """
    import xlsxwriter

    content = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(content, options) as book:
        made = dt.datetime.combine(date or dt.date(1980, 1, 1), dt.time(), dt.UTC)
        book.set_properties({"created": made})
        bold = book.add_format({"bold": True})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            columns = list(rows[0]) if rows else []
            for at, column in enumerate(columns):
                sheet.write_string(0, at, column, bold)
                widest = max([len(column), *(len(str(row[column] or "")) for row in rows)])
                sheet.set_column(at, at, min(widest + 2, 40))
                for down, row in enumerate(rows, start=1):
                    value = row[column]
                    if isinstance(value, bool):
                        sheet.write_boolean(down, at, value)
                    elif isinstance(value, int | float):
                        sheet.write_number(down, at, value)
                    elif value:
                        sheet.write_string(down, at, value[:_LONGEST_CELL])
    return content.getvalue()
