# One case a line reads as a table.
# ruff: noqa: E501
"""A good folder damaged one field at a time: each fault says where, what, and what is right.

Every damage gives exactly one fault, so that one slip does not set off a string of complaints.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from reading.good_site import CRS, LAT, LON, Folder, at, feature, good_folder, table_text

Damage = Callable[[Folder], object]


@dataclass(frozen=True)
class Case:
    """One damage and what must be said of it. ``row`` is None where the place is a whole file."""

    name: str
    damage: Damage
    file: str
    row: int | None
    field: str
    words: tuple[str, ...]


def toml(table: str, key: str, value: str | None) -> Damage:
    """Set a key of a table (or of the file, with no table), or take it away."""

    def damage(folder: Folder) -> None:
        name, _, index = table.partition("#")
        place = folder.toml if not name else folder.toml[name]
        place = place[int(index)] if index else place
        if value is None:
            del place[key]
        else:
            place[key] = value

    return damage


def boundary(**keys: str) -> Damage:
    """Add a boundary."""
    return lambda folder: folder.toml["boundary"].append(keys)


def cell(table: str, row: int, **cells: str) -> Damage:
    """Set cells of a row, counted as a spreadsheet does."""

    def damage(folder: Folder) -> None:
        getattr(folder, table)[row - 2].update(cells)

    return damage


def prop(name: str, /, **properties: object) -> Damage:
    """Set properties of a plan feature; None takes one away."""

    def damage(folder: Folder) -> None:
        of = folder.features(name)["properties"]
        for key, value in properties.items():
            if value is None:
                del of[key]
            else:
                of[key] = value

    return damage


def shape(name: str, kind: str, coordinates: object) -> Damage:
    """Draw a plan feature otherwise."""

    def damage(folder: Folder) -> None:
        folder.features(name)["geometry"] = {"type": kind, "coordinates": coordinates}

    return damage


def raw(**files: str | bytes | None) -> Damage:
    """Write whole files; two underscores stand for the point in a name."""

    def damage(folder: Folder) -> None:
        folder.raw |= {name.replace("__", "."): text for name, text in files.items()}

    return damage


def both(*damages: Damage) -> Damage:
    def damage(folder: Folder) -> None:
        for one in damages:
            one(folder)

    return damage


def drop_column(table: str, *columns: str) -> Damage:
    def damage(folder: Folder) -> None:
        for row in getattr(folder, table):
            for column in columns:
                row.pop(column, None)

    return damage


def rename_column(table: str, old: str, new: str) -> Damage:
    def damage(folder: Folder) -> None:
        rows = getattr(folder, table)
        rows[:] = [{new if key == old else key: one for key, one in row.items()} for row in rows]

    return damage


def far_round(place: list[float]) -> list[float]:
    """The place with the sign of its longitude forgotten."""
    return [-place[0], place[1]]


def add_feature(geometry: str, coordinates: object, **properties: object) -> Damage:
    def damage(folder: Folder) -> None:
        folder.plan["features"].append(feature(geometry, coordinates, **properties))

    return damage


def swap_plan(folder: Folder) -> None:
    """Write latitude before longitude throughout the plan."""

    def swap(values: list) -> list:
        if isinstance(values[0], float):
            return [values[1], values[0]]
        return [swap(one) for one in values]

    for one in folder.plan["features"]:
        one["geometry"]["coordinates"] = swap(one["geometry"]["coordinates"])


def start_at(**keys: str) -> Damage:
    """Place the start another way."""

    def damage(folder: Folder) -> None:
        del folder.toml["start"]["point"]
        folder.toml["start"].update(keys)

    return damage


def as_sketch(folder: Folder) -> None:
    """Write the plan's places as feet from the cleanout."""

    def feet(values: list) -> list:
        if isinstance(values[0], float):
            return [(values[0] - LON) * 269_000.0, (values[1] - LAT) * 364_500.0]
        return [feet(one) for one in values]

    for one in folder.plan["features"]:
        one["geometry"]["coordinates"] = feet(one["geometry"]["coordinates"])


