"""How each layer of route.gpkg is drawn in a desktop GIS: the drawings' own colours and lines.

As the XML that desktop GIS keep in a GeoPackage's ``layer_styles`` table, and as OGC Styled Layer
Descriptor 1.1 with Symbology Encoding 1.1.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from lateral_map.draw.style import (
    ALTERNATIVE_LINE,
    BASIS_LINES,
    CORRIDOR_AREA,
    DIG_AREA,
    DIG_STYLES,
    GATE_MARK,
    INK,
    KEY_MARK,
    LOCATE_MARKS,
    NO_SIDE_MARK,
    PAPER,
    QUIET,
    SIDE_MARKS,
    SPOIL_LINE,
    STYLES,
    WHITE_LINE,
    AreaStyle,
    LineStyle,
    MarkStyle,
)
from lateral_map.export.features import LayerName
from lateral_map.words.names import BASIS_WORDS, LOCATE_STATES, VERDICT_WORDS

Symbol = LineStyle | AreaStyle | MarkStyle


@dataclass(frozen=True, slots=True)
class StyleClass:
    """One legend entry: features whose attribute has ``value`` (None: all others)."""

    value: str | None
    label: str
    symbol: Symbol


@dataclass(frozen=True, slots=True)
class LayerStyle:
    """A layer's legend. ``attribute`` tells the classes apart, empty where there is only one.

    ``label`` is the column its features are lettered with, or an expression in double quotes and
    pipes; empty where they carry none.
    """

    attribute: str
    classes: tuple[StyleClass, ...]
    label: str = ""


def single(words: str, symbol: Symbol, label: str = "") -> LayerStyle:
    """Return the style of a layer whose features all look alike."""
    return LayerStyle("", (StyleClass(None, words, symbol),), label)


def by_value(
    attribute: str, prefix: str, label: str = "", styles: Mapping[str, Symbol] = STYLES
) -> LayerStyle:
    """Return the style of a layer drawn by an attribute, as the drawings' ``prefix VALUE``."""
    classes = tuple(
        StyleClass(value, value.replace("_", " ").capitalize(), symbol)
        for key, symbol in styles.items()
        if (value := key.removeprefix(f"{prefix} ")) != key and "unknown" not in value
    )
    return LayerStyle(attribute, classes, label)


_STATION: Final = MarkStyle("disc", PAPER, QUIET, size_px=5.0)

LAYER_STYLES: Final[dict[LayerName, LayerStyle]] = {
    "corridor": single("95 % corridor", CORRIDOR_AREA),
    "buffer": single("Dig buffer", DIG_AREA),
    "alternatives": single("Another route that fits about as well", ALTERNATIVE_LINE),
    "route": single("Route", LineStyle(INK, 7.0)),
    "stretches": LayerStyle(
        "basis",
        tuple(StyleClass(key, BASIS_WORDS[key], line) for key, line in BASIS_LINES.items()),
    ),
    "stations": single("Station", _STATION),
    "crossings": single("Crossing", GATE_MARK, 'concat("line", \' at \', round("footage", 1))'),
    "findings": LayerStyle(
        "verdict",
        (
            *(
                StyleClass(key, f"Finding, {VERDICT_WORDS[key]}", mark)
                for key, mark in SIDE_MARKS.items()
            ),
            StyleClass(None, "Finding", NO_SIDE_MARK),
        ),
        "concat('#', \"number\", ' ', \"finding\")",
    ),
    "locates": LayerStyle(
        "state",
        tuple(
            StyleClass(LOCATE_STATES[key], f"Locate, {LOCATE_STATES[key]}", mark)
            for key, mark in LOCATE_MARKS.items()
        ),
        "mark",
    ),
    "plan_areas": LayerStyle(
        "cover",
        (
            *by_value("cover", "cover").classes,
            StyleClass(None, "Building", STYLES["building"]),
        ),
        "name",
    ),
    "plan_lines": by_value("kind", "line", "name"),
    "utilities": by_value("utility", "utility", "name"),
    "adjusted_lines": single("Line as adjusted", STYLES["other sheet"]),
    "plan_points": single("Point to tape from", STYLES["point"], "name"),
    "answers": single("Who answers", LineStyle(QUIET, 2.0), "party"),
}


