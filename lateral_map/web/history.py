"""What was entered, changed and undone: a journal that only grows, kept beside the site's tables.

One line of JSON a change, on the disk before the table itself is touched. A line cut short by a
crash is passed over; a change whose table never reached the disk is struck out when the site is
opened again.
"""

from __future__ import annotations

import datetime as dt
import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Final, Literal
from uuid import uuid4

from lateral_map.export.atomic import sync_directory
from lateral_map.reading.files import real_path
from lateral_map.web.disk import version_of

FOLDER: Final = ".history"
CHANGES: Final = ("add", "change", "undo")
Kind = Literal["add", "change", "undo", "outside", "struck out", "settled"]


@dataclass(frozen=True, slots=True)
class Part:
    """One piece of a file before and after, as written; None where there was none.

    ``at`` is a spreadsheet row or a feature's place in its list; ``path`` a setting's dotted name.
    """

    at: int
    before: str | None
    after: str | None
    path: str = ""

    def turned(self) -> Part:
        """Return the part that takes this one back."""
        return Part(self.at, self.after, self.before, self.path)


@dataclass(frozen=True, slots=True)
class Entry:
    """One change: ``op`` names it, ``before`` and ``after`` are the file's versions.

    ``of`` is the op an undo is about, the op a change was typed in place of, or the key of the
    entry a strike or a settlement is about. ``patch`` is where the texts begin to differ and what
    stands there before and after: an undo of the last change gives back the file to the byte.
    ``words`` say it to people. An op tried again after a strike has an entry for each try, told
    apart by ``key``.
    """

    op: str
    kind: Kind
    file: str
    before: str
    after: str
    words: str
    parts: tuple[Part, ...] = ()
    of: str = ""
    patch: tuple[int, str, str] = (0, "", "")
    key: str = field(default_factory=lambda: uuid4().hex)
    time: str = field(
        default_factory=lambda: dt.datetime.now().astimezone().isoformat(timespec="seconds")
    )


@dataclass(frozen=True, slots=True)
class Known:
    """Which site a folder is, whatever it is called: its ``id``, and where it was served before.

    ``addresses`` are whole ones, the last one last: what a browser kept belongs to its address.
    """

    id: str
    path: str
    addresses: tuple[str, ...] = ()


def know_site(folder: Path, address: str = "") -> Known:
    """Return which site a folder is, an ``address`` it is served at now taken down.

    A folder moved is the same site. A copy, whose original is still where it was, is another one.
    """
    place, here = folder / FOLDER / "site.json", str(real_path(folder))
    known = _read_known(place) or Known(uuid4().hex, here)
    if known.path != here:
        original = _read_known(Path(known.path) / FOLDER / "site.json")
        is_copy = original is not None and original.id == known.id
        known = Known(uuid4().hex, here) if is_copy else replace(known, path=here)
    if address:
        others = [one for one in known.addresses if one != address]
        known = replace(known, addresses=(*others[-5:], address))
    if known != _read_known(place):
        beside = place.with_suffix(".saving")
        beside.write_text(json.dumps(asdict(known)), encoding="utf-8")
        beside.replace(place)
    return known


def _read_known(place: Path) -> Known | None:
    try:
        values = json.loads(place.read_text("utf-8"))
        return Known(str(values["id"]), str(values["path"]), tuple(map(str, values["addresses"])))
    except (OSError, ValueError, TypeError, KeyError):
        return None


_KEYS: Final = frozenset(one.name for one in fields(Entry))


class History:
    """The journal of one site folder, and the file contents kept for it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / FOLDER
        self.folder.mkdir(parents=True, exist_ok=True)
        self._journal = self.folder / "journal.jsonl"
        self._read_to = 0
        self.entries: list[Entry] = []
        self.catch_up()

    def catch_up(self) -> None:
        """Take in what was written since, by this program or another one of its kind."""
        if not self._journal.exists():
            return
        with self._journal.open("rb") as file:
            file.seek(self._read_to)
            for line in file:
                if not line.endswith(b"\n"):
                    break  # cut short by a crash; the next append begins a new line
                self._read_to += len(line)
                with suppress(ValueError, TypeError, AttributeError):  # no entry of ours
                    values: dict[str, Any] = json.loads(line)
                    parts = tuple(Part(**part) for part in values.pop("parts", ()))
                    ours = {key: value for key, value in values.items() if key in _KEYS}
                    ours["patch"] = tuple(ours.get("patch", (0, "", "")))
                    self.entries.append(Entry(parts=parts, **ours))

    def append(self, entry: Entry) -> None:
        """Put one entry on the disk."""
        self.catch_up()
        line = json.dumps(asdict(entry), ensure_ascii=False).encode() + b"\n"
        with self._journal.open("ab") as file:
            if file.tell() > self._read_to:
                line = b"\n" + line
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
        sync_directory(self.folder)
        self.catch_up()

    def keep(self, content: bytes) -> str:
        """Keep a file's content under its version, and return that."""
        version = version_of(content)
        kept = self.folder / "kept" / version
        if not kept.exists():
            kept.parent.mkdir(exist_ok=True)
            beside = kept.with_suffix(".saving")
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(kept)
            sync_directory(kept.parent)
        return version

    def kept(self, version: str) -> bytes | None:
        """Return a kept content; None where it was never kept. ``version`` is hexadecimal."""
        if len(version) != 64 or not set(version) <= set("0123456789abcdef"):
            return None
        path = self.folder / "kept" / version
        return path.read_bytes() if path.exists() else None

    @property
    def standing(self) -> list[Entry]:
        """Every entry that holds, oldest first: strikes and what they struck out are left out."""
        struck = {entry.of for entry in self.entries if entry.kind == "struck out"}
        return [e for e in self.entries if e.kind != "struck out" and e.key not in struck]

    @property
    def undone(self) -> set[str]:
        """The ops that stand undone; undoing one again does it again."""
        undone: set[str] = set()
        for entry in self.standing:
            if entry.kind == "undo":
                undone ^= {entry.of}
        return undone

    def find(self, op: str) -> Entry:
        """Return the standing change called ``op``; raises ``KeyError``."""
        return {entry.op: entry for entry in self.standing}[op]

    def changes_of(self, file: str) -> list[Entry]:
        """Return the changes made here to a file that stand, oldest first."""
        return [e for e in self.standing if e.file == file and e.kind in CHANGES]
