"""route.kml: the line by what it rests on, corridor, marks and findings (OGC KML 2.2).

Everything lies on the ground: KML's altitudes are above the EGM96 geoid, which nobody measured.
Other people's words go into names and data, never into descriptions, which viewers show as HTML;
some show names and data so too: a sign that opens a tag is written as one that does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from numpy.typing import ArrayLike

from lateral_map.draw.style import BASIS_LINES, CORRIDOR_AREA, DIG_AREA, AreaStyle
from lateral_map.errors import ExportError
from lateral_map.export.features import LayerName, flat_record, mark_name, route_layers
from lateral_map.export.outward import DEGREE_DECIMALS, Outward, outward
from lateral_map.export.recorded import recorded_stretches
from lateral_map.export.xml_text import add, clean, xml_bytes
from lateral_map.words.names import BASIS_WORDS
from lateral_map.words.numbers import label

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.results import Report

_NAMESPACE: Final = "http://www.opengis.net/kml/2.2"
_AREAS: Final[dict[LayerName, tuple[str, AreaStyle]]] = {
    "corridor": ("95 % corridor", CORRIDOR_AREA),
    "buffer": ("Dig buffer", DIG_AREA),
}
_MARKS: Final[dict[LayerName, str]] = {
    "crossings": "Crossings", "findings": "Findings", "locates": "Locates",
}  # fmt: skip
_UNTAGGED: Final = str.maketrans("<>", "‹›")


def route_kml(report: Report) -> bytes:
    """Return route.kml. Raises ``ExportError`` for a sketch tied to no place on earth."""
    refuse_sketch(report, "route.kml")
    out = outward(report)
    root = ET.Element("kml", xmlns=_NAMESPACE)
    document = add(root, "Document")
    add(document, "name", label(report.site.name, 120).translate(_UNTAGGED))
    for basis, line in BASIS_LINES.items():
        _style(document, basis.replace(" ", "-"), line.colour, f"{line.width_px:g}")
    for area, (_, look) in _AREAS.items():
        style = _style(document, area, look.edge.colour if look.edge else look.fill)
        add(add(style, "PolyStyle"), "color", _colour(look.fill, look.opacity))
    layers = {layer.name: layer for layer in route_layers(report)}
    for area, (title, _) in _AREAS.items():
        folder = _folder(document, title)
        for feature in layers[area].features:
            _polygons(_placemark(folder, title, feature.record, area), feature.geometry, out)
    folder = _folder(document, "Lateral")
    for stretch in recorded_stretches(report):
        name = f"{stretch.record['from']:.1f} to {stretch.record['to']:.1f} {out.unit}"
        title = f"{BASIS_WORDS[stretch.basis]}: {name}"
        mark = _placemark(folder, title, stretch.record, stretch.basis.replace(" ", "-"))
        line_string = add(mark, "LineString")
        add(line_string, "tessellate", "1")
        add(line_string, "coordinates", _degrees(stretch.vertices_m[:, :2], out))
    for layer, title in _MARKS.items():
        folder = _folder(document, title)
        for feature in layers[layer].features:
            mark = _placemark(folder, mark_name(layer, feature.record), feature.record)
            place = [feature.geometry.coords[0][:2]]
            add(add(mark, "Point"), "coordinates", _degrees(place, out))
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


def _style(document: ET.Element, name: str, colour: str, width: str = "") -> ET.Element:
    style = add(document, "Style", id=name)
    stroke = add(style, "LineStyle")
    add(stroke, "color", _colour(colour, 1.0))
    if width:
        add(stroke, "width", width)
    return style


def _polygons(placemark: ET.Element, area: BaseGeometry, out: Outward) -> None:
    geometry = add(placemark, "MultiGeometry")
    for part in shapely.get_parts(area):
        if part.is_empty:
            continue
        polygon = add(geometry, "Polygon")
        rings = [("outerBoundaryIs", part.exterior)]
        rings += [("innerBoundaryIs", ring) for ring in part.interiors]
        for tag, ring in rings:
            inner = add(add(polygon, tag), "LinearRing")
            add(inner, "coordinates", _degrees(np.asarray(ring.coords)[:, :2], out))


def _placemark(
    folder: ET.Element, name: str, record: Mapping[str, Any], style: str = ""
) -> ET.Element:
    placemark = add(folder, "Placemark")
    add(placemark, "name", name.translate(_UNTAGGED))
    if style:
        add(placemark, "styleUrl", f"#{style}")
    data = add(placemark, "ExtendedData")
    for key, value in flat_record(record).items():
        if value is not None and value != "":
            shown = [clean(str(words)).translate(_UNTAGGED) for words in (key, value)]
            add(add(data, "Data", name=shown[0]), "value", shown[1])
    return placemark


def _colour(hex_colour: str, opacity: float) -> str:
    """Return KML's aabbggrr of #rrggbb."""
    red, green, blue = hex_colour[1:3], hex_colour[3:5], hex_colour[5:7]
    return f"{round(255 * opacity):02x}{blue}{green}{red}".lower()


def _degrees(points_m: ArrayLike, out: Outward) -> str:
    points = np.asarray(points_m, float)
    places = out.places(points[:, 0], points[:, 1])
    return " ".join(
        f"{each['lon']:.{DEGREE_DECIMALS}f},{each['lat']:.{DEGREE_DECIMALS}f}" for each in places
    )
