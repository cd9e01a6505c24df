"""What the boundaries that decide say together: in which order they stand, whom they name."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import combinations, pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats
from lateral_map.model.lines import ON_LINE_M, signed_offsets
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
    next another, or the one that stands next though the run ends before it. So do two crossed at
    one place of which neither leads up to the other, for either may come first, and a line never
    crossed that the start lies within as well as within the one crossed first. Nobody is named
    where nothing is crossed and nothing contradicts.
    """
    deciding = {boundary.key: boundary for boundary in site.deciding_boundaries()}
    start = np.array([site.start.easting_m, site.start.northing_m])
    named: list[list[str]] = [[] for _ in range(len(met) + 1)]
    left, entered = [], []
    for index, one in enumerate(met):
        boundary = deciding[one.boundary]
        ways = (boundary.inside, boundary.outside)
        left.append(ways[0] if one.outward else ways[1])
        entered.append(ways[1] if one.outward else ways[0])
        named[index].append(left[-1])
        named[index + 1].append(entered[-1])
    places = [round(one.footage_m, 6) for one in met]
    for index, (here, there) in enumerate(pairwise(places), 1):
        if here == there and len(set(named[index])) > 1:
            named[bisect_left(places, here)].append(left[index])
            named[bisect_right(places, here)].append(entered[index - 1])
    crossed = {one.boundary for one in met}
    rest = [one for one in site.boundaries if one.key not in crossed]
    first = [deciding[one.boundary] for one in met[:1]]
    within = _next_to(rest, site.plan, start, first)
    if len({one.inside for one in (*first, *within)}) > 1:
        named[0] += [one.inside for one in within]
    if met and met[-1].outward:
        last = deciding[met[-1].boundary]
        following = _following(last, rest, site.plan, start)
        named[-1] += [one.inside for one in following[:1]]
    return [tuple(dict.fromkeys(parties)) for parties in named]


def find_contradictions(
    boundaries: Iterable[Boundary], plan: Plan, start: Floats
) -> list[tuple[Boundary, Boundary]]:
    """Return neighbours on the way from the start that name two parties for what lies between.

    ``start`` is (easting, northing) in m.
    """
    return _contradicting(_in_order(boundaries, plan, start))


def find_two_starts(
    boundaries: Iterable[Boundary], plan: Plan, start: Floats
) -> list[tuple[Boundary, Boundary]]:
    """Return lines between which and the start no other lies, and who name two parties for it.

    ``start`` is (easting, northing) in m.
    """
    beside = _next_to(boundaries, plan, start)
    return [(one, other) for one, other in pairwise(beside) if one.inside != other.inside]


def find_two_beyond(
    boundaries: Iterable[Boundary], plan: Plan, start: Floats
) -> list[tuple[Boundary, Boundary]]:
    """Return lines at one place of which neither leads up to the other, that name two past it.

    ``start`` is (easting, northing) in m.
    """
    lines = _nearest_lines(boundaries, plan, start)
    offs = _offs_between(lines, plan, start)[0]
    one_place = (np.abs(offs) <= ON_LINE_M) & (np.abs(offs.T) <= ON_LINE_M)
    return [
        (one, other)
        for (i, one), (j, other) in combinations(enumerate(lines), 2)
        if one_place[i, j]
        and len({one.outside, other.outside}) > 1
        and one.outside != other.inside
        and other.outside != one.inside
    ]


def _next_to(
    boundaries: Iterable[Boundary], plan: Plan, start: Floats, first: Sequence[Boundary] = ()
) -> list[Boundary]:
    """Return the deciding lines beyond no other of them, nor beyond the one crossed ``first``.

    Where a main or cleanout stands nobody knows before the adjustment: its name tells.
    """
    lines = _nearest_lines((*boundaries, *first), plan, start)
    beyond = _beyond(lines, plan, start)
    found = [one for index, one in enumerate(lines) if not beyond[:, index].any()]
    ahead = {one.outside for one in first if one.kind != "line"}
    return [one for one in found if one not in first and one.inside not in ahead]


