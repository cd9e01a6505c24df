"""Everything the entry page shows, in plain values: tables, plan, faults, picture, words."""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from threading import Lock
from typing import Any, Final

import numpy as np

from lateral_map.draw.data import map_data
from lateral_map.draw.plan.scene import bounds_of
from lateral_map.draw.profile.painter import PageWidth, page_profile
from lateral_map.errors import Fault
from lateral_map.model.picture import PlanPicture
from lateral_map.model.results import Report
from lateral_map.reading.fields import is_no
from lateral_map.reading.plan import LINE_KINDS, PLAN_KINDS
from lateral_map.reading.words import plain
from lateral_map.units import format_length, small_unit
from lateral_map.web.forms import form_words
from lateral_map.web.parts import PLAN, SETTINGS, TABLES
from lateral_map.web.picture import picture_address
from lateral_map.web.settings import LISTS, entries_of, unit_of, value_at
from lateral_map.web.solving import Solved, setting_path, solve
from lateral_map.web.store import PACKAGE, SiteStore, UnreadableError
from lateral_map.words.entering import NO_GNSS, missing_words, picture_words
from lateral_map.words.names import LOCATE_STATES
from lateral_map.words.notices import picture_origin
from lateral_map.words.sayings import Saying, say_all

_MOST_HISTORY: Final = 200
_STATES: Final[Mapping[str, str]] = dict(LOCATE_STATES.items())
# What is left of a drawing whose line means nothing yet.
_YARD_M: Final = 15.0
_PLAN_ONLY: Final = frozenset(
    ("picture", "surfaces", "buildings", "utilities", "boundaries", "points")
)
_HOMES: Final = frozenset({SETTINGS, PLAN, PACKAGE, *TABLES})  # files the page has forms for


@dataclass
class Solutions:
    """The last solution of a site, and the last one that gave a whole picture."""

    store: SiteStore
    versions: Mapping[str, str] | None = None
    solved: Solved | None = None
    last_whole: Report | None = None

    def __post_init__(self) -> None:
        self._lock = Lock()

    def current(self) -> tuple[Solved, Mapping[str, str]]:
        """Return the solution of the folder as it is now, and the versions it was made from."""
        with self._lock:
            versions = self.store.look()
            if self.solved is None or versions != self.versions:
                self.solved, self.versions = solve(self.store.folder), versions
                if self.solved.report is not None and not self.solved.plan_only:
                    self.last_whole = self.solved.report
            return self.solved, versions


def page_state(solutions: Solutions, *, with_picture: bool = True) -> dict[str, Any]:
    """Return the whole state, the profile excepted."""
    store = solutions.store
    solved, versions = solutions.current()
    report = None if solved.plan_only else solved.report
    left_out = [
        Saying("stop", _row_named(store, fault), form_words(fault))
        for fault in solved.faults
        if fault.file in TABLES
    ]
    rest = _with_entries(store, solved, say_all(report) if report else ())
    missing = _missing(store)
    told = {field for one in missing for field in one.settings}
    picture = None
    drawn = solved.report or solutions.last_whole
    if with_picture and drawn is not None:
        picture = {
            "data": draw_map(drawn, plan_only=solved.plan_only),
            "plan_only": solved.plan_only,
            "old": solved.report is None,
        }
    undone = store.history.undone
    changes = [entry for entry in store.history.standing if entry.kind in ("add", "change")]
    return {
        "versions": dict(versions),
        "site": _site(store, solved),
        "tables": {name: _table(store, name, solved, report) for name in TABLES},
        "settings": _settings(store, solved, told),
        "plan": _plan(store, solved),
        "faults": _said(fault for fault in solved.faults if fault.file not in _HOMES),
        "says": [asdict(one) for one in (*missing, *left_out, *solved.says, *rest)],
        "picture": picture,
        "history": [
            {
                "op": entry.op,
                "words": entry.words,
                "time": entry.time,
                "undone": entry.op in undone,
                "file": entry.file,
            }
            for entry in reversed(changes[-_MOST_HISTORY:])
        ],
        "outside": [asdict(save) for save in store.outside_saves()],
    }


def _missing(store: SiteStore) -> tuple[Saying, ...]:
    """Return what the folder still wants before its line can be drawn."""
    try:
        values = store.settings()
        rows = {
            name: list(store.table(name).data_rows()) for name in ("locates.csv", "findings.csv")
        }
    except UnreadableError:
        return ()  # said of the file itself
    return missing_words(
        is_new=not store.text_or_empty(SETTINGS).strip(),
        has_start=any(values.get(f"start.{key}") for key in ("point", "x", "lat")),
        has_end=bool(values.get("run.end_footage")),
        located=bool(rows["locates.csv"]),
        seen=bool(rows["findings.csv"]),
    )


