"""The site folder as the entry page sees it: rows, settings and plan features, changed one by one.

Every change is named by an ``op`` the page made up, so that a save sent twice is done once. Each is
in the journal before it is in its file; a file another program changed meanwhile is taken in first,
and a row both sides changed is asked about, never overwritten.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import RLock
from typing import Any, Final, TypeVar
from uuid import uuid4

from lateral_map.reading.csv_text import CsvText
from lateral_map.web.disk import (
    ChangedMeanwhileError,
    encoding_of,
    locked,
    read_if_there,
    replace_if_unchanged,
    version_of,
)
from lateral_map.web.forms import setting_title, titled
from lateral_map.web.geojson_text import PlanText, feature_text
from lateral_map.web.history import CHANGES, FOLDER, Entry, History, Kind, Part, know_site
from lateral_map.web.parts import (
    PLAN,
    SETTINGS,
    TABLES,
    Conflict,
    Lost,
    apply_part,
    change_feature,
    describe_lost,
    difference,
    feature_now,
    find_lost,
    put_back,
    read_plan,
    read_table,
    said,
)
from lateral_map.web.settings import (
    EntrySeen,
    change_setting,
    find_entry,
    read_settings,
    value_at,
)

PACKAGE: Final = "plan.gpkg"
FILES: Final = (SETTINGS, *TABLES, PLAN)
_TRIES: Final = 5
_TYPED: Final = ("add", "change")


class UnreadableError(Exception):
    """A file that cannot be edited here; the message says why."""


@dataclass(frozen=True, slots=True)
class RowEdit:
    """Values for one row of a table: an existing one as it was seen (``base``), else a new one."""

    values: Mapping[str, str]
    base: str | None = None
    at: int = 0


@dataclass(frozen=True, slots=True)
class SettingEdit:
    """A setting's new value as typed (None takes it away), and the value that was seen."""

    path: str
    value: str | None
    seen: str | None


@dataclass(frozen=True, slots=True)
class FeatureEdit:
    """A plan feature: an existing one as it was seen (``base``), else a new one.

    Without ``properties`` it is taken out; without ``geometry`` it keeps the one it has.
    """

    properties: Mapping[str, Any] | None
    geometry: Mapping[str, Any] | None = None
    base: str | None = None
    at: int = 0


_Edit = TypeVar("_Edit", RowEdit, FeatureEdit)


@dataclass(frozen=True, slots=True)
class OutsideSave:
    """Another program's save that changed or left out what was entered here."""

    key: str
    words: str
    time: str
    lost: tuple[Lost, ...]


# New text of a file made from the old one (None: no file), and the parts that changed.
Maker = Callable[[str], tuple[str | None, tuple[Part, ...]]]


