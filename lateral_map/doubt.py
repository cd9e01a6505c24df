"""What each answer hangs on: suspects left out, diagnoses followed, noise larger than stated."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from lateral_map.adjust.bend_place import measure_bend_place
from lateral_map.adjust.diagnose import explain
from lateral_map.adjust.near import Fitted, adjust_near, fitted_of
from lateral_map.adjust.route import adjust_route, fit_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.sides import judge_findings, judge_sides, side_verdict, verdict_along
from lateral_map.analysis.stations import lay_stations
from lateral_map.errors import AdjustmentError
from lateral_map.model.diagnosis import WORTH_DOUBT, Diagnosis, Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import mend_all, mended_footage, noted_footage
from lateral_map.model.noise import Noise
from lateral_map.model.past import measure_pasts
from lateral_map.model.readings import without_reading
from lateral_map.model.results import (
    Crossing,
    DepthWithout,
    FindingResult,
    FootageWithout,
    FoundPlace,
    OtherAnswers,
    Question,
    ReadingCheck,
    Side,
    Stations,
    SurePart,
    VerdictUnder,
    VerdictWithout,
)
from lateral_map.model.route import Doubt, Route
from lateral_map.model.site import Boundary, Site

_JUST_BEFORE_M = 0.03
_ANOTHER = 1.5
# A line that costs so much more than one known of lies in another valley.
_ANOTHER_VALLEY = 6.0
# Slips of a kind so near each other are one.
_SAME_PLACE_M = 0.5


def weigh_doubts(
    route: Route,
    crossings: tuple[Crossing, ...],
    judged: tuple[FindingResult, ...],
    readings: tuple[ReadingCheck, ...],
    diagnoses: tuple[Diagnosis, ...],
    fitted: Callable[[], Fitted],
) -> tuple[Route, tuple[Crossing, ...], tuple[FindingResult, ...], tuple[OtherAnswers, ...]]:
    """Return the route, crossings and findings with what suspects and diagnoses make of them.

    Last come the routes that these make instead. ``fitted`` returns the route with its equations.

    Each suspect to look at first is left out, and each diagnosis worth it followed, with true
    refits; verdicts that change are too close to call. Distances past and footages keep their
    values; their 1 sd and probabilities become those of the mixture of the readings as they stand
    and of every diagnosis followed, by their probabilities, each as noisy as its own fit tells.
    The route stays where it is and has those lines beside it.
    """
    site = route.site
    worth = [one for one in diagnoses if one.probability >= WORTH_DOUBT]
    named = [one.slip.id for one in worth if one.slip.id is not None]
    first = [check.id for check in readings if check.set_aside_first]
    near = fitted() if worth or first or site.applied else None
    findings, others = judged, list[OtherAnswers]()
    for reading in dict.fromkeys((*first, *named)):
        if other := _answers_of(without_reading(site, reading), near):
            crossings = _without(reading, crossings, other.crossings)
            findings = _put_in_doubt(findings, judged, other.findings, reading)
            others.append(OtherAnswers(Doubt(0.0, other.route, float), other.crossings))
            findings = tuple(
                replace(one, depth_without=(*one.depth_without, DepthWithout(reading, deep)))
                for one, two in zip(findings, other.findings, strict=True)
                for deep in (two.near.depth_m,)
            )
    parts: list[_Part] = []
    ways = [*_ways_to_follow(site, worth), *_ways_taken(route), *_ways_untaken(route)]
    wanted: dict[Slip | None, float] = {}
    for way in ways:
        wanted[way.slip] = wanted.get(way.slip, 0.0) + way.weight
    for way in ways:
        if other := _answers_of(way.mended, way.near or near, way.chi_square):
            findings = _put_in_doubt(findings, judged, other.findings, way.slip)
            doubt = Doubt(way.weight, other.route, way.meant)
            others.append(OtherAnswers(doubt, other.crossings))
            moved = _with_bend_moved(way, other.route)
            ways += moved
            weight = way.weight - sum(one.weight for one in moved)
            parts.append(_Part(weight, way.slip, other.widened(), way.noted, way.meant))
    parts = _share_out(parts, wanted)
    own, mixture = _Answers(route, crossings, findings).widened(), _Mixture(parts)
    mixed = [mixture.finding(index, one, site.boundaries) for index, one in enumerate(own.findings)]
    doubts = tuple(Doubt(one.weight, one.answers.route, one.meant) for one in parts if one.weight)
    crossings = tuple(mixture.crossing(one) for one in own.crossings)
    # Undoubted it stays the same route, with all that was worked out of it.
    doubted = replace(route, doubts=doubts) if doubts else route
    return doubted, crossings, tuple(mixed), tuple(others)


def place_findings(
    findings: tuple[FindingResult, ...], stations: Stations
) -> tuple[FindingResult, ...]:
    """Return findings, their places as sure as the stations are."""

    def placed(place: FoundPlace) -> FoundPlace:
        at = stations.index_of(place.footage_m)
        return replace(
            place,
            sd_depth_m=float(stations.depth_sd_m[at]),
            semi_major_m=float(stations.semi_major_m[at]),
            semi_minor_m=float(stations.semi_minor_m[at]),
            ellipse_azimuth_deg=float(stations.ellipse_azimuth_deg[at]),
        )

    return tuple(
        replace(one, near=placed(one.near), far=None if one.far is None else placed(one.far))
        for one in findings
    )


def doubt_footages(
    findings: tuple[FindingResult, ...], site: Site, questions: tuple[Question, ...]
) -> tuple[FindingResult, ...]:
    """Return findings; those whose own footage alone says that the run goes so far are in doubt."""
    asked = {one.finding for one in questions if one.ends_run and one.finding is not None}
    deciding = {one.line: one for one in site.boundaries if one.decides}

    def doubted(one: FindingResult, line: str) -> FindingResult:
        parties = dict.fromkeys((*one.may_answer, deciding[line].inside, deciding[line].outside))
        return replace(
            one,
            verdict="too close to call",
            answers=(),
            may_answer=tuple(parties),
            asked=True,
            sure=(),
        )

    return tuple(
        doubted(one, one.deciding.line) if index in asked and one.deciding else one
        for index, one in enumerate(findings)
    )


def _put_in_doubt(
    findings: tuple[FindingResult, ...],
    judged: tuple[FindingResult, ...],
    others: tuple[FindingResult, ...],
    cause: ReadingId | Slip | None,
) -> tuple[FindingResult, ...]:
    """Return findings, in doubt where they were ``judged`` otherwise than ``others``.

    ``cause`` is the reading left out or the slip made; None where the notes hold as written.
    """
    found = []
    for finding, one, two in zip(findings, judged, others, strict=True):
        if two.verdict is None or (one.verdict, one.answers) == (two.verdict, two.answers):
            found.append(replace(finding, sure=_sure_in_both(finding, two)))
            continue
        parties = tuple(dict.fromkeys((*finding.may_answer, *two.may_answer)))
        doubted = replace(
            finding,
            verdict="too close to call",
            answers=parties if len(parties) == 1 else (),
            may_answer=parties,
            sure=_sure_in_both(finding, two),
        )
        if isinstance(cause, ReadingId):
            without = (*finding.verdict_without, VerdictWithout(cause, two.verdict))
            found.append(replace(doubted, verdict_without=without))
        else:
            under = dict.fromkeys((*finding.verdict_under, VerdictUnder(cause, two.verdict)))
            found.append(replace(doubted, verdict_under=tuple(under)))
    return tuple(found)


def _sure_in_both(one: FindingResult, two: FindingResult) -> tuple[SurePart, ...]:
    """Return where one party surely answers along a finding by either reading of the notes.

    The ends are the same places by either; in between it is the parties that are.
    """
    kept = [part for part in one.sure if part.party in two.surely_answers]
    if one.begins_with != two.begins_with:
        kept = [part for part in kept if part.footage_m != one.near.footage_m]
    if one.ends_with != two.ends_with:
        kept = [part for part in kept if part.footage_m != one.ends[-1][0].footage_m]
    return tuple(kept)


@dataclass(frozen=True)
class _Answers:
    """A route's crossings and findings."""

    route: Route
    crossings: tuple[Crossing, ...]
    findings: tuple[FindingResult, ...]

    def widened(self) -> _Answers:
        """Return the answers in plan as sure as the fit lets them be; verdicts stay as they are."""
        route, noise = self.route, self.route.noise
        crossings = [*self.crossings]
        at_line: dict[str, list[int]] = {}
        for index, one in enumerate(crossings):
            if one.boundary[0] == "line":
                at_line.setdefault(one.line, []).append(index)
        asked = [
            (line, np.array([crossings[index].footage_m for index in indices]))
            for line, indices in at_line.items()
        ]
        pasts = measure_pasts(route, asked) if asked else []
        for indices, past in zip(at_line.values(), pasts, strict=True):
            along = past.gradient / np.maximum(np.abs(past.rate), 1e-9)[:, None]
            sds = noise.widen(np.array([crossings[i].sd_footage_m for i in indices]), along)
            for index, sd in zip(indices, sds.tolist(), strict=True):
                crossings[index] = replace(crossings[index], sd_footage_m=sd)
        ends = [(one.near, one.sides) for one in self.findings]
        ends += [(one.far, one.sides_to) for one in self.findings if one.far is not None]
        wide = _widen_sides(route, noise, ends)
        near, far = wide[: len(self.findings)], iter(wide[len(self.findings) :])
        findings = []
        for result, sides in zip(self.findings, near, strict=True):
            to = next(far) if result.far is not None else ()
            at = None if result.deciding is None else result.sides.index(result.deciding)
            findings.append(
                replace(
                    result,
                    sides=sides,
                    sides_to=to,
                    deciding=None if at is None else sides[at],
                    deciding_to=None if at is None or not to else to[at],
                )
            )
        return _Answers(route, tuple(crossings), tuple(findings))


