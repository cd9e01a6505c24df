"""The exchange files, each read by something that had no part in writing it."""

from __future__ import annotations

import csv
import io
import json
import re
import sqlite3
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import ezdxf
from ezdxf import bbox

from agreement.told import Record, Told, plain, same_number, same_range, verdict_in

_FINDING = ("number", "class", "verdict", "verdict_line", "finding", "severity", "basis")
_LENGTHS = ("footage", "to", "depth_to_invert", "depth_sd")


def check_files(told: Told, made: Mapping[str, bytes]) -> Iterable[str]:
    checks = {
        "route.geojson": check_geojson, "route.gpkg": check_geopackage, "route.kml": check_kml,
        "marks.gpx": check_gpx, "route.dxf": check_dxf, "stations.csv": check_stations,
        "route.xml": check_landxml, "dig.geojson": check_dig_geojson, "refind.csv": check_refind,
    }  # fmt: skip
    for name, check in checks.items():
        if name in made:
            yield from (f"{name}: {said}" for said in check(told, made[name]))


def _compare(one: Record, record: Mapping[str, Any], keys: Iterable[str]) -> Iterable[str]:
    for key in keys:
        if key in record and not _alike(record[key], one[key]):
            yield f"#{one['number']} {key}: {record[key]!r}, result.json {one[key]!r}"
        if key not in record and one[key] not in (None, "", []):
            yield f"#{one['number']} {key}: left out"


def _alike(shown: Any, value: Any) -> bool:
    """Whether a file's own form of a value is the same: text of a number, a list in one cell."""
    if shown in ("", None) and value in (None, "", []):
        return True
    if isinstance(value, bool):
        return str(shown).lower() in (str(value).lower(), str(int(value)))
    if isinstance(value, int | float):
        return shown not in (None, "") and abs(float(shown) - value) < 1e-5 * max(1.0, abs(value))
    if isinstance(value, list) and not isinstance(shown, list):
        return [part.strip() for part in str(shown).split(";")] == [str(each) for each in value]
    return bool(shown == value)


