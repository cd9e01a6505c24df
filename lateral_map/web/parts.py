"""The pieces of a site's files: changed one at a time, taken back, and looked for when gone.

A piece is a row of a table, a feature of the plan, or a setting.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from os.path import commonprefix
from typing import Any, Final

from lateral_map.reading import rows
from lateral_map.reading.csv_text import CsvText, parse_csv
from lateral_map.reading.typed import key_names
from lateral_map.web.forms import setting_title
from lateral_map.web.geojson_text import EMPTY_PLAN, PlanText, parse_plan
from lateral_map.web.history import Entry, Part
from lateral_map.web.settings import change_setting, value_at

SETTINGS: Final = "site.toml"
PLAN: Final = "plan.geojson"
# The columns of each table; the first name of a row is what it is known by.
TABLES: Final = {name: key_names(model) for name, model in rows.TABLES.items()}
_FIRST: Final = {
    "sketch.csv": ("what", "name", "from", "to", "distance", "turn"),
    "locates.csv": ("mark", "footage", "depth"),
    "bends.csv": ("footage", "turn", "fall", "how", "note"),
    "findings.csv": ("footage", "to", "finding", "severity", "note"),
}


class Conflict(Exception):  # noqa: N818 - it is a question to the user, no failure
    """Both sides changed one thing; ``theirs`` is what stands in the file now, None if gone."""

    def __init__(
        self, words: str, theirs: Mapping[str, Any] | None = None, row: str = "", at: int = 0
    ) -> None:
        super().__init__(words)
        self.theirs = theirs
        self.row = row
        self.at = at


def read_table(name: str, text: str) -> CsvText:
    """Return a table; an empty file has its usual columns and no rows."""
    if text.strip("\ufeff\r\n \t"):
        return parse_csv(text, TABLES[name])
    return parse_csv("", TABLES[name]).with_columns(_FIRST[name])


def read_plan(text: str) -> PlanText:
    """Return the plan's features; an empty file has none. Raises ``ValueError``."""
    try:
        return parse_plan(text if text.strip() else EMPTY_PLAN)
    except IndexError:
        raise ValueError("the file ends too early") from None


def said(values: Mapping[str, str]) -> dict[str, str]:
    """Return what a row says: its values without the empty ones."""
    return {key: value for key, value in values.items() if value}


def apply_part(name: str, text: str, part: Part) -> str:
    """Return a file's text with one piece changed as ``part`` says; raises ``Conflict``."""
    if name == SETTINGS:
        if value_at(text, part.path) != part.before:
            named = f"“{setting_title(part.path)}”"
            raise Conflict(f"{named} was changed again since; undo that change first")
        return change_setting(text, part.path, part.after)
    if name == PLAN:
        return change_feature(read_plan(text), part).text()
    table = read_table(name, text)
    if part.before is None:
        added = table.with_row({}, part.at)
        return added.with_row_text(min(max(part.at, 2), len(added.rows)), part.after or "").text()
    number = table.find(part.before, part.at)
    if number is None:
        raise Conflict("this row was changed again since; undo that change first")
    if part.after is None:
        return table.without_row(number).text()
    return table.with_row_text(number, part.after).text()


def change_feature(plan: PlanText, part: Part) -> PlanText:
    """Return the plan with one feature added, changed or taken out; raises ``Conflict``."""
    if part.before is None:
        return plan.with_feature(part.after or "{}", part.at)
    index = plan.find(part.before, part.at)
    if index is None:
        raise Conflict("this part of the plan was changed again since; undo that change first")
    if part.after is None:
        return plan.without_feature(index)
    return plan.with_feature_text(index, part.after)


def feature_now(plan: PlanText, seen: str) -> tuple[dict[str, str] | None, str, int]:
    """Return what a feature that was ``seen`` says now, known by its name; its text and place."""
    at = _twin_feature(plan, seen)
    if at is None:
        return None, "", 0
    values = (plan.feature(at).get("properties") or {}).items()
    return {key: str(value) for key, value in values}, plan.features[at], at


def difference(old: str, new: str) -> tuple[int, str, str]:
    """Return where two texts begin to differ, and what stands there in the old and in the new."""
    start = len(commonprefix([old, new]))  # noqa: RUF071 - letters are meant
    end = len(commonprefix([old[start:][::-1], new[start:][::-1]]))  # noqa: RUF071
    return start, old[start : len(old) - end], new[start : len(new) - end]


