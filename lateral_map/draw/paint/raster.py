"""A drawing of ``paint.svg`` as a PNG picture: the same shapes, set dot by dot."""

from __future__ import annotations

import io
import re
from functools import lru_cache
from typing import Final
from xml.etree import ElementTree as ET

import numpy as np
from PIL import Image, ImageColor, ImageDraw, ImageFont

from lateral_map.draw.paint.fonts import font_path
from lateral_map.draw.style import PAPER
from lateral_map.model.arrays import Floats

# Drawn this much larger and brought down, so that slanting edges are smooth.
_FINER: Final = 2
_TURNED: Final = re.compile(r"translate\((\S+) (\S+)\) rotate\((\S+)\)")


def png_bytes(drawing: ET.Element, dots_per_inch: float) -> bytes:
    """Return a canvas's element as PNG, the same bytes for the same drawing.

    It knows what ``Canvas`` writes: groups, paths of straight steps, rectangles, circles and text.
    """
    width, height = (float(side) for side in drawing.get("viewBox", "").split()[2:])
    per_pt = _FINER * dots_per_inch / 72.0
    picture = Image.new("RGB", (round(width * per_pt), round(height * per_pt)), PAPER)
    brush = _Brush(picture, per_pt)
    for element in drawing.iter():
        brush.set(element)
    sheet = io.BytesIO()
    # Harder packing takes longer than all the drawing and saves a tenth.
    picture.reduce(_FINER).save(sheet, format="PNG", compress_level=3)
    return sheet.getvalue()


class _Brush:
    """Draws SVG elements on a picture, ``per_pt`` dots to the point."""

    def __init__(self, picture: Image.Image, per_pt: float) -> None:
        self.picture, self.per_pt = picture, per_pt
        # Solid colours are laid on, only the others mixed with what is there: mixing is slow.
        self.solid, self.mixing = (ImageDraw.Draw(picture, mode) for mode in ("RGB", "RGBA"))

    def set(self, element: ET.Element) -> None:
        if element.tag == "path":
            closed = "Z" in element.get("d", "")
            for part in element.get("d", "").split("M")[1:]:
                points = np.array(part.rstrip("Z").replace("L", " ").split(), float)
                self._shape(element, self.per_pt * points.reshape(-1, 2), closed=closed)
        elif element.tag == "rect":
            x, y, width, height = self._sizes(element, "x", "y", "width", "height")
            corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
            self._shape(element, np.array(corners), closed=True)
        elif element.tag == "circle":
            x, y, radius = self._sizes(element, "cx", "cy", "r")
            turn = np.linspace(0.0, 2.0 * np.pi, 48, endpoint=False)
            ring = np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=-1)
            self._shape(element, ring, closed=True)
        elif element.tag == "text":
            size = self.per_pt * float(element.get("font-size", "0"))
            font = _font(round(size), element.get("font-weight") == "bold")
            start = {"start": "ls", "middle": "ms", "end": "rs"}
            anchor = start[element.get("text-anchor", "start")]
            words, colour = element.text or "", _colour(element, "fill")
            turned = _TURNED.fullmatch(element.get("transform", ""))
            if turned is None:
                x, y = self._sizes(element, "x", "y")
                self.solid.text((x, y), words, fill=colour, font=font, anchor=anchor)
                return
            # Set level on a mask of its own whose middle is the place, and turn the mask about it.
            x, y = (round(self.per_pt * float(value)) for value in turned.groups()[:2])
            half = int(font.getlength(words) + 2 * size)
            mask = Image.new("L", (2 * half + 1, 2 * half + 1))
            ImageDraw.Draw(mask).text((half, half), words, fill=255, font=font, anchor=anchor)
            mask = mask.rotate(-float(turned[3]), resample=Image.Resampling.BILINEAR)
            self.picture.paste(Image.new("RGB", mask.size, colour), (x - half, y - half), mask)

    def _sizes(self, element: ET.Element, *names: str) -> list[float]:
        return [self.per_pt * float(element.get(name, "0")) for name in names]

    def _shape(self, element: ET.Element, points: Floats, *, closed: bool) -> None:
        if fill := _colour(element, "fill"):
            self._pen(fill).polygon([tuple(point) for point in points], fill=fill)
        stroke = _colour(element, "stroke")
        if not stroke:
            return
        width = max(1, round(self._sizes(element, "stroke-width")[0]))
        line = np.concatenate([points, points[:1]]) if closed else points
        dash = [self.per_pt * float(step) for step in element.get("stroke-dasharray", "").split()]
        pieces = [line]
        if dash:
            run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
            edges = np.cumsum(np.resize(dash, max(2, int(2 * len(dash) * run[-1] / sum(dash)) + 2)))
            edges = np.concatenate([[0.0], edges[edges < run[-1]], [run[-1]]])
            pieces = []
            for begin, end in zip(edges[:-1:2], edges[1::2], strict=False):
                inside = run[(run > begin) & (run < end)]
                at = np.concatenate([[begin], inside, [end]])
                pieces.append(np.stack([np.interp(at, run, axis) for axis in line.T], axis=-1))
        for piece in pieces:
            self._pen(stroke).line([tuple(at) for at in piece], stroke, width, joint="curve")

    def _pen(self, colour: tuple[int, ...]) -> ImageDraw.ImageDraw:
        return self.solid if colour[3] == 255 else self.mixing


@lru_cache(maxsize=8)
def _font(size: int, bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(font_path(bold=bold), size, layout_engine=ImageFont.Layout.BASIC)


def _colour(element: ET.Element, what: str) -> tuple[int, ...] | None:
    colour = element.get(what, "none")
    if colour == "none":
        return None
    opacity = float(element.get(f"{what}-opacity", "1"))
    return (*ImageColor.getrgb(colour)[:3], round(255 * opacity))
