"""Which mapped utilities are in the way of the trench, where, how near, and which is worst?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, Literal, cast

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.lines import signed_offsets
from lateral_map.model.route import Route
from lateral_map.model.site import Site, UtilityKind, UtilityLine
from lateral_map.model.space import Nearest, crossings_between, nearest_between
from lateral_map.model.trench import (
    Area,
    ConflictVerdict,
    Passing,
    TrenchProfile,
    UtilityConflict,
    UtilityCrossing,
    UtilityRelation,
)

# Electromagnetic tracing by a locating contractor: +-0.60 m in depth, taken as 95 % (published by
# a locating contractor). A depth off a record drawing is hardly better.
SD_UTILITY_DEPTH_M: Final = 0.30
_STEP_M: Final = 0.05
_VERDICT_RANK: Final[dict[ConflictVerdict, int]] = {
    "crosses the pipe": 0, "within the trench": 0, "hand dig": 1, "hand dig if sloped": 2,
    "clear": 3,
}  # fmt: skip
# Which strike harms worst (common practice, no source).
_HARM: Final[dict[UtilityKind, int]] = {
    "gas": 0, "electric": 1, "water": 2, "sewer": 3, "reclaimed": 4, "communication": 5,
}  # fmt: skip
# Below this a line runs along the pipe rather than beside or across it.
_ALONG_DEG: Final = 30.0
_JOINS_WITHIN_M: Final = 1.0
_SD_ASSUMED: Final = "no accuracy given: taken as that of any mapped line"


@dataclass(frozen=True, slots=True)
class _Question:
    """One utility against one trench."""

    route: Route
    profile: TrenchProfile
    line: UtilityLine
    sd_plan_m: float
    tolerance_m: float


def find_conflicts(
    route: Route, profile: TrenchProfile, tolerance_m: float
) -> tuple[UtilityConflict, ...]:
    """Return every mapped utility against the pipe, its trench and the tolerance.

    ``tolerance_m`` is the width each side of a utility within which earth is moved by hand. Worst
    first: what lies in the trench, along it as well as across; what a bound brings into it; what is
    dug round by hand. Of equals one of unknown depth, then the one that harms worst, then the one
    nearest to the start. The main that the lateral ends at comes after all that it is no danger to.
    """
    found = [_against(one) for one in _questions(route, profile, tolerance_m)]
    return tuple(sorted(found, key=_rank))


def _rank(one: UtilityConflict) -> tuple[bool, bool, int, bool, int, float]:
    return (
        one.joins,
        not one.in_trench,
        _VERDICT_RANK[one.verdict],
        one.depth_known,
        _HARM[one.utility],
        one.from_m,
    )


def _questions(route: Route, profile: TrenchProfile, tolerance_m: float) -> Iterator[_Question]:
    for line in route.site.plan.utilities:
        sd = route.site.accuracy.mapped_line_m if line.sd_m is None else line.sd_m
        yield _Question(route, profile, line, sd, tolerance_m)


def _against(asked: _Question) -> UtilityConflict:
    line, profile = asked.line, asked.profile
    crossings = _crossings(asked)
    near = nearest_between(profile.place_m, line.vertices_m)
    at = _profile_at(profile, near)
    clear = max(near.distance_m - float(at.outside_diameter_m[0]) / 2.0, 0.0)
    spread = TWO_SIDED_95 * _sd_apart(asked, near, float(at.footage_m[0]))
    hand, hand_sloped = _hand_dig(asked, "width_m"), _hand_dig(asked, "top_width_m")
    space, sd_space = _in_space(asked)
    space_low = None if space is None else max(space - TWO_SIDED_95 * sd_space, 0.0)
    in_plan = _within_width(asked)
    relation, span = _relation(crossings, in_plan or hand, float(at.footage_m[0]), asked, near)
    clearance, sd_clearance = _clearance(crossings, (space, sd_space), (clear, spread))
    return UtilityConflict(
        name=line.name,
        utility=line.utility,
        verdict=_verdict(
            bool(crossings), near.distance_m, float(at.width_m[0]), hand, sloped=bool(hand_sloped)
        ),
        crossings=crossings,
        plan_clearance_m=clear,
        plan_clearance_low_m=max(clear - spread, 0.0),
        plan_clearance_high_m=clear + spread,
        space_clearance_m=space,
        space_clearance_low_m=space_low,
        nearest_footage_m=float(at.footage_m[0]),
        hand_dig_m=hand,
        hand_dig_sloped_m=hand_sloped,
        depth_m=line.depth_m,
        sd_plan_m=asked.sd_plan_m,
        sd_source=_SD_ASSUMED if line.sd_m is None else "as mapped",
        source=line.source,
        joins=_joins(asked.route.site, profile, line),
        zone=_zone(asked),
        relation=relation,
        from_m=span[0],
        to_m=span[1],
        in_trench=bool(in_plan) and _as_shallow_as_trench(asked, in_plan),
        clearance_m=clearance,
        sd_clearance_m=sd_clearance,
    )


def _within_width(asked: _Question) -> tuple[tuple[float, float], ...]:
    """Return the footages where the mapped line lies within the trench's width."""
    return _spans(asked, lambda many: many.width_m / 2.0)


