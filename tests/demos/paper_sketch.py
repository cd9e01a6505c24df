"""Draw what a photograph of a paper sketch of ``demo_sites/tape_only`` might look like.

Run as ``python tests/demos/paper_sketch.py``: it writes ``sketch.jpg`` into the demo and prints the
``[[picture_point]]`` entries that lay it. Everything in it is invented. Places are off by up to
half a foot and the sheet lies a little turned, as with a sketch drawn to scale by hand.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

from lateral_map import load_site

TAPE_ONLY: Final = Path(__file__).parents[2] / "demo_sites" / "tape_only"
SIZE: Final = (1280, 1010)
PX_PER_FT: Final = 9.4
TURN_DEG: Final = 2.6
# Where the sketch's own zero, the house's first corner, lies on the paper.
ORIGIN: Final = (420.0, 585.0)
LAID_BY: Final = ("NW", "SE", "pole", "hydrant")
_PAPER, _PENCIL, _RED = (232, 226, 210), (58, 58, 66), (168, 44, 40)
_FOOT_M: Final = 0.3048
_Colour = tuple[int, int, int]
# The lengths written on it, and about where, feet east and north of the first corner.
_SAID: Final = {
    "51'2\"": (25.6, -2.6), "35'9\"": (55.6, -18.0), "7'5\"": (35.6, -32.0),
    "32'": (16.0, -30.8), "28'2\"": (-4.0, -14.0), "28'1\"": (7.4, 8.0), "12'": (72.0, 22.0),
}  # fmt: skip


def pixel(east_ft: float, north_ft: float) -> tuple[float, float]:
    """Return the column and row at which a place of the sketch is drawn, a hand's slip off it."""
    slip = 0.35 * np.sin(north_ft / 11.0 + 0.4), 0.3 * np.cos(east_ft / 17.0 + 0.9)
    east_ft, north_ft = east_ft + slip[0], north_ft + slip[1]
    turn = np.radians(TURN_DEG)
    right = east_ft * np.cos(turn) + north_ft * np.sin(turn)
    up = north_ft * np.cos(turn) - east_ft * np.sin(turn)
    return ORIGIN[0] + PX_PER_FT * right, ORIGIN[1] - PX_PER_FT * up


class _Hand:
    """A pencil that wobbles over the paper, the same way each time."""

    def __init__(self) -> None:
        self.paper = Image.new("RGB", SIZE, _PAPER)
        self.brush = ImageDraw.Draw(self.paper)
        self.chance = np.random.default_rng(11)

    def stroke(self, corners: list[tuple[float, float]], width: int = 3) -> None:
        """Draw a line through places of the paper."""
        for (x0, y0), (x1, y1) in pairwise(corners):
            steps = max(int(np.hypot(x1 - x0, y1 - y0) / 18.0), 2)
            share = np.linspace(0.0, 1.0, steps + 1)
            off = np.cumsum(self.chance.normal(0.0, 0.8, (steps + 1, 2)), axis=0)
            off -= share[:, None] * off[-1]
            at = np.column_stack([x0 + share * (x1 - x0), y0 + share * (y1 - y0)]) + off
            self.brush.line([tuple(one) for one in at], _PENCIL, width, joint="curve")

    def write(
        self, said: str, at: tuple[float, float], size: int = 24, colour: _Colour = _PENCIL
    ) -> None:
        """Write a word about a place of the paper."""
        self.brush.text(at, said, colour, ImageFont.load_default(size), anchor="mm")


def draw() -> Image.Image:
    """Return the sheet, as it would be photographed."""
    plan = load_site(TAPE_ONLY, pictures=False).plan
    hand = _Hand()
    for area in plan.areas:
        at = np.asarray(area.polygon.exterior.coords) / _FOOT_M
        hand.stroke([pixel(*one) for one in at], width=4)
        hand.write(area.name, pixel(24.0, -14.0), 34)
    for line in plan.lines:
        at = line.vertices_m / _FOOT_M
        (west, east), north = np.clip(at[[0, -1], 0], -36.0, 84.0), float(at[0, 1])
        for up, width in ((0.0, 3), (0.7, 2))[: 2 if line.name == "curb" else 1]:
            hand.stroke([pixel(west, north + up), pixel(east, north + up)], width)
        guessed = " (so they say)" if line.name == "right of way" else ""
        hand.write(f"{line.name}{guessed}", pixel(west + 15.0, north + 2.0), 26)
    for point in (one for one in plan.points if one.name in ("hydrant", "pole", "cleanout")):
        x, y = pixel(point.easting_m / _FOOT_M, point.northing_m / _FOOT_M)
        hand.brush.ellipse([x - 9, y - 9, x + 9, y + 9], outline=_RED, width=4)
        hand.write(point.name, (x, y + (28 if point.name == "pole" else -26)), colour=_RED)
    for said, place in _SAID.items():
        hand.write(said, pixel(*place))
    hand.stroke([pixel(11.0, 0.5), pixel(11.0, 27.6)], width=2)
    hand.stroke([pixel(69.0, 16.4), pixel(69.0, 27.6)], width=2)
    hand.write("STREET", pixel(24.0, 34.5), 34)
    return _photographed(hand.paper, hand.chance)


def _photographed(ink: Image.Image, chance: np.random.Generator) -> Image.Image:
    """Return the sheet with a paper's grain, a fold and one side in the shade."""
    cells = np.asarray(ink.filter(ImageFilter.GaussianBlur(0.9)), float)
    across = np.linspace(0.0, 1.0, SIZE[0])[None, :, None]
    down = np.linspace(0.0, 1.0, SIZE[1])[:, None, None]
    shade = 1.0 - 0.16 * (across * down) - 0.05 * down
    fold = 1.0 - 0.10 * np.exp(-(((across - 0.5) * SIZE[0]) ** 2) / 18.0)
    grain = chance.normal(0.0, 2.2, (*SIZE[::-1], 1))
    return Image.fromarray((cells * shade * fold + grain).clip(0, 255).astype(np.uint8))


def main() -> None:
    """Write the picture, and print where its points are."""
    draw().save(TAPE_ONLY / "sketch.jpg", quality=68, optimize=True)
    places = {one.name: one for one in load_site(TAPE_ONLY, pictures=False).plan.points}
    for name in LAID_BY:
        one = places[name]
        column, row = pixel(one.easting_m / _FOOT_M, one.northing_m / _FOOT_M)
        entry = f'[[picture_point]]\npoint = "{name}"\ncolumn = {column:.0f}\nrow = {row:.0f}\n'
        sys.stdout.write(f"{entry}\n")


if __name__ == "__main__":
    main()
