"""Which utilities does a cut's slope lay open, beside those in the trench itself?"""

from __future__ import annotations

from collections.abc import Iterable

from lateral_map.model.dig import Excavation, StructureNear
from lateral_map.model.site import Walls
from lateral_map.model.trench import UtilityConflict


def list_dug_into(
    walls: Walls,
    excavation: Excavation,
    structures: Iterable[StructureNear],
    conflicts: Iterable[UtilityConflict],
) -> tuple[UtilityConflict, ...]:
    """Return what may lie in the earth that is dug for the slope, in order of danger.

    A utility counts that comes within the sloped cut at 95 %, unless it surely lies deeper than the
    trench's bottom; of unknown depth it counts. The main that the run joins does not, nor what lies
    in the trench, which is told already. Where the walls are vertical nothing else is dug.
    """
    if walls == "shored":
        return ()
    within = {
        one.name
        for one in structures
        if one.kind == "utility" and one.verdict in ("within the trench", "within the sloped cut")
    }
    return tuple(
        one
        for one in conflicts
        if one.name in within
        and not one.in_trench
        and not one.joins
        and (one.shallow_m is None or one.shallow_m <= excavation.deepest_high_m)
    )
