"""route.dxf: the line in three dimensions, the plan and its words, on plainly named layers.

Coordinates and heights are in the declared system's own unit, and the header says which. DXF text
is kept to what every reader shows: plain ASCII, on one line, with no control codes in it.
"""

from __future__ import annotations

import io
import threading
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from lateral_map.export.outward import Outward, outward
from lateral_map.export.recorded import recorded_stretches
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.words.names import LOCATE_DOUBTS
from lateral_map.words.numbers import length, plus_minus, tidy

if TYPE_CHECKING:
    from ezdxf.entities import DXFEntity
    from ezdxf.layouts import Modelspace
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.arrays import Floats
    from lateral_map.model.results import Basis, Report
    from lateral_map.model.site import LineKind, UtilityKind

# $INSUNITS of the DXF reference: 2 feet, 6 metres, 21 US survey feet, 0 not said.
_INSUNITS: Final = {"ft": 2, "m": 6, "us_ft": 21}
_APP: Final = "LATERAL_MAP"
_LONGEST_XDATA: Final = 240

# AutoCAD Color Index of each layer, the plain numbers every reader has: 1 red, 2 yellow, 3 green,
# 4 cyan, 5 blue, 6 magenta, 7 black or white, 8 and 9 grey, 30 orange.
_BASIS: Final[dict[Basis, tuple[str, int, str]]] = {
    "located": ("LATERAL LOCATED", 3, "CONTINUOUS"),
    "between locates": ("LATERAL BETWEEN LOCATES", 5, "DASHED"),
    "dead reckoned": ("LATERAL DEAD RECKONED", 30, "DOT"),
}
_LINES: Final[dict[LineKind, tuple[str, int, str]]] = {
    "curb": ("CURB", 7, "CONTINUOUS"),
    "right_of_way": ("RIGHT OF WAY", 7, "DASHDOT"),
    "property_line": ("PROPERTY LINE", 7, "DIVIDE"),
    "centreline": ("CENTRELINE", 8, "CENTER"),
}
# Hues of the APWA Uniform Color Code in the nearest index colour.
_UTILITIES: Final[dict[UtilityKind, tuple[str, int, str]]] = {
    "gas": ("UTILITY GAS", 2, "CONTINUOUS"),
    "electric": ("UTILITY ELECTRIC", 1, "CONTINUOUS"),
    "water": ("UTILITY WATER", 5, "CONTINUOUS"),
    "communication": ("UTILITY COMMUNICATION", 30, "CONTINUOUS"),
    "reclaimed": ("UTILITY RECLAIMED WATER", 6, "CONTINUOUS"),
    "sewer": ("UTILITY SEWER", 3, "CONTINUOUS"),
    "storm": ("UTILITY STORM", 3, "CONTINUOUS"),
    "steam": ("UTILITY STEAM", 2, "CONTINUOUS"),
    "oil": ("UTILITY OIL", 2, "CONTINUOUS"),
}
_OTHERS: Final[dict[str, tuple[str, int, str]]] = {
    "corridor": ("CORRIDOR 95 PERCENT", 4, "CONTINUOUS"),
    "dig": ("DIG BUFFER", 30, "DASHED"),
    "locates": ("LOCATES", 7, "CONTINUOUS"),
    "findings": ("FINDINGS", 6, "CONTINUOUS"),
    "crossings": ("CROSSINGS", 7, "CONTINUOUS"),
    "bends": ("BENDS", 7, "CONTINUOUS"),
    "building": ("BUILDING", 8, "CONTINUOUS"),
    "surface": ("SURFACE", 9, "CONTINUOUS"),
    "points": ("REFERENCE POINTS", 7, "CONTINUOUS"),
    "notes": ("NOTES", 7, "CONTINUOUS"),
}


def route_dxf(report: Report) -> bytes:
    """Return route.dxf (AutoCAD 2010 DXF, ASCII)."""
    import ezdxf
    from ezdxf import bbox

    with _fixed_metadata():
        document = ezdxf.new("R2010", setup=["linetypes"])
        frame = report.site.frame
        document.header["$INSUNITS"] = _INSUNITS.get(frame.unit_name, 0)
        document.header["$MEASUREMENT"] = 1 if frame.unit_name == "m" else 0
        document.header["$LTSCALE"] = 2.0 * 0.3048 / frame.unit_m
        document.appids.add(_APP)
        for tables in (_BASIS, _LINES, _UTILITIES, _OTHERS):
            for name, colour, linetype in tables.values():
                document.layers.add(name, color=colour, linetype=linetype)
        drawing = _Drawing(document.modelspace(), report, outward(report))
        drawing.plan()
        drawing.line()
        drawing.marks()
        drawing.notes()
        space = document.modelspace()
        # Of what is drawn; words are as wide as each machine's fonts make them.
        drawn = bbox.extents(space.query("POLYLINE LWPOLYLINE POINT"))
        space.reset_extents(drawn.extmin, drawn.extmax)
        # Left to itself ezdxf lists these in the order of a set, which changes from run to run.
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        text = io.StringIO()
        document.write(text)
    return text.getvalue().encode("ascii", "replace")