def _widen_sides(
    route: Route, noise: Noise, ends: list[tuple[FoundPlace, tuple[Side, ...]]]
) -> list[tuple[Side, ...]]:
    """Return the sides of each place, as sure as the fit lets them be."""
    if not ends:
        return []
    wide = judge_sides(route, [place.footage_m for place, _ in ends], noise)
    return [
        tuple(
            replace(side, sd_past_m=told.sd_past_m, probability_past=told.probability_past)
            for side, told in zip(sides, each, strict=True)
        )
        for (_, sides), each in zip(ends, wide, strict=True)
    ]


@dataclass(frozen=True)
class _Part:
    """One diagnosis followed: its weight and what it makes of crossings and findings.

    ``noted`` turns a footage of the mended notes into what the counter showed, ``meant`` back.
    """

    weight: float
    slip: Slip | None
    answers: _Answers
    noted: Callable[[float], float]
    meant: Callable[[float], float]


def _share_out(parts: list[_Part], wanted: dict[Slip | None, float]) -> list[_Part]:
    """Return the parts, those of each slip with all of its weight; all together one at most.

    Where a slip cannot lie at one of its places it lies at the others.
    """
    found: dict[Slip | None, float] = {}
    for part in parts:
        found[part.slip] = found.get(part.slip, 0.0) + part.weight
    shared = [
        replace(part, weight=part.weight * wanted[part.slip] / max(found[part.slip], 1e-12))
        for part in parts
    ]
    whole = max(sum(part.weight for part in shared), 1.0)
    return [replace(part, weight=part.weight / whole) for part in shared]


