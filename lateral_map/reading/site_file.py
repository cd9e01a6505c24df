"""site.toml off the disk: parsed, each table read, every fault given its line."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, TypeVar

from lateral_map.errors import Fault
from lateral_map.reading.files import decode_utf8, read_bytes
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.schema import (
    FORMAT,
    AccuracyTable,
    BoundaryTable,
    CounterTable,
    DigRuleTable,
    DigTable,
    PipeTable,
    RatesTable,
    ReachTable,
    ReferralTable,
    RunTable,
    SiteDocument,
    SiteTable,
    StartTable,
    TerrainTable,
    TransmitterTable,
)
from lateral_map.reading.typed import Spelling, Typed, key_names, read_typed
from lateral_map.reading.words import clean_name, nearest, plain, suggest
from lateral_map.units import show_value

_FILE: Final = "site.toml"
Table = TypeVar("Table", bound=Typed)


@dataclass(frozen=True, slots=True)
class SiteFile:
    """What site.toml says. A table is None where it cannot be used; ``ledger`` then has why.

    ``unit`` and ``crs`` are kept even where the rest of [site] is faulty; ``crs`` is empty where
    nobody can tell.
    """

    unit: str
    crs: str
    site: SiteTable | None
    start: StartTable | None
    counter: CounterTable
    transmitter: TransmitterTable
    pipes: tuple[PipeTable, ...]
    boundaries: tuple[BoundaryTable, ...]
    dig: DigTable
    accuracy: AccuracyTable
    run: RunTable
    referral: ReferralTable
    dig_rules: tuple[DigRuleTable, ...]
    reaches: tuple[ReachTable, ...]
    rates: RatesTable
    terrain: TerrainTable
    lines: Mapping[str, int]


def read_site_file(path: Path, ledger: Ledger) -> SiteFile | None:
    """Read site.toml; None, with a fault, only where it is no TOML at all."""
    data = read_bytes(path, ledger)
    text = None if data is None else decode_utf8(data, _FILE, ledger)
    document = None if text is None else _parse(text, ledger)
    if text is None or document is None:
        return None
    reader = _Reader(document, _line_numbers(text), ledger)
    return reader.read()


def _parse(text: str, ledger: Ledger) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        place = re.search(r" \(at line (\d+), column (\d+)\)", str(error))
        row = int(place[1]) if place else None
        column = f"column {place[2]}" if place else ""
        problem = str(error).replace(place[0], "") if place else str(error)[:200]
        ledger.fault(
            f"this is not TOML: {clean_name(problem)}",
            _toml_remedy(text, row),
            file=_FILE,
            row=row,
            field=column,
        )
        return None


def _toml_remedy(text: str, row: int | None) -> str:
    lines = text.split("\n")
    line = lines[row - 1] if row and row <= len(lines) else ""
    if re.search(r"=\s*\"[^\"]*'[^\"]*\"\s*\"", line):
        return "feet and inches go between three quotation marks ('''7'6\"''') or as \"7 ft 6 in\""
    if re.search(r"=\s*[A-Za-z0-9]+[A-Za-z' ]", line):
        return 'put text in quotation marks, such as name = "12 Quarry Lane" or depth = "7 ft 6 in"'
    return "check the line for quotation marks, brackets and a key given twice"


class _Reader:
    """Reads each table by itself, so that a fault in one hides none in another."""

    def __init__(self, document: dict[str, Any], lines: Mapping[str, int], ledger: Ledger) -> None:
        self._document = document
        self._lines = lines
        self._ledger = ledger
        site = document.get("site")
        self._given_site: dict[str, Any] = site if isinstance(site, dict) else {}
        self._spelling = Spelling(unit=self._unit())

    def read(self) -> SiteFile:
        self._check_top()
        return SiteFile(
            unit=self._spelling.unit,
            crs=self._crs(),
            site=self._table("site", SiteTable),
            start=self._table("start", StartTable),
            counter=self._table("counter", CounterTable) or CounterTable(),
            transmitter=self._table("transmitter", TransmitterTable) or TransmitterTable(),
            pipes=self._tables("pipe", PipeTable),
            boundaries=self._tables("boundary", BoundaryTable),
            dig=self._table("dig", DigTable) or DigTable(),
            accuracy=self._table("accuracy", AccuracyTable) or AccuracyTable(),
            run=self._table("run", RunTable) or RunTable(),
            referral=self._table("referral", ReferralTable) or ReferralTable(),
            dig_rules=self._tables("dig_rule", DigRuleTable),
            reaches=self._tables("reach", ReachTable),
            rates=self._table("rates", RatesTable) or RatesTable(),
            terrain=self._table("terrain", TerrainTable) or TerrainTable(),
            lines=self._lines,
        )

    def _unit(self) -> str:
        """Return the unit, or feet where it is not given right: the rest can still be checked."""
        unit = self._given_site.get("unit")
        word = plain(unit[:20]) if isinstance(unit, str) else ""
        return word if word in {"ft", "us_ft", "m"} else "ft"

    def _crs(self) -> str:
        crs = self._given_site.get("crs")
        return clean_name(crs) if isinstance(crs, str) else ""

    def _check_top(self) -> None:
        known = key_names(SiteDocument)
        for key in self._document:
            if key not in known:
                self._fault("", Fault("this is unknown", _top_remedy(key, known), field=key))
        version = self._document.get("format", None)
        if version is None:
            self._ledger.notice(f"site.toml does not say its format; it was read as {FORMAT}.")
        elif version != FORMAT or isinstance(version, bool):
            problem = f"format {show_value(version)} is not one this program reads"
            self._fault("", Fault(problem, f"write format = {FORMAT}", field="format"))

    def _table(self, name: str, model: type[Table]) -> Table | None:
        given = self._document.get(name, {})
        if name not in self._document and SiteDocument.model_fields[name].is_required():
            self._fault("", Fault(f"[{name}] is missing", f"add the table [{name}]", field=name))
            return None
        if not isinstance(given, dict):
            many = isinstance(given, list) and all(isinstance(one, dict) for one in given)
            problem = "it is written several times" if many else "it is not a table"
            self._fault("", Fault(problem, f"write it once, under [{name}]", field=name))
            return None
        return self._one(name, model, given)

    def _tables(self, name: str, model: type[Table]) -> tuple[Table, ...]:
        given = self._document.get(name, [])
        if not isinstance(given, list) or not all(isinstance(one, dict) for one in given):
            remedy = f"write each one under [[{name}]], with double brackets"
            self._fault("", Fault("it is not a list of tables", remedy, field=name))
            given = [given] if isinstance(given, dict) else []
        read = [self._one(f"{name}[{i}]", model, one) for i, one in enumerate(given, 1)]
        return tuple(one for one in read if one is not None)

    def _one(self, prefix: str, model: type[Table], given: dict[str, Any]) -> Table | None:
        instance, faults = read_typed(model, given, self._spelling)
        for fault in faults:
            self._fault(prefix, _with_home(fault, given))
        return instance

    def _fault(self, prefix: str, fault: Fault) -> None:
        field = ".".join(part for part in (prefix, fault.field) if part)
        row = self._lines.get(field, self._lines.get(prefix))
        self._ledger.add(replace(fault, file=_FILE, field=clean_name(field), row=row))


def _with_home(fault: Fault, given: Mapping[str, Any]) -> Fault:
    """Where an unknown key belongs to another table, say which."""
    if fault.problem != "this key is unknown" or fault.field not in given:
        return fault
    homes = [name for name, model in _MODELS.items() if fault.field in key_names(model)]
    return replace(fault, remedy=f"it belongs in {_written(homes[0])}") if homes else fault


def _top_remedy(key: str, known: tuple[str, ...]) -> str:
    homes = [name for name, model in _MODELS.items() if key in key_names(model)]
    if homes and nearest(key, known, 0.75) is None:
        return f"it belongs in {_written(homes[0])}"
    return suggest(key, known)


_MODELS: Final[dict[str, type[Typed]]] = {
    "site": SiteTable,
    "start": StartTable,
    "counter": CounterTable,
    "transmitter": TransmitterTable,
    "pipe": PipeTable,
    "boundary": BoundaryTable,
    "dig": DigTable,
    "accuracy": AccuracyTable,
    "run": RunTable,
    "referral": ReferralTable,
    "dig_rule": DigRuleTable,
    "reach": ReachTable,
    "rates": RatesTable,
    "terrain": TerrainTable,
}


_MANY: Final = frozenset({"pipe", "boundary", "dig_rule", "reach"})


def _written(name: str) -> str:
    return f"[[{name}]]" if name in _MANY else f"[{name}]"


_HEADER = re.compile(r"\s*(?P<open>\[\[?)\s*(?P<name>[A-Za-z0-9_-]+)\s*\]")
_KEY = re.compile(r"""\s*(?:"(?P<quoted>[^"]+)"|(?P<bare>[A-Za-z0-9_-]+))\s*=""")


def _line_numbers(text: str) -> dict[str, int]:
    """Return the line of each table and key, such as start.depth or pipe[2].size."""
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
    return lines