def _findings(told: Told, records: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    rows = list(records)
    if len(rows) != len(told.findings):
        yield f"{len(rows)} findings of {len(told.findings)}"
    for row in rows:
        one = told.findings.get(int(row.get("number") or 0))
        if one is None:
            yield f"a finding without its number: {row.get('finding')}"
            continue
        yield from _compare(one, row, (*_FINDING, *_LENGTHS, "answers"))
        side = told.deciding(one)
        if side and "past" in row and not _alike(row["past"], side["past"]):
            yield f"#{one['number']} past: {row['past']}, of the line that decides {side['past']}"


def _crossings(told: Told, records: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    rows = list(records)
    expected = told.result["crossings"]
    if len(rows) != len(expected):
        yield f"{len(rows)} crossings of {len(expected)}"
    for row, crossing in zip(rows, expected, strict=False):
        for key in ("line", "kind", "footage", "footage_sd", "depth_to_invert", "decides"):
            if key in row and not _alike(row[key], crossing[key]):
                yield f"crossing of {crossing['line']} {key}: {row[key]!r}, {crossing[key]!r}"


def _set_aside(told: Told, states: Mapping[str, str]) -> Iterable[str]:
    """States of locates: those whose readings are suspect, and those the site sets aside."""
    for mark, state in states.items():
        drawn = "put off" if state == "misled by a slip elsewhere" else state
        if drawn not in (may := told.locate_states(mark)):
            yield f"locate {mark}: {state}, not {sorted(may)}"


def check_geojson(told: Told, content: bytes) -> Iterable[str]:
    layers: dict[str, list[Record]] = {}
    for feature in json.loads(content)["features"]:
        layers.setdefault(feature["properties"]["layer"], []).append(feature)
    yield from _findings(told, (each["properties"] for each in layers.get("findings", [])))
    yield from _crossings(told, (each["properties"] for each in layers.get("crossings", [])))
    states = {
        each["properties"]["mark"]: each["properties"]["state"]
        for each in layers.get("locates", [])
    }
    yield from _set_aside(told, states)
    keys = ("x", "y") if told.is_local else ("lon", "lat")
    for feature in layers.get("findings", []):
        one = told.findings[feature["properties"]["number"]]
        place = feature["geometry"]["coordinates"]
        while isinstance(place[0], list):
            place = place[0]
        if any(abs(at - one[key]) > 2e-6 for at, key in zip(place, keys, strict=False)):
            yield f"#{one['number']} stands elsewhere"


def check_geopackage(told: Told, content: bytes) -> Iterable[str]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "route.gpkg"
        path.write_bytes(content)
        base = sqlite3.connect(path)
        base.row_factory = sqlite3.Row
        try:
            tables = {
                name: [dict(row) for row in base.execute(f"select * from {name}")]
                for name in ("findings", "crossings", "locates")
            }
        finally:
            base.close()
    yield from _findings(told, tables["findings"])
    yield from _crossings(told, tables["crossings"])
    yield from _set_aside(told, {row["mark"]: row["state"] for row in tables["locates"]})


_KML = "{http://www.opengis.net/kml/2.2}"


def check_kml(told: Told, content: bytes) -> Iterable[str]:
    findings, crossings = [], []
    for mark in ET.fromstring(content).iter(f"{_KML}Placemark"):
        data = {
            each.get("name", ""): each.findtext(f"{_KML}value") or ""
            for each in mark.iter(f"{_KML}Data")
        }
        name = mark.findtext(f"{_KML}name") or ""
        if "finding" in data:
            findings.append(data)
            if not name.removeprefix("STOP ").startswith(
                f"#{data.get('number')} {data['finding']}"
            ):
                yield f"a placemark is called {name!r}"
        elif "footage_sd" in data:
            crossings.append(data)
    # A list has no form in a KML value and may be left out.
    yield from (said for said in _findings(told, findings) if "answers: left out" not in said)
    yield from _crossings(told, crossings)


_GPX = "{http://www.topografix.com/GPX/1/1}"


def check_gpx(told: Told, content: bytes) -> Iterable[str]:
    numbers = []
    for point in ET.fromstring(content).iter(f"{_GPX}wpt"):
        name, said = (plain(point.findtext(f"{_GPX}{tag}") or "") for tag in ("name", "desc"))
        if found := re.match(r"(?:STOP )?#(\d+) (.*)", name):
            one = told.findings[int(found[1])]
            numbers.append(one["number"])
            if not found[2].startswith(one["finding"]):
                yield f"{name}: is {one['finding']}"
            yield from (f"{name}: {each}" for each in sentence_of(told, one, said))
        elif name.startswith("Crosses "):
            line = name.removeprefix("Crosses ")
            footages = [c["footage"] for c in told.result["crossings"] if c["line"] == line]
            shown = re.search(r"At ([\d.]+)", said)
            if not shown or not any(same_number(shown[1], each) for each in footages):
                yield f"{name}: {said}"
    if sorted(numbers) != sorted(told.findings):
        yield f"findings {numbers}"


def sentence_of(told: Told, one: Record, said: str) -> Iterable[str]:
    """Hold a sentence about one finding against what is decided: footage, depth, line, verdict."""
    if (at := re.search(r"At (-?[\d.]+)", said)) and not same_number(at[1], one["footage"]):
        yield f"at {at[1]}, not {one['footage']}"
    if (deep := re.search(r"invert ([\d.]+)", said)) and not same_number(
        deep[1], one["depth_to_invert"]
    ):
        yield f"invert {deep[1]}, not {one['depth_to_invert']}"
    line = one["verdict_line"]
    if line is not None:
        _, found, words = said.rpartition(f"{line}: ")
        if not found:
            yield f"not judged by {line}: {said}"
        elif verdict_in(words) != one["verdict"]:
            yield f"{words!r}, not {one['verdict']}"


def check_dxf(told: Told, content: bytes) -> Iterable[str]:
    drawing = ezdxf.read(io.StringIO(content.decode("utf-8")))  # type: ignore[attr-defined]
    yield from _check_opens_on_drawing(drawing)
    numbers: list[int] = []
    for entity in drawing.modelspace().query('TEXT[layer=="FINDINGS"]'):
        text = entity.dxf.text
        found = re.match(r"(?:STOP )?#(\d+) (.*)", text)
        if found is None:
            yield f"a finding without its number: {text}"
            continue
        one = told.findings[int(found[1])]
        numbers.append(one["number"])
        if not found[2].startswith(one["finding"]):
            yield f"{text}: is {one['finding']}"
        if entity.has_xdata("LATERAL_MAP"):
            values = dict(tag.value.partition("=")[::2] for tag in entity.get_xdata("LATERAL_MAP"))
            yield from _compare(
                one, values, [key for key in (*_FINDING, *_LENGTHS) if key in values]
            )
    if sorted(set(numbers)) != sorted(told.findings):
        yield f"findings {numbers}"
    for entity in drawing.modelspace().query('TEXT[layer=="CROSSINGS"]'):
        found = re.match(r"(.*) (-?[\d.]+) \+- ([\d.]+)", entity.dxf.text)
        if found and not any(
            c["line"] == found[1]
            and same_number(found[2], c["footage"])
            and same_range(found[3], c["footage_sd"])
            for c in told.result["crossings"]
        ):
            yield f"crossing {entity.dxf.text}"


def _check_opens_on_drawing(drawing: Any) -> Iterable[str]:
    """Extents, limits and the first view hold what is drawn, and little else."""
    drawn = bbox.extents(drawing.modelspace().query("POLYLINE LWPOLYLINE POINT"))
    middle, (wide, high, _) = drawn.center, drawn.size
    for low, far in (("$EXTMIN", "$EXTMAX"), ("$LIMMIN", "$LIMMAX")):
        box = (*drawing.header[low][:2], *drawing.header[far][:2])
        expected = (*drawn.extmin.vec2, *drawn.extmax.vec2)
        if any(abs(one - other) > 1e-3 for one, other in zip(box, expected, strict=True)):
            yield f"{low} to {far}: {box}, drawn {expected}"
    (view,) = drawing.viewports.get("*ACTIVE")
    seen_wide, seen_high = view.dxf.height * view.dxf.aspect_ratio, view.dxf.height
    x, y, _ = view.dxf.center + view.dxf.target
    if not (
        wide / 2.0 + abs(x - middle.x) <= seen_wide / 2.0
        and high / 2.0 + abs(y - middle.y) <= seen_high / 2.0
        and (high >= 0.4 * seen_high or wide >= 0.4 * seen_wide)
    ):
        yield f"opens on {seen_wide} by {seen_high} at {x}, {y}; drawn {drawn}"


def _table(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"))))


def check_stations(told: Told, content: bytes) -> Iterable[str]:
    unit = told.result["unit"]
    rows = _table(content)
    if len(rows) != len(told.result["stations"]):
        yield f"{len(rows)} stations of {len(told.result['stations'])}"
    for row, station in zip(rows, told.result["stations"], strict=False):
        for key in ("footage", "depth_to_invert", "depth_sd"):
            if not same_number(row[f"{key}_{unit}"], station[key]):
                yield f"{key} at {station['footage']}: {row[f'{key}_{unit}']}, {station[key]}"


def check_refind(told: Told, content: bytes) -> Iterable[str]:
    unit = told.result["unit"]
    for row in _table(content):
        name = row["key_point"].lstrip("'")
        footage = row.get(f"footage_{unit}")
        for one in told.findings.values():
            if name == one["finding"] and footage and same_number(footage, one["footage"]):
                depth = row.get(f"invert_depth_{unit}")
                if depth and not same_number(depth, one["depth_to_invert"]):
                    yield f"{name} at {footage}: depth {depth}, {one['depth_to_invert']}"


def _spans(told: Told) -> list[tuple[float, float, str]]:
    return [(one["from"], one["to"], one["party"]) for one in told.result["responsibility"]]


def check_landxml(told: Told, content: bytes) -> Iterable[str]:
    root = ET.fromstring(content)
    space = root.tag.partition("}")[0] + "}"
    for feature in root.iter(f"{space}Feature"):
        values = {
            each.get("label"): each.get("value") or "" for each in feature.iter(f"{space}Property")
        }
        if "number" in values and feature.get("code") == "finding":
            one = told.findings[int(values["number"])]
            yield from _compare(
                one, values, [key for key in (*_FINDING, *_LENGTHS) if key in values]
            )
        elif "answers" in values:
            middle = (float(values["from"]) + float(values["to"])) / 2.0
            party = next((p for a, b, p in _spans(told) if a <= middle <= b), None)
            if party and values["answers"] != party:
                yield f"{values['from']} to {values['to']}: {values['answers']}, not {party}"


def check_dig_geojson(told: Told, content: bytes) -> Iterable[str]:
    zones = [
        each["properties"]
        for each in json.loads(content)["features"]
        if each["properties"]["layer"] == "tolerance zone"
    ]
    utilities = told.result["utilities"]
    if [zone["name"] for zone in zones] != [one["name"] for one in utilities]:
        yield f"utilities by rank: {[zone['name'] for zone in zones]}"
    for rank, (zone, one) in enumerate(zip(zones, utilities, strict=False), start=1):
        if zone.get("rank", rank) != rank:
            yield f"{one['name']} has rank {zone['rank']}, is {rank}"
        for key in (
            "utility",
            "relation",
            "in_trench",
            "clearance",
            "clearance_sd",
            "depth_known",
            "joins",
            "verdict",
        ):
            if key in zone and not _alike(zone[key], one[key]):
                yield f"{one['name']} {key}: {zone[key]!r}, {one[key]!r}"
