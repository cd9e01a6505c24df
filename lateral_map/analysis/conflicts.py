"""Which mapped utilities are in the way of the trench, where, how near, and which is worst?"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.lines import Segments, signed_offsets
from lateral_map.model.route import Route
from lateral_map.model.site import UtilityKind, UtilityLine
from lateral_map.model.space import crossings_between, nearest_on
from lateral_map.model.trench import (
    SD_UTILITY_DEPTH_M,
    ConflictVerdict,
    Passing,
    TrenchProfile,
    UtilityConflict,
    UtilityCrossing,
    UtilityRelation,
)

_STEP_M: Final = 0.05
# Of a plan of many utilities those this near are looked at, and the nearest few.
_NEARBY_M: Final = 30.0
_FEW: Final = 100
# To this what lies between two steps is found.
_CLOSE_M: Final = 1e-8
# Farther from the pipe than this no line meets it.
_TOUCHES_M: Final = 1e-6
_AXIS: Final = ("easting_m", "northing_m", "crown_depth_m", "outside_diameter_m")
_AROUND: Final = np.linspace(-1.0, 1.0, 33)
_VERDICT_RANK: Final[dict[ConflictVerdict, int]] = {
    "crosses the pipe": 0, "within the trench": 0, "hand dig": 1, "hand dig if sloped": 2,
    "clear": 3,
}  # fmt: skip
# Which strike harms worst (common practice, no source).
_HARM: Final[dict[UtilityKind, int]] = {
    "gas": 0, "electric": 1, "oil": 2, "steam": 3, "water": 4, "sewer": 5, "storm": 6,
    "reclaimed": 7, "communication": 8,
}  # fmt: skip
# Below this a line runs along the pipe rather than beside or across it.
_ALONG_DEG: Final = 30.0
_JOINS_WITHIN_M: Final = 1.0
# The pipe's fall at a crossing is taken from this far on either side.
_BESIDE_M: Final = 0.15

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Question:
    """One utility against one trench.

    ``drawn`` and ``segments`` are the mapped line; ``meets`` says whether it touches the pipe.
    """

    route: Route
    profile: TrenchProfile
    line: UtilityLine
    drawn: LineString
    segments: Segments
    meets: bool
    sd_plan_m: float
    tolerance_m: float

    @property
    def half_m(self) -> float:
        """From the mapped line to the utility's own edge."""
        return (self.line.size_m or 0.0) / 2.0


class _Nearest(NamedTuple):
    """How far the pipe's outside wall stays from a line, the way there, and from where.

    ``away_m`` (3,), level where that is asked in plan, leads from the line to the pipe's axis, at
    ``place_m`` in plan.
    """

    clear_m: float
    away_m: Floats
    footage_m: float
    place_m: Floats


def _reaches(trench: TrenchProfile, sd_m: Floats, half_m: Floats, tolerance_m: float) -> Floats:
    """Return (3, ..., k) how far from the pipe's middle a mapped line is in reach, metres.

    Of the trench; of hand work beside it; of hand work beside the wider side of a cut as deep,
    and up ground as steep, as it may be. Of each line the 1 sd in plan and half its width are given
    in a shape that goes with the trench's.
    """
    spread = TWO_SIDED_95 * np.hypot(trench.across_sd_m, sd_m)
    by_hand = half_m + tolerance_m + spread
    half = trench.width_m / 2.0
    return np.stack([half + half_m, half + by_hand, trench.widest_m() + by_hand])


