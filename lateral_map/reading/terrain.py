"""ground.tif, a GeoTIFF terrain model, read as ground elevations about the start.

It stands in only where nobody measured a level: its heights may be on another datum than the site's
own, and the two must never be mixed. rasterio reads it (the optional extra 'terrain').
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.errors import FrameError
from lateral_map.frame import Frame, reproject
from lateral_map.model.site import Locate, Plan, Terrain
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.placing import PlacedStart
from lateral_map.reading.site_file import SiteFile
from lateral_map.units import to_metres

Floats = NDArray[np.float64]

# USGS Lidar Base Specification, quality level 2: 10 cm RMSE in height (from memory).
SD_TERRAIN_M: Final = 0.10
_MARGIN_M: Final = 5.0
_MOST_STEPS: Final = 60
_UNIT_WORDS: Final = {
    "m": "m", "metre": "m", "meter": "m", "metres": "m", "meters": "m",
    "ft": "ft", "foot": "ft", "feet": "ft",
    "us_ft": "us_ft", "us-ft": "us_ft", "us survey foot": "us_ft", "us survey feet": "us_ft",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wanted:
    """Where the ground is wanted: a square about the start, half a side and a margin each way.

    ``unit`` is that of the heights where site.toml gives it; ``sd_m`` their 1 sd.
    """

    easting_m: float
    northing_m: float
    half_m: float
    unit: str | None = None
    sd_m: float = SD_TERRAIN_M


@dataclass(frozen=True, slots=True)
class Levelled:
    """The site so far: what may already say how high the ground is."""

    said: SiteFile
    placed: PlacedStart
    end_m: float
    plan: Plan
    locates: tuple[Locate, ...]

    @property
    def by_hand(self) -> bool:
        """Say whether anybody measured a level."""
        start = self.said.start
        return (
            (start is not None and start.ground is not None)
            or bool(self.plan.levels)
            or any(locate.ground_m is not None for locate in self.locates)
        )


def add_terrain(path: Path, of: Levelled, ledger: Ledger) -> Plan:
    """Return the plan with the terrain model, or as it is where levels were measured."""
    if of.by_hand:
        ledger.notice(
            f"{path.name} is left aside: levels were measured on site, and its heights may be on "
            "another datum."
        )
        return of.plan
    wanted = Wanted(
        of.placed.easting_m,
        of.placed.northing_m,
        half_m=of.end_m - of.said.counter.zero,
        unit=of.said.terrain.unit,
        sd_m=of.said.terrain.accuracy,
    )
    return replace(of.plan, terrain=read_terrain(path, of.placed.frame, wanted, ledger))


def read_terrain(path: Path, frame: Frame, wanted: Wanted, ledger: Ledger) -> Terrain | None:
    """Return the ground about the start, None with a fault where the file cannot give it.

    Heights are sampled on a square grid in the site's plane, bilinear between cells.
    """
    if frame.is_local:
        ledger.fault(
            'a terrain model needs a place on earth, and crs is "local"',
            "declare a projected crs, or take the file away",
            file=path.name,
        )
        return None
    try:
        import rasterio
        import rasterio.errors
    except ImportError:
        ledger.fault(
            "reading a terrain model needs rasterio, which is not installed",
            "install it with: pip install 'lateral-map[terrain]'",
            file=path.name,
        )
        return None
    try:
        with rasterio.open(path) as model:
            return _sample(path, model, frame, wanted, ledger)
    except rasterio.errors.RasterioIOError:
        ledger.fault(
            "this is no raster that can be read", "write a GeoTIFF with one band", file=path.name
        )
    except FrameError as error:
        ledger.fault(str(error), "write a GeoTIFF in a system PROJ knows", file=path.name)
    return None


def _sample(path: Path, model: Any, frame: Frame, wanted: Wanted, ledger: Ledger) -> Terrain | None:
    if model.crs is None:
        ledger.fault("the file names no coordinate system", "write it with one", file=path.name)
        return None
    centre = _pixels(model, frame, wanted, np.zeros((1, 2)))
    across = np.hypot(*(_pixels(model, frame, wanted, np.eye(2)) - centre).T)
    cell = float(1.0 / max(across.max(), 1e-9))
    # A square about the start, no denser than the cells need.
    half_m = wanted.half_m + _MARGIN_M
    steps = int(min(np.ceil(2.0 * half_m / cell), _MOST_STEPS)) + 1
    axis = np.linspace(-half_m, half_m, max(steps, 3))
    offsets = np.stack([one.ravel() for one in np.meshgrid(axis, axis)], axis=-1)
    heights = _heights(model, _pixels(model, frame, wanted, offsets))
    known = np.isfinite(heights)
    if np.count_nonzero(known) < 3:
        ledger.fault(
            "it holds no heights about the start",
            "give a terrain model that covers the site",
            file=path.name,
        )
        return None
    unit = wanted.unit or _UNIT_WORDS.get((model.units[0] or "").strip().lower())
    if unit is None:
        ledger.notice(
            f"{path.name} does not name the unit of its heights: they are taken as metres."
        )
    factor = to_metres(1.0, unit or "m")
    place = offsets[known] + np.array([wanted.easting_m, wanted.northing_m])
    points = np.column_stack([place, heights[known] * factor])
    points.setflags(write=False)
    ledger.notice(f"The ground is read off {path.name}, 1 sd {wanted.sd_m:.2f} m.")
    return Terrain(points_m=points, sd_m=wanted.sd_m, source=path.name)


def _pixels(model: Any, frame: Frame, wanted: Wanted, offset_m: Floats) -> Floats:
    """Return (n, 2) columns and rows, counted from the first cell's middle, of places."""
    east, north = wanted.easting_m + offset_m[:, 0], wanted.northing_m + offset_m[:, 1]
    lonlat = frame.plane_to_lonlat(wanted.easting_m, wanted.northing_m)
    near = (0.0, 0.0) if lonlat is None else (float(lonlat[0]), float(lonlat[1]))
    x, y = frame.from_plane(east, north)
    x, y = reproject(x, y, frame.crs, model.crs.to_string(), near)
    to_cells = ~model.transform
    column = to_cells.a * x + to_cells.b * y + to_cells.c
    row = to_cells.d * x + to_cells.e * y + to_cells.f
    return np.stack([column, row], axis=-1) - 0.5


def _heights(model: Any, pixels: Floats) -> Floats:
    """Return bilinear heights at pixels, NaN beyond the model and beside cells without a height."""
    from scipy.ndimage import map_coordinates

    inside = np.all((pixels >= 0.0) & (pixels <= [model.width - 1, model.height - 1]), axis=1)
    heights = np.full(len(pixels), np.nan)
    if not inside.any():
        return heights
    first = np.floor(pixels[inside].min(axis=0)).astype(int)
    last = np.ceil(pixels[inside].max(axis=0)).astype(int)
    window = ((int(first[1]), int(last[1]) + 1), (int(first[0]), int(last[0]) + 1))
    cells = model.read(1, window=window, masked=True).astype(float).filled(np.nan)
    at = (pixels[inside] - first).T[::-1]
    heights[inside] = map_coordinates(cells, at, order=1, mode="nearest")
    return np.asarray(heights * model.scales[0] + model.offsets[0])