def _as_shallow_as_trench(asked: _Question, spans: tuple[tuple[float, float], ...]) -> bool:
    """Say whether the utility may lie above the trench's bottom; one of unknown depth may."""
    depth = asked.line.depth_m
    if depth is None:
        return True
    deepest = max(
        float((part.bottom_depth_m + TWO_SIDED_95 * part.sd_depth_m).max())
        for part in (asked.profile.between(*span) for span in spans)
    )
    return depth - TWO_SIDED_95 * SD_UTILITY_DEPTH_M <= deepest


def _relation(
    crossings: tuple[UtilityCrossing, ...],
    spans: tuple[tuple[float, float], ...],
    nearest_m: float,
    asked: _Question,
    near: Nearest,
) -> tuple[UtilityRelation, tuple[float, float]]:
    """Say how the utility lies to the pipe, and from where to where along it."""
    if crossings:
        footages = [one.footage_m for one in crossings]
        return "crosses", (min(footages), max(footages))
    span = (spans[0][0], spans[-1][1]) if spans else (nearest_m, nearest_m)
    ahead = asked.route.directions(nearest_m)[0, :2]
    tangent = signed_offsets(asked.line.vertices_m, near.second_m[:2]).tangent
    sine = abs(float(ahead[0] * tangent[1] - ahead[1] * tangent[0])) / max(np.hypot(*ahead), 1e-9)
    along = bool(spans) and sine <= np.sin(np.radians(_ALONG_DEG))
    return ("along" if along else "beside"), span


def _clearance(
    crossings: tuple[UtilityCrossing, ...],
    space: tuple[float | None, float],
    plan: tuple[float, float],
) -> tuple[float | None, float | None]:
    """Return the one clearance every output gives, with its 1 sd."""
    if crossings:
        known = [one for one in crossings if one.clearance_m is not None]
        if not known:
            return None, None
        least = min(known, key=lambda one: one.clearance_m or 0.0)
        high, low = least.clearance_high_m or 0.0, least.clearance_low_m or 0.0
        return least.clearance_m, (high - low) / (2.0 * TWO_SIDED_95)
    if space[0] is not None:
        return space
    return plan[0], plan[1] / TWO_SIDED_95


def _verdict(
    crosses: bool,
    distance_m: float,
    width_m: float,
    hand: tuple[tuple[float, float], ...],
    *,
    sloped: bool,
) -> ConflictVerdict:
    if crosses:
        return "crosses the pipe"
    if distance_m <= width_m / 2.0:
        return "within the trench"
    if hand:
        return "hand dig"
    return "hand dig if sloped" if sloped else "clear"


def _zone(asked: _Question) -> Area:
    """Return the tolerance zone about the mapped line, widened by its mapped 95 %."""
    reach = asked.tolerance_m + TWO_SIDED_95 * asked.sd_plan_m
    return cast("Area", LineString(asked.line.vertices_m).buffer(reach))


def _joins(site: Site, profile: TrenchProfile, line: UtilityLine) -> bool:
    """Say whether the utility is the main the lateral ends at."""
    if line.utility != "sewer" or not site.run.reached_main:
        return False
    end = Point(profile.place_m[-1])
    spread = TWO_SIDED_95 * float(profile.across_sd_m[-1])
    return float(LineString(line.vertices_m).distance(end)) <= _JOINS_WITHIN_M + spread


def _profile_at(profile: TrenchProfile, near: Nearest) -> TrenchProfile:
    begin, end = profile.footage_m[[near.piece, near.piece + 1]]
    return profile.at(begin + near.share * (end - begin))


def _sd_apart(asked: _Question, near: Nearest, footage_m: float) -> float:
    """Return the 1 sd of the plan distance: the pipe's and the map's along the line between."""
    away = near.first_m[:2] - near.second_m[:2]
    gap = float(np.hypot(*away))
    if gap > 1e-9:
        unit = away / gap
    else:
        unit = signed_offsets(asked.line.vertices_m, near.first_m[:2]).normal
    plan = asked.route.position_covariance(footage_m)[0, :2, :2]
    return float(np.sqrt(unit @ plan @ unit + asked.sd_plan_m**2))