def _find_spans(
    asked: list[_Question], fine: TrenchProfile, away_m: Floats
) -> list[list[tuple[Span, ...]]]:
    """Return, of each question, for each of the reaches, the footages where the utility is in it.

    ``fine`` is the trench every few centimetres, ``away_m`` (questions, k) how far its middle is
    from each mapped line there, in plan. All the spans' edges are closed in on together.
    """
    profile, tolerance = asked[0].profile, asked[0].tolerance_m
    sd, half = np.array([[one.sd_plan_m, one.half_m] for one in asked]).T
    beyond = away_m - _reaches(fine, sd[:, None], half[:, None], tolerance)
    turned = np.diff(np.pad(beyond <= 0.0, ((0, 0), (0, 0), (1, 1))).astype(int), axis=-1)
    reach, which, edge = np.nonzero(turned)
    # Between two stations, one within reach and one not, the edge is closed in on.
    before, after = np.maximum(edge - 1, 0), np.minimum(edge, len(fine.footage_m) - 1)
    before[1::2], after[1::2] = after[1::2], before[1::2].copy()
    out, into = fine.footage_m[before], fine.footage_m[after]
    too_far, to_spare = beyond[reach, which, before], -beyond[reach, which, after]
    lines, own = np.array([one.drawn for one in asked])[which], np.arange(len(edge))
    sd, half = sd[which], half[which]
    # The Illinois rule (from memory): where the straight line between the ends says, the end that
    # stays a second time counted by half, so that both close in; never nearer to an end than it is
    # wanted, so that the last step leaves the edge between two places as near as that.
    stayed = np.zeros(len(edge), int)
    while (open_m := np.abs(into - out)).max(initial=0.0) > _CLOSE_M:
        least = np.minimum(_CLOSE_M / 2.0 / np.maximum(open_m, _CLOSE_M), 0.5)
        share = too_far / np.maximum(too_far + to_spare, 1e-300)
        tried = out + (into - out) * np.minimum(np.maximum(share, least), 1.0 - least)
        trench = profile.at(tried)
        away = shapely.distance(shapely.points(trench.place_m), lines)
        found = (away - _reaches(trench, sd, half, tolerance))[reach, own]
        near = found <= 0.0
        too_far = np.where(near, np.where(stayed == 1, too_far / 2.0, too_far), found)
        to_spare = np.where(near, -found, np.where(stayed == -1, to_spare / 2.0, to_spare))
        stayed = np.where(near, 1, -1)
        out, into = np.where(near, out, tried), np.where(near, tried, into)
    begins, ends = into[::2].tolist(), into[1::2].tolist()
    spans: list[list[tuple[Span, ...]]] = [[(), (), ()] for _ in asked]
    for kind, one, begin, end in zip(reach[::2], which[::2], begins, ends, strict=True):
        spans[one][kind] += ((begin, end),)
    return spans


class _Lines:
    """Lines through (m, 2 or 3) vertices, those of one shape asked of together."""

    def __init__(self, lines: list[Floats]) -> None:
        alike: dict[tuple[int, ...], list[int]] = {}
        for index, line in enumerate(lines):
            alike.setdefault(line.shape, []).append(index)
        self._groups = [
            (which, np.array([lines[one] for one in which])) for which in alike.values()
        ]

    def ways_to(self, places_m: Floats) -> Floats:
        """Return the ways (lines, k, 3) from each line to its own places, 0 up on a line in plan.

        ``places_m`` are (lines, k, 3), or (1, k, 3) of all.
        """
        count = sum(len(which) for which, _ in self._groups)
        places = np.broadcast_to(places_m, (count, *places_m.shape[1:]))
        ways = np.zeros(places.shape)
        for which, group in self._groups:
            at = places[which, :, : group.shape[-1]]
            ways[which, :, : group.shape[-1]] = at - nearest_on(group, at)
        return ways


def _axis(columns: Floats) -> Floats:
    """Return the pipe's axis (..., 3) from easting, northing, its crown's depth and its size."""
    east, north, crown, size = columns
    return np.stack([east, north, -crown - size / 2.0], axis=-1)


