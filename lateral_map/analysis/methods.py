"""Open cut or liner: what does each take?"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lateral_map.model.dig import (
    Cut,
    Excavation,
    Method,
    MethodName,
    Quantity,
    Refusal,
    RepairReach,
    StructureNear,
    SurfaceBroken,
)
from lateral_map.model.site import RateItem, Rates, Site
from lateral_map.units import to_metres

_AT_CLEANOUT_M: Final = to_metres(3.0, "ft")
_COVER_ITEMS: Final[dict[str, RateItem]] = {
    "lawn": "lawn", "planting": "planting", "concrete": "concrete",
    "asphalt": "asphalt", "gravel": "gravel", "other": "other", "not mapped": "other",
}  # fmt: skip


def compare_methods(
    site: Site,
    reach: RepairReach,
    excavation: Excavation,
    surfaces: tuple[tuple[SurfaceBroken, ...], tuple[SurfaceBroken, ...]],
    structures: tuple[StructureNear, ...] = (),
    *,
    stopped: bool = False,
) -> tuple[Method, ...]:
    """Return open cut, shored and sloped, and a liner, side by side; nothing is chosen.

    ``surfaces`` are those the shored and the sloped cut break. Sums come only from the site's own
    unit rates. An open cut through a building, into its influence, or up ground that rises as fast
    as its walls is refused, and nothing of it is priced; so is everything where ``stopped``, since
    a danger was seen in the sewer.
    """
    shored = _open_cut(reach, excavation, excavation.shored, surfaces[0])
    shored.append(Quantity("shore", excavation.wall_m2, excavation.wall_high_m2, "m2", None))
    sloped = _open_cut(reach, excavation, excavation.sloped, surfaces[1])
    # A liner is commonly placed through what is open already: a cleanout, the main. At the most a
    # pit at either end, at the start none (common practice, no source).
    pits = (
        (0.0, 1.0) if reach.begin.footage_m - site.counter.zero_m <= _AT_CLEANOUT_M else (0.0, 2.0)
    )
    liner = [
        Quantity("mobilise liner", 1.0, 1.0, "each", None),
        Quantity("liner", reach.length_m, reach.length_m, "m", None),
        Quantity("access pit", *pits, "each", None),
    ]
    stop = (Refusal("a foreign pipe or cable in the sewer"),) if stopped else ()
    return (
        _method(site.rates, "open cut, shored", shored, stop + _refusals(structures, sloped=False)),
        _method(
            site.rates,
            "open cut, sloped",
            sloped,
            stop + _refusals(structures, sloped=True, daylights=excavation.sloped.daylights),
        ),
        _method(site.rates, "liner", liner, stop),
    )


def _refusals(
    structures: tuple[StructureNear, ...], *, sloped: bool, daylights: bool = True
) -> tuple[Refusal, ...]:
    """Return why a cut is not to be dug as it is drawn, each building once."""
    through = ("within the trench", "within the sloped cut" if sloped else "within the trench")
    refused = [
        Refusal(
            "through a building" if one.verdict in through else "into a building's influence",
            one.name,
        )
        for one in structures
        if one.kind == "building"
    ]
    if not daylights:
        refused.append(Refusal("the wall never meets the ground"))
    return tuple(refused)


def _open_cut(
    reach: RepairReach, excavation: Excavation, cut: Cut, surfaces: tuple[SurfaceBroken, ...]
) -> list[Quantity]:
    areas: dict[RateItem, float] = {}
    for broken in surfaces:
        item = _COVER_ITEMS.get(broken.cover)
        if item is not None:
            areas[item] = areas.get(item, 0.0) + broken.restored_area_m2
    return [
        Quantity("mobilise open cut", 1.0, 1.0, "each", None),
        Quantity("excavate", cut.bank_low_m3, cut.bank_high_m3, "m3", None),
        Quantity("haul", cut.loose_low_m3, cut.loose_high_m3, "m3", None),
        Quantity("bedding", excavation.bedding_m3, excavation.bedding_m3, "m3", None),
        Quantity("pipe", reach.length_m, reach.length_m, "m", None),
        *(Quantity(item, area, area, "m2", None) for item, area in areas.items()),
    ]


def _method(
    rates: Rates, name: MethodName, quantities: list[Quantity], refused: tuple[Refusal, ...]
) -> Method:
    by_item = {} if refused else {rate.item: rate for rate in rates.rates}
    priced = [
        replace(one, cost=(one.low * rate.low, one.high * rate.high))
        if (rate := by_item.get(one.item))
        else one
        for one in quantities
    ]
    costs = [one.cost for one in priced if one.cost is not None]
    return Method(
        name=name,
        quantities=tuple(priced),
        cost=(sum(low for low, _ in costs), sum(high for _, high in costs)) if costs else None,
        unpriced=tuple(one.item for one in priced if one.cost is None and one.high > 0.0),
        refused=refused,
    )
