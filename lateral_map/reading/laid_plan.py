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
from lateral_map.reading.plan import LINE_KINDS, SortedPlan

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
    lines, utilities, points, levels, areas = [], [], [], [], []
    for one, at in zip(plan.features, geometries, strict=True):
        said, coordinates = one.properties, shapely.get_coordinates(at)
        if not np.isfinite(coordinates).all():
            continue
        east, north = (float(value) for value in coordinates[0])
        if one.kind in LINE_KINDS:
            sd = mapped_line_m if said.accuracy is None else said.accuracy
            lines.append(PlanLine(one.name, cast("LineKind", one.kind), _vertices(at), sd))
        elif one.kind == "utility":
            vertices, what = _vertices(at), said.utility or "sewer"
            utilities.append(
                UtilityLine(one.name, what, vertices, said.depth, said.accuracy, said.source)
            )
        elif one.kind == "reference":
            sd = mapped_point_m if said.accuracy is None else said.accuracy
            points.append(PlanPoint(one.name, east, north, sd, said.z))
        elif one.kind == "ground":
            levels.append(SpotLevel(east, north, said.z or 0.0, one.name))
        elif isinstance(at, Polygon):
            cover = None if one.kind == "building" else said.cover or "other"
            name = one.name or cover or "building"
            areas.append(PlanArea(name, "building" if cover is None else "surface", at, cover))
    return Plan(tuple(lines), tuple(utilities), tuple(points), tuple(levels), tuple(areas))


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
