"""Take the pictures of README, docs/index.md and a how-to from real output, to docs/images.

Run as ``python tests/docs/pictures.py``; needs Chromium. Look at them afterwards.
"""

from __future__ import annotations

import io
import json
import sys
import tempfile
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from chromium import launched
from painted import Painted, lot_with

from lateral_map import build_report, load_site
from lateral_map.export.registry import write_products

TOP = Path(__file__).parents[2]
IMAGES = TOP / "docs" / "images"
WIDTH_PX = 1180


def main() -> None:
    """Draw the plain lot and keep two small pictures of it."""
    with tempfile.TemporaryDirectory() as folder:
        report = build_report(load_site(TOP / "demo_sites" / "plain_lot"))
        write_products(report, Path(folder), ["map", "profile"])
        _save(_photograph(Path(folder) / "map.html"), "map.png")
        _save(Image.open(Path(folder) / "profile.png"), "profile.png")
        lot = _over_an_aerial(Path(folder) / "lot")
        write_products(build_report(load_site(lot)), Path(folder), ["map"])
        _save(_photograph(Path(folder) / "map.html", turn_off="surfaces"), "underneath.png")


def _over_an_aerial(folder: Path) -> Path:
    """Return the plain lot over an aerial that is as invented as the lot: its plan, painted."""
    import numpy as np
    from PIL import ImageDraw, ImageFilter
    from pyproj import Transformer

    aerial = Painted(pixel=0.15, size=(1300, 1100), turn_deg=6.0, marked=())
    into = Transformer.from_crs("EPSG:4326", aerial.crs, always_xy=True)
    chance = np.random.default_rng(7)

    def grained(colour: tuple[int, int, int], rough: float) -> Image.Image:
        grain = chance.normal(0.0, rough, (aerial.size[1], aerial.size[0], 1))
        broad = Image.fromarray(chance.integers(0, 255, (11, 13), np.uint8)).resize(
            aerial.size, Image.Resampling.BICUBIC
        )
        tone = (np.asarray(broad, float)[..., None] - 128.0) / 9.0
        return Image.fromarray((np.array(colour) + grain + tone).clip(0, 255).astype(np.uint8))

    colours = {
        "lawn": (98, 124, 78), "planting": (66, 96, 58), "concrete": (188, 186, 178),
        "asphalt": (104, 105, 108), "building": (128, 104, 94),
    }  # fmt: skip
    picture = grained((98, 124, 78), 7.0)
    plan = json.loads((TOP / "demo_sites" / "plain_lot" / "plan.geojson").read_text("utf-8"))
    for cover, colour in colours.items():  # roofs last
        mask = Image.new("L", aerial.size)
        for one in plan["features"]:
            said = one["properties"]
            if cover in (said.get("cover"), said["kind"]):
                ring = one["geometry"]["coordinates"][0]
                at = [~aerial.to_world @ into.transform(*corner) for corner in ring]
                ImageDraw.Draw(mask).polygon(at, 255)
        picture.paste(grained(colour, 5.0), mask=mask)
    trees = Image.new("L", aerial.size)
    for x, y, r in zip(
        chance.uniform(0, 1300, 14), chance.uniform(0, 1100, 14), chance.uniform(18, 46, 14),
        strict=True,
    ):  # fmt: skip
        ImageDraw.Draw(trees).ellipse((x - r, y - r, x + r, y + r), 225)
    picture.paste(grained((52, 80, 46), 11.0), mask=trees.filter(ImageFilter.GaussianBlur(4)))
    saved = io.BytesIO()
    picture.filter(ImageFilter.GaussianBlur(0.8)).save(saved, "JPEG", quality=85)
    toml = (
        '\n[picture]\nfile = "aerial.jpg"\naccuracy = 1.5\n'
        'source = "Marrowfield aerial survey (invented)"\ndate = 2025\n'
    )
    files = {"aerial.jpg": saved.getvalue(), "aerial.jgw": aerial.world_file().encode()}
    return lot_with(folder, toml, files)


def _photograph(page: Path, turn_off: str = "") -> Image.Image:
    """Return the page from its top to the bottom of its map, one layer perhaps turned off."""
    with launched() as browser:
        tab = browser.new_page(viewport={"width": WIDTH_PX, "height": 1000})
        tab.goto(page.as_uri())
        tab.wait_for_function("() => document.querySelector('.leaflet-container') !== null")
        if turn_off:
            tab.locator(f"#layer-{turn_off}").uncheck()
            tab.locator("#layer-picture").scroll_into_view_if_needed()
        tab.wait_for_timeout(1000)
        box = tab.locator(".leaflet-container").first.bounding_box()
        assert box is not None
        height = box["y"] + box["height"] + 8
        shot = tab.screenshot(clip={"x": 0, "y": 0, "width": WIDTH_PX, "height": height})
    return Image.open(io.BytesIO(shot))


def _save(picture: Image.Image, name: str) -> None:
    small = picture.convert("RGB")
    small.thumbnail((WIDTH_PX, 10_000), Image.Resampling.LANCZOS)
    # Refined by k-means: a plain median cut greys the colours of small marks.
    few = small.quantize(256, Image.Quantize.MAXCOVERAGE, kmeans=8, dither=Image.Dither.NONE)
    few.save(IMAGES / name, optimize=True)


if __name__ == "__main__":
    main()
