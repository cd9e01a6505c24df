"""[picture]: where each pixel of a picture under the plan lies, and the picture laid in the plane.

A GeoTIFF says it itself; a world file beside the picture says it; or points found in the picture
whose places are known. What is kept is the part about the run, north up in the site's plane.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry import box as shapely_box

from lateral_map.adjust.similarity import MOST_TURN_RAD, fit_similarity
from lateral_map.errors import Either, Fault, FrameError, SiteError, Told
from lateral_map.frame import reproject, same_crs
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import POOR_FIT, chi_square_tail
from lateral_map.model.picture import PicturePoint, PlanPicture
from lateral_map.model.site import Plan
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.picture_pixels import (
    Raster,
    geotiff_raster,
    lay_pixels,
    pillow_raster,
)
from lateral_map.reading.pictures import check_ordinary, inside_folder
from lateral_map.reading.placing import FAR_M, PlacedStart, explain_xy
from lateral_map.reading.plan import POINTS, PlanNames
from lateral_map.reading.schema import PicturePointTable
from lateral_map.reading.site_file import SiteFile
from lateral_map.units import format_length, show_value

_TIFF: Final = (".tif", ".tiff")
# By the picture's ending: aerial.jpg goes with aerial.jgw, aerial.jpgw or aerial.wld.
_WORLD: Final = {
    ".jpg": (".jgw", ".jpgw", ".wld"), ".jpeg": (".jgw", ".jpegw", ".wld"),
    ".png": (".pgw", ".pngw", ".wld"), ".tif": (".tfw", ".tifw", ".wld"),
    ".tiff": (".tfw", ".tiffw", ".wld"), ".webp": (".wld",),
}  # fmt: skip
_LARGEST_WORLD_FILE: Final = 2_000
# Kept round the start: as far as the run reaches and this much more, in steps, so that a run which
# grows while it is entered need not be laid anew each time.
_MARGIN_M: Final = 30.0
_STEP_M: Final = 20.0

# Between (n, 2) pixels, counted from the picture's upper left corner, and places in the plane.
Carry = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class _Where:
    """Where a picture lies; ``points`` are those it was fitted to."""

    to_plane: Carry
    to_pixels: Carry
    points: tuple[PicturePoint, ...] = ()


@dataclass(frozen=True, slots=True)
class Under:
    """What site.toml says of the picture, the plan's names, and the folder that holds it."""

    said: SiteFile
    names: PlanNames
    folder: Path


@dataclass(frozen=True, slots=True)
class _Laying:
    """The site so far, as far as a picture under it has to know."""

    said: SiteFile
    names: PlanNames
    folder: Path
    placed: PlacedStart
    plan: Plan
    end_m: float


def add_picture(
    under: Under, placed: PlacedStart, plan: Plan, end_m: float, ledger: Ledger
) -> Plan:
    """Return the plan with the picture that site.toml names, or as it is where it names none."""
    of = _Laying(under.said, under.names, under.folder, placed, plan, end_m)
    table = of.said.picture
    if not table.file or table.accuracy is None:
        if of.said.picture_point and not table.file:
            remedy = Told(Either('write file = "aerial.jpg" under [picture]', "choose one"))
            row = of.said.line_of("picture_point[1]")
            ledger.fault("no picture is named", remedy, file="site.toml", row=row)
        return of.plan
    try:
        path = inside_folder(of.folder, table.file, "picture.file")
        raster, where = _georeferenced(path, of, table.accuracy, ledger)
        picture = _laid(raster, where, of)
    except SiteError as error:
        for fault in error.faults:
            field = fault.field or "picture.file"
            row = of.said.line_of(field) or of.said.line_of("picture")
            ledger.add(replace(fault, file="site.toml", field=field, row=row))
        return of.plan
    return replace(of.plan, picture=picture)