@dataclass(frozen=True)
class _Mixture:
    """The readings as they stand and diagnoses followed, by weight."""

    parts: list[_Part]

    def spread(self, value: float, sd: float, others: list[tuple[float, float, float]]) -> float:
        """Return the 1 sd about ``value`` of a mixture with others (weight, value, 1 sd)."""
        left = 1.0 - sum(weight for weight, _, _ in others)
        square = max(left, 0.0) * sd**2
        square += sum(w * (other_sd**2 + (at - value) ** 2) for w, at, other_sd in others)
        return math.sqrt(square)

    def crossing(self, crossing: Crossing) -> Crossing:
        """Return a crossing with the mixture's 1 sd along the pipe and of its depth."""
        others, depths = [], []
        for part in self.parts:
            same = [one for one in part.answers.crossings if one.boundary == crossing.boundary]
            if same:
                near = min(same, key=lambda one: abs(one.footage_m - crossing.footage_m))
                others.append((part.weight, part.noted(near.footage_m), near.sd_footage_m))
                depths.append((part.weight, near.depth_m, near.sd_depth_m))
        sd = self.spread(crossing.footage_m, crossing.sd_footage_m, others)
        deep = self.spread(crossing.depth_m, crossing.sd_depth_m, depths)
        return replace(crossing, sd_footage_m=sd, sd_depth_m=deep)

    def finding(
        self, index: int, one: FindingResult, boundaries: tuple[Boundary, ...]
    ) -> FindingResult:
        """Return a finding with the mixture's sides; what they no longer tell is too close."""
        others = [(part.weight, part.answers.findings[index]) for part in self.parts]
        near = self._sides(one.sides, [(weight, other.sides) for weight, other in others])
        far = self._sides(one.sides_to, [(weight, other.sides_to) for weight, other in others])
        if one.deciding is None:
            return replace(one, sides=near, sides_to=far)
        at, between = one.sides.index(one.deciding), one.between
        if between is not None:
            overs: list[tuple[float, tuple[Side, ...]]] = [
                (weight, (other.between or other.sides[at],)) for weight, other in others
            ]
            between = self._sides((between,), overs)[0]
        mixed = replace(
            one,
            sides=near,
            sides_to=far,
            deciding=near[at],
            deciding_to=far[at] if far else None,
            between=between,
        )
        along, before = (
            [side.verdict for side in (each.deciding, each.between, each.deciding_to) if side]
            for each in (mixed, one)
        )
        if len(one.may_answer) > 1:
            mixed = replace(mixed, sure=_still_sure(one, mixed, boundaries))
        if along == before or one.verdict == "too close to call":
            return mixed
        boundary, verdict = boundaries[at], verdict_along(along)
        parties = tuple(dict.fromkeys((*one.may_answer, boundary.inside, boundary.outside)))
        answers: tuple[str, ...] = parties if len(parties) == 1 else ()
        if verdict == "past from within" and len(one.answers) > 0:
            # Of two parties the far one's part is what it was; of more nobody knows whose is first.
            known = len(parties) <= 2
            answers, verdict = (one.answers[-1:], verdict) if known else ((), "too close to call")
        return replace(mixed, verdict=verdict, answers=answers, may_answer=parties)

    def _sides(
        self, sides: tuple[Side, ...], others: list[tuple[float, tuple[Side, ...]]]
    ) -> tuple[Side, ...]:
        mixed = []
        for index, side in enumerate(sides):
            each = [(weight, other[index]) for weight, other in others if len(other) == len(sides)]
            sd = self.spread(
                side.past_m, side.sd_past_m, [(w, s.past_m, s.sd_past_m) for w, s in each]
            )
            chance = (1.0 - sum(weight for weight, _ in each)) * side.probability_past
            chance += sum(weight * other.probability_past for weight, other in each)
            chance = min(max(chance, 0.0), 1.0)
            # Never surer than the readings as they stand.
            same = side_verdict(chance) == side.verdict
            verdict = side.verdict if same else "too close to call"
            mixed.append(replace(side, sd_past_m=sd, probability_past=chance, verdict=verdict))
        return tuple(mixed)


