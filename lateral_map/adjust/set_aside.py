"""Which reading, left out and the line fitted anew, brings all the others into agreement?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
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
    # The worst, others of the worst locate, then the rest: two tapes that agree outweigh the wrong
    # coordinates beside them, and then look worse. A wrong footage shows as a wrong mark.
    tried = [reading for reading in suspects if reading.kind != "footage"]
    mark = next((one.mark for one in tried if one.mark), "")
    tried[1:] = sorted(tried[1:], key=lambda one: not mark or one.mark != mark)
    widths = {one.id: one.signature.shape[1] for one in route.observations}
    best: tuple[float, ReadingId, Route] | None = None
    for reading in tried[:_MOST_TRIED]:
        other = _refit(route, reading)
        if other is None:
            continue
        # How much chi-square must fall for leaving the reading out to be worth it.
        given_up = max(route.degrees_of_freedom - other.degrees_of_freedom, widths[reading])
        price = chi_square_beyond(given_up, _BY_LUCK)
        price += _MAP_TRUSTED if reading.is_mapped else 0.0
        if best is None or other.chi_square + price < best[0]:
            best = (other.chi_square + price, reading, other)
        # Good readings give a chi-square of the freedom, with 1 sd of its root twice over.
        freedom = other.degrees_of_freedom
        if price <= _CHEAPEST and other.chi_square <= freedom + math.sqrt(2.0 * freedom):
            break
    return None if best is None else best[1:]


def _refit(route: Route, reading: ReadingId) -> Route | None:
    """Return the best route without a reading, None where there is none."""
    left = without_reading(route.site, reading)
    if left is None:
        return None
    # With a loosened bend the other way the solver may find more.
    back = _change_bend(
        left, reading, lambda one: replace(one, turn_deg=-one.turn_deg, fall_deg=-one.fall_deg)
    )
    found = []
    for site in filter(None, (left, back)):
        try:
            found.append(adjust_route(site))
        except AdjustmentError:
            continue
    return min(found, key=lambda one: one.chi_square) if found else None


def _change_bend(site: Site, reading: ReadingId, change: Callable[[Bend], Bend]) -> Site | None:
    for index, one in enumerate(site.bends):
        if reading in (bend_reading(site, one, "turn"), bend_reading(site, one, "fall")):
            return replace(site, bends=(*site.bends[:index], change(one), *site.bends[index + 1 :]))
    return None


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
            return _change_bend(site, reading, lambda one: replace(one, sd_deg=_ANY_WAY_DEG))
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
