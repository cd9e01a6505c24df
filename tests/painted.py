"""An invented aerial of the plain demo lot, with a painted mark at points whose place is known.

Where each mark goes is worked out here by pyproj and affine alone, never by the program's frame.
"""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from affine import Affine
from PIL import Image, ImageDraw
from pyproj import Transformer

PLAIN_LOT = Path(__file__).parents[1] / "demo_sites" / "plain_lot"
MARK = (255, 0, 255)
MARKED = ("house SE corner", "garage SE corner", "hydrant", "power pole")
GROUND = (96, 128, 80)


def lonlat_points() -> dict[str, tuple[float, float]]:
    """Return the demo's reference points, longitude and latitude as its plan writes them."""
    plan = json.loads((PLAIN_LOT / "plan.geojson").read_text("utf-8"))
    return {
        one["properties"]["name"]: tuple(one["geometry"]["coordinates"])
        for one in plan["features"]
        if one["properties"]["kind"] == "reference"
    }


def declared_points(crs: str = "EPSG:6499") -> dict[str, tuple[float, float]]:
    """Return them in a coordinate system."""
    into = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    return {name: into.transform(*at) for name, at in lonlat_points().items()}


@dataclass
class Painted:
    """A picture of the lot: ``pixel`` units of its system a pixel, turned by ``turn_deg``.

    ``at`` is where each mark's middle is, in pixels from the picture's upper left corner.
    """

    crs: str = "EPSG:6499"
    pixel: float = 0.25
    turn_deg: float = 0.0
    size: tuple[int, int] = (900, 800)
    radius: float = 5.0
    marked: Sequence[str] = MARKED
    mark: tuple[int, int, int] = MARK
    at: dict[str, tuple[float, float]] = field(init=False)
    to_world: Affine = field(init=False)

    def __post_init__(self) -> None:
        points = declared_points(self.crs)
        middle = np.mean([points[name] for name in MARKED], axis=0)
        self.to_world = (
            Affine.translation(*middle)
            @ Affine.rotation(self.turn_deg)
            @ Affine.scale(self.pixel, -self.pixel)
            @ Affine.translation(-self.size[0] / 2.0, -self.size[1] / 2.0)
        )
        self.at = {name: ~self.to_world @ points[name] for name in self.marked}

    def image(self) -> Image.Image:
        """Return the picture: checkered ground, so that a shift shows, and the marks."""
        picture = Image.new("RGB", self.size, GROUND)
        brush = ImageDraw.Draw(picture)
        for x in range(0, self.size[0], 40):
            for y in range((x // 40 % 2) * 40, self.size[1], 80):
                brush.rectangle((x, y, x + 39, y + 39), (112, 144, 92))
        cells = np.asarray(picture).copy()
        reach = int(self.radius) + 2
        for x, y in self.at.values():
            # A disc with soft edges, so that its middle is where it should be within a pixel too.
            left, top = max(int(x) - reach, 0), max(int(y) - reach, 0)
            part = cells[top : int(y) + reach, left : int(x) + reach]
            rows, columns = np.indices(part.shape[:2]) + 0.5
            far = np.hypot(columns + left - x, rows + top - y)
            covered = (self.radius - far + 0.5).clip(0.0, 1.0)[..., None]
            part[:] = (covered * self.mark + (1.0 - covered) * part).round()
        return Image.fromarray(cells)

    def bytes(self, kind: str = "JPEG", **more: object) -> bytes:
        """Return it as a file's bytes."""
        saved = io.BytesIO()
        self.image().save(saved, kind, **({"quality": 92} if kind == "JPEG" else {}), **more)
        return saved.getvalue()

    def world_file(self) -> str:
        """Return its six lines: they give the first pixel's middle."""
        to = self.to_world @ Affine.translation(0.5, 0.5)
        return "".join(f"{one:.9f}\n" for one in (to.a, to.d, to.b, to.e, to.c, to.f))

    def geotiff(self, path: Path, bands: int = 3) -> None:
        """Write it as a GeoTIFF."""
        import rasterio

        cells = np.moveaxis(np.asarray(self.image()), -1, 0)[:bands]
        with rasterio.open(
            path, "w", driver="GTiff", width=self.size[0], height=self.size[1], count=bands,
            dtype="uint8", crs=self.crs, transform=self.to_world, tiled=True,
        ) as file:  # fmt: skip
            file.write(cells)


def lot_with(folder: Path, toml: str, files: dict[str, bytes] | None = None) -> Path:
    """Return a copy of the plain lot with more at the end of its site.toml, and more files."""
    shutil.copytree(PLAIN_LOT, folder, dirs_exist_ok=True)
    with (folder / "site.toml").open("a", encoding="utf-8") as site:
        site.write(toml)
    for name, data in (files or {}).items():
        (folder / name).write_bytes(data)
    return folder


def painted_lot(folder: Path, painted: Painted | None = None, *, more: str = "") -> Path:
    """Return the plain lot with a painted JPEG and its world file under it."""
    painted = painted or Painted()
    toml = f'\n[picture]\nfile = "aerial.jpg"\naccuracy = 1.5\n{more}'
    if painted.crs != "EPSG:6499":
        toml += f'crs = "{painted.crs}"\n'
    files = {"aerial.jpg": painted.bytes(), "aerial.jgw": painted.world_file().encode()}
    return lot_with(folder, toml, files)


def marks_seen(picture: Image.Image, *, black: bool = False) -> list[tuple[float, float]]:
    """Return the middles of the painted marks in a picture, x, y from its upper left corner.

    ``black`` looks for what is darkest in a pale grey picture.
    """
    from scipy import ndimage

    cells = np.asarray(picture.convert("RGB")).astype(float)
    strength = (np.minimum(cells[..., 0], cells[..., 2]) - cells[..., 1]).clip(0.0)
    if black:
        strength = (175.0 - cells[..., 1]).clip(0.0)
    spots, count = ndimage.label(strength > (15.0 if black else 60.0))
    sizes = ndimage.sum_labels(np.ones_like(strength), spots, range(1, count + 1))
    found = [k for k, size in enumerate(np.atleast_1d(sizes), 1) if size >= 4]
    middles = ndimage.center_of_mass(strength, spots, found)
    return [(float(x) + 0.5, float(y) + 0.5) for y, x in middles]