def _with_entries(store: SiteStore, solved: Solved, says: tuple[Saying, ...]) -> list[Saying]:
    """Return sayings, those of slips taken so with their places among site.toml's own entries.

    What was solved may be without entries that do not fit: of each such one it is said.
    """
    values = store.settings_or_empty()
    keys = ("slip", "kind", "of", "column")
    written: list[tuple[str, ...]] = []
    while f"applied.{len(written)}.slip" in values:
        at = f"applied.{len(written)}"
        written.append(tuple(plain(values.get(f"{at}.{key}", "")) for key in keys))
    applied = solved.report.site.applied if solved.report else ()
    places, begin = [], 0
    for one in applied:
        reading = one.slip.id
        of = (reading.kind, reading.of, reading.column) if reading else ("", "", "")
        looked = tuple(map(plain, (one.slip.slip, *of)))
        begin = next((i for i in range(begin, len(written)) if written[i] == looked), begin) + 1
        places.append(begin - 1)
    faults = {
        int(path.split(".")[1]): form_words(fault)
        for fault in solved.faults
        if fault.file == SETTINGS and (path := setting_path(fault.field)).startswith("applied.")
    }
    unfit = [
        Saying("stop", "Taken so, but it does not fit", words, applied=index)
        for index, words in faults.items()
        if index < len(written) and index not in places
    ]
    moved = [
        one if one.applied is None else replace(one, applied=places[one.applied]) for one in says
    ]
    return [*unfit, *moved]


def draw_map(report: Report, *, plan_only: bool) -> dict[str, Any]:
    """Return the data the drawing's script shows, without the profile.

    The profile takes the longer to draw: the page asks for it at once, and draws the map meanwhile.
    ``plan_only`` leaves out all that rests on the route.
    """
    data = map_data(report, widths=(), address=picture_address)
    if plan_only:
        data["layers"] = [layer for layer in data["layers"] if layer["key"] in _PLAN_ONLY]
        data["facts"], data["notices"], data["tables"] = [], [], []
        # Round the plan's points and lines, a small yard at least.
        start, plan = report.site.start, report.site.plan
        middle = np.array([[start.easting_m, start.northing_m]])
        known = [np.array([[point.easting_m, point.northing_m]]) for point in plan.points]
        known += [line.vertices_m for line in plan.lines]
        yard = known or [middle - _YARD_M, middle + _YARD_M]
        west, south, east, north = (round(one, 3) for one in bounds_of(yard, _YARD_M / 4.0))
        data["view"] = {"must": [[west, south], [east, north]], "beside": [], "along": None}
    return data


def _site(store: SiteStore, solved: Solved) -> dict[str, Any]:
    values = store.settings_or_empty()
    unit, crs = unit_of(values), values.get("site.crs", "")
    frame = solved.report.site.frame if solved.report else None
    xy = frame.unit_name if frame else unit
    words = {"us_ft": "ft", "us_in": "in"}
    return {
        "id": store.known.id,
        "name": values.get("site.name", ""),
        "folder": store.folder.name,
        "is_new": not store.text_or_empty(SETTINGS).strip(),
        "unit": unit,
        "local": plain(crs) == "local",
        "no_gnss": NO_GNSS if plain(crs) == "local" else "",
        "units": {
            "length": words.get(unit, unit),
            "size": words.get(small_unit(unit), small_unit(unit)),
            "xy": words.get(xy, xy),
        },
    }


def _table(store: SiteStore, name: str, solved: Solved, report: Report | None) -> dict[str, Any]:
    faults = [fault for fault in solved.faults if fault.file == name]
    try:
        table = store.table(name)
    except UnreadableError as error:
        return {"rows": [], "unreadable": str(error), "faults": _said(faults)}
    verdicts: dict[int | None, str] = {}
    if report is not None and name == "locates.csv":
        verdicts = {one.locate.place.row: one.state if one.checks else "" for one in report.locates}
    rows = []
    for number in table.data_rows():
        values = table.row_values(number)
        own = [fault for fault in faults if fault.row == number]
        verdict = verdicts.get(number, "")
        if own:
            verdict = "left out"
        elif is_no(values.get("use", "")):
            verdict = "set aside"
        rows.append(
            {
                "at": number,
                "text": table.row_text(number),
                "values": values,
                "faults": _by_field(own),
                "verdict": verdict,
                "said": _STATES.get(verdict, verdict),
            }
        )
    shown = {row["at"] for row in rows}
    return {"rows": rows, "faults": _said(fault for fault in faults if fault.row not in shown)}


def _row_named(store: SiteStore, fault: Fault) -> str:
    """Call a row as people do: by its mark, finding or footage; a whole table by its file."""
    try:
        table = store.table(fault.file)
    except UnreadableError:
        return fault.file
    if fault.row is None or fault.row not in table.data_rows():
        return fault.file
    values = table.row_values(fault.row)
    kind = fault.file.removesuffix(".csv").removesuffix("s").capitalize()
    name = next(
        (values[one] for one in ("mark", "finding", "footage", "name") if values.get(one)), ""
    )
    return f"{kind} {name}".strip()


def _by_field(faults: Iterable[Fault]) -> list[dict[str, str]]:
    return [{"field": fault.field, "words": form_words(fault)} for fault in faults]


