"""Requests as the page sends them, checked before they go any further."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any, Final

from lateral_map.web.forms import FORMS
from lateral_map.web.parts import TABLES
from lateral_map.web.settings import LISTS
from lateral_map.web.store import RowEdit, SettingEdit

_OP: Final = re.compile(r"[0-9a-zA-Z-]{8,64}")
_PATH: Final = re.compile(r"(?:[a-z0-9_]+\.){0,2}[a-z0-9_]+")
_LONGEST: Final = 20_000
_MOST_EDITS: Final = 500
# Tables the page has forms for; nothing else of site.toml is changed from here.
_TABLES: Final = frozenset(("format", *LISTS, *(group.path for group in FORMS["site"])))


class AskedWrong(Exception):  # noqa: N818 - it is an answer, no failure of ours
    """A request this page never sends."""


def parse_body(body: bytes) -> dict[str, Any]:
    """Return a JSON object; raises ``AskedWrong``."""
    try:
        value = json.loads(body)
    except (ValueError, RecursionError):
        raise AskedWrong("the body is no JSON") from None
    if not isinstance(value, dict):
        raise AskedWrong("the body is no JSON object")
    return value


def read_op(body: Mapping[str, Any], key: str = "op") -> str:
    """Return the name the page gave a change."""
    op = body.get(key)
    if not isinstance(op, str) or not _OP.fullmatch(op):
        raise AskedWrong(f"{key} is missing")
    return op


def read_table_name(body: Mapping[str, Any]) -> str:
    """Return the name of one of the site's tables: no path, nothing else."""
    name = body.get("file")
    if not isinstance(name, str) or name not in TABLES:
        raise AskedWrong("file is none of the site's tables")
    return name


def read_row_edits(body: Mapping[str, Any]) -> list[RowEdit]:
    """Return the edits of rows a request asks for."""
    return [
        RowEdit(_texts(edit.get("values")), _optional_text(edit, "base"), _place(edit))
        for edit in _edits(body)
    ]


def read_setting_edits(body: Mapping[str, Any]) -> list[SettingEdit]:
    """Return the edits of settings a request asks for."""
    edits = []
    for edit in _edits(body):
        path = edit.get("path")
        if not isinstance(path, str) or not _PATH.fullmatch(path):
            raise AskedWrong("path is no setting")
        if path.split(".")[0] not in _TABLES:
            raise AskedWrong(f"{path} is not changed from this page")
        edits.append(SettingEdit(path, _optional_text(edit, "value"), _optional_text(edit, "seen")))
    return edits


def read_properties(body: Mapping[str, Any]) -> dict[str, Any]:
    """Return a plan feature's properties as typed: numbers as numbers, empty ones as None."""
    return {key: _number_or_text(value) for key, value in _texts(body.get("properties")).items()}


def read_places(body: Mapping[str, Any]) -> list[dict[str, Any]] | None:
    """Return the places a plan feature goes through, None where they stay as they are."""
    places = body.get("places")
    if places is None:
        return None
    if not isinstance(places, list) or len(places) > _MOST_EDITS:
        raise AskedWrong("places is no list")
    if not all(isinstance(place, dict) for place in places):
        raise AskedWrong("a place is no object")
    return places


def _optional_text(edit: Mapping[str, Any], key: str) -> str | None:
    value = edit.get(key)
    if value is not None and (not isinstance(value, str) or len(value) > _LONGEST * 10):
        raise AskedWrong(f"{key} is no text")
    return value


def _place(edit: Mapping[str, Any]) -> int:
    at = edit.get("at", 0)
    return at if isinstance(at, int) else 0


def _edits(body: Mapping[str, Any]) -> list[dict[str, Any]]:
    edits = body.get("edits")
    if not isinstance(edits, list) or not 0 < len(edits) <= _MOST_EDITS:
        raise AskedWrong("edits is no list of edits")
    if not all(isinstance(edit, dict) for edit in edits):
        raise AskedWrong("an edit is no object")
    return edits


def _texts(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or len(value) > _MOST_EDITS:
        raise AskedWrong("values is no object")
    for key, text in value.items():
        if not isinstance(text, str) or len(text) > _LONGEST or len(key) > 200:
            raise AskedWrong(f"a value is no text of at most {_LONGEST} characters")
    # A line feed within a cell is fine; what no text file should hold is not.
    return {clean_typed(key): clean_typed(text) for key, text in value.items()}


def clean_typed(text: str) -> str:
    """Return typed text on one line, without control characters, blanks at its ends taken off."""
    return "".join(c if c.isprintable() else " " for c in text).strip()


def _number_or_text(text: str) -> float | int | str | None:
    if not text:
        return None
    if re.fullmatch(r"-?(?:0|[1-9]\d*)", text) and len(text) < 16:
        return int(text)
    return float(text) if re.fullmatch(r"-?(?:0|[1-9]\d*)\.\d+", text) else text