# ── what another program's save changed or left out ──────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Lost:
    """A piece entered here that another program changed (``theirs``) or left out (None)."""

    what: str
    ours: str
    theirs: str | None


def find_lost(name: str, old: str, new: str, ours: list[Entry]) -> tuple[Part, ...]:
    """Return the pieces written here that stood in the ``old`` text and do not in the ``new``.

    A row's ``before`` is its values as JSON, so that it is known again among other columns.
    """
    written = [part for entry in ours for part in entry.parts if part.after is not None]
    if name == SETTINGS:
        paths = dict.fromkeys(part.path for part in written)
        return tuple(
            Part(0, value, None, path)
            for path in paths
            if (value := value_at(old, path)) is not None and value_at(new, path) != value
        )
    texts = {part.after for part in written}
    if name == PLAN:
        there = [json.loads(text) for text in read_plan(new).features]
        features = read_plan(old).features
        return tuple(
            Part(at, text, None)
            for at, text in enumerate(features)
            if text in texts and json.loads(text) not in there
        )
    held, now = read_table(name, old), read_table(name, new)
    bare = {(text or "").rstrip(held.delimiter) for text in texts}
    stand = [said(now.row_values(number)) for number in now.data_rows()]
    return tuple(
        Part(number, json.dumps(values), None)
        for number in held.data_rows()
        if held.row_text(number).rstrip(held.delimiter) in bare
        and (values := said(held.row_values(number))) not in stand
    )


def describe_lost(name: str, text: str, part: Part) -> Lost | None:
    """Return what became of a lost piece, None where it stands in the file again."""
    ours = part.before or ""
    if name == SETTINGS:
        now = value_at(text, part.path)
        return None if now == ours else Lost(f"“{setting_title(part.path)}”", ours, now)
    if name == PLAN:
        plan = read_plan(text)
        if any(json.loads(one) == json.loads(ours) for one in plan.features):
            return None
        twin = _twin_feature(plan, ours)
        return Lost(
            _feature_name(ours) or "a part of the plan", ours, None if twin is None else "changed"
        )
    table, values = read_table(name, text), json.loads(ours)
    if any(said(table.row_values(number)) == values for number in table.data_rows()):
        return None
    row = _twin_row(name, table, values)
    key = _keys(name)[0]
    theirs = None if row is None else _row_words(said(table.row_values(row)))
    return Lost(f"{key} {values.get(key, '')}", _row_words(values), theirs)


def put_back(name: str, text: str, part: Part) -> tuple[str, Part]:
    """Return the text with a lost piece in it again, in place of its changed twin if any."""
    ours = part.before or ""
    if name == SETTINGS:
        return change_setting(text, part.path, ours), Part(
            0, value_at(text, part.path), ours, part.path
        )
    if name == PLAN:
        plan = read_plan(text)
        twin = _twin_feature(plan, ours)
        at = len(plan.features) if twin is None else twin
        done = Part(at, None if twin is None else plan.features[twin], ours)
        return change_feature(plan, done).text(), done
    table, values = read_table(name, text), json.loads(ours)
    row = _twin_row(name, table, values)
    if row is None:
        table = table.with_row(values)
        number = len(table.rows)
        return table.text(), Part(number, None, table.row_text(number))
    before = table.row_text(row)
    blank = dict.fromkeys(table.columns, "")
    table = table.with_values(row, {**blank, **values})
    return table.text(), Part(row, before, table.row_text(row))


def _twin_row(name: str, table: CsvText, values: Mapping[str, str]) -> int | None:
    meant = [values.get(key, "") for key in _keys(name)]
    same = [
        n
        for n in table.data_rows()
        if [table.row_values(n).get(key, "") for key in _keys(name)] == meant
    ]
    return same[0] if same else None


def _keys(name: str) -> tuple[str, ...]:
    """Return the columns by which a row is known again."""
    return ("what", "name", "from", "to") if name == "sketch.csv" else TABLES[name][:1]


def _twin_feature(plan: PlanText, ours: str) -> int | None:
    name = _feature_name(ours)
    same = [i for i, text in enumerate(plan.features) if name and _feature_name(text) == name]
    return same[0] if same else None


def _feature_name(text: str) -> str:
    feature = json.loads(text)
    properties = feature.get("properties") if isinstance(feature, dict) else None
    return str(properties.get("name") or "") if isinstance(properties, dict) else ""


def _row_words(values: Mapping[str, str]) -> str:
    return ", ".join(f"{key} {value}" for key, value in values.items())
