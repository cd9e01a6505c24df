"""A picture's pixels laid in the plane: read only as far and as fine as they are shown."""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.errors import Either, SiteError, Told
from lateral_map.model.arrays import Floats
from lateral_map.reading.pictures import (
    check_ordinary,
    eight_bits,
    open_picture,
    plain_colours,
)

if TYPE_CHECKING:
    from PIL import Image

# What is embedded: no finer than this many pixels a side, in no more bytes than these.
LONGEST_PX: Final = 1_800
MOST_BYTES: Final = 600_000
_QUALITIES: Final = (80, 65)
_COARSER: Final = 1.25
# The plane is warped into the picture's pixels in so many squares a side, bilinear in each.
_MESH: Final = 8
_LARGEST_GEOTIFF: Final = 2_000_000_000
# GDAL reads a block whole; an untiled file of this many pixels a block is a trap or a slip.
_MOST_BLOCK_PIXELS: Final = 50_000_000
_MOST_READ: Final = 400_000_000
# A picture may be shrunk by this share of what it could be: what is left, warping does.
_LEAST_OF: Final = 0.66


@dataclass(frozen=True, slots=True)
class Raster:
    """A picture of ``width`` by ``height`` pixels, not read yet.

    Two of one name, size and time of change are the same wherever they lie. ``upright`` turns it
    as the camera was held.
    """

    name: str
    width: int
    height: int
    bytes: int
    changed_ns: int
    geotiff: bool = False
    upright: bool = False
    path: Path = field(compare=False, default=Path())


def pillow_raster(path: Path, *, upright: bool = False) -> Raster:
    """Return a JPEG, PNG, WebP, TIFF or HEIC picture; raises ``SiteError``."""
    with open_picture(path) as picture:
        width, height = picture.size
        if upright and picture.getexif().get(0x0112, 1) in (5, 6, 7, 8):
            width, height = height, width
    known = path.stat()
    return Raster(
        path.name, width, height, known.st_size, known.st_mtime_ns, upright=upright, path=path
    )


