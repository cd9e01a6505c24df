"""A layer's style in the XML that desktop GIS keep in a GeoPackage's ``layer_styles`` table."""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lateral_map.draw.style import AreaStyle, LineStyle, MarkStyle
from lateral_map.export.layer_styles import LayerStyle, Symbol, stacked_marks

MM_PER_PX: Final = 25.4 / 96.0  # the CSS pixel

_SHAPES: Final = {
    "disc": "circle",
    "square": "square",
    "diamond": "diamond",
    "disc to square": "pentagon",
    "diamond to square": "hexagon",
    "octagon": "octagon",
    "triangle": "triangle",
    "target crossed": "cross_fill",
    "gate": "cross2",
    "cross": "cross",
}


def style_qml(style: LayerStyle) -> str:
    """Return the style as XML text."""
    root = Element("qgis", version="3.22.0", styleCategories="Symbology")
    kind = "categorizedSymbol" if style.attribute else "singleSymbol"
    renderer = SubElement(root, "renderer-v2", type=kind, symbollevels="0", forceraster="0")
    if style.attribute:
        renderer.set("attr", style.attribute)
        categories = SubElement(renderer, "categories")
        for number, each in enumerate(style.classes):
            SubElement(
                categories,
                "category",
                symbol=str(number),
                value=each.value or "",
                label=each.label,
                render="true",
            )
    symbols = SubElement(renderer, "symbols")
    for number, each in enumerate(style.classes):
        kind = {LineStyle: "line", AreaStyle: "fill", MarkStyle: "marker"}[type(each.symbol)]
        symbol = SubElement(
            symbols, "symbol", type=kind, name=str(number), alpha="1", clip_to_extent="1",
            force_rhr="0",
        )  # fmt: skip
        for layer, properties in _symbol_layers(each.symbol):
            child = SubElement(symbol, "layer", {"class": layer, "enabled": "1", "pass": "0"})
            for key, value in properties.items():
                SubElement(child, "prop", k=key, v=value)
    indent(root, " ")
    return tostring(root, encoding="unicode")


def _symbol_layers(symbol: Symbol) -> list[tuple[str, dict[str, str]]]:
    if isinstance(symbol, LineStyle):
        casing = [LineStyle(symbol.casing, symbol.casing_px)] if symbol.casing else []
        lines = [
            {
                "line_color": _colour(line.colour, line.opacity),
                "line_width": _mm(line.width_px),
                "line_width_unit": "MM",
                "line_style": "solid",
                "capstyle": "flat" if line.dash_px else "round",
                "joinstyle": "round",
                "use_custom_dash": str(int(bool(line.dash_px))),
                "customdash": ";".join(_mm(length) for length in line.dash_px) or "5;2",
                "customdash_unit": "MM",
            }
            for line in (*casing, symbol)
        ]
        return [("SimpleLine", line) for line in lines]
    if isinstance(symbol, AreaStyle):
        edge = symbol.edge
        area = {
            "color": _colour(symbol.fill, symbol.opacity),
            "style": "solid",
            "outline_color": _colour(edge.colour, edge.opacity) if edge else "0,0,0,0",
            "outline_width": _mm(edge.width_px) if edge else "0",
            "outline_width_unit": "MM",
            "outline_style": ("dash" if edge.dash_px else "solid") if edge else "no",
            "joinstyle": "round",
        }
        return [("SimpleFill", area)]
    marks = [
        {
            "name": _SHAPES.get(mark.shape, "circle"),
            "color": _colour(mark.fill),
            "outline_color": _colour(mark.edge),
            "outline_width": "0.4",
            "outline_width_unit": "MM",
            "size": _mm(mark.size_px),
            "size_unit": "MM",
        }
        for mark in stacked_marks(symbol)
    ]
    return [("SimpleMarker", mark) for mark in marks]


def _mm(pixels: float) -> str:
    return f"{pixels * MM_PER_PX:.2f}"


def _colour(text: str, opacity: float = 1.0) -> str:
    red, green, blue = bytes.fromhex(text.removeprefix("#"))
    return f"{red},{green},{blue},{round(255 * opacity)}"
