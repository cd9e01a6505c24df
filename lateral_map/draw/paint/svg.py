"""A small SVG writer in points (1/72 in), y down, that escapes whatever it is given."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal, Self
from xml.etree import ElementTree as ET

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.draw.paint.fonts import FAMILIES
from lateral_map.draw.style import INK, PAPER, LineStyle
from lateral_map.words.numbers import apart

Anchor = Literal["start", "middle", "end"]

# Screen pixels of draw.style to points on paper: a sheet is looked at from nearer by.
STROKE_PT: Final = 0.36
DASH_PT: Final = 0.5


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line on paper: colour, width and dashes in points."""

    colour: str = INK
    width_pt: float = 0.6
    dash_pt: tuple[float, ...] = ()
    opacity: float = 1.0
    cap: Literal["butt", "round"] = "butt"

    @classmethod
    def of(cls, style: LineStyle, *, widest_pt: float = 6.0) -> Self:
        """Return a screen style as it is printed."""
        width = min(style.width_px * STROKE_PT, widest_pt)
        dash = tuple(max(length * DASH_PT, 1.0) for length in style.dash_px)
        return cls(style.colour, width, dash, style.opacity)

    def attributes(self) -> dict[str, str]:
        """Return the stroke's SVG attributes."""
        found = {
            "fill": "none",
            "stroke": self.colour,
            "stroke-width": number(self.width_pt),
            "stroke-linejoin": "round",
            "stroke-linecap": self.cap,
        }
        if self.dash_pt:
            found["stroke-dasharray"] = " ".join(number(length) for length in self.dash_pt)
        if self.opacity < 1.0:
            found["stroke-opacity"] = number(self.opacity)
        return found


HAIRLINE: Final = Stroke(width_pt=0.3)


def number(value: float) -> str:
    """Return a coordinate to a thousandth of a point, without a trailing or a negative zero."""
    return f"{float(value):z.3f}".rstrip("0").rstrip(".")


def path_data(lines: Iterable[ArrayLike], *, closed: bool = False) -> str:
    """Return SVG path data through stacks of (n, 2) points."""
    parts = []
    for line in lines:
        points = np.asarray(line, float)
        if len(points) > 1:
            told = [f"{one:z.3f}".rstrip("0").rstrip(".") for one in points.ravel().tolist()]
            steps = "L".join(map(" ".join, zip(told[::2], told[1::2], strict=True)))
            parts.append(f"M{steps}{'Z' if closed else ''}")
    return "".join(parts)


class Canvas:
    """One SVG element being filled. Positions are points on the paper, y down."""

    def __init__(self, element: ET.Element) -> None:
        self.element = element

    @classmethod
    def sheet(cls, width_pt: float, height_pt: float, title: str) -> Self:
        """Return an empty drawing of exactly this size."""
        element = ET.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": f"{number(width_pt)}pt",
                "height": f"{number(height_pt)}pt",
                "viewBox": f"0 0 {number(width_pt)} {number(height_pt)}",
                "role": "img",
                "aria-label": title,
                "font-family": FAMILIES,
            },
        )
        return cls(element)

    def group(self, name: str, /, **data: object) -> Canvas:
        """Return a new group in this one; ``data`` become its data- attributes."""
        attributes = {"class": name} | {f"data-{key}": str(value) for key, value in data.items()}
        return Canvas(ET.SubElement(self.element, "g", attributes))

    def line(self, points: ArrayLike, stroke: Stroke = HAIRLINE) -> None:
        """Draw a line through (n, 2) points."""
        self.lines([points], stroke)

    def lines(self, lines: Iterable[ArrayLike], stroke: Stroke = HAIRLINE) -> None:
        """Draw several lines in one stroke."""
        data = path_data(lines)
        if data:
            ET.SubElement(self.element, "path", {"d": data, **stroke.attributes()})

    def area(
        self,
        rings: Iterable[ArrayLike],
        fill: str,
        *,
        opacity: float = 1.0,
        edge: Stroke | None = None,
    ) -> None:
        """Fill rings, holes left open."""
        data = path_data(rings, closed=True)
        if not data:
            return
        attributes = edge.attributes() if edge else {}
        attributes |= {"d": data, "fill": fill, "fill-rule": "evenodd"}
        if opacity < 1.0:
            attributes["fill-opacity"] = number(opacity)
        ET.SubElement(self.element, "path", attributes)

    def box(
        self,
        left: float,
        top: float,
        width: float,
        height: float,
        *,
        fill: str = "none",
        edge: Stroke | None = None,
    ) -> None:
        """Draw a rectangle."""
        sizes = {"x": left, "y": top, "width": width, "height": height}
        self._put("rect", edge, sizes, fill=fill)

    def circle(
        self, x: float, y: float, radius: float, *, fill: str = PAPER, edge: Stroke | None = None
    ) -> None:
        """Draw a circle."""
        self._put("circle", edge, {"cx": x, "cy": y, "r": radius}, fill=fill)

    def image(self, left: float, top: float, width: float, height: float, address: str) -> None:
        """Set a picture, given as a data: address, into a box."""
        sizes = {"x": left, "y": top, "width": width, "height": height}
        self._put("image", None, sizes, preserveAspectRatio="none", href=address)

    def _put(self, tag: str, edge: Stroke | None, sizes: Mapping[str, float], **words: str) -> None:
        attributes = edge.attributes() if edge else {}
        attributes |= {name: number(size) for name, size in sizes.items()} | words
        ET.SubElement(self.element, tag, attributes)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size_pt: float,
        *,
        anchor: Anchor = "start",
        bold: bool = False,
        colour: str = INK,
        turn_deg: float = 0.0,
    ) -> None:
        """Set one line of text, its baseline at y, turned clockwise about x, y."""
        if not words:
            return
        attributes = {
            "font-size": number(size_pt),
            "fill": colour,
            "text-anchor": anchor,
        }
        if bold:
            attributes["font-weight"] = "bold"
        if turn_deg:
            attributes["transform"] = (
                f"translate({number(x)} {number(y)}) rotate({number(turn_deg)})"
            )
        else:
            attributes |= {"x": number(x), "y": number(y)}
        ET.SubElement(self.element, "text", attributes).text = apart(words)

    def to_text(self) -> str:
        """Return the SVG as text."""
        return ET.tostring(self.element, encoding="unicode")
