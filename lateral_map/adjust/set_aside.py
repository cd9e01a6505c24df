"""Which reading, left out and the line fitted anew, brings all the others into agreement?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from lateral_map.adjust.route import adjust_route
from lateral_map.errors import AdjustmentError
from lateral_map.model.chance import chi_square_beyond
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import change_bend, without_reading
from lateral_map.model.route import Route

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
    back = change_bend(
        left, reading, lambda one: replace(one, turn_deg=-one.turn_deg, fall_deg=-one.fall_deg)
    )
    found = []
    for site in filter(None, (left, back)):
        try:
            found.append(adjust_route(site))
        except AdjustmentError:
            continue
    return min(found, key=lambda one: one.chi_square) if found else None
