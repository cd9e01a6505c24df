"""Which places must a crew be able to find again?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from lateral_map.model.dig import KeyMark, KeyPoint, RepairReach
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
    dangers = tuple(
        KeyPoint((KeyMark("danger", one.finding.finding),), one.finding.footage_m, one.number)
        for one in findings
        if one.finding_class == "danger"
    )
    found = [
        (c.footage_m, KeyMark("boundary" if c.kind in ("main", "cleanout") else "crossing", c.line))
        for c in crossings
    ]
    found += [(bend.footage_m, KeyMark("bend")) for bend in site.bends]
    found += [
        (pipe.from_m, KeyMark("transition", pipe.material, "begins"))
        for pipe in pipes
        if pipe.from_m > site.counter.zero_m
    ]
    for reach in reaches:
        found.append((reach.begin.footage_m, KeyMark("reach end", reach.name, "begins")))
        found.append((reach.end.footage_m, KeyMark("reach end", reach.name, "ends")))
        for seen in reach.findings:
            finding = seen.finding
            if seen.finding_class == "danger":
                continue
            if finding.to_m is None:
                found.append((finding.footage_m, KeyMark("finding", finding.finding)))
            else:
                found.append((finding.footage_m, KeyMark("finding", finding.finding, "begins")))
                found.append((finding.to_m, KeyMark("finding", finding.finding, "ends")))
    found.append((site.run.end_m, KeyMark("end")))
    points: list[KeyPoint] = []
    for footage, mark in sorted(dict.fromkeys(found), key=lambda one: one[0]):
        if points and footage - points[-1].footage_m <= _SAME_M:
            points[-1] = replace(points[-1], marks=(*points[-1].marks, mark))
        else:
            points.append(KeyPoint((mark,), footage))
    return (*dangers, *points)