# The switch is the library's own and global: two drawings at once would turn it off too early.
_ONE_AT_A_TIME: Final = threading.Lock()


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    """Keep the present time and random ids out of the file."""
    import ezdxf

    with _ONE_AT_A_TIME:
        before = ezdxf.options.write_fixed_meta_data_for_testing
        ezdxf.options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            ezdxf.options.write_fixed_meta_data_for_testing = before


class _Drawing:
    """Adds a report to a model space."""

    def __init__(self, space: Modelspace, report: Report, out: Outward) -> None:
        self._space = space
        self._report = report
        self._out = out
        # Words a foot high on the ground read at the usual plan scales.
        self._text = 0.8 * 0.3048 / report.site.frame.unit_m

    def plan(self) -> None:
        """Add the plan's areas, lines, utilities and points."""
        plan = self._report.site.plan
        for area in plan.areas:
            layer = _OTHERS[area.kind][0]
            self._rings(area.polygon, layer, {"name": area.name, "cover": area.cover or ""})
        for line in plan.lines:
            facts = {"name": line.name, "accuracy_95": self._out.length(TWO_SIDED_95 * line.sd_m)}
            self._flat(line.vertices_m, _LINES[line.kind][0], facts)
        for utility in plan.utilities:
            facts = {
                "name": utility.name,
                "depth_to_top": "unknown"
                if utility.depth_m is None
                else self._out.length(utility.depth_m),
                "source": utility.source,
            }
            self._flat(utility.vertices_m, _UTILITIES[utility.utility][0], facts)
        for point in plan.points:
            place = (point.easting_m, point.northing_m, point.elevation_m or 0.0)
            self._mark(place, point.name, "points", {"name": point.name})

    def line(self) -> None:
        """Add the lateral as 3-D polylines, and its corridor and dig buffer."""
        self._rings(self._report.dig.polygon, _OTHERS["dig"][0], {"rule": self._report.dig.rule})
        self._rings(self._report.dig.corridor, _OTHERS["corridor"][0], {"probability": 0.95})
        for stretch in recorded_stretches(self._report):
            polyline = self._space.add_polyline3d(
                self._declared(stretch.vertices_m), dxfattribs={"layer": _BASIS[stretch.basis][0]}
            )
            _attach(polyline, stretch.record)

    def marks(self) -> None:
        """Add locates, bends, crossings and findings, each with its words."""
        report, unit = self._report, self._report.site.unit
        for located in report.locates:
            if located.easting_m is None or located.northing_m is None:
                continue
            mark = located.locate.mark
            doubt = LOCATE_DOUBTS.get(located.state, "")
            height = float(report.route.positions(located.footage_m)[0, 2])
            facts = {
                "mark": mark, "state": located.state, "footage": length(located.footage_m, unit),
            }  # fmt: skip
            place = (located.easting_m, located.northing_m, height)
            self._mark(place, f"locate {mark}{doubt}", "locates", facts)
        for bend in report.site.bends:
            words = f"bend {bend.turn_deg:g} deg, fall {bend.fall_deg:g} deg"
            self._on_line(bend.footage_m, words, "bends", {"turn": bend.turn_deg})
        for crossing in report.crossings:
            footage = plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)
            self._on_line(
                crossing.footage_m, f"{crossing.line} {footage}", "crossings",
                {"line": crossing.line, "decides": crossing.decides},
            )  # fmt: skip
        for result in report.findings:
            finding = result.finding
            stop = "STOP " if result.finding_class == "danger" else ""
            facts = {
                "number": str(result.number), "finding": finding.finding,
                "class": result.finding_class, "severity": finding.severity or "",
                "verdict": result.verdict or "", "answers": ", then ".join(result.answers),
                "to": "" if finding.to_m is None else length(finding.to_m, unit),
                "note": finding.note,
            }  # fmt: skip
            words = f"{stop}#{result.number} {finding.finding}"
            self._on_line(finding.footage_m, words, "findings", facts)

    def notes(self) -> None:
        """Add what the drawing is and is not, under its lower left corner."""
        site = self._report.site
        vertices = np.concatenate([s.vertices_m for s in recorded_stretches(self._report)])
        east, north = vertices[:, 0].min(), vertices[:, 1].min()
        heights = (
            "invert elevations"
            if self._report.stations.ground_known
            else "inverts below a level ground line"
        )
        words = [
            site.name,
            f"Coordinates: {site.frame.crs}, {site.frame.unit_name}; heights: {heights}",
            "Not a utility locate, not a land survey. Call before you dig.",
            "Method: electromagnetic observation. ASCE 38-22 quality level: not assigned,",
            "a professional's judgement. Local code and record decide who answers.",
        ]
        # What makes the line less sure than its own accuracy says.
        if self._report.route.alternatives:
            words.append("ANOTHER LINE FITS THE READINGS ABOUT AS WELL: it is not drawn here.")
        if self._report.likely_diagnoses:
            words.append("THE READINGS DO NOT AGREE. See the referral's evidence.")
        elif self._report.suspects:
            count = len(self._report.suspects)
            words.append(f"SUSPECT READINGS: {count}. See the referral's evidence.")
        (x, y, _), *_ = self._declared(np.array([[east, north, 0.0]]))
        for row, line in enumerate(words):
            self._words((x, y - (8 + 1.8 * row) * self._text, 0.0), line, "notes")

    def _declared(self, vertices_m: Floats) -> list[tuple[float, float, float]]:
        """Return vertices in the declared system, heights in its unit."""
        x, y = self._out.frame.from_plane(vertices_m[:, 0], vertices_m[:, 1])
        z = vertices_m[:, 2] / self._out.frame.unit_m
        rows = np.round(np.stack([x, y, z], axis=-1), 6) + 0.0
        return [(float(a), float(b), float(c)) for a, b, c in rows]

    def _flat(self, vertices_m: Floats, layer: str, facts: Mapping[str, Any]) -> None:
        places = self._declared(np.column_stack([vertices_m[:, :2], np.zeros(len(vertices_m))]))
        attributes = {"layer": layer}
        _attach(self._space.add_lwpolyline([p[:2] for p in places], dxfattribs=attributes), facts)

    def _rings(self, area: BaseGeometry, layer: str, facts: Mapping[str, Any]) -> None:
        for part in shapely.get_parts(area):
            for ring in (part.exterior, *part.interiors) if not part.is_empty else ():
                corners = np.asarray(ring.coords)[:-1, :2]
                places = self._declared(np.column_stack([corners, np.zeros(len(corners))]))
                line = self._space.add_lwpolyline(
                    [p[:2] for p in places], close=True, dxfattribs={"layer": layer}
                )
                _attach(line, facts)

    def _on_line(self, footage_m: float, words: str, key: str, facts: Mapping[str, Any]) -> None:
        place = self._report.route.positions([footage_m])[0]
        at = length(footage_m, self._report.site.unit)
        self._mark(tuple(place), words, key, {**facts, "footage": at})

    def _mark(self, place: Any, words: str, key: str, facts: Mapping[str, Any]) -> None:
        (x, y, z), *_ = self._declared(np.asarray([place], float))
        _attach(self._space.add_point((x, y, z), dxfattribs={"layer": _OTHERS[key][0]}), facts)
        self._words((x + 0.4 * self._text, y + 0.4 * self._text, z), words, key)

    def _words(self, place: tuple[float, float, float], words: str, key: str) -> None:
        text = self._space.add_text(
            plain_text(words), height=self._text, dxfattribs={"layer": _OTHERS[key][0]}
        )
        text.set_placement(place)


def _attach(entity: DXFEntity, facts: Mapping[str, Any]) -> None:
    """Hang attributes on an entity as extended data, one ``name=value`` a string."""
    pairs = [
        (1000, plain_text(f"{key}={value}"))
        for key, value in facts.items()
        if value is not None and value != ""
    ]
    entity.set_xdata(_APP, pairs)


def plain_text(words: str) -> str:
    """Return words as DXF text: ASCII, one line, no %% or ^ or backslash codes, not too long."""
    line = " ".join(tidy(words, _LONGEST_XDATA).replace("±", "+-").split())
    spelt = unicodedata.normalize("NFKD", line).replace("…", "...")
    plain = "".join(letter for letter in spelt if not unicodedata.combining(letter))
    ascii_only = plain.encode("ascii", "replace").decode("ascii")
    safe = ascii_only.replace("%%", "% %").replace("%%", "% %").replace("^", "'").replace("\\", "/")
    return safe[:_LONGEST_XDATA]
