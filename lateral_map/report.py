"""One site to one report: the adjustment and every analysis, each done once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from lateral_map.adjust.diagnose import diagnose
from lateral_map.adjust.marks import place_locates
from lateral_map.adjust.mending import mend_all
from lateral_map.adjust.near import Fitted, adjust_near, fitted_of
from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings, measure_fit
from lateral_map.adjust.set_aside import without_reading
from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.dig import draw_dig_buffer
from lateral_map.analysis.falls import measure_falls
from lateral_map.analysis.next_locate import propose_next_locate
from lateral_map.analysis.pipes import list_pipes
from lateral_map.analysis.questions import ask_questions
from lateral_map.analysis.responsibility import (
    address_letters,
    name_client,
    share_responsibility,
)
from lateral_map.analysis.settling import settle_findings
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.trench import lay_trench
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.errors import AdjustmentError
from lateral_map.model.arrays import Floats
from lateral_map.model.diagnosis import WORTH_DOUBT, Diagnosis, Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.past import measure_past
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    FootageWithout,
    ReadingCheck,
    Report,
    VerdictUnder,
    VerdictWithout,
)
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.threads import one_blas_thread

Progress = Callable[[str], None]

_JUST_BEFORE_M = 0.03


def build_report(site: Site, progress: Progress | None = None) -> Report:
    """Adjust a site and answer every question about it.

    ``progress`` is called with a few words before each long step. Raises ``AdjustmentError`` where
    the readings cannot become a route.
    """
    say = progress or _say_nothing
    say("adjusting the readings")
    with one_blas_thread():
        return report_on(adjust_route(site), progress)


def report_on(route: Route, progress: Progress | None = None) -> Report:
    """Answer every question about a route that is adjusted already."""
    site, say = route.site, progress or _say_nothing
    say("finding the crossings")
    crossings, uncrossed = find_crossings(route)
    say("laying the stations")
    stations = lay_stations(route, crossings)
    say("checking the readings")
    diagnoses = diagnose(route)
    readings = check_readings(route, diagnoses, _deciding_gradient(route, crossings))
    say("judging the findings")
    judged = judge_findings(route, stations, crossings)
    crossings, judged = _doubt(route, crossings, judged, readings, diagnoses)
    findings = settle_findings(route, _say_what_turns(site, judged, readings))
    pipes = list_pipes(site)
    say("drawing the dig buffer")
    dig = draw_dig_buffer(route, stations, pipes)
    trench = lay_trench(stations, pipes, site.dig, read_trench_rules(site.dig))
    responsibility = share_responsibility(route, crossings)
    client, client_assumed = name_client(site, responsibility)
    return Report(
        site=site,
        route=route,
        stations=stations,
        crossings=crossings,
        uncrossed=uncrossed,
        findings=findings,
        responsibility=responsibility,
        client=client,
        client_assumed=client_assumed,
        letters=address_letters(site, client, findings, crossings),
        falls=measure_falls(route, pipes),
        pipes=pipes,
        dig=dig,
        readings=readings,
        locates=place_locates(route, readings),
        fit=measure_fit(route),
        next_locate=propose_next_locate(route, stations, crossings, findings),
        trench=trench,
        utilities=find_conflicts(route, trench, dig.tolerance_m),
        diagnoses=diagnoses,
        questions=ask_questions(site),
    )


def _say_nothing(_: str) -> None:
    """Take no notice of progress."""


def _doubt(
    route: Route,
    crossings: tuple[Crossing, ...],
    judged: tuple[FindingResult, ...],
    readings: tuple[ReadingCheck, ...],
    diagnoses: tuple[Diagnosis, ...],
) -> tuple[tuple[Crossing, ...], tuple[FindingResult, ...]]:
    """Return crossings and findings with what suspects and diagnoses would make of them.

    Each suspect to look at first is left out, and each diagnosis worth it followed, with true
    refits; verdicts that change are too close to call.
    """
    site = route.site
    worth = [one for one in diagnoses if one.probability >= WORTH_DOUBT]
    named = [one.slip.id for one in worth if one.slip.id is not None]
    first = [check.id for check in readings if check.set_aside_first]
    near = fitted_of(route) if worth or first else None
    doubted = list(judged)

    def put_in_doubt(others: tuple[FindingResult, ...], cause: ReadingId | Slip) -> None:
        for index, (one, two) in enumerate(zip(judged, others, strict=True)):
            if two.verdict and (one.verdict, one.answers) != (two.verdict, two.answers):
                doubted[index] = _doubted(doubted[index], two, cause)

    for reading in dict.fromkeys((*first, *named)):
        if other := _answers_of(without_reading(site, reading), near):
            crossings = tuple(
                replace(
                    one, footage_without=(*one.footage_without, _without(reading, one, other[0]))
                )
                for one in crossings
            )
            put_in_doubt(other[1], reading)
    for slip, together in _ways_to_follow(site, worth):
        if other := _answers_of(mend_all(site, together), near):
            put_in_doubt(other[1], slip)
    return crossings, tuple(doubted)


def _ways_to_follow(
    site: Site, diagnoses: list[Diagnosis]
) -> Iterator[tuple[Slip, tuple[Slip, ...]]]:
    """Return each diagnosis's slip and what to mend for it.

    A counter that slipped may have done so anywhere between two locates.
    """
    located = [one.footage_m for one in site.used_locates() if one.ties]
    for diagnosis in diagnoses:
        slip, together = diagnosis.slip, diagnosis.together
        yield slip, together
        if slip.slip == "counter slipped" and slip.footage_m is not None:
            before = [at for at in located if at <= slip.footage_m]
            after = [at - _JUST_BEFORE_M for at in located if at > slip.footage_m]
            for at in (*before[-1:], *after[:1]):
                moved = replace(slip, footage_m=at)
                yield slip, tuple(moved if one == slip else one for one in together)


def _answers_of(
    site: Site | None, near: Fitted | None
) -> tuple[tuple[Crossing, ...], tuple[FindingResult, ...]] | None:
    """Return the crossings and findings of a site, None where it cannot be adjusted."""
    if site is None or near is None:
        return None
    try:
        route = adjust_near(site, near)
    except AdjustmentError:
        return None
    crossings, _ = find_crossings(route)
    return crossings, judge_findings(route, lay_stations(route, crossings), crossings)


def _without(
    reading: ReadingId, crossing: Crossing, others: tuple[Crossing, ...]
) -> FootageWithout:
    """Return where a crossing would be without a reading: the same boundary's nearest one."""
    footages = [one.footage_m for one in others if one.boundary == crossing.boundary]
    nearest = min(footages, key=lambda at: abs(at - crossing.footage_m), default=None)
    return FootageWithout(reading, nearest)


