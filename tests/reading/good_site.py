# Values as they are typed, a row a line.
# ruff: noqa: E501
"""One good site folder, held as editable parts so that a test can damage one field of it."""

from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from lateral_map.errors import Fault, SiteError
from lateral_map.model.site import Site
from lateral_map.reading.folder import load_site

CRS = "EPSG:6499"  # NAD83(2011) / Michigan South, international feet
LON, LAT = -84.5, 42.7
_FT_PER_DEG_LAT, _FT_PER_DEG_LON = 364_500.0, 269_000.0


def at(east_ft: float, north_ft: float) -> list[float]:
    """Return the [longitude, latitude] of a place by its feet from the cleanout, near enough."""
    return [round(LON + east_ft / _FT_PER_DEG_LON, 9), round(LAT + north_ft / _FT_PER_DEG_LAT, 9)]


def feature(geometry: str, coordinates: Any, **properties: Any) -> dict[str, Any]:
    """Return a GeoJSON feature."""
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": geometry, "coordinates": coordinates},
    }


@dataclass
class Folder:
    """A site folder's parts: TOML values as written, tables as rows, the plan as GeoJSON.

    ``raw`` overrides or adds whole files.
    """

    toml: dict[str, Any]
    locates: list[dict[str, str]]
    bends: list[dict[str, str]]
    findings: list[dict[str, str]]
    plan: dict[str, Any]
    raw: dict[str, str | bytes | None] = field(default_factory=dict)

    def features(self, name: str) -> dict[str, Any]:
        """Return the plan's feature of that name."""
        return next(one for one in self.plan["features"] if one["properties"].get("name") == name)

    def texts(self) -> dict[str, str | bytes]:
        """Return every file's content."""
        files: dict[str, str | bytes | None] = {
            "site.toml": self.toml_text(),
            "locates.csv": table_text(self.locates),
            "bends.csv": table_text(self.bends),
            "findings.csv": table_text(self.findings),
            "plan.geojson": json.dumps(self.plan, indent=1),
        }
        return {name: text for name, text in (files | self.raw).items() if text is not None}

    def toml_text(self) -> str:
        """Return site.toml."""
        lines: list[str] = []
        for name, value in self.toml.items():
            if isinstance(value, str):
                lines.append(f"{name} = {value}")
        for name, value in self.toml.items():
            for table in value if isinstance(value, list) else [value]:
                if isinstance(table, dict):
                    lines.append(f"[[{name}]]" if isinstance(value, list) else f"[{name}]")
                    lines += [f"{key} = {one}" for key, one in table.items()]
        return "\n".join(lines) + "\n"

    def write(self, folder: Path) -> Path:
        """Write the folder."""
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in self.texts().items():
            data = text.encode() if isinstance(text, str) else text
            (folder / name).write_bytes(data)
        return folder

    def load(self, folder: Path) -> Site:
        """Write the folder and read it."""
        return load_site(self.write(folder))

    def faults(self, folder: Path) -> tuple[Fault, ...]:
        """Write the folder, read it, and return what is wrong with it."""
        try:
            self.load(folder)
        except SiteError as error:
            if not error.faults:
                raise
            return error.faults
        return ()


def quoted(cell: str) -> str:
    """Return a CSV cell, in quotation marks where it needs them."""
    if any(mark in cell for mark in ',;"\n\r'):
        return '"' + cell.replace('"', '""') + '"'
    return cell


def table_text(rows: list[dict[str, str]], separator: str = ",", end: str = "\n") -> str:
    """Return rows as a table; its header is every column any row has."""
    header = list(dict.fromkeys(key for row in rows for key in row))
    lines = [separator.join(header)]
    lines += [separator.join(quoted(row.get(key, "")) for key in header) for row in rows]
    return end.join(lines) + end


