"""marks.gpx: locates, crossings and findings as waypoints, to walk back to (GPX 1.1).

No elevations: GPX means metres above sea level, which nobody measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

from lateral_map.export.features import LayerName, mark_name, route_layers
from lateral_map.export.kml import refuse_sketch
from lateral_map.export.outward import DEGREE_DECIMALS, Outward, outward
from lateral_map.export.xml_text import add, xml_bytes
from lateral_map.words.names import VERDICT_WORDS
from lateral_map.words.numbers import decimals_for, label, unit_word

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_NAMESPACE: Final = "http://www.topografix.com/GPX/1/1"
_KINDS: Final[dict[LayerName, str]] = {
    "locates": "locate", "crossings": "crosses", "findings": "finding",
}  # fmt: skip
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
        for feature in layer.features if layer.name in _KINDS else ():
            record = feature.record
            east, north, *_ = feature.geometry.coords[0]
            point = add(root, "wpt", **_place(east, north, out))
            add(point, "name", mark_name(layer.name, record))
            words = f"At {_length(record['footage'], out)} along the pipe"
            # A locate's own read-out is not where the line lies.
            if layer.name != "locates":
                words += f", invert {_length(record['depth_to_invert'], out)} below the ground"
            if record.get("verdict"):
                words += f"; {label(record['verdict_line'])}: {VERDICT_WORDS[record['verdict']]}"
            add(point, "desc", words)
            add(point, "type", _KINDS[layer.name])
    track = add(root, "trk")
    add(track, "name", "Lateral, as worked out")
    segment = add(track, "trkseg")
    footage = report.stations.footage_m
    for east, north, _ in report.line_vertices(float(footage[0]), float(footage[-1])):
        add(segment, "trkpt", **_place(float(east), float(north), out))
    return xml_bytes(root)


def _length(value: float, out: Outward) -> str:
    return f"{value:.{decimals_for(out.unit)}f} {unit_word(out.unit)}"


def _place(east: float, north: float, out: Outward) -> dict[str, str]:
    place = out.place(east, north)
    return {
        "lat": f"{place['lat']:.{DEGREE_DECIMALS}f}",
        "lon": f"{place['lon']:.{DEGREE_DECIMALS}f}",
    }
