"""What ground is broken by a cut, by cover?"""

from __future__ import annotations

from typing import Final

import shapely
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from lateral_map.model.arrays import Floats
from lateral_map.model.dig import PAVED, GroundCover, SurfaceBroken
from lateral_map.model.site import Plan
from lateral_map.model.trench import Area
from lateral_map.units import to_metres

# Local paving rules ask 6 in beyond each edge at least (Sevier County UT, Ord. 2023-4-1; Silverton
# OR, Public Works Design Standards 2.36); others ask 12 in (from memory).
CUTBACK_M: Final = to_metres(6.0, "in")
_UNMAPPED: Final = "not mapped"
_LEAST_M2: Final = 1e-6


def measure_surfaces(
    plan: Plan, centreline_m: Floats, footprint: Area, cutback_m: float = CUTBACK_M
) -> tuple[SurfaceBroken, ...]:
    """Return the ground a cut breaks by cover, largest first.

    ``centreline_m`` (n, 2) runs along the trench. Where mapped surfaces overlap the smaller one
    counts; what no surface covers is 'not mapped'. Paving is restored to ``cutback_m`` beyond the
    cut.
    """
    wide = shapely.buffer(footprint, cutback_m, join_style="mitre")
    left: BaseGeometry = wide
    broken: dict[GroundCover, SurfaceBroken] = {}
    for area in sorted(plan.areas, key=lambda one: one.polygon.area):
        part = shapely.intersection(left, area.polygon)
        left = shapely.difference(left, area.polygon)
        if part.area > _LEAST_M2:
            cover = "building" if area.kind == "building" else area.cover or "other"
            _add(broken, cover, area.name, part, centreline_m, footprint)
    _add(broken, _UNMAPPED, "", left, centreline_m, footprint)
    kept = (one for one in broken.values() if one.area_m2 > _LEAST_M2 or one.restored_area_m2 > 0)
    return tuple(sorted(kept, key=lambda one: -one.area_m2))


def _add(
    broken: dict[GroundCover, SurfaceBroken],
    cover: GroundCover,
    name: str,
    part: BaseGeometry,
    centreline_m: Floats,
    footprint: Area,
) -> None:
    """Add the part of the ground that one mapped surface covers."""
    cut = shapely.intersection(part, footprint)
    restored = part.area if cover in PAVED else cut.area
    before = broken.get(cover, SurfaceBroken(cover, (), 0.0, 0.0, 0.0))
    if max(cut.area, restored) <= _LEAST_M2:
        return
    run = float(LineString(centreline_m).intersection(cut).length) if cut.area else 0.0
    broken[cover] = SurfaceBroken(
        cover=cover,
        names=(*before.names, name) if name else before.names,
        length_m=before.length_m + run,
        area_m2=before.area_m2 + cut.area,
        restored_area_m2=before.restored_area_m2 + restored,
    )
