"""Open geodata and a site folder: which layers are what, and the plan written beside what is drawn.

How layers are read is remembered in ``open_data.toml`` in the site folder, asked once.
"""

from __future__ import annotations

import json
import re
import tomllib
import zipfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from lateral_map.errors import Fault, FaultCollector, SiteError
from lateral_map.reading.files import real_path
from lateral_map.reading.folder import load_site
from lateral_map.reading.open_data import KINDS, Layer, OpenPlan, find_place, opened_as
from lateral_map.reading.words import clean_name, listed, plain
from lateral_map.units import parse_length

REMEMBERED: Final = "open_data.toml"
_RULE: Final = re.compile(
    r"(?P<layer>[^\[=]+)(?:\[(?P<field>[^=\]]+)(?:=(?P<value>[^\]]*))?\])?=(?P<kind>\w+)"
)
Ask = Callable[[str], str]
# What else than shapefiles is looked for in an archive.
_OTHERS: Final = (".gpkg", ".geojson", ".json", ".fgb", ".dxf", ".osm", ".pbf")
# Layers of OpenStreetMap extracts as GDAL reads them; streets by the words of its tag highway.
_EXTRACTS: Final = (".osm", ".pbf")
_STREETS: Final = "residential|living_street|unclassified|tertiary|secondary|primary|pedestrian"
_OF_EXTRACTS: Final[dict[str, dict[str, str]]] = {
    "multipolygons": {"as": "building", "where": "building="},
    "lines": {"as": "street", "where": f"highway={_STREETS}"},
}


@dataclass(frozen=True, slots=True)
class Said:
    """What was said of all layers at once; empty where nothing was."""

    accuracy: str = ""
    source: str = ""
    date: str = ""
    licence: str = ""
    crs: str = ""


def find_layers(
    files: Sequence[Path], rules: Sequence[str], said: Said, folder: Path, ask: Ask | None
) -> list[Layer]:
    """Return the layers of files with what each is; raises ``SiteError`` with all that is unsaid.

    ``rules`` are LAYER=KIND or LAYER[FIELD=VALUE]=KIND, ``*=KIND`` for every other layer. What
    neither they nor the site's open_data.toml say is asked with ``ask``, where there is somebody to
    ask; of an OpenStreetMap extract it is known.
    """
    faults, found = FaultCollector(), []
    known, ruled = _remembered(folder), _ruled(rules, faults)
    for path in files:
        for inside, name in _list_layers(path, faults):
            entries = [one for rule, one in ruled if rule == plain(name)]
            entries += [] if entries else [one for rule, one in ruled if rule == "*"]
            entries += [] if entries else known.get((path.name, name), [])
            if not entries and path.name.endswith(_EXTRACTS):
                entries = [_OF_EXTRACTS.get(name, {"as": "skip"})]
            if not entries and ask is not None:
                entries = [{"as": ask(f"What is the layer {name!r}? {', '.join(KINDS)}")}]
            if not entries:
                remedy = f"say it with --layer {name}=building (or {', '.join(KINDS[1:])})"
                faults.add(Fault(f"nothing says what {name!r} is", remedy, file=path.name))
            for entry in entries:
                layer = _layer(path, name, entry, said, faults)
                if layer is not None:
                    found.append(replace(layer, inside=inside))
    faults.raise_if_any()
    return found


def _list_layers(path: Path, faults: FaultCollector) -> list[tuple[str, str]]:
    """Return where in the file each layer with shapes lies (empty outside archives), and its name.

    A file that cannot be read is a fault.
    """
    import pyogrio

    # GDAL's quick index wants an extract's nodes in order of number; not every one has them so.
    pyogrio.set_gdal_config_options({"OSM_USE_CUSTOM_INDEXING": "NO"})
    places, found = [""], []
    with suppress(OSError, ValueError, zipfile.BadZipFile):
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                # Names that begin with a dot are another machine's notes on its files.
                members = [one for one in archive.namelist() if "/." not in f"/{one}"]
            # A folder of shapefiles is opened as one; any other file by itself.
            shapes = [one.rpartition("/")[0] for one in members if one.lower().endswith(".shp")]
            others = [one for one in members if one.lower().endswith(_OTHERS)]
            places = [*dict.fromkeys(place or "/" for place in shapes), *others]
    for place in places:
        # What else lies in an archive need be no map.
        with suppress(RuntimeError, ValueError, OSError):
            for name, shape in pyogrio.list_layers(opened_as(path, place)):
                found += [] if shape is None else [(place, str(name))]
    if not found:
        remedy = "name a GeoPackage, GeoJSON, zipped shapefile, FlatGeobuf, DXF or .osm"
        faults.add(Fault("no vector file GDAL can read", remedy, file=path.name))
    return found


