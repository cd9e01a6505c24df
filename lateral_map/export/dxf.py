"""route.dxf: the line in three dimensions, the plan and its words, on plainly named layers.

Coordinates and heights are in the declared system's own unit, and the header says which. DXF text
is kept to what every reader shows: plain ASCII, on one line, with no control codes in it.
"""

from __future__ import annotations

import io
import re
import threading
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from configparser import ConfigParser
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import shapely

from lateral_map.export.dxf_lettering import Lettered, letter
from lateral_map.export.features import (
    LayerName,
    Record,
    flat_record,
    mark_name,
    plan_layers,
    route_layers,
)
from lateral_map.export.loading import load_without
from lateral_map.export.outward import Outward, outward
from lateral_map.export.recorded import recorded_stretches
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.words.names import answering_words
from lateral_map.words.numbers import plus_minus, tidy

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
_RUN_ON: Final = 128  # of a polyline's flags: its linetype goes on round its corners

# AutoCAD Color Index of each layer; every one that is a line's own differs from all others, and
# has a contrast of 3 with white and with black: 1 red, 6 magenta, 8 grey, then tens round the
# circle of hues, darker from even digit to even digit. 7 is black on white and white on black, as
# all words are.
_BASIS: Final[dict[Basis, tuple[str, int, str]]] = {
    "located": ("LATERAL LOCATED", 94, "CONTINUOUS"),
    "between locates": ("LATERAL BETWEEN LOCATES", 150, "DASHED"),
    "dead reckoned": ("LATERAL DEAD RECKONED", 20, "DOT"),
}
_LINES: Final[dict[LineKind, tuple[str, int, str]]] = {
    "curb": ("CURB", 7, "CONTINUOUS"),
    "right_of_way": ("RIGHT OF WAY", 7, "DASHDOT"),
    "property_line": ("PROPERTY LINE", 7, "DIVIDE"),
    "centreline": ("CENTRELINE", 8, "CENTER"),
}
# Hues of the APWA Uniform Color Code in the nearest index colour that reads on both; its yellow is
# lost on white, its blue on black.
_UTILITIES: Final[dict[UtilityKind, tuple[str, int, str]]] = {
    "gas": ("UTILITY GAS", 54, "CONTINUOUS"),
    "electric": ("UTILITY ELECTRIC", 1, "CONTINUOUS"),
    "water": ("UTILITY WATER", 160, "CONTINUOUS"),
    "communication": ("UTILITY COMMUNICATION", 32, "CONTINUOUS"),
    "reclaimed": ("UTILITY RECLAIMED WATER", 6, "CONTINUOUS"),
    "sewer": ("UTILITY SEWER", 112, "CONTINUOUS"),
    "storm": ("UTILITY STORM", 82, "CONTINUOUS"),
    "steam": ("UTILITY STEAM", 64, "CONTINUOUS"),
    "oil": ("UTILITY OIL", 44, "CONTINUOUS"),
}
_OTHERS: Final[dict[str, tuple[str, int, str]]] = {
    "corridor": ("CORRIDOR 95 PERCENT", 132, "CONTINUOUS"),
    "dig": ("DIG BUFFER", 42, "DASHED"),
    "locates": ("LOCATES", 7, "CONTINUOUS"),
    "findings": ("FINDINGS", 220, "CONTINUOUS"),
    "crossings": ("CROSSINGS", 7, "CONTINUOUS"),
    "bends": ("BENDS", 7, "CONTINUOUS"),
    "building": ("BUILDING", 8, "CONTINUOUS"),
    "surface": ("SURFACE", 8, "CONTINUOUS"),
    "points": ("REFERENCE POINTS", 7, "CONTINUOUS"),
    "answers": ("WHO ANSWERS", 8, "DASHED"),
    "notes": ("NOTES", 7, "CONTINUOUS"),
}


