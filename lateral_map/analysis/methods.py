"""Open cut or liner: what does each take?"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from lateral_map.model.dig import (
    CUT_METHODS,
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
from lateral_map.model.site import RateItem, Rates, Site, Walls
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
    surfaces: tuple[tuple[SurfaceBroken, ...], ...],
    structures: tuple[StructureNear, ...] = (),
    *,
    stopped: bool = False,
) -> tuple[Method, ...]:
    """Return every way to open a reach, and a liner, side by side; nothing is chosen.

    ``surfaces`` are those each of the excavation's cuts breaks. Sums come only from the site's own
    unit rates. An open cut through a building, into its influence, or up ground that rises as fast
    as its walls is refused, and nothing of it is priced; so is everything where ``stopped``, since
    a danger was seen in the sewer.
    """
    stop = (Refusal("a foreign pipe or cable in the sewer"),) if stopped else ()
    found = []
    for cut, broken in zip(excavation.cuts, surfaces, strict=True):
        areas: dict[RateItem, float] = {}
        for part in broken:
            item = _COVER_ITEMS.get(part.cover)
            if item is not None:
                areas[item] = areas.get(item, 0.0) + part.restored_area_m2
        takes = [
            Quantity("mobilise open cut", 1.0, 1.0, "each", None),
            Quantity("excavate", cut.bank_low_m3, cut.bank_high_m3, "m3", None),
            Quantity("haul", cut.loose_low_m3, cut.loose_high_m3, "m3", None),
            Quantity("bedding", excavation.bedding_m3, excavation.bedding_m3, "m3", None),
            Quantity("pipe", reach.length_m, reach.length_m, "m", None),
            *(Quantity(item, area, area, "m2", None) for item, area in areas.items()),
        ]
        if cut.shape.upright_m > 0.0:
            takes.append(Quantity("shore", cut.held_m2, cut.held_high_m2, "m2", None))
        found.append(
            _method(site.rates, CUT_METHODS[cut.walls], takes, stop + _refusals(structures, cut))
        )
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
    return (*found, _method(site.rates, "liner", liner, stop))


def choose_walls(asked: Walls, methods: tuple[Method, ...]) -> Walls:
    """Return how the walls are to stand: as asked, else sloped, shored where that is refused."""
    open_to = [
        walls
        for walls, name in CUT_METHODS.items()
        if any(method.name == name and not method.refused for method in methods)
    ]
    return next((walls for walls in (asked, "sloped") if walls in open_to), "shored")


def _refusals(structures: tuple[StructureNear, ...], cut: Cut) -> tuple[Refusal, ...]:
    """Return why a cut is not to be dug as it is drawn, each building once.

    A cut that is narrower than the sloped one is not through all that the sloped one is, but then
    that is in its influence.
    """
    wide = cut.walls in ("sloped", "benched")
    through = ("within the trench", "within the sloped cut" if wide else "within the trench")
    refused = [
        Refusal(
            "through a building" if one.verdict in through else "into a building's influence",
            one.name,
        )
        for one in structures
        if one.kind == "building"
    ]
    if not cut.daylights:
        refused.append(Refusal("the wall never meets the ground"))
    return tuple(refused)


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