class SiteStore:
    """One site folder, opened for entering."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.history = History(folder)
        self.known = know_site(folder)
        self._lock = RLock()
        self._content: dict[str, bytes | None] = {}
        with self._locked():
            for name in FILES:
                self._content[name] = read_if_there(self.path(name))
            changes = [entry for entry in self.history.standing if entry.kind in CHANGES]
            # After a crash: a last change whose file is still the old one was never made.
            for last in changes[-1:]:
                if version_of(self._content.get(last.file)) == last.before != last.after:
                    self._strike_out(last)

    # ── reading ──────────────────────────────────────────────────────────────────────────────

    def look(self) -> dict[str, str]:
        """Take in what other programs wrote; return file -> version."""
        with self._lock:
            if any(read_if_there(self.path(name)) != self._content[name] for name in FILES):
                with self._locked():
                    for name in FILES:
                        self._take_in(name)
            self.history.catch_up()
            versions = {name: version_of(self._content[name]) for name in FILES} | {PACKAGE: ""}
            with suppress(FileNotFoundError):
                stat = (self.folder / PACKAGE).stat()
                versions[PACKAGE] = f"{stat.st_mtime_ns}-{stat.st_size}"
            with suppress(OSError, ValueError, UnreadableError):
                # Read with the site, edited nowhere: the picture under the plan, once it is there.
                if named := self.settings().get("picture.file"):
                    stat = (self.folder / named).stat()
                    versions["picture"] = f"{stat.st_mtime_ns}-{stat.st_size}"
            return versions

    def path(self, name: str) -> Path:
        """Return where a file of the site is, whatever the case of its letters."""
        place = self.folder / name
        if place.exists():
            return place
        return next((p for p in self.folder.iterdir() if p.name.casefold() == name), place)

    def text(self, name: str) -> str:
        """Return a file's text, empty where it is not there; raises ``UnreadableError``."""
        content = self._content[name] or b""
        try:
            return content.decode(encoding_of(content))
        except UnicodeDecodeError:
            raise UnreadableError(f"{name} is no text; save it again as UTF-8") from None

    def text_or_empty(self, name: str) -> str:
        """Return a file's text, empty also where it cannot be read."""
        try:
            return self.text(name)
        except UnreadableError:
            return ""

    def table(self, name: str) -> CsvText:
        """Return a table; one that is not there yet has its usual columns and no rows."""
        return read_table(name, self.text(name))

    def plan(self) -> PlanText:
        """Return the plan's features; raises ``UnreadableError``."""
        try:
            return read_plan(self.text(PLAN))
        except ValueError as error:
            raise UnreadableError(f"{PLAN}: {error}; mend it in an editor") from None

    def settings(self) -> dict[str, str]:
        """Return site.toml as dotted path -> value as typed; raises ``UnreadableError``."""
        try:
            return read_settings(self.text(SETTINGS))
        except ValueError as error:
            raise UnreadableError(f"{SETTINGS}: {error}; mend it in an editor") from None

    def settings_or_empty(self) -> dict[str, str]:
        """Return site.toml as ``settings`` does, nothing where it cannot be read."""
        try:
            return self.settings()
        except UnreadableError:
            return {}

    @property
    def plan_is_package(self) -> bool:
        """True where the plan is a GeoPackage, which is edited in a GIS and not here."""
        return (self.folder / PACKAGE).exists()

    # ── changing ─────────────────────────────────────────────────────────────────────────────

    def save_rows(
        self, op: str, name: str, edits: Sequence[RowEdit], words: str, instead: str = ""
    ) -> Entry:
        """Add or change rows of one table, all or none.

        ``instead`` is the op these edits were typed in place of: nobody knows whether it was made.
        Raises ``Conflict``, ``UnreadableError``, ``OSError``; so do the other changes.
        """

        def make(text: str) -> tuple[str, tuple[Part, ...]]:
            table, parts = read_table(name, text), []
            for edit in self._after(instead, edits):
                if edit.base is None:
                    table, before = table.with_row(edit.values), None
                    number = len(table.rows)
                else:
                    number = self._row_meant(name, table, edit.base, edit)
                    before = table.row_text(number)
                    table = table.with_values(number, edit.values)
                parts.append(Part(number, before, table.row_text(number)))
            return table.text(), tuple(parts)

        kind: Kind = "add" if all(edit.base is None for edit in edits) else "change"
        return self._commit(op, kind, name, make, words, of=instead)

    def save_settings(
        self, op: str, edits: Sequence[SettingEdit], words: str, entry: EntrySeen | None = None
    ) -> Entry:
        """Change settings, all or none; of an entry of a list where it is by now."""

        def make(text: str) -> tuple[str, tuple[Part, ...]]:
            self.settings()
            parts, moved = [], {edit.path: edit.path for edit in edits}
            if entry is not None:
                at = find_entry(text, entry)
                if at is None:
                    raise Conflict("it was taken out since this page read it")
                moved = {path: at + path.removeprefix(entry.path) for path in moved}
            there = {path: value_at(text, now) for path, now in moved.items()}
            if both := {
                e.path: there[e.path] for e in edits if there[e.path] not in (e.seen, e.value)
            }:
                named = " and ".join(f"“{setting_title(path)}”" for path in both)
                words = f"{named} changed since this page read it"
                raise Conflict(words, {path: value or "" for path, value in both.items()})
            for edit in edits:
                path = moved[edit.path]
                before = value_at(text, path)
                text = change_setting(text, path, edit.value)
                parts.append(Part(0, before, value_at(text, path), path))
            return text, tuple(parts)

        return self._commit(op, "change", SETTINGS, make, words)

    def save_feature(self, op: str, edit: FeatureEdit, words: str, instead: str = "") -> Entry:
        """Add, change or take out one plan feature; ``instead`` as for rows."""
        if self.plan_is_package:
            raise UnreadableError(f"this site's plan is {PACKAGE}; change it in a GIS")

        def make(_: str) -> tuple[str, tuple[Part, ...]]:
            plan, (meant,) = self.plan(), self._after(instead, [edit])
            at = len(plan.features) if meant.base is None else plan.find(meant.base, meant.at)
            if at is None:
                words = "this part of the plan was changed or taken out since it was read"
                raise Conflict(words, *feature_now(plan, meant.base or ""))
            old = plan.feature(at) if meant.base is not None else {}
            geometry = meant.geometry or old.get("geometry") or {}
            new = (
                None if meant.properties is None else feature_text(meant.properties, geometry, old)
            )
            part = Part(at, meant.base, new)
            return change_feature(plan, part).text(), (part,)

        kind: Kind = "add" if edit.base is None else "change"
        return self._commit(op, kind, PLAN, make, words, of=instead)

    def undo(self, op: str, target: str) -> Entry:
        """Take a change back, or do it again where it stands undone; ``KeyError`` if unknown."""
        entry = self.history.find(target)
        if entry.kind not in _TYPED:
            raise KeyError(target)
        again = target in self.history.undone
        parts = entry.parts if again else tuple(part.turned() for part in reversed(entry.parts))

        def make(text: str) -> tuple[str | None, tuple[Part, ...]]:
            at, old, new = entry.patch if again else (entry.patch[0], *entry.patch[:0:-1])
            was, will = (entry.before, entry.after)[:: 1 if again else -1]
            if (old or new) and version_of(self._content[entry.file]) == was:
                whole = text[:at] + new + text[at + len(old) :]
                return (whole if will else None), parts
            for part in parts:
                text = apply_part(entry.file, text, part)
            return text, parts

        words = f"{'done again' if again else 'undone'}: {entry.words}"
        return self._commit(op, "undo", entry.file, make, words, of=target)

    # ── other programs ───────────────────────────────────────────────────────────────────────

    def outside_saves(self) -> list[OutsideSave]:
        """Return the other programs' saves that still have something entered here missing."""
        standing = self.history.standing
        settled = {entry.of for entry in standing if entry.kind == "settled"}
        found = []
        for entry in standing:
            if entry.kind == "outside" and entry.key not in settled and entry.parts:
                text = self.text(entry.file)
                lost = [describe_lost(entry.file, text, part) for part in entry.parts]
                if any(lost):
                    kept = tuple(one for one in lost if one)
                    found.append(OutsideSave(entry.key, entry.words, entry.time, kept))
        return found

    def put_back(self, op: str, key: str) -> Entry:
        """Write what an outside save changed or left out again; raises ``KeyError``."""
        entry = {e.key: e for e in self.history.standing if e.kind == "outside"}[key]

        def make(text: str) -> tuple[str, tuple[Part, ...]]:
            parts = []
            for part in entry.parts:
                if describe_lost(entry.file, text, part):
                    text, done = put_back(entry.file, text, part)
                    parts.append(done)
            return text, tuple(parts)

        return self._commit(op, "change", entry.file, make, f"put back in {entry.file}")

    def leave_as_saved(self, key: str) -> None:
        """Stop asking about an outside save: what it left stands."""
        with self._locked():
            words = "left as the other program saved it"
            self.history.append(Entry(uuid4().hex, "settled", "", "", "", words, of=key))

    # ── within ───────────────────────────────────────────────────────────────────────────────

    @contextmanager
    def _locked(self) -> Iterator[None]:
        with self._lock, locked(self.folder / FOLDER / "lock"):
            yield

    def _commit(
        self, op: str, kind: Kind, name: str, make: Maker, words: str, of: str = ""
    ) -> Entry:
        with self._locked():
            for _ in range(_TRIES):
                self._take_in(name)
                # Made already, or typed again since in another change's name.
                known = [e for e in self.history.standing if e.op == op]
                known += [e for e in self.history.standing if e.of == op and e.kind in _TYPED]
                if known:
                    return known[0]
                old = self.text(name)
                try:
                    text, parts = make(old)
                except ValueError as error:
                    raise UnreadableError(f"{name}: {error}; mend it in an editor") from None
                content = None if text is None else self._encoded(name, text)
                entry = Entry(
                    op, kind, name, version_of(self._content[name]), version_of(content), words,
                    parts, of, difference(old, text or ""),
                )  # fmt: skip
                if entry.after == entry.before:
                    return entry
                if self._write(entry, content):
                    return entry
        raise Conflict(f"another program keeps writing {name}; close it there and save again")

    def _encoded(self, name: str, text: str) -> bytes:
        """Return text in the encoding its file has; raises ``UnreadableError``."""
        encoding = encoding_of(self._content[name] or b"")
        try:
            return text.encode(encoding)
        except UnicodeEncodeError as error:
            raise UnreadableError(
                f"{name} is kept as {encoding}, which cannot hold {text[error.start]!r}; "
                "save it again as UTF-8"
            ) from None

    def _after(self, op: str, edits: Sequence[_Edit]) -> Sequence[_Edit]:
        """Return edits typed in place of a change: of what it left, where it was made."""
        made = [
            e for e in self.history.standing if op and e.op == op and op not in self.history.undone
        ]
        if not made or len(made[0].parts) != len(edits):
            return edits
        left = zip(edits, made[0].parts, strict=True)
        return [replace(edit, base=part.after, at=part.at) for edit, part in left]

    def _write(self, entry: Entry, content: bytes | None) -> bool:
        """Write the journal, then the file; False where another program was faster."""
        self.history.append(entry)
        try:
            replace_if_unchanged(self.path(entry.file), content, entry.before)
        except ChangedMeanwhileError:
            self._strike_out(entry)
            return False
        except OSError:
            self._strike_out(entry)
            raise
        self._content[entry.file] = content
        return True

    def _strike_out(self, entry: Entry) -> None:
        words = "never reached the file"
        self.history.append(
            Entry(uuid4().hex, "struck out", entry.file, "", "", words, of=entry.key)
        )

    def _take_in(self, name: str) -> None:
        """Read a file again; where another program wrote it, journal what of ours went missing."""
        content, known = read_if_there(self.path(name)), self._content[name]
        if content == known:
            return
        self.history.catch_up()
        self._content[name] = content
        version = version_of(content)
        written = [e for e in self.history.standing if e.file == name and e.after]
        if written and written[-1].after == version:
            return  # another server of this program wrote it
        lost: tuple[Part, ...] = ()
        if known is not None:
            self.history.keep(known)
        # What cannot be read now is kept whole, and looked at when it can be.
        with suppress(ValueError, UnreadableError):
            held = (known or b"").decode(encoding_of(known or b""))
            lost = find_lost(name, held, self.text(name), self.history.changes_of(name))
        self.history.append(
            Entry(
                uuid4().hex,
                "outside",
                name,
                version_of(known),
                version,
                f"{name} was changed by another program",
                lost,
            )
        )

    def _row_meant(self, name: str, table: CsvText, base: str, edit: RowEdit) -> int:
        """Return the row an edit means; raises ``Conflict`` where the same fields were changed."""
        found = table.find(base, edit.at)
        seen = said(table.values_of(base))
        same = [n for n in table.data_rows() if said(table.row_values(n)) == seen]
        if found is not None or same:
            return found or same[0]
        number = self._row_since(name, table, base, edit.at)
        if number is None:
            raise Conflict("this row was changed or taken out since this page read it")
        now = table.row_values(number)
        wanted = edit.values.items()
        both = [k for k, value in wanted if now.get(k, "") not in (seen.get(k, ""), value)]
        if both:
            named = " and ".join(titled(name, one) for one in both)
            words = f"{named} of this row changed since this page read it"
            raise Conflict(words, now, table.row_text(number), number)
        return number

    def _row_since(self, name: str, table: CsvText, base: str, at: int) -> int | None:
        """Follow a row through the changes made here, or know it by its mark; None if gone."""
        text = base
        for entry in self.history.changes_of(name):
            for part in entry.parts:
                if part.before == text and part.after is not None:
                    text = part.after
        found = table.find(text, at)
        key = TABLES[name][0]
        named = table.values_of(base).get(key)
        same = [n for n in table.data_rows() if named and table.row_values(n).get(key) == named]
        return found if found is not None or len(same) != 1 else same[0]