_GOOD = Folder(
    toml={
        "format": "1",
        "site": {"name": '"Lot 3, Elderbrook"', "date": "2026-05-04", "crs": f'"{CRS}"', "unit": '"ft"'},
        "start": {
            "point": '"cleanout"', "accuracy": "0.5", "depth": "4.0", "riser": "0.0", "azimuth": "92.0",
            "azimuth_accuracy": "10.0",
        },
        "counter": {
            "zero": "0.0", "zero_accuracy": "0.3", "scale_accuracy": "0.01", "reading_accuracy": "0.1",
        },
        "transmitter": {
            "behind_lens": "0.5", "above_invert": "0.12", "depth_accuracy": "0.05", "depth_floor": "0.25",
        },
        "pipe": [
            {"from": "0.0", "material": '"clay"', "size": "4"},
            {"from": "40.0", "material": '"pvc"', "size": "6"},
        ],
        "boundary": [
            {"line": '"curb"', "inside": '"owner"', "outside": '"city"', "decides": "true"},
            {"line": '"north line"', "inside": '"owner"', "outside": '"neighbour"'},
        ],
        "dig": {
            "tolerance_zone": '"24 in"', "rule": '"the local rule"', "soil": '"C"',
            "trench_width": '"24 in"', "bedding": '"6 in"',
        },
        "accuracy": {"tape": "0.1", "wander": "0.5"},
        "run": {"end_footage": "80.0", "end": '"main"'},
    },
    locates=[
        {
            "mark": "A", "footage": "10.0", "depth": "4.2", "tape1_from": "hydrant", "tape1": "32.0",
            "tape2_from": "NE corner", "tape2": "12'6\"", "note": "in the lawn",
        },
        {
            "mark": "B", "footage": "30.0", "depth": "4.6", "lat": "42.7", "lon": str(at(30, 0)[0]),
            "accuracy": "3.0",
        },
        {"mark": "C", "footage": "50.0", "depth": "5.0", "line": "curb", "along": "50.0", "past": "-10.0"},
        {"mark": "D", "footage": "70.0", "depth": "5.2", "held_above": "0.5", "line": "curb", "offset": "-10.0"},
    ],
    bends=[
        {"footage": "41.0", "turn": "-22.5", "fall": "", "how": "fitting", "note": ""},
        {"footage": "60.0", "turn": "", "fall": "10", "how": "eye", "note": ""},
    ],
    findings=[
        {"footage": "12.0", "to": "", "finding": "roots", "severity": "minor", "note": "fine roots"},
        {"footage": "62.0", "to": "64.5", "finding": "crack", "severity": "severe", "note": ""},
    ],
    plan={
        "type": "FeatureCollection",
        "features": [
            feature("Point", at(0, 0), kind="reference", name="cleanout", accuracy=0.1),
            feature("Point", at(40, 12), kind="reference", name="hydrant"),
            feature("Point", at(5, 10), kind="reference", name="NE corner", z=101.2),
            feature("Point", at(20, -5), kind="ground", z=100.4),
            feature("LineString", [at(60, 50), at(60, -50)], kind="curb", name="curb", accuracy="1 ft"),
            feature(
                "LineString", [at(-20, 40), at(80, 40)], kind="property_line", name="north line",
                accuracy=0.5,
            ),
            feature("LineString", [at(75, 60), at(75, -60)], kind="centreline"),
            feature(
                "LineString", [at(55, 50), at(55, -50)], kind="utility", utility="gas", name="gas main",
                depth=3.0, accuracy=2.0, source="utility map",
            ),
            feature(
                "Polygon", [[at(-30, -10), at(0, -10), at(0, 10), at(-30, 10), at(-30, -10)]],
                kind="building", name="house",
            ),
            feature(
                "Polygon", [[at(30, -10), at(50, -10), at(50, -4), at(30, -4), at(30, -10)]],
                kind="surface", name="drive", cover="concrete",
            ),
        ],
    },
)  # fmt: skip


def good_folder() -> Folder:
    """Return a fresh copy of the good folder."""
    return deepcopy(_GOOD)
