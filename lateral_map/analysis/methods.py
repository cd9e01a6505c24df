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
    RepairReach,
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
) -> tuple[Method, ...]:
    """Return open cut, shored and sloped, and a liner, side by side; nothing is chosen.

    ``surfaces`` are those the shored and the sloped cut break. Sums come only from the site's own
    unit rates.
    """
    shored = _open_cut(reach, excavation, excavation.shored, surfaces[0])
    shored.append(Quantity("shore", excavation.wall_m2, excavation.wall_m2, "m2", None))
    sloped = _open_cut(reach, excavation, excavation.sloped, surfaces[1])
    # One way in at the least; a second end needs one too where it is not the main.
    pits = (
        (0.0, 1.0) if reach.begin.footage_m - site.counter.zero_m <= _AT_CLEANOUT_M else (1.0, 2.0)
    )
    liner = [
        Quantity("mobilise liner", 1.0, 1.0, "each", None),
        Quantity("liner", reach.length_m, reach.length_m, "m", None),
        Quantity("access pit", *pits, "each", None),
    ]
    return (
        _method(site.rates, "open cut, shored", shored),
        _method(site.rates, "open cut, sloped", sloped),
        _method(site.rates, "liner", liner),
    )


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


def _method(rates: Rates, name: MethodName, quantities: list[Quantity]) -> Method:
    by_item = {rate.item: rate for rate in rates.rates}
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
    )
