"""Where does the route cross each plan line, how surely, and how far short does it stop?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.identity import ReadingId
from lateral_map.model.lines import PAIRS_AT_ONCE, signed_distances, signed_offsets
from lateral_map.model.past import (
    Past,
    carried_on_m,
    drawn_pasts,
    line_shift_m,
    measure_past,
    measure_pasts,
    variances,
)
from lateral_map.model.results import Crossing, Uncrossed
from lateral_map.model.route import Route
from lateral_map.model.site import Boundary, PlanLine
from lateral_map.model.telling import find_telling_readings

_SAME_M: Final = 1e-6
_ON_LINE_M: Final = 1e-6
# A boundary has two sides however short it was mapped. Any other line, carried far past its mapped
# end, bounds nothing any more: 10 ft allows for a line digitised a little short.
_CARRIED_ON_M: Final = 3.048
# How many of a line's corners are looked at from each piece of a run that never crosses it.
_CORNERS: Final = 50
# Of a plan's other lines only those this near are looked at, and the nearest few told of.
_NEARBY_M: Final = 30.0
_MOST_TOLD: Final = 8
# Below this the footage of a crossing is several times looser than the distance to the line.
GRAZING_DEG: Final = 15.0
# Another line that fits crosses elsewhere beyond 1 ft.
_ELSEWHERE_M: Final = 0.3048
# Fewer drawn lines than this meeting the line: it may be missed.
_NEARLY_ALL: Final = 0.95


_Run = tuple[Floats, Floats]


def find_crossings(
    route: Route, *, places_only: bool = False
) -> tuple[tuple[Crossing, ...], tuple[Uncrossed, ...]]:
    """Return every crossing of a boundary or plan line by footage, and the lines not crossed.

    The route's straight pieces meet the real line: the mapped one moved by its adjusted shift along
    its normal, its end pieces carried straight on. A crossing's 1 sd of footage is that of the
    signed distance past the line, jointly with the line's own shift, over that distance's rate of
    change along the pipe. The main and cleanouts are crossed where the counter says they are.
    ``places_only`` leaves out which readings a crossing rests on, and the lines not crossed.
    """
    uncrossed: list[Uncrossed] = []
    bounding = {one.line for one in route.site.boundaries if one.kind == "line"}
    run = _run_corners(route)
    met = []
    for line in _lines_near(route.site.plan.lines, bounding, run[1]):
        footages = _crossing_footages(route, line, run)
        if len(footages):
            met.append((line, footages))
        elif not places_only:
            uncrossed.append(_distance_short(route, line, run))
    crossings = _describe(route, met, places_only=places_only) if met else []
    # The boundaries not crossed, and the nearest few of the other lines.
    others = [one for one in uncrossed if one.line not in bounding]
    kept = sorted(others, key=lambda one: math.inf if one.gap_m is None else one.gap_m)
    told = {one.line for one in kept[:_MOST_TOLD]} | bounding
    uncrossed = [one for one in uncrossed if one.line in told]
    for boundary in route.site.boundaries:
        if boundary.kind == "line":
            continue
        at = route.site.boundary_footage_m(boundary)
        if boundary.kind == "main" and not route.site.run.reached_main:
            uncrossed.append(Uncrossed(boundary.line, "main", boundary.decides))
        elif at <= route.site.run.end_m:
            # The pipe meets the main or a cleanout squarely.
            place = route.positions(at)[0]
            depth, sd_depth = route.depths(at)
            crossings.append(
                Crossing(
                    line=boundary.line,
                    kind="main" if boundary.kind == "main" else "cleanout",
                    footage_m=at,
                    sd_footage_m=route.site.boundary_sd_m(boundary),
                    easting_m=float(place[0]),
                    northing_m=float(place[1]),
                    depth_m=float(depth[0]),
                    sd_depth_m=float(sd_depth[0]),
                    angle_deg=90.0,
                    decides=boundary.decides,
                    carried_m=0.0,
                    rests_on=(),
                    one_party=boundary.one_party,
                )
            )
        else:
            gap = at - route.site.run.end_m
            sd = math.hypot(route.site.counter.sd_reading_m, route.site.boundary_sd_m(boundary))
            uncrossed.append(
                Uncrossed(boundary.line, "cleanout", boundary.decides, gap, sd, at, at_end=True)
            )
    return tuple(sorted(crossings, key=lambda crossing: crossing.footage_m)), tuple(uncrossed)


def _lines_near(
    lines: tuple[PlanLine, ...], bounding: set[str], corners: Floats
) -> tuple[PlanLine, ...]:
    """Return the boundaries, and the other lines that come near the run at all."""
    if not len(corners):
        return lines
    low, high = corners.min(axis=0) - _NEARBY_M, corners.max(axis=0) + _NEARBY_M
    return tuple(
        line
        for line in lines
        if line.name in bounding
        or ((line.vertices_m.max(0) >= low) & (line.vertices_m.min(0) <= high)).all()
    )


def _run_corners(route: Route) -> _Run:
    """Return the footages and plan positions (k, 2) of the run's corners, its end included."""
    nodes = route.chain.nodes_m
    end = max(route.site.run.end_m, float(nodes[0]))
    footage = np.concatenate([nodes[nodes < end - _SAME_M], [end]])
    if len(footage) < 2:
        return np.zeros(0), np.zeros((0, 2))
    # Just past the start: the zero offset moves the run, not the start itself.
    footage[0] = np.nextafter(nodes[0], np.inf)
    return footage, route.positions(footage)[:, :2]


