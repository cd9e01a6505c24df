"""A site as it would stand had a slip not been made."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from lateral_map.model.diagnosis import Applied, Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_reading, ended, tie_reading, without_reading
from lateral_map.model.site import (
    LEAST_READ_M,
    Bend,
    Locate,
    PositionTie,
    Site,
    TapeTie,
)

_FITTING_SD_DEG = 2.0
_SAME_M = 1e-6


def mend(site: Site, slip: Slip) -> Site:
    """Return the site with a slip's size taken out of what was noted.

    Nothing else is touched. Raises ``ValueError`` where the site has no such reading, ``KeyError``
    where its plan has no such line or point.
    """
    if slip.slip in _OF_THE_SITE:
        return _OF_THE_SITE[slip.slip](site, slip)
    reading = slip.id
    if reading is None:
        return _mend_all_locates(site, slip)
    if without_reading(site, reading) is None:
        raise ValueError(f"the site has no such reading: {reading}")
    if reading.kind in _OF_THE_PLAN:
        return _OF_THE_PLAN[reading.kind](site, slip, reading)
    if reading.kind == "mark":
        return without_reading(site, reading) or site
    locates = [
        _mend_locate(one, slip, reading) if one.mark == reading.of else one for one in site.locates
    ]
    mended = replace(site, locates=tuple(locates))
    return ended(mended) if reading.kind == "footage" else mended


def mend_all(site: Site, slips: tuple[Slip, ...]) -> Site | None:
    """Return the site with slips mended one after the other, None where they do not go together."""
    try:
        for slip in slips:
            site = mend(site, slip)
    except (ValueError, KeyError):
        return None
    return site


def off_the_run(site: Site) -> list[float]:
    """Return the footages of what was read before the run begins or past its end, metres."""
    zero, end_m = site.counter.zero_m, site.run.end_m + _SAME_M
    at = [one.footage_m for one in site.used_locates()]
    at += [one.footage_m for one in site.findings]
    off = [one for one in at if not zero - _SAME_M <= one <= end_m]
    begin = zero + site.start.riser_m
    return off + [one.footage_m for one in site.bends if not begin < one.footage_m <= end_m]


def take_so(site: Site, slips: Iterable[Applied]) -> Site:
    """Return the site with slips taken for true: mended, and what was written kept beside it.

    Raises as ``mend`` does.
    """
    mended, slips = site, tuple(slips)
    for one in slips:
        mended = mend(mended, one.slip)
    findings = tuple(
        replace(now, noted_m=was.footage_m if was.noted_m is None else was.noted_m)
        if abs(now.footage_m - was.footage_m) > _SAME_M
        else now
        for was, now in zip(site.findings, mended.findings, strict=True)
    )
    return replace(
        mended,
        findings=findings,
        applied=(*site.applied, *slips),
        as_written=site.as_written or site,
    )


def noted_footage(site: Site, slips: tuple[Slip, ...], mended_m: float) -> float:
    """Return what the counter showed where the mended notes have a footage."""
    for slip in reversed(slips):
        if slip.slip == "counter slipped" and mended_m > (slip.footage_m or 0.0):
            mended_m += slip.size[0]
        elif slip.slip == "counter scale":
            zero = site.counter.zero_m
            mended_m = zero + (mended_m - zero) * (1.0 + slip.size[0])
    return mended_m


def mended_footage(site: Site, slips: tuple[Slip, ...], noted_m: float) -> float:
    """Return what the mended notes have where the counter showed a footage."""
    for slip in slips:
        at, size = slip.footage_m or 0.0, slip.size[0]
        if slip.slip == "counter slipped" and noted_m > at:
            noted_m = max(noted_m - size, at)
        elif slip.slip == "counter scale":
            zero = site.counter.zero_m
            noted_m = zero + (noted_m - zero) / (1.0 + size)
    return noted_m


def _mend_counter(site: Site, slip: Slip) -> Site:
    size, zero, begin = slip.size[0], site.counter.zero_m, slip.footage_m or 0.0
    if slip.slip == "counter not at zero":
        return replace(site, counter=replace(site.counter, zero_m=zero + size))
    if slip.slip == "counter scale":
        return _move_footages(site, lambda at: zero + (at - zero) / (1.0 + size))
    # What was read on the way through the slip itself stays beside it.
    return _move_footages(site, lambda at: max(at - size, begin) if at > begin else at)


def _mend_riser(site: Site, slip: Slip) -> Site:
    start, size = site.start, slip.size[0]
    depth, riser = start.depth_m, start.riser_m
    if depth is not None and slip.at_foot:
        depth -= size
    if slip.slip == "riser left out":
        riser += size
    elif not slip.at_foot:
        riser = max(riser - size, 0.0)
    return replace(site, start=replace(start, riser_m=riser, depth_m=depth))


def _mend_unnoted(site: Site, slip: Slip) -> Site:
    bend = Bend(slip.footage_m or 0.0, turn_deg=slip.size[0], sd_deg=_FITTING_SD_DEG)
    return replace(site, bends=tuple(sorted((*site.bends, bend), key=_footage)))


def _mend_all_locates(site: Site, slip: Slip) -> Site:
    if slip.slip not in ("held above left out", "positions shifted together"):
        raise KeyError(slip.slip)
    locates = []
    for locate in site.locates:
        if slip.slip == "held above left out":
            height = locate.held_above_m or slip.size[0]
            locates.append(replace(locate, held_above_m=height))
            continue
        ties = [
            replace(
                tie,
                easting_m=tie.easting_m - slip.size[0],
                northing_m=tie.northing_m - slip.size[-1],
            )
            if isinstance(tie, PositionTie) and tie.method == "gnss"
            else tie
            for tie in locate.ties
        ]
        locates.append(replace(locate, ties=tuple(ties)))
    return replace(site, locates=tuple(locates))


def _mend_plan(site: Site, slip: Slip, reading: ReadingId) -> Site:
    plan, size = site.plan, slip.size
    if reading.kind == "point":
        point = plan.point(reading.of)
        east, north = point.easting_m - size[0], point.northing_m - size[1]
        place = replace(point, easting_m=east, northing_m=north)
        points = tuple(place if one is point else one for one in plan.points)
        return replace(site, plan=replace(plan, points=points))
    line = plan.line(reading.of)
    # Its vertices moved to its side, corners along their bisectors.
    step = np.diff(line.vertices_m, axis=0)
    unit = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    right = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    at_vertex = np.concatenate([right[:1], right[:-1] + right[1:], right[-1:]])
    # A corner moves farther, so that both of its sides move by the shift.
    inner = at_vertex[1:-1]
    inner *= 2.0 / np.maximum(np.square(inner).sum(axis=1), 0.2)[:, None]
    moved = replace(line, vertices_m=np.asarray(line.vertices_m - size[0] * at_vertex))
    lines = tuple(moved if one is line else one for one in plan.lines)
    return replace(site, plan=replace(plan, lines=lines))


def _mend_start(site: Site, slip: Slip, reading: ReadingId) -> Site:
    start, size = site.start, slip.size
    if reading.kind == "start depth":
        return replace(site, start=replace(start, depth_m=(start.depth_m or 0.0) - size[0]))
    if reading.kind == "start azimuth":
        azimuth = ((start.azimuth_deg or 0.0) - size[0]) % 360.0
        return replace(site, start=replace(start, azimuth_deg=azimuth))
    east, north = start.easting_m - size[0], start.northing_m - size[1]
    place = replace(start, easting_m=east, northing_m=north, point=None)
    return replace(site, start=place)


def _mend_bend(site: Site, slip: Slip, reading: ReadingId) -> Site:
    size, bends = slip.size[0], []
    for bend in site.bends:
        if reading not in (bend_reading(site, bend, "turn"), bend_reading(site, bend, "fall")):
            bends.append(bend)
        elif slip.slip == "bend misplaced":
            bends.append(replace(bend, footage_m=bend.footage_m - size))
        elif reading.kind == "turn":
            bends.append(replace(bend, turn_deg=bend.turn_deg - size))
        else:
            bends.append(replace(bend, fall_deg=bend.fall_deg - size))
    return replace(site, bends=tuple(sorted(bends, key=_footage)))


def _mend_locate(locate: Locate, slip: Slip, reading: ReadingId) -> Locate:
    size = slip.size[0]
    if slip.slip == "held above left out":
        return replace(locate, held_above_m=locate.held_above_m + size)
    if reading.kind == "footage":
        return replace(locate, footage_m=locate.footage_m - size)
    if reading.kind == "depth":
        return replace(locate, depth_m=(locate.depth_m or 0.0) - size)
    if reading.kind == "nulls":
        return replace(locate, nulls_m=max((locate.nulls_m or 0.0) - size, LEAST_READ_M))
    ties = list(locate.ties)
    for index, tie in enumerate(ties):
        if tie_reading(locate, tie) != reading:
            continue
        # A tape pulled from another point was read well, but from elsewhere.
        if isinstance(tie, TapeTie) and slip.point:
            ties[index] = replace(tie, point=slip.point)
        else:
            ties[index] = tie.less(slip.size)
    return replace(locate, ties=tuple(ties))


def _footage(bend: Bend) -> float:
    return bend.footage_m


def _move_footages(site: Site, move: Callable[[float], float]) -> Site:
    """Return the site with every footage read off the counter moved."""

    def moved(at: float | None) -> float | None:
        return None if at is None else move(at)

    return replace(
        site,
        run=replace(site.run, end_m=move(site.run.end_m)),
        locates=tuple(replace(one, footage_m=move(one.footage_m)) for one in site.locates),
        bends=tuple(replace(one, footage_m=move(one.footage_m)) for one in site.bends),
        findings=tuple(
            replace(one, footage_m=move(one.footage_m), to_m=moved(one.to_m))
            for one in site.findings
        ),
        boundaries=tuple(replace(one, footage_m=moved(one.footage_m)) for one in site.boundaries),
        pipes=tuple(replace(one, from_m=move(one.from_m)) for one in site.pipes),
        reaches=tuple(
            replace(one, from_m=move(one.from_m), to_m=move(one.to_m)) for one in site.reaches
        ),
    )


_OF_THE_SITE: dict[str, Callable[[Site, Slip], Site]] = {
    "counter not at zero": _mend_counter,
    "counter slipped": _mend_counter,
    "counter scale": _mend_counter,
    "riser left out": _mend_riser,
    "riser counted twice": _mend_riser,
    "bend not noted": _mend_unnoted,
}

_OF_THE_PLAN: dict[str, Callable[[Site, Slip, ReadingId], Site]] = {
    "line": _mend_plan,
    "point": _mend_plan,
    "start position": _mend_start,
    "start depth": _mend_start,
    "start azimuth": _mend_start,
    "turn": _mend_bend,
    "fall": _mend_bend,
}
