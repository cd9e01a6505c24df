"""Who answers for which stretch of the pipe, by footage?"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace

from lateral_map.model.results import Crossing, ResponsibilityStretch
from lateral_map.model.route import Route
from lateral_map.model.site import Boundary


@dataclass(frozen=True, slots=True)
class _Change:
    """A footage where another party takes over."""

    footage_m: float
    sd_m: float
    line: str
    party: str


def share_responsibility(
    route: Route, crossings: Iterable[Crossing]
) -> tuple[ResponsibilityStretch, ...]:
    """Return the stretches of the run and who answers for each; empty where no boundary decides.

    The run's own ends carry no sd; in between, a stretch ends at a crossing of a deciding boundary,
    as sure as that crossing is.
    """
    site = route.site
    deciding = {b.line: b for b in site.boundaries if b.decides}
    if not deciding:
        return ()
    met = sorted((c for c in crossings if c.line in deciding), key=lambda c: c.footage_m)
    first = _Change(site.counter.zero_m, 0.0, "", _party_at_start(site.boundaries, met))
    last = _Change(site.run.end_m, 0.0, "", "")
    changes = [first, *(_change(deciding[c.line], c) for c in met), last]
    return _merged(
        ResponsibilityStretch(
            from_m=begin.footage_m,
            to_m=end.footage_m,
            party=begin.party,
            sd_from_m=begin.sd_m,
            sd_to_m=end.sd_m,
            line_from=begin.line,
            line_to=end.line,
        )
        for begin, end in itertools.pairwise(changes)
    )


def _party_at_start(boundaries: tuple[Boundary, ...], met: list[Crossing]) -> str:
    """Return who answers at the start: the start's side of the first deciding line met."""
    deciding = {b.line: b for b in boundaries if b.decides}
    if not met:
        return next(iter(deciding.values())).inside
    boundary = deciding[met[0].line]
    return boundary.inside if met[0].outward else boundary.outside


def _change(boundary: Boundary, crossing: Crossing) -> _Change:
    party = boundary.outside if crossing.outward else boundary.inside
    return _Change(crossing.footage_m, crossing.sd_footage_m, crossing.line, party)


def _merged(stretches: Iterable[ResponsibilityStretch]) -> tuple[ResponsibilityStretch, ...]:
    """Join neighbours that one party answers for."""
    joined: list[ResponsibilityStretch] = []
    for stretch in stretches:
        if joined and joined[-1].party == stretch.party:
            joined[-1] = replace(
                joined[-1], to_m=stretch.to_m, sd_to_m=stretch.sd_to_m, line_to=stretch.line_to
            )
        else:
            joined.append(stretch)
    return tuple(joined)