def _said(faults: Iterable[Fault]) -> list[str]:
    return [str(fault) for fault in faults]


def _settings(store: SiteStore, solved: Solved, told: Collection[str]) -> dict[str, Any]:
    """Return what site.toml says and what is wrong in it, but for what is ``told`` as missing."""
    faults = [fault for fault in solved.faults if fault.file == SETTINGS]
    by_field = [
        {**said, "field": path}
        for said in _by_field(faults)
        if (path := setting_path(said["field"])) not in told
    ]
    try:
        values = store.settings()
        text = store.text(SETTINGS)
    except UnreadableError as error:
        return {"values": {}, "faults": by_field, "unreadable": str(error), "lists": {}}
    lists = {
        name: {path: value_at(text, path) for path in entries_of(text, name)} for name in LISTS
    }
    return {"values": values, "faults": by_field, "lists": lists}


def _sketched(store: SiteStore) -> dict[str, list[str]]:
    """Return the points and lines that the rows of sketch.csv name, solved or not."""
    found: dict[str, dict[str, None]] = {"points": {}, "lines": {}}
    with suppress(UnreadableError):
        table = store.table("sketch.csv")
        for row in (table.row_values(number) for number in table.data_rows()):
            what, name = plain(row.get("what", "")), row.get("name", "")
            if what in ("wall", "tape"):
                found["points"] |= dict.fromkeys(filter(None, (row.get("from"), row.get("to"))))
            elif what == "point":
                found["points"][name] = None
            elif what in LINE_KINDS:
                found["lines"][name or what.replace("_", " ")] = None
    return {kind: [name for name in names if name] for kind, names in found.items()}


def _plan(store: SiteStore, solved: Solved) -> dict[str, Any]:
    known = solved.report.site.plan if solved.report else None
    picture = known.picture if known else None
    names = {
        "points": [point.name for point in known.points] if known else [],
        "lines": [line.name for line in known.lines] if known else [],
    }
    faults = [fault for fault in solved.faults if fault.file in (PLAN, PACKAGE)]
    try:
        features = [_feature(i, text, faults) for i, text in enumerate(store.plan().features)]
        words = ""
    except UnreadableError as error:
        features, words = [], str(error)
    if not any(names.values()):  # nothing could be read: those that stand in the file
        points = [f["name"] for f in features if f["kind"] == "reference" and f["name"]]
        lines = [f["name"] for f in features if f["shape"] == "LineString" and f["name"]]
        names = {"points": points, "lines": lines}
    for kind, found in _sketched(store).items():
        names[kind] += [name for name in found if name not in names[kind]]
    if store.plan_is_package:
        features, words = [], f"The plan is {PACKAGE}: change it in a GIS; this page draws it."
    loose = faults if words else [f for f in faults if not f.field.startswith("feature ")]
    return {
        "features": features,
        "names": names,
        # What a place tapped on it is worth.
        "picture": picture
        and {
            "accuracy": format_length(picture.sd_m, unit_of(store.settings()), 2),
            "source": f"traced on {picture_origin(picture)}",
        },
        "picture_points": _picture_points(picture, store),
        "editable": not words,
        "words": words,
        "faults": _said(loose),
    }


def _picture_points(picture: PlanPicture | None, store: SiteStore) -> list[str]:
    """Return how well the points found in it lay the picture: a head, then each."""
    try:
        text, values = store.text_or_empty(SETTINGS), store.settings()
    except UnreadableError:
        return []
    unit = unit_of(values)
    offs = tuple(
        (
            one.name,
            format_length(math.hypot(*one.off_m), unit, 2),
            None if one.others_m is None else format_length(one.others_m, unit, 2),
        )
        for one in (picture.points if picture else ())
    )
    return list(picture_words(len(entries_of(text, "picture_point")), offs))


def _feature(index: int, text: str, faults: list[Fault]) -> dict[str, Any]:
    value = json.loads(text)
    feature = value if isinstance(value, dict) else {}
    properties = feature.get("properties")
    properties = properties if isinstance(properties, dict) else {}
    geometry = feature.get("geometry")
    geometry = geometry if isinstance(geometry, dict) else {}
    kind = plain(str(properties.get("kind", "")))
    label = f"feature {index + 1}"
    own = [f for f in faults if f.field == label or f.field.startswith(f"{label} ")]
    return {
        "at": index,
        "text": text,
        "kind": kind if kind in PLAN_KINDS else "",
        "name": str(properties.get("name") or ""),
        "shape": str(geometry.get("type", "")),
        "values": {
            key: "" if value is None else str(value)
            for key, value in properties.items()
            if key != "kind"
        },
        "coordinates": geometry.get("coordinates"),
        "faults": _by_field(own),
    }


def profile_state(solutions: Solutions, *, narrow: bool) -> dict[str, Any]:
    """Return the profile that belongs to the map, nothing where there is none."""
    solved, _ = solutions.current()
    report = solved.report or solutions.last_whole
    if report is None or solved.plan_only:
        return {}
    width: PageWidth = "narrow" if narrow else "wide"
    return {width: page_profile(report, width)}
