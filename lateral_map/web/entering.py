"""What the page can do to a site, apart from how it is asked: save, look, read, export."""

from __future__ import annotations

import base64
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from threading import Lock
from typing import Any, Final

from lateral_map.errors import Fault, SiteError
from lateral_map.export.registry import PRODUCTS, make_products
from lateral_map.reading.gnss import RADIUS_SHARES, match_marks, read_points, sd_of_radius
from lateral_map.reading.plan import PLAN_KINDS
from lateral_map.units import (
    METRES_PER,
    format_length,
    format_small,
    from_metres,
    parse_length,
    small_unit,
)
from lateral_map.web.asked import AskedWrong, FeatureAsked, clean_typed
from lateral_map.web.forms import setting_title, title_of
from lateral_map.web.parts import SETTINGS
from lateral_map.web.picture import (
    picture_address,
    picture_to_point_at,
    take_photograph,
    take_picture,
)
from lateral_map.web.places import Ground, geometry
from lateral_map.web.settings import EntrySeen, unit_of
from lateral_map.web.state import Solutions, page_state, profile_state
from lateral_map.web.store import FeatureEdit, RowEdit, SettingEdit, SiteStore
from lateral_map.words.entering import accuracy_words, position_taken_words

_TYPES: Final = {
    "html": "text/html",
    "svg": "image/svg+xml",
    "png": "image/png",
    "json": "application/json",
    "geojson": "application/geo+json",
    "csv": "text/csv",
    "pdf": "application/pdf",
    "zip": "application/zip",
}
_DEGREES: Final = 8  # decimals: a millimetre
_ROW_WORDS: Final = {
    "locates.csv": "locate", "bends.csv": "bend", "findings.csv": "finding",
    "sketch.csv": "sketch",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Made:
    """A finished file: its name, its type, its bytes."""

    file: str
    media_type: str
    content: bytes


class Entering:
    """One site being entered."""

    def __init__(self, store: SiteStore) -> None:
        self.store = store
        self.solutions = Solutions(store)
        self._drawing = Lock()
        self._drawn: dict[str, tuple[object, bytes]] = {}

    def state_text(self) -> bytes:
        """Return the state as JSON: of many who ask at once, one has it made for all."""
        return self._made_once("state", self.state)

    def profile_text(self, *, narrow: bool) -> bytes:
        """Return the profile as JSON, made once as the state is."""
        what = "narrow" if narrow else "wide"
        return self._made_once(what, lambda: self.profile(narrow=narrow))

    def _made_once(self, what: str, make: Callable[[], dict[str, Any]]) -> bytes:
        # Whoever waits here finds what was made meanwhile, of a folder that has their save too.
        with self._drawing:
            key = (self.store.look(), len(self.store.history.entries))
            known = self._drawn.get(what)
            if known is None or known[0] != key:
                text = json.dumps(make(), ensure_ascii=False, separators=(",", ":")).encode()
                known = self._drawn[what] = (key, text)
            return known[1]

    def state(self) -> dict[str, Any]:
        """Return everything the page shows but the profile."""
        return page_state(self.solutions)

    def profile(self, *, narrow: bool) -> dict[str, Any]:
        """Return the profile, for a telephone's width where ``narrow``."""
        return profile_state(self.solutions, narrow=narrow)

    def words(self) -> dict[str, Any]:
        """Return everything the page shows but the picture."""
        return page_state(self.solutions, with_picture=False)

    def versions(self) -> dict[str, Any]:
        """Return the files' versions, and whose they are."""
        return {"id": self.store.known.id, "versions": self.store.look()}

    # ── changing ─────────────────────────────────────────────────────────────────────────────

    def save_rows(
        self, op: str, name: str, edits: Sequence[RowEdit], instead: str | None = None
    ) -> None:
        """Add or change rows, and say in the history what was done."""
        words = [self._row_words(name, edit) for edit in edits[:3]]
        more = f" and {len(edits) - 3} more" if len(edits) > 3 else ""
        self.store.save_rows(op, name, edits, "; ".join(words) + more, instead or "")

    def _row_words(self, name: str, edit: RowEdit) -> str:
        table = self.store.table(name)
        before = table.values_of(edit.base) if edit.base is not None else {}
        now = {**before, **edit.values}
        mark = now.get("mark") or now.get("finding") or ""
        footage = f" at {now['footage']}" if now.get("footage") else ""
        who = " ".join(filter(None, (_ROW_WORDS[name], mark))) + footage
        if edit.base is None:
            return f"{who} added"
        changed = {k: v for k, v in edit.values.items() if before.get(k, "") != v}
        if set(changed) == {"use"}:
            return f"{who} set aside" if changed["use"] == "no" else f"{who} used again"
        what = ", ".join(
            f"{title_of(name, k).lower()} {before.get(k) or '–'} → {v or '–'}"
            for k, v in changed.items()
        )
        return f"{who}: {what[:300]}"

    def save_settings(
        self, op: str, edits: Sequence[SettingEdit], entry: EntrySeen | None = None
    ) -> None:
        """Change settings; a site.toml that is not there yet is begun."""
        if not self.store.text_or_empty(SETTINGS).strip():
            edits = [SettingEdit("format", "1", None), *edits]
        told = [e for e in edits if e.path != "format"][:4]
        what = ", ".join(
            f"{setting_title(edit.path).lower()}: {edit.value or '–'}" for edit in told
        )
        taken = [e for e in edits if e.path.startswith("applied.")]
        if taken:
            done = "checked" if taken[0].path.endswith(".checked") else "taken so"
            what = f"a diagnosis {done}" if taken[0].value else "a diagnosis taken back"
        self.store.save_settings(op, edits, what[:300], entry)

    def save_feature(self, given: FeatureAsked) -> None:
        """Add, change or take out a plan feature."""
        if given.take_out:
            name = clean_typed(given.name)[:80]
            edit = FeatureEdit(None, None, given.base, given.at)
            self.store.save_feature(given.op, edit, f"{name} taken out")
            return
        if not given.kind:
            raise AskedWrong("kind is none the page has a form for")
        kind = PLAN_KINDS[given.kind]
        properties = {"kind": given.kind, **given.typed_properties()}
        shape = None
        base = given.base
        if given.anew:
            seen = _feature_seen(given.base or "")
            properties = {**seen["properties"], **properties}
            shape, base = seen["geometry"], None
        if given.places is not None or given.base is None:
            solved, _ = self.solutions.current()
            values, report = self.store.settings(), solved.report or self.solutions.last_whole
            points = report.site.plan.points if report else ()
            ground = Ground(
                crs=values.get("site.crs", ""),
                unit=unit_of(values),
                frame=report.site.frame if report else None,
                points_m={point.name: (point.easting_m, point.northing_m) for point in points},
            )
            shape = geometry(kind.shape, given.places or [], ground)
        words = f"{kind.title.lower()} {properties.get('name') or ''}".strip()
        done = "added" if base is None else "changed"
        edit = FeatureEdit(properties, shape, base, given.at)
        self.store.save_feature(given.op, edit, f"{words} {done}", given.instead or "")

    # ── reading ──────────────────────────────────────────────────────────────────────────────

    def read_length(self, text: str, *, small: bool) -> dict[str, Any]:
        """Return a typed length said back, or what is wrong with it."""
        unit = unit_of(self.store.settings())
        try:
            value_m = parse_length(text, small_unit(unit) if small else unit)
        except SiteError as error:
            return {"fault": error.faults[0].words}
        words = format_small(value_m, unit) if small else format_length(value_m, unit, 2)
        return {"words": words}

    def position_values(self, lat: str, lon: str, radius: str, meaning: str) -> dict[str, str]:
        """Return lat, lon and accuracy as a locate's row keeps them, from what a device states."""
        if meaning != "sd" and meaning not in RADIUS_SHARES:
            raise AskedWrong("meaning is unknown")
        try:
            degrees = float(lat), float(lon)
            radius_m = float(radius)
        except ValueError:
            raise AskedWrong("a position is two numbers and a radius") from None
        if not (abs(degrees[0]) <= 90.0 and abs(degrees[1]) <= 180.0 and 0.0 < radius_m < 1e6):
            raise SiteError.of("the device gives no position that can be used", "try again")
        sd_m = sd_of_radius(radius_m, meaning)
        return {
            "lat": f"{degrees[0]:.{_DEGREES}f}",
            "lon": f"{degrees[1]:.{_DEGREES}f}",
            "accuracy": f"{sd_m:.2f} m",
            "words": position_taken_words(radius_m, sd_m, meaning),
        }

    def match_points(self, file: str, data: bytes, unit: str, meaning: str) -> dict[str, Any]:
        """Return a file's points, each with the mark of the same name and its row's values."""
        if unit not in METRES_PER or (meaning != "sd" and meaning not in RADIUS_SHARES):
            raise AskedWrong("unit or meaning is unknown")
        points = read_points(file, data, unit)
        table = self.store.table("locates.csv")
        marks = [m for n in table.data_rows() if (m := table.row_values(n).get("mark"))]
        own_unit = unit_of(self.store.settings())
        matched = [
            (
                one,
                None
                if one.point.accuracy_m is None
                else sd_of_radius(one.point.accuracy_m, meaning),
            )
            for one in match_marks(points, marks)
        ]
        return {
            "points": [
                {
                    "words": accuracy_words(sd_m, own_unit),
                    "name": one.point.name,
                    "mark": one.mark,
                    "values": {
                        "lat": f"{one.point.lat_deg:.{_DEGREES}f}",
                        "lon": f"{one.point.lon_deg:.{_DEGREES}f}",
                        "accuracy": "" if sd_m is None else f"{sd_m:.3f} m",
                    },
                }
                for one, sd_m in matched
            ]
        }

    # ── the picture under the plan ───────────────────────────────────────────────────────────

    def picture(self, address: str) -> bytes:
        """Return the picture as it lies under the plan; raises ``KeyError`` where it is another."""
        solved, _ = self.solutions.current()
        for report in (solved.report, self.solutions.last_whole):
            found = report.site.plan.picture if report else None
            if found is not None and picture_address(found) == address:
                return found.jpeg
        raise KeyError(address)

    def pointed_at(self) -> dict[str, Any]:
        """Return the picture that site.toml names, to find points in, as an address, its size."""
        named = self.store.settings().get("picture.file", "")
        found = picture_to_point_at(self.store.folder, named)
        jpeg = base64.b64encode(found.pop("jpeg")).decode()
        return found | {"src": f"data:image/jpeg;base64,{jpeg}"}

    def take_picture(self, name: str, data: bytes) -> dict[str, str]:
        """Put a picture into the site's folder and return its name there."""
        return {"file": take_picture(self.store.folder, name, data)}

    def take_photograph(self, footage: str, data: bytes) -> dict[str, str]:
        """Put a photograph among the site's, by the footage as typed; return its name there."""
        settings = self.store.settings()
        unit = unit_of(settings)
        named = settings.get("referral.photographs", "")
        at = from_metres(parse_length(footage, unit), unit)
        return {"file": take_photograph(self.store.folder, named, at, data)}

    def make(self, name: str) -> Made:
        """Make one product of the site as it is now; several files come as one zip.

        Raises ``KeyError``, ``SiteError``, ``ExportError``.
        """
        solved, _ = self.solutions.current()
        if solved.report is None or solved.plan_only or solved.faults:
            raise SiteError(
                solved.faults or Fault("there is no line to draw yet", "enter the start first")
            )
        contents = make_products(solved.report, [PRODUCTS[name].name])
        if len(contents) == 1:
            ((file, content),) = contents.items()
            ending = file.rpartition(".")[2]
            return Made(file, _TYPES.get(ending, "application/octet-stream"), content)
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as folder:
            for file, content in contents.items():
                folder.writestr(file, content)
        return Made(f"{name}.zip", _TYPES["zip"], packed.getvalue())


def _feature_seen(text: str) -> dict[str, Any]:
    """Return a plan feature as the page read it; raises ``AskedWrong`` where it is none."""
    with suppress(ValueError, TypeError, KeyError):
        seen = json.loads(text)
        return {"properties": dict(seen["properties"] or {}), "geometry": dict(seen["geometry"])}
    raise AskedWrong("base is no part of a plan")