def _nearest_walls(
    profile: TrenchProfile, footage_m: Floats, columns: Floats, lines: _Lines, ways: Floats
) -> list[_Nearest]:
    """Return where the pipe's outside wall is nearest to lines.

    ``columns`` are those of ``_axis`` every few centimetres, ``ways`` (lines, k, 3) to there.
    Heights are below the ground, as both depths are read. Where the pipe changes its size, what is
    nearest to its axis need not be nearest to its wall: the footage is closed in on, every line's
    at once.
    """
    own, first, last = np.arange(len(ways)), footage_m[0], footage_m[-1]
    footage = np.broadcast_to(footage_m, ways.shape[:2])
    columns = np.broadcast_to(columns[:, None], (4, *footage.shape))
    reach, same = np.diff(footage_m).max(), 1e-6
    while True:
        gap = np.sqrt(np.square(ways).sum(axis=-1)) - columns[3] / 2.0
        # Of a line that runs along the pipe the first place, not the last digit's.
        best = np.argmax(gap <= gap.min(axis=1, keepdims=True) + same, axis=1)
        if reach <= _CLOSE_M:
            return [
                _Nearest(
                    clear_m=max(float(gap[one, i]), 0.0),
                    away_m=ways[one, i],
                    footage_m=float(footage[one, i]),
                    place_m=columns[:2, one, i],
                )
                for one, i in enumerate(best)
            ]
        footage = np.clip(footage[own, best, None] + reach * _AROUND, first, last)
        reach, same = reach * (_AROUND[1] - _AROUND[0]), 1e-12
        columns = profile.columns_at(footage.ravel(), *_AXIS).reshape(4, *footage.shape)
        ways = lines.ways_to(_axis(columns))


def find_conflicts(
    route: Route, profile: TrenchProfile, tolerance_m: float
) -> tuple[UtilityConflict, ...]:
    """Return every mapped utility against the pipe, its trench and the tolerance.

    Of more than 100 mapped only those within 30 m of the run, and the nearest 100.

    ``tolerance_m`` is the width each side of a utility within which earth is moved by hand. Worst
    first: what lies in the trench, along it as well as across; what a bound brings into it; what is
    dug round by hand. Of equals one of unknown depth, then the one that harms worst, then the one
    nearest to the start. The main that the lateral ends at comes after all that it is no danger to.
    """
    if not route.site.plan.utilities:
        return ()
    count = max(int(np.ptp(profile.footage_m) / _STEP_M), 1) + 1
    steps = np.linspace(profile.footage_m[0], profile.footage_m[-1], count)
    fine = profile.at(np.union1d(steps, profile.footage_m))
    asked = _ask(route, profile, tolerance_m)
    met = [_meetings(one) for one in asked]
    # In plan; and in space, where nothing crosses, to the utility's axis, without a size its top.
    in_space = {
        index: np.insert(one.line.vertices_m, 2, -one.line.depth_m - one.half_m, axis=1)
        for index, one in enumerate(asked)
        if one.line.depth_m is not None and not met[index]
    }
    lines = _Lines([*(one.line.vertices_m for one in asked), *in_space.values()])
    columns = np.array([getattr(fine, name) for name in _AXIS])
    ways = lines.ways_to(_axis(columns)[None])
    nearest = _nearest_walls(profile, fine.footage_m, columns, lines, ways)
    spatial = dict(zip(in_space, nearest[len(asked) :], strict=True))
    away = np.hypot(ways[: len(asked), :, 0], ways[: len(asked), :, 1])
    beside, spans = (away - fine.width_m / 2.0).min(axis=1), _find_spans(asked, fine, away)
    # The pipe's covariances in plan at every place that is asked of, at once.
    places = [*(one.footage_m for one in nearest), *itertools.chain.from_iterable(met)]
    plans = dict(zip(places, route.plan_covariance(places), strict=True))
    found = []
    for index, one in enumerate(asked):
        crossings = tuple(_crossing(one, footage, plans[footage]) for footage in met[index])
        near = nearest[index], spatial.get(index)
        found.append(_against(one, crossings, near, spans[index], float(beside[index]), plans))
    return tuple(
        sorted(
            found,
            key=lambda one: (
                one.joins,
                not one.in_trench,
                _VERDICT_RANK[one.verdict],
                one.depth_known,
                _HARM[one.utility],
                one.from_m,
            ),
        )
    )


def _ask(route: Route, profile: TrenchProfile, tolerance_m: float) -> list[_Question]:
    """Return the utilities to look at: those that come near the run; of few, all."""
    lines = route.site.plan.utilities
    drawn = [LineString(line.vertices_m) for line in lines]
    away_m = shapely.distance(LineString(profile.place_m), drawn)
    near = np.union1d(np.flatnonzero(away_m <= _NEARBY_M), np.argsort(away_m, kind="stable")[:_FEW])
    return [
        _Question(
            route=route,
            profile=profile,
            line=lines[index],
            drawn=drawn[index],
            segments=Segments(lines[index].vertices_m),
            meets=bool(away_m[index] <= _TOUCHES_M),
            sd_plan_m=(
                route.site.accuracy.mapped_line_m
                if lines[index].sd_m is None
                else lines[index].sd_m
            ),
            tolerance_m=tolerance_m,
        )
        for index in near
    ]