def _following(
    last: Boundary, rest: Sequence[Boundary], plan: Plan, start: Floats
) -> list[Boundary]:
    """Return the deciding boundaries beyond the one crossed last, of the ``rest`` never crossed."""
    lines = [one for one in rest if one.decides and one.kind == "line"]
    if last.kind == "line":
        row = _longest_row([last, *lines], plan, start, last)
        lines = row[row.index(last) + 1 :]
    else:
        lines = _longest_row(lines, plan, start)
    return _with_others([last], lines, rest)[1:]


def _contradicting(chain: Sequence[Boundary]) -> list[tuple[Boundary, Boundary]]:
    return [(one, other) for one, other in pairwise(chain) if one.outside != other.inside]


def _in_order(boundaries: Iterable[Boundary], plan: Plan, here: Floats) -> list[Boundary]:
    """Return the deciding boundaries as a run from the start would meet them.

    Where a cleanout stands among the lines nobody knows before the adjustment.
    """
    deciding = [one for one in boundaries if one.decides]
    return _with_others([], _longest_row(deciding, plan, here), deciding)


def _with_others(
    met: Sequence[Boundary], lines: Sequence[Boundary], boundaries: Sequence[Boundary]
) -> list[Boundary]:
    """Return what is ``met``, then lines in order with cleanouts among them, then the main.

    A cleanout is put where it contradicts least, after those of less footage.
    """
    main = [one for one in boundaries if one.decides and one.kind == "main"]
    cleanouts = [one for one in boundaries if one.decides and one.kind == "cleanout"]
    chain, first = [*met, *lines, *main], len(met)
    for cleanout in sorted(cleanouts, key=lambda one: one.footage_m or 0.0):
        places = range(first, max(first, len(chain) - len(main)) + 1)
        tried = {place: [*chain[:place], cleanout, *chain[place:]] for place in places}
        at = min(tried, key=lambda place: len(_contradicting(tried[place])))
        chain, first = tried[at], at + 1
    return chain


def _longest_row(
    boundaries: Iterable[Boundary], plan: Plan, here: Floats, through: Boundary | None = None
) -> list[Boundary]:
    """Return the lines that decide in the longest row of which each lies beyond the one before.

    Two sides of a lot are never both crossed. Where one is given the row leads ``through`` it.
    """
    lines = _nearest_lines(boundaries, plan, here)
    beyond = _beyond(lines, plan, here)
    rows: list[list[int]] = []
    for index in range(len(lines)):
        before = [row for row in rows if beyond[row[-1], index]]
        rows.append([*max(before, key=len, default=[]), index])
    kept = [[lines[index] for index in row] for row in rows]
    return max((row for row in kept if through is None or through in row), key=len, default=[])


def _nearest_lines(boundaries: Iterable[Boundary], plan: Plan, here: Floats) -> list[Boundary]:
    """Return the lines that decide, the nearest first, each plan line once."""
    lines = {one.line: one for one in boundaries if one.decides and one.kind == "line"}
    off_m = {
        name: abs(float(signed_offsets(plan.line(name).segments, here).offset_m)) for name in lines
    }
    return [lines[name] for name in sorted(lines, key=off_m.__getitem__)[:_MOST_COMPARED]]


def _beyond(lines: Sequence[Boundary], plan: Plan, here: Floats) -> NDArray[np.bool_]:
    """Return (n, n) whether each line (column) lies beyond another (row) as seen from here.

    Of two at one place the names tell which comes first.
    """
    offs, from_here = _offs_between(lines, plan, here)
    named = [[one.outside == other.inside for other in lines] for one in lines]
    other_side = offs * from_here[:, None] < 0.0
    beyond = np.where(
        np.abs(offs) <= ON_LINE_M, np.array(named, bool).reshape(offs.shape), other_side
    )
    np.fill_diagonal(beyond, val=False)
    return beyond


def _offs_between(lines: Sequence[Boundary], plan: Plan, here: Floats) -> tuple[Floats, Floats]:
    """Return (n, n) m off each line (row) of each one's nearest place to here (column).

    Then (n,) how far off each line here is itself.
    """
    segments = [plan.line(one.line).segments for one in lines]
    found = [signed_offsets(each, here) for each in segments]
    feet = np.array([here - of.offset_m * of.normal for of in found]).reshape(-1, 2)
    offs = np.array([signed_offsets(each, feet).offset_m for each in segments])
    count = len(lines)
    return offs.reshape(count, count), np.array([of.offset_m for of in found], float).reshape(count)