TOML = "site.toml"
SITE_TOML_CASES = [
    Case("no site.toml", raw(site__toml=None), TOML, None, "", ("missing", "needs a site.toml")),
    Case("empty site.toml", raw(site__toml=""), TOML, None, "site", ("[site] is missing",)),
    Case(
        "syntax", raw(site__toml='format = 1\n[site]\nname = "a\n'), TOML, 3, "column 10", ("not TOML",)
    ),
    Case(
        "text without marks",
        raw(site__toml="format = 1\n[site]\nname = Elderbrook\n"),
        TOML,
        3,
        "column 8",
        ("not TOML", "quotation marks"),
    ),
    Case(
        "inch mark ends the text",
        raw(site__toml='format = 1\n[start]\ndepth = "7\'6""\n'),
        TOML,
        3,
        "column 14",
        ("not TOML", "7 ft 6 in"),
    ),
    Case(
        "a key twice", raw(site__toml="format = 1\nformat = 1\n"), TOML, 2, "column 11", ("overwrite",)
    ),
    Case(
        "not UTF-8",
        raw(site__toml=b'format = 1\n[site]\nname = "Fu\xdfweg"\n'),
        TOML,
        3,
        "",
        ("0xdf", "UTF-8"),
    ),
    Case("format 2", toml("", "format", "2"), TOML, 1, "format", ("format 2", "format = 1")),
    Case("unknown table", toml("", "transmiter", "{}"), TOML, 2, "transmiter", ("'transmitter'",)),
    Case("unknown key", toml("start", "risr", "1"), TOML, None, "start.risr", ("unknown", "'riser'")),
    Case(
        "a key in the wrong table",
        toml("transmitter", "depth", "4"),
        TOML,
        None,
        "transmitter.depth",
        ("belongs in [start]",),
    ),
    Case(
        "a key under no table",
        toml("", "tolerance_zone", '"24 in"'),
        TOML,
        2,
        "tolerance_zone",
        ("belongs in [dig]",),
    ),
    Case("no name", toml("site", "name", None), TOML, None, "site.name", ("missing", "Lot 21")),
    Case("blank name", toml("site", "name", '" "'), TOML, None, "site.name", ("blank",)),
    Case("name of 10,000 letters", toml("site", "name", f'"{"x" * 10_000}"'), TOML, None, "site.name", ("10000",)),
    Case("no crs", toml("site", "crs", None), TOML, None, "site.crs", ("missing", "EPSG:6499", "local")),
    Case(
        "geographic crs",
        toml("site", "crs", '"EPSG:4326"'),
        TOML,
        None,
        "site.crs",
        ("not projected", "state-plane or UTM"),
    ),
    Case("unknown crs", toml("site", "crs", '"EPSG:64999"'), TOML, None, "site.crs", ("PROJ knows",)),
    Case("crs as a number", toml("site", "crs", "true"), TOML, None, "site.crs", ("not a name",)),
    Case(
        "a crs of another place",
        toml("site", "crs", '"EPSG:2913"'),
        TOML,
        None,
        "start.point",
        ("outside the area", "Oregon North"),
    ),
    Case("no unit", toml("site", "unit", None), TOML, None, "site.unit", ("missing",)),
    Case("unknown unit", toml("site", "unit", '"feet"'), TOML, None, "site.unit", ("'feet'", "'ft'")),
    Case("no date", toml("site", "date", '"May 4"'), TOML, None, "site.date", ("'May 4'", "2026-05-04")),
    Case("no start", lambda f: f.toml.pop("start"), TOML, None, "start", ("[start] is missing",)),
    Case("start nowhere", toml("start", "point", None), TOML, None, "start", ("where the start is",)),
    Case(
        "start in two ways",
        both(toml("start", "x", "1.0"), toml("start", "y", "2.0")),
        TOML,
        None,
        "start.x, y",
        ("by point and by x, y",),
    ),
    Case(
        "half a position", start_at(lat="42.7"), TOML, None, "start.lon", ("lat is given without lon",)
    ),
    Case(
        "unknown start point",
        toml("start", "point", '"cleenout"'),
        TOML,
        None,
        "start.point",
        ("'cleenout'", "did you mean 'cleanout'?"),
    ),
    Case(
        "start on a line",
        toml("start", "point", '"curb"'),
        TOML,
        None,
        "start.point",
        ("'curb' is a curb", "not a reference point"),
    ),
    Case(
        "swapped start",
        start_at(lat="-84.5", lon="42.7"),
        TOML,
        None,
        "start.lat",
        ("outside the area", "look swapped"),
    ),
    Case(
        "start without its minus sign",
        start_at(lat="42.7", lon="84.5"),
        TOML,
        None,
        "start.lat",
        ("outside the area", "minus sign"),
    ),
    Case(
        "start in metres",
        start_at(x="4008000.0", y="133400.0"),
        TOML,
        None,
        "start.x",
        ("outside the area", "look like metres; this crs counts feet"),
    ),
    Case(
        "northing before easting",
        start_at(x="437600.0", y="13150000.0"),
        TOML,
        None,
        "start.x",
        ("x and y look swapped",),
    ),
    Case(
        "latitude out of range",
        start_at(lat="442.7", lon="-84.5"),
        TOML,
        None,
        "start.lat",
        ("442.7 is out of range", "-90 to 90"),
    ),
    Case(
        "depth no length",
        toml("start", "depth", '"abc"'),
        TOML,
        None,
        "start.depth",
        ("'abc' is not a length", "7 ft 6 in"),
    ),
    Case("negative depth", toml("start", "depth", "-4.0"), TOML, None, "start.depth", ("-4 ft", "down")),
    Case("depth NaN", toml("start", "depth", "nan"), TOML, None, "start.depth", ("nan", "finite")),
    Case("azimuth 400", toml("start", "azimuth", "400"), TOML, None, "start.azimuth", ("400", "clockwise")),
    Case("a bearing", toml("start", "azimuth", '"S 45 E"'), TOML, None, "start.azimuth", ("not a number",)),
    Case("accuracy of 0", toml("start", "accuracy", "0"), TOML, None, "start.accuracy", ("greater than 0",)),
    Case(
        "inches past a foot",
        toml("transmitter", "behind_lens", '"1 ft 14 in"'),
        TOML,
        None,
        "transmitter.behind_lens",
        ("'1 ft 14 in' is not a length",),
    ),
    Case("percent", toml("transmitter", "depth_accuracy", "5"), TOML, None, "transmitter.depth_accuracy", ("0.05 for 5 %",)),
    Case("one [pipe]", lambda f: f.toml.update(pipe=f.toml["pipe"][0]), TOML, None, "pipe", ("[[pipe]]",)),
    Case("unknown material", toml("pipe#0", "material", '"clya"'), TOML, None, "pipe[1].material", ("'clya'", "'clay'")),
    Case("size missing", toml("pipe#1", "size", None), TOML, None, "pipe[2].size", ("missing", "size = 6")),
    Case("size in mm", toml("pipe#0", "size", "150"), TOML, None, "pipe[1].size", ("12.5 ft", "inches")),
    Case("pipe beyond the end", toml("pipe#1", "from", "90"), TOML, None, "pipe[2].from", ("beyond the run's end, 80 ft",)),
    Case(
        "wander twice",
        both(toml("pipe#0", "wander", "0.5"), toml("pipe#0", "joint_length", "2")),
        TOML,
        None,
        "pipe[1].joint_length",
        ("wander or joint_length",),
    ),
    Case("unknown boundary", toml("boundary#1", "line", '"nort line"'), TOML, None, "boundary[2].line", ("'nort line'", "'north line'")),
    Case("a boundary twice", toml("boundary#1", "line", '"curb"'), TOML, None, "boundary[2].line", ("boundary already",)),
    Case("boundary on a utility", toml("boundary#1", "line", '"gas main"'), TOML, None, "boundary[2].line", ("is a utility",)),
    Case("nobody answers", toml("boundary#0", "outside", None), TOML, None, "boundary[1].outside", ("decides", '"city"')),
    Case("maybe", toml("boundary#0", "decides", '"maybe"'), TOML, None, "boundary[1].decides", ("'maybe'", "yes or no")),
    Case("no line and no place", toml("boundary#1", "line", None), TOML, None, "boundary[2].line", ("missing", 'line = "curb"', 'at = "main"')),
    Case("a line and a place", toml("boundary#1", "at", '"main"'), TOML, None, "boundary[2].at", ("line is given too",)),
    Case("at the mian", boundary(at='"mian"'), TOML, None, "boundary[3].at", ("'mian'", "'main'")),
    Case("the main twice", both(boundary(at='"main"'), boundary(at='"main"')), TOML, None, "boundary[4].at", ("'main' is a boundary already", "one [[boundary]] for the main")),
    Case("two cleanouts of one name", both(boundary(at='"cleanout"', footage="30"), boundary(at='"cleanout"', footage="50")), TOML, None, "boundary[4].at", ("'cleanout' is a boundary already", 'name = "')),
    Case("no such cleanout", boundary(at='"cleanout"'), TOML, None, "boundary[3].footage", ("no finding is called cleanout", "footage =")),
    Case(
        "two cleanouts found",
        both(boundary(at='"cleanout"'), cell("findings", 2, finding="cleanout"), cell("findings", 3, finding="Clean-out, buried")),
        TOML,
        None,
        "boundary[3].footage",
        ("2 cleanouts (rows 2 and 3)", "footage ="),
    ),
    Case("a cleanout beyond the end", boundary(at='"cleanout"', footage="90"), TOML, None, "boundary[3].footage", ("beyond the run's end, 80 ft",)),
    Case("a cleanout before the start", boundary(at='"cleanout"', footage="-1"), TOML, None, "boundary[3].footage", ("before the start",)),
    Case("the main's footage", boundary(at='"main"', footage="70"), TOML, None, "boundary[3].footage", ("only a cleanout", 'at = "cleanout"')),
    Case("a line's accuracy", toml("boundary#0", "accuracy", "1"), TOML, None, "boundary[1].accuracy", ("only a cleanout",)),
    Case("nobody past the main", boundary(at='"main"', inside='"owner"', decides="true"), TOML, None, "boundary[3].outside", ("the main decides", "past the main")),
    Case("a client nobody named", lambda f: f.toml.update(referral={"client": '"ownr"'}), TOML, None, "referral.client", ("'ownr'", "'owner'")),
    Case(
        "a client and no boundary",
        lambda f: (f.toml.pop("boundary"), f.locates[2].pop("past"), f.toml.update(referral={"client": '"owner"'})),
        TOML,
        None,
        "referral.client",
        ("no [[boundary]] names 'owner'", "inside and outside"),
    ),
    Case("24 ft of tolerance", toml("dig", "tolerance_zone", "24"), TOML, None, "dig.tolerance_zone", ("24 ft", "24 in")),
    Case(
        "unknown fall code", toml("site", "fall_code", '"UPCC"'), TOML, None, "site.fall_code",
        ("'UPCC'", "'UPC'"),
    ),
    Case("soil D", toml("dig", "soil", '"D"'), TOML, None, "dig.soil", ("'D'", "'stable rock'")),
    Case("no wander", toml("accuracy", "wander", "0"), TOML, None, "accuracy.wander", ("greater than 0",)),
    Case("mixed systems", toml("accuracy", "tape", '"1 ft 3 cm"'), TOML, None, "accuracy.tape", ("not a length",)),
    Case("end before the start", toml("counter", "zero", "90.0"), TOML, None, "run.end_footage", ("ends at 80 ft", "begins at 90 ft")),
    Case("end at the sewer", toml("run", "end", '"sewer"'), TOML, None, "run.end", ("'sewer'", "'main'")),
    Case("endless", toml("run", "end_footage", "1e9"), TOML, None, "run.end_footage", ("no counter reads that far",)),
    Case("a huge number", toml("run", "end_footage", "0x" + "f" * 9000), TOML, None, "run.end_footage", ("finite",)),
]  # fmt: skip