def _meetings(asked: _Question) -> list[float]:
    """Return the footages where a mapped line crosses the pipe."""
    if not asked.meets:
        return []
    profile = asked.profile
    met = crossings_between(profile.place_m, asked.line.vertices_m)
    pieces = met[:, 0].astype(int)
    step = np.diff(profile.footage_m)[pieces]
    return list((profile.footage_m[pieces] + met[:, 1] * step).tolist())


def _against(
    asked: _Question,
    crossings: tuple[UtilityCrossing, ...],
    near: tuple[_Nearest, _Nearest | None],
    spans: list[tuple[Span, ...]],
    beside_m: float,
    plans: dict[float, Floats],
) -> UtilityConflict:
    """Return one utility's answer; ``near`` is in plan, and in space where that is asked.

    ``beside_m`` is from the trench's side to the line, ``plans`` are the pipe's covariances there.
    """
    line, profile, (nearest, in_space) = asked.line, asked.profile, near
    # The 1 sd of the plan distance: the pipe's and the map's along the line between.
    away, plan = nearest.away_m[:2], plans[nearest.footage_m]
    gap = float(np.hypot(*away))
    unit = away / gap if gap > 1e-9 else signed_offsets(asked.segments, nearest.place_m).normal
    aside = (
        max(nearest.clear_m - asked.half_m, 0.0),
        float(np.sqrt(unit @ plan @ unit + asked.sd_plan_m**2)),
    )
    inside, hand, hand_sloped = spans
    relation, span = _relation(asked, crossings, inside or hand, nearest)
    clearance, sd_clearance = _clearance(asked, crossings, aside, in_space, plans)
    # Within the trench's width, and perhaps above its bottom.
    in_trench, depth = bool(inside), line.depth_m
    if depth is not None and inside:
        deepest = max(profile.between(*each).depth_at_bound(1.0).max() for each in inside)
        in_trench = bool(depth - TWO_SIDED_95 * SD_UTILITY_DEPTH_M <= deepest)
    holds: dict[ConflictVerdict, object] = {
        "crosses the pipe": crossings, "within the trench": inside, "hand dig": hand,
        "hand dig if sloped": hand_sloped, "clear": True,
    }  # fmt: skip
    return UtilityConflict(
        name=line.name,
        utility=line.utility,
        verdict=next(verdict for verdict, so in holds.items() if so),
        crossings=crossings,
        nearest_footage_m=nearest.footage_m,
        aside_m=aside[0],
        sd_aside_m=aside[1],
        side_m=max(beside_m - asked.half_m, 0.0),
        size_m=line.size_m,
        hand_dig_m=hand,
        hand_dig_sloped_m=hand_sloped,
        depth_m=line.depth_m,
        sd_plan_m=asked.sd_plan_m,
        sd_assumed=line.sd_m is None,
        source=line.source,
        joins=line.utility == "sewer" and _ends_at(asked),
        mapped_m=line.vertices_m,
        tolerance_m=asked.tolerance_m,
        relation=relation,
        from_m=span[0],
        to_m=span[1],
        in_trench=in_trench,
        clearance_m=clearance,
        sd_clearance_m=sd_clearance,
    )


def _ends_at(asked: _Question) -> bool:
    """Say whether the run ends at a mapped line, as far as its end is known."""
    profile = asked.profile
    from_end = float(asked.drawn.distance(Point(profile.place_m[-1])))
    spread = TWO_SIDED_95 * float(profile.across_sd_m[-1])
    return asked.route.site.run.reached_main and from_end <= _JOINS_WITHIN_M + spread


