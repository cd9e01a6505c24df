"""Slips as people make them in field notes, each planted in a site whose truth is known.

``plant(name, seed)`` takes a clean site from one of the two generators, makes one slip in it (two
for 'two slips') and says what the slip was. A slip in what the counter showed moves every later
reading, the truth's own too: ``Planted.truth`` is in readings as noted, ``Planted.clean_truth`` in
readings as they should have been.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from truth.jobs import _rounded, draw_job
from truth.simulate import FOOT, Floats, Truth, simulate, true_past_m

from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_reading, ended, tie_reading
from lateral_map.model.site import (
    Bend,
    Locate,
    OffsetTie,
    Place,
    PositionTie,
    Site,
    TapeTie,
    Tie,
)


@dataclass(frozen=True)
class Slip:
    """What was planted, in the vocabulary of ``diagnoses``.

    ``reading`` is the one it was made in, None where it is no single reading's; ``footage_m`` where
    along the run it sits, as noted; ``size_m`` (degrees for an angle) is noted less true.
    """

    slip: str
    reading: ReadingId | None = None
    footage_m: float | None = None
    size: float = 0.0


@dataclass(frozen=True)
class Planted:
    """A site with its slips (none in a clean one), its truth, and the truth as it should read.

    ``clean_site`` has the same notes without the slips.
    """

    site: Site
    truth: Truth
    clean_site: Site
    clean_truth: Truth
    slips: tuple[Slip, ...] = ()


Planter = Callable[[np.random.Generator, Site, Truth], Planted | None]


def plant(name: str, seed: int) -> Planted:
    """Return a site of the class ``name``; the same for the same seed.

    Odd seeds come from the generator of jobs, even ones from that of lines, unless the class asks
    for jobs. Sites that cannot hold the slip (no bend to turn the other way) are passed over;
    whether it can be seen in them does not count.
    """
    klass = CLASSES[name]
    number = zlib.crc32(name.encode())
    for attempt in range(2000):
        rng = np.random.default_rng([seed, number, attempt])
        own = int(rng.integers(1 << 40))
        if klass.world or seed % 2:
            site, truth = draw_job(own, **klass.world)
        else:
            site, truth = simulate(own)
        if _starts_at_a_line(truth):
            continue
        planted = klass.planter(rng, _numbered(site), truth)
        if planted is not None:
            return planted
    raise ValueError(f"no site can hold the slip {name!r}")


def _numbered(site: Site) -> Site:
    """Give every locate its row, so that a fault can name it."""
    locates = (
        replace(one, place=Place("locates.csv", row)) for row, one in enumerate(site.locates, 2)
    )
    return replace(site, locates=tuple(locates))


def _starts_at_a_line(truth: Truth) -> bool:
    """Say whether the start is so near a line that its map may show it on the other side."""
    start = truth.position_m[:1, :2]
    return any(abs(true_past_m(truth, name, start)[0]) < 2.0 for name in truth.line_shift_m)


# What is changed, and how ---------------------------------------------------------------------


def _with_locate(site: Site, index: int, locate: Locate) -> Site:
    return replace(site, locates=(*site.locates[:index], locate, *site.locates[index + 1 :]))


def _with_tie(site: Site, index: int, tie: Tie, other: Tie) -> Site:
    locate = site.locates[index]
    ties = tuple(other if one is tie else one for one in locate.ties)
    return _with_locate(site, index, replace(locate, ties=ties))


def _with_bend(site: Site, index: int, *bends: Bend) -> Site:
    kept = (*site.bends[:index], *bends, *site.bends[index + 1 :])
    return replace(site, bends=tuple(sorted(kept, key=lambda one: one.footage_m)))


def _fixing(locate: Locate) -> int:
    """Count the equations that a locate's ties make in plan."""
    return sum(2 if isinstance(tie, PositionTie) else 1 for tie in locate.ties)


def _tied(site: Site) -> list[int]:
    return [index for index, one in enumerate(site.locates) if _fixing(one) >= 2]


def _one_of(rng: np.random.Generator, items: list) -> object | None:
    return items[int(rng.integers(len(items)))] if items else None