def _ruled(rules: Sequence[str], faults: FaultCollector) -> list[tuple[str, dict[str, str]]]:
    found = []
    for rule in rules:
        match = _RULE.fullmatch(rule.strip())
        if match is None:
            faults.add(Fault(f"{rule!r} is no rule", "write LAYER=KIND or LAYER[FIELD=VALUE]=KIND"))
            continue
        where = "" if match["field"] is None else f"{match['field']}={match['value'] or ''}"
        found.append((plain(match["layer"]), {"as": match["kind"], "where": where}))
    return found


def _remembered(folder: Path) -> dict[tuple[str, str], list[dict[str, str]]]:
    path = folder / REMEMBERED
    if not path.is_file():
        return {}
    try:
        entries = tomllib.loads(path.read_text(encoding="utf-8")).get("layer", [])
        known: dict[tuple[str, str], list[dict[str, str]]] = {}
        for one in entries:
            known.setdefault((str(one["file"]), str(one["layer"])), []).append(
                {name: str(value) for name, value in one.items()}
            )
    except (ValueError, KeyError, TypeError, AttributeError):
        remedy = "mend it or remove it; it is made anew"
        raise SiteError.of("it is not as it was written", remedy, file=REMEMBERED) from None
    return known


def _layer(
    path: Path, name: str, entry: Mapping[str, str], said: Said, faults: FaultCollector
) -> Layer | None:
    """Return one layer; None, with faults, where something of it is unsaid."""
    kind = plain(entry.get("as", ""))
    if kind == "skip":
        return Layer(path, name, kind)
    before, place = len(faults.faults), f"layer {name!r}"
    if kind not in KINDS:
        faults.add(Fault(f"{kind!r} is no kind of layer", f"write {listed(KINDS)}", field=place))
    values = {
        key: clean_name(getattr(said, key) or entry.get(key, ""))
        for key in ("accuracy", "source", "date", "licence")
    }
    for key in [key for key, value in values.items() if not value]:
        remedy = f"say it with --{key}; where nobody knows, write unknown"
        remedy = "say it with --accuracy, such as '0.5 m'" if key == "accuracy" else remedy
        faults.add(Fault(f"nothing says the {key} of the layer", remedy, field=place))
    accuracy_m = 1.0
    with faults.place(field=place):
        accuracy_m = parse_length(values["accuracy"] or "1 m", "m")
    if accuracy_m <= 0.0:
        faults.add(Fault("an accuracy is greater than 0", "such as '0.5 m'", field=place))
    where, _, value = entry.get("where", "").partition("=")
    if len(faults.faults) > before:
        return None
    return Layer(
        path,
        name,
        kind,
        (where, value) if where else None,
        accuracy_m,
        values["source"],
        values["date"],
        values["licence"],
        said.crs or entry.get("crs", ""),
    )


def remember(layers: Iterable[Layer], folder: Path) -> bytes:
    """Return the text of open_data.toml that says how these layers are read.

    What it says of other files and layers stays.
    """
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("How layers of open data become this plan, by lateral-map plan."))
    known = _remembered(folder)
    for one in layers:
        known.pop((one.path.name, one.name), None)
    said_of = [said for kept in known.values() for said in kept]
    for one in layers:
        where = "" if one.where is None else "=".join(one.where)
        said_of.append({
            "file": one.path.name, "layer": one.name, "as": one.kind, "where": where,
            "accuracy": "" if one.kind == "skip" else f"{one.accuracy_m:g} m", "source": one.source,
            "date": one.date, "licence": one.licence, "crs": one.crs,
        })  # fmt: skip
    entries = tomlkit.aot()
    for said in said_of:
        entries.append(tomlkit.item({name: value for name, value in said.items() if value}))
    document.add("layer", entries)
    return tomlkit.dumps(document).encode()


