"""The sorted plan laid in the site's plane: metres, read-only vertices."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.frame import Frame
from lateral_map.model.site import (
    LineKind,
    Plan,
    PlanArea,
    PlanLine,
    PlanPoint,
    SpotLevel,
    UtilityLine,
)
from lateral_map.reading.plan import LINE_KINDS, Sorted, SortedPlan

Floats = NDArray[np.float64]

# Vertices closer than this are one drawn twice by an unsteady hand. Left in at a line's end, such a
# pair would point the line's straight continuation anywhere.
_SAME_M: Final = 0.01


def to_plane(plan: SortedPlan, frame: Frame) -> list[BaseGeometry]:
    """Return the features' geometries in the plane, metres; not finite where they cannot be."""
    carry = frame.lonlat_to_plane if plan.coordinates == "lonlat" else frame.to_plane

    def move(points: Floats) -> Floats:
        return np.column_stack(carry(points[:, 0], points[:, 1]))

    shapes = np.array([one.geometry for one in plan.features], dtype=object)
    return [*shapely.transform(shapes, move)] if len(shapes) else []


def lay_plan(
    plan: SortedPlan,
    geometries: Iterable[BaseGeometry],
    *,
    mapped_line_m: float,
    mapped_point_m: float,
) -> Plan:
    """Return the plan in the plane; ``geometries`` are those of ``to_plane``.

    What has no place in the plane is left out; that it has none is reported elsewhere.
    """
    placed = [
        (one, at)
        for one, at in zip(plan.features, geometries, strict=True)
        if np.isfinite(shapely.get_coordinates(at)).all()
    ]
    return Plan(
        lines=tuple(_line(one, at, mapped_line_m) for one, at in placed if one.kind in LINE_KINDS),
        utilities=tuple(_utility(one, at) for one, at in placed if one.kind == "utility"),
        points=tuple(
            _point(one, at, mapped_point_m) for one, at in placed if one.kind == "reference"
        ),
        levels=tuple(_level(one, at) for one, at in placed if one.kind == "ground"),
        areas=tuple(_area(one, at) for one, at in placed if isinstance(at, Polygon)),
    )


def _vertices(geometry: BaseGeometry) -> Floats:
    """Return read-only vertices (n, 2) without any that fall together in the plane."""
    points = shapely.get_coordinates(geometry)
    kept = [points[0]]
    for point in points[1:]:
        if np.hypot(*(point - kept[-1])) > _SAME_M:
            kept.append(point)
    vertices = np.array(kept if len(kept) > 1 else points)
    vertices.setflags(write=False)
    return vertices


def _line(one: Sorted, at: BaseGeometry, mapped_line_m: float) -> PlanLine:
    stated = one.properties.accuracy
    sd = mapped_line_m if stated is None else stated
    return PlanLine(one.name, cast("LineKind", one.kind), _vertices(at), sd)


def _utility(one: Sorted, at: BaseGeometry) -> UtilityLine:
    said = one.properties
    kind = said.utility or "sewer"
    return UtilityLine(one.name, kind, _vertices(at), said.depth, said.accuracy, said.source)


def _point(one: Sorted, at: BaseGeometry, mapped_point_m: float) -> PlanPoint:
    (east, north), said = shapely.get_coordinates(at)[0], one.properties
    sd = mapped_point_m if said.accuracy is None else said.accuracy
    return PlanPoint(one.name, float(east), float(north), sd, said.z)


def _level(one: Sorted, at: BaseGeometry) -> SpotLevel:
    east, north = shapely.get_coordinates(at)[0]
    return SpotLevel(float(east), float(north), one.properties.z or 0.0, one.name)


def _area(one: Sorted, at: Polygon) -> PlanArea:
    if one.kind == "building":
        return PlanArea(one.name or "building", "building", at)
    cover = one.properties.cover or "other"
    return PlanArea(one.name or cover, "surface", at, cover)
