"""Places the camera cannot have been: farther apart on the ground than the footage between them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lateral_map.adjust.transmitter import sd_mark_m
from lateral_map.errors import Either, Fault, Key, Told
from lateral_map.model.arrays import Floats
from lateral_map.model.site import AlongTie, Locate, OffsetTie, PositionTie, Site, TapeTie
from lateral_map.units import format_length

# A false alarm here would stop the drawing, so only what no luck explains counts.
_SURE = 5.0
# A tape crossing at a narrow angle fixes a point badly along one direction; this is the worst
# stretch of the tapes' own error that is still called a fix.
_NARROWEST = 0.25
_START = "the start"


@dataclass(frozen=True, slots=True)
class Fix:
    """A place fixed by ties alone: (k, 2) points it may be at and the 1 sd (k,) of each, metres."""

    name: str
    row: int | None
    file: str
    footage_m: float
    points_m: Floats
    sd_m: Floats


@dataclass(frozen=True, slots=True)
class _Clash:
    """Two fixes farther apart on the ground than the footage between them, metres."""

    fixes: tuple[Fix, Fix]
    apart_m: float
    between_m: float


def find_impossible(site: Site) -> tuple[Fault, ...]:
    """Return a fault for every place farther from others than their footage allows.

    The start counts as a fix. A pair is impossible where every place its ties allow is farther
    apart than the footage by more than 5 sd of everything that could explain it. Of a place in
    several impossible pairs one fault is made: it, not the places it is far from, is likely wrong.
    """
    start = site.start
    mapped = 0.0 if start.point is None else site.plan.point(start.point).sd_m
    place = np.array([[start.easting_m, start.northing_m]])
    sd_start = np.array([float(np.hypot(start.sd_m, mapped))])
    expected = site.expected_depths_m
    fixes = [
        Fix(_START, None, "site.toml", site.counter.zero_m, place, sd_start),
        *filter(None, (fix_by_ties(site, one, expected[one.mark]) for one in site.used_locates())),
    ]
    left = [clash for pair in _far_apart(site, fixes) if (clash := _clash(site, *pair))]
    faults = []
    while left:
        # The fix in most clashes; among equals the one farthest along, never the start.
        wrong = max(
            reversed(fixes),
            key=lambda one: sum(one is fix for clash in left for fix in clash.fixes),
        )
        own = [clash for clash in left if any(fix is wrong for fix in clash.fixes)]
        left = [clash for clash in left if all(fix is not wrong for fix in clash.fixes)]
        # Told of the clash with the nearest along the pipe; the others are named beside it.
        nearest = min(own, key=lambda clash: clash.between_m)
        ground = format_length(nearest.apart_m, site.unit)
        pipe = format_length(nearest.between_m, site.unit)
        others = [
            fix.name
            for clash in own
            if clash is not nearest
            for fix in clash.fixes
            if fix is not wrong
        ]
        listed = " and ".join(filter(None, [", ".join(others[:-1]), *others[-1:]]))
        also = f"; {wrong.name} is too far from {listed} as well" if others else ""
        from_start = wrong.name == _START
        both = Told(
            f"check both footages and the ties of {wrong.name}, or set the wrong row aside",
            Either(" (use = no)", ""),
        )
        faults.append(
            Fault(
                f"{nearest.fixes[0].name} and {nearest.fixes[1].name} are {ground} apart on the "
                f"ground, but the counter says only {pipe} of pipe between them{also}",
                Told("check the start's place and ", Key("zero", "counter"))
                if from_start
                else both,
                file=wrong.file,
                row=wrong.row,
                field="start" if from_start else "footage",
            )
        )
    return tuple(faults)


def _far_apart(site: Site, fixes: list[Fix]) -> Iterator[tuple[Fix, Fix]]:
    """Yield the pairs all of whose places are too far apart though all were known exactly."""
    count = np.array([len(fix.points_m) for fix in fixes])
    place = np.concatenate([fix.points_m for fix in fixes])
    footage = np.repeat([fix.footage_m for fix in fixes], count)
    from_start = (np.arange(len(place)) < count[0])[:, None]
    apart = np.hypot(*(place[:, None] - place).T)
    between = np.maximum(np.abs(footage[:, None] - footage) - site.start.riser_m * from_start, 0.0)
    far = between + _SURE * np.sqrt(_footage_variance(site, between, from_start)) < apart
    for axis in (0, 1):
        far = np.logical_and.reduceat(far, np.cumsum(count) - count, axis=axis)
    for one, other in np.argwhere(np.triu(far, 1)):
        yield fixes[one], fixes[other]


def _footage_variance(site: Site, between_m: Floats, from_start: NDArray[np.bool_]) -> Floats:
    """Return the variance (m²) of the footage between two places, as the counter shows it."""
    counter = site.counter
    scale = np.square(counter.sd_scale * between_m)
    return np.asarray(scale + 2.0 * counter.sd_reading_m**2 + counter.sd_zero_m**2 * from_start)


def _clash(site: Site, first: Fix, second: Fix) -> _Clash | None:
    gap = first.points_m[:, None, :] - second.points_m[None, :, :]
    apart = np.hypot(gap[..., 0], gap[..., 1])
    from_start = first.name == _START
    between = abs(second.footage_m - first.footage_m)
    between = max(between - site.start.riser_m * from_start, 0.0)
    slack = _SURE * np.sqrt(
        np.square(first.sd_m)[:, None]
        + np.square(second.sd_m)[None, :]
        + _footage_variance(site, np.array(between), np.array(from_start))
    )
    if not (apart > between + slack).all():
        return None
    return _Clash((first, second), float(apart.flat[int(np.argmin(apart - slack))]), between)


def fix_by_ties(site: Site, locate: Locate, expected_m: float) -> Fix | None:
    """Return where a locate's own ties put its mark, None where they do not fix it by themselves.

    ``expected_m`` is the transmitter's expected depth there (``model.expected``).
    Two tapes give two points. Where ties disagree all their places are kept: which of them is
    wrong is for the screening to say.
    """
    found = [
        (np.array([tie.easting_m, tie.northing_m]), tie.sd_m)
        for tie in locate.ties
        if isinstance(tie, PositionTie)
    ]
    along = {tie.line: tie for tie in locate.ties if isinstance(tie, AlongTie)}
    offset = {tie.line: tie for tie in locate.ties if isinstance(tie, OffsetTie)}
    for name in [one for one in along if one in offset]:
        line = site.plan.line(name)
        step = np.diff(line.vertices_m, axis=0)
        length = np.hypot(step[:, 0], step[:, 1])
        starts = np.concatenate([[0.0], np.cumsum(length)[:-1]])
        along_m, offset_m = along[name].along_m, offset[name].offset_m
        segment = max(int(np.searchsorted(starts, along_m, side="right")) - 1, 0)
        unit = step[segment] / length[segment]
        right = np.array([unit[1], -unit[0]])
        point = line.vertices_m[segment] + unit * (along_m - starts[segment]) + right * offset_m
        found.append((point, float(np.hypot(offset[name].sd_m, line.sd_m))))
    tapes = [tie for tie in locate.ties if isinstance(tie, TapeTie)]
    for pair in itertools.combinations(tapes, 2):
        found += _cross_tapes(site, *pair)
    if not found:
        return None
    return Fix(
        name=f"locate {locate.mark}",
        row=locate.place.row,
        file=locate.place.file,
        # The transmitter rides the same distance behind the lens everywhere, so differences hold.
        footage_m=locate.footage_m - site.transmitter.behind_lens_m,
        points_m=np.array([point for point, _ in found]),
        sd_m=np.hypot([sd for _, sd in found], sd_mark_m(site, locate, expected_m)),
    )


def _cross_tapes(site: Site, first: TapeTie, second: TapeTie) -> list[tuple[Floats, float]]:
    a, b = site.plan.point(first.point), site.plan.point(second.point)
    origin = np.array([a.easting_m, a.northing_m])
    base = np.array([b.easting_m, b.northing_m]) - origin
    length = float(np.hypot(*base))
    if length == 0.0 or not first.distance_m or not second.distance_m:
        return []
    ahead = (first.distance_m**2 - second.distance_m**2 + length**2) / (2.0 * length)
    square = first.distance_m**2 - ahead**2
    sine = np.sqrt(max(square, 0.0)) * length / (first.distance_m * second.distance_m)
    if sine < _NARROWEST:
        return []
    unit = base / length
    aside = np.sqrt(square) * np.array([-unit[1], unit[0]])
    sd = float(np.sqrt(first.sd_m**2 + second.sd_m**2 + a.sd_m**2 + b.sd_m**2) / sine)
    foot = origin + unit * ahead
    return [(foot + aside, sd), (foot - aside, sd)]
