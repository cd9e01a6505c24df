"""One site to one report: the adjustment and every analysis, each done once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lateral_map.adjust.marks import place_locates
from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings, measure_fit
from lateral_map.adjust.set_aside import without_reading
from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.dig import draw_dig_buffer
from lateral_map.analysis.falls import measure_falls
from lateral_map.analysis.next_locate import propose_next_locate
from lateral_map.analysis.pipes import list_pipes
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
from lateral_map.model.results import FindingResult, ReadingCheck, Report, VerdictWithout
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.model.threads import one_blas_thread

Progress = Callable[[str], None]


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
    readings, fit = check_readings(route), measure_fit(route)
    say("judging the findings")
    judged = _doubt_suspects(route, judge_findings(route, stations, crossings), readings)
    findings = settle_findings(route, judged)
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
        fit=fit,
        next_locate=propose_next_locate(route, stations, crossings, findings),
        trench=trench,
        utilities=find_conflicts(route, trench, dig.tolerance_m),
    )


def _say_nothing(_: str) -> None:
    """Take no notice of progress."""


def _doubt_suspects(
    route: Route, findings: tuple[FindingResult, ...], readings: tuple[ReadingCheck, ...]
) -> tuple[FindingResult, ...]:
    """Return the findings, too close to call where leaving out a suspect changes the verdict."""
    suspects = [check.id for check in readings if check.set_aside_first]
    if not any(finding.verdict for finding in findings):
        return findings
    for reading in suspects:
        site = without_reading(route.site, reading)
        if site is None:
            continue
        try:
            other = adjust_route(site)
        except AdjustmentError:
            continue
        crossings, _ = find_crossings(other)
        again = judge_findings(other, lay_stations(other, crossings), crossings)
        findings = tuple(
            _doubted(one, two, VerdictWithout(reading, two.verdict)) if two.verdict else one
            for one, two in zip(findings, again, strict=True)
        )
    return findings


def _doubted(one: FindingResult, two: FindingResult, without: VerdictWithout) -> FindingResult:
    """Return a finding as it stands once it is known what leaving out a suspect makes of it."""
    if (one.verdict, one.answers) == (two.verdict, two.answers):
        return one
    parties = tuple(dict.fromkeys((*one.may_answer, *two.may_answer)))
    return replace(
        one,
        verdict="too close to call",
        answers=parties if len(parties) == 1 else (),
        may_answer=parties,
        verdict_without=(*one.verdict_without, without),
    )
