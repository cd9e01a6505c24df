# Lists of odd values, on a line each.
# ruff: noqa: E501
"""Whatever the files hold, a folder becomes a site or one error; nothing else ever comes out."""

from __future__ import annotations

import json
import tempfile
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reading.broken_database import damage
from reading.good_site import Folder, good_folder

from lateral_map.errors import SiteError
from lateral_map.reading.folder import load_site

# Each example reads a whole folder; the thorough profile still runs hundreds.
FEWER = settings(max_examples=max(settings().max_examples // 3, 10))
FILES = tuple(good_folder().texts())


def read(folder: Folder) -> None:
    """Write and read a folder; anything but a site or a ``SiteError`` fails the test."""
    with tempfile.TemporaryDirectory() as place:
        for fault in folder.faults(Path(place)):
            assert fault.problem
            assert str(fault).encode()


def content(folder: Folder, name: str) -> bytes:
    text = folder.texts()[name]
    return text.encode() if isinstance(text, str) else text


@FEWER
@given(st.sampled_from(FILES), st.binary(max_size=300))
def test_any_bytes(name: str, data: bytes) -> None:
    folder = good_folder()
    folder.raw[name] = data
    read(folder)


@FEWER
@given(st.sampled_from(FILES), st.integers(0, 10**9))
def test_bytes_changed_or_cut(name: str, seed: int) -> None:
    folder = good_folder()
    folder.raw[name] = damage(content(folder, name), seed)
    read(folder)


PIECES = st.one_of(
    st.text(max_size=8),
    st.sampled_from(
        ['"', "'", "\n", "\r", ",", ";", "[", "]]", "{", "=", "nan", "-inf", "1e999", "0x" + "f" * 5000, "\0", "\ufeff", "½", "'''", '"""', "null", "true", "[[pipe]]", "[start]", "\ud7ff", "9" * 5000],
    ),
)  # fmt: skip


@FEWER
@given(st.sampled_from(FILES), st.lists(st.tuples(st.floats(0, 1), PIECES), max_size=4))
def test_pieces_put_in(name: str, pieces: list[tuple[float, str]]) -> None:
    folder = good_folder()
    text = content(folder, name).decode()
    for where, piece in pieces:
        place = int(where * len(text))
        text = text[:place] + piece + text[place:]
    folder.raw[name] = text.encode("utf-8", "surrogatepass")
    read(folder)


TOML_VALUES = st.one_of(
    st.integers().map(str),
    st.floats().map(lambda value: f"{value!r}"),
    st.sampled_from(
        ['""', '"x"', "true", "[]", "[1]", "{}", "{a = 1}", "2026-05-04", "12:00:00", '"1e400"', '"7 ft 6 in"', "1e308", "-1e308", "5e-324", "0x" + "f" * 5000, "9" * 4000, '"\\u0000"', '"EPSG:0"', '"EPSG:32633"', '"local"', '"EPSG:3857"', '"+proj=utm +zone=16"', '"us_ft"', '"m"', "-0.0"],
    ),
)  # fmt: skip


@st.composite
def other_values(draw: st.DrawFn) -> Folder:
    """Give some keys of site.toml other values."""
    folder = good_folder()
    for _ in range(draw(st.integers(1, 3))):
        name = draw(st.sampled_from(sorted(folder.toml)))
        table = folder.toml[name]
        table = draw(st.sampled_from(table)) if isinstance(table, list) else table
        if isinstance(table, dict):
            table[draw(st.sampled_from(sorted(table)))] = draw(TOML_VALUES)
        else:
            folder.toml[name] = draw(TOML_VALUES)
    return folder


@FEWER
@given(other_values())
def test_other_values_in_site_toml(folder: Folder) -> None:
    read(folder)


CELLS = st.one_of(
    st.text(max_size=10),
    st.floats().map(str),
    st.integers().map(str),
    st.sampled_from(["7'6\"", "1e308", "-1e308", "5e-324", "0", "no", "hydrant", "curb", "45 left", "9" * 500, "½", "°", "1/0", "1 1/0", "-1/3"]),
)  # fmt: skip


@st.composite
def other_cells(draw: st.DrawFn) -> Folder:
    """Give some cells of the tables other values, some in columns they had nothing in."""
    folder = good_folder()
    columns = ["footage", "depth", "x", "y", "lat", "lon", "accuracy", "tape3", "tape3_from", "line", "past", "offset", "along", "ground", "nulls", "to", "turn", "fall", "use", "peak", "mark"]  # fmt: skip
    for _ in range(draw(st.integers(1, 4))):
        rows = draw(st.sampled_from([folder.locates, folder.bends, folder.findings]))
        draw(st.sampled_from(rows))[draw(st.sampled_from(columns))] = draw(CELLS)
    return folder


@FEWER
@given(other_cells())
def test_other_cells(folder: Folder) -> None:
    read(folder)


LEAVES = st.one_of(
    st.none(), st.booleans(), st.floats(), st.integers(-(10**400), 10**400), st.text(max_size=6),
    st.sampled_from(["curb", "reference", "utility", "gas", 1e308, -1e308, [], {}, [[]], [1e9, 1e9]]),
)  # fmt: skip


def leaves(document: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path to every value inside a document."""
    inside = (
        document.items() if isinstance(document, dict) else enumerate(document)
        if isinstance(document, list) else ()
    )  # fmt: skip
    return [path, *(deeper for key, one in inside for deeper in leaves(one, (*path, key)))]


PATHS = leaves(good_folder().plan)[1:]


@FEWER
@given(st.lists(st.tuples(st.sampled_from(PATHS), LEAVES), min_size=1, max_size=3))
def test_other_values_in_the_plan(changes: list[tuple[tuple[Any, ...], Any]]) -> None:
    folder = good_folder()
    for path, value in changes:
        inside: Any = folder.plan
        try:
            for key in path[:-1]:
                inside = inside[key]
            inside[path[-1]] = deepcopy(value)
        except (TypeError, KeyError, IndexError):
            continue  # an earlier change took the place away
    folder.raw["plan.geojson"] = json.dumps(folder.plan)
    read(folder)


@pytest.mark.parametrize("name", FILES)
def test_folders_in_the_place_of_files(name: str, tmp_path: Path) -> None:
    folder = good_folder()
    folder.raw[name] = None
    place = folder.write(tmp_path)
    (place / name).mkdir()
    if name == "site.toml":
        with pytest.raises(SiteError, match=r"site\.toml: it is missing"):
            load_site(place)
    else:
        assert all(fault.problem for fault in folder.faults(place))