def _in_space(asked: _Question) -> tuple[float | None, float]:
    """Return the clearance in space to the utility's top and its 1 sd.

    Heights are taken below the ground, as both depths are read.
    """
    if asked.line.depth_m is None:
        return None, 0.0
    profile = asked.profile
    axis = profile.crown_depth_m + profile.outside_diameter_m / 2.0
    depth = np.full(len(asked.line.vertices_m), asked.line.depth_m)
    near = nearest_between(
        np.column_stack([profile.place_m, -axis]),
        np.column_stack([asked.line.vertices_m, -depth]),
    )
    at = _profile_at(profile, near)
    clear = max(near.distance_m - float(at.outside_diameter_m[0]) / 2.0, 0.0)
    unit = (near.first_m - near.second_m) / max(near.distance_m, 1e-9)
    plan = asked.route.position_covariance(float(at.footage_m[0]))[0, :2, :2]
    variance = (
        unit[:2] @ plan @ unit[:2]
        + asked.sd_plan_m**2 * float(unit[:2] @ unit[:2])
        + (float(at.sd_depth_m[0]) ** 2 + SD_UTILITY_DEPTH_M**2) * unit[2] ** 2
    )
    return clear, float(np.sqrt(variance))


def _hand_dig(
    asked: _Question, width: Literal["width_m", "top_width_m"]
) -> tuple[tuple[float, float], ...]:
    """Return the footages where a cut so wide comes within the tolerance of the utility at 95 %."""
    return _spans(
        asked,
        lambda many: (
            getattr(many, width) / 2.0
            + asked.tolerance_m
            + TWO_SIDED_95 * np.hypot(many.across_sd_m, asked.sd_plan_m)
        ),
    )


def _spans(
    asked: _Question, reach_m: Callable[[TrenchProfile], Floats]
) -> tuple[tuple[float, float], ...]:
    """Return the footages where the utility lies within a reach of the pipe's middle, in plan."""
    footage = asked.profile.footage_m
    count = max(int(np.ptp(footage) / _STEP_M), 1) + 1
    many = asked.profile.at(np.union1d(np.linspace(footage[0], footage[-1], count), footage))
    away = shapely.distance(shapely.points(many.place_m), LineString(asked.line.vertices_m))
    within = away <= reach_m(many)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], within, [False]]).astype(int)))
    return tuple(
        (float(many.footage_m[begin]), float(many.footage_m[end - 1]))
        for begin, end in edges.reshape(-1, 2)
    )


def _crossings(asked: _Question) -> tuple[UtilityCrossing, ...]:
    profile = asked.profile
    met = crossings_between(profile.place_m, asked.line.vertices_m)
    pieces = met[:, 0].astype(int)
    step = np.diff(profile.footage_m)
    footages = profile.footage_m[pieces] + met[:, 1] * step[pieces]
    return tuple(_crossing(asked, float(footage)) for footage in footages)


def _crossing(asked: _Question, footage: float) -> UtilityCrossing:
    route, profile, line = asked.route, asked.profile, asked.line
    at = profile.at(footage)
    tangent = signed_offsets(line.vertices_m, at.place_m[0]).tangent
    ahead = route.directions(footage)[0, :2]
    sine = abs(float(ahead[0] * tangent[1] - ahead[1] * tangent[0])) / max(np.hypot(*ahead), 1e-9)
    normal = np.array([tangent[1], -tangent[0]])
    plan = route.position_covariance(footage)[0, :2, :2]
    sd_footage = float(np.sqrt(normal @ plan @ normal + asked.sd_plan_m**2)) / max(sine, 1e-3)
    passing, clear = _vertical(at, line.depth_m)
    sd = _sd_vertical(profile, at, footage, sd_footage)
    return UtilityCrossing(
        footage_m=footage,
        sd_footage_m=sd_footage,
        easting_m=float(at.easting_m[0]),
        northing_m=float(at.northing_m[0]),
        angle_deg=float(np.degrees(np.arcsin(min(sine, 1.0)))),
        passing=passing,
        clearance_m=clear,
        clearance_low_m=None if clear is None else clear - TWO_SIDED_95 * sd,
        clearance_high_m=None if clear is None else clear + TWO_SIDED_95 * sd,
    )


def _vertical(at: TrenchProfile, depth_m: float | None) -> tuple[Passing, float | None]:
    """Say how the utility's top passes the pipe, and the clearance between them."""
    if depth_m is None:
        return "depth unknown", None
    crown = float(at.crown_depth_m[0])
    below = crown + float(at.outside_diameter_m[0])
    if depth_m < crown:
        return "above", crown - depth_m
    if depth_m > below:
        return "below", depth_m - below
    return "at the pipe's own depth", 0.0


def _sd_vertical(
    profile: TrenchProfile, at: TrenchProfile, footage_m: float, sd_footage_m: float
) -> float:
    """Return the 1 sd of a vertical clearance, the crossing's own place along the fall included."""
    reach = 0.15
    near = profile.at([footage_m - reach, footage_m + reach])
    run = max(float(np.ptp(near.footage_m)), reach)
    rate = float(np.diff(near.crown_depth_m)[0]) / run
    parts = [float(at.sd_depth_m[0]), SD_UTILITY_DEPTH_M, rate * sd_footage_m]
    return float(np.sqrt(np.sum(np.square(parts))))
