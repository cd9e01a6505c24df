"""Questions every drawing asks of a report along its line: where, how sure, which stretch."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from lateral_map.model.results import (
    Basis,
    FindingResult,
    ReadingCheck,
    ReadingVerdict,
    Report,
    Side,
    Stations,
)
from lateral_map.model.site import Locate, UtilityLine

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Footages (m) between which the line rests on one basis."""

    from_m: float
    to_m: float
    basis: Basis


def basis_stretches(stations: Stations) -> tuple[Stretch, ...]:
    """Return the line cut where its basis changes, half-way between the stations that differ."""
    footage = stations.footage_m
    changes = [i for i in range(1, len(footage)) if stations.basis[i] != stations.basis[i - 1]]
    cuts = [float(footage[i - 1] + footage[i]) / 2.0 for i in changes]
    edges = [float(footage[0]), *cuts, float(footage[-1])]
    return tuple(
        Stretch(edges[k], edges[k + 1], stations.basis[first])
        for k, first in enumerate([0, *changes])
    )


def line_between(report: Report, from_m: float, to_m: float) -> Floats:
    """Return (n, 2) plan points (m) of the line from one footage to another, bends included."""
    nodes = report.route.chain.nodes_m
    inside = nodes[(nodes > from_m) & (nodes < to_m)]
    return report.route.positions([from_m, *inside, to_m])[:, :2]


def interpolated(stations: Stations, values: Floats, footage_m: float) -> float:
    """Return a station array's value at a footage (m), straight between stations."""
    return float(np.interp(footage_m, stations.footage_m, values))


def transmitter_footage(report: Report, locate: Locate) -> float:
    """Return the footage (m) of the place a locate fixed: the transmitter's, behind the lens."""
    return report.site.transmitter_footage_m(locate)


def telling_side(_: Report, result: FindingResult) -> Side | None:
    """Return the side to tell first."""
    return result.telling


def checks_by_locate(report: Report) -> dict[str, tuple[ReadingCheck, ...]]:
    """Return the checked readings of each locate's mark."""
    return {one.locate.mark: one.checks for one in report.locates}


def worst_verdict(checks: tuple[ReadingCheck, ...]) -> ReadingVerdict:
    """Return a locate's verdict: suspect if any reading is, good if any is checked."""
    verdicts = {check.verdict for check in checks}
    if "suspect" in verdicts:
        return "suspect"
    return "good" if "good" in verdicts else "unchecked"


@dataclass(frozen=True, slots=True)
class UtilityMeeting:
    """Where the line passes over or under a mapped utility in plan: footage and place in metres."""

    utility: UtilityLine
    footage_m: float
    easting_m: float
    northing_m: float


def utility_meetings(report: Report) -> tuple[UtilityMeeting, ...]:
    """Return where the drawn line meets each mapped utility in plan, in order of footage."""
    stations = report.stations
    plan = np.stack([stations.easting_m, stations.northing_m], axis=-1)
    steps = [LineString(plan[i : i + 2]) for i in range(len(plan) - 1)]
    tree = STRtree(steps)
    found: dict[tuple[str, float], UtilityMeeting] = {}
    for utility in report.site.plan.utilities:
        line = LineString(utility.vertices_m)
        for index in sorted(int(i) for i in tree.query(line, predicate="intersects")):
            for east, north in _points(line.intersection(steps[index])):
                share = _share(plan[index], plan[index + 1], east, north)
                span = stations.footage_m[index + 1] - stations.footage_m[index]
                footage = float(stations.footage_m[index] + share * span)
                # A meeting right at a station is found on both steps.
                found[utility.name, round(footage, 3)] = UtilityMeeting(
                    utility, footage, east, north
                )
    return tuple(
        sorted(found.values(), key=lambda meeting: (meeting.footage_m, meeting.utility.name))
    )


def _points(geometry: BaseGeometry) -> Iterator[tuple[float, float]]:
    if geometry.is_empty:
        return
    for part in getattr(geometry, "geoms", [geometry]):
        east, north = part.coords[0][:2]
        yield float(east), float(north)


def _share(begin: Floats, end: Floats, east: float, north: float) -> float:
    step = end - begin
    square = float(step @ step)
    if square == 0.0:
        return 0.0
    return float(np.clip(((np.array([east, north]) - begin) @ step) / square, 0.0, 1.0))
