"""On which side of each boundary does each finding lie, and so who answers for it?"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lateral_map.model.answering import Answering
from lateral_map.model.arrays import Floats
from lateral_map.model.boundaries import deciding_crossings, parties_named
from lateral_map.model.chance import SURE, TWO_SIDED_95, chance_above_zero, less_sure
from lateral_map.model.identity import ReadingId
from lateral_map.model.lines import ON_LINE_M
from lateral_map.model.noise import Noise
from lateral_map.model.past import drawn_pasts, measure_past, pasts_m
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    FindingVerdict,
    FoundPlace,
    OtherAnswers,
    PlaceAlong,
    Side,
    SideVerdict,
    Stations,
    SurePart,
)
from lateral_map.model.route import Doubt, Route
from lateral_map.model.site import Boundary, Finding
from lateral_map.model.telling import find_telling_readings
from lateral_map.model.trade import class_of

# So near a crossing a place is on one side of it and as near as can be to the other.
_BESIDE_M: Final = 1e-3
# So many places of a run are asked for their side of lines it never crosses.
_PLACES_ALONG: Final = 33
_PLACES_IN_STRETCH: Final = 9
# So near is found where who may answer changes: well within the 0.1 ft it is told to.
_EXACT_M: Final = 0.01
# Which boundary's verdict is told of a finding near several.
_DOUBT_FIRST: Final[tuple[FindingVerdict, ...]] = (
    "too close to call", "past from within", "across", "past", "inside",
)  # fmt: skip


def judge_findings(
    route: Route, stations: Stations, crossings: Iterable[Crossing], *, places_only: bool = False
) -> tuple[FindingResult, ...]:
    """Return every finding's place, its side of every boundary, and the party that answers for it.

    The distance past is judged jointly with the boundary's own shift and with the counter's reading
    noise at the finding, which acts along the pipe: P(past) = Phi(distance / sd), and 95 % is asked
    for a verdict. Where other routes fit the readings as well, P(past) is the mean over all of
    them by their weights, and the sd is about the best one. ``stations`` must hold a station at
    both ends of every finding. ``places_only`` leaves out which readings each rests on.
    """
    findings = route.site.findings
    if not findings:
        return ()
    answering = _answering(route, crossings)
    turns = _turns(route, stations, answering.crossings)
    places = [_places_along(finding, answering.crossings, turns) for finding in findings]
    asked = sorted(set(itertools.chain.from_iterable(places)))
    judged = dict(zip(asked, judge_sides(route, asked), strict=True))
    rests_on: tuple[tuple[ReadingId, ...], ...] = ((),) * len(findings)
    if not places_only:
        rests_on = find_telling_readings(route, _telling_gradients(route, findings))
    results = []
    for index, (finding, along) in enumerate(zip(findings, places, strict=True)):
        stretch = finding.to_m is not None
        sides = _between([judged[at] for at in along])
        decisive = _decisive(route.site.boundaries, sides)
        over = None if decisive is None else _farthest_over([each[decisive] for each in sides])
        verdict = None if decisive is None else verdict_along([s[decisive].verdict for s in sides])
        parties = [answering.may_answer(at, each) for at, each in zip(along, sides, strict=True)]
        may_answer = tuple(dict.fromkeys(itertools.chain.from_iterable(parties)))
        results.append(
            FindingResult(
                number=index + 1,
                finding=finding,
                finding_class=class_of(finding),
                near=_place(stations, along[0]),
                far=_place(stations, along[-1]) if stretch else None,
                sides=sides[0],
                sides_to=sides[-1] if stretch else (),
                deciding=None if decisive is None else sides[0][decisive],
                deciding_to=sides[-1][decisive] if stretch and decisive is not None else None,
                verdict=verdict,
                answers=_answers_along(parties, [*map(answering.is_close, sides)], verdict),
                may_answer=may_answer,
                rests_on=rests_on[index],
                between=None if over is None or decisive is None else sides[over][decisive],
                between_m=0.0 if over is None else along[over],
                sure=_sure_parts(route, answering, dict(zip(along, parties, strict=True))),
            )
        )
    return tuple(results)


def _sure_parts(
    route: Route, answering: Answering, along: dict[float, tuple[str, ...]]
) -> tuple[SurePart, ...]:
    """Return where one party surely answers along a finding, of which places ``along`` are told.

    Of a stretch with any of these in doubt others are asked as well.
    """
    told = dict(along)
    if len(along) > 1 and any(len(may) > 1 for may in along.values()):
        spread = _sure_places(min(along), max(along), answering.crossings)
        judged = zip(spread, _between(judge_sides(route, spread)), strict=True)
        told = {at: answering.may_answer(at, sides) for at, sides in judged}
        told |= {at: may for at, may in along.items() if len(may) == 1}
    return tuple(SurePart(at, may[0]) for at, may in sorted(told.items()) if len(may) == 1)


def _answers_along(
    parties: list[tuple[str, ...]], is_close: list[bool], verdict: FindingVerdict | None
) -> tuple[str, ...]:
    """Return who answers for a finding in order, nobody where that is not sure.

    Where a place at its beginning is in doubt, what is known of the rest stands; where its end is,
    nothing does, nor where the boundaries contradict each other.
    """
    doubtful = [len(may) > 1 and close for may, close in zip(parties, is_close, strict=True)]
    known = parties[doubtful.index(False) if False in doubtful else len(parties) :]
    open_side = verdict == "too close to call" and len(set(itertools.chain(*parties))) > 1
    if open_side or any(len(each) != 1 for each in known):
        return ()
    return tuple(party for (party,), _ in itertools.groupby(known))


def judge_along(
    route: Route,
    crossings: Iterable[Crossing],
    findings: Iterable[FindingResult],
    others: Iterable[OtherAnswers] = (),
) -> tuple[PlaceAlong, ...]:
    """Return who may answer at places along a run, in order; empty where no boundary decides.

    Within the 95 % range of a crossing the side is taken as drawn, for that range tells the doubt;
    elsewhere 95 % is asked for, of ``others`` too: what the readings may mean instead. So is a
    finding that is too close to call here as well.
    """
    site, findings = route.site, tuple(findings)
    if not site.deciding_boundaries():
        return ()
    answering = _answering(route, crossings)
    instead = [(one.doubt, _answering(one.doubt.route, one.crossings)) for one in others]
    spread = np.linspace(site.counter.zero_m, site.run.end_m, _PLACES_ALONG).tolist()
    beside = [c.footage_m + off for c in answering.crossings for off in (-_BESIDE_M, _BESIDE_M)]
    own = [place.footage_m for one in findings for place, _ in one.ends]
    footages = sorted({round(at, 9) for at in (*spread, *beside, *own)})
    # Of a stretch that is too close to call only the end that its own footage may have wrong.
    doubted = {
        round(one.ends[-1][0].footage_m, 9): one.may_answer
        for one in findings
        if one.verdict == "too close to call" and (one.far is None or one.asked)
    }
    places: list[PlaceAlong] = []
    while footages:
        found = _judge_along(route, answering, instead, footages)
        places = sorted((*places, *found), key=lambda one: one.footage_m)
        # Where others may answer at one place than at the next, the end of that is halved for.
        footages = [
            (one.footage_m + two.footage_m) / 2.0
            for one, two in itertools.pairwise(places)
            if set(one.parties) != set(two.parties) and two.footage_m - one.footage_m > _EXACT_M
        ]
    return tuple(
        place if place.near_crossing else _also(place, doubted.get(place.footage_m, ()))
        for place in places
    )


def _judge_along(
    route: Route,
    answering: Answering,
    others: list[tuple[Doubt, Answering]],
    footages: list[float],
) -> list[PlaceAlong]:
    """Return who may answer at footages of a run; apart from crossings by ``others`` as well."""
    # What is found there has a reading of the counter of its own.
    noise = route.site.counter.sd_reading_m
    ranges = [
        (one.boundary, one.footage_m, TWO_SIDED_95 * math.hypot(one.sd_footage_m, noise))
        for one in answering.crossings
        if one.boundary not in answering.behind
    ]
    places = []
    for at, sides in zip(footages, judge_sides(route, footages, route.noise), strict=True):
        drawn = {line for line, met, reach in ranges if abs(at - met) <= reach}
        places.append(PlaceAlong(at, answering.may_answer(at, sides, drawn), bool(drawn)))
    apart = [index for index, place in enumerate(places) if not place.near_crossing]
    for doubt, other in others:
        meant = doubt.along(np.array([footages[index] for index in apart])).tolist()
        judged = judge_sides(doubt.route, meant, doubt.route.noise)
        for index, at, sides in zip(apart, meant, judged, strict=True):
            places[index] = _also(places[index], other.may_answer(at, sides))
    return places


def _also(place: PlaceAlong, parties: tuple[str, ...]) -> PlaceAlong:
    """Return a place at which others may answer as well."""
    return replace(place, parties=tuple(dict.fromkeys((*place.parties, *parties))))


def _answering(route: Route, crossings: Iterable[Crossing]) -> Answering:
    """Return who may answer where, by a route's crossings of the boundaries that decide."""
    decided = deciding_crossings(route.site, crossings)
    behind = {
        boundary.key
        for boundary in route.site.deciding_boundaries()
        if boundary.kind == "line" and _chance_of_other_side(route, boundary) > 1.0 - SURE
    }
    return Answering(route.site, decided, parties_named(route.site, decided), behind)


