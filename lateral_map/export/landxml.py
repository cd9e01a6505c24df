"""route.xml: alignment and profile in LandXML 1.2 (namespace of the published schema).

Element and attribute names are LandXML-1.2's, from memory: the schema itself was not at hand to
validate against. Stations are plan distances from the start, as LandXML counts them; footages go
along as feature properties. Coordinates are northing before easting, as LandXML writes them.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final
from xml.etree import ElementTree as ET

import numpy as np

from lateral_map import __version__
from lateral_map.errors import ExportError
from lateral_map.export.features import LayerName, Record, flat_record, mark_name, route_layers
from lateral_map.export.outward import outward
from lateral_map.export.recorded import recorded_stretches
from lateral_map.export.xml_text import add, clean, xml_bytes
from lateral_map.units import to_metres
from lateral_map.words.numbers import label

if TYPE_CHECKING:
    from lateral_map.model.arrays import Floats
    from lateral_map.model.results import Report

_NAMESPACE: Final = "http://www.landxml.org/schema/LandXML-1.2"
_IMPERIAL: Final = {
    "areaUnit": "squareFoot",
    "volumeUnit": "cubicYard",
    "temperatureUnit": "fahrenheit",
    "pressureUnit": "inHG",
    "diameterUnit": "inch",
}
_METRIC: Final = {
    "areaUnit": "squareMeter",
    "volumeUnit": "cubicMeter",
    "temperatureUnit": "celsius",
    "pressureUnit": "milliBars",
    "diameterUnit": "millimeter",
}
_LINEAR: Final = {"ft": "foot", "us_ft": "USSurveyFoot", "m": "meter"}
_NO_DATE: Final = "1970-01-01"
# Below this a piece of line has no direction worth writing (m).
_SHORTEST_M: Final = 1e-4


def route_landxml(report: Report) -> bytes:
    """Return route.xml. Raises ``ExportError`` where the coordinate unit is none LandXML knows."""
    frame = report.site.frame
    if frame.unit_name not in _LINEAR:
        raise ExportError(
            f"route.xml: LandXML knows feet, US survey feet and metres, not {frame.unit_name}; "
            "write route.dxf instead"
        )
    date = report.site.date.isoformat() if report.site.date else _NO_DATE
    root = ET.Element(
        "LandXML",
        {
            "xmlns": _NAMESPACE,
            "version": "1.2",
            "date": date,
            "time": "00:00:00",
            "language": "English",
            "readOnly": "false",
        },
    )
    tag, others = ("Metric", _METRIC) if frame.unit_name == "m" else ("Imperial", _IMPERIAL)
    angles = {"angularUnit": "decimal degrees", "directionUnit": "decimal degrees"}
    add(add(root, "Units"), tag, linearUnit=_LINEAR[frame.unit_name], **others, **angles)
    crs = frame.crs
    code = re.fullmatch(r"EPSG:(\d+)", crs)
    if frame.is_local:
        add(root, "CoordinateSystem", desc="a sketch tied to no place on earth")
    elif code:
        add(root, "CoordinateSystem", epsgCode=code[1], desc=crs)
    else:
        add(root, "CoordinateSystem", desc=clean(crs))
    add(root, "Project", name=clean(label(report.site.name, 120)))
    add(root, "Application", name="lateral-map", version=__version__)
    # Findings, crossings and locates, with the facts every file gives of them.
    out, points = outward(report), add(root, "CgPoints", name="findings, crossings and locates")
    for layer in route_layers(report):
        for feature in layer.features if layer.name in _POINTS else ():
            kind = _POINTS[layer.name]
            east, north, *height = feature.geometry.coords[0]
            if not height:
                at_m = to_metres(feature.record["footage"], out.unit)
                height = [float(report.route.positions([at_m])[0, 2])]
            x, y = frame.from_plane(east, north)
            place = np.array([float(x), float(y), height[0] / frame.unit_m])
            name = clean(mark_name(layer.name, feature.record))
            point = add(points, "CgPoint", _northing_easting(place), name=name, code=kind)
            point.text = f"{point.text} {_figure(place[2])}"
            _properties(add(point, "Feature", code=kind, source="lateral-map"), feature.record)
    alignments = add(root, "Alignments", name="Laterals")
    _alignment(alignments, report)
    return xml_bytes(root)


_POINTS: Final[dict[LayerName, str]] = {
    "findings": "finding", "crossings": "crossing", "locates": "locate",
}  # fmt: skip


def _properties(feature: ET.Element, record: Record) -> None:
    for key, value in flat_record(record).items():
        if value is not None and value != "":
            words = f"{value:.9g}" if isinstance(value, float) else clean(str(value))
            add(feature, "Property", label=clean(key), value=words)


def _alignment(parent: ET.Element, report: Report) -> None:
    out = outward(report)
    footage = report.stations.footage_m
    vertices = report.line_vertices(float(footage[0]), float(footage[-1]))
    x, y = out.frame.from_plane(vertices[:, 0], vertices[:, 1])
    declared = np.stack([x, y, vertices[:, 2] / out.frame.unit_m], axis=-1)
    steps = np.hypot(*np.diff(declared[:, :2], axis=0).T)
    stations = np.concatenate([[0.0], np.cumsum(steps)])
    alignment = add(
        parent,
        "Alignment",
        name="lateral",
        length=_figure(stations[-1]),
        staStart=_figure(0.0),
        desc="Stations are plan distances; footages along the pipe are in the features",
    )
    geometry = add(alignment, "CoordGeom")
    for begin, end, step in zip(declared[:-1], declared[1:], steps, strict=True):
        if step * out.frame.unit_m > _SHORTEST_M:
            east, north = end[:2] - begin[:2]
            clockwise_deg = float(np.degrees(np.arctan2(east, north))) % 360.0
            line = add(geometry, "Line", length=_figure(step), dir=_figure(clockwise_deg))
            add(line, "Start", _northing_easting(begin))
            add(line, "End", _northing_easting(end))
    known = report.stations.ground_known
    profile = add(alignment, "Profile", name="lateral")
    words = "invert" if known else "invert, below a level ground line: no true elevations"
    design = add(profile, "ProfAlign", name=words)
    # A riser's top shares its foot's station; only the foot is on the run.
    moved = np.concatenate([np.diff(stations) * report.site.frame.unit_m > _SHORTEST_M, [True]])
    for station, (_, _, height) in zip(stations[moved], declared[moved], strict=True):
        add(design, "PVI", f"{_figure(station)} {_figure(height)}")
    ground = add(profile, "ProfSurf", name="ground" if known else "ground, taken as level")
    s = report.stations
    x, y = out.frame.from_plane(s.easting_m, s.northing_m)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    moved = np.concatenate([[True], np.diff(along) * out.frame.unit_m > _SHORTEST_M])
    pairs = zip(along[moved], s.ground_m[moved] / out.frame.unit_m, strict=True)
    add(ground, "PntList2D", " ".join(f"{_figure(at)} {_figure(z)}" for at, z in pairs))
    for stretch in recorded_stretches(report):
        feature = add(alignment, "Feature", code="recorded stretch", source="lateral-map")
        _properties(feature, stretch.record)


def _northing_easting(place: Floats) -> str:
    return f"{_figure(place[1])} {_figure(place[0])}"


def _figure(value: float) -> str:
    return f"{round(float(value), 6) + 0.0:.6f}"
