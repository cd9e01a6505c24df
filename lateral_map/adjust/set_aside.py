"""Which reading, left out and the line fitted anew, brings all the others into agreement?"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import TypeVar

from lateral_map.adjust.prior import bend_reading
from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.ties import tie_reading
from lateral_map.errors import AdjustmentError
from lateral_map.model.chance import chi_square_beyond
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import Route
from lateral_map.model.site import Bend, Locate, PlanLine, PlanPoint, Site

# So wide that the reading says nothing more: 100 ft, and a quarter turn.
_ANYWHERE_M = 30.48
_ANY_WAY_DEG = 90.0
# Leaving a good reading out makes chi-square fall too, by more than its degrees of freedom's upper
# 1 % point only once in a hundred times: a reading that gives up more must explain more.
_BY_LUCK = 0.01
_CHEAPEST = 6.64
# Refits cost some hundredths of a second each.
_MOST_TRIED = 8
# A taped mark's map is blamed only where it explains clearly more than the tape does.
_MAP_TRUSTED = 4.0


def best_without(route: Route, suspects: Iterable[ReadingId]) -> tuple[ReadingId, Route] | None:
    """Return the suspect whose loss lets the rest agree best, and the route without it.

    ``suspects`` stand in the order of their standardised residuals. A gross mistake bends the whole
    line, so that residuals about the bent line blame the wrong readings; the line fitted without
    the mistake is straight again. None where no suspect can be left out.
    """
    best: tuple[float, ReadingId, Route] | None = None
    for reading in _likeliest(suspects):
        other = _refit(route, reading)
        if other is None:
            continue
        price = _price(route, other, reading)
        if best is None or other.chi_square + price < best[0]:
            best = (other.chi_square + price, reading, other)
        if price <= _CHEAPEST and _agrees(other):
            break
    return None if best is None else best[1:]


def _likeliest(suspects: Iterable[ReadingId]) -> list[ReadingId]:
    """Return the suspects worth trying: the worst, others of the worst locate, then the rest.

    Two tapes that agree outweigh the wrong coordinates beside them, and then look worse. A wrong
    footage shows as a wrong mark, which is tried.
    """
    tried = [reading for reading in suspects if reading.kind != "footage"]
    worst = next((one.mark for one in tried if one.mark), "")
    beside = [one for one in tried[1:] if worst and one.mark == worst]
    rest = [one for one in tried[1:] if one not in beside]
    return [*tried[:1], *beside, *rest][:_MOST_TRIED]


def _agrees(route: Route) -> bool:
    """Say whether chi-square is no more than 1 sd above what good readings give."""
    freedom = route.degrees_of_freedom
    return route.chi_square <= freedom + math.sqrt(2.0 * freedom)


def _price(route: Route, other: Route, reading: ReadingId) -> float:
    """Return how much chi-square must fall for leaving a reading out to be worth it."""
    widths = {one.id: one.signature.shape[1] for one in route.observations}
    given_up = max(route.degrees_of_freedom - other.degrees_of_freedom, widths[reading])
    price = chi_square_beyond(given_up, _BY_LUCK)
    return price + (_MAP_TRUSTED if reading.is_mapped else 0.0)


def _refit(route: Route, reading: ReadingId) -> Route | None:
    """Return the best route without a reading, None where there is none."""
    left = without_reading(route.site, reading)
    if left is None:
        return None
    found = []
    for site in (left, *_bent_back(left, reading)):
        try:
            found.append(adjust_route(site))
        except AdjustmentError:
            continue
    return min(found, key=lambda one: one.chi_square) if found else None


def _bent_back(site: Site, reading: ReadingId) -> Iterator[Site]:
    """Yield the site with a loosened bend the other way, where the solver may find more."""
    for index, one in enumerate(site.bends):
        if reading in _bend_readings(site, one):
            back = replace(one, turn_deg=-one.turn_deg, fall_deg=-one.fall_deg)
            yield replace(site, bends=(*site.bends[:index], back, *site.bends[index + 1 :]))


def _bend_readings(site: Site, bend: Bend) -> tuple[ReadingId, ReadingId]:
    return bend_reading(site, bend, "turn"), bend_reading(site, bend, "fall")


def without_reading(site: Site, reading: ReadingId) -> Site | None:
    """Return the site as if nobody had taken a reading; None where it is no reading to leave out.

    A mark is left out with all of its ties. A footage is left out with its whole locate.
    """
    start, plan = site.start, site.plan
    match reading.kind:
        case "start position":
            return replace(site, start=replace(start, sd_m=_ANYWHERE_M))
        case "start depth":
            return replace(site, start=replace(start, depth_m=None))
        case "start azimuth":
            return replace(site, start=replace(start, azimuth_deg=None))
        case "line":
            lines = tuple(_anywhere(one, reading.of) for one in plan.lines)
            return replace(site, plan=replace(plan, lines=lines))
        case "point":
            points = tuple(_anywhere(one, reading.of) for one in plan.points)
            return replace(site, plan=replace(plan, points=points))
        case "turn" | "fall":
            return _without_bend(site, reading)
        case _:
            return _without_locate_reading(site, reading)


_MappedT = TypeVar("_MappedT", PlanLine, PlanPoint)


def _anywhere(mapped: _MappedT, name: str) -> _MappedT:
    return replace(mapped, sd_m=_ANYWHERE_M) if mapped.name == name else mapped


def _without_locate_reading(site: Site, reading: ReadingId) -> Site | None:
    for index, one in enumerate(site.locates):
        if one.use and one.mark == reading.mark and (left := _less(one, reading)) is not None:
            return replace(site, locates=(*site.locates[:index], left, *site.locates[index + 1 :]))
    return None


def _less(locate: Locate, reading: ReadingId) -> Locate | None:
    match reading.kind:
        case "footage":
            return replace(locate, use=False)
        case "mark":
            left = replace(locate, ties=())
        case "depth":
            left = replace(locate, depth_m=None)
        case "nulls":
            left = replace(locate, nulls_m=None)
        case _:
            kept = tuple(tie for tie in locate.ties if tie_reading(locate, tie) != reading)
            if len(kept) == len(locate.ties):
                return None
            left = replace(locate, ties=kept)
    bare = not left.ties and left.depth_m is None and left.nulls_m is None
    return replace(left, use=False) if bare else left


def _without_bend(site: Site, reading: ReadingId) -> Site | None:
    for index, one in enumerate(site.bends):
        if reading in _bend_readings(site, one):
            loose = replace(one, sd_deg=_ANY_WAY_DEG)
            return replace(site, bends=(*site.bends[:index], loose, *site.bends[index + 1 :]))
    return None