def _relation(
    asked: _Question,
    crossings: tuple[UtilityCrossing, ...],
    spans: tuple[Span, ...],
    nearest: _Nearest,
) -> tuple[UtilityRelation, Span]:
    """Say how the utility lies to the pipe, and from where to where along it."""
    if crossings:
        footages = [one.footage_m for one in crossings]
        return "crosses", (min(footages), max(footages))
    if not spans:
        return "beside", (nearest.footage_m, nearest.footage_m)
    sine, _ = _meets(asked, nearest.footage_m, nearest.place_m - nearest.away_m[:2])
    along = sine <= np.sin(np.radians(_ALONG_DEG))
    return ("along" if along else "beside"), (spans[0][0], spans[-1][1])


def _clearance(
    asked: _Question,
    crossings: tuple[UtilityCrossing, ...],
    aside: tuple[float, float],
    in_space: _Nearest | None,
    plans: dict[float, Floats],
) -> tuple[float, float] | tuple[None, None]:
    """Return the one clearance every output gives, with its 1 sd.

    At a crossing the least vertical one; elsewhere that in space, to the top of a utility without a
    size, in plan where no depth is known.
    """
    if asked.line.depth_m is None:
        return (None, None) if crossings else aside
    if in_space is None:
        known = [
            (one.clearance_m, one.sd_clearance_m)
            for one in crossings
            if one.clearance_m is not None and one.sd_clearance_m is not None
        ]
        return min(known)
    away, at_m = in_space.away_m, in_space.footage_m
    sd_depth = float(asked.profile.columns_at(at_m, "sd_depth_m")[0, 0])
    unit = away / max(float(np.sqrt(away @ away)), 1e-9)
    plan = plans[at_m]
    variance = (
        unit[:2] @ plan @ unit[:2]
        + asked.sd_plan_m**2 * float(unit[:2] @ unit[:2])
        + (sd_depth**2 + SD_UTILITY_DEPTH_M**2) * unit[2] ** 2
    )
    return max(in_space.clear_m - asked.half_m, 0.0), float(np.sqrt(variance))


def _meets(asked: _Question, footage_m: float, place_m: Floats) -> tuple[float, Floats]:
    """Return the sine of the angle between pipe and utility, and the utility's direction."""
    tangent = signed_offsets(asked.segments, place_m).tangent
    ahead = asked.route.directions(footage_m)[0, :2]
    turn = abs(float(ahead[0] * tangent[1] - ahead[1] * tangent[0]))
    return min(turn / max(float(np.hypot(*ahead)), 1e-9), 1.0), tangent


def _crossing(asked: _Question, footage: float, plan: Floats) -> UtilityCrossing:
    """Return one crossing; its vertical clearance is as loose as its place along the fall.

    ``plan`` is the pipe's covariance there.
    """
    at = asked.profile.at([footage, footage - _BESIDE_M, footage + _BESIDE_M])
    sine, tangent = _meets(asked, footage, at.place_m[0])
    normal = np.array([tangent[1], -tangent[0]])
    sd_footage = float(np.sqrt(normal @ plan @ normal + asked.sd_plan_m**2)) / max(sine, 1e-3)
    fall = float(at.crown_depth_m[2] - at.crown_depth_m[1])
    rate = fall / max(float(at.footage_m[2] - at.footage_m[1]), _BESIDE_M)
    passing: Passing = "depth unknown"
    clear, depth, under = None, asked.line.depth_m, None
    if depth is not None:
        over = depth + (asked.line.size_m or 0.0)
        under = depth - float(at.bottom_depth_m[0])
        crown = float(at.crown_depth_m[0])
        below = crown + float(at.outside_diameter_m[0])
        passing = "above" if over < crown else "at the pipe's own depth"
        if depth > below:
            passing = "below" if under > 0.0 else "in the bedding"
        clear = max(crown - over, depth - below, 0.0)
    parts = [float(at.sd_depth_m[0]), SD_UTILITY_DEPTH_M, rate * sd_footage]
    return UtilityCrossing(
        footage_m=footage,
        sd_footage_m=sd_footage,
        easting_m=float(at.easting_m[0]),
        northing_m=float(at.northing_m[0]),
        angle_deg=float(np.degrees(np.arcsin(sine))),
        passing=passing,
        clearance_m=clear,
        sd_clearance_m=None if clear is None else float(np.sqrt(np.sum(np.square(parts)))),
        under_m=under,
    )