def geotiff_raster(path: Path) -> tuple[Raster, tuple[float, ...], str]:
    """Return a GeoTIFF, its six numbers from pixel corners to coordinates, its system.

    The system is empty where the file names none. Raises ``SiteError``.
    """
    check_ordinary(path, _LARGEST_GEOTIFF)
    with _opened(path) as model:
        if any(high * wide > _MOST_BLOCK_PIXELS for high, wide in model.block_shapes):
            remedy = "save it tiled (256 by 256), or cut it to the site"
            raise SiteError.of("its pixels are packed in one block too large", remedy)
        if model.transform.is_identity:
            points = Either("write two or more [[picture_point]]", "add two or more points")
            remedy = Told(points, ", or put a world file beside it")
            raise SiteError.of("nothing says where it lies", remedy)
        known = path.stat()
        raster = Raster(
            path.name, model.width, model.height, known.st_size, known.st_mtime_ns,
            geotiff=True, path=path,
        )  # fmt: skip
        return raster, tuple(model.transform)[:6], model.crs.to_string() if model.crs else ""


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Yield a GeoTIFF open in rasterio; its failures are told as ``SiteError``."""
    try:
        import rasterio
        from rasterio.errors import RasterioError
    except ImportError:
        problem = "reading a GeoTIFF needs rasterio, which is not installed"
        remedy = "install it with: pip install 'lateral-map[picture]'"
        raise SiteError.of(problem, remedy) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            # One driver, and no file beside it: whatever else GDAL reads is no GeoTIFF.
            with (
                rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR"),
                rasterio.open(path, driver="GTiff") as model,
            ):
                yield model
    except (RasterioError, OSError, MemoryError, ValueError) as error:
        problem = f"this is no GeoTIFF that can be read ({type(error).__name__})"
        raise SiteError.of(problem, "save it again as a GeoTIFF") from None


def lay_pixels(
    raster: Raster, to_pixels: Callable[[Floats], Floats], outline_m: Floats
) -> tuple[bytes, int, int, float, Floats]:
    """Return a picture's part within an outline, north up: JPEG, width, height, pixel, corner.

    ``to_pixels`` carries (n, 2) places of the plane to (n, 2) columns and rows; ``outline_m`` is
    the (n, 2) polygon wanted. The pixel's side and the north-western corner are in metres. Raises
    ``SiteError`` where the file does not hold the pixels it claims.
    """
    low, high = outline_m.min(axis=0), outline_m.max(axis=0)
    middle = (low + high) / 2.0
    own = to_pixels(middle + np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.1]]))
    # How many metres one pixel is, along whichever way it is finer.
    finest_m = 0.1 / float(np.hypot(*(own[1:] - own[0]).T).max())
    pixel_m = max(finest_m, float((high - low).max()) / LONGEST_PX)
    north_west = np.round([low[0], high[1]], 4)
    while True:
        pixel_m = float(f"{pixel_m:.6g}")
        size = tuple(min(max(1, math.ceil(span / pixel_m)), LONGEST_PX) for span in high - low)
        most = max(1, int(min(pixel_m / finest_m + 1e-6, raster.width, raster.height)))
        # By 8, 4 or 2 times a number where that will do: a JPEG then takes a part of the memory.
        steps = (step * (most // step) for step in (8, 4, 2, 1))
        shrink = next(one for one in steps if one >= _LEAST_OF * most)
        laid = _lay(raster, to_pixels, north_west, pixel_m, (size[0], size[1]), shrink)
        if laid is not None:
            return laid, size[0], size[1], pixel_m, north_west
        pixel_m *= _COARSER


def _lay(
    raster: Raster,
    to_pixels: Callable[[Floats], Floats],
    north_west: Floats,
    pixel_m: float,
    size: tuple[int, int],
    shrink: int,
) -> bytes | None:
    """Return JPEG of one size, None where it takes too many bytes."""
    edges = [np.unique(np.linspace(0, side, _MESH + 1).astype(int)) for side in size]
    columns, rows = np.meshgrid(*edges)
    at = np.column_stack([columns.ravel(), rows.ravel()])
    places = north_west + pixel_m * at * [1.0, -1.0]
    # Rounded, so that no pixel hangs on a last bit.
    pixels = np.round(to_pixels(places), 5).reshape(*columns.shape, 2)
    if not np.isfinite(pixels).all():
        raise SiteError.of("its coordinate system does not reach the run", "check it")
    # What has to be read of the picture, in whole steps of what is shrunk to one.
    low = np.floor(pixels.min(axis=(0, 1)) / shrink - 2.0).clip(0.0) * shrink
    high = np.ceil(pixels.max(axis=(0, 1)) / shrink + 2.0) * shrink
    high = np.minimum(high, [raster.width, raster.height])
    source = (pixels - low) / shrink
    mesh = [
        (
            (int(edges[0][i]), int(edges[1][j]), int(edges[0][i + 1]), int(edges[1][j + 1])),
            # North-west, south-west, south-east, north-east.
            tuple(
                float(one)
                for down, right in ((0, 0), (1, 0), (1, 1), (0, 1))
                for one in source[j + down, i + right]
            ),
        )
        for j, i in product(range(len(edges[1]) - 1), range(len(edges[0]) - 1))
    ]
    if np.prod(high - low) > _MOST_READ:
        many = f"there are {np.prod(high - low) / 1e6:,.0f} million pixels about the run"
        remedy = f"save it coarser; {_MOST_READ / 1e6:,.0f} million are the most"
        raise SiteError.of(many, remedy)
    window = (int(low[0]), int(low[1]), int(high[0]), int(high[1]))
    return _packed(raster, window, shrink, size, tuple(mesh))


_Mesh = tuple[tuple[tuple[int, int, int, int], tuple[float, ...]], ...]


@lru_cache(maxsize=8)
def _packed(
    raster: Raster,
    window: tuple[int, int, int, int],
    shrink: int,
    size: tuple[int, int],
    mesh: _Mesh,
) -> bytes | None:
    """Return the window of a picture, shrunk and warped, as JPEG within the budget, or None.

    Kept, since a site is read anew at every change while it is entered.
    """
    from PIL import Image

    part = (_geotiff_part if raster.geotiff else _pillow_part)(raster, window, shrink)
    laid = part.transform(
        size, Image.Transform.MESH, list(mesh), Image.Resampling.BICUBIC, fillcolor="white"
    )
    for quality in _QUALITIES:
        saved = io.BytesIO()
        laid.save(saved, "JPEG", quality=quality, optimize=True)
        if saved.tell() <= MOST_BYTES:
            return saved.getvalue()
    return None


def _pillow_part(raster: Raster, window: tuple[int, int, int, int], shrink: int) -> Image.Image:
    """Return a window of a picture, each pixel the mean of ``shrink`` by ``shrink``."""
    from PIL import ImageOps

    with open_picture(raster.path) as picture:
        turned = raster.upright and picture.getexif().get(0x0112, 1) != 1
        drawn = 1
        if picture.format == "JPEG" and not turned and min(picture.size) >= 64:
            # Made smaller while it is read, by whole steps: the smaller pixels begin together.
            drawn = math.gcd(shrink, 8)
            picture.draft(None, (raster.width // drawn, raster.height // drawn))
        whole = eight_bits(ImageOps.exif_transpose(picture) if turned else picture)
        if whole.mode == "P":
            whole = whole.convert("RGBA" if "transparency" in whole.info else "RGB")
        left, top, right, bottom = (-(-side // drawn) for side in window)
        return plain_colours(whole.crop((left, top, right, bottom)).reduce(shrink // drawn))


def _geotiff_part(raster: Raster, window: tuple[int, int, int, int], shrink: int) -> Image.Image:
    """Return a window of a GeoTIFF, each pixel the mean of ``shrink`` by ``shrink``."""
    from PIL import Image
    from rasterio.enums import ColorInterp, Resampling
    from rasterio.windows import Window

    left, top, right, bottom = window
    shape = (max(1, (bottom - top) // shrink), max(1, (right - left) // shrink))
    part = Window(left, top, shape[1] * shrink, shape[0] * shrink)
    with _opened(raster.path) as model:
        palette = model.colorinterp[0] == ColorInterp.palette
        bands = [
            index for index, band in enumerate(model.colorinterp, 1) if band != ColorInterp.alpha
        ]
        bands = bands[:3] if len(bands) >= 3 and not palette else bands[:1]
        read = {
            "window": part,
            "out_shape": (len(bands), *shape),
            "resampling": Resampling.nearest if palette else Resampling.average,
        }
        cells = model.read(bands, **read)
        known = model.dataset_mask(window=part, out_shape=shape, resampling=Resampling.nearest) > 0
        colours = model.colormap(bands[0]) if palette else None
    if colours is not None:
        table = np.array([colours.get(k, (0, 0, 0, 255))[:3] for k in range(256)], np.uint8)
        layers = table[cells[0].astype(np.intp).clip(0, 255)]
    else:
        layers = np.moveaxis(
            np.stack([_to_bytes(cells, known)[k % len(bands)] for k in range(3)]), 0, -1
        )
    layers = np.where(known[..., None], layers, np.uint8(255))
    return Image.fromarray(np.ascontiguousarray(layers, np.uint8), "RGB")


def _to_bytes(cells: NDArray[Any], known: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return (bands, rows, columns) in 0 to 255; finer steps from the darkest to the lightest."""
    if cells.dtype == np.uint8:
        return cells
    heights = np.real(cells).astype(float)
    finite = np.isfinite(heights)
    shown = heights[finite & known]
    if not shown.size:
        return np.full(cells.shape, 255, np.uint8)
    low, high = np.percentile(shown, [1.0, 99.0])
    share = (np.where(finite, heights, low).clip(low, high) - low) / max(high - low, 1e-9)
    return np.asarray(255.0 * share, np.uint8)