LOCATES = "locates.csv"
TABLE_CASES = [
    Case("empty locates", raw(locates__csv=""), LOCATES, None, "", ("empty", "header")),
    Case("a picture for a table", raw(locates__csv=b"\x89PNG\0\0"), LOCATES, None, "", ("not a text table",)),
    Case("no footage column", drop_column("locates", "footage"), LOCATES, 1, "footage", ("'footage' is missing",)),
    Case("misspelt footage", rename_column("locates", "footage", "fotage"), LOCATES, 1, "fotage", ("did you mean 'footage'?",)),
    Case("misspelt depth", rename_column("locates", "depth", "depht"), LOCATES, 1, "depht", ("did you mean 'depth'?",)),
    Case("depth_ft", rename_column("locates", "depth", "depth_ft"), LOCATES, 1, "depth_ft", ("did you mean 'depth'?",)),
    Case("latitude spelt out", rename_column("locates", "lat", "Latitude"), LOCATES, 1, "Latitude", ("did you mean 'lat'?",)),
    Case("a column twice", raw(locates__csv="mark,footage,depth,depth\nA,10,4,4\n"), LOCATES, 1, "depth", ("twice",)),
    Case("too many cells", raw(locates__csv="mark,footage,depth\nA,10,4,lawn\n"), LOCATES, 2, "", ("4 cells under 3 headings",)),
    Case("open quotation mark", raw(locates__csv='mark,footage,depth\nA,10,"7\'6""\nB,20,4\n'), LOCATES, 2, "", ("never closed", "7 ft 6 in")),
    Case("footage no length", cell("locates", 2, footage="ten"), LOCATES, 2, "footage", ("'ten' is not a length",)),
    Case("footage missing", cell("locates", 2, footage=""), LOCATES, 2, "footage", ("missing", "footage = 12.5")),
    Case("footage before the start", cell("locates", 2, footage="-3"), LOCATES, 2, "footage", ("-3 ft is before the start",)),
    Case("footage beyond the end", cell("locates", 5, footage="93"), LOCATES, 5, "footage", ("93 ft is beyond the run's end, 80 ft", "end_footage")),
    Case("depth no length", cell("locates", 3, depth="4.5 yd"), LOCATES, 3, "depth", ("unknown unit 'yd'",)),
    Case("negative depth", cell("locates", 3, depth="-4.6"), LOCATES, 3, "depth", ("-4.6 ft is out of range", "never negative")),
    Case("depth typed twice", cell("locates", 3, depth="4646"), LOCATES, 3, "depth", ("4646 ft is out of range", "at most 150 m (492 ft)")),
    Case("depth infinite", cell("locates", 3, depth="inf"), LOCATES, 3, "depth", ("'inf' is not a length",)),
    Case("a decimal comma", cell("locates", 3, depth="4,6"), LOCATES, 3, "depth", ("'4,6'", "decimal comma")),
    Case("negative height", cell("locates", 5, held_above="-0.5"), LOCATES, 5, "held_above", ("cannot be negative",)),
    Case("held higher than read", cell("locates", 5, held_above="6"), LOCATES, 5, "held_above", ("higher above the ground",)),
    Case("nothing but a footage", cell("locates", 3, depth="", lat="", lon="", accuracy=""), LOCATES, 3, "", ("neither a depth nor a tie",)),
    Case("latitude alone", cell("locates", 3, lon=""), LOCATES, 3, "lon", ("lat is given without lon",)),
    Case("x alone", cell("locates", 2, x="13150000"), LOCATES, 2, "y", ("x is given without y",)),
    Case("tape from nowhere", cell("locates", 2, tape1_from=""), LOCATES, 2, "tape1_from", ("tape1 is given without tape1_from",)),
    Case("tape without a length", cell("locates", 2, tape2=""), LOCATES, 2, "tape2", ("tape2_from is given without tape2",)),
    Case("unknown tape name", cell("locates", 2, tape1_from="hydrnat"), LOCATES, 2, "tape1_from", ("'hydrnat'", "did you mean 'hydrant'?")),
    Case("tape from a building", cell("locates", 2, tape1_from="house"), LOCATES, 2, "tape1_from", ("'house' is a building",)),
    Case("tape of nothing", cell("locates", 2, tape1="0"), LOCATES, 2, "tape1", ("greater than 0",)),
    Case("offset from nothing", cell("locates", 5, line=""), LOCATES, 5, "offset", ("without a line",)),
    Case("a line and no distance", cell("locates", 2, line="curb"), LOCATES, 2, "line", ("along, offset or past",)),
    Case("unknown line", cell("locates", 5, line="crub"), LOCATES, 5, "line", ("'crub'", "'curb'")),
    Case("offset and past", cell("locates", 4, offset="10"), LOCATES, 4, "past", ("not both",)),
    Case("past no boundary", cell("locates", 4, line="centreline"), LOCATES, 4, "past", ("no [[boundary]]", "offset instead")),
    Case("accuracy of 0", cell("locates", 3, accuracy="0"), LOCATES, 3, "accuracy", ("greater than 0",)),
    Case("swapped fix", cell("locates", 3, lat="-84.4998885", lon="42.7"), LOCATES, 3, "lat", ("from the start", "look swapped")),
    Case("fix without minus", cell("locates", 3, lon="84.4998885"), LOCATES, 3, "lat", ("from the start", "minus sign")),
    Case("x, y in metres", cell("locates", 2, x="3989076.0", y="133301.0"), LOCATES, 2, "x", ("miles from the start", "look like metres; this crs counts feet")),
    Case("x, y swapped", cell("locates", 2, x="437340.0", y="13087530.0"), LOCATES, 2, "x", ("miles from the start", "x and y look swapped")),
    Case("fix in another town", cell("locates", 3, lat="42.9"), LOCATES, 3, "lat", ("from the start", "check the coordinates")),
    Case("latitude in minutes", cell("locates", 3, lat="42 42.0"), LOCATES, 3, "lat", ("'42 42.0' is not a number",)),
    Case("longitude out of range", cell("locates", 3, lon="-184.5"), LOCATES, 3, "lon", ("-180 to 180",)),
    Case("a mark that is another's row", both(cell("locates", 2, mark="row 4"), cell("locates", 4, mark="")), LOCATES, 4, "mark", ("row 2 has the mark 'row 4'", "without a mark is called so")),
    Case("a mark twice", cell("locates", 4, mark="A"), LOCATES, 4, "mark", ("row 2 has the mark 'A' too",)),
    Case("perhaps used", cell("locates", 4, use="perhaps"), LOCATES, 4, "use", ("'perhaps'", "yes or no")),
    Case("unknown peak", cell("locates", 4, peak="totl field"), LOCATES, 4, "peak", ("'totl field'", "'total field'")),
    Case("height without nulls", cell("locates", 4, nulls_held_above="1"), LOCATES, 4, "nulls_held_above", ("without nulls",)),
    Case("bend of no angle", cell("bends", 2, turn=""), "bends.csv", 2, "", ("neither a turn nor a fall",)),
    Case("bend of 0", cell("bends", 2, turn="0"), "bends.csv", 2, "turn", ("turns by nothing",)),
    Case("45 left", cell("bends", 2, turn="45 left"), "bends.csv", 2, "turn", ("'45 left'", "write -45")),
    Case("270 degrees", cell("bends", 2, turn="270"), "bends.csv", 2, "turn", ("270", "at most 180")),
    Case("known how", cell("bends", 2, how="fiting"), "bends.csv", 2, "how", ("'fiting'", "'fitting'")),
    Case("bend in the riser", both(toml("start", "riser", "41.5"), cell("locates", 2, footage="42")), "bends.csv", 2, "footage", ("inside the riser, which ends at 41.5 ft",)),
    Case("bend beyond the end", cell("bends", 3, footage="80.5"), "bends.csv", 3, "footage", ("beyond the run's end",)),
    Case("two bends at once", cell("bends", 3, footage="41.0"), "bends.csv", 3, "footage", ("row 2 has a bend",)),
    Case("no finding column", drop_column("findings", "finding"), "findings.csv", 1, "finding", ("missing",)),
    Case("finding nothing", cell("findings", 2, finding=""), "findings.csv", 2, "finding", ("missing",)),
    Case("unknown severity", cell("findings", 2, severity="sever"), "findings.csv", 2, "severity", ("'sever'", "'severe'")),
    Case("stretch backwards", cell("findings", 3, to="61"), "findings.csv", 3, "to", ("ends before it begins",)),
    Case("stretch beyond the end", cell("findings", 3, to="81"), "findings.csv", 3, "to", ("81 ft is beyond",)),
    Case("finding before the start", cell("findings", 2, footage="-1"), "findings.csv", 2, "footage", ("before the start",)),
    Case("an Excel workbook", raw(locates__csv=None, locates__xlsx=b"PK"), "locates.xlsx", None, "", ("not read", "save the sheet as locates.csv")),
    Case("locate.csv", raw(locates__csv=None, locate__csv="footage\n"), "locate.csv", None, "", ("rename it locates.csv",)),
]  # fmt: skip

