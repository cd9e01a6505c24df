"""Requests as the page sends them, checked before they go any further."""

from __future__ import annotations

import re
import tomllib
from typing import Annotated, Any, Final, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from lateral_map.reading.plan import PLAN_KINDS, FeatureProperties
from lateral_map.reading.rows import TABLES
from lateral_map.reading.vocabulary import VOCABULARY, describe
from lateral_map.web.forms import FORMS
from lateral_map.web.settings import LISTS, EntrySeen
from lateral_map.web.store import RowEdit, SettingEdit

_LONGEST: Final = 20_000
_MOST_EDITS: Final = 500
# Settings the page has fields for, each by its table and key; nothing else is changed from here.
_SETTINGS: Final = frozenset(
    f"{group.path}.{name.rstrip('?+')}" for group in FORMS["site"] for name in group.fields.split()
)

_PROPERTIES: Final = frozenset(describe(FeatureProperties))


class AskedWrong(Exception):  # noqa: N818 - it is an answer, no failure of ours
    """A request this page never sends."""


def clean_typed(text: str) -> str:
    """Return typed text on one line, without control characters, blanks at its ends taken off."""
    return "".join(c if c.isprintable() else " " for c in text).strip()


def _own_setting(path: str) -> str:
    table, *rest = path.split(".")
    entry = table in LISTS and rest[:1] and rest[0].isdigit() and len(rest[0]) <= 4
    of_entry = entry and (len(rest) == 1 or (len(rest) == 2 and rest[1] in VOCABULARY[table]))
    if not (path == "format" or path in _SETTINGS or of_entry):
        raise ValueError(f"{path} is not changed from this page")
    return path


# A line feed within a cell of the file is fine; what no text file should hold is not.
_Cell = Annotated[str, Field(max_length=_LONGEST), AfterValidator(clean_typed)]
_Cells = Annotated[dict[Annotated[_Cell, Field(max_length=200)], _Cell], Field(max_length=500)]
_Text = Annotated[str, Field(max_length=_LONGEST * 10)]
Op = Annotated[str, Field(pattern=r"^[0-9a-zA-Z-]{8,64}$")]
Setting = Annotated[
    str, Field(pattern=r"^([a-z0-9_]+\.){0,2}[a-z0-9_]+$"), AfterValidator(_own_setting)
]


class _Asked(BaseModel):
    model_config = ConfigDict(strict=True, frozen=True)


class _Row(_Asked):
    values: _Cells
    base: _Text | None = None
    at: int = 0


class _Setting(_Asked):
    path: Setting
    value: _Text | None = None
    seen: _Text | None = None

    @model_validator(mode="after")
    def _own_entry(self) -> _Setting:
        table, _, rest = self.path.partition(".")
        is_entry = self.value and table in LISTS and rest.isdigit()  # a whole one, as TOML
        given = tomllib.loads(self.value or "").keys() if is_entry else set()
        if given and (unknown := given - VOCABULARY[table].keys()):
            raise ValueError(f"{table} has no {min(unknown)!r}")
        return self


class RowsAsked(_Asked):
    """Rows of one of the site's tables to add or change: no other file, no path."""

    op: Op
    file: Annotated[str, Field(pattern=f"^({'|'.join(map(re.escape, TABLES))})$")]
    edits: Annotated[tuple[_Row, ...], Field(min_length=1, max_length=_MOST_EDITS)]
    instead: Op | None = None

    @model_validator(mode="after")
    def _own_columns(self) -> RowsAsked:
        for edit in self.edits:
            if unknown := edit.values.keys() - VOCABULARY[self.file]:
                raise ValueError(f"{self.file} has no column {min(unknown)!r}")
        return self

    def row_edits(self) -> list[RowEdit]:
        """Return the edits as the store takes them."""
        return [RowEdit(edit.values, edit.base, edit.at) for edit in self.edits]


class _Entry(_Asked):
    path: Annotated[str, Field(pattern=rf"^({'|'.join(LISTS)})\.\d{{1,4}}$")]
    seen: _Text | None = None
    count: Annotated[int, Field(ge=0)] = 0


class SettingsAsked(_Asked):
    """Settings to change, all of them of one ``entry`` of a list where that is given."""

    op: Op
    edits: Annotated[tuple[_Setting, ...], Field(min_length=1, max_length=_MOST_EDITS)]
    entry: _Entry | None = None

    @model_validator(mode="after")
    def _of_the_entry(self) -> SettingsAsked:
        own = "" if self.entry is None else self.entry.path
        for edit in self.edits if own else ():
            if edit.path != own and not edit.path.startswith(f"{own}."):
                raise ValueError(f"{edit.path!r} is not of {own!r}")
        return self

    def entry_seen(self) -> EntrySeen | None:
        """Return the entry as the store takes it."""
        one = self.entry
        return None if one is None else EntrySeen(one.path, one.seen, one.count)

    def setting_edits(self) -> list[SettingEdit]:
        """Return the edits as the store takes them."""
        return [SettingEdit(edit.path, edit.value, edit.seen) for edit in self.edits]


class FeatureAsked(_Asked):
    """A plan feature to add or change (``base`` as it was seen), or to take out.

    ``places`` are those it goes through, None where they stay as they are. ``anew`` adds one like
    ``base``, which is gone from the plan.
    """

    op: Op
    take_out: bool = False
    name: str = ""
    kind: Annotated[str, Field(pattern=f"^({'|'.join(PLAN_KINDS)})?$")] = ""
    properties: _Cells = Field(default_factory=dict)
    places: Annotated[list[dict[str, Any]], Field(max_length=_MOST_EDITS)] | None = None
    base: _Text | None = None
    at: int = 0
    anew: bool = False
    instead: Op | None = None

    @model_validator(mode="after")
    def _own_properties(self) -> FeatureAsked:
        if unknown := self.properties.keys() - _PROPERTIES:
            raise ValueError(f"a part of the plan has no {min(unknown)!r}")
        return self

    def typed_properties(self) -> dict[str, Any]:
        """Return the properties as typed: numbers as numbers, empty ones as None."""
        typed: dict[str, Any] = {name: text or None for name, text in self.properties.items()}
        for name, text in self.properties.items():
            if re.fullmatch(r"-?(?:0|[1-9]\d*)", text) and len(text) < 16:
                typed[name] = int(text)
            elif re.fullmatch(r"-?(?:0|[1-9]\d*)\.\d+", text):
                typed[name] = float(text)
        return typed


class UndoAsked(_Asked):
    """A change to take back, or to do again."""

    op: Op
    target: Op


class OutsideAsked(_Asked):
    """What to do about another program's save."""

    op: Op
    key: Op
    put_back: bool = False


Asked = TypeVar("Asked", bound=_Asked)


def read_asked(model: type[Asked], body: bytes) -> Asked:
    """Return a request's body; raises ``AskedWrong``."""
    try:
        return model.model_validate_json(body)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"]) or "the body"
        raise AskedWrong(f"{place}: {first['msg']}") from None


class DeviceAsked(_Asked):
    """A device that is to be let in no more."""

    device: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]
