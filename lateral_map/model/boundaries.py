"""What the boundaries that decide say together: in which order they stand, whom they name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.lines import signed_offsets
from lateral_map.model.results import Crossing
from lateral_map.model.site import Boundary, Plan, Site

# A lot has a handful of lines that decide; comparing each with each must stay cheap.
_MOST_COMPARED: Final = 24


def deciding_crossings(site: Site, crossings: Iterable[Crossing]) -> list[Crossing]:
    """Return the crossings of boundaries that decide, in the order in which the run meets them.

    Of those at one place the innermost comes first, on the way in the outermost.
    """
    order = [boundary.key for boundary in site.deciding_boundaries()]

    def along(crossing: Crossing) -> tuple[float, int]:
        rank = order.index(crossing.boundary)
        return round(crossing.footage_m, 6), rank if crossing.outward else -rank

    return sorted((one for one in crossings if one.boundary in order), key=along)


def parties_named(site: Site, met: Sequence[Crossing]) -> list[tuple[str, ...]]:
    """Return whom the boundaries name before, between and after crossings in order.

    Two where they contradict each other: the one crossed before names one party, the one crossed
    next another, or one that stands next on the plan though the run ends before it.
    """
    deciding = {boundary.key: boundary for boundary in site.deciding_boundaries()}
    named: list[list[str]] = [[] for _ in range(len(met) + 1)]
    for before, after, one in zip(named, named[1:], met, strict=False):
        boundary = deciding[one.boundary]
        before.append(boundary.inside if one.outward else boundary.outside)
        after.append(boundary.outside if one.outward else boundary.inside)
    if met and met[-1].outward:
        crossed = {one.boundary for one in met}
        start = np.array([site.start.easting_m, site.start.northing_m])
        named[-1] += [
            following.inside
            for one, following in find_contradictions(site.boundaries, site.plan, start)
            if one.key == met[-1].boundary
            and following.kind == "line"
            and following.key not in crossed
        ]
    return [tuple(dict.fromkeys(parties)) for parties in named]


def find_contradictions(
    boundaries: Iterable[Boundary], plan: Plan, start: Floats
) -> list[tuple[Boundary, Boundary]]:
    """Return neighbours on the way from the start that name two parties for what lies between.

    ``start`` is (easting, northing) in m.
    """
    return _contradicting(_in_order(boundaries, plan, start))


def _contradicting(chain: Sequence[Boundary]) -> list[tuple[Boundary, Boundary]]:
    return [(one, other) for one, other in pairwise(chain) if one.outside != other.inside]


def _in_order(boundaries: Iterable[Boundary], plan: Plan, here: Floats) -> list[Boundary]:
    """Return the deciding boundaries as a run from the start would meet them.

    Lines are followed in the longest row of which each lies beyond the one before as seen from the
    start: two sides of a lot are never both crossed. Where a cleanout stands among them nobody
    knows before the adjustment, so it is put where it contradicts least.
    """
    deciding = [one for one in boundaries if one.decides]
    lines = {one.line: one for one in deciding if one.kind == "line"}
    offsets = {name: signed_offsets(plan.line(name).segments, here) for name in lines}
    nearest = sorted(lines, key=lambda name: abs(float(offsets[name].offset_m)))[:_MOST_COMPARED]
    rows: list[list[str]] = []
    for name in nearest:
        of = offsets[name]
        foot = here - of.offset_m * of.normal
        # A foot on the other side of a line than the start lies beyond that line.
        before = [
            row
            for row in rows
            if signed_offsets(plan.line(row[-1]).segments, foot).offset_m
            * offsets[row[-1]].offset_m
            < 0.0
        ]
        rows.append([*max(before, key=len, default=[]), name])
    chain = [lines[name] for name in max(rows, key=len, default=[])]
    chain += [one for one in deciding if one.kind == "main"]
    cleanouts = [one for one in deciding if one.kind == "cleanout"]
    first = 0
    for cleanout in sorted(cleanouts, key=lambda one: one.footage_m or 0.0):
        last = len(chain) - (1 if chain and chain[-1].kind == "main" else 0)
        places = range(first, max(first, last) + 1)
        tried = {place: [*chain[:place], cleanout, *chain[place:]] for place in places}
        at = min(tried, key=lambda place: len(_contradicting(tried[place])))
        chain, first = tried[at], at + 1
    return chain
