"""Where would one more locate help most?"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats
from lateral_map.model.locatable import can_locate
from lateral_map.model.past import measure_past, measure_pasts, variances
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    LocatePlan,
    NextLocate,
    PlannedLocate,
    Stations,
    is_settled,
)
from lateral_map.model.route import Route, propagate
from lateral_map.model.site import Site
from lateral_map.model.strip import Covariance, Strip
from lateral_map.units import to_metres

# A locate that takes less than a twentieth off an uncertainty is not worth proposing.
_WORTH_IT: Final = 0.95
# Of places that serve about as well, the one nearest to what is asked is the one to go to.
_AS_GOOD: Final = 1.10
# Before the job: as narrow a line, 1 sd across, is good enough; so few locates do not check one
# another, so many are a day's work; and so near a line its crossing lies between two of them.
_NARROW_M: Final = to_metres(0.75, "ft")
_FEWEST, _MOST_PLANNED = 3, 12
# Of a long run, or one of so many stations, so many places are looked at.
_MANY, _LOOKED_AT = 1_000, 96
_EACH_SIDE_M: Final = to_metres(3.0, "ft")


@dataclass(frozen=True, slots=True)
class _Marks:
    """Paint marks that could be made, one at each reachable station.

    ``seen`` (k, r, unknowns) are the derivatives of what would be measured of a mark: easting,
    northing, and for a line its distance past it. ``noise`` (k, r, r) is the measurements' own
    covariance, ``covariance`` that with the line's own.
    """

    seen: Floats
    noise: Floats
    covariance: Floats

    def against(self, covariance: Covariance) -> _Marks:
        """Return the marks on a line whose unknowns have another covariance."""
        return replace(self, covariance=propagate(self.seen, covariance) + self.noise)


@dataclass(frozen=True, slots=True)
class _Goal:
    """A distance past a line that one more locate should sharpen.

    ``noise_m2`` is the part of its variance that no locate changes; ``rate`` turns its sd into the
    sd people know (a crossing's along the pipe). ``past_m`` is 0 where no verdict hangs on it.
    """

    line: str
    finding: int | None
    footage_m: float
    past_m: float
    gradient: Floats
    noise_m2: float
    rate: float


@dataclass(frozen=True, slots=True)
class _Proposal:
    """A station for a locate, and the sd (m) of what matters before and after it."""

    station: int
    sd_before_m: float
    sd_after_m: float
    line: str = ""
    finding: int | None = None


def propose_next_locate(
    route: Route,
    stations: Stations,
    crossings: Iterable[Crossing],
    findings: Iterable[FindingResult],
) -> NextLocate | None:
    """Return the place for one more locate, or None where none is reachable, worth it or wanted.

    Where every finding's side is firm none is wanted.

    What matters first is a finding too close to call, then the footage where responsibility
    changes, then the route's widest place. Every candidate is a mark as good as the site's own,
    entered into the covariance by a low-rank update; places where none can be taken are left out.
    Where a line matters, the mark is taped from the real line too.
    """
    findings = tuple(findings)
    if is_settled(route, findings):
        return None
    site, footage = route.site, stations.footage_m
    reachable = _reachable(route.site, stations)
    if not len(reachable):
        return None
    proposals: tuple[Callable[[], _Proposal | None], ...] = (
        lambda: _for_findings(route, stations, reachable, findings),
        lambda: _for_crossings(route, stations, reachable, crossings),
        lambda: _for_width(route, stations, reachable),
    )
    for propose in proposals:
        best = propose()
        if best is None or best.sd_after_m > _WORTH_IT * best.sd_before_m:
            continue
        at = float(footage[best.station])
        return NextLocate(
            footage_m=at,
            lens_m=at + site.transmitter.behind_lens_m,
            easting_m=float(stations.easting_m[best.station]),
            northing_m=float(stations.northing_m[best.station]),
            goal="finding" if best.finding else "crossing" if best.line else "width",
            line=best.line,
            finding=best.finding,
            sd_before_m=best.sd_before_m,
            sd_after_m=best.sd_after_m,
            doubted=bool(route.doubts),
        )
    return None


def plan_locates(
    route: Route, stations: Stations, crossings: Iterable[Crossing]
) -> LocatePlan | None:
    """Return the locates to take on a run where none is tied in plan yet, None where one is.

    Two about each guessed crossing that decides, a little before and past it, taped from the real
    line too, so that each checks the other; then others, each where it narrows the line's widest
    place most, until that is narrow enough.
    """
    here, after = _reachable(route.site, stations), route.covariance
    # So long a run of which no locate is tied is no run before the job.
    if len(route.tied_footages_m) or not len(here) or isinstance(after, Strip):
        return None
    footage, chosen = stations.footage_m, dict[int, str]()
    deciding = [one for one in crossings if one.decides and one.kind not in ("main", "cleanout")]
    for one in deciding:
        step = max(_EACH_SIDE_M, abs(one.depth_m))
        for at in (one.footage_m - step, one.footage_m + step):
            chosen.setdefault(int(here[np.argmin(np.abs(footage[here] - at))]), one.line)
    # So many will check one another that none counts as less sure than stated.
    for station, line in chosen.items():
        mark = _make_marks(route, stations, np.array([station], np.intp), line, as_stated=True)
        after = _with_mark(after, mark.against(after), 0)
    apart = len(footage) // _MANY + 1
    here, told = here[::apart], slice(None, None, apart)
    every = _make_marks(route, stations, here, as_stated=True)
    right = np.radians(stations.heading_deg[told])
    right = np.stack([np.cos(right), -np.sin(right)], axis=-1)
    across = np.einsum("kx,kxn->kn", right, route.position_jacobian(footage[told])[1][:, :2])
    while len(chosen) < _MOST_PLANNED:
        wide = float(variances(across, after).max())
        if len(chosen) >= _FEWEST and wide <= _NARROW_M**2:
            break
        taken = np.isin(here, list(chosen))
        if taken.all():
            break
        every = every.against(after)
        left = _variance_left(after, every, across).max(axis=1)
        best = int(np.argmin(np.where(taken, np.inf, left)))
        chosen[int(here[best])] = ""
        after = _with_mark(after, every, best)
    place = route.positions(footage[list(chosen)])
    crossed = _goals(route, [(one.line, one.footage_m, None) for one in deciding[:1]])
    return LocatePlan(
        locates=tuple(
            sorted(
                (
                    PlannedLocate(
                        footage_m=float(footage[station]),
                        lens_m=float(footage[station]) + route.site.transmitter.behind_lens_m,
                        easting_m=float(east),
                        northing_m=float(north),
                        line=line,
                    )
                    for (station, line), (east, north, _) in zip(chosen.items(), place, strict=True)
                ),
                key=lambda one: one.footage_m,
            )
        ),
        sd_crossing_m=math.sqrt(float(variances(crossed[0].gradient[None], after)[0]))
        / crossed[0].rate
        if crossed
        else None,
        sd_across_m=math.sqrt(float(variances(across, after).max())),
    )


def _with_mark(covariance: Floats, marks: _Marks, index: int) -> Floats:
    """Return the unknowns' covariance with one of the marks measured too."""
    shared = marks.seen[index] @ covariance
    gain = shared.T @ np.linalg.solve(marks.covariance[index], shared)
    return np.asarray(covariance - gain)


def _reachable(site: Site, stations: Stations) -> NDArray[np.intp]:
    """Return the stations where a locate can be taken."""
    places = (stations.footage_m, stations.easting_m, stations.northing_m)
    return np.flatnonzero(can_locate(site, *places))


def _are_many(route: Route, stations: Stations) -> bool:
    """Say whether every station against every other is more than can be looked at."""
    return route.is_long or len(stations.footage_m) > _MANY


def _nearest(
    route: Route, stations: Stations, reachable: NDArray[np.intp], wanted_m: Floats
) -> NDArray[np.intp]:
    """Return the reachable stations, of a long run those nearest to wanted footages (k,)."""
    if not len(wanted_m) or not _are_many(route, stations):
        return reachable
    wanted = np.sort(wanted_m)
    footage = stations.footage_m[reachable]
    after = np.searchsorted(wanted, footage)
    beside = np.clip(np.stack([after - 1, after]), 0, len(wanted) - 1)
    gap = np.abs(wanted[beside] - footage).min(axis=0)
    return np.sort(reachable[np.argsort(gap, kind="stable")[:_LOOKED_AT]])


def _make_marks(
    route: Route,
    stations: Stations,
    reachable: NDArray[np.intp],
    line: str = "",
    *,
    as_stated: bool = False,
) -> _Marks:
    """Return what marks at the stations would measure; from ``line`` too where one is given.

    They are as much less sure than stated as the site's readings, or just ``as_stated``.
    """
    accuracy, footage = route.site.accuracy, stations.footage_m[reachable]
    _, jacobian = route.position_jacobian(footage)
    seen = jacobian[:, :2]
    axes = np.broadcast_to(np.eye(2), (len(footage), 2, 2))
    care = np.full((len(footage), 2), accuracy.tape_m)
    if line:
        past = measure_past(route, line, footage)
        seen = np.concatenate([seen, past.gradient[:, None]], axis=1)
        axes = np.concatenate([axes, past.normal[:, None]], axis=1)
        reach = np.hypot(accuracy.offset_m, accuracy.tape_fraction * past.past_m)
        care = np.concatenate([care, reach[:, None]], axis=1)
    along = axes @ route.directions(footage)[:, :2, None] * route.site.counter.sd_reading_m
    depth = np.maximum(stations.depth_m[reachable], 0.0)
    mark = accuracy.mark_m**2 + np.square(accuracy.mark_fraction * depth)
    noise = mark[:, None, None] * (axes @ np.swapaxes(axes, -1, -2))
    noise = noise + along @ np.swapaxes(along, -1, -2)
    noise = noise + np.square(care)[:, :, None] * np.eye(care.shape[1])
    if as_stated:
        return _Marks(seen, noise, propagate(seen, route.covariance) + noise)
    noise *= route.noise.readings**2
    return _Marks(seen, noise, propagate(seen, route.told_covariance) + noise)


def _variance_left(covariance: Covariance, marks: _Marks, gradient: Floats) -> Floats:
    """Return (k, g): the variance of each quantity (g, unknowns) with each of k marks measured."""
    shared = marks.seen @ (covariance @ gradient.T)
    gain = np.sum(shared * np.linalg.solve(marks.covariance, shared), axis=1)
    return np.asarray(np.maximum(variances(gradient, covariance) - gain, 0.0))


def _for_findings(
    route: Route,
    stations: Stations,
    reachable: NDArray[np.intp],
    findings: Iterable[FindingResult],
) -> _Proposal | None:
    """Propose the locate likeliest to settle a finding: the most sds from the line afterwards."""
    boundaries = route.site.boundaries
    any_decides = any(boundary.decides for boundary in boundaries)
    places: list[tuple[str, float, int | None]] = [
        (side.line, place.footage_m, result.number)
        for result in findings
        for place, sides in result.ends
        for boundary, side in zip(boundaries, sides, strict=True)
        if side.verdict == "too close to call"
        and boundary.kind == "line"
        and (boundary.decides or not any_decides)
    ]
    goals = _goals(route, places)
    proposals = _best_each(route, stations, reachable, goals)
    if not proposals:
        return None
    return max(
        zip(goals, proposals, strict=True),
        key=lambda pair: abs(pair[0].past_m) / max(pair[1].sd_after_m, 1e-12),
    )[1]


def _goals(route: Route, places: list[tuple[str, float, int | None]]) -> list[_Goal]:
    """Return the goals at (line, footage, finding)."""
    if not places:
        return []
    lines = dict.fromkeys(line for line, _, _ in places)
    at = {line: [i for i, one in enumerate(places) if one[0] == line] for line in lines}
    asked = [(line, np.array([places[i][1] for i in own])) for line, own in at.items()]
    goals: dict[int, _Goal] = {}
    for own, past in zip(at.values(), measure_pasts(route, asked), strict=True):
        noise = np.square(route.noise.readings * route.site.counter.sd_reading_m * past.rate)
        for row, index in enumerate(own):
            line, footage, finding = places[index]
            seen = finding is not None
            goals[index] = _Goal(
                line=line,
                finding=finding,
                footage_m=footage,
                past_m=float(past.past_m[row]),
                gradient=past.gradient[row],
                noise_m2=float(noise[row]) if seen else 0.0,
                rate=1.0 if seen else max(abs(float(past.rate[row])), 1e-9),
            )
    return [goals[index] for index in range(len(places))]


def _for_crossings(
    route: Route,
    stations: Stations,
    reachable: NDArray[np.intp],
    crossings: Iterable[Crossing],
) -> _Proposal | None:
    """Propose the locate that sharpens the loosest deciding crossing most."""
    deciding = [one for one in crossings if one.decides and one.kind not in ("main", "cleanout")]
    goals = _goals(route, [(one.line, one.footage_m, None) for one in deciding])
    proposals = _best_each(route, stations, reachable, goals)
    return max(proposals, key=lambda proposal: proposal.sd_before_m, default=None)


def _best_each(
    route: Route, stations: Stations, reachable: NDArray[np.intp], goals: list[_Goal]
) -> list[_Proposal]:
    """Return the best mark for each goal, in the goals' order."""
    reachable = _nearest(route, stations, reachable, np.array([one.footage_m for one in goals]))
    footage, found = stations.footage_m[reachable], {}
    for line in dict.fromkeys(goal.line for goal in goals):
        own = [index for index, goal in enumerate(goals) if goal.line == line]
        gradient = np.stack([goals[index].gradient for index in own])
        marks = _make_marks(route, stations, reachable, line)
        every = _variance_left(route.told_covariance, marks, gradient)
        before = variances(gradient, route.told_covariance)
        for index, variance, whole in zip(own, every.T, before, strict=True):
            goal = goals[index]
            left = variance + goal.noise_m2
            as_good = np.flatnonzero(left <= _AS_GOOD**2 * left.min())
            chosen = int(as_good[np.argmin(np.abs(footage[as_good] - goal.footage_m))])
            found[index] = _Proposal(
                station=int(reachable[chosen]),
                sd_before_m=math.sqrt(float(whole) + goal.noise_m2) / goal.rate,
                sd_after_m=math.sqrt(float(left[chosen])) / goal.rate,
                line=line,
                finding=goal.finding,
            )
    return [found[index] for index in range(len(goals))]


def _for_width(route: Route, stations: Stations, reachable: NDArray[np.intp]) -> _Proposal:
    """Propose the locate that leaves the route's widest place narrowest."""
    places, others_m2 = np.arange(len(stations.footage_m)), 0.0
    if _are_many(route, stations):
        # A locate narrows the line about itself: only where it is widest is anything to be won.
        places = np.argsort(-stations.across_sd_m, kind="stable")
        others_m2 = float(stations.across_sd_m[places[_LOOKED_AT:]].max(initial=0.0)) ** 2
        places = places[:_LOOKED_AT]
        reachable = _nearest(route, stations, reachable, stations.footage_m[places])
    heading = np.radians(stations.heading_deg[places])
    right = np.stack([np.cos(heading), -np.sin(heading)], axis=-1)
    _, jacobian = route.position_jacobian(stations.footage_m[places])
    across = np.einsum("kx,kxn->kn", right, jacobian[:, :2])
    marks = _make_marks(route, stations, reachable)
    left = _variance_left(route.told_covariance, marks, across)
    widest = np.maximum(left.max(axis=1), others_m2)
    chosen = int(np.argmin(widest))
    return _Proposal(
        station=int(reachable[chosen]),
        sd_before_m=math.sqrt(float(variances(across, route.told_covariance).max())),
        sd_after_m=math.sqrt(float(widest[chosen])),
    )
