"""Bytes off the disk to text, and the files of a site folder by name."""

from __future__ import annotations

import codecs
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import BYTES
from lateral_map.reading.words import nearest

KNOWN_FILES: Final = (
    "site.toml",
    "locates.csv",
    "bends.csv",
    "findings.csv",
    "sketch.csv",
    "plan.geojson",
    "plan.gpkg",
    "ground.tif",
)
# Kinds of file a reading or plan may have been saved as by mistake, and what to do then.
DATA_ENDINGS: Final = dict.fromkeys(
    (".csv", ".txt", ".tsv", ".json", ".geojson", ".gpkg", ".shp", ".toml"), "rename it"
) | dict.fromkeys((".xlsx", ".xls", ".ods"), "save the sheet as")


@dataclass(frozen=True, slots=True)
class FolderFiles:
    """A folder's known files by name, and the stems of those that stand under a wrong name."""

    paths: Mapping[str, Path]
    misnamed: frozenset[str]

    def get(self, name: str) -> Path | None:
        """Return a known file's path, None where it is not there."""
        return self.paths.get(name)


def list_files(folder: Path, ledger: Ledger) -> FolderFiles:
    """Return the folder's known files, any letter case; a near miss is a fault."""
    there = sorted(folder.iterdir())
    found: dict[str, Path] = {}
    for path in there:
        if path.name.casefold() in KNOWN_FILES and path.is_file():
            found.setdefault(path.name.casefold(), path)
        elif path.name.casefold() in KNOWN_FILES:  # it would hide readings
            problem = "it is no file, but a folder or a link to nothing"
            ledger.fault(problem, "put the file itself there, or take it out", file=path.name)
    stems = {known.rpartition(".")[0]: known for known in KNOWN_FILES}
    misnamed: set[str] = set()
    for path in there:
        ending, name = path.suffix.casefold(), path.name.casefold()
        if name in KNOWN_FILES or ending not in DATA_ENDINGS or not path.is_file():
            continue
        # Up to the first point: a system that hides endings makes locates.csv.txt of locates.csv.
        close = nearest(name.partition(".")[0], stems, closeness=0.8)
        if close is None or any(known.startswith(f"{close}.") for known in found):
            continue
        misnamed.add(close)
        remedy = f"{DATA_ENDINGS[ending]} {stems[close]}"
        if close == "plan":
            remedy = "save the plan as plan.geojson or plan.gpkg"
        ledger.fault("this file is not read", remedy, file=path.name)
    return FolderFiles(found, frozenset(misnamed))


def real_path(path: Path) -> Path:
    """Return where a path leads, links followed; a link that leads to itself stays as it is."""
    return Path(os.path.realpath(path))  # Path.resolve has no answer for such a link


def read_bytes(path: Path, ledger: Ledger) -> bytes | None:
    """Return a file's bytes, or None with a fault where it cannot be read."""
    try:
        too_large = BYTES.fault(path.stat().st_size)
        if too_large is not None:
            ledger.add(replace(too_large, file=path.name))
            return None
        return path.read_bytes()
    except OSError as error:
        ledger.fault(
            f"the file cannot be read ({error.strerror or 'input error'})",
            "check that it is there and that you may read it",
            file=path.name,
        )
        return None


def decode_table(data: bytes, file: str, ledger: Ledger) -> str | None:
    """Return a table's text: UTF-8 with or without its mark, UTF-16, or else Windows-1252."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text = _try_decode(data, "utf-16")
    else:
        text = _try_decode(data, "utf-8-sig")
        if text is None:
            text = _try_decode(data, "cp1252")
            if text is not None and "\0" not in text:
                ledger.notice(f"{file} is not UTF-8; it was read as Windows-1252.")
    if text is None or "\0" in text:
        ledger.fault(
            "this is not a text table", "save it from the spreadsheet as CSV (UTF-8)", file=file
        )
        return None
    return text


def decode_utf8(data: bytes, file: str, ledger: Ledger) -> str | None:
    """Return UTF-8 text with or without its mark, or None with a fault that names the line."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        ledger.fault(
            f"byte {data[error.start]:#04x} is not UTF-8 text",
            "save the file as UTF-8",
            file=file,
            row=line,
        )
        return None


def _try_decode(data: bytes, encoding: str) -> str | None:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        return None