# The dig review's layers by its sorts of feature; a cut's by its walls.
_DIG: Final[dict[str, tuple[str, int, str]]] = {
    "white line": ("DIG WHITE LINE", 7, "CONTINUOUS"),
    "cut shored": ("DIG CUT SHORED", 230, "CONTINUOUS"),
    "cut sloped": ("DIG CUT SLOPED", 142, "DASHED"),
    "cut benched": ("DIG CUT BENCHED", 212, "DASHED"),
    "cut box and slope": ("DIG CUT BOX AND SLOPE", 82, "DASHED"),
    "spoil set-back": ("DIG SPOIL SET-BACK", 8, "DOT"),
    "tolerance zone": ("DIG TOLERANCE ZONE", 240, "DASHED"),
    "utility crossing": ("DIG UTILITY CROSSING", 200, "CONTINUOUS"),
    "danger": ("DIG DANGER", 10, "CONTINUOUS"),
    "key point": ("DIG KEY POINT", 7, "CONTINUOUS"),
}


def route_dxf(report: Report) -> bytes:
    """Return route.dxf (AutoCAD 2010 DXF, ASCII)."""
    return _document(report, ())


def dig_dxf(report: Report, features: Sequence[tuple[BaseGeometry, Record]]) -> bytes:
    """Return dig.dxf: the drawing of route.dxf and a dig review's features, each on its layer."""
    return _document(report, features)


def _document(report: Report, features: Sequence[tuple[BaseGeometry, Record]]) -> bytes:
    # It would take settings from the folder the command was given in.
    load_without("ezdxf", ConfigParser, "read", lambda *_, **__: [])
    import ezdxf
    from ezdxf import bbox

    with _fixed_metadata():
        document = ezdxf.new("R2010", setup=["linetypes"])
        frame = report.site.frame
        document.header["$INSUNITS"] = _INSUNITS.get(frame.unit_name, 0)
        document.header["$MEASUREMENT"] = 1 if frame.unit_name == "m" else 0
        document.header["$LTSCALE"] = 2.0 * 0.3048 / frame.unit_m
        document.appids.add(_APP)
        # A point is drawn as a circle with a cross, as high as a letter: one pixel is not seen.
        document.header["$PDMODE"] = 34
        document.header["$PDSIZE"] = 0.8 * 0.3048 / frame.unit_m
        for tables in (_BASIS, _LINES, _UTILITIES, _OTHERS, _DIG if features else {}):
            for name, colour, linetype in tables.values():
                document.layers.add(name, color=colour, linetype=linetype)
        drawing = _Drawing(document.modelspace(), report, outward(report))
        drawing.plan()
        drawing.line()
        drawing.marks()
        drawing.dig(features)
        drawing.letter()
        _georeference(document.modelspace(), report)
        space = document.modelspace()
        # Of what is drawn; words are as wide as each machine's fonts make them.
        drawn = bbox.extents(space.query("POLYLINE LWPOLYLINE POINT"))
        space.reset_extents(drawn.extmin, drawn.extmax)
        # Some open to the limits: an empty sheet of paper at the system's far origin otherwise.
        space.reset_limits(drawn.extmin.vec2, drawn.extmax.vec2)
        # Where a viewer looks first: left to itself it would show the system's far origin.
        high = max(drawn.size.y, 0.75 * drawn.size.x)  # in a window of 4 by 3 too
        document.set_modelspace_vport(1.1 * high, drawn.center.vec2)
        # Left to itself ezdxf lists these in the order of a set, which changes from run to run.
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        text = io.StringIO()
        document.write(text)
    return text.getvalue().encode("ascii", "replace")


