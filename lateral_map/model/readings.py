"""A site's readings by identity: what each is known by, what was read, the site without it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeVar

from lateral_map.model.identity import ReadingId
from lateral_map.model.site import (
    Bend,
    Locate,
    PlanLine,
    PlanPoint,
    PositionTie,
    Site,
    Tie,
)

# So wide that the reading says nothing more: 100 ft, and a quarter turn.
_ANYWHERE_M = 30.48
_ANY_WAY_DEG = 90.0
_SAME: Final = 1e-6


def readings_of(site: Site) -> tuple[ReadingId, ...]:
    """Return every reading in use, the plan's lines and points among them."""
    found: list[ReadingId] = [ReadingId("start position")]
    if site.start.depth_m is not None:
        found.append(ReadingId("start depth"))
    if site.start.azimuth_deg is not None:
        found.append(ReadingId("start azimuth"))
    for locate in site.used_locates():
        found.append(ReadingId("footage", locate.mark, "footage"))
        if locate.depth_m is not None:
            found.append(ReadingId("depth", locate.mark, "depth"))
        if locate.nulls_m is not None:
            found.append(ReadingId("nulls", locate.mark, "nulls"))
        if locate.ties:
            found.append(ReadingId("mark", locate.mark, "mark"))
        found += [tie_reading(locate, tie) for tie in locate.ties]
    for bend in site.bends:
        found += [bend_reading(site, bend, "turn")] if bend.turn_deg else []
        found += [bend_reading(site, bend, "fall")] if bend.fall_deg else []
    found += [ReadingId("line", one.name) for one in site.plan.lines]
    found += [ReadingId("point", one.name) for one in site.plan.points]
    return tuple(found)


@dataclass(frozen=True, slots=True)
class TakenOtherwise:
    """A reading that counts for something else than its table has.

    In metres or degrees, or as the point a tape was pulled from; where it is a place ``moved_m`` is
    how far it was moved.
    """

    written: float | str | None = None
    taken: float | str | None = None
    moved_m: float = 0.0


def taken_otherwise(site: Site, reading: ReadingId) -> TakenOtherwise | None:
    """Return how a reading differs from what its table has, None where it does not."""
    before = site.as_written
    if before is None:
        return None
    if reading.kind in ("turn", "fall"):
        now = bend_of(site, reading)
        old = next((one for one in before.bends if one.place == now.place), now)
        return taken_bend(old, now, reading.kind)
    if reading not in readings_of(before):
        return None
    was, counts = (reading_value(each, reading) for each in (before, site))
    if reading.kind == "tape":
        points = [tie.point for each in (before, site) if (tie := tie_of(each, reading))]
        if points[0] != points[-1]:
            return TakenOtherwise(points[0], points[-1])
    if was is not None and counts is not None:
        return TakenOtherwise(was, counts) if abs(was - counts) > _SAME else None
    places = [_place(each, reading) for each in (before, site)]
    if places[0] is None or places[1] is None:
        return None
    moved_m = math.dist(places[0], places[1])
    return TakenOtherwise(moved_m=moved_m) if moved_m > _SAME else None


def taken_bend(
    old: Bend, now: Bend, plane: Literal["turn", "fall", "footage"]
) -> TakenOtherwise | None:
    """Return how a bend's angle, right and down positive, or its footage differs from before."""
    name = "footage_m" if plane == "footage" else f"{plane}_deg"
    was, counts = getattr(old, name), getattr(now, name)
    return TakenOtherwise(was, counts) if abs(was - counts) > _SAME else None


def _place(site: Site, reading: ReadingId) -> tuple[float, float] | None:
    """Return where a reading puts something: a mark's coordinates, a mapped point, the start."""
    if reading.kind == "start position":
        return site.start.easting_m, site.start.northing_m
    if reading.kind == "point":
        point = site.plan.point(reading.of)
        return point.easting_m, point.northing_m
    if reading.kind == "line":
        east, north = site.plan.line(reading.of).vertices_m[0]
        return float(east), float(north)
    tie = tie_of(site, reading)
    return (tie.easting_m, tie.northing_m) if isinstance(tie, PositionTie) else None


def tie_reading(locate: Locate, tie: Tie) -> ReadingId:
    """Return what a locate's tie is known by among the readings."""
    return ReadingId(tie.kind, locate.mark, tie.column)


def bend_reading(site: Site, bend: Bend, plane: Literal["turn", "fall"]) -> ReadingId:
    """Return what a bend's turn or fall is known by among the readings."""
    return ReadingId(plane, site.bend_names[id(bend)], plane)