# The sorts of feature of a dig review.
DIG_LAYER_STYLES: Final[dict[str, LayerStyle]] = {
    "spoil set-back": single("Spoil set-back", AreaStyle(PAPER, 0.0, SPOIL_LINE)),
    "cut": LayerStyle(
        "walls",
        (
            StyleClass("sloped", "Cut, walls sloped", DIG_STYLES["cut sloped"]),
            StyleClass("benched", "Cut, walls benched", DIG_STYLES["cut benched"]),
            StyleClass("box and slope", "Cut, box and slope", DIG_STYLES["cut box and slope"]),
            StyleClass("shored", "Cut, walls shored", DIG_STYLES["cut shored"]),
        ),
        "reach",
    ),
    "white line": single("White line", AreaStyle(PAPER, 0.0, WHITE_LINE)),
    "tolerance zone": by_value("utility", "zone", "name", DIG_STYLES),
    "utility crossing": by_value("utility", "conflict", "name", DIG_STYLES),
    "danger": single("Danger", STYLES["danger"], "finding"),
    "key point": single("Key point", KEY_MARK, "number"),
}

# Columns of lengths in the site's unit.
LENGTH_COLUMNS: Final = frozenset((
    "footage", "footage_sd", "from", "to", "plan_length", "tolerance", "depth_read", "held_above",
    "depth_to_invert", "depth_sd", "ground_elevation", "invert_elevation", "across_sd", "along_sd",
    "dig_half_width", "past", "past_sd", "ellipse_95_semi_major", "ellipse_95_semi_minor",
    "accuracy_95", "depth", "elevation", "moved", "from_sd", "to_sd", "line_turns_at",
    "clearance", "clearance_sd", "aside", "aside_sd", "top_width", "deepest", "deepest_95",
    "invert_depth", "invert_depth_sd", "mirror_gap", "mirror_check", "error_95", "set_back",
))  # fmt: skip


# Marks made of strokes alone, which on a ground of their own colour would be gone.
_STROKES: Final = frozenset(("gate", "cross", "target crossed", "saltire"))


def stacked_marks(style: MarkStyle) -> tuple[tuple[MarkStyle, float], ...]:
    """Return the plain marks that make up one, each with the width of its edge in CSS pixels.

    A target is a ring with a dot in it; what is made of strokes lies on wider, pale ones.
    """
    marks = [(style, 1.5)]
    if style.shape in _STROKES:
        marks.insert(0, (MarkStyle(style.shape, PAPER, PAPER, style.size_px + 3.0), 4.5))
    if style.shape == "target":
        marks.append((MarkStyle("disc", INK, INK, size_px=style.size_px / 3.0), 1.5))
    return tuple(marks)


MM_PER_PX: Final = 25.4 / 96.0  # the CSS pixel

