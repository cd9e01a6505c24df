"""route.kml: the line by what it rests on, corridor, marks and findings (OGC KML 2.2).

Everything lies on the ground: KML's altitudes are above the EGM96 geoid, which nobody measured.
Other people's words go into names and data, never into descriptions, which viewers show as HTML.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.draw.style import BASIS_LINES, CORRIDOR_AREA, DIG_AREA
from lateral_map.errors import ExportError
from lateral_map.export.features import Feature, LayerName, mark_name, route_layers
from lateral_map.export.outward import DEGREE_DECIMALS, Outward, outward
from lateral_map.export.recorded import recorded_stretches
from lateral_map.export.xml_text import add, clean, xml_bytes
from lateral_map.words.names import BASIS_WORDS
from lateral_map.words.numbers import label

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.results import Report

_NAMESPACE: Final = "http://www.opengis.net/kml/2.2"
_AREAS: Final[dict[LayerName, str]] = {"corridor": "95 % corridor", "buffer": "Dig buffer"}
_MARKS: Final[dict[LayerName, str]] = {
    "crossings": "Crossings", "findings": "Findings", "locates": "Locates",
}  # fmt: skip


def route_kml(report: Report) -> bytes:
    """Return route.kml. Raises ``ExportError`` for a sketch tied to no place on earth."""
    refuse_sketch(report, "route.kml")
    out = outward(report)
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = add(root, "Document")
    add(document, "name", label(report.site.name, 120))
    _styles(document)
    layers = {layer.name: layer for layer in route_layers(report)}
    for area, title in _AREAS.items():
        folder = _folder(document, title)
        for feature in layers[area].features:
            _area(folder, title, feature, out, area)
    _stretches(_folder(document, "Lateral"), report, out)
    for name, title in _MARKS.items():
        folder = _folder(document, title)
        for feature in layers[name].features:
            _point(folder, mark_name(name, feature.record), feature, out)
    return xml_bytes(root)


def refuse_sketch(report: Report, file: str) -> None:
    """Raise ``ExportError`` where a site has no latitude and longitude."""
    if report.site.frame.is_local:
        raise ExportError(
            f'{file}: crs = "local" is tied to no place on earth, so it has no latitude and '
            "longitude; declare a projected crs in site.toml, or write route.dxf instead"
        )


def _folder(parent: ET.Element, title: str) -> ET.Element:
    folder = add(parent, "Folder")
    add(folder, "name", title)
    return folder


def _styles(document: ET.Element) -> None:
    for basis, line in BASIS_LINES.items():
        style = add(document, "Style", id=basis.replace(" ", "-"))
        stroke = add(style, "LineStyle")
        add(stroke, "color", _colour(line.colour, 1.0))
        add(stroke, "width", f"{line.width_px:g}")
    for name, area in (("corridor", CORRIDOR_AREA), ("buffer", DIG_AREA)):
        style = add(document, "Style", id=name)
        stroke = add(style, "LineStyle")
        add(stroke, "color", _colour(area.edge.colour if area.edge else area.fill, 1.0))
        add(add(style, "PolyStyle"), "color", _colour(area.fill, area.opacity))


def _colour(hex_colour: str, opacity: float) -> str:
    """Return KML's aabbggrr of #rrggbb."""
    red, green, blue = hex_colour[1:3], hex_colour[3:5], hex_colour[5:7]
    return f"{round(255 * opacity):02x}{blue}{green}{red}".lower()


def _stretches(folder: ET.Element, report: Report, out: Outward) -> None:
    for stretch in recorded_stretches(report):
        name = f"{stretch.record['from']:.1f} to {stretch.record['to']:.1f} {out.unit}"
        placemark = add(folder, "Placemark")
        add(placemark, "name", f"{BASIS_WORDS[stretch.basis]}: {name}")
        add(placemark, "styleUrl", f"#{stretch.basis.replace(' ', '-')}")
        _data(placemark, stretch.record)
        line = add(placemark, "LineString")
        add(line, "tessellate", "1")
        add(line, "coordinates", _degrees(stretch.vertices_m[:, :2], out))


def _area(folder: ET.Element, title: str, feature: Feature, out: Outward, style: str) -> None:
    placemark = add(folder, "Placemark")
    add(placemark, "name", title)
    add(placemark, "styleUrl", f"#{style}")
    _data(placemark, feature.record)
    geometry = add(placemark, "MultiGeometry")
    for part in _parts(feature.geometry):
        polygon = add(geometry, "Polygon")
        for tag, rings in (
            ("outerBoundaryIs", [part.exterior]),
            ("innerBoundaryIs", part.interiors),
        ):
            for ring in rings:
                inner = add(add(polygon, tag), "LinearRing")
                add(inner, "coordinates", _degrees(np.asarray(ring.coords)[:, :2], out))


def _parts(geometry: BaseGeometry) -> Iterable[Any]:
    return [part for part in getattr(geometry, "geoms", [geometry]) if not part.is_empty]


def _point(folder: ET.Element, name: str, feature: Feature, out: Outward) -> None:
    placemark = add(folder, "Placemark")
    add(placemark, "name", name)
    _data(placemark, feature.record)
    x, y, *_ = feature.geometry.coords[0]
    add(add(placemark, "Point"), "coordinates", _degrees([(x, y)], out))


def _data(placemark: ET.Element, record: Mapping[str, Any]) -> None:
    data = add(placemark, "ExtendedData")
    for key, value in record.items():
        if value is not None and not isinstance(value, list | dict):
            add(add(data, "Data", name=clean(key)), "value", clean(str(value)))


def _degrees(points_m: ArrayLike, out: Outward) -> str:
    points = np.asarray(points_m, float)
    places = out.places(points[:, 0], points[:, 1])
    return " ".join(
        f"{each['lon']:.{DEGREE_DECIMALS}f},{each['lat']:.{DEGREE_DECIMALS}f}" for each in places
    )