def _still_sure(
    one: FindingResult, mixed: FindingResult, boundaries: tuple[Boundary, ...]
) -> tuple[SurePart, ...]:
    """Return where one party surely answers still, now that the sides are ``mixed``."""

    def is_as_sure(before: tuple[Side, ...], after: tuple[Side, ...]) -> bool:
        each = zip(boundaries, before, after, strict=True)
        return all(a.verdict == b.verdict for line, a, b in each if line.decides)

    ends = {one.near.footage_m: is_as_sure(one.sides, mixed.sides)}
    if one.far is not None:
        ends[one.far.footage_m] = is_as_sure(one.sides_to, mixed.sides_to)
    over = (one.between and one.between.verdict) == (mixed.between and mixed.between.verdict)
    between = over and all(ends.values())
    return tuple(part for part in one.sure if ends.get(part.footage_m, between))


@dataclass(frozen=True)
class _Way:
    """A slip mended, with its weight.

    ``noted`` turns a footage of it into what the counter showed, ``meant`` back.
    Without a slip it is the notes as written, where another was taken for true.
    ``bend`` is a bend nobody noted of which it is not said yet how far off its place may be.
    ``near`` is a line much like the one it makes, None where the route's own is; ``chi_square`` is
    known to be within reach of it.
    """

    weight: float
    slip: Slip | None
    mended: Site | None
    noted: Callable[[float], float]
    meant: Callable[[float], float]
    bend: Slip | None = None
    near: Fitted | None = None
    chi_square: float = math.inf