def _crossing_footages(route: Route, line: PlanLine, run: _Run) -> Floats:
    """Return the footages where the run passes from one side of the line to the other."""
    footage, corners = run
    if not len(footage):
        return footage
    shift = line_shift_m(route, line.name)
    met = _meet_line(line.vertices_m, shift, corners)
    if not len(met):
        return np.zeros(0)
    piece, share = met[:, 0].astype(int), met[:, 1]
    place = corners[piece] + share[:, None] * (corners[piece + 1] - corners[piece])
    found = signed_offsets(line.segments, place)
    at = footage[piece] + share * (footage[piece + 1] - footage[piece])
    on_line = np.flatnonzero(np.abs(found.offset_m - shift) < _ON_LINE_M)
    on_line = on_line[np.argsort(at[on_line], kind="stable")]
    at = at[on_line]
    if not len(at):
        return np.zeros(0)
    first = np.concatenate([[True], np.diff(at) > _SAME_M])
    at, on_line = at[first], on_line[first]
    # Only what leaves the run on the other side: a touch is no crossing.
    ends = np.concatenate([footage[:1], at, footage[-1:]])
    middle = (ends[:-1] + ends[1:]) / 2.0
    between = np.stack([np.interp(middle, footage, axis) for axis in corners.T], axis=-1)
    beyond = signed_distances(line.segments, between) > shift
    turns = beyond[:-1] != beyond[1:]
    if _boundary_at(route, line) is None:
        turns &= carried_on_m(line, found.along_m[on_line]) <= _CARRIED_ON_M
    return np.asarray(at[turns])