def _turns(route: Route, stations: Stations, decided: Sequence[Crossing]) -> list[float]:
    """Return where the run turns by a line that decides: nearest to it, or farthest beyond it.

    Nearest is where it comes without going over; farthest where it went over and comes back over.
    """
    found: list[float] = []
    at = stations.footage_m
    for boundary in route.site.deciding_boundaries():
        if boundary.kind != "line":
            continue
        past = pasts_m(route, boundary.line, at)
        away = np.abs(past)
        nearest = (away[1:-1] <= away[:-2]) & (away[1:-1] < away[2:]) & (past[:-2] * past[2:] > 0.0)
        found += at[1:-1][nearest].tolist()
        met = [c.footage_m for c in decided if c.boundary == boundary.key]
        for out, back in itertools.pairwise(met):
            inner = np.flatnonzero((at > out) & (at < back))
            farthest = at[inner[np.argmax(away[inner])]] if len(inner) else (out + back) / 2.0
            found.append(float(farthest))
    return found


def _places_along(finding: Finding, decided: Sequence[Crossing], turns: list[float]) -> list[float]:
    """Return the places that a finding is judged by: its ends, and those that part it in between.

    Just before each crossing is as far as can be from what was crossed before it.
    """
    if finding.to_m is None:
        return [finding.footage_m]
    begin, end = finding.footage_m, finding.to_m
    cuts = [begin]
    # Nobody answers for the nothing between crossings at one place.
    cuts += [c.footage_m for c in _apart(decided) if begin < c.footage_m < end]
    between = [max((a + b) / 2.0, b - _BESIDE_M) for a, b in itertools.pairwise(cuts)]
    return [begin, *sorted({*between, *(at for at in turns if begin < at < end)}), end]