def _georeference(space: Modelspace, report: Report) -> None:
    """Say in the drawing itself which system its coordinates are in, where EPSG numbers it."""
    code = re.fullmatch(r"EPSG:(\d+)", report.site.frame.crs)
    if code is None:
        return
    start = report.site.start
    x, y = report.site.frame.from_plane(start.easting_m, start.northing_m)
    place = (round(float(x), 6), round(float(y), 6), 0.0)
    data = space.new_geodata()
    data.coordinate_system_definition = (
        '<?xml version="1.0" encoding="UTF-16" standalone="no" ?>'
        '<Dictionary version="1.0" xmlns="http://www.osgeo.org/mapguide/coordinatesystem">'
        f'<Alias id="{code[1]}" type="CoordinateSystem"><ObjectId>EPSG={code[1]}</ObjectId>'
        "<Namespace>EPSG Code</Namespace></Alias>"
        "<Axis><CoordinateSystemAxis><AxisOrder>1</AxisOrder><AxisName>Easting</AxisName>"
        "<AxisAbbreviation>E</AxisAbbreviation></CoordinateSystemAxis></Axis></Dictionary>"
    )
    data.dxf.design_point = place
    data.dxf.reference_point = place
    data.dxf.coordinate_type = 2  # projected
    data.dxf.horizontal_unit_scale = data.dxf.vertical_unit_scale = report.site.frame.unit_m
    units = _INSUNITS.get(report.site.frame.unit_name, 0)
    data.dxf.horizontal_units = data.dxf.vertical_units = units


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
        self._words: list[Lettered] = []
        self._drawn: list[Floats] = []
        self._lateral: list[Floats] = []

    def plan(self) -> None:
        """Add the plan's areas, lines, utilities and points."""
        plan = self._report.site.plan
        facts: dict[str, object]
        for area in plan.areas:
            layer = _OTHERS[area.kind][0]
            facts = {
                "name": area.name,
                "cover": area.cover or "",
                "source": area.source,
            }
            self._rings(area.polygon, layer, facts)
        for line in plan.lines:
            known = self._out.length(TWO_SIDED_95 * line.sd_m)
            facts = {"name": line.name, "accuracy_95": known, "source": line.source}
            self._flat(line.vertices_m, _LINES[line.kind][0], facts)
            self._name(line.name, _LINES[line.kind][0], self._drawn[-1])
        for utility in plan.utilities:
            facts = {
                "name": utility.name,
                "depth_to_top": "unknown"
                if utility.depth_m is None
                else self._out.length(utility.depth_m),
                "source": utility.source,
            }
            layer = _UTILITIES[utility.utility][0]
            self._flat(utility.vertices_m, layer, facts)
            self._name(utility.name, layer, self._drawn[-1])
        for point in plan.points:
            place = (point.easting_m, point.northing_m, point.elevation_m or 0.0)
            facts = {"name": point.name, "source": point.source}
            self._mark(place, point.name, "points", facts)

    def line(self) -> None:
        """Add the lateral as 3-D polylines, and its corridor and dig buffer."""
        self._rings(self._report.dig.polygon, _OTHERS["dig"][0], {"rule": self._report.dig.rule})
        self._rings(self._report.dig.corridor, _OTHERS["corridor"][0], {"probability": 0.95})
        for stretch in recorded_stretches(self._report):
            places = self._declared(stretch.vertices_m)
            self._lateral.append(np.array([place[:2] for place in places]))
            self._drawn.append(self._lateral[-1])
            polyline = self._space.add_polyline3d(
                places, dxfattribs={"layer": _BASIS[stretch.basis][0]}
            )
            _attach(polyline, stretch.record)

    def marks(self) -> None:
        """Add locates, bends, crossings and findings, with the facts every file gives of them."""
        layers = {layer.name: layer for layer in route_layers(self._report)}
        names: tuple[LayerName, ...] = ("locates", "crossings", "findings")
        for name in names:
            for at, feature in enumerate(layers[name].features):
                place = feature.geometry.coords[0]
                words = mark_name(name, feature.record)
                if name == "crossings":
                    # With the invert's height, and where.
                    met = self._report.crossings[at]
                    place = tuple(self._report.route.positions([met.footage_m])[0])
                    footage = plus_minus(met.footage_m, met.sd_footage_m, self._out.unit)
                    words = f"{met.line} {footage}"
                self._mark(place, words, name, flat_record(feature.record))
        for bend in self._report.site.bends:
            words = f"bend {bend.turn_deg:g} deg, fall {bend.fall_deg:g} deg"
            place = tuple(self._report.route.positions([bend.footage_m])[0])
            facts = {"turn": bend.turn_deg, "footage": self._out.length(bend.footage_m)}
            self._mark(place, words, "bends", facts)
        for feature in plan_layers(self._report)[-1].features:
            middle = np.asarray(feature.geometry.interpolate(0.5, normalized=True).coords[0])
            ((x, y, z),) = self._declared(middle[None])
            words = answering_words(feature.record["may_answer"])
            self._name(words, _OTHERS["answers"][0], np.array([x, y]), z)

    def dig(self, features: Sequence[tuple[BaseGeometry, Record]]) -> None:
        """Add a dig review's features, each on the layer of its sort."""
        for shape, record in features:
            sort = (
                f"{record['layer']} {record['walls']}"
                if record["layer"] == "cut"
                else record["layer"]
            )
            layer, facts = _DIG[sort][0], flat_record(record)
            if shape.geom_type == "Point":
                words = str(record.get("number") or record["name"])
                if sort == "danger":
                    words = f"STOP #{record['number']} {record['finding']}"
                place = (*shape.coords[0][:2], 0.0)
                ((x, y, z),) = self._declared(np.asarray([place], float))
                point = self._space.add_point((x, y, z), dxfattribs={"layer": layer})
                _attach(point, facts)
                self._name(words, layer, np.array([x, y]), z)
            else:
                self._rings(shape, layer, facts)

    def letter(self) -> None:
        """Add every word, and what the drawing is and is not under its lower left corner."""
        site = self._report.site
        heights = (
            "invert elevations"
            if self._report.stations.ground_known
            else "inverts below a level ground line"
        )
        notes = [
            site.name,
            f"Coordinates: {site.frame.crs}, {site.frame.unit_name}; heights: {heights}",
            "Not a utility locate, not a land survey. Call before you dig.",
            "Method: electromagnetic observation. ASCE 38-22 quality level: not assigned,",
            "a professional's judgement. Local code and record decide who answers.",
        ]
        # What makes the line less sure than its own accuracy says.
        if self._report.route.alternatives:
            notes.append("ANOTHER LINE FITS THE READINGS ABOUT AS WELL: it is not drawn here.")
        if self._report.likely_diagnoses:
            notes.append("THE READINGS DO NOT AGREE. See the referral's evidence.")
        elif self._report.suspects:
            count = len(self._report.suspects)
            notes.append(f"SUSPECT READINGS: {count}. See the referral's evidence.")
        nowhere, layer = np.zeros(2), _OTHERS["notes"][0]
        letter(
            self._space, self._text, np.concatenate(self._lateral), self._drawn, self._words,
            [Lettered(plain_text(words), layer, nowhere) for words in notes],
        )  # fmt: skip

    def _declared(self, vertices_m: Floats) -> list[tuple[float, float, float]]:
        """Return vertices in the declared system, heights in its unit."""
        x, y = self._out.frame.from_plane(vertices_m[:, 0], vertices_m[:, 1])
        z = vertices_m[:, 2] / self._out.frame.unit_m
        rows = np.round(np.stack([x, y, z], axis=-1), 6) + 0.0
        return [(float(a), float(b), float(c)) for a, b, c in rows]

    def _flat(self, vertices_m: Floats, layer: str, facts: Mapping[str, Any]) -> None:
        places = self._declared(np.column_stack([vertices_m[:, :2], np.zeros(len(vertices_m))]))
        self._line([p[:2] for p in places], layer, facts)

    def _rings(self, area: BaseGeometry, layer: str, facts: Mapping[str, Any]) -> None:
        for part in shapely.get_parts(area):
            for ring in (part.exterior, *part.interiors) if not part.is_empty else ():
                corners = np.asarray(ring.coords)[:-1, :2]
                places = self._declared(np.column_stack([corners, np.zeros(len(corners))]))
                self._line([p[:2] for p in places], layer, facts, close=True)

    def _line(
        self, places: list[tuple[float, float]], layer: str, facts: Mapping[str, Any], *,
        close: bool = False,
    ) -> None:  # fmt: skip
        line = self._space.add_lwpolyline(places, close=close, dxfattribs={"layer": layer})
        # Dashes run on round the corners, or short pieces would look whole.
        line.dxf.flags |= _RUN_ON
        _attach(line, facts)
        self._drawn.append(np.array([*places, places[0]] if close else places))

    def _mark(self, place: Any, words: str, key: str, facts: Mapping[str, Any]) -> None:
        layer = _OTHERS[key][0]
        (x, y, z), *_ = self._declared(np.asarray([place], float))
        _attach(self._space.add_point((x, y, z), dxfattribs={"layer": layer}), facts)
        self._name(words, layer, np.array([x, y]), z)

    def _name(self, words: str, layer: str, places: Floats, height: float = 0.0) -> None:
        self._words.append(Lettered(plain_text(words), layer, places, height))


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
