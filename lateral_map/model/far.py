"""Footages that stand alone: far beyond all others, or out of the order of their table."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Final

from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_reading
from lateral_map.model.site import Place, Site
from lateral_map.units import to_metres

# A footage this many times the next lower one, and so far beyond it, stands alone.
_JUMP_TIMES, _JUMP_M = 3.0, to_metres(100.0, "ft")
# A footage read anew makes sense within this factor of the others.
_NEAR: Final = 1.6


@dataclass(frozen=True, slots=True)
class FarFootage:
    """A footage that stands alone; ``finding`` counts the site's findings from 0.

    ``rest_m`` is the last of the others, ``meant_m`` what it would be with its decimal point moved,
    None where that does not lie among them.
    """

    reading: ReadingId
    footage_m: float
    place: Place
    finding: int | None = None
    rest_m: float = 0.0
    meant_m: float | None = None


def far_footages(site: Site) -> tuple[FarFootage, ...]:
    """Return the footages that stand alone beyond all others, the nearest first.

    Those of rows that keep their table's order are expected to; the last one of a run whose end
    nobody gave stands alone too where it breaks that order and its decimal point puts it right.
    """
    noted = [
        FarFootage(ReadingId("footage", one.mark, "footage"), one.footage_m, one.place)
        for one in site.used_locates()
    ]
    noted += [
        FarFootage(ReadingId("footage", "", "footage"), at, finding.place, index)
        for index, finding in enumerate(site.findings)
        for at in (finding.footage_m, finding.to_m)
        if at is not None
    ]
    noted += [
        FarFootage(bend_reading(site, bend, "turn"), bend.footage_m, bend.place)
        for bend in site.bends
    ]
    noted.sort(key=lambda one: one.footage_m)
    first = next(
        (
            index
            for index, (lower, upper) in enumerate(itertools.pairwise(noted), 1)
            if upper.footage_m - lower.footage_m >= _JUMP_M
            and upper.footage_m >= _JUMP_TIMES * lower.footage_m
        ),
        len(noted),
    )
    if first == len(noted) > 1 and not site.run.end_given:
        # The last alone, where it breaks its table's order and would not, its point moved.
        last, row = noted[-1], noted[-1].place.row or 0
        table = [one for one in noted if one.place.file == last.place.file]
        same = {one.place.row or 0: one.footage_m for one in table}
        before = max((at for at in same if at < row), default=None)
        after = min((at for at in same if at > row), default=None)
        if before is not None and after is not None:
            in_order = same[before] <= last.footage_m / 10.0 <= same[after]
            first -= 1 if in_order else 0
    found = []
    for one in noted[first:]:
        rest, moved = noted[first - 1].footage_m, one.footage_m / 10.0
        meant = moved if moved <= rest * _NEAR else None
        found.append(replace(one, rest_m=rest, meant_m=meant))
    return tuple(found)


def main_is_claimed(site: Site) -> bool:
    """Say whether the run may be told to reach the main that it is said to end at.

    Never where its end is given by a footage alone that stands alone itself.
    """
    return site.run.end_given or not far_footages(site)