def reading_value(site: Site, reading: ReadingId) -> float | None:
    """Return what was read, in metres or degrees; None for a place, which is no one number.

    A distance past a line is positive past it, as it was written.
    """
    match reading.kind:
        case "start depth":
            return site.start.depth_m
        case "start azimuth":
            return site.start.azimuth_deg
        case "turn":
            return bend_of(site, reading).turn_deg
        case "fall":
            return bend_of(site, reading).fall_deg
    locate = site.locate_of.get(reading.mark)
    if locate is None:
        return None
    values = {"footage": locate.footage_m, "depth": locate.depth_m, "nulls": locate.nulls_m}
    if reading.kind in values:
        return values[reading.kind]
    tie = tie_of(site, reading)
    return None if tie is None else tie.noted


def noted_sign(site: Site, reading: ReadingId) -> float:
    """Return the sign that turns a blunder in a reading's equation into one in what was noted."""
    tie = tie_of(site, reading)
    return 1.0 if tie is None else tie.noted_sign


def tie_of(site: Site, reading: ReadingId) -> Tie | None:
    """Return the tie that a reading is, None where it is none."""
    locate = site.locate_of.get(reading.of)
    ties = () if locate is None else locate.ties
    named = (reading.kind, reading.column)
    return next((tie for tie in ties if (tie.kind, tie.column) == named), None)


def bend_of(site: Site, reading: ReadingId) -> Bend:
    """Return the bend whose turn or fall a reading is."""
    return site.bend_of[reading.of]


def ended(site: Site) -> Site:
    """Return the site, its run ending at the last footage in use where nobody gave an end."""
    if site.run.end_given:
        return site
    footages = [one.footage_m for one in site.used_locates()]
    footages += [one.footage_m for one in site.bends]
    footages += [at for one in site.findings for at in (one.footage_m, one.to_m) if at is not None]
    footages += [one.footage_m for one in site.boundaries if one.footage_m is not None]
    footages += [one.from_m for one in site.pipes]
    return replace(site, run=replace(site.run, end_m=max(footages, default=site.run.end_m)))


def change_bend(site: Site, reading: ReadingId, change: Callable[[Bend], Bend]) -> Site | None:
    """Return the site with the bend that a reading is of changed, None where it has none."""
    for index, one in enumerate(site.bends):
        if reading in (bend_reading(site, one, "turn"), bend_reading(site, one, "fall")):
            return replace(site, bends=(*site.bends[:index], change(one), *site.bends[index + 1 :]))
    return None


def without_reading(site: Site, reading: ReadingId) -> Site | None:
    """Return the site as if nobody had taken a reading; None where it is no reading to leave out.

    A mark is left out with all of its ties. A footage is left out with its whole locate.
    """
    start, plan = site.start, site.plan
    match reading.kind:
        case "start position":
            return replace(site, start=replace(start, sd_m=_ANYWHERE_M))
        case "start depth":
            return replace(site, start=replace(start, depth_m=None))
        case "start azimuth":
            return replace(site, start=replace(start, azimuth_deg=None))
        case "line":
            lines = tuple(_anywhere(one, reading.of) for one in plan.lines)
            return replace(site, plan=replace(plan, lines=lines))
        case "point":
            points = tuple(_anywhere(one, reading.of) for one in plan.points)
            return replace(site, plan=replace(plan, points=points))
        case "turn" | "fall":
            return change_bend(site, reading, lambda one: replace(one, sd_deg=_ANY_WAY_DEG))
        case _:
            return _without_locate_reading(site, reading)


_MappedT = TypeVar("_MappedT", PlanLine, PlanPoint)


def _anywhere(mapped: _MappedT, name: str) -> _MappedT:
    return replace(mapped, sd_m=_ANYWHERE_M) if mapped.name == name else mapped


def _without_locate_reading(site: Site, reading: ReadingId) -> Site | None:
    for index, one in enumerate(site.locates):
        if one.use and one.mark == reading.mark and (left := _less(one, reading)) is not None:
            locates = (*site.locates[:index], left, *site.locates[index + 1 :])
            return ended(replace(site, locates=locates))
    return None


def _less(locate: Locate, reading: ReadingId) -> Locate | None:
    match reading.kind:
        case "footage":
            return replace(locate, use=False)
        case "mark":
            left = replace(locate, ties=())
        case "depth":
            left = replace(locate, depth_m=None)
        case "nulls":
            left = replace(locate, nulls_m=None)
        case _:
            kept = tuple(tie for tie in locate.ties if tie_reading(locate, tie) != reading)
            if len(kept) == len(locate.ties):
                return None
            left = replace(locate, ties=kept)
    bare = not left.ties and left.depth_m is None and left.nulls_m is None
    return replace(left, use=False) if bare else left