def _apart(decided: Sequence[Crossing]) -> list[Crossing]:
    """Return crossings in order, of those at one place the first."""
    apart: list[Crossing] = []
    for one in decided:
        if not apart or round(one.footage_m - apart[-1].footage_m, 6) > 0.0:
            apart.append(one)
    return apart


def _sure_places(begin: float, end: float, decided: Sequence[Crossing]) -> list[float]:
    """Return where who answers for a part of a stretch may be sure, from whichever end it is seen.

    Between neighbouring crossings that is where doubt about either is least.
    """
    places = [c.footage_m + off for c in decided for off in (-_BESIDE_M, _BESIDE_M)]
    for one, other in itertools.pairwise(_apart(decided)):
        share = one.sd_footage_m / max(one.sd_footage_m + other.sd_footage_m, 1e-9)
        surest = one.footage_m + share * (other.footage_m - one.footage_m)
        places.append(min(max(surest, begin), end))
    places += np.linspace(begin, end, _PLACES_IN_STRETCH).tolist()
    # Where a line is crossed itself nobody is sure on which side that is.
    met = np.array([c.footage_m for c in decided])
    return sorted(
        {at for at in places if begin <= at <= end and np.all(np.abs(met - at) > _BESIDE_M / 2.0)}
    )


def _between(along: list[tuple[Side, ...]]) -> list[tuple[Side, ...]]:
    """Return the sides along a stretch, without doubt about what it surely crosses.

    Between a place that is surely inside a boundary and one that is surely past it lies a crossing:
    what lies between the two is on the side that the crossing puts it on, however near it is.
    """
    columns = []
    for column in zip(*along, strict=True):
        sure = [i for i, side in enumerate(column) if side.verdict != "too close to call"]
        told = list(column)
        for first, last in itertools.pairwise(sure):
            if column[first].verdict != column[last].verdict:
                for i in range(first + 1, last):
                    verdict: SideVerdict = "past" if column[i].past_m > 0.0 else "inside"
                    told[i] = replace(column[i], verdict=verdict)
        columns.append(told)
    return list(zip(*columns, strict=True)) if columns else along


