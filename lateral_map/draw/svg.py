"""A matplotlib figure as SVG fit for a page: no styles, no ids that clash, no metadata.

matplotlib writes a rule for every element of the document it lands in, ids that repeat from figure
to figure, and a style on each element that a strict content policy refuses. Here the rule becomes
attributes of the drawing itself, ids take a prefix, and styles become presentation attributes.
"""

from __future__ import annotations

import io
import re
from typing import Final
from xml.etree import ElementTree as ET

import matplotlib as mpl
from matplotlib.figure import Figure

_SVG: Final = "http://www.w3.org/2000/svg"
_HREF: Final = "{http://www.w3.org/1999/xlink}href"
_SALT: Final = "lateral-map"
_LOCAL_URL: Final = re.compile(r"url\(#([^)]+)\)")
_FONTS: Final = "'DejaVu Sans', Verdana, Arial, sans-serif"


def figure_svg(figure: Figure, *, prefix: str) -> str:
    """Return a figure as one ``<svg>`` element whose ids start with ``prefix``.

    The same figure gives the same text. Sizes are in points, 72 to the inch.
    """
    sheet = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": _SALT, "hatch.linewidth": 0.7}):
        figure.savefig(sheet, format="svg", metadata={"Date": None, "Creator": None})
    ET.register_namespace("", _SVG)
    root = ET.fromstring(sheet.getvalue())  # noqa: S314  # written two lines above
    _drop_asides(root)
    seen: set[str] = set()
    for element in root.iter():
        _unpack_style(element)
        _drop_repeated_id(element, seen)
        _prefix_ids(element, prefix)
    root.set("stroke-linejoin", "round")
    root.set("stroke-linecap", "butt")
    return ET.tostring(root, encoding="unicode")


def _drop_asides(root: ET.Element) -> None:
    for child in root.findall(f"{{{_SVG}}}metadata"):
        root.remove(child)
    for definitions in root.findall(f"{{{_SVG}}}defs"):
        for style in definitions.findall(f"{{{_SVG}}}style"):
            definitions.remove(style)


def _unpack_style(element: ET.Element) -> None:
    """Turn an element's style into presentation attributes."""
    for rule in element.attrib.pop("style", "").split(";"):
        name, _, value = rule.partition(":")
        if value.strip():
            element.set(name.strip(), value.strip())
    if "font" in element.attrib:
        raise ValueError("matplotlib wrote a font shorthand, which is no presentation attribute")
    if "font-family" in element.attrib:
        element.set("font-family", _FONTS)
    if element.get("transform", "").startswith("rotate(-0 "):
        del element.attrib["transform"]


def _drop_repeated_id(element: ET.Element, seen: set[str]) -> None:
    """Keep an id the first time only: matplotlib numbers some kinds of artist anew each group."""
    name = element.get("id")
    if name in seen:
        del element.attrib["id"]
    elif name:
        seen.add(name)


def _prefix_ids(element: ET.Element, prefix: str) -> None:
    if "id" in element.attrib:
        element.set("id", f"{prefix}-{element.attrib['id']}")
    if _HREF in element.attrib:
        target = element.attrib.pop(_HREF)
        element.set("href", f"#{prefix}-{target.removeprefix('#')}")
    for name, value in element.attrib.items():
        if "url(#" in value:
            element.set(name, _LOCAL_URL.sub(rf"url(#{prefix}-\1)", value))
