"""What stands so near a cut that the cut may undermine it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.dig import Excavation, Nearness, StructureKind, StructureNear, TrenchRules
from lateral_map.model.site import Site
from lateral_map.model.trench import Area, TrenchProfile
from lateral_map.model.walls import WallShape

# A verdict, the ground it holds for, and lines across that ground, one a station.
_Limit = tuple[Nearness, Area, Any]


@dataclass(frozen=True, slots=True)
class _Standing:
    """Something on the plan, and the 1 sd of its mapped place."""

    name: str
    kind: StructureKind
    shape: BaseGeometry
    sd_m: float


def find_structures(
    site: Site, profile: TrenchProfile, excavation: Excavation, rules: TrenchRules
) -> tuple[StructureNear, ...]:
    """Return what lies within a reach's trench, its sloped cut or its influence line.

    The influence line rises from the bottom's edges at the influence slope, or at that of the
    softest soil there where that is flatter, from the bottom at its deeper 95 % bound. Whatever may
    lie within at 95 % counts, and says so.
    """
    stretch = profile.between(excavation.from_m, excavation.to_m)
    slope = max(rules.value("influence slope"), rules.slope)
    sloped, influence = excavation.sloped.shape, WallShape((slope,))
    limits: tuple[_Limit, ...] = (
        ("within the trench", excavation.shored.footprint, _sections(stretch, WallShape())),
        ("within the sloped cut", stretch.footprint(sloped, 1.0), _sections(stretch, sloped)),
        (
            "within the influence line",
            stretch.footprint(influence, 1.0),
            _sections(stretch, influence),
        ),
    )
    standing: list[_Standing] = []
    for area in site.plan.areas:
        if area.kind == "building":
            building = _Standing(area.name, "building", area.polygon, site.accuracy.mapped_point_m)
            standing.append(building)
    for point in site.plan.points:
        place = Point(point.easting_m, point.northing_m)
        standing.append(_Standing(point.name, "named point", place, point.sd_m))
    for line in site.plan.utilities:
        sd = site.accuracy.mapped_line_m if line.sd_m is None else line.sd_m
        shape = LineString(line.vertices_m).buffer((line.size_m or 0.0) / 2.0)
        mapped = LineString(line.vertices_m) if shape.is_empty else shape
        standing.append(_Standing(line.name, "utility", mapped, sd))
    found = (_judge(one, stretch, limits) for one in standing)
    return tuple(sorted((one for one in found if one), key=lambda one: one.gap_m))


def _sections(stretch: TrenchProfile, shape: WallShape) -> Any:
    """Return a line across the cut at every station, from edge to edge at the deeper bound."""
    ahead = np.gradient(stretch.place_m, axis=0)
    ahead = ahead / np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    right_ward = np.stack([ahead[:, 1], -ahead[:, 0]], axis=-1)
    left, right = stretch.edges_m(shape, 1.0)
    ends = [
        stretch.place_m - left[:, None] * right_ward,
        stretch.place_m + right[:, None] * right_ward,
    ]
    return shapely.linestrings(np.stack(ends, axis=1))


def _judge(
    one: _Standing, stretch: TrenchProfile, limits: tuple[_Limit, ...]
) -> StructureNear | None:
    # Where the trench's middle first comes nearest to it.
    middle = LineString(stretch.place_m)
    met = shapely.intersection(middle, one.shape)
    near = met if not met.is_empty else shapely.shortest_line(middle, one.shape)
    along = min(middle.project(Point(place)) for place in shapely.get_coordinates(near))
    at = stretch.at(np.interp(along, stretch.plan_m - stretch.plan_m[0], stretch.footage_m))
    spread = TWO_SIDED_95 * float(np.hypot(at.across_sd_m[0], one.sd_m))
    gap = float(shapely.distance(limits[0][1], one.shape))
    # The pipe's place may be surer where it is nearest than farther on.
    spreads = TWO_SIDED_95 * np.hypot(stretch.across_sd_m, one.sd_m)
    for verdict, area, sections in limits:
        away = float(shapely.distance(area, one.shape))
        if away <= spread or (shapely.distance(sections, one.shape) <= spreads).any():
            return StructureNear(
                name=one.name,
                kind=one.kind,
                verdict=verdict,
                gap_m=gap,
                gap_low_m=max(gap - spread, 0.0),
                gap_high_m=gap + spread,
                footage_m=float(at.footage_m[0]),
                bottom_depth_m=float(at.bottom_depth_m[0]),
                only_by_bound=away > 0.0,
            )
    return None
