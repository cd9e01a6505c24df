"""One site to one report: the adjustment and every analysis, each done once."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings, measure_fit
from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.dig import LEAST_TOLERANCE_M, draw_dig_buffer
from lateral_map.analysis.falls import measure_falls
from lateral_map.analysis.next_locate import propose_next_locate
from lateral_map.analysis.pipes import list_pipes
from lateral_map.analysis.responsibility import share_responsibility
from lateral_map.analysis.settling import settle_findings
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.results import (
    Crossing,
    DigBuffer,
    Fit,
    PipeStretch,
    ReadingCheck,
    Report,
)
from lateral_map.model.route import Route
from lateral_map.model.site import Site
from lateral_map.units import format_length, format_small

Progress = Callable[[str], None]

# One site in a thousand fits worse than this by chance.
_POOR_FIT = 0.001


def build_report(site: Site, progress: Progress | None = None) -> Report:
    """Adjust a site and answer every question about it.

    ``progress`` is called with a few words before each long step. Raises ``AdjustmentError`` where
    the readings cannot become a route.
    """
    say = progress or _say_nothing
    say("adjusting the readings")
    return report_on(adjust_route(site), progress)


def report_on(route: Route, progress: Progress | None = None) -> Report:
    """Answer every question about a route that is adjusted already."""
    site, say = route.site, progress or _say_nothing
    say("finding the crossings")
    crossings, uncrossed = find_crossings(route)
    say("laying the stations")
    stations = lay_stations(route, crossings)
    say("judging the findings")
    findings = settle_findings(route, judge_findings(route, stations))
    pipes = list_pipes(site)
    say("drawing the dig buffer")
    dig = draw_dig_buffer(route, stations, pipes)
    say("checking the readings")
    readings, fit = check_readings(route), measure_fit(route)
    return Report(
        site=site,
        route=route,
        stations=stations,
        crossings=crossings,
        uncrossed=uncrossed,
        findings=findings,
        responsibility=share_responsibility(route, crossings),
        falls=measure_falls(route, pipes),
        pipes=pipes,
        dig=dig,
        readings=readings,
        fit=fit,
        next_locate=propose_next_locate(route, stations, crossings, findings),
        notices=(
            *_fit_notices(readings, fit),
            *_collect_notices(route, crossings, uncrossed, pipes, dig),
        ),
    )


def _say_nothing(_: str) -> None:
    """Take no notice of progress."""


def _collect_notices(
    route: Route,
    crossings: tuple[Crossing, ...],
    uncrossed: tuple[str, ...],
    pipes: tuple[PipeStretch, ...],
    dig: DigBuffer,
) -> tuple[str, ...]:
    """Return everything a reader of the drawings should know, each said once."""
    said = [
        # What could hurt someone comes first.
        *_dig_notices(route, dig),
        *route.site.notices,
        *route.notices,
        *_ground_notices(route),
        *_crossing_notices(route, crossings),
        *_uncrossed_notices(route.site, uncrossed),
        *_pipe_notices(route.site, pipes),
        *_end_notices(route.site),
    ]
    return tuple(dict.fromkeys(said))


def _fit_notices(readings: tuple[ReadingCheck, ...], fit: Fit) -> Iterator[str]:
    """Say that no +- can be better than the readings it was worked out from."""
    first = [check for check in readings if check.set_aside_first]
    if first:
        verb = "does" if len(first) == 1 else "do"
        yield (
            f"{_listed([check.reading for check in first])} {verb} not agree with the other "
            "readings: every ± here takes all the readings used to be right. "
            f"{_remedy(first)}, and run again"
        )
    elif fit.p_value < _POOR_FIT:
        yield (
            "the readings scatter more than their accuracies say, and no single one explains it: "
            "the true uncertainty is larger than every ± here. Check [accuracy] in site.toml"
        )


def _remedy(wrong: list[ReadingCheck]) -> str:
    """Say what to put right: a row of readings, or a line or point of the plan."""
    drawn = [check.footage_m is None for check in wrong]
    row, plan = "Correct the row or set use = no", "correct the plan or give it a wider accuracy"
    if all(drawn):
        return plan.capitalize()
    return f"{row}; where the map is wrong, {plan}" if any(drawn) else row


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _ground_notices(route: Route) -> Iterator[str]:
    if route.ground.is_level:
        yield (
            "nobody measured the ground: depths are drawn below a level ground line, and the "
            "pipe's true fall cannot be told from them"
        )


def _crossing_notices(route: Route, crossings: tuple[Crossing, ...]) -> Iterator[str]:
    lines = [crossing.line for crossing in crossings]
    for crossing in crossings:
        at = format_length(crossing.footage_m, route.site.unit)
        if crossing.extended:
            yield (
                f"{crossing.line} was mapped too short and was carried straight on to where the "
                f"pipe crosses it at {at}"
            )
        if crossing.note:
            yield f"{crossing.line} at {at}: {crossing.note}"
    for line in dict.fromkeys(line for line in lines if lines.count(line) > 1):
        yield f"{line} is crossed {lines.count(line)} times: who answers changes back between them"


def _uncrossed_notices(site: Site, uncrossed: tuple[str, ...]) -> Iterator[str]:
    deciding = [boundary.line for boundary in site.boundaries if boundary.decides]
    for sentence in uncrossed:
        if any(sentence.startswith(f"{line}: ") for line in deciding):
            yield f"responsibility changes at a line the run does not reach: {sentence}"


def _pipe_notices(site: Site, pipes: tuple[PipeStretch, ...]) -> Iterator[str]:
    for pipe in pipes:
        if pipe.size_m is None:
            yield f"pipe from {format_length(pipe.from_m, site.unit)}: {pipe.source}"
        elif pipe.is_guess:
            size = format_small(pipe.size_m, site.unit)
            yield f"outside diameter of {size} {pipe.material} pipe: {pipe.source}"


def _dig_notices(route: Route, dig: DigBuffer) -> Iterator[str]:
    site = route.site
    width = format_small(dig.tolerance_m, site.unit)
    if route.alternatives:
        yield "the dig buffer covers every route that fits the readings about as well"
    if site.dig.tolerance_zone_m is None:
        yield (
            "NO LOCAL DIG RULE WAS GIVEN: the dig buffer allows 18 in (457 mm) each side of the "
            "pipe (Common Ground Alliance Best Practice 5.19); your state's or city's rule may ask "
            "for more: write it in site.toml, [dig] tolerance_zone"
        )
    elif dig.tolerance_m < LEAST_TOLERANCE_M - 1e-9:
        yield (
            f"the dig tolerance given, {width} each side, is narrower than the 18 in of Common "
            "Ground Alliance Best Practice 5.19"
        )


def _end_notices(site: Site) -> Iterator[str]:
    if not site.run.reached_main:
        end = format_length(site.run.end_m, site.unit)
        yield f"the run was not followed to the main: the pipe goes on past {end}, undrawn"
