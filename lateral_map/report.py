"""One site to one report: the adjustment and every analysis, each done once."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from lateral_map.adjust.diagnose import explain
from lateral_map.adjust.marks import place_locates
from lateral_map.adjust.near import fitted_of
from lateral_map.adjust.route import adjust_route, fit_route
from lateral_map.adjust.screening import check_readings, measure_fit
from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.dig import draw_dig_buffer
from lateral_map.analysis.falls import measure_falls
from lateral_map.analysis.main_end import miss_main
from lateral_map.analysis.next_locate import plan_locates, propose_next_locate
from lateral_map.analysis.other_ground import find_other_ground
from lateral_map.analysis.pipes import list_pipes
from lateral_map.analysis.questions import ask_questions
from lateral_map.analysis.responsibility import (
    address_letters,
    name_client,
    share_responsibility,
)
from lateral_map.analysis.settling import settle_findings
from lateral_map.analysis.sides import judge_along, judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.tap_station import station_tap
from lateral_map.analysis.trench import lay_trench, measure_cross_slope
from lateral_map.analysis.trench_rules import softest_rules
from lateral_map.doubt import doubt_footages, place_findings, weigh_doubts
from lateral_map.errors import AdjustmentError, ImpossibleError
from lateral_map.model.arrays import Floats
from lateral_map.model.diagnosis import LIKELY, Diagnosis
from lateral_map.model.past import measure_past
from lateral_map.model.results import (
    Crossing,
    FindingResult,
    ReadingCheck,
    Report,
)
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.threads import one_blas_thread

Progress = Callable[[str], None]


def build_report(site: Site, progress: Progress | None = None, *, diagnose: bool = True) -> Report:
    """Adjust a site and answer every question about it.

    ``progress`` is called with a few words before each long step. Without ``diagnose`` nobody asks
    which slip would explain readings that disagree, nor what the answers were without a suspect;
    the report says so. Raises ``AdjustmentError`` where the readings cannot become a route.
    """
    say = progress or _say_nothing
    say("adjusting the readings")
    with one_blas_thread():
        return report_on(adjust_route(site), progress, diagnose=diagnose)


def explain_impossible(error: ImpossibleError) -> tuple[Diagnosis, ...]:
    """Return the slips, likelier than not, that would explain why the readings are impossible."""
    try:
        found = explain(fit_route(error.site))
    except AdjustmentError:
        return ()
    return tuple(one for one in found if one.probability >= LIKELY)


def report_on(route: Route, progress: Progress | None = None, *, diagnose: bool = True) -> Report:
    """Answer every question about a route that is adjusted already, as ``build_report`` does."""
    site, say, diagnose = route.site, progress or _say_nothing, diagnose and not route.is_long
    say("finding the crossings")
    crossings, uncrossed = find_crossings(route)
    say("laying the stations")
    stations = lay_stations(route, crossings)
    say("checking the readings")
    near = functools.cache(functools.partial(fitted_of, route))
    diagnoses = explain(route, near) if diagnose else ()
    gradient = _deciding_gradient(route, crossings)
    readings = check_readings(route, diagnoses, gradient, refit=diagnose)
    say("judging the findings")
    judged = judge_findings(route, stations, crossings)
    suspects = readings if diagnose else ()
    route, crossings, judged, others = weigh_doubts(
        route, crossings, judged, suspects, diagnoses, near
    )
    if route.doubts:
        _, uncrossed = find_crossings(route)
        stations = lay_stations(route, crossings)
        judged = place_findings(judged, stations)
    questions = ask_questions(site)
    judged = doubt_footages(judged, site, questions)
    findings = settle_findings(route, _say_what_turns(site, judged, readings))
    pipes, softest = list_pipes(site), softest_rules(site)
    say("drawing the dig buffer")
    dig = draw_dig_buffer(route, stations, pipes)
    trench = lay_trench(stations, pipes, site.dig, softest, measure_cross_slope(site, stations))
    along = judge_along(route, crossings, findings, others)
    responsibility = share_responsibility(route, crossings, along)
    client, client_assumed = name_client(site, responsibility)
    utilities = find_conflicts(route, trench, dig.tolerance_m)
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
        falls=measure_falls(route, pipes, others),
        pipes=pipes,
        dig=dig,
        readings=readings,
        locates=place_locates(route, readings, diagnoses),
        fit=measure_fit(route),
        next_locate=propose_next_locate(route, stations, crossings, findings),
        trench=trench,
        utilities=utilities,
        other_ground=find_other_ground(route, stations, crossings),
        diagnoses=diagnoses,
        planned=plan_locates(route, stations, crossings),
        questions=questions,
        tap=station_tap(route),
        missed_main=miss_main(route, utilities),
        diagnosed=diagnose,
    )


def _deciding_gradient(route: Route, crossings: Iterable[Crossing]) -> Floats | None:
    """Return (unknowns,) what readings are weighed by: the distance past the first deciding line.

    It is measured where the run crosses it. None where none that decides is crossed.
    """
    for one in crossings:
        if one.decides and one.boundary[0] == "line":
            return np.asarray(measure_past(route, one.line, one.footage_m).gradient[0])
    return None


def _say_nothing(_: str) -> None:
    """Take no notice of progress."""


def _say_what_turns(
    site: Site, findings: tuple[FindingResult, ...], readings: tuple[ReadingCheck, ...]
) -> tuple[FindingResult, ...]:
    """Return the findings, each on a line that no reading checks with how far that may be off."""
    drawn = {boundary.line for boundary in site.boundaries if boundary.kind == "line"}
    drawn -= {one.id.of for one in readings if one.id.kind == "line" and one.smallest_seen}
    told = []
    for one in findings:
        sides = [side for side in (one.deciding, one.between, one.deciding_to) if side]
        if sides and sides[0].line in drawn:
            # An end that is in doubt as it is turns nothing.
            sure = [side for side in sides if side.verdict != "too close to call"]
            told.append(replace(one, turns_m=min(abs(side.past_m) for side in sure or sides)))
        else:
            told.append(one)
    return tuple(told)
