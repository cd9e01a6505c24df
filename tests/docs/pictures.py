"""Take the pictures of README and docs/index.md from real output: docs/images/map.png, profile.png.

Run as ``python tests/docs/pictures.py``; needs Chromium. Look at them afterwards.
"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

from chromium import launched

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


def _photograph(page: Path) -> Image.Image:
    """Return the page from its top to the bottom of its map."""
    with launched() as browser:
        tab = browser.new_page(viewport={"width": WIDTH_PX, "height": 1000})
        tab.goto(page.as_uri())
        tab.wait_for_function("document.querySelector('.leaflet-container') !== null")
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