def _deciding_gradient(route: Route, crossings: tuple[Crossing, ...]) -> Floats | None:
    """Return (unknowns,): the derivative of the distance past the line that decides, at it."""
    for one in crossings:
        if one.decides and one.boundary[0] == "line":
            return np.asarray(measure_past(route, one.line, one.footage_m).gradient[0])
    return None


def _say_what_turns(
    site: Site, findings: tuple[FindingResult, ...], readings: tuple[ReadingCheck, ...]
) -> tuple[FindingResult, ...]:
    """Return the findings, each on a line that no reading checks with how far that may be off."""
    drawn = {boundary.line for boundary in site.boundaries if boundary.kind == "line"}
    drawn -= {one.id.of for one in readings if one.id.kind == "line" and one.smallest_seen}
    return tuple(
        replace(
            one, turns_m=min(abs(side.past_m) for side in (one.deciding, one.deciding_to) if side)
        )
        if one.deciding and one.deciding.line in drawn
        else one
        for one in findings
    )


def _doubted(one: FindingResult, two: FindingResult, cause: ReadingId | Slip) -> FindingResult:
    """Return a finding that would be judged otherwise for a cause: too close to call."""
    parties = tuple(dict.fromkeys((*one.may_answer, *two.may_answer)))
    doubted = replace(
        one,
        verdict="too close to call",
        answers=parties if len(parties) == 1 else (),
        may_answer=parties,
    )
    if two.verdict is None:
        return doubted
    if isinstance(cause, ReadingId):
        without = (*one.verdict_without, VerdictWithout(cause, two.verdict))
        return replace(doubted, verdict_without=without)
    under = dict.fromkeys((*one.verdict_under, VerdictUnder(cause, two.verdict)))
    return replace(doubted, verdict_under=tuple(under))