PLAN = "plan.geojson"
PLAN_CASES = [
    Case("empty plan", raw(plan__geojson=""), PLAN, None, "", ("empty",)),
    Case("not JSON", raw(plan__geojson='{"type":\n oops}'), PLAN, 2, "column 2", ("not JSON",)),
    Case("not a plan", raw(plan__geojson="[1, 2]"), PLAN, None, "", ("not a FeatureCollection",)),
    Case("a bare geometry", raw(plan__geojson='{"type": "Point", "coordinates": [0, 0]}'), PLAN, None, "type", ("'Point'", "FeatureCollection")),
    Case("nested out of measure", raw(plan__geojson="[" * 100_000), PLAN, None, "", ("out of all measure",)),
    Case("a shapefile", raw(plan__geojson=None, plan__shp=b"\0"), "plan.shp", None, "", ("plan.geojson or plan.gpkg",)),
    Case("no kind", prop("curb", kind=None), PLAN, None, "feature 5 'curb', kind", ("no kind", "'curb'")),
    Case("unknown kind", prop("house", kind="bulding"), PLAN, None, "feature 9 'house', kind", ("'bulding'", "'building'")),
    Case("a kind in another language of ours", prop("house", kind=7), PLAN, None, "feature 9 'house', kind", ("kind 7 is unknown",)),
    Case("misspelt property", prop("curb", accuracy=None, acuracy=1.0), PLAN, None, "feature 5 'curb', acuracy", ("'accuracy'",)),
    Case("a property misspelt throughout", lambda f: [one["properties"].update(acuracy=one["properties"].pop("accuracy", 1.0)) for one in f.plan["features"]], PLAN, None, "feature 1 'cleanout', acuracy", ("in 9 more features", "'accuracy'")),
    Case("two hydrants", add_feature("Point", at(9, 9), kind="reference", name="hydrant"), PLAN, None, "feature 11 'hydrant', name", ("feature 2 'hydrant'", "own name")),
    Case("two lines of one name", add_feature("LineString", [at(70, 50), at(70, -50)], kind="right_of_way", name="curb"), PLAN, None, "feature 11 'curb', name", ("feature 5 'curb' is a line", "own name")),
    Case("two utilities of one name", add_feature("LineString", [at(52, 50), at(52, -50)], kind="utility", utility="water", name="gas main"), PLAN, None, "feature 11 'gas main', name", ("feature 8 'gas main' is a utility", "own name")),
    Case("point drawn as a line", shape("NE corner", "LineString", [at(0, 0), at(1, 1)]), PLAN, None, "feature 3 'NE corner'", ("reference is drawn as LineString", "Point")),
    Case("line drawn as an outline", shape("north line", "Polygon", [[at(0, 40), at(9, 40), at(9, 49), at(0, 40)]]), PLAN, None, "feature 6 'north line'", ("drawn as Polygon",)),
    Case("self-crossing line", shape("curb", "LineString", [at(60, 50), at(60, -50), at(80, 0), at(40, 0)]), PLAN, None, "feature 5 'curb'", ("crosses itself",)),
    Case("closed line", shape("north line", "LineString", [at(0, 40), at(9, 40), at(9, 49), at(0, 40)]), PLAN, None, "feature 6 'north line'", ("closed", "open line")),
    Case("a line in one place", shape("curb", "LineString", [at(60, 0), at(60, 0)]), PLAN, None, "feature 5 'curb'", ("all in one place",)),
    Case("one vertex", shape("curb", "LineString", [at(60, 0)]), PLAN, None, "feature 5 'curb'", ("1 vertex", "at least 2")),
    Case("a line in pieces", shape("curb", "MultiLineString", [[at(60, 50), at(60, 10)], [at(60, -10), at(60, -50)]]), PLAN, None, "feature 5 'curb'", ("in 2 pieces",)),
    Case("no coordinates", shape("hydrant", "Point", []), PLAN, None, "feature 2 'hydrant'", ("vertex 1 is []",)),
    Case("empty coordinates", shape("curb", "LineString", []), PLAN, None, "feature 5 'curb'", ("empty",)),
    Case("coordinates as text", shape("hydrant", "Point", ["-84.5", "42.7"]), PLAN, None, "feature 2 'hydrant'", ("vertex 1", "position")),
    Case("off every map", shape("hydrant", "Point", [-84.5, -3e298]), PLAN, None, "feature 2 'hydrant'", ("e+298", "finite numbers up to 1,000,000,000")),
    Case("NaN", shape("hydrant", "Point", [float("nan"), 42.7]), PLAN, None, "feature 2 'hydrant'", ("nan", "finite")),
    Case("no geometry", lambda f: f.features("hydrant").update(geometry=None), PLAN, None, "feature 2 'hydrant'", ("no geometry",)),
    Case("a curve", shape("curb", "GeometryCollection", []), PLAN, None, "feature 5 'curb'", ("'GeometryCollection'",)),
    Case("bow-tie building", shape("house", "Polygon", [[at(-30, -10), at(0, 10), at(0, -10), at(-30, 10), at(-30, -10)]]), PLAN, None, "feature 9 'house'", ("outline is faulty", "Self-intersection")),
    Case("no utility named", prop("gas main", utility=None), PLAN, None, "feature 8 'gas main', utility", ("which utility",)),
    Case("unknown utility", prop("gas main", utility="gass"), PLAN, None, "feature 8 'gas main', utility", ("'gass'", "'gas'")),
    Case("unknown cover", prop("drive", cover="tarmac"), PLAN, None, "feature 10 'drive', cover", ("'tarmac'", "'asphalt'")),
    Case("negative accuracy", prop("curb", accuracy=-1), PLAN, None, "feature 5 'curb', accuracy", ("-1 ft", "greater than 0")),
    Case("a level without z", add_feature("Point", at(9, 9), kind="ground", name="lawn"), PLAN, None, "feature 11 'lawn', z", ("no z",)),
    Case("a nameless reference", add_feature("Point", at(9, 9), kind="reference"), PLAN, None, "feature 11, name", ("no name",)),
    Case("a feature in another town", add_feature("Point", at(900_000, 0), kind="reference", name="far"), PLAN, None, "feature 11 'far'", ("more than 10 km",)),
    Case("a vertex across the earth", shape("curb", "LineString", [at(60, 50), far_round(at(60, 0)), at(60, -50)]), PLAN, None, "feature 5 'curb'", ("more than 10 km apart",)),
    Case("a last vertex across the earth", shape("gas main", "LineString", [at(60, 50), far_round(at(60, 0))]), PLAN, None, "feature 8 'gas main'", ("more than 10 km apart",)),
    Case("a corner across the earth", shape("house", "Polygon", [[at(-30, -10), at(0, -10), far_round(at(0, 10)), at(-30, 10), at(-30, -10)]]), PLAN, None, "feature 9 'house'", ("more than 10 km apart",)),
    Case("a corner of a hole across the earth", shape("drive", "Polygon", [[at(0, 0), at(90, 0), at(90, 90), at(0, 0)], [at(40, 10), far_round(at(50, 10)), at(50, 20), at(40, 10)]]), PLAN, None, "feature 10 'drive'", ("outline is faulty",)),
    Case("an outline that crosses itself once the earth is round", shape("house", "Polygon", [[at(-12_000, 0), at(12_000, 0), at(12_000, 300), at(0, 1.5), at(-12_000, 300), at(-12_000, 0)]]), PLAN, None, "feature 9 'house'", ("outline is faulty in the plane",)),
    Case("one feature swapped", shape("curb", "LineString", [at(60, 50)[::-1], at(60, -50)[::-1]]), PLAN, None, "feature 5 'curb'", ("more than 10 km", "look swapped")),
    Case("two features swapped", both(shape("hydrant", "Point", at(40, 12)[::-1]), shape("NE corner", "Point", at(5, 10)[::-1])), PLAN, None, "feature 2 'hydrant'", ("and 1 more", "look swapped")),
    Case("grid coordinates", shape("curb", "LineString", [[13_087_580.0, 437_390.0], [13_087_580.0, 437_290.0]]), PLAN, None, "feature 5 'curb'", ("more than 10 km", "these are x, y of EPSG:6499", "RFC 7946")),
    Case("grid coordinates at the start", shape("cleanout", "Point", [13_087_520.0, 437_340.0]), "site.toml", None, "start.point", ("no place on earth", "these are x, y of EPSG:6499")),
    Case("declared in another crs", lambda f: f.plan.update(crs={"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::6499"}}), PLAN, None, "crs", ("EPSG::6499", "RFC 7946")),
    Case("the whole plan swapped", swap_plan, "site.toml", None, "start.point", ("outside the area", "look swapped")),
    Case("two plans", raw(plan__gpkg=b"x"), "plan.gpkg", None, "", ("plan.geojson is there too",)),
    Case("no geopackage", raw(plan__geojson=None, plan__gpkg=b"not a database"), "plan.gpkg", None, "", ("cannot be read as a GeoPackage (not recognized as being in a supported file format)",)),
]  # fmt: skip
CASES = SITE_TOML_CASES + TABLE_CASES + PLAN_CASES


