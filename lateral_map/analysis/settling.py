"""Which one more reading would settle a finding that is too close to call?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import ONE_SIDED_95
from lateral_map.model.locatable import can_locate
from lateral_map.model.past import Past, measure_past, measure_pasts, pasts_m, variances
from lateral_map.model.results import FindingResult, Settling, Side
from lateral_map.model.results import SettlingWay as Way
from lateral_map.model.route import Route

# Asking for two readings instead of one must be worth it: a fifth off the uncertainty.
_WORTH_BOTH: Final = 0.8


class _End(NamedTuple):
    """One end of a finding, and on which side of which line it lies in doubt."""

    footage_m: float
    side: Side


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A distance past a line in doubt.

    ``gradient`` is its derivative; ``pipe_gradient`` that without the line's own shift.
    ``noise_m2`` is the variance of the counter's own reading there, ``variance_m2`` of the whole,
    ``mark_m2`` per axis that of a paint mark over the place, where one can be made: ``locatable``.
    """

    line: str
    footage_m: float
    past_m: float
    gradient: Floats
    pipe_gradient: Floats
    noise_m2: float
    variance_m2: float
    mark_m2: float
    locatable: bool


def settle_findings(route: Route, findings: tuple[FindingResult, ...]) -> tuple[FindingResult, ...]:
    """Return the findings with the reading that would settle those too close to call.

    Fixing the pipe's place (a locate over the finding) and fixing the line's (a tape from the real
    line to a mark that is there already) are weighed by the variance of the distance past the line
    that each would leave; where neither is likely to settle it, both at once. None is asked for
    where no locate can be taken.
    """
    told = [_settle(route, finding) for finding in findings]
    best = iter(_best_readings(route, [one for one in told if isinstance(one, _End)]))
    settled = (next(best) if isinstance(one, _End) else one for one in told)
    return tuple(
        one if two is None else replace(one, settling=two)
        for one, two in zip(findings, settled, strict=True)
    )


def _settle(route: Route, result: FindingResult) -> Settling | _End | None:
    """Return what would settle a finding, or which of its ends a reading must be found for."""
    if result.asked:
        return Settling("look again", at_m=result.finding.footage_m)
    if result.verdict_without:
        return Settling("look again", reading=result.verdict_without[0].reading)
    if result.verdict_under:
        # What was taken for true stands in the notes' own place.
        slip = result.verdict_under[0].slip or route.site.applied[0].slip
        return Settling("look again", at_m=slip.footage_m or 0.0, reading=slip.id)
    boundaries = route.site.boundaries
    close = [
        (boundary.decides, place.footage_m, side)
        for place, sides in result.ends
        for boundary, side in zip(boundaries, sides, strict=True)
        # What the counter alone parts, the main and cleanouts, no locate settles.
        if side.verdict == "too close to call" and boundary.kind == "line"
    ]
    over = result.between
    close += (
        [(True, result.between_m, over)] if over and over.verdict == "too close to call" else []
    )
    if not close:
        return None
    for _, at, side in close if route.alternatives else ():
        # Routes that fit as well may lie on both sides of the line here.
        pasts = [float(pasts_m(one, side.line, at)[0]) for _, one in route.solutions]
        if len({past > 0.0 for past in pasts}) > 1:
            return Settling("which route")
    _, at, side = min(close, key=lambda end: (not end[0], abs(end[2].past_m)))
    return _End(at, side)


def _best_readings(route: Route, ends: list[_End]) -> list[Settling | None]:
    """Return the reading that narrows each distance past a line most, None where none can be."""
    if not ends:
        return []
    lines = dict.fromkeys(end.side.line for end in ends)
    # Where a tape from each line could reach a mark that is there already.
    tied = [(line, route.tied_footages_m) for line in lines if len(route.tied_footages_m)]
    taped = dict(zip(lines, measure_pasts(route, tied), strict=True)) if tied else {}
    return [_best_reading(route, doubt, taped.get(doubt.line)) for doubt in _doubts(route, ends)]