def _georeferenced(path: Path, of: _Laying, sd_m: float, ledger: Ledger) -> tuple[Raster, _Where]:
    """Return a picture's pixels, still unread, and where they lie; raises ``SiteError``."""
    if not path.exists():
        problem = f"the site folder holds no {show_value(of.said.picture.file)}"
        raise SiteError.of(problem, "put the picture there, or correct its name")
    there = {one.name.casefold(): one for one in path.parent.iterdir()}
    wanted = [path.with_suffix(one).name for one in _WORLD.get(path.suffix.lower(), ())]
    world = next((there[one.casefold()] for one in wanted if one.casefold() in there), None)
    if world is not None:  # a link that leads out of the folder is refused
        inside_folder(of.folder, str(world.relative_to(of.folder.resolve())), "picture.file")
    if of.said.picture_point:
        raster = pillow_raster(path, upright=True)
        return raster, _by_points(raster, of, sd_m, ledger)
    if world is not None:
        return pillow_raster(path), _by_numbers(_read_world(world), of.said.picture.crs, of)
    if path.suffix.lower() not in _TIFF:
        pillow_raster(path)  # what is no picture at all is told first
        example = [*wanted, path.with_suffix(".wld").name][0]
        points = Either("write two or more [[picture_point]]", "add two or more points found in it")
        remedy = Told(
            f"put a world file beside it (such as {example}), ", points, ", or save it as a GeoTIFF"
        )
        raise SiteError.of("nothing says where it lies", remedy)
    raster, numbers, crs = geotiff_raster(path)
    said = of.said.picture.crs
    if crs and said and not same_crs(crs, said):
        raise SiteError.of("the file names another system", "leave this out", field="picture.crs")
    if not (crs or said or of.placed.frame.is_local):
        remedy = Told(
            "write ", Either("[picture] crs", "here"), ", the system its coordinates are in"
        )
        raise SiteError.of("the file names no coordinate system", remedy)
    return raster, _by_numbers(numbers, crs or said, of)


def _read_world(path: Path) -> tuple[float, ...]:
    """Return the six numbers from pixel corners to coordinates; raises ``SiteError``.

    A world file gives, a line each, the steps in x and y of a column, then of a row, and x, y of
    the first pixel's middle.
    """
    check_ordinary(path, _LARGEST_WORLD_FILE)
    remedy = "write six lines: x and y of a step right, of a step down, of the first pixel's middle"
    try:
        values = [float(word) for word in path.read_text("ascii").split()]
    except (ValueError, OSError):
        values = []
    if len(values) != 6 or not all(map(math.isfinite, values)):
        raise SiteError.of(f"{path.name} is no world file of six numbers", remedy)
    a, d, b, e, c, f = values
    if abs(a * e - b * d) < 1e-30:
        raise SiteError.of(f"{path.name} makes every pixel as wide as nothing", remedy)
    return a, b, c - (a + b) / 2.0, d, e, f - (d + e) / 2.0


def _by_numbers(numbers: tuple[float, ...], crs: str, of: _Laying) -> _Where:
    """Return where a picture lies whose pixels' coordinates are known in a system.

    ``numbers`` are a, b, c, d, e, f of x = a column + b row + c and y = d column + e row + f.
    """
    frame = of.placed.frame
    other = bool(crs) and (frame.is_local or not same_crs(crs, frame.crs))
    if other and frame.is_local:
        local = Either('crs = "local"', "a sketch")
        problem = Told("the picture has a place on earth, and ", local, " has none")
        points = Either("write [[picture_point]]", "add points found in it")
        raise SiteError.of(problem, Told("declare a projected crs, or ", points))
    shape = np.array([numbers[:2], numbers[3:5]])
    origin = np.array([numbers[2], numbers[5]])
    lonlat = frame.plane_to_lonlat(of.placed.easting_m, of.placed.northing_m)
    near = (0.0, 0.0) if lonlat is None else (float(lonlat[0]), float(lonlat[1]))

    def to_plane(pixels: Floats) -> Floats:
        x, y = (pixels @ shape.T + origin).T
        if other:
            x, y = reproject(x, y, crs, frame.crs, near)
        return np.column_stack(frame.to_plane(x, y))

    def to_pixels(places: Floats) -> Floats:
        x, y = frame.from_plane(places[:, 0], places[:, 1])
        if other:
            x, y = reproject(x, y, frame.crs, crs, near)
        return np.asarray((np.column_stack([x, y]) - origin) @ np.linalg.inv(shape).T)

    try:
        to_pixels(np.array([[of.placed.easting_m, of.placed.northing_m]]))
    except FrameError as error:
        remedy = error.remedy or 'write a system PROJ knows, such as "EPSG:6499"'
        raise SiteError.of(error.problem, remedy, field="picture.crs") from None
    return _Where(to_plane, to_pixels)


