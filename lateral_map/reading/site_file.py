"""site.toml off the disk: parsed, each table read, every fault given its line."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, get_args

from lateral_map.errors import Fault
from lateral_map.model.site import Unit
from lateral_map.reading import schema
from lateral_map.reading.files import decode_utf8, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import KEY_PARTS
from lateral_map.reading.schema import FORMAT, SiteDocument, table_models, written
from lateral_map.reading.typed import Spelling, Typed, key_names, read_typed
from lateral_map.reading.words import LONGEST_NAME, clean_name, nearest, plain, suggest
from lateral_map.units import show_value

_FILE: Final = "site.toml"
_HEADER = re.compile(r"\s*(?P<open>\[\[?)\s*(?P<name>[A-Za-z0-9_-]+)\s*\]")
_KEY = re.compile(r"""\s*(?:"(?P<quoted>[^"]+)"|(?P<bare>[A-Za-z0-9_-]+))\s*=""")
_LONG_KEY: Final = re.compile(
    r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){%d}""" % KEY_PARTS.most  # noqa: UP031 - braces
)
# What a line that is no TOML may look like, and what to do about it.
_TOML_SLIPS: Final = {
    r"=\s*\"[^\"]*'[^\"]*\"\s*\"": (
        "feet and inches go between three quotation marks ('''7'6\"''') or as \"7 ft 6 in\""
    ),
    r"=\s*\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}\s*(?:#.*)?$": (
        "write a date as year-month-day, such as date = 2026-05-04"
    ),
    r"=\s*[A-Za-z0-9]+[A-Za-z' ]": (
        'put text in quotation marks, such as name = "Lot 21" or depth = "7 ft 6 in"'
    ),
}


@dataclass(frozen=True, slots=True)
class SiteFile:
    """What site.toml says. A table is None where it cannot be used; ``ledger`` then has why.

    ``unit`` and ``crs`` are kept even where the rest of [site] is faulty; ``crs`` is empty where
    nobody can tell.
    """

    unit: str
    crs: str
    lines: Mapping[str, int]
    site: schema.SiteTable | None
    start: schema.StartTable | None
    counter: schema.CounterTable
    transmitter: schema.TransmitterTable
    pipe: tuple[schema.PipeTable, ...]
    boundary: tuple[schema.BoundaryTable, ...]
    dig: schema.DigTable
    accuracy: schema.AccuracyTable
    run: schema.RunTable
    referral: schema.ReferralTable
    job: schema.JobTable
    main: schema.MainTable
    dig_rule: tuple[schema.DigRuleTable, ...]
    soil_layer: tuple[schema.SoilLayerTable, ...]
    reach: tuple[schema.ReachTable, ...]
    rates: schema.RatesTable
    terrain: schema.TerrainTable
    picture: schema.PictureTable
    picture_point: tuple[schema.PicturePointTable, ...]
    applied: tuple[schema.AppliedTable, ...]

    def line_of(self, field: str) -> int | None:
        """Return the line a key stands in; where it is left out, that of its table."""
        return self.lines.get(field, self.lines.get(field.rpartition(".")[0]))

    def fault(self, ledger: Ledger, field: str, problem: str, remedy: str) -> None:
        """Report what is wrong with a key."""
        ledger.fault(problem, remedy, file="site.toml", row=self.line_of(field), field=field)


def read_site_file(path: Path, ledger: Ledger) -> SiteFile | None:
    """Read site.toml; None, with a fault, only where it is no TOML at all."""
    data = read_bytes(path, ledger)
    text = None if data is None else decode_utf8(data, _FILE, ledger)
    if text is None:
        return None
    long_key = _LONG_KEY.search(text)
    if long_key is not None:  # each part would be a table within a table
        at = text.count("\n", 0, long_key.start()) + 1
        remedy = f"{KEY_PARTS.remedy}; {KEY_PARTS.most} is the most"
        ledger.fault(f"there are too many {KEY_PARTS.what}", remedy, file=_FILE, row=at)
        return None
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        place = re.search(r" \(at line (\d+), column (\d+)\)", str(error))
        row = int(place[1]) if place else None
        column = f"column {place[2]}" if place else ""
        problem = str(error).replace(place[0], "") if place else str(error)[:200]
        line = text.split("\n")[row - 1] if row else ""
        remedy = next(
            (remedy for looks, remedy in _TOML_SLIPS.items() if re.search(looks, line)),
            "check the line for quotation marks, brackets and a key given twice",
        )
        ledger.fault(
            f"this is not TOML: {clean_name(problem)}",
            remedy,
            file=_FILE,
            row=row,
            field=column,
        )
        return None
    # The line of each table and key, such as start.depth or pipe[2].size.
    lines: dict[str, int] = {}
    table = ""
    count: Counter[str] = Counter()
    for number, line in enumerate(text.split("\n"), 1):
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            table = header["name"]
            if header["open"] == "[[":
                count[table] += 1
                table = f"{table}[{count[table]}]"
            lines.setdefault(table, number)
        elif key:
            name = key["quoted"] or key["bare"]
            lines.setdefault(f"{table}.{name}" if table else name, number)
    return _Reader(document, lines, ledger).read()


class _Reader:
    """Reads each table by itself, so that a fault in one hides none in another."""

    def __init__(self, document: dict[str, Any], lines: Mapping[str, int], ledger: Ledger) -> None:
        self._document = document
        self._lines = lines
        self._ledger = ledger
        given = document.get("site")
        site: dict[str, Any] = given if isinstance(given, dict) else {}
        unit, crs = site.get("unit"), site.get("crs")
        word = plain(unit[:20]) if isinstance(unit, str) else ""
        # In feet where the unit is not given right: the rest can still be checked.
        self._spelling = Spelling(word if word in get_args(Unit) else "ft")
        self._crs = clean_name(crs) if isinstance(crs, str) else ""

    def read(self) -> SiteFile:
        known = key_names(SiteDocument)
        for key in self._document:
            if key not in known:
                home = _home(key) if nearest(key, known, 0.75) is None else None
                remedy = suggest(key, known) if home is None else f"it belongs in {home}"
                self._fault("", Fault("this is unknown", remedy, field=key))
        version = self._document.get("format", None)
        if version is None:
            self._ledger.notice(f"site.toml does not say its format; it was read as {FORMAT}.")
        elif version != FORMAT or isinstance(version, bool):
            problem = f"format {show_value(version)} is not one this program reads"
            self._fault("", Fault(problem, f"write format = {FORMAT}", field="format"))
        tables: dict[str, Any] = {
            name: self._tables(name, model) if many else self._table(name, model)
            for name, (model, many) in table_models().items()
        }
        return SiteFile(self._spelling.unit, self._crs, self._lines, **tables)

    def _table(self, name: str, model: type[Typed]) -> Any:
        """Return a table; where it is faulty its defaults, None where it has none."""
        field, given = SiteDocument.model_fields[name], self._document.get(name, {})
        if name not in self._document and field.is_required():
            self._fault("", Fault(f"[{name}] is missing", f"add the table [{name}]", field=name))
            return None
        if not isinstance(given, dict):
            many = isinstance(given, list) and all(isinstance(one, dict) for one in given)
            problem = "it is written several times" if many else "it is not a table"
            self._fault("", Fault(problem, f"write it once, under [{name}]", field=name))
            given = None
        read = None if given is None else self._one(name, model, given)
        return read if read is not None or field.is_required() else field.default

    def _tables(self, name: str, model: type[Typed]) -> tuple[Typed, ...]:
        given = self._document.get(name, [])
        if not isinstance(given, list) or not all(isinstance(one, dict) for one in given):
            remedy = f"write each one under [[{name}]], with double brackets"
            self._fault("", Fault("it is not a list of tables", remedy, field=name))
            given = [given] if isinstance(given, dict) else []
        read = [self._one(f"{name}[{i}]", model, one) for i, one in enumerate(given, 1)]
        return tuple(one for one in read if one is not None)

    def _one(self, prefix: str, model: type[Typed], given: dict[str, Any]) -> Typed | None:
        instance, faults = read_typed(model, given, self._spelling)
        for fault in faults:
            # An unknown key may belong to another table: say which.
            home = _home(fault.field)
            unknown = fault.field in given and fault.field not in key_names(model)
            if unknown and home is not None:
                self._fault(prefix, replace(fault, remedy=f"it belongs in {home}"))
            else:
                self._fault(prefix, fault)
        return instance

    def _fault(self, prefix: str, fault: Fault) -> None:
        field = ".".join(part for part in (prefix, fault.field) if part)
        row = self._lines.get(field, self._lines.get(prefix))
        self._ledger.add(
            replace(fault, file=_FILE, field=clean_name(field)[:LONGEST_NAME], row=row)
        )


def _home(key: str) -> str | None:
    """Return the first table that has a key, as it is written."""
    models = table_models().items()
    return next((written(name) for name, (model, _) in models if key in key_names(model)), None)