def _best_reading(route: Route, doubt: _Doubt, taped: Past | None) -> Settling | None:
    singles = [_locate_over(route, doubt)] if doubt.locatable else []
    singles += [_tape_from_line(route, doubt, taped)] if taped else []
    if not singles:
        return None
    best = min(singles, key=lambda option: option.sd_after_m)
    # One locate over the place, its mark taped from the real line: the distance itself, seen.
    noise = doubt.mark_m2 + _as_told(route, route.site.accuracy.offset_m**2)
    both = _option("locate taped from line", doubt, doubt.variance_m2, doubt.variance_m2 + noise)
    if doubt.locatable and not best.enough and both.sd_after_m < _WORTH_BOTH * best.sd_after_m:
        return both
    return best


def _doubts(route: Route, ends: list[_End]) -> list[_Doubt]:
    at, accuracy = np.array([end.footage_m for end in ends]), route.site.accuracy
    east, north, _ = route.positions(at).T
    locatable = can_locate(route.site, at, east, north)
    depth = np.maximum(route.best_depths(at), 0.0)
    marks = accuracy.mark_m**2 + np.square(accuracy.mark_fraction * depth)
    found: dict[int, _Doubt] = {}
    for line in dict.fromkeys(end.side.line for end in ends):
        own = [index for index, end in enumerate(ends) if end.side.line == line]
        past, column = measure_past(route, line, at[own]), route.layout.line_column(line)
        pipe = past.gradient.copy()
        if column is not None:
            pipe[:, column] = 0.0
        noise = np.square(route.noise.readings * route.site.counter.sd_reading_m * past.rate)
        whole = variances(past.gradient, route.told_covariance) + noise
        for row, index in enumerate(own):
            found[index] = _Doubt(
                line=line,
                footage_m=ends[index].footage_m,
                past_m=ends[index].side.past_m,
                gradient=past.gradient[row],
                pipe_gradient=pipe[row],
                noise_m2=float(noise[row]),
                variance_m2=float(whole[row]),
                mark_m2=_as_told(route, float(marks[index])),
                locatable=bool(locatable[index]),
            )
    return [found[index] for index in range(len(ends))]


def _option(
    way: Way, doubt: _Doubt, shared: float, seen: float, at_m: float | None = None, mark: str = ""
) -> Settling:
    """Return one more reading: ``shared`` its covariance with the distance, ``seen`` its own."""
    after = math.sqrt(max(doubt.variance_m2 - shared**2 / seen, 0.0))
    return Settling(
        way=way,
        line=doubt.line,
        at_m=doubt.footage_m if at_m is None else at_m,
        mark=mark,
        sd_before_m=math.sqrt(doubt.variance_m2),
        sd_after_m=after,
        # A verdict is to be expected if the distance stays as it is.
        enough=abs(doubt.past_m) >= ONE_SIDED_95 * after,
    )


def _as_told(route: Route, variance_m2: float) -> float:
    """Return a reading's variance, as much larger than stated as the readings there are."""
    return route.noise.readings**2 * variance_m2


def _locate_over(route: Route, doubt: _Doubt) -> Settling:
    """One locate with the transmitter parked under the place, its mark tied to plan points."""
    pipe = doubt.pipe_gradient
    taping = _as_told(route, route.site.accuracy.tape_m**2)
    noise = doubt.mark_m2 + taping
    seen = float(pipe @ route.told_covariance @ pipe) + doubt.noise_m2 + noise
    shared = float(doubt.gradient @ route.told_covariance @ pipe) + doubt.noise_m2
    return _option("locate over", doubt, shared, seen)


def _tape_from_line(route: Route, doubt: _Doubt, there: Past) -> Settling:
    """One tape from the real line to the nearest paint mark; ``there`` are the marks past it."""
    mark = int(np.argmin(np.abs(route.tied_footages_m - doubt.footage_m)))
    place = float(route.tied_footages_m[mark])
    tied = [(index, one) for index, one in enumerate(route.site.used_locates()) if one.ties]
    used, locate = tied[mark]
    # The mark stands at the place, moved along the pipe by its counter reading's error and then by
    # its own two offsets.
    taped = there.gradient[mark].copy()
    first = route.layout.mark.start + 2 * mark
    taped[first : first + 2] += there.normal[mark]
    taped[route.layout.reading.start + used] += there.rate[mark]
    taping = _as_told(route, route.site.accuracy.offset_m**2)
    seen = float(taped @ route.told_covariance @ taped) + taping
    shared = float(doubt.gradient @ route.told_covariance @ taped)
    return _option("tape from line", doubt, shared, seen, place, locate.mark)
