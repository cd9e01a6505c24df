"""The site's frame and start, and coordinates that cannot be where they are said to be.

Swapped coordinates, a forgotten minus sign and a wrong unit all put a thing far from the start or
outside the system's own area; each is tried in turn, and the one that fits is named.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import Either, Fault, FrameError, Told
from lateral_map.frame import Frame, local_frame, projected_frame, projected_frame_at, read_crs
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.plan import POINTS, PlanNames, SortedPlan
from lateral_map.reading.site_file import SiteFile
from lateral_map.units import metres_per

# Nothing of a lateral's plan is this far from its start.
FAR_M: Final = 10_000.0

Floats = NDArray[np.float64]
Fits = Callable[[float, float], bool]


@dataclass(frozen=True, slots=True)
class PlacedStart:
    """The frame, and the start in it."""

    frame: Frame
    easting_m: float
    northing_m: float


@dataclass(frozen=True, slots=True)
class _Given:
    """The start as given: longitude and latitude, or declared x and y."""

    lonlat: bool
    x: float
    y: float
    field: str


def is_local(crs: str) -> bool:
    """Say whether a declared crs is a sketch tied to no place on earth."""
    return crs.casefold() == "local"


def place_start(said: SiteFile, names: PlanNames, ledger: Ledger) -> PlacedStart | None:
    """Return the frame centred on the start; None, with a fault, where there can be none."""
    given = _given_start(said, names, ledger)
    if is_local(said.crs):
        if given is not None and given.lonlat:
            said.fault(
                ledger,
                given.field,
                Told(
                    Either('crs = "local"', "a sketch"),
                    " is tied to no place on earth, so lat and lon mean nothing there",
                ),
                "give a point, or x and y, or declare a projected crs",
            )
            return None
        frame = local_frame(said.unit)
    else:
        projected = _projected(said, given, ledger)
        if projected is None:
            return None
        frame = projected
    if given is None:
        return None
    carry = frame.lonlat_to_plane if given.lonlat else frame.to_plane
    east, north = carry(given.x, given.y)
    return PlacedStart(frame, float(east), float(north))


def _given_start(said: SiteFile, names: PlanNames, ledger: Ledger) -> _Given | None:
    start = said.start
    if start is None:
        return None
    if start.point is None and start.x is not None and start.y is not None:
        return _Given(False, start.x, start.y, "start.x")
    if start.point is None and start.lat is not None and start.lon is not None:
        return _Given(True, start.lon, start.lat, "start.lat")
    if start.point is None:
        return None
    trouble = names.trouble(start.point, POINTS, "reference point")
    if trouble is not None:
        said.fault(ledger, "start.point", *trouble)
    known = names.resolve(start.point, POINTS)
    found = None if names.plan is None or known is None else names.plan.find(known, POINTS)
    if found is None or names.plan is None:
        return None
    x, y = shapely.get_coordinates(found.geometry)[0]
    return _Given(names.plan.coordinates == "lonlat", float(x), float(y), "start.point")


def _projected(said: SiteFile, given: _Given | None, ledger: Ledger) -> Frame | None:
    if not said.crs:
        return None
    try:
        read_crs(said.crs)
    except FrameError as error:
        said.fault(ledger, "site.crs", error.problem, error.remedy)
        return None
    if given is None:
        return None
    try:
        return _centred(said.crs, given.x, given.y, lonlat=given.lonlat)
    except FrameError as error:
        hint = _start_hint(said.crs, given)
        remedy = hint or error.remedy or "check the coordinates and the crs"
        said.fault(ledger, given.field, error.problem, remedy)
        return None


def _centred(crs: str, x: float, y: float, *, lonlat: bool) -> Frame:
    return projected_frame_at(crs, x, y) if lonlat else projected_frame(crs, x, y)


def _start_hint(crs: str, given: _Given) -> str:
    def is_inside(x: float, y: float, *, lonlat: bool) -> bool:
        try:
            _centred(crs, x, y, lonlat=lonlat)
        except FrameError:
            return False
        return True

    if given.lonlat:
        hint = explain_lonlat(given.x, given.y, lambda x, y: is_inside(x, y, lonlat=True))
        out_of_measure = max(abs(given.x), abs(given.y)) > 180.0
        if not hint and out_of_measure and is_inside(given.x, given.y, lonlat=False):
            return projected_remedy(crs)
        return hint
    unit_m = float(read_crs(crs).axis_info[0].unit_conversion_factor)
    return explain_xy(given.x, given.y, unit_m, lambda x, y: is_inside(x, y, lonlat=False))


def explain_lonlat(lon: float, lat: float, fits: Fits) -> str:
    """Return what would bring a longitude and latitude to where they fit, in words, or nothing."""
    for words, x, y in (
        ("latitude and longitude look swapped", lat, lon),
        ("the longitude looks as if its minus sign is left out (west is negative)", -lon, lat),
        ("latitude and longitude look swapped, and a minus sign left out", -lat, lon),
        ("the latitude looks as if its minus sign is left out (south is negative)", lon, -lat),
    ):
        if abs(y) <= 90.0 and abs(x) <= 180.0 and fits(x, y):
            return words
    return ""


def explain_xy(x: float, y: float, unit_m: float, fits: Fits) -> str:
    """Return what would bring x and y to where they fit, in words, or nothing."""
    foot_m = metres_per("ft")
    tries = [("x and y look swapped: easting comes before northing", y, x)]
    if abs(unit_m - 1.0) < 1e-9:
        tries.append(("they look like feet; this crs counts metres", x * foot_m, y * foot_m))
    else:
        tries.append(("they look like metres; this crs counts feet", x / unit_m, y / unit_m))
    return next((words for words, one, other in tries if fits(one, other)), "")


def check_plan_places(
    plan: SortedPlan, geometries: list[BaseGeometry], start: PlacedStart, ledger: Ledger
) -> None:
    """Report features far from the start, those that share a cause together."""
    here = Point(start.easting_m, start.northing_m)
    groups: dict[str, list[str]] = defaultdict(list)
    for one, at in zip(plan.features, geometries, strict=True):
        points = shapely.get_coordinates(at)
        if not np.isfinite(points).all() or shapely.distance(at, here) > FAR_M:
            x, y = shapely.get_coordinates(one.geometry)[0]
            hint = explain_place(
                float(x), float(y), start, FAR_M, lonlat=plan.coordinates == "lonlat"
            )
            groups[hint].append(one.label)
        elif fault := _misdrawn(at):
            ledger.add(replace(fault, file=plan.file, field=one.label))
    for hint, labels in groups.items():
        more = f" (and {len(labels) - 1} more like it)" if len(labels) > 1 else ""
        ledger.fault(
            f"it lies more than 10 km from the start{more}",
            hint or "check its coordinates, or leave out what is no part of this site",
            file=plan.file,
            field=labels[0],
        )


def _misdrawn(shape: BaseGeometry) -> Fault | None:
    """Return what is wrong with a feature near the start that shows only in the plane."""
    if shape.geom_type == "LineString" and shape.length < 0.01:
        return Fault("the line has no length", "draw it again")
    lines = shapely.get_rings(shape) if shape.geom_type == "Polygon" else [shape]
    points, line = shapely.get_coordinates(lines, return_index=True)
    apart_m = np.hypot(*np.diff(points, axis=0).T)[np.diff(line) == 0]
    if (apart_m > FAR_M).any():
        return Fault(
            Told(
                "two of its ",
                Either("vertices", "places"),
                " that follow one another lie more than 10 km apart",
            ),
            "check them: one is not where it belongs",
        )
    if shape.geom_type == "Polygon" and not shape.is_valid:
        return Fault(
            f"the outline is faulty in the plane ({shapely.is_valid_reason(shape)})",
            "check its corners: one may be far from where it belongs",
        )
    return None


def explain_place(x: float, y: float, start: PlacedStart, far_m: float, *, lonlat: bool) -> str:
    """Return what would bring a coordinate pair near the start, in words, or nothing."""
    frame = start.frame

    def near(place: tuple[Floats, Floats]) -> bool:
        return bool(np.hypot(place[0] - start.easting_m, place[1] - start.northing_m) <= far_m)

    if not lonlat:
        return explain_xy(x, y, frame.unit_m, lambda x, y: near(frame.to_plane(x, y)))
    hint = explain_lonlat(x, y, lambda lon, lat: near(frame.lonlat_to_plane(lon, lat)))
    if not hint and near(frame.to_plane(x, y)):
        return projected_remedy(frame.crs)
    return hint


def projected_remedy(crs: str) -> str:
    """Return what to do about x, y where longitude and latitude belong."""
    file = (
        " (in a plan.geojson that is EPSG:4326, as RFC 7946 has it), or save the plan as plan.gpkg"
    )
    where = Either(file, " there, or give them as x and y")
    return Told(f"these are x, y of {crs}: write longitude and latitude", where)
