"""Which stretches are to be repaired, and who answers for which part of them?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from lateral_map.model.chance import TWO_SIDED_95, chance_above_zero
from lateral_map.model.dig import ReachEnd, ReachPart, RepairReach
from lateral_map.model.results import FindingResult, PipeStretch, ResponsibilityStretch
from lateral_map.model.route import Route
from lateral_map.model.site import Finding, Soil
from lateral_map.model.trade import calls_for_repair, is_at_main, is_standing_water, is_tap
from lateral_map.units import to_metres

# A repair is cut in sound pipe beyond the damage: 2 ft either way, and two repairs with less than
# 10 ft between them are one (common practice, no source).
SOUND_PIPE_M: Final = to_metres(2.0, "ft")
JOINED_WITHIN_M: Final = to_metres(10.0, "ft")
_WORTH_SAYING: Final = 0.005


@dataclass(frozen=True, slots=True)
class _Span:
    """A stretch of footage and the findings it is for."""

    from_m: float
    to_m: float
    name: str
    proposed: bool
    wanted: tuple[FindingResult, ...] = ()
    soil: Soil | None = None


def propose_reaches(
    route: Route,
    findings: Iterable[FindingResult],
    pipes: Iterable[PipeStretch],
    responsibility: Iterable[ResponsibilityStretch],
) -> tuple[RepairReach, ...]:
    """Return the site's own reaches, or else those its findings call for, in order of footage.

    Proposed are severe and moderate damage to the pipe and standing water, each with a margin of
    sound pipe and the 95 % of the counter's reading; near neighbours are joined. Where a danger
    was seen in the sewer nothing is proposed.
    """
    seen, runs, parties = tuple(findings), tuple(pipes), tuple(responsibility)
    site = route.site
    first, last = site.counter.zero_m, site.run.end_m
    given = [
        _Span(
            max(own.from_m, first),
            min(own.to_m, last),
            own.name or f"reach {n}",
            False,
            (),
            own.soil,
        )
        for n, own in enumerate(sorted(site.reaches, key=lambda own: own.from_m), start=1)
    ]
    margin = SOUND_PIPE_M + TWO_SIDED_95 * site.counter.sd_reading_m
    joined: list[_Span] = []
    for result in sorted(seen, key=lambda one: one.finding.footage_m):
        finding = result.finding
        if not calls_for_repair(finding):
            continue
        begin, end = max(finding.footage_m - margin, first), min(_far_end(finding) + margin, last)
        wanted: tuple[FindingResult, ...] = (result,)
        if joined and begin - joined[-1].to_m <= JOINED_WITHIN_M:
            before = joined.pop()
            begin, end = before.from_m, max(end, before.to_m)
            wanted = (*before.wanted, result)
        joined.append(_Span(begin, end, f"reach {len(joined) + 1}", True, wanted))
    # A foreign pipe or cable stops everything: nobody is told where to dig till its owner has been.
    stopped = any(result.finding_class == "danger" for result in seen)
    spans = given or ([] if stopped else joined)
    return tuple(_describe(route, span, seen, runs, parties) for span in spans)


def _far_end(finding: Finding) -> float:
    return finding.footage_m if finding.to_m is None else finding.to_m


def _describe(
    route: Route,
    span: _Span,
    findings: tuple[FindingResult, ...],
    pipes: tuple[PipeStretch, ...],
    parties: tuple[ResponsibilityStretch, ...],
) -> RepairReach:
    at = [span.from_m, span.to_m]
    place, plan = route.positions(at), route.plan_covariance(at)
    depth, sd_depth = route.depths(at)
    heading = np.radians(route.headings_deg(at)[0])
    ahead = np.stack([np.sin(heading), np.cos(heading)], axis=-1)
    across = np.stack([ahead[:, 1], -ahead[:, 0]], axis=-1)
    sd_reading = route.site.counter.sd_reading_m
    sds = [np.sqrt(np.einsum("ki,kij,kj->k", unit, plan, unit)) for unit in (ahead, across)]
    begin, end = (
        ReachEnd(
            footage_m=at[i],
            sd_footage_m=sd_reading,
            easting_m=float(place[i, 0]),
            northing_m=float(place[i, 1]),
            depth_m=float(depth[i]),
            sd_depth_m=float(sd_depth[i]),
            # The camera's own reading moves the end along the pipe as well.
            along_sd_m=float(np.hypot(sds[0][i], sd_reading)),
            across_sd_m=float(sds[1][i]),
        )
        for i in (0, 1)
    )

    within = [
        one
        for one in findings
        if one.finding.footage_m <= span.to_m and _far_end(one.finding) >= span.from_m
    ]
    crossed = [pipe for pipe in pipes if pipe.from_m < span.to_m and pipe.to_m > span.from_m]
    seen = [one.finding for one in within]
    return RepairReach(
        name=span.name,
        begin=begin,
        end=end,
        proposed=span.proposed,
        wanted=span.wanted,
        sd_length_m=float(np.hypot(begin.sd_footage_m, end.sd_footage_m)),
        pipes=tuple(crossed),
        transitions_m=tuple(pipe.from_m for pipe in crossed if pipe.from_m > span.from_m),
        bends=tuple(b for b in route.site.bends if span.from_m <= b.footage_m <= span.to_m),
        findings=tuple(within),
        taps=tuple(one for one in seen if is_tap(one) and not is_at_main(one, route.site)),
        standing_water=tuple(one for one in seen if is_standing_water(one)),
        soil=span.soil,
        parts=_parts(span, begin, end, parties),
    )


def _parts(
    span: _Span, begin: ReachEnd, end: ReachEnd, parties: tuple[ResponsibilityStretch, ...]
) -> tuple[ReachPart, ...]:
    """Return each party's share; a party that may have none of it has a part without length."""
    parts = []
    for stretch in parties:
        before_end = _later(span.to_m, end.sd_footage_m, stretch.from_m, stretch.sd_from_m)
        after_begin = _later(stretch.to_m, stretch.sd_to_m, span.from_m, begin.sd_footage_m)
        starts = before_end if stretch.line_from else 1.0
        ends = after_begin if stretch.line_to else 1.0
        if starts * ends < _WORTH_SAYING:
            continue
        from_m, to_m = np.clip([stretch.from_m, stretch.to_m], span.from_m, span.to_m)
        parts.append(
            ReachPart(
                from_m=float(from_m),
                to_m=float(to_m),
                sd_from_m=stretch.sd_from_m if stretch.line_from else 0.0,
                sd_to_m=stretch.sd_to_m if stretch.line_to else 0.0,
                party=stretch.party,
                probability=starts * ends,
                parties=stretch.parties,
            )
        )
    return tuple(parts)


def _later(one_m: float, sd_one: float, other_m: float, sd_other: float) -> float:
    """Return the chance that one footage lies beyond another, both normal."""
    return chance_above_zero(one_m - other_m, float(np.hypot(sd_one, sd_other)))