def _farthest_over(along: list[Side]) -> int | None:
    """Return where a stretch whose ends lie on one side goes over to the other, or may, else None.

    That is where it lies farthest over, or comes nearest to going there.
    """
    sign = math.copysign(1.0, along[0].past_m)
    farthest = min(range(len(along)), key=lambda i: sign * along[i].past_m)
    over = sign * along[-1].past_m > 0.0 > sign * along[farthest].past_m
    ends = {along[0].verdict, along[-1].verdict}
    near = along[farthest].verdict == "too close to call" and ends in ({"inside"}, {"past"})
    return farthest if over or near else None


def judge_sides(
    route: Route, footages: list[float], noise: Noise | None = None
) -> list[tuple[Side, ...]]:
    """Return, for each place, its side of every boundary in the site's order.

    By the stated accuracies; with ``noise``, as sure as that lets the distances be.
    """
    at = np.array(footages, float)
    site, columns = route.site, []
    for boundary in site.boundaries:
        if boundary.kind == "line":
            columns.append(_sides_of_line(route, boundary, at, noise))
            continue
        # The main and a cleanout: two readings of one counter, each with noise.
        place = site.boundary_footage_m(boundary)
        sd = math.hypot(site.counter.sd_reading_m, site.boundary_sd_m(boundary))
        sides = []
        for footage in at:
            past = float(footage) - place
            chance = chance_above_zero(past, sd)
            if boundary.kind == "main":
                # Whatever the camera saw it saw before the main, or before where it stopped short.
                chance = 0.0
            sides.append(Side(boundary.line, past, sd, chance, side_verdict(chance)))
        columns.append(sides)
    return list(zip(*columns, strict=True)) if columns else [()] * len(at)


def _sides_of_line(route: Route, boundary: Boundary, at: Floats, noise: Noise | None) -> list[Side]:
    past = measure_past(route, boundary.line, at)
    chance, square = np.zeros(len(at)), np.zeros(len(at))

    def told(sds: Floats, gradient: Floats) -> Floats:
        return sds if noise is None else noise.widen(sds, gradient)

    # Every solution that fits votes by its weight, with its own place and its own sd: as wide as it
    # is told, for once it rounds to certain a probability has forgotten by how many sd.
    for weight, solution in route.solutions:
        own = past if solution is route else measure_past(solution, boundary.line, at)
        reading = np.square(route.site.counter.sd_reading_m * own.rate)
        variance = np.square(own.sd_m(solution)) + reading
        each = zip(own.past_m, told(np.sqrt(variance), own.gradient), strict=True)
        chance += weight * np.array([chance_above_zero(float(d), float(sd)) for d, sd in each])
        square += weight * (variance + np.square(own.past_m - past.past_m))
    if route.draws is not None:
        # The line swings on an arc: counted, not propagated. How wide it swings is itself a guess,
        # so a verdict must hold for the line drawn, heading straight for it, as well.
        drawn = drawn_pasts(route, boundary.line, at)
        square = np.mean(np.square(drawn - past.past_m), axis=0) + np.square(
            route.site.counter.sd_reading_m * past.rate
        )
        wider = told(np.sqrt(square), past.gradient) / np.sqrt(square)
        shares = zip(np.mean(drawn > 0.0, axis=0), wider, strict=True)
        counted = np.array([less_sure(float(share), float(each)) for share, each in shares])
        doubtful = np.abs(counted - 0.5) < np.abs(chance - 0.5)
        chance = np.where(doubtful, counted, chance)
    sd = told(np.sqrt(square), past.gradient)
    other = _chance_of_other_side(route, boundary)
    chance += other * (1.0 - 2.0 * chance)
    return [
        Side(
            line=boundary.line,
            past_m=float(past.past_m[i]),
            sd_past_m=float(sd[i]),
            probability_past=float(chance[i]),
            verdict=side_verdict(float(chance[i])),
            carried_m=float(past.carried_m[i]),
        )
        for i in range(len(at))
    ]