def _by_points(raster: Raster, of: _Laying, sd_m: float, ledger: Ledger) -> _Where:
    """Return where a picture lies by points found in it, telling what the fit leaves over."""
    found = _known_points(raster, of)
    if len(found) < 2:
        remedy = "write two; a third checks them, a fourth bears it out"
        raise SiteError.of("one point alone lays no picture", remedy, field="picture_point[1]")
    names = [name for _, name, _ in found]
    # Rows count down, northings up.
    pixels = np.array([[one.column, -one.row] for one, _, _ in found])
    target = np.array([place for _, _, place in found])
    sd = np.full(len(found), sd_m)
    fit = fit_similarity(pixels, target, sd)
    if not fit.sd_turn_rad <= MOST_TURN_RAD:
        raise SiteError.of(
            "the points lie too close together: they would turn the picture by "
            f"{min(math.degrees(fit.sd_turn_rad), 180.0):.2g} degrees either way (1 sd)",
            "give points farther apart, or state a better accuracy if it is one",
            field="picture_point[1]",
        )
    off = target - fit.apply(pixels)
    points = []
    for k, name in enumerate(names):
        others_m = None
        if len(names) > 2:
            rest = np.arange(len(names)) != k
            alone = fit_similarity(pixels[rest], target[rest], sd[rest])
            others_m = float(np.hypot(*(alone.apply(pixels[k : k + 1]) - target[k])[0]))
        points.append(PicturePoint(name, (float(off[k, 0]), float(off[k, 1])), others_m))
    unit, file = of.said.unit, of.said.picture.file
    left = ", ".join(f"{one.name} {format_length(math.hypot(*one.off_m), unit)}" for one in points)
    check = "" if len(points) > 2 else " No third point checks it."
    ledger.notice(
        f"{file} was laid under the plan by {len(points)} points, shifted, turned and scaled. "
        f"Left over: {left}.{check}"
    )
    worst = max(points, key=lambda one: one.others_m or 0.0)
    chi_square, freedom = float(((off / sd_m) ** 2).sum()), 2 * len(points) - 4
    if freedom and chi_square_tail(freedom, chi_square) < POOR_FIT:
        named = f"the others put {worst.name} {format_length(worst.others_m or 0.0, unit)} off"
        ledger.notice(
            f"The points of {file} do not fit one another as well as its accuracy says: {named}. "
            "Check where each was found, and that the picture was taken straight on."
        )
    flip = np.array([1.0, -1.0])
    return _Where(
        lambda at: fit.apply(at * flip), lambda places: fit.undo(places) * flip, tuple(points)
    )


