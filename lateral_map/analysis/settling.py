"""Which one more reading would settle a finding that is too close to call?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import ONE_SIDED_95
from lateral_map.model.locatable import can_locate
from lateral_map.model.past import measure_past, pasts_m, variances
from lateral_map.model.results import FindingResult, Settling, Side
from lateral_map.model.results import SettlingWay as Way
from lateral_map.model.route import Route

# Asking for two readings instead of one must be worth it: a fifth off the uncertainty.
_WORTH_BOTH: Final = 0.8


@dataclass(frozen=True, slots=True)
class _Doubt:
    """A distance past a line in doubt.

    ``gradient`` is its derivative; ``pipe_gradient`` that without the line's own shift.
    ``noise_m2`` is the variance of the counter's own reading there, ``variance_m2`` of the whole.
    """

    line: str
    footage_m: float
    past_m: float
    gradient: Floats
    pipe_gradient: Floats
    noise_m2: float
    variance_m2: float


def settle_findings(route: Route, findings: tuple[FindingResult, ...]) -> tuple[FindingResult, ...]:
    """Return the findings with the reading that would settle those too close to call.

    Fixing the pipe's place (a locate over the finding) and fixing the line's (a tape from the real
    line to a mark that is there already) are weighed by the variance of the distance past the line
    that each would leave; where neither is likely to settle it, both at once. None is asked for
    where no locate can be taken.
    """
    return tuple(replace(finding, settling=_settle(route, finding)) for finding in findings)


def _settle(route: Route, result: FindingResult) -> Settling | None:
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
    for _, at, side in close:
        # Routes that fit as well may lie on both sides of the line here.
        pasts = [float(pasts_m(one, side.line, at)[0]) for _, one in route.solutions]
        if len({past > 0.0 for past in pasts}) > 1:
            return Settling("which route")
    _, at, side = min(close, key=lambda end: (not end[0], abs(end[2].past_m)))
    return _best_reading(route, _doubt(route, at, side))


def _best_reading(route: Route, doubt: _Doubt) -> Settling | None:
    """Return the reading that narrows a distance past a line most, None where none can be taken."""
    at = doubt.footage_m
    east, north, _ = route.positions(at)[0]
    over_it = bool(can_locate(route.site, np.array([at]), east[None], north[None])[0])
    singles = [_locate_over(route, doubt)] if over_it else []
    singles += _tape_from_line(route, doubt)
    if not singles:
        return None
    best = min(singles, key=lambda option: option.sd_after_m)
    # One locate over the place, its mark taped from the real line: the distance itself, seen.
    noise = _mark_variance(route, at) + _as_told(route, route.site.accuracy.offset_m**2)
    both = _option("locate taped from line", doubt, doubt.variance_m2, doubt.variance_m2 + noise)
    if over_it and not best.enough and both.sd_after_m < _WORTH_BOTH * best.sd_after_m:
        return both
    return best


def _doubt(route: Route, footage_m: float, side: Side) -> _Doubt:
    past = measure_past(route, side.line, footage_m)
    pipe = past.gradient[0].copy()
    column = route.layout.line_column(side.line)
    if column is not None:
        pipe[column] = 0.0
    noise = float(route.noise.readings * route.site.counter.sd_reading_m * past.rate[0]) ** 2
    return _Doubt(
        line=side.line,
        footage_m=footage_m,
        past_m=side.past_m,
        gradient=past.gradient[0],
        pipe_gradient=pipe,
        noise_m2=noise,
        variance_m2=float(variances(past.gradient, route.told_covariance)[0]) + noise,
    )


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


def _mark_variance(route: Route, footage_m: float) -> float:
    """Return the variance (m²) per axis of a paint mark over the pipe at a footage."""
    accuracy = route.site.accuracy
    depth = max(float(route.best_depths(footage_m)[0]), 0.0)
    return _as_told(route, accuracy.mark_m**2 + (accuracy.mark_fraction * depth) ** 2)


def _as_told(route: Route, variance_m2: float) -> float:
    """Return a reading's variance, as much larger than stated as the readings there are."""
    return route.noise.readings**2 * variance_m2


def _locate_over(route: Route, doubt: _Doubt) -> Settling:
    """One locate with the transmitter parked under the place, its mark tied to plan points."""
    pipe = doubt.pipe_gradient
    taping = _as_told(route, route.site.accuracy.tape_m**2)
    noise = _mark_variance(route, doubt.footage_m) + taping
    seen = float(pipe @ route.told_covariance @ pipe) + doubt.noise_m2 + noise
    shared = float(doubt.gradient @ route.told_covariance @ pipe) + doubt.noise_m2
    return _option("locate over", doubt, shared, seen)


def _tape_from_line(route: Route, doubt: _Doubt) -> list[Settling]:
    """One tape from the real line to the nearest paint mark; none where no locate is tied."""
    if not len(route.tied_footages_m):
        return []
    mark = int(np.argmin(np.abs(route.tied_footages_m - doubt.footage_m)))
    place = float(route.tied_footages_m[mark])
    there = measure_past(route, doubt.line, place)
    tied = [(index, one) for index, one in enumerate(route.site.used_locates()) if one.ties]
    used, locate = tied[mark]
    # The mark stands at the place, moved along the pipe by its counter reading's error and then by
    # its own two offsets.
    taped = there.gradient[0].copy()
    first = route.layout.mark.start + 2 * mark
    taped[first : first + 2] += there.normal[0]
    taped[route.layout.reading.start + used] += there.rate[0]
    taping = _as_told(route, route.site.accuracy.offset_m**2)
    seen = float(taped @ route.told_covariance @ taped) + taping
    shared = float(doubt.gradient @ route.told_covariance @ taped)
    return [_option("tape from line", doubt, shared, seen, place, locate.mark)]
