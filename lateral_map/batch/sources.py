"""Where a programme's sites are: folders under a root, nested or zipped, on a disk or in a store.

A root with ``://`` is an fsspec address (``s3://...``, ``memory://...``); any other is a local
folder. Links to folders are not followed: they may lead round in a circle.
"""

from __future__ import annotations

import hashlib
import os
import posixpath
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import IO, Any, Final

from lateral_map.errors import Fault, LateralMapError, SiteError
from lateral_map.reading.files import DATA_ENDINGS, KNOWN_FILES
from lateral_map.reading.limits import ARCHIVE_MEMBERS, BYTES

# A folder with one of these is meant as a site, even where its site.toml is missing.
_SIGNS: Final = frozenset({"site.toml", "locates.csv", "bends.csv", "findings.csv"})
_ZIP_ERRORS: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, KeyError,
    NotImplementedError,
)  # fmt: skip
_LONGEST_NAME: Final = 200
_BLOCK: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Source:
    """One site: a folder under the root, or one inside an archive; ``trouble`` where it is neither.

    ``path`` is relative to the root; ``inside`` is the folder in the archive at ``path`` and None
    where ``path`` is the site folder itself.
    """

    path: str
    inside: str | None = None
    trouble: str = ""

    @property
    def name(self) -> str:
        """The site's path as shown, with what is no text replaced."""
        whole = self.path if self.inside is None else f"{self.path}/{self.inside}".rstrip("/")
        return os.fsencode(whole or ".").decode("utf-8", "replace")


class Root:
    """The folder or address under which the sites are."""

    def __init__(self, address: str) -> None:
        """Open ``address``. Raises ``LateralMapError`` where it is no folder or cannot be read."""
        self.address = address
        self.is_local = "://" not in address
        self._store: Any = None
        if self.is_local:
            self._base = os.path.abspath(address)  # noqa: PTH100 - a Path can't hold what is no text
            there = os.path.isdir(self._base)  # noqa: PTH112
        else:
            if find_spec("fsspec") is None:
                raise LateralMapError(f"{address} needs fsspec: pip install 'lateral-map[cluster]'")
            from fsspec.core import url_to_fs

            try:
                self._store, self._base = url_to_fs(address)
                there = self._store.isdir(self._base)
            except Exception as error:
                raise LateralMapError(f"{address}: cannot be read ({error})") from error
        if not there:
            raise LateralMapError(f"{address!r} is no folder; name the folder that holds the sites")

    def find(self, leave_out: Path | None = None) -> Iterator[Source]:
        """Yield every site in order of path; ``leave_out`` is a local folder to pass over."""
        refused: list[Source] = []

        def note(error: OSError) -> None:
            path = os.path.relpath(error.filename or self._base, self._base)
            said = f"the folder cannot be read ({error.strerror or error})"
            refused.append(Source(path, trouble=f"{said}; check that you may read it"))

        walk = os.walk(self._base, onerror=note) if self.is_local else self._store.walk(self._base)
        for folder, folders, files in walk:
            path = self._relative(folder)
            folders.sort()
            if leave_out is not None and self.is_local:
                folders[:] = [
                    one for one in folders if Path(folder, one).absolute() != leave_out.absolute()
                ]
            signs = _SIGNS & {name.casefold() for name in files}
            if signs:
                yield Source(path)
            if "site.toml" in signs:
                folders.clear()  # what is in a site folder belongs to it
            else:
                for name in sorted(files):
                    if name.casefold().endswith(".zip"):
                        yield from self._packed(posixpath.join(path, name) if path else name)
            yield from refused
            refused.clear()
        yield from refused

    def fingerprint(self, leave_out: Path | None = None) -> str:
        """Return what changes when any site of a local root is saved: names, sizes and times."""
        digest = hashlib.sha256()
        for source in self.find(leave_out):
            with suppress(OSError, LateralMapError):
                paths = [Path(self._base, source.path)]
                if source.inside is None:
                    paths = sorted(one for one in paths[0].iterdir() if _is_wanted(one.name))
                for path in paths:
                    told = path.stat()
                    line = f"{path}\0{told.st_size}\0{told.st_mtime_ns}\0{told.st_ino}\0"
                    digest.update(line.encode("utf-8", "surrogateescape"))
            digest.update(source.name.encode())
        return digest.hexdigest()

    @contextmanager
    def folder(self, source: Source) -> Iterator[Path]:
        """Yield the site as a local folder; what is packed or far away is fetched for the while.

        Raises ``SiteError`` where it cannot be fetched.
        """
        if source.trouble:
            raise SiteError(Fault(source.trouble))
        if source.inside is None and self.is_local:
            yield Path(os.path.join(self._base, source.path))  # noqa: PTH118
            return
        with tempfile.TemporaryDirectory(prefix="lateral-map-") as fetched:
            folder = Path(fetched)
            if source.inside is None:
                self._fetch(source.path, folder)
            else:
                self._unpack(source.path, source.inside, folder)
            yield folder

    def _relative(self, folder: str) -> str:
        if self.is_local:
            path = os.path.relpath(folder, self._base)
            return "" if path == "." else path.replace(os.sep, "/")
        return folder[len(self._base) :].strip("/") if folder.startswith(self._base) else folder

    def _open(self, path: str) -> IO[bytes]:
        if not self.is_local:
            opened: IO[bytes] = self._store.open(posixpath.join(self._base, path), "rb")
            return opened
        full = os.path.join(self._base, path)  # noqa: PTH118
        if not stat.S_ISREG(os.stat(full).st_mode):  # noqa: PTH116 - opening a pipe waits for ever
            raise OSError("it is no file")
        return open(full, "rb")  # noqa: PTH123

    def _packed(self, path: str) -> Iterator[Source]:
        """Yield the sites inside an archive; one that cannot be read is one source with trouble."""
        try:
            with self._open(path) as file, zipfile.ZipFile(file) as archive:
                folders: dict[str, set[str]] = {}
                for member in _members(archive):
                    folder, name = posixpath.split(_plain(member.filename))
                    folders.setdefault(folder, set()).add(name.casefold())
        except (*_ZIP_ERRORS, SiteError) as error:
            yield Source(path, trouble=_packed_words(error))
            return
        whole = sorted(folder for folder, names in folders.items() if "site.toml" in names)
        for folder in sorted(folder for folder, names in folders.items() if names & _SIGNS):
            under = (not one or folder.startswith(f"{one}/") for one in whole if one != folder)
            if not any(under):
                yield Source(path, folder)

    def _unpack(self, path: str, inside: str, into: Path) -> None:
        try:
            with self._open(path) as file, zipfile.ZipFile(file) as archive:
                for member in _members(archive):
                    folder, name = posixpath.split(_plain(member.filename))
                    if folder != inside or member.is_dir() or not _is_wanted(name):
                        continue
                    with suppress(FileExistsError), (into / name).open("xb") as copy:
                        if member.file_size > BYTES.most:
                            copy.truncate(BYTES.most + 1)  # refused by reading, in its own words
                            continue
                        with archive.open(member) as packed:
                            shutil.copyfileobj(packed, copy, _BLOCK)
        except _ZIP_ERRORS as error:
            raise SiteError(Fault(_packed_words(error))) from error

    def _fetch(self, path: str, into: Path) -> None:
        base = posixpath.join(self._base, path) if path else self._base
        try:
            for entry in self._store.ls(base, detail=True):
                name = posixpath.basename(entry["name"].rstrip("/"))
                if entry["type"] != "file" or not _is_wanted(name):
                    continue
                if (entry.get("size") or 0) > BYTES.most:
                    with (into / name).open("wb") as copy:
                        copy.truncate(BYTES.most + 1)
                    continue
                (into / name).write_bytes(self._store.cat_file(entry["name"]))
        except Exception as error:
            said = f"the site cannot be fetched ({type(error).__name__}: {error})"
            raise SiteError(Fault(said, "check the store and run again")) from error