def _meet_line(vertices_m: Floats, shift_m: float, corners: Floats) -> Floats:
    """Return (m, 2) pieces and shares along them that meet a line shifted to its right.

    Pieces meet its segments' straight lines, and the arcs that it makes round its corners.
    """
    at_once = max(1, PAIRS_AT_ONCE // len(vertices_m))
    if len(corners) - 1 > at_once:
        some = []
        for first in range(0, len(corners) - 1, at_once):
            met = _meet_line(vertices_m, shift_m, corners[first : first + at_once + 1])
            some.append(met + np.array([first, 0.0]))
        return np.concatenate(some)
    begin, step = corners[:-1], np.diff(corners, axis=0)
    segment = np.diff(vertices_m, axis=0)
    right = np.stack([segment[:, 1], -segment[:, 0]], axis=-1)
    right /= np.hypot(right[:, 0], right[:, 1])[:, None]
    from_line = shift_m - np.einsum("psk,sk->ps", begin[:, None] - vertices_m[:-1], right)
    towards = step @ right.T
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = [from_line / towards]
        if shift_m and len(vertices_m) > 2:
            away = begin[:, None] - vertices_m
            square = np.einsum("pk,pk->p", step, step)[:, None]
            half = np.einsum("pvk,pk->pv", away, step)
            inside = half**2 - square * (np.einsum("pvk,pvk->pv", away, away) - shift_m**2)
            root = np.sqrt(inside)
            shares += [(-half + sign * root) / square for sign in (-1.0, 1.0)]
    share = np.concatenate(shares, axis=1)
    piece, other = np.nonzero((share >= -1e-9) & (share <= 1.0 + 1e-9))
    return np.stack([piece, np.clip(share[piece, other], 0.0, 1.0)], axis=-1)


def _boundary_at(route: Route, line: PlanLine) -> Boundary | None:
    """Return the boundary at a plan line, None where the site names none."""
    return next(
        (one for one in route.site.boundaries if one.kind == "line" and one.line == line.name), None
    )


def _describe(
    route: Route, met: list[tuple[PlanLine, Floats]], *, places_only: bool
) -> list[Crossing]:
    """Return the crossings of lines, each at its own footages."""
    pasts = measure_pasts(route, [(line.name, at) for line, at in met])
    footages = np.concatenate([at for _, at in met])
    rates, gradient, normal = (
        np.concatenate(each)
        for each in zip(*((past.rate, past.gradient, past.normal) for past in pasts), strict=True)
    )
    position = route.positions(footages)
    # The place itself moves along the pipe: by minus the derivative of the crossing's footage.
    step, moved = 0.01, gradient / np.where(np.abs(rates) > 1e-9, rates, 1e-9)[:, None]
    about = np.concatenate([footages - step, footages + step])
    behind, ahead = np.split(route.best_depths(about), 2)
    _, jacobian = route.depth_jacobian(footages)
    depth, sd_here = route.depths(footages)
    total = jacobian - ((ahead - behind) / (2.0 * step))[:, None] * moved
    here, there = (variances(rows, route.covariance) for rows in (jacobian, total))
    # What the depth's sd holds beyond the unknowns is the ground between its measured levels.
    sd_depth = np.sqrt(there + np.maximum(sd_here**2 - here, 0.0))
    level = route.directions(footages)[:, :2]
    length = np.maximum(np.hypot(level[:, 0], level[:, 1]), 1e-12)
    sine = np.einsum("kx,kx->k", normal, level) / length
    angle = np.degrees(np.arcsin(np.clip(np.abs(sine), 0.0, 1.0)))
    rests_on: tuple[tuple[ReadingId, ...], ...] = ((),) * len(footages)
    if not places_only:
        rests_on = find_telling_readings(route, gradient)
    crossings: list[Crossing] = []
    for (line, at), past in zip(met, pasts, strict=True):
        sd_footage, others, may_miss = _spread_along(route, line, at, past)
        boundary = _boundary_at(route, line)
        crossings += [
            Crossing(
                line=line.name,
                kind=line.kind,
                footage_m=float(footages[i]),
                sd_footage_m=float(sd_footage[own]),
                easting_m=float(position[i, 0]),
                northing_m=float(position[i, 1]),
                depth_m=float(depth[i]),
                sd_depth_m=float(sd_depth[i]),
                angle_deg=float(angle[i]),
                decides=boundary is not None and boundary.decides,
                carried_m=float(past.carried_m[own]),
                rests_on=rests_on[i],
                outward=bool(past.rate[own] > 0.0),
                grazing=bool(angle[i] < GRAZING_DEG),
                others_m=others[own],
                may_miss=may_miss,
                one_party=boundary is not None and boundary.one_party,
            )
            for own, i in enumerate(range(len(crossings), len(crossings) + len(at)))
        ]
    return crossings


def _spread_along(
    route: Route, line: PlanLine, footages: Floats, past: Past
) -> tuple[Floats, list[tuple[float, ...]], bool]:
    """Return each crossing's 1 sd along the pipe, where else others cross, and if one does not.

    ``past`` is the route's own distance past the line there.

    Every solution that fits counts by its weight, its crossing nearest to the best one's.
    """
    if route.draws is not None:
        # Counted over drawn lines: the first place where each goes past.
        along = route.chain.nodes_m
        drawn = drawn_pasts(route, line.name, along)
        turned = (drawn[:, :-1] < 0.0) & (drawn[:, 1:] >= 0.0)
        meets = turned.any(axis=1)
        row, piece = np.flatnonzero(meets), turned.argmax(axis=1)[meets]
        before, after = drawn[row, piece], drawn[row, piece + 1]
        at = along[piece] + before / (before - after) * (along[piece + 1] - along[piece])
        at = at if len(at) else footages
        square = np.square(at[:, None] - footages).mean(axis=0)
        return np.sqrt(square), [()] * len(footages), bool(np.mean(meets) < _NEARLY_ALL)
    square, total = np.zeros(len(footages)), 0.0
    others: list[tuple[float, ...]] = [()] * len(footages)
    may_miss = False
    for weight, solution in route.solutions:
        at, measured = footages, past
        if solution is not route:
            met = _crossing_footages(solution, line, _run_corners(solution))
            if not len(met):
                may_miss = True
                continue
            at = met[np.abs(met[None, :] - footages[:, None]).argmin(axis=1)]
            measured = measure_past(solution, line.name, at)
        sd = measured.sd_m(solution) / np.maximum(np.abs(measured.rate), 1e-9)
        square += weight * (np.square(sd) + np.square(at - footages))
        total += weight
        others = [
            (*own, float(there)) if abs(there - here) > _ELSEWHERE_M else own
            for own, there, here in zip(others, at, footages, strict=True)
        ]
    return np.sqrt(square / max(total, 1e-9)), others, may_miss


def _distance_short(route: Route, line: PlanLine, run: _Run) -> Uncrossed:
    """Return how near the run comes to a line it never crosses."""
    boundary = _boundary_at(route, line)
    decides = boundary is not None and boundary.decides
    footage, corners = run
    if not len(footage):
        return Uncrossed(line.name, line.kind, decides)
    # The run's corners, and its pieces' nearest places to each of the line's corners.
    begin, step = corners[:-1], np.diff(corners, axis=0)
    square = np.maximum(np.einsum("pk,pk->p", step, step), 1e-300)
    feet = [footage]
    for piece in range(len(step)):
        # Of very many corners only those about as near as the nearest.
        away = line.vertices_m - begin[piece]
        share = np.clip(away @ step[piece] / square[piece], 0.0, 1.0)
        gap = np.hypot(*(away - share[:, None] * step[piece]).T)
        near = np.argsort(gap, kind="stable")[:_CORNERS]
        feet.append(footage[piece] + np.sort(share[near]) * np.diff(footage)[piece])
    candidates = np.concatenate(feet)
    past = measure_past(route, line.name, candidates)
    carried = past.carried_m if boundary is None else 0.0
    away = np.hypot(past.past_m, carried)
    nearest = int(np.argmin(away))
    there = measure_past(route, line.name, candidates[[nearest]])
    if boundary is None:  # it ends where it is mapped to end
        there = replace(there, line_variance_m2=np.array([there.mapped_m**2]))
    sd_gap_m = float(there.told_sd_m(route)[0])
    # The corner just past the start is the start.
    at = round(float(candidates[nearest]), 9)
    return Uncrossed(
        line=line.name,
        kind=line.kind,
        decides=decides,
        gap_m=float(away[nearest]),
        sd_gap_m=sd_gap_m,
        at_m=at,
        at_end=math.isclose(at, float(footage[-1]), abs_tol=1e-3),
        one_party=boundary is not None and boundary.one_party,
    )
