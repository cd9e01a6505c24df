"""What is done already, in one SQLite file: a row a site, its results packed beside it.

A chunk of sites is one transaction: a run that is killed loses at most the chunks being solved,
and the next one goes on from there. The final files are made from here, in order of place.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Literal

from lateral_map.batch.sources import Source
from lateral_map.errors import ExportError

State = Literal[
    "solved", "refused", "out of time", "out of memory", "program fault", "worker died", "unchanged"
]
_LAYOUT: Final = 1
_SCHEMA: Final = """
CREATE TABLE IF NOT EXISTS site (
  key BLOB PRIMARY KEY, path BLOB, inside BLOB, trouble TEXT, run INTEGER,
  name TEXT, digest TEXT, state TEXT, message TEXT, seconds REAL, memory_mb REAL,
  place INTEGER, facts TEXT, same_as TEXT
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS packed (key BLOB PRIMARY KEY, rows BLOB);
CREATE INDEX IF NOT EXISTS by_place ON site (place, key);
CREATE INDEX IF NOT EXISTS by_digest ON site (digest);
"""
_MOST_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one site.

    ``message`` says why where it was not solved. ``facts`` are single values about the whole site;
    ``place`` orders sites so that neighbours stand together; ``rows`` are its packed layers;
    ``result`` is result.json where it was asked for.
    """

    source: Source
    state: State
    digest: str = ""
    message: str = ""
    seconds: float = 0.0
    memory_mb: float | None = None
    place: int = -1
    facts: dict[str, Any] = field(default_factory=dict)
    rows: bytes = b""
    result: bytes | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """One site as the store holds it; ``same_as`` names the site it is a copy of."""

    key: bytes
    name: str
    state: State
    message: str
    seconds: float
    memory_mb: float | None
    facts: dict[str, Any]
    same_as: str


def key_of(source: Source) -> bytes:
    """Return what a site is known by: its path, whatever bytes that has."""
    inside = b"" if source.inside is None else b"\0" + os.fsencode(source.inside)
    return os.fsencode(source.path) + inside


class Store:
    """The file of what is done. One run at a time has it open."""

    def __init__(self, path: Path) -> None:
        """Open or make ``path``. Raises ``ExportError`` where it is another run's, or no store."""
        self.path = path
        with self._refusals():
            self._db = sqlite3.connect(path, timeout=1.0, isolation_level=None)
            self._db.execute("PRAGMA locking_mode = EXCLUSIVE")
            self._db.execute("PRAGMA journal_mode = WAL")
            self._db.execute("PRAGMA synchronous = NORMAL")
            self._db.execute("PRAGMA cache_size = -8000")
            (layout,) = self._db.execute("PRAGMA user_version").fetchone()
            if layout not in (0, _LAYOUT):
                raise sqlite3.DatabaseError("another version wrote it")
            self._db.executescript(_SCHEMA)
            self._db.execute(f"PRAGMA user_version = {_LAYOUT}")
            (last,) = self._db.execute("SELECT coalesce(max(run), 0) FROM site").fetchone()
        self.run = last + 1

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def note(self, sources: Iterable[Source]) -> int:
        """Take down which sites there are now; return how many. ``forget`` those that are gone."""
        with self._transaction():
            self._db.executemany(
                "INSERT INTO site (key, path, inside, trouble, run, name) VALUES (?, ?, ?, ?, ?, ?)"
                " ON CONFLICT (key) DO UPDATE SET trouble = excluded.trouble, run = excluded.run",
                (
                    (
                        key_of(one), os.fsencode(one.path),
                        None if one.inside is None else os.fsencode(one.inside),
                        one.trouble, self.run, one.name,
                    )
                    for one in sources
                ),
            )  # fmt: skip
        return self._one("SELECT count(*) FROM site WHERE run = ?", self.run)

    def forget(self) -> Iterator[Source]:
        """Yield every site that was there in an earlier run and is not now, then forget them."""
        gone = self._db.execute("SELECT path, inside FROM site WHERE run < ?", (self.run,))
        for path, inside in gone:
            yield Source(os.fsdecode(path), None if inside is None else os.fsdecode(inside))
        with self._transaction():
            self._db.execute(
                "DELETE FROM packed WHERE key IN (SELECT key FROM site WHERE run < ?)", (self.run,)
            )
            self._db.execute("DELETE FROM site WHERE run < ?", (self.run,))

    def sources(self) -> Iterator[tuple[Source, str]]:
        """Yield every site with the digest it was last solved under, empty where it was not."""
        after: bytes | None = None
        while True:
            found = self._db.execute(
                "SELECT key, path, inside, trouble, digest, state FROM site"
                " WHERE ?1 IS NULL OR key > ?1 ORDER BY key LIMIT ?2",
                (after, _MOST_AT_ONCE),
            ).fetchall()
            if not found:
                return
            after = found[-1][0]
            for _, path, inside, trouble, digest, state in found:
                # What ran into a bound may fit into it another time.
                settled = state in ("solved", "refused", "program fault")
                yield (
                    Source(
                        os.fsdecode(path),
                        None if inside is None else os.fsdecode(inside),
                        trouble or "",
                    ),
                    digest if settled and digest else "",
                )

    def keep(self, outcomes: Iterable[Outcome]) -> None:
        """Keep what became of a chunk, all of it or none."""
        changed = [one for one in outcomes if one.state != "unchanged"]
        with self._transaction():
            self._db.executemany(
                "UPDATE site SET digest = ?, state = ?, message = ?, seconds = ?, memory_mb = ?,"
                " place = ?, facts = ? WHERE key = ?",
                (
                    (
                        one.digest, one.state, one.message, one.seconds, one.memory_mb, one.place,
                        json.dumps(one.facts), key_of(one.source),
                    )
                    for one in changed
                ),
            )  # fmt: skip
            self._db.executemany(
                "INSERT OR REPLACE INTO packed VALUES (?, ?)",
                ((key_of(one.source), one.rows) for one in changed),
            )

    def mark_copies(self) -> int:
        """Mark every site whose files are another's, byte for byte; return how many there are."""
        with self._transaction():
            self._db.execute("UPDATE site SET same_as = NULL WHERE same_as IS NOT NULL")
            self._db.execute(
                "UPDATE site SET same_as = (SELECT first.name FROM site AS first WHERE"
                " first.digest = site.digest ORDER BY first.key LIMIT 1)"
                " WHERE digest <> '' AND trouble = '' AND key > (SELECT min(first.key) FROM site"
                " AS first WHERE first.digest = site.digest)"
            )
        return self._one("SELECT count(*) FROM site WHERE same_as IS NOT NULL")

    def __len__(self) -> int:
        """Return how many sites there are."""
        return self._one("SELECT count(*) FROM site")

    def count(self, state: str) -> int:
        """Return how many sites are in a state, copies left out."""
        return self._one("SELECT count(*) FROM site WHERE same_as IS NULL AND state = ?", state)

    def kept(self, *, failed: bool = False) -> Iterator[Kept]:
        """Yield the sites, or the failed ones alone, in order of place; those without one first."""
        cursor = self._db.execute(
            "SELECT key, name, state, message, seconds, memory_mb, facts, same_as FROM site"
            " WHERE NOT ? OR (state <> 'solved' AND same_as IS NULL) ORDER BY place, key",
            (failed,),
        )
        for key, name, state, message, seconds, memory, facts, same_as in cursor:
            yield Kept(
                key, name, state or "worker died", message or "", seconds or 0.0, memory,
                json.loads(facts or "{}"), same_as or "",
            )  # fmt: skip

    def packed(self, key: bytes) -> bytes:
        """Return a site's packed rows."""
        found = self._db.execute("SELECT rows FROM packed WHERE key = ?", (key,)).fetchone()
        return bytes(found[0]) if found else b""

    def name(self, key: bytes) -> str:
        """Return a site's name as shown."""
        found = self._db.execute("SELECT name FROM site WHERE key = ?", (key,)).fetchone()
        return str(found[0])

    def _one(self, sql: str, *values: object) -> int:
        return int(self._db.execute(sql, values).fetchone()[0])

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._refusals():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    @contextmanager
    def _refusals(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise ExportError(
                    f"{self.path}: another run has it open; wait for it, or give another --out"
                ) from error
            raise ExportError(
                f"{self.path}: cannot be written ({error}); free some space or give another --out"
            ) from error
        except sqlite3.DatabaseError as error:
            raise ExportError(
                f"{self.path}: cannot be read ({error}); take it away to solve every site anew"
            ) from error
