"""How can a crew find each key point again by tape, after the paint has washed off?"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from shapely.geometry import LineString

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import ELLIPSE_95, error_ellipses
from lateral_map.model.dig import KeyPoint, Refind, RefindLine, RefindTape, TapeDoubt
from lateral_map.model.lines import signed_offsets
from lateral_map.model.past import measure_past, sense_past
from lateral_map.model.route import Route
from lateral_map.model.site import Plan, PlanPoint
from lateral_map.units import to_metres

# A tape laid by two people on a lot; a longer one sags and bends round things (common practice,
# no source). Longer ones are used only where there is nothing nearer.
LONGEST_TAPE_M: Final = to_metres(100.0, "ft")
# Tapes shorter than this are as good as the point's own edge.
_SHORTEST_TAPE_M: Final = 0.3
# A mirror point this near can be taken for the place itself.
_MIRROR_NEAR_M: Final = to_metres(6.0, "ft")
# A check tape must read so much differently at the mirror point to tell it from the place.
_TELLS_APART_M: Final = to_metres(2.0, "ft")
# Nobody tapes through a house. A tape that starts at its corner may run along its wall, and one
# goes over a low wall no thicker than this (common practice, no source).
_ALONG_WALL_M: Final = 0.1
_OVER_WALL_M: Final = 0.5
_FLAT_DEG: Final = 30.0


@dataclass(frozen=True, slots=True)
class _Tapes:
    """Tapes from every usable point to a place, one entry each.

    ``unit`` (k, 2) points from the point to the place; ``gradient`` (k, n) is the predicted
    distance's derivative by the unknowns; ``own_sd_m`` is the mapped points' uncertainty the
    adjustment knows nothing of, and ``tape_sd_m`` that of the crew's own taping. ``through`` names
    the building a tape would have to pass through, empty where the way is clear.
    """

    points: tuple[PlanPoint, ...]
    from_m: Floats
    distance_m: Floats
    unit: Floats
    gradient: Floats
    own_sd_m: Floats
    tape_sd_m: Floats
    through: tuple[str, ...]


def plan_refinds(route: Route, keys: Iterable[KeyPoint]) -> tuple[Refind, ...]:
    """Return the best tapes to each key point, by smallest resulting position error.

    Tapes that would pass through a building are used only where no two others cross.

    Two tapes d fix a place x through U x = d (U the unit vectors from the points). The error of
    what is computed for them is joint with the adjustment: a corner mapped a little off that the
    locates were taped from leads back to the true place all the same.
    """
    wanted = tuple(keys)
    if not wanted:
        return ()
    footages = [key.footage_m for key in wanted]
    position, jacobian = route.position_jacobian(footages)
    depths, sd_depths = route.depths(footages)
    found = []
    for i, key in enumerate(wanted):
        at = position[i, :2]
        tapes = _tape_all(route, at, jacobian[i, :2])
        pairs = [
            (
                # Two with a clear way come before any others; then the surest meeting point.
                sum(bool(tapes.through[index]) for index in pair),
                float(np.trace(_meeting_covariance(route, tapes, pair))),
                pair,
            )
            for pair in itertools.combinations(range(len(tapes.points)), 2)
        ]
        crossing = [one for one in pairs if one[1] < np.inf]
        plain = Refind(
            key=key,
            easting_m=float(at[0]),
            northing_m=float(at[1]),
            depth_m=float(depths[i]),
            sd_depth_m=float(sd_depths[i]),
            line=_against_line(route, key, at),
        )
        found.append(_with_tapes(route, plain, at, tapes, min(crossing)[2]) if crossing else plain)
    return tuple(found)


def _tape_all(route: Route, at_m: Floats, jacobian: Floats) -> _Tapes:
    """Return tapes from every named point near enough, from all of them where few are."""

    def straight(point: PlanPoint) -> float:
        return float(np.hypot(point.easting_m - at_m[0], point.northing_m - at_m[1]))

    usable = [one for one in route.site.plan.points if straight(one) >= _SHORTEST_TAPE_M]
    points = [one for one in usable if straight(one) <= LONGEST_TAPE_M]
    if len(points) < 2:
        points = sorted(usable, key=straight)[:3]
    mapped = np.array([[p.easting_m, p.northing_m] for p in points], float).reshape(-1, 2)
    columns = [route.layout.point_columns(p.name) for p in points]
    shift = np.array(
        [np.zeros(2) if c is None else route.unknowns[c] for c in columns], float
    ).reshape(-1, 2)
    away = at_m - (mapped + shift)
    distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
    unit = away / distance[:, None]
    gradient = unit @ jacobian
    for row, column in enumerate(columns):
        if column is not None:
            gradient[row, column] -= unit[row]
    own = [p.sd_m if c is None else 0.0 for p, c in zip(points, columns, strict=True)]
    accuracy = route.site.accuracy
    return _Tapes(
        points=tuple(points),
        from_m=mapped + shift,
        distance_m=distance,
        unit=unit,
        gradient=gradient,
        own_sd_m=np.array(own, float),
        tape_sd_m=np.hypot(accuracy.tape_m, accuracy.tape_fraction * distance),
        through=tuple(_through(route.site.plan, point, at_m) for point in points),
    )


def _through(plan: Plan, point: PlanPoint, at_m: Floats) -> str:
    """Return the building that lies between a point and a place, empty where none does."""
    tape = LineString([(point.easting_m, point.northing_m), (float(at_m[0]), float(at_m[1]))])
    for area in plan.areas:
        if area.kind == "building":
            inside = area.polygon.buffer(-_ALONG_WALL_M).intersection(tape)
            if inside.length > _OVER_WALL_M:
                return area.name or "a building"
    return ""


def _meeting_covariance(
    route: Route, tapes: _Tapes, pair: tuple[int, int], *, taping_only: bool = False
) -> Floats:
    """Return the (2, 2) covariance (m²) of where two tapes meet against the true pipe."""
    rows = list(pair)
    unit = tapes.unit[rows]
    if abs(np.linalg.det(unit)) < 1e-6:
        return np.full((2, 2), np.inf)
    noise = np.diag(tapes.tape_sd_m[rows] ** 2)
    if not taping_only:
        gradient = tapes.gradient[rows]
        noise = noise + gradient @ route.told_covariance @ gradient.T
        noise = noise + np.diag(tapes.own_sd_m[rows] ** 2)
    back = np.linalg.inv(unit)
    return np.asarray(back @ noise @ back.T)


def _with_tapes(
    route: Route, plain: Refind, at_m: Floats, tapes: _Tapes, pair: tuple[int, int]
) -> Refind:
    # The tapes' other meeting point, across the line between their two points.
    begin, end = tapes.from_m[pair[0]], tapes.from_m[pair[1]]
    ahead, away = end - begin, at_m - begin
    along = ahead / max(float(np.hypot(*ahead)), 1e-9)
    mirror = begin + 2.0 * (away @ along) * along - away
    gap = float(np.hypot(*(mirror - at_m)))
    # A third point to check from: one with a clear way, that tells the mirror point, and is near.
    across = [float(np.hypot(*(mirror - here))) for here in tapes.from_m]

    long = tapes.distance_m.tolist()
    tells = [abs(far - near) >= _TELLS_APART_M for far, near in zip(across, long, strict=True)]
    others = [index for index in range(len(tapes.points)) if index not in pair]
    check = min(others, key=lambda i: (bool(tapes.through[i]), not tells[i], long[i]), default=None)
    used = pair if check is None else (*pair, check)
    sine = min(abs(float(np.linalg.det(tapes.unit[list(pair)]))), 1.0)
    meet_deg = float(np.degrees(np.arcsin(sine)))
    through = tuple(dict.fromkeys(tapes.through[i] for i in used if tapes.through[i]))
    doubts: tuple[tuple[TapeDoubt, bool], ...] = (
        ("through a building", bool(through)),
        ("near the mirror", gap <= _MIRROR_NEAR_M),
        ("no check", check is None),
        ("check tells nothing", check is not None and not tells[check]),
        ("flat", meet_deg < _FLAT_DEG),
        ("long", max(long[index] for index in pair) > LONGEST_TAPE_M),
    )
    return replace(
        plain,
        tapes=tuple(_tape(tapes, index) for index in pair),
        check=None if check is None else _tape(tapes, check),
        error_m=_radius_95(_meeting_covariance(route, tapes, pair)),
        retrace_m=_radius_95(_meeting_covariance(route, tapes, pair, taping_only=True)),
        mirror_gap_m=gap,
        mirror_check_m=None if check is None else across[check],
        to_the_right=bool(ahead[0] * away[1] - ahead[1] * away[0] < 0.0),
        meet_deg=meet_deg,
        through=through,
        doubts=tuple(doubt for doubt, holds in doubts if holds),
    )


def _tape(tapes: _Tapes, index: int) -> RefindTape:
    return RefindTape(tapes.points[index].name, float(tapes.distance_m[index]))


def _radius_95(covariance: Floats) -> float:
    return float(ELLIPSE_95 * error_ellipses(covariance[None]).semi_major_m[0])


def _against_line(route: Route, key: KeyPoint, at_m: Floats) -> RefindLine | None:
    """Return the place against the nearest boundary line, else the nearest line of the plan."""
    plan = route.site.plan
    bounding = [one.line for one in route.site.boundaries if one.kind == "line"]
    names = bounding or [one.name for one in plan.lines]
    if not names or not plan.points:
        return None
    pasts = {name: measure_past(route, name, key.footage_m) for name in dict.fromkeys(names)}
    name = min(pasts, key=lambda one: abs(float(pasts[one].past_m[0])))
    past = pasts[name]
    mapped = np.array([[p.easting_m, p.northing_m] for p in plan.points])
    at = plan.line(name).vertices_m
    along = float(signed_offsets(at, at_m).along_m)
    feet = signed_offsets(at, mapped)
    # The point nearest to the line gives the surest foot on it.
    nearest = int(np.argmin(np.abs(feet.offset_m) + 0.5 * np.abs(feet.along_m - along)))
    ahead = along - float(feet.along_m[nearest])
    # Looking past a line whose far side is to its right, its direction runs to the left.
    to_the_right = (ahead > 0.0) == (sense_past(route, name) < 0.0)
    return RefindLine(
        line=name,
        past_m=float(past.past_m[0]),
        sd_past_m=float(past.told_sd_m(route)[0]),
        along_from=plan.points[nearest].name,
        along_m=abs(ahead),
        to_the_right=to_the_right,
    )