def _either(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _shown(site: Site, truth: Truth, show: Callable[[Floats], Floats]) -> tuple[Site, Truth]:
    """Return site and truth with every footage as the counter shows it instead."""

    def one(value: float) -> float:
        return float(show(np.array([value]))[0])

    site = replace(
        site,
        locates=tuple(replace(it, footage_m=one(it.footage_m)) for it in site.locates),
        bends=tuple(replace(it, footage_m=one(it.footage_m)) for it in site.bends),
        findings=tuple(
            replace(
                it,
                footage_m=one(it.footage_m),
                to_m=None if it.to_m is None else one(it.to_m),
            )
            for it in site.findings
        ),
        pipes=tuple(replace(it, from_m=one(it.from_m) if it.from_m else 0.0) for it in site.pipes),
        run=replace(site.run, end_m=one(site.run.end_m)),
    )
    truth = replace(
        truth,
        reading_m=show(truth.reading_m),
        finding_reading_m=show(truth.finding_reading_m),
    )
    return site, truth


def with_riser(site: Site, truth: Truth, riser_m: float) -> tuple[Site, Truth]:
    """Return the same pipe run from the top of a riser, noted as it should be.

    The counter spends ``riser_m`` going straight down; depth at the start is that of its top.
    """
    zero = truth.reading_m[0]
    site, truth = _shown(site, truth, lambda reading: reading + riser_m)
    down = np.linspace(0.0, riser_m, 20, endpoint=False)
    above = np.repeat(truth.position_m[:1], len(down), axis=0)
    above[:, 2] += riser_m - down
    truth = replace(
        truth,
        reading_m=np.concatenate([zero + down, truth.reading_m]),
        position_m=np.concatenate([above, truth.position_m]),
        ground_m=np.concatenate([np.full(len(down), truth.ground_m[0]), truth.ground_m]),
    )
    depth = site.start.depth_m
    start = replace(site.start, riser_m=riser_m, depth_m=None if depth is None else depth - riser_m)
    return replace(site, start=start), truth


# The planters -----------------------------------------------------------------------------------


def _clean(rng: np.random.Generator, site: Site, truth: Truth) -> Planted:
    return Planted(site, truth, site, truth)


def _footage(feet: float) -> Planter:
    def planter(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
        index = _one_of(rng, _tied(site))
        if index is None or len(_tied(site)) < 4:
            return None
        locate = site.locates[index]
        size = feet * FOOT * _either(rng)
        noted = locate.footage_m + size
        if not site.start.riser_m + FOOT <= noted <= site.run.end_m:
            return None
        slip = Slip("footage misread", ReadingId("footage", locate.mark, "footage"), noted, size)
        other = _with_locate(site, index, replace(locate, footage_m=noted))
        return Planted(other, truth, site, truth, (slip,))

    return planter


def _point_lost(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    """Type a footage without its decimal point, and leave out where the run ends."""
    index = _one_of(rng, [i for i in _tied(site) if site.locates[i].footage_m > 20.0 * FOOT])
    if index is None or len(_tied(site)) < 4:
        return None
    locate = site.locates[index]
    noted = 10.0 * locate.footage_m
    if noted < 3.0 * site.run.end_m:
        return None
    slip = Slip("footage misread", ReadingId("footage", locate.mark, "footage"), noted, 0.9 * noted)
    clean = replace(site, run=replace(site.run, end_given=False))
    other = _with_locate(clean, index, replace(locate, footage_m=noted))
    return Planted(ended(other), truth, clean, truth, (slip,))


def _depth(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    index = _one_of(rng, [i for i, one in enumerate(site.locates) if one.depth_m is not None])
    if index is None:
        return None
    return _depth_reads(
        site, truth, index, "depth misread", lambda read: read + 3 * FOOT * _either(rng)
    )


def _depth_in_inches(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    index = _one_of(rng, [i for i, one in enumerate(site.locates) if one.depth_m is not None])
    if index is None:
        return None

    def typed(read: float) -> float:
        inches = round(read / FOOT * 12.0)
        # 4 ft 6 in as 54 ft; one time in five as 46 ft, its marks lost.
        lost = float(f"{inches // 12}{inches % 12}")
        return (inches if rng.random() < 0.8 else lost) * FOOT

    return _depth_reads(site, truth, index, "another unit", typed)


def _held_above(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    index = _one_of(rng, [i for i, one in enumerate(site.locates) if one.depth_m is not None])
    if index is None:
        return None
    held = rng.uniform(2.0, 3.0) * FOOT
    return _depth_reads(site, truth, index, "held above left out", lambda read: read + held)


def _depth_reads(
    site: Site, truth: Truth, index: int, name: str, typed: Callable[[float], float]
) -> Planted | None:
    locate = site.locates[index]
    read = locate.depth_m or 0.0
    noted = typed(read)
    if noted < 0.5 * FOOT or sum(one.depth_m is not None for one in site.locates) < 3:
        return None
    slip = Slip(name, ReadingId("depth", locate.mark, "depth"), locate.footage_m, noted - read)
    other = _with_locate(site, index, replace(locate, depth_m=noted))
    return Planted(other, truth, site, truth, (slip,))


def _tape(kind: str) -> Planter:
    def planter(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
        chosen = _one_of(
            rng,
            [
                (index, tie)
                for index, one in enumerate(site.locates)
                for tie in one.ties
                if isinstance(tie, TapeTie)
            ],
        )
        if chosen is None:
            return None
        index, tie = chosen
        other = _mistaken_tape(rng, site, truth, index, tie, kind)
        if other is None:
            return None
        locate = site.locates[index]
        slip = Slip(
            kind, tie_reading(locate, tie), locate.footage_m, other.distance_m - tie.distance_m
        )
        return Planted(_with_tie(site, index, tie, other), truth, site, truth, (slip,))

    return planter


def _mistaken_tape(
    rng: np.random.Generator, site: Site, truth: Truth, index: int, tie: TapeTie, kind: str
) -> TapeTie | None:
    if kind == "another unit":
        metres = replace(tie, distance_m=tie.distance_m * FOOT)
        return metres if tie.distance_m > 12.0 * FOOT else None
    if kind == "tape misread":
        distance = tie.distance_m + 5.0 * FOOT * _either(rng)
        return replace(tie, distance_m=distance) if distance > FOOT else None
    locate = site.locates[index]
    mark = truth.at(locate.footage_m - site.transmitter.behind_lens_m)[:2]
    used = {one.point for one in locate.ties if isinstance(one, TapeTie)}
    other = [
        point.name
        for point in site.plan.points
        if point.name not in used
        and 2.5 * FOOT
        < abs(np.hypot(point.easting_m - mark[0], point.northing_m - mark[1]) - tie.distance_m)
        < 40.0 * FOOT
    ]
    named = _one_of(rng, other)
    return None if named is None else replace(tie, point=str(named))


def _bend(kind: str) -> Planter:
    def planter(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
        wanted = {"45 as 90": (45.0, 90.0), "45 not noted": (45.0,), "22.5 not noted": (22.5,)}
        angles = wanted.get(kind, (22.5, 45.0, 90.0))
        index = _one_of(rng, [i for i, one in enumerate(site.bends) if abs(one.turn_deg) in angles])
        if index is None or len(_tied(site)) < 4:
            return None
        bend, turn = site.bends[index], site.bends[index].turn_deg
        reading, at = bend_reading(site, bend, "turn"), bend.footage_m
        if kind == "other way":
            slip = Slip("bend turned the other way", reading, at, -2.0 * turn)
            other = _with_bend(site, index, replace(bend, turn_deg=-turn))
        elif kind == "45 as 90":
            noted = turn * (2.0 if abs(turn) == 45.0 else 0.5)
            slip = Slip("bend angle", reading, at, noted - turn)
            other = _with_bend(site, index, replace(bend, turn_deg=noted))
        elif kind == "misplaced":
            size = 8.0 * FOOT * _either(rng)
            moved = replace(bend, footage_m=_rounded(at + size))
            if not site.start.riser_m + FOOT < moved.footage_m < site.run.end_m - FOOT:
                return None
            other = _with_bend(site, index, moved)
            slip = Slip("bend misplaced", bend_reading(other, moved, "turn"), moved.footage_m, size)
        else:
            slip = Slip("bend not noted", None, at, turn)
            other = _with_bend(site, index)
        return Planted(other, truth, site, truth, (slip,))

    return planter


def _not_at_zero(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    start = site.start
    if start.riser_m or len(_tied(site)) < 4:
        return None
    size = 4.0 * FOOT
    other, shown = _shown(site, truth, lambda reading: reading + size)
    return Planted(other, shown, site, truth, (Slip("counter not at zero", None, None, size),))


def _slipped(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    tied = [site.locates[i].footage_m for i in _tied(site)]
    if len(tied) < 5:
        return None
    # Midway: two tied locates or more on either side.
    at, size = float(rng.uniform(tied[1], tied[-2])), 5.0 * FOOT * _either(rng)
    other, shown = _shown(site, truth, lambda reading: reading + size * (reading > at))
    if size < 0:
        # What was passed while the counter stood or ran back has no reading of its own.
        keep = np.concatenate([[True], np.diff(np.maximum.accumulate(shown.reading_m)) > 0.0])
        shown = replace(
            shown,
            reading_m=shown.reading_m[keep],
            position_m=shown.position_m[keep],
            ground_m=shown.ground_m[keep],
        )
    return Planted(other, shown, site, truth, (Slip("counter slipped", None, at, size),))


def _riser_left_out(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    riser = site.start.riser_m
    if not riser:
        riser = _rounded(rng.uniform(3.0, 6.0) * FOOT)
        site, truth = with_riser(site, truth, riser)
    depth = site.start.depth_m
    if riser < 2.9 * FOOT or depth is None or len(_tied(site)) < 4:
        return None
    # Half of the people note the depth of the riser's top, half that of the pipe at its foot.
    at_foot = rng.random() < 0.5 or depth < 0.0
    start = replace(site.start, riser_m=0.0, depth_m=depth + riser if at_foot else depth)
    slip = Slip("riser left out", None, None, -riser)
    return Planted(replace(site, start=start), truth, site, truth, (slip,))


def _riser_twice(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    if not site.start.riser_m:
        top = site.start.depth_m or 0.0
        riser = _rounded(min(rng.uniform(1.5, 5.0) * FOOT, top))
        site, truth = with_riser(site, truth, riser)
    riser, depth = site.start.riser_m, site.start.depth_m
    if riser < 1.5 * FOOT or depth is None or depth < 0.0:
        return None
    other = replace(site, start=replace(site.start, depth_m=depth + riser))
    return Planted(other, truth, site, truth, (Slip("riser counted twice", None, None, riser),))


def _gnss_shifted(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    fixes = [
        tie
        for one in site.locates
        for tie in one.ties
        if isinstance(tie, PositionTie) and tie.method == "gnss"
    ]
    others = [one for one in site.locates if any(not isinstance(t, PositionTie) for t in one.ties)]
    if len(fixes) < 4 or len(others) < 2 or max(fix.sd_m for fix in fixes) > 2.1 * FOOT:
        return None
    way = rng.uniform(0.0, 2.0 * np.pi)
    east, north = 4.0 * FOOT * np.sin(way), 4.0 * FOOT * np.cos(way)

    def moved(tie: Tie) -> Tie:
        if not (isinstance(tie, PositionTie) and tie.method == "gnss"):
            return tie
        return replace(tie, easting_m=tie.easting_m + east, northing_m=tie.northing_m + north)

    locates = tuple(replace(one, ties=tuple(map(moved, one.ties))) for one in site.locates)
    slip = Slip("positions shifted together", None, None, 4.0 * FOOT)
    return Planted(replace(site, locates=locates), truth, site, truth, (slip,))


def _curb_drawn_wrong(*, taped: bool) -> Planter:
    def planter(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
        if not taped:
            site = _without_ties_to(site, "curb")
        checked = sum(
            any(isinstance(tie, OffsetTie) and tie.line == "curb" for tie in one.ties)
            for one in site.locates
        )
        line = site.plan.line("curb")
        if len(_tied(site)) < 4 or (taped and checked < 2) or line.sd_m > 2.0 * FOOT:
            return None
        begin, end = line.vertices_m[0], line.vertices_m[-1]
        unit = (end - begin) / np.hypot(*(end - begin))
        size = rng.uniform(3.0, 6.0) * FOOT * _either(rng)
        moved = replace(line, vertices_m=line.vertices_m + size * np.array([unit[1], -unit[0]]))
        lines = tuple(moved if one is line else one for one in site.plan.lines)
        slip = Slip("line mapped elsewhere", ReadingId("line", "curb"), None, size)
        other = replace(site, plan=replace(site.plan, lines=lines))
        return Planted(other, truth, site, truth, (slip,))

    return planter


def _without_ties_to(site: Site, name: str) -> Site:
    def kept(tie: Tie) -> bool:
        return isinstance(tie, PositionTie | TapeTie) or tie.line != name

    locates = tuple(
        replace(one, ties=tuple(tie for tie in one.ties if kept(tie))) for one in site.locates
    )
    return replace(site, locates=locates)


def _point_mapped_wrong(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    taped = [t.point for one in site.locates for t in one.ties if isinstance(t, TapeTie)]
    names = sorted({one for one in taped if taped.count(one) >= 3 and one != site.start.point})
    name = _one_of(rng, names)
    if name is None:
        return None
    size, way = rng.uniform(4.0, 8.0) * FOOT, rng.uniform(0.0, 2.0 * np.pi)
    points = tuple(
        replace(
            one,
            easting_m=one.easting_m + size * np.sin(way),
            northing_m=one.northing_m + size * np.cos(way),
        )
        if one.name == name
        else one
        for one in site.plan.points
    )
    slip = Slip("point mapped elsewhere", ReadingId("point", str(name)), None, size)
    return Planted(
        replace(site, plan=replace(site.plan, points=points)), truth, site, truth, (slip,)
    )


def _start_elsewhere(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    """Move the start mostly across the pipe: moved along it, the counter was not at zero."""
    if len(_tied(site)) < 4:
        return None
    after = truth.at(truth.reading_m[0] + site.start.riser_m + 2.0)[:2] - truth.position_m[0, :2]
    way = np.arctan2(*after) + _either(rng) * rng.uniform(np.pi / 4.0, 3.0 * np.pi / 4.0)
    size = rng.uniform(4.0, 8.0) * FOOT
    start = replace(
        site.start,
        easting_m=float(site.start.easting_m + size * np.sin(way)),
        northing_m=float(site.start.northing_m + size * np.cos(way)),
        point=None,
    )
    slip = Slip("start elsewhere", ReadingId("start position"), 0.0, size)
    return Planted(replace(site, start=start), truth, site, truth, (slip,))


def _azimuth(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    azimuth = site.start.azimuth_deg
    if azimuth is None or len(_tied(site)) < 4:
        return None
    size = float(
        rng.choice([180.0, 90.0, -90.0, rng.uniform(60.0, 180.0), -rng.uniform(60.0, 180.0)])
    )
    other = replace(site, start=replace(site.start, azimuth_deg=(azimuth + size) % 360.0))
    slip = Slip("azimuth", ReadingId("start azimuth"), 0.0, size)
    return Planted(other, truth, site, truth, (slip,))


def _scaled(rng: np.random.Generator, site: Site, truth: Truth) -> Planted:
    scale = 1.0 + 0.03 * _either(rng)
    other, shown = _shown(site, truth, lambda reading: reading * scale)
    start = replace(other.start, riser_m=other.start.riser_m * scale)
    return Planted(replace(other, start=start), shown, site, truth)


def _two(rng: np.random.Generator, site: Site, truth: Truth) -> Planted | None:
    pool = [
        _footage(10.0),
        _depth,
        _tape("tape misread"),
        _bend("other way"),
        _tape("another unit"),
    ]
    first, second = rng.choice(len(pool), 2, replace=False)
    one = pool[first](rng, site, truth)
    two = None if one is None else pool[second](rng, one.site, truth)
    if one is None or two is None:
        return None
    mark = one.slips[0].reading, two.slips[0].reading
    if mark[0] is not None and mark[1] is not None and mark[0].of == mark[1].of:
        return None
    return Planted(two.site, truth, site, truth, (*one.slips, *two.slips))


@dataclass(frozen=True)
class SlipClass:
    """How a class's sites are made; ``world`` goes to ``draw_job``, which then makes them all."""

    planter: Planter
    world: dict[str, float | bool]


def _class(planter: Planter, **world: float | bool) -> SlipClass:
    return SlipClass(planter, world)


CLASSES: dict[str, SlipClass] = {
    "clean": _class(_clean),
    "clean jobs": _class(_clean, wander=1.0),
    "footage 10 ft": _class(_footage(10.0)),
    "footage 3 ft": _class(_footage(3.0)),
    "point lost, no end": _class(_point_lost),
    "depth 3 ft": _class(_depth),
    "depth inches as feet": _class(_depth_in_inches),
    "tape 5 ft": _class(_tape("tape misread")),
    "tape from another point": _class(_tape("tape from another point")),
    "tape in metres": _class(_tape("another unit")),
    "bend the other way": _class(_bend("other way")),
    "45 as 90": _class(_bend("45 as 90")),
    "counter +4 ft": _class(_not_at_zero),
    "counter slipped 5 ft": _class(_slipped),
    "riser left out": _class(_riser_left_out),
    "riser counted twice": _class(_riser_twice),
    "held above left out": _class(_held_above),
    "bend 45 not noted": _class(_bend("45 not noted")),
    "bend 22.5 not noted": _class(_bend("22.5 not noted")),
    "bend misplaced 8 ft": _class(_bend("misplaced")),
    "GNSS shifted 4 ft": _class(_gnss_shifted, wander=1.0),
    "curb drawn wrong, taped": _class(_curb_drawn_wrong(taped=True)),
    "curb drawn wrong, not taped": _class(_curb_drawn_wrong(taped=False)),
    "point mapped wrong": _class(_point_mapped_wrong),
    "start elsewhere": _class(_start_elsewhere),
    "azimuth wrong": _class(_azimuth),
    "two slips": _class(_two),
    "Student t errors": _class(_clean, heavy_tails=True),
    "counter scale 3 %": _class(_scaled),
    "wander twice": _class(_clean, wander=2.0),
}
