"""site.toml as its own text: one setting can change while comments and order stay as they were.

A setting has a dotted path such as ``start.azimuth`` or, in a list of tables, ``pipe.0.from``;
``pipe.0`` alone is the whole table. Values go in and out as they are typed.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, get_args

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Table

from lateral_map.model.site import Unit
from lateral_map.reading.vocabulary import VOCABULARY

LISTS: Final = ("pipe", "boundary", "picture_point", "applied")
_NUMBER: Final = re.compile(r"[+-]?(?:0|[1-9]\d*)(?:\.\d+)?")
_LOOSE: Final = re.compile(r"([+-]?)(\d*)(\.\d*)?")
_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


def read_settings(text: str) -> dict[str, str]:
    """Return dotted path -> value as typed, of every single value; raises ``ValueError``."""
    return dict(_flatten(_read(text).unwrap()))


def unit_of(settings: Mapping[str, str]) -> str:
    """Return the unit of lengths, feet where it is not said right."""
    unit = settings.get("site.unit", "")
    return unit if unit in get_args(Unit) else "ft"


def entries_of(text: str, name: str) -> list[str]:
    """Return the dotted paths of a list's tables, such as ``pipe.0``."""
    found = _read(text).unwrap().get(name, [])
    return [f"{name}.{i}" for i in range(len(found))] if isinstance(found, list) else []


@dataclass(frozen=True, slots=True)
class EntrySeen:
    """An entry of a list (``pipe.1``) as a page read it, None where it is new; of how many."""

    path: str
    seen: str | None
    count: int


def find_entry(text: str, entry: EntrySeen) -> str | None:
    """Return the path at which an entry is now, a new one's at the list's end; None if gone."""
    name = entry.path.split(".")[0]
    there = entries_of(text, name)
    if entry.seen is None:
        return f"{name}.{len(there)}"
    same = [path for path in there if value_at(text, path) == entry.seen]
    if same:
        return entry.path if entry.path in same else same[0]
    # Changed in place: where as many are there as then, it is the one.
    return entry.path if len(there) == entry.count and entry.path in there else None


def value_at(text: str, path: str) -> str | None:
    """Return a setting as typed, a whole table as TOML, None where it is not there."""
    try:
        found = _walk(_read(text), path.split("."))
    except (KeyError, IndexError, TypeError, ValueError):
        return None
    if isinstance(found, Table):
        return found.as_string()
    return _typed(found.unwrap() if hasattr(found, "unwrap") else found)


def change_setting(text: str, path: str, value: str | None) -> str:
    """Return the text with one setting changed; None takes it away. Raises ``ValueError``.

    A path one past the end of a list of tables adds a table there.
    """
    document = _parse(text)
    *parents, last = path.split(".")
    if len(parents) == 1 and parents[0] in LISTS:
        _change_entry(document, parents[0], int(last), value)
    elif value is None:
        with contextlib.suppress(KeyError, IndexError, TypeError):
            table = _walk(document, parents)
            del table[last]
            if not table and parents[0] in LISTS:  # an empty [[pipe]] says nothing and is refused
                _change_entry(document, parents[0], int(parents[1]), None)
    else:
        words = VOCABULARY.get(parents[0] if parents else "", {})
        kind = words[last].kind if last in words else "number"
        table = _parent(document, parents)
        old, new = table.get(last), tomlkit.item(_valued(kind, value))
        if old is not None and hasattr(old, "trivia"):
            new.trivia.comment, new.trivia.comment_ws = old.trivia.comment, old.trivia.comment_ws
        table[last] = new
    return tomlkit.dumps(document)


def _change_entry(document: Any, name: str, index: int, value: str | None) -> None:
    entries = document.setdefault(name, tomlkit.aot())
    if not isinstance(entries, AoT):
        raise ValueError(  # noqa: TRY004 - it is the text that is wrong
            f"{name} must be a list of tables, each begun with [[{name}]]"
        )
    if value is None:
        if index < len(entries):
            del entries[index]
        if not entries:
            del document[name]
        return
    table = _parse(value) if value else {}
    new = tomlkit.table()
    for key, item in table.items():
        new.append(key, item)
    entries.insert(min(index, len(entries)), new)


def _parent(document: Any, parents: list[str]) -> Any:
    place = document
    for step, name in enumerate(parents):
        if isinstance(place, list):
            index = int(name)
            if index > len(place):
                raise ValueError(f"{parents[0]} has {len(place)} entries and none after the next")
            if index == len(place):
                place.append(tomlkit.table())
            place = place[index]
        else:
            if name not in place:
                place[name] = tomlkit.aot() if step == 0 and name in LISTS else tomlkit.table()
            place = place[name]
        if not isinstance(place, Mapping | list):
            raise ValueError(f"{'.'.join(parents)} is no table")  # noqa: TRY004 - as above
    return place


@lru_cache(maxsize=8)
def _read(text: str) -> Any:
    """Return a text parsed, to be looked at and never changed: one text is asked many things."""
    return _parse(text)


def _parse(text: str) -> Any:
    try:
        return tomlkit.parse(text.removeprefix("\ufeff"))
    except TOMLKitError as error:
        raise ValueError(str(error)) from None


def _walk(place: Any, names: list[str]) -> Any:
    for name in names:
        place = place[int(name)] if isinstance(place, list) else place[name]
    return place


def _flatten(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flatten(inner, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list) and all(isinstance(inner, dict) for inner in value):
        for index, inner in enumerate(value):
            yield from _flatten(inner, f"{path}.{index}")
    else:
        yield path, _typed(value)


def _typed(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, dt.date) else str(value)


def _valued(kind: str, text: str) -> Any:
    """Return what a typed value is in TOML: a number, a date, yes or no, else words."""
    bare = text.strip()
    if kind in ("text", "lines", "choice", "line", "point"):
        return bare  # words whatever they look like: a site may well be called 12
    if kind == "flag" and bare in ("yes", "no"):
        return bare == "yes"
    if kind == "date" and _DATE.fullmatch(bare):
        try:
            return tomlkit.date(bare)
        except ValueError:
            return bare
    if _NUMBER.fullmatch(bare):
        return tomlkit.value(bare)
    loose = _LOOSE.fullmatch(bare)
    if loose is None or not (loose[2] or (loose[3] or "")[1:]):
        return bare
    # As TOML spells it: .5 is 0.5, 4. is 4.0.
    whole = loose[2].lstrip("0") or "0"
    return tomlkit.value(f"{loose[1]}{whole}.{(loose[3] or '.0')[1:] or '0'}")