def digest_folder(folder: Path, salt: str) -> str:
    """Return a digest of what a site's result depends on: its files' names and bytes, and ``salt``.

    A file beyond the largest that is read goes in by its size.
    """
    digest = hashlib.sha256(salt.encode())
    with suppress(OSError):
        for path in sorted(folder.iterdir()):
            name = path.name.casefold()
            if path.suffix.casefold() not in DATA_ENDINGS and name not in KNOWN_FILES:
                continue
            digest.update(f"\0{name}\0".encode("utf-8", "surrogateescape"))
            if name in KNOWN_FILES and path.is_file():
                size = path.stat().st_size
                digest.update(str(size).encode())
                if size <= BYTES.most:
                    digest.update(path.read_bytes())
    return digest.hexdigest()


def _is_wanted(name: str) -> bool:
    """Say whether reading looks at a file of this name: by it, or at it as a near miss."""
    if len(os.fsencode(name)) > _LONGEST_NAME or "\0" in name or name in ("", ".", ".."):
        return False
    known = name.casefold() in KNOWN_FILES
    return known or posixpath.splitext(name.casefold())[1] in DATA_ENDINGS


def _members(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    members = archive.infolist()
    too_many = ARCHIVE_MEMBERS.fault(len(members))
    if too_many is not None:
        raise SiteError(too_many)
    return members


def _plain(name: str) -> str:
    return posixpath.normpath(name.replace("\\", "/")).lstrip("/")


def _packed_words(error: Exception) -> str:
    if isinstance(error, SiteError):
        return str(error)
    return f"the archive cannot be read ({error}); pack it again as a plain zip"
