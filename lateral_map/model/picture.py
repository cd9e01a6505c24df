"""A picture that lies under the plan: an aerial, a scanned plan, a photograph of a sketch."""

from __future__ import annotations

from dataclasses import dataclass

from lateral_map.model.arrays import Floats


@dataclass(frozen=True, slots=True)
class PicturePoint:
    """A point of the plan found in the picture, and how far the fit leaves it from its place.

    ``off_m`` is known less fitted, (east, north). ``others_m`` is how far from its place the other
    points alone put it, None where they are too few to say.
    """

    name: str
    off_m: tuple[float, float]
    others_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PlanPicture:
    """A picture as it lies in the plane: north up, its first pixel's corner in the north-west.

    ``jpeg`` is the picture itself, ``width_px`` by ``height_px``, each pixel ``pixel_m`` wide on
    the ground. ``outline_m`` is the (n, 2) polygon in which it shows anything. ``sd_m`` is the
    1 sd an axis of a place read off it. ``points`` are those it was fitted to, if any.
    """

    name: str
    jpeg: bytes
    width_px: int
    height_px: int
    west_m: float
    north_m: float
    pixel_m: float
    outline_m: Floats
    sd_m: float
    source: str = ""
    date: str = ""
    licence: str = ""
    points: tuple[PicturePoint, ...] = ()
