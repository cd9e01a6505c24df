"""The site format's own words, as its tables declare them: for forms, templates and reference."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Annotated, Final, Literal, get_args, get_origin

from lateral_map.reading.fields import Measured, Of
from lateral_map.reading.rows import TABLES
from lateral_map.reading.schema import table_models
from lateral_map.reading.typed import Typed

EntryKind = Literal[
    "length", "number", "angle", "text", "lines", "point", "line", "choice", "date", "flag", "span"
]


@dataclass(frozen=True, slots=True)
class Described:
    """A key or column: what it is called, what it means, and how it is written.

    ``unit`` is what stands behind a field: ``length`` (the site's own), ``size`` (inches, or
    millimetres on a metric site), ``xy`` (the coordinate system's), or the sign itself. ``default``
    is as people write it, empty where there is none. A ``free`` choice may be in other words.
    """

    name: str
    title: str
    description: str
    kind: EntryKind
    unit: str
    choices: tuple[str, ...]
    free: bool
    required: bool
    default: str
    bounds: Measured | None


def describe(model: type[Typed]) -> dict[str, Described]:
    """Return a table's keys as they are written, each described."""
    described = {}
    for attribute, field in model.model_fields.items():
        name = field.alias or attribute
        base, marks = field.annotation, list(field.metadata)
        for part in get_args(base):
            if get_origin(part) is Annotated:
                base, *more = get_args(part)
                marks += more
        measured = next((mark for mark in marks if isinstance(mark, Measured)), None)
        named = next((mark for mark in marks if isinstance(mark, Of)), None)
        kind: EntryKind = "text"
        choices: tuple[str, ...] = ()
        if measured is not None:
            kind = "length" if measured.kind == "size" else measured.kind
        elif named is not None:
            kind, choices = named.kind, named.usual
        elif get_origin(base) is Literal:
            kind, choices = "choice", tuple(str(word) for word in get_args(base))
        else:
            kinds: dict[object, EntryKind] = {bool: "flag", dt.date: "date", tuple: "span"}
            kind = kinds.get(get_origin(base) or base, "text")
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        default = extra.get("default", field.default)
        if isinstance(default, bool):
            default = "yes" if default else "no"
        shown = f"{default:g}" if isinstance(default, float) else str(default)
        described[name] = Described(
            name=name,
            title=field.title or name,
            description=field.description or "",
            kind=kind,
            unit=(measured.unit or ("length" if kind == "length" else "")) if measured else "",
            choices=choices,
            free=named is not None and bool(named.usual),
            required=field.is_required(),
            default="" if default is None or field.is_required() else shown,
            bounds=measured,
        )
    return described


# Every table of site.toml and every file of rows, by name.
VOCABULARY: Final[dict[str, dict[str, Described]]] = {
    **{name: describe(model) for name, (model, _) in table_models().items()},
    **{name: describe(model) for name, model in TABLES.items()},
}