def merge_plan(folder: Path, plan: OpenPlan, *, replaces: bool) -> tuple[bytes, int, int]:
    """Return plan.geojson with the new features, how many drawn ones stay, how many were replaced.

    Raises ``SiteError`` where features of the same source are there and may not be replaced.
    """
    path = folder / "plan.geojson"
    if (folder / "plan.gpkg").exists():
        remedy = "save it as plan.geojson, or keep it and add to it in a GIS"
        raise SiteError.of("the plan is a GeoPackage", remedy, file="plan.gpkg")
    document: dict[str, Any] = {"type": "FeatureCollection", "features": []}
    if path.is_file():
        try:
            document = json.loads(path.read_text(encoding="utf-8-sig"))
            there = list(document["features"])
        except (ValueError, KeyError, TypeError):
            remedy = "mend it first: lateral-map check says how"
            raise SiteError.of("it is no GeoJSON", remedy, file=path.name) from None
    else:
        there = []
    sources = {one["properties"]["source"] for one in plan.features}
    old = [one for one in there if (one.get("properties") or {}).get("source") in sources]
    if old and not replaces:
        raise SiteError.of(
            f"{len(old)} features from {', '.join(sorted(sources))} are there already",
            "add --replace to draw them anew; what is drawn by hand stays",
            file=path.name,
        )
    kept = [one for one in there if one not in old]
    taken = {str((one.get("properties") or {}).get("name", "")) for one in kept}
    for one in plan.features:
        name = word = one["properties"]["name"]
        number = 1
        while name in taken and name:
            number += 1
            name = f"{word} {number}"
        one["properties"]["name"] = name
    document["features"] = [*kept, *plan.features]
    text = json.dumps(document, ensure_ascii=False, indent=1)
    return text.encode(), len(kept), len(old)


def start_site(folder: Path, plan: OpenPlan) -> bytes:
    """Return a site.toml to begin with: everything that is not on the map is a stand-in."""
    name = json.dumps(clean_name(real_path(folder).name) or "site", ensure_ascii=False)
    edges = "".join(
        f"""
[[boundary]]
line = "{one}"     # the lot's edge on the street, proposed; a plot's edge is no survey
inside = "owner"
outside = "city"
# decides = true             # set it once you know that responsibility changes there
"""
        for one in plan.street_edges
    )
    # Where it is not plain which street the pipe runs to, hardly anything is said of its direction.
    unsure_deg = 30.0 if len(plan.street_edges) == 1 else 90.0
    aim = f"""azimuth = {plan.azimuth_deg}               # stand-in: to {plan.aims_at}
azimuth_accuracy = {unsure_deg}       # stand-in
"""
    return f"""# Begun from open data. Replace what is marked: nothing of the pipe is on a map.
format = 1

[site]
name = {name}
crs = "{plan.crs}"
unit = "m"

[start]
lat = {plan.start_lonlat[1]}              # stand-in: the middle of the house
lon = {plan.start_lonlat[0]}
accuracy = 5.0                # stand-in
{aim if plan.aims_at else ""}{edges}
[run]
end_footage = {plan.run_m:.1f}            # stand-in
""".encode()


def site_crs(folder: Path) -> str:
    """Return the projected system of a site that is there, empty where there is none.

    Raises ``SiteError`` for a sketch tied to no place on earth.
    """
    path = folder / "site.toml"
    if not path.is_file():
        return ""
    try:
        crs = str(tomllib.loads(path.read_text(encoding="utf-8-sig"))["site"]["crs"])
    except (ValueError, KeyError, TypeError):
        remedy = "mend it first: lateral-map check says how"
        raise SiteError.of("its crs cannot be read", remedy, file=path.name) from None
    if plain(crs) == "local":
        remedy = "write a projected crs in it; a sketch then needs two known points"
        raise SiteError.of('crs = "local" is tied to no place', remedy, file=path.name)
    return crs


def place_meant(folder: Path, layers: Sequence[Layer], at: str, where: str) -> tuple[float, float]:
    """Return the (longitude, latitude) given as LAT,LON, by a field's value, or the site's start.

    Raises ``SiteError`` where nothing gives one.
    """
    if at:
        numbers = re.fullmatch(r"\s*(-?[\d.]+)\s*[, ]\s*(-?[\d.]+)\s*", at)
        if numbers is None or not (abs(float(numbers[1])) <= 90 and abs(float(numbers[2])) <= 180):
            raise SiteError.of(f"{at!r} is no place", "write --at LATITUDE,LONGITUDE")
        return float(numbers[2]), float(numbers[1])
    if where:
        name, _, value = where.partition("=")
        return find_place(layers, name.strip(), value.strip())
    if (folder / "site.toml").is_file():
        site = load_site(folder, pictures=False)
        lonlat = site.frame.plane_to_lonlat(site.start.easting_m, site.start.northing_m)
        if lonlat is not None:
            return float(lonlat[0]), float(lonlat[1])
    raise SiteError.of("nothing says where the house is", "give --at LAT,LON or --where")
