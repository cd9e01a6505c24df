"""Who may answer at a place of a run, by its sides of the boundaries that decide."""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from lateral_map.model.results import Crossing, Side
from lateral_map.model.site import Boundary, Site


@dataclass(frozen=True, slots=True)
class _Beside:
    """A boundary that decides, as it lies at one place of the run.

    ``gap_m`` is how far off it is along the pipe where that crosses it, for lines may lie askew to
    each other; else straight. ``sides`` says of which sides (True is past) the place may be.
    """

    boundary: Boundary
    gap_m: float
    drawn_past: bool
    sides: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class Answering:
    """The boundaries that decide along a run, and whom they name.

    ``crossings`` are theirs, in order; ``named`` the parties that they name before, between and
    after these. Boundaries that may lie ``behind`` the start were met there, if at all.
    """

    site: Site
    crossings: Sequence[Crossing]
    named: Sequence[tuple[str, ...]]
    behind: Collection[tuple[str, str]]

    def may_answer(
        self, at_m: float, sides: Sequence[Side], drawn: Collection[tuple[str, str]] = ()
    ) -> tuple[str, ...]:
        """Return whoever may answer at a place: one party where nothing that matters is in doubt.

        ``sides`` are the place's, one a boundary of the site; of the boundaries ``drawn`` the side
        that is drawn is taken as it is. Nobody where no boundary decides.
        """
        beside = self._beside(at_m, sides, drawn)
        if not beside:
            return ()
        takings = itertools.product(*(one.sides for one in beside))
        found = itertools.chain.from_iterable(self._named_by(beside, pasts) for pasts in takings)
        return tuple(dict.fromkeys((*found, *self._contradicting(at_m, beside))))

    def is_close(self, sides: Sequence[Side]) -> bool:
        """Say whether a place is too close to call by a boundary that decides."""
        return any(
            boundary.decides and side.verdict == "too close to call"
            for boundary, side in zip(self.site.boundaries, sides, strict=True)
        )

    def _beside(
        self, at_m: float, sides: Sequence[Side], drawn: Collection[tuple[str, str]]
    ) -> list[_Beside]:
        """Return the boundaries that decide, innermost first."""
        side_of = {b.key: side for b, side in zip(self.site.boundaries, sides, strict=True)}
        beside = []
        for boundary in self.site.deciding_boundaries():
            side = side_of[boundary.key]
            met = (one for one in self.crossings if one.boundary == boundary.key)
            gap_m = min((abs(at_m - one.footage_m) for one in met), default=abs(side.past_m))
            may_be: tuple[bool, ...] = (side.verdict == "past",)
            if boundary.key in drawn:
                may_be = (side.past_m > 0.0,)
            elif side.verdict == "too close to call":
                may_be = (False, True)
            beside.append(_Beside(boundary, gap_m, side.past_m > 0.0, may_be))
        return beside

    def _named_by(self, beside: Sequence[_Beside], pasts: Sequence[bool]) -> list[str]:
        """Return whom the boundaries name for a place past some of them and inside the others.

        It lies beyond the boundary crossed last, else before the one crossed next: of those that
        stand at one place the outermost and the innermost. A boundary taken to have the place on
        its other side than is drawn stands beyond it, or before it.
        """
        gaps = [
            round(one.gap_m if past == one.drawn_past or self._is_behind(one) else -one.gap_m, 6)
            for one, past in zip(beside, pasts, strict=True)
        ]
        crossed = [(gap, -i) for i, gap in enumerate(gaps) if pasts[i]]
        if crossed:
            return [beside[-min(crossed)[1]].boundary.outside]
        # One never met, though the run may lie within it, names its party beside the next one's.
        never_met = set(self.behind) - {one.boundary for one in self.crossings}
        unmet = [i for i, one in enumerate(beside) if one.boundary.key in never_met]
        ahead = [i for i in range(len(beside)) if i not in unmet] or unmet
        following = min(ahead, key=gaps.__getitem__)
        return [beside[i].boundary.inside for i in (*unmet, following)]

    def _is_behind(self, one: _Beside) -> bool:
        return one.boundary.key in self.behind

    def _contradicting(self, at_m: float, beside: Sequence[_Beside]) -> Iterator[str]:
        """Yield the parties that boundaries which contradict each other name for a place.

        A boundary in doubt may lie on either side of where it is crossed; just there, any does.
        """
        met = [round(one.footage_m, 6) for one in self.crossings]
        reaches = {bisect_left(met, round(at_m, 6)), bisect_right(met, round(at_m, 6))}
        for one in beside:
            if len(one.sides) > 1:
                reaches |= {
                    index + beyond
                    for index, crossed in enumerate(self.crossings)
                    for beyond in (0, 1)
                    if crossed.boundary == one.boundary.key
                    and abs(at_m - crossed.footage_m) <= one.gap_m
                }
        for reach in sorted(reaches):
            if len(self.named[reach]) > 1:
                yield from self.named[reach]