def _ways_to_follow(site: Site, diagnoses: list[Diagnosis]) -> Iterator[_Way]:
    """Return each diagnosis's weight, its slip, the site mended, and what notes a footage of it.

    Two slips that explain together are weighed once.
    """
    weighed: set[frozenset[Slip]] = set()
    for diagnosis in diagnoses:
        slip, together = diagnosis.slip, diagnosis.together
        weight = 0.0 if frozenset(together) in weighed else diagnosis.probability
        weighed.add(frozenset(together))
        places = [slip.footage_m, *_elsewhere(site, slip)]
        for at in places:
            moved = replace(slip, footage_m=at)
            slips = tuple(moved if one == slip else one for one in together)
            noted = functools.partial(noted_footage, site, slips)
            meant = functools.partial(mended_footage, site, slips)
            bend = slip if slip.slip == "bend not noted" else None
            mended = mend_all(site, slips)
            reached = diagnosis.chi_square
            yield _Way(weight / len(places), slip, mended, noted, meant, bend, chi_square=reached)


def _with_bend_moved(way: _Way, route: Route) -> list[_Way]:
    """Return a way with its bend elsewhere, as far as the ties of its ``route`` leave that open."""
    bend, site = way.bend, way.mended
    if bend is None or site is None:
        return []
    moved = []
    for at in _about(route, bend):
        bends = tuple(
            replace(one, footage_m=at)
            if (one.footage_m, one.turn_deg) == (bend.footage_m, bend.size[0])
            else one
            for one in site.bends
        )
        moved.append(
            replace(way, weight=way.weight / 6.0, mended=replace(site, bends=bends), bend=None)
        )
    return moved


def _about(route: Route, bend: Slip) -> list[float]:
    """Return the two other footages of the three that stand for a bend's place, as for a size."""
    at = bend.footage_m or 0.0
    far = math.sqrt(3.0) * measure_bend_place(route, at)
    first, last = route.chain.nodes_m[0], route.site.run.end_m
    return [
        min(max(one, float(first) + _JUST_BEFORE_M), last - _JUST_BEFORE_M)
        for one in (at - far, at + far)
    ]


def _ways_taken(route: Route) -> Iterator[_Way]:
    """Return what else a slip that is taken for true may have been.

    A counter may have slipped anywhere between two locates; a size that no note tells may be larger
    or smaller, a bend nobody noted lie elsewhere: three points of a normal distribution with its
    mean and variance.
    """
    site = route.site
    slips, written = [one.slip for one in site.applied], site.as_written
    for index, slip in enumerate(slips):
        before = None if written is None else mend_all(written, tuple(slips[:index]))
        if before is None:
            continue
        places = _elsewhere(before, slip)
        ways = [(1.0 / (len(places) + 1), replace(slip, footage_m=at)) for at in places]
        if slip.slip == "bend not noted":
            ways += [(1 / 6, replace(slip, footage_m=at)) for at in _about(route, slip)]
        if slip.sd and len(slip.size) == 1:
            far = math.sqrt(3.0) * slip.sd
            ways += [(1 / 6, replace(slip, size=(slip.size[0] + each,))) for each in (-far, far)]
        for weight, other in ways:
            mended = mend_all(before, (other, *slips[index + 1 :]))
            yield _Way(weight, slip, mended, float, float)


