"""Which places must a crew be able to find again?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from lateral_map.model.dig import KeyPoint, RepairReach
from lateral_map.model.results import Crossing, FindingResult, PipeStretch
from lateral_map.model.site import Site

# Nobody can tell two places this near apart with a tape.
_SAME_M: Final = 0.01


def list_key_points(
    site: Site,
    crossings: Iterable[Crossing],
    pipes: Iterable[PipeStretch],
    reaches: Iterable[RepairReach],
    findings: Iterable[FindingResult] = (),
) -> tuple[KeyPoint, ...]:
    """Return crossings, ends of reaches, bends, transitions and findings to dig, by footage.

    What stands at one place is one key point with all its names. Dangers come before everything.
    """
    dangers = [
        KeyPoint(one.finding.finding, "danger", one.finding.footage_m, one.number)
        for one in findings
        if one.finding_class == "danger"
    ]
    wanted = tuple(reaches)
    points = [KeyPoint(f"crosses {c.line}", "crossing", c.footage_m) for c in crossings]
    points += [KeyPoint("bend", "bend", bend.footage_m) for bend in site.bends]
    points += [
        KeyPoint(f"{pipe.material} begins", "transition", pipe.from_m)
        for pipe in pipes
        if pipe.from_m > site.counter.zero_m
    ]
    for reach in wanted:
        points.append(KeyPoint(f"{reach.name} begins", "reach end", reach.begin.footage_m))
        points.append(KeyPoint(f"{reach.name} ends", "reach end", reach.end.footage_m))
    points += _findings(wanted)
    points.append(KeyPoint("end of the run", "end", site.run.end_m))
    by_footage = sorted(dict.fromkeys(points), key=lambda point: point.footage_m)
    return (*dangers, *_merged(by_footage))


def _merged(points: list[KeyPoint]) -> tuple[KeyPoint, ...]:
    merged: list[KeyPoint] = []
    for point in points:
        if merged and point.footage_m - merged[-1].footage_m <= _SAME_M:
            before = merged[-1]
            merged[-1] = replace(before, name=f"{before.name}, {point.name}")
        else:
            merged.append(point)
    return tuple(merged)


def _findings(reaches: tuple[RepairReach, ...]) -> list[KeyPoint]:
    points = []
    for seen in (one for reach in reaches for one in reach.findings):
        finding = seen.finding
        if seen.finding_class == "danger":
            continue
        words = finding.finding if finding.to_m is None else f"{finding.finding} begins"
        points.append(KeyPoint(words, "finding", finding.footage_m))
        if finding.to_m is not None:
            points.append(KeyPoint(f"{finding.finding} ends", "finding", finding.to_m))
    return points
