"""Which one more reading would settle a finding that is too close to call?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.chance import ONE_SIDED_95, TWO_SIDED_95
from lateral_map.model.past import alternative_pasts, measure_past, variances
from lateral_map.model.results import FindingResult, Side
from lateral_map.model.route import Route
from lateral_map.model.site import Locate
from lateral_map.units import format_length, format_spread

Floats = NDArray[np.float64]

# Asking for two readings instead of one must be worth it: a fifth off the uncertainty.
_WORTH_BOTH: Final = 0.8
_WHICH_ROUTE: Final = (
    "a tape to one mark from a third point, or the first azimuth: either tells which of the routes "
    "that fit is the right one"
)


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


@dataclass(frozen=True, slots=True)
class _Option:
    """One more reading that could be taken, and the distance's 1 sd (m) with it."""

    words: str
    sd_after_m: float

    def would_settle(self, doubt: _Doubt) -> bool:
        """Say whether a verdict is to be expected, if the distance stays as it is."""
        return abs(doubt.past_m) >= ONE_SIDED_95 * self.sd_after_m


def settle_findings(route: Route, findings: tuple[FindingResult, ...]) -> tuple[FindingResult, ...]:
    """Return the findings with ``settle`` said for those too close to call.

    Fixing the pipe's place (a locate over the finding) and fixing the line's (a tape from the real
    line to a mark that is there already) are weighed by the variance of the distance past the line
    that each would leave; where neither is likely to settle it, both at once.
    """
    return tuple(replace(finding, settle=_settle(route, finding)) for finding in findings)


def _settle(route: Route, result: FindingResult) -> str:
    ends = [(result.finding.footage_m, side) for side in result.sides]
    if result.finding.to_m is not None:
        ends += [(result.finding.to_m, side) for side in result.sides_to]
    close = [(at, side) for at, side in ends if side.verdict == "too close to call"]
    if not close:
        return ""
    deciding = {b.line for b in route.site.boundaries if b.decides}
    if route.alternatives and any(_parts_routes(route, at, side) for at, side in close):
        return _WHICH_ROUTE
    at, side = min(close, key=lambda end: (end[1].line not in deciding, abs(end[1].past_m)))
    return _best_reading(route, _doubt(route, at, side))


def _parts_routes(route: Route, footage_m: float, side: Side) -> bool:
    """Say whether the routes that fit as well lie on both sides of the line here."""
    others = alternative_pasts(route, side.line, footage_m)
    return bool(((others > 0.0) != (side.past_m > 0.0)).any())


def _doubt(route: Route, footage_m: float, side: Side) -> _Doubt:
    past = measure_past(route, side.line, footage_m)
    pipe = past.gradient[0].copy()
    column = route.layout.line_column(side.line)
    if column is not None:
        pipe[column] = 0.0
    noise = float(route.site.counter.sd_reading_m * past.rate[0]) ** 2
    return _Doubt(
        line=side.line,
        footage_m=footage_m,
        past_m=side.past_m,
        gradient=past.gradient[0],
        pipe_gradient=pipe,
        noise_m2=noise,
        variance_m2=float(variances(past.gradient, route.covariance)[0]) + noise,
    )


def _best_reading(route: Route, doubt: _Doubt) -> str:
    """Say which of the readings tells most, and whether it is likely to be enough."""
    singles = [_locate_over(route, doubt), *_tape_from_line(route, doubt)]
    best = min(singles, key=lambda option: option.sd_after_m)
    both = _locate_taped_from_line(route, doubt)
    if not best.would_settle(doubt) and both.sd_after_m < _WORTH_BOTH * best.sd_after_m:
        best = both
    before, after = (
        format_spread(TWO_SIDED_95 * sd, route.site.unit)
        for sd in (math.sqrt(doubt.variance_m2), best.sd_after_m)
    )
    sentence = f"{best.words}: ± {before} would become ± {after}"
    if best.would_settle(doubt):
        return sentence
    return f"{sentence}, which may still be too close; uncovering the pipe there would settle it"


def _mark_variance(route: Route, footage_m: float) -> float:
    """Return the variance (m²) per axis of a paint mark over the pipe at a footage."""
    accuracy = route.site.accuracy
    depth = max(float(route.depths(footage_m)[0][0]), 0.0)
    return accuracy.mark_m**2 + (accuracy.mark_fraction * depth) ** 2


def _locate_over(route: Route, doubt: _Doubt) -> _Option:
    """One locate with the transmitter parked under the place, its mark tied to plan points."""
    pipe = doubt.pipe_gradient
    noise = _mark_variance(route, doubt.footage_m) + route.site.accuracy.tape_m**2
    seen = float(pipe @ route.covariance @ pipe) + doubt.noise_m2 + noise
    shared = float(doubt.gradient @ route.covariance @ pipe) + doubt.noise_m2
    where = format_length(doubt.footage_m, route.site.unit)
    words = f"one more locate over {where}, its mark taped from permanent points"
    return _Option(words, _sd_after(doubt, shared, seen))


def _tape_from_line(route: Route, doubt: _Doubt) -> list[_Option]:
    """One tape from the real line to the nearest paint mark; none where no locate is tied."""
    if not len(route.tied_footages_m):
        return []
    mark = int(np.argmin(np.abs(route.tied_footages_m - doubt.footage_m)))
    place = float(route.tied_footages_m[mark])
    there = measure_past(route, doubt.line, place)
    used, locate = _used_and_tied(route, mark)
    # The mark stands at the place, moved along the pipe by its counter reading's error and then by
    # its own two offsets.
    taped = there.gradient[0].copy()
    first = route.layout.mark.start + 2 * mark
    taped[first : first + 2] += there.normal[0]
    taped[route.layout.reading.start + used] += there.rate[0]
    seen = float(taped @ route.covariance @ taped) + route.site.accuracy.offset_m**2
    shared = float(doubt.gradient @ route.covariance @ taped)
    where = format_length(place, route.site.unit)
    words = f"one more tape from the real {doubt.line} to mark {locate.mark} near {where}"
    return [_Option(words, _sd_after(doubt, shared, seen))]


def _sd_after(doubt: _Doubt, shared: float, seen: float) -> float:
    return math.sqrt(max(doubt.variance_m2 - shared**2 / seen, 0.0))


def _used_and_tied(route: Route, mark: int) -> tuple[int, Locate]:
    """Return a tied locate's place among the locates used, by footage, and the locate itself."""
    used = enumerate(route.site.used_locates())
    return [(index, one) for index, one in used if one.ties][mark]


def _locate_taped_from_line(route: Route, doubt: _Doubt) -> _Option:
    """One locate over the place, its mark taped from the real line: the distance itself, seen."""
    noise = _mark_variance(route, doubt.footage_m) + route.site.accuracy.offset_m**2
    where = format_length(doubt.footage_m, route.site.unit)
    words = f"one more locate over {where}, its mark taped from the real {doubt.line}"
    return _Option(words, _sd_after(doubt, doubt.variance_m2, doubt.variance_m2 + noise))