def _ways_untaken(route: Route) -> Iterator[_Way]:
    """Return what else may have gone wrong where the likeliest slip was taken for true unchecked.

    Whoever takes another than the likeliest knows more than the readings tell.
    """
    slips, written = tuple(one.slip for one in route.site.applied), route.site.as_written
    for index, taken in enumerate(route.site.applied):
        before = None if written is None else mend_all(written, slips[:index])
        if before is None or taken.checked:
            continue
        try:
            line = fit_route(before)
        except AdjustmentError:
            continue
        told = explain(line)
        likeliest = told[0].together if told else ()
        if not any(_is_same(one, taken.slip) for one in likeliest):
            continue
        others = [
            one
            for one in told
            if one.probability >= WORTH_DOUBT
            and not any(_is_same(a, b) for a in one.together for b in likeliest)
        ]
        left = [one for one in slips[index:] if not any(_is_same(one, b) for b in likeliest)]
        ways = list(_ways_to_follow(before, others))
        # That nothing was written wrong, or none of these. A size that no note tells is a guess:
        # taking it for true makes no answer firm that the notes as written contradict.
        explained = {frozenset(one.together): one.probability for one in told}
        none = max(1.0 - sum(explained.values()), 0.0)
        if none >= WORTH_DOUBT or taken.slip.sd:
            ways.append(_Way(none, None, before, float, float))
        whole = told[0].probability + sum(way.weight for way in ways)
        near = fitted_of(line)
        for way in ways:
            mended = way.mended and mend_all(way.mended, tuple(left))
            to_taken = functools.partial(mended_footage, before, slips[index:])
            from_taken = functools.partial(noted_footage, before, slips[index:])
            yield replace(
                way,
                weight=way.weight / whole,
                mended=mended,
                noted=functools.partial(_by_turns, way.noted, to_taken),
                meant=functools.partial(_by_turns, from_taken, way.meant),
                near=near,
            )


def _by_turns(
    first: Callable[[float], float], second: Callable[[float], float], footage_m: float
) -> float:
    """Return a footage turned one way and then another."""
    return second(first(footage_m))


def _is_same(one: Slip, other: Slip) -> bool:
    """Say whether two slips are one, told to other digits."""
    here, there = one.footage_m or 0.0, other.footage_m or 0.0
    named = (one.slip, one.id, one.point) == (other.slip, other.id, other.point)
    return named and abs(here - there) < _SAME_PLACE_M


def _elsewhere(site: Site, slip: Slip) -> list[float]:
    """Return the footages of the locates about a counter's slip: anywhere between it may be."""
    at = slip.footage_m
    if slip.slip != "counter slipped" or at is None:
        return []
    located = [one.footage_m for one in site.used_locates() if one.ties]
    before = [one for one in located if one <= at][-1:]
    # A counter that leapt ahead has done so by the time it shows what the next locate has.
    leap = max(slip.size[0], 0.0) + _JUST_BEFORE_M
    after = [one - leap for one in located if one > at][:1]
    return [*before, *[one for one in after if not before or one > before[0]]]


def _answers_of(
    site: Site | None, near: Fitted | None, chi_square: float = math.inf
) -> _Answers | None:
    """Return the crossings and findings of a site, None where it cannot be adjusted.

    From the line ``near`` the solver may end in another valley than the ``chi_square`` known of.
    """
    if site is None or near is None:
        return None
    # A run that is far shorter or longer is another line.
    ends = sorted((site.run.end_m, near.system.site.run.end_m))
    try:
        alike = ends[1] < _ANOTHER * ends[0]
        route = adjust_near(site, near) if alike else adjust_route(site)
        if alike and route.chi_square > chi_square + _ANOTHER_VALLEY:
            route = adjust_route(site)
    except AdjustmentError:
        return None
    crossings, _ = find_crossings(route, places_only=True)
    stations = lay_stations(route, crossings, places_only=True)
    findings = judge_findings(route, stations, crossings, places_only=True)
    return _Answers(route, crossings, findings)


def _without(
    reading: ReadingId, crossings: tuple[Crossing, ...], others: tuple[Crossing, ...]
) -> tuple[Crossing, ...]:
    """Return crossings, each with where the same boundary is crossed without a reading."""
    told = []
    for crossing in crossings:
        same = [one for one in others if one.boundary == crossing.boundary]
        nearest = min(same, key=lambda one: abs(one.footage_m - crossing.footage_m), default=None)
        found = (None, None) if nearest is None else (nearest.footage_m, nearest.depth_m)
        without = (*crossing.footage_without, FootageWithout(reading, *found))
        told.append(replace(crossing, footage_without=without))
    return tuple(told)