_QML_SHAPES: Final = {
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


def style_qml(style: LayerStyle, columns: Iterable[str], unit: str) -> str:
    """Return the style as XML text; ``columns`` are shown in words, those of lengths with ``unit``.

    x and y are in the declared system's own unit, which a desktop GIS shows of itself.
    """
    root = Element("qgis", version="3.22.0", styleCategories="Symbology|Fields|Labeling")
    aliases = SubElement(root, "aliases")
    for index, column in enumerate(columns, start=1):  # the feature's id stands before them
        words = column.replace("_", " ")
        shown = f"{words} ({unit})" if column in LENGTH_COLUMNS else words
        SubElement(aliases, "alias", index=str(index), field=column, name=shown)
    root.set("labelsEnabled", str(int(bool(style.label))))
    if style.label:
        labeling = SubElement(root, "labeling", type="simple")
        settings = SubElement(labeling, "settings", calloutType="simple")
        text = SubElement(
            settings, "text-style", fieldName=style.label,
            isExpression=str(int('"' in style.label)), fontSize="8", fontSizeUnit="Point",
            textColor=_colour(INK), textOpacity="1", fontWeight="75",
        )  # fmt: skip
        # A pale edge round bold letters: they read on a dark ground, too.
        SubElement(
            text, "text-buffer", bufferDraw="1", bufferSize="0.8", bufferSizeUnits="MM",
            bufferColor=_colour(PAPER), bufferOpacity="1", bufferNoFill="0",
        )  # fmt: skip
        # What was seen comes before what the plan shows; a mark keeps words off itself, a line or
        # an area does not.
        drawn = style.classes[0].symbol
        marks, lines = isinstance(drawn, MarkStyle), isinstance(drawn, LineStyle)
        SubElement(
            settings, "placement", placement="2" if lines else "6" if marks else "1", dist="1",
            distUnits="MM", placementFlags="10", offsetType="1", priority="10" if marks else "2",
        )  # fmt: skip
        SubElement(settings, "rendering", drawLabels="1", obstacle=str(int(marks)))
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


def edged(line: LineStyle) -> tuple[LineStyle, ...]:
    """Return a line with the wider one under it that it needs to be seen on white and on black.

    A drawing of our own has white paper; the ground of a GIS is whatever its user has there.
    """
    if line.casing:
        return LineStyle(line.casing, line.casing_px, opacity=line.opacity), line
    # WCAG 2.1, 1.4.11: what has to be seen has a contrast of 3 with its ground.
    bright = 0.05 + brightness(line.colour)
    under = PAPER if bright / 0.05 < 3.0 else INK if 1.05 / bright < 3.0 else ""
    return (LineStyle(under, line.width_px + 2.0), line) if under else (line,)


def brightness(colour: str) -> float:
    """Return the relative luminance of ``#rrggbb``, 0 for black to 1 for white (WCAG 2.1)."""

    def linear(byte: int) -> float:
        share = byte / 255.0
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = map(linear, bytes.fromhex(colour.removeprefix("#")))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _symbol_layers(symbol: Symbol) -> list[tuple[str, dict[str, str]]]:
    if isinstance(symbol, LineStyle):
        return [("SimpleLine", _qml_line(line)) for line in edged(symbol)]
    if isinstance(symbol, AreaStyle):
        area = {
            "color": _colour(symbol.fill, symbol.opacity),
            "style": "solid",
            "outline_style": "no",
            "joinstyle": "round",
        }
        # Ground cover is a backdrop and is seen as an area; what lets the ground through needs its
        # edge.
        through = symbol.opacity < 0.5
        lines = (edged(symbol.edge) if through else (symbol.edge,)) if symbol.edge else ()
        return [("SimpleFill", area), *(("SimpleLine", _qml_line(line)) for line in lines)]
    return [
        (
            "SimpleMarker",
            {
                "name": _QML_SHAPES.get(mark.shape, "circle"),
                "color": _colour(mark.fill),
                "outline_color": _colour(mark.edge),
                "outline_width": _mm(width_px),
                "outline_width_unit": "MM",
                "size": _mm(mark.size_px),
                "size_unit": "MM",
            },
        )
        for mark, width_px in stacked_marks(symbol)
    ]


def _qml_line(line: LineStyle) -> dict[str, str]:
    return {
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


def _mm(pixels: float) -> str:
    return f"{pixels * MM_PER_PX:.2f}"


def _colour(text: str, opacity: float = 1.0) -> str:
    red, green, blue = bytes.fromhex(text.removeprefix("#"))
    return f"{red},{green},{blue},{round(255 * opacity)}"


_SLD: Final = "http://www.opengis.net/sld"
_SE: Final = "http://www.opengis.net/se"
_OGC: Final = "http://www.opengis.net/ogc"

# The marks Symbology Encoding names; a diamond is a square stood on its corner.
_SLD_SHAPES: Final = {
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
        for line in edged(symbol):
            _add_stroke(SubElement(rule, "se:LineSymbolizer"), line)
    elif isinstance(symbol, AreaStyle):
        area = SubElement(rule, "se:PolygonSymbolizer")
        _add_fill(area, symbol.fill, symbol.opacity)
        if symbol.edge:
            _add_stroke(area, symbol.edge)
    else:
        for look, width_px in stacked_marks(symbol):
            graphic = SubElement(SubElement(rule, "se:PointSymbolizer"), "se:Graphic")
            mark = SubElement(graphic, "se:Mark")
            diamond = look.shape == "diamond"
            name = "square" if diamond else _SLD_SHAPES.get(look.shape, "circle")
            SubElement(mark, "se:WellKnownName").text = name
            _add_fill(mark, look.fill, 1.0)
            _add_stroke(mark, LineStyle(look.edge, width_px))
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