def _chance_of_other_side(route: Route, boundary: Boundary) -> float:
    """Return how likely the start lies on the other side of a line than it was put.

    Of a line that lies farther off than the start's accuracy nobody doubts that; nor of one that
    the run crosses, nor from a start on it, for there the run tells what is past it. Where locates
    tell where the start lies better than its own accuracy does, they say how likely it is.
    """
    line, site = route.site.plan.line(boundary.line), route.site
    off_m = site.start_off_m(line)
    if not ON_LINE_M < off_m <= site.start.sd_m:
        return 0.0
    past = measure_past(route, line.name, route.chain.nodes_m)
    if past.past_m[np.argmax(np.abs(past.past_m))] > 0.0:
        return 0.0
    as_adjusted = chance_above_zero(float(past.past_m[0]), float(past.sd_m(route)[0]))
    return min(1.0 - chance_above_zero(off_m, site.start.sd_m), as_adjusted)


def side_verdict(probability_past: float) -> SideVerdict:
    """Return the verdict of a side: 95 % is asked for either way."""
    if probability_past >= SURE:
        return "past"
    return "inside" if probability_past <= 1.0 - SURE else "too close to call"


def _decisive(boundaries: tuple[Boundary, ...], sides: list[tuple[Side, ...]]) -> int | None:
    """Return which boundary decides a finding, None where none does.

    One whose side stays in doubt before one in doubt only where the finding begins, then one it
    lies across, then the one crossed last, then the one to be crossed next; of equals the nearest
    to either end. A boundary with one party on both sides decides only where there is no other.
    """
    deciding = [i for i, b in enumerate(boundaries) if b.decides]
    parting = [i for i in deciding if boundaries[i].inside != boundaries[i].outside]

    def rank(index: int) -> tuple[int, float]:
        verdict = verdict_along([each[index].verdict for each in sides])
        near = min(abs(sides[0][index].past_m), abs(sides[-1][index].past_m))
        # Rounded: of lines that lie together the first of the site's, not the last digit's.
        return _DOUBT_FIRST.index(verdict), round(near, 6)

    return min(parting or deciding, key=rank, default=None)


def verdict_along(along: list[SideVerdict]) -> FindingVerdict:
    """Return the verdict of a finding whose places along it have these sides of one boundary.

    Of a doubtful beginning alone what is known of the rest stands, unless all of that is inside.
    """
    rest = list(itertools.dropwhile(lambda one: one == "too close to call", along))
    seen = set(rest)
    if not seen or "too close to call" in seen:
        return "too close to call"
    if len(seen) == 2:
        return "across"
    if len(rest) == len(along):
        return rest[0]
    return "past from within" if seen == {"past"} else "too close to call"


def _place(stations: Stations, footage_m: float) -> FoundPlace:
    at = stations.index_of(footage_m)
    return FoundPlace(
        footage_m=footage_m,
        easting_m=float(stations.easting_m[at]),
        northing_m=float(stations.northing_m[at]),
        depth_m=float(stations.depth_m[at]),
        sd_depth_m=float(stations.depth_sd_m[at]),
        semi_major_m=float(stations.semi_major_m[at]),
        semi_minor_m=float(stations.semi_minor_m[at]),
        ellipse_azimuth_deg=float(stations.ellipse_azimuth_deg[at]),
        basis=stations.basis[at],
    )


def _telling_gradients(route: Route, findings: tuple[Finding, ...]) -> Floats:
    """Return (k, unknowns): what each finding's side hangs on.

    That is the distance past the nearest line that decides, else past the nearest line, else the
    place across the pipe.
    """
    footage = np.array([finding.footage_m for finding in findings])
    lines = [b for b in route.site.boundaries if b.kind == "line"]
    lines = [b for b in lines if b.decides] or lines
    if lines:
        pasts = [measure_past(route, boundary.line, footage) for boundary in lines]
        closest = np.argmin(np.abs([past.past_m for past in pasts]), axis=0)
        return np.asarray(np.stack([past.gradient for past in pasts])[closest, range(len(footage))])
    heading = np.radians(route.headings_deg(footage)[0])
    right = np.stack([np.cos(heading), -np.sin(heading)], axis=-1)
    return np.asarray(np.einsum("kx,kxn->kn", right, route.position_jacobian(footage)[1][:, :2]))
