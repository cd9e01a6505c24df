"""A layer's style as OGC Styled Layer Descriptor 1.1 with Symbology Encoding 1.1."""

from __future__ import annotations

from typing import Final
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lateral_map.draw.style import AreaStyle, LineStyle
from lateral_map.export.layer_styles import LayerStyle, Symbol, stacked_marks

_SLD: Final = "http://www.opengis.net/sld"
_SE: Final = "http://www.opengis.net/se"
_OGC: Final = "http://www.opengis.net/ogc"

# The marks Symbology Encoding names; a diamond is a square stood on its corner.
_SHAPES: Final = {
    "disc": "circle",
    "square": "square",
    "disc to square": "star",
    "diamond to square": "triangle",
    "octagon": "x",
    "triangle": "triangle",
    "target crossed": "cross",
    "gate": "x",
}


def style_sld(layer: str, style: LayerStyle) -> str:
    """Return the style of the layer called ``layer`` as XML text."""
    root = Element(
        "StyledLayerDescriptor",
        {"version": "1.1.0", "xmlns": _SLD, "xmlns:se": _SE, "xmlns:ogc": _OGC},
    )
    named = SubElement(root, "NamedLayer")
    SubElement(named, "se:Name").text = layer
    user = SubElement(named, "UserStyle")
    SubElement(user, "se:Name").text = layer
    rules = SubElement(user, "se:FeatureTypeStyle")
    for each in style.classes:
        rule = SubElement(rules, "se:Rule")
        SubElement(rule, "se:Name").text = each.label
        if style.attribute and each.value is not None:
            equal = SubElement(SubElement(rule, "ogc:Filter"), "ogc:PropertyIsEqualTo")
            SubElement(equal, "ogc:PropertyName").text = style.attribute
            SubElement(equal, "ogc:Literal").text = each.value
        elif style.attribute:
            SubElement(rule, "se:ElseFilter")
        _add_symbol(rule, each.symbol)
    indent(root, " ")
    return tostring(root, encoding="unicode")


def _add_symbol(rule: Element, symbol: Symbol) -> None:
    if isinstance(symbol, LineStyle):
        if symbol.casing:
            casing = LineStyle(symbol.casing, symbol.casing_px)
            _add_stroke(SubElement(rule, "se:LineSymbolizer"), casing)
        _add_stroke(SubElement(rule, "se:LineSymbolizer"), symbol)
    elif isinstance(symbol, AreaStyle):
        area = SubElement(rule, "se:PolygonSymbolizer")
        _add_fill(area, symbol.fill, symbol.opacity)
        if symbol.edge:
            _add_stroke(area, symbol.edge)
    else:
        for look in stacked_marks(symbol):
            graphic = SubElement(SubElement(rule, "se:PointSymbolizer"), "se:Graphic")
            mark = SubElement(graphic, "se:Mark")
            diamond = look.shape == "diamond"
            name = "square" if diamond else _SHAPES.get(look.shape, "circle")
            SubElement(mark, "se:WellKnownName").text = name
            _add_fill(mark, look.fill, 1.0)
            _add_stroke(mark, LineStyle(look.edge, 1.5))
            SubElement(graphic, "se:Size").text = f"{look.size_px:g}"
            if diamond:
                SubElement(graphic, "se:Rotation").text = "45"


def _add_fill(parent: Element, colour: str, opacity: float) -> None:
    _add_parameters(SubElement(parent, "se:Fill"), {"fill": colour, "fill-opacity": f"{opacity:g}"})


def _add_stroke(parent: Element, style: LineStyle) -> None:
    parameters = {
        "stroke": style.colour,
        "stroke-opacity": f"{style.opacity:g}",
        "stroke-width": f"{style.width_px:g}",
        "stroke-linejoin": "round",
    }
    if style.dash_px:
        parameters["stroke-dasharray"] = " ".join(f"{length:g}" for length in style.dash_px)
    _add_parameters(SubElement(parent, "se:Stroke"), parameters)


def _add_parameters(parent: Element, parameters: dict[str, str]) -> None:
    for name, value in parameters.items():
        SubElement(parent, "se:SvgParameter", name=name).text = value