def _known_points(
    raster: Raster, of: _Laying
) -> list[tuple[PicturePointTable, str, tuple[float, float]]]:
    """Return the points with their names and places in the plane; raises ``SiteError``.

    It has no fault where those are told already: an entry's that could not be read, the plan's.
    """
    given, found, faults = of.said.picture_point, [], list[Fault]()
    for number, one in enumerate(given, 1):
        field = f"picture_point[{number}]"
        if one.column > raster.width or one.row > raster.height:
            size = f"{raster.width} by {raster.height}"
            remedy = "write the pixels from the left and from the top, the picture upright"
            faults.append(Fault(f"the picture has {size} pixels", remedy, field=field))
            continue
        place = _place_of(one, of, field, faults)
        if place is not None:
            found.append((one, one.point or f"point {number}", place))
    unread = f"picture_point[{len(given) + 1}]" in of.said.lines
    if faults or unread or len(found) < len(given):
        raise SiteError(faults)
    return found


def _place_of(
    one: PicturePointTable, of: _Laying, field: str, faults: list[Fault]
) -> tuple[float, float] | None:
    frame = of.placed.frame
    if one.point is not None:
        trouble = of.names.trouble(one.point, POINTS, "reference point")
        name = of.names.resolve(one.point, POINTS)
        if trouble is not None or name is None:
            if trouble is not None:
                faults.append(Fault(*trouble, field=f"{field}.point"))
            return None
        known = of.plan.point(name)
        return known.easting_m, known.northing_m
    lonlat = one.lat is not None
    x, y = (one.lon, one.lat) if lonlat else (one.x, one.y)
    if x is None or y is None:
        return None  # its fault is told
    try:
        east, north = (frame.lonlat_to_plane if lonlat else frame.to_plane)(x, y)
    except FrameError as error:
        faults.append(Fault(error.problem, error.remedy, field=field))
        return None
    return float(east), float(north)


def _laid(raster: Raster, where: _Where, of: _Laying) -> PlanPicture:
    """Return the part of a picture about the run in the plane; raises ``SiteError``."""
    table, placed = of.said.picture, of.placed
    corners = np.array([[0, 0], [raster.width, 0], [raster.width, raster.height],
                        [0, raster.height]], float)  # fmt: skip
    frame_m = where.to_plane(corners)
    reach = max(of.end_m - of.said.counter.zero, 0.0) + _MARGIN_M
    half = _STEP_M * math.ceil(reach / _STEP_M)
    east, north = placed.easting_m, placed.northing_m
    about = shapely_box(east - half, north - half, east + half, north + half)
    whole = Polygon(frame_m) if np.isfinite(frame_m).all() else Polygon()
    shown = whole.buffer(0).intersection(about)
    if shown.is_empty or not isinstance(shown, Polygon) or shown.area < 1e-6:
        raise SiteError(_elsewhere(frame_m, half, of))
    ring = np.asarray(shown.exterior.coords)[:-1]
    jpeg, width, height, pixel_m, low = lay_pixels(raster, where.to_pixels, ring)
    return PlanPicture(
        name=table.file,
        jpeg=jpeg,
        width_px=width,
        height_px=height,
        west_m=float(low[0]),
        north_m=float(low[1]),
        pixel_m=pixel_m,
        outline_m=np.round(ring, 4),
        sd_m=table.accuracy or 0.0,
        source=table.source,
        date=table.date,
        licence=table.licence,
        points=where.points,
    )


def _elsewhere(frame_m: Floats, half_m: float, of: _Laying) -> Fault:
    """Return the fault of a picture that shows nothing near the run, with what may be the cause."""
    frame, placed = of.placed.frame, of.placed
    reach = format_length(half_m, of.said.unit, 0)
    problem = f"it shows nothing within {reach} of the start"
    hint = "check its place, its coordinate system and its unit"
    if not np.isfinite(frame_m).all():
        return Fault(problem, hint)
    x, y = (float(one) for one in frame.from_plane(*frame_m.mean(axis=0)))

    def fits(x: float, y: float) -> bool:
        east, north = frame.to_plane(x, y)
        return bool(np.hypot(east - placed.easting_m, north - placed.northing_m) <= FAR_M)

    if not of.said.picture.crs:
        hint = explain_xy(x, y, frame.unit_m, fits) or hint
    return Fault(problem, hint)
