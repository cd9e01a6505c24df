"""marks.gpx: locates, crossings and findings as waypoints, to walk back to (GPX 1.1).

No elevations: GPX means metres above sea level, which nobody measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

import numpy as np

from lateral_map.export.features import Feature, route_layers
from lateral_map.export.kml import refuse_sketch
from lateral_map.export.outward import DEGREE_DECIMALS, Outward, outward
from lateral_map.export.recorded import line_vertices
from lateral_map.export.xml_text import add, xml_bytes
from lateral_map.words.numbers import decimals_for, label, unit_word

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"
_KINDS: Final = {"locates": "Locate", "crossings": "Crosses", "findings": "Finding"}
_CAUTION: Final = (
    "Not a utility locate and not a land survey. A handheld receiver may be several metres off: "
    "find the paint or tape in. Call before you dig."
)


def marks_gpx(report: Report) -> bytes:
    """Return marks.gpx. Raises ``ExportError`` for a sketch tied to no place on earth."""
    refuse_sketch(report, "marks.gpx")
    out = outward(report)
    root = ET.Element("gpx", xmlns=_NAMESPACE, version="1.1", creator="lateral-map")
    metadata = add(root, "metadata")
    add(metadata, "name", label(report.site.name, 120))
    add(metadata, "desc", _CAUTION)
    if report.site.date:
        add(metadata, "time", f"{report.site.date.isoformat()}T00:00:00Z")
    for layer in route_layers(report):
        if layer.name in _KINDS:
            for number, feature in enumerate(layer.features, start=1):
                _waypoint(root, _KINDS[layer.name], number, feature, out)
    _track(root, report, out)
    return xml_bytes(root)


def _waypoint(root: ET.Element, kind: str, number: int, feature: Feature, out: Outward) -> None:
    east, north, *_ = feature.geometry.coords[0]
    point = add(root, "wpt", **_place(east, north, out))
    record = feature.record
    add(point, "name", _name(kind, number, record))
    depth = record.get("depth_to_invert")
    below = f", invert {_length(depth, out)} below the ground" if depth is not None else ""
    add(point, "desc", f"At {_length(record['footage'], out)} along the pipe{below}")
    add(point, "type", kind.lower())


def _name(kind: str, number: int, record: dict[str, Any]) -> str:
    if kind == "Finding":
        return f"{number} {label(record['finding'])}"
    return f"{kind} {label(record.get('mark') or record.get('line') or '')}"


def _length(value: float, out: Outward) -> str:
    return f"{value:.{decimals_for(out.unit)}f} {unit_word(out.unit)}"


def _track(root: ET.Element, report: Report, out: Outward) -> None:
    footage = report.stations.footage_m
    vertices = line_vertices(report, float(footage[0]), float(footage[-1]))
    track = add(root, "trk")
    add(track, "name", "Lateral, as worked out")
    segment = add(track, "trkseg")
    for east, north in np.asarray(vertices)[:, :2]:
        add(segment, "trkpt", **_place(float(east), float(north), out))


def _place(east: float, north: float, out: Outward) -> dict[str, str]:
    place = out.place(east, north)
    return {
        "lat": f"{place['lat']:.{DEGREE_DECIMALS}f}",
        "lon": f"{place['lon']:.{DEGREE_DECIMALS}f}",
    }