def test_the_good_folder_is_good(tmp_path: Path) -> None:
    assert good_folder().faults(tmp_path) == ()


def test_there_are_enough_broken_sites() -> None:
    assert len({case.name + case.file for case in CASES}) == len(CASES) >= 60


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.file} {case.name}")
def test_one_damage_one_fault(case: Case, tmp_path: Path) -> None:
    folder = good_folder()
    case.damage(folder)
    faults = folder.faults(tmp_path)
    assert len(faults) == 1 or case.name == "empty site.toml", [str(fault) for fault in faults]
    fault = faults[0]
    assert (fault.file, fault.field) == (case.file, case.field), str(fault)
    if case.row is not None:
        assert fault.row == case.row
    said = f"{fault.problem}; {fault.remedy}"
    for words in case.words:
        assert words in said, str(fault)
    assert fault.remedy
    assert len(str(fault)) < 500


def test_a_toml_fault_names_its_line(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["start"]["depth"] = '"abc"'
    folder.toml["pipe"][1]["material"] = '"brick"'
    lines = folder.toml_text().split("\n")
    rows = [lines.index('depth = "abc"') + 1, lines.index('material = "brick"') + 1]
    faults = folder.faults(tmp_path)
    assert [fault.row for fault in faults] == rows
    assert str(faults[0]).startswith(f"site.toml line {rows[0]}, start.depth: ")


def test_a_sketch_has_no_latitude(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["site"]["crs"] = '"local"'
    as_sketch(folder)
    (fault,) = folder.faults(tmp_path)
    assert (fault.file, fault.row, fault.field) == ("locates.csv", 3, "lat")
    assert "no place on earth" in fault.problem


def test_a_start_on_the_line_has_no_past(tmp_path: Path) -> None:
    folder = good_folder()
    folder.features("cleanout")["geometry"]["coordinates"] = at(60, 0)
    (fault,) = folder.faults(tmp_path)
    assert (fault.file, fault.row, fault.field) == ("locates.csv", 4, "past")
    assert "neither side is past it" in fault.problem


def test_no_plan_names_nothing(tmp_path: Path) -> None:
    folder = good_folder()
    folder.raw["plan.geojson"] = None
    faults = folder.faults(tmp_path)
    assert {(fault.file, fault.field) for fault in faults} == {
        ("site.toml", "start.point"),
        ("site.toml", "boundary[1].line"),
        ("site.toml", "boundary[2].line"),
        ("locates.csv", "tape1_from"),
        ("locates.csv", "tape2_from"),
        ("locates.csv", "line"),
    }
    assert all("there is no plan.geojson or plan.gpkg" in fault.problem for fault in faults)


def test_several_damages_are_all_reported(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["site"]["unit"] = '"foot"'
    folder.toml["start"]["risr"] = "2"
    folder.toml["boundary"][1]["line"] = '"west line"'
    folder.locates[0] |= {"depth": "deep", "tape1_from": "hydrnt"}
    folder.locates[2]["footage"] = "500"
    folder.bends[0]["how"] = "felt"
    folder.findings[1]["to"] = "50"
    folder.features("drive")["properties"]["cover"] = "moss"
    folder.features("house")["properties"]["kind"] = "hous"
    places = {(fault.file, fault.row, fault.field) for fault in folder.faults(tmp_path)}
    lines = folder.toml_text().split("\n")
    assert places == {
        ("site.toml", lines.index('unit = "foot"') + 1, "site.unit"),
        ("site.toml", lines.index("risr = 2") + 1, "start.risr"),
        ("site.toml", lines.index('line = "west line"') + 1, "boundary[2].line"),
        ("locates.csv", 2, "depth"),
        ("locates.csv", 2, "tape1_from"),
        ("locates.csv", 4, "footage"),
        ("bends.csv", 2, "how"),
        ("findings.csv", 3, "to"),
        ("plan.geojson", None, "feature 10 'drive', cover"),
        ("plan.geojson", None, "feature 9 'house', kind"),
    }


def test_faults_of_one_row_are_all_reported(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates[0] |= {"footage": "x", "depth": "y", "tape1": "z", "tape2_from": "", "use": "w"}
    fields = {fault.field for fault in folder.faults(tmp_path) if fault.row == 2}
    assert fields == {"footage", "depth", "tape1", "tape2_from", "use"}


def test_a_file_of_nothing_but_faults_is_cut_short(tmp_path: Path) -> None:
    folder = good_folder()
    folder.locates = [{"footage": f"x{i}", "depth": "1"} for i in range(450)]
    faults = folder.faults(tmp_path)
    assert len(faults) == 201
    assert faults[-1].problem == "250 more faults"


@pytest.mark.parametrize(("rows", "told"), [(8, 8), (9, 6), (450, 6)])
def test_what_is_wrong_alike_in_many_places_is_counted(
    tmp_path: Path, rows: int, told: int
) -> None:
    folder = good_folder()
    folder.locates = [{"footage": "x", "depth": "1"} for _ in range(rows)]
    folder.findings[0]["footage"] = "x"
    faults = folder.faults(tmp_path)
    alike = [one for one in faults if one.file == "locates.csv"]
    assert len(alike) == told
    assert [one.row for one in alike[:5]] == [2, 3, 4, 5, 6]
    if told < rows:
        assert alike[-1].problem.startswith(f"{rows - 5} more places like this: 'x' is not")
    assert any(one.file == "findings.csv" for one in faults)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    from lateral_map.errors import SiteError
    from lateral_map.reading.folder import load_site

    for path in (tmp_path / "nowhere", "\0", "x" * 5000):
        with pytest.raises(SiteError, match="no site folder"):
            load_site(path)


def test_a_file_nobody_may_read(tmp_path: Path) -> None:
    folder = good_folder().write(tmp_path)
    (folder / "locates.csv").unlink()
    (folder / "locates.csv").symlink_to("/proc/self/mem")
    from lateral_map.errors import SiteError
    from lateral_map.reading.folder import load_site

    with pytest.raises(SiteError) as caught:
        load_site(folder)
    assert caught.value.faults[0].file == "locates.csv"
    assert "cannot be read" in caught.value.faults[0].problem


def test_the_good_folder_uses_what_it_says() -> None:
    assert CRS in good_folder().toml_text()
    assert table_text([{"a": "1,2"}]) == 'a\n"1,2"\n'
