"""The same pipe looked at again: two reports, their findings matched along the pipe."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import shapely
from scipy.optimize import linear_sum_assignment
from shapely.geometry import LineString, Point

from lateral_map.errors import AnalysisError
from lateral_map.model.again import Again, Change, Compared, Repaired
from lateral_map.model.arrays import Floats
from lateral_map.model.results import FindingResult, Report
from lateral_map.model.site import Severity
from lateral_map.units import from_metres

# How far the later line is drawn on past its ends, so that what lies beyond them has a footage.
_ONWARD_M: Final = 500.0
# Lines that come no nearer than this, beyond their 3 sd, are of two pipes; chosen, no source.
_APART_M: Final = 3.0
# Two findings 3 sd apart are no longer taken for one (99.7 %); one that is called otherwise has to
# lie within 2.
GATE: Final = 9.0
OTHER_NAME: Final = 5.0
_RANK: Final[dict[Severity | None, int]] = {None: 0, "minor": 1, "moderate": 2, "severe": 3}


def compare_runs(before: Report, now: Report) -> Again:
    """Match the findings of an earlier run with those of a later one.

    Each earlier finding is carried over the ground onto the later line, not by its footage: two
    counters need not agree. Pairs are the assignment of least total cost, a pair's cost being the
    square of its distance along the pipe in joint standard deviations. Raises ``AnalysisError``
    where the two sites have no system in common or their lines lie apart everywhere.
    """
    carry = _Carry(before, now)
    placed = [carry.ends(one) for one in before.findings]
    cost = np.array([
        [_cost(one, other, *place) for other in now.findings]
        for one, place in zip(before.findings, placed, strict=True)
    ]).reshape(len(before.findings), len(now.findings))  # fmt: skip
    many, later = cost.shape
    whole = np.full((many + later, later + many), 0.0)
    whole[:many, :later] = np.minimum(cost, 1e6)
    # Unmatched, each costs half the gate: a pair is made where it costs less than two of these.
    whole[:many, later:] = np.where(np.eye(many, dtype=bool), GATE / 2.0, 1e6)
    whole[many:, :later] = np.where(np.eye(later, dtype=bool), GATE / 2.0, 1e6)
    rows, columns = linear_sum_assignment(whole)
    pairs = {int(i): int(j) for i, j in zip(rows, columns, strict=True) if i < many and j < later}
    compared = []
    for i, (one, (at, to, sd)) in enumerate(zip(before.findings, placed, strict=True)):
        other = now.findings[pairs[i]] if i in pairs else None
        if other is not None:
            apart = _apart_m(other, at, to)
            compared.append(Compared(_changed(one, other), one, other, at, to, sd, apart))
        else:
            change: Change = "gone" if carry.reached_now(one) else "not reached now"
            compared.append(Compared(change, one, None, at, to, sd, None))
    matched = set(pairs.values())
    for j, other in enumerate(now.findings):
        if j not in matched:
            change = "new" if carry.reached_before(other) else "not reached before"
            compared.append(Compared(change, None, other, None, None, None, None))
    compared.sort(key=lambda each: each.now.finding.footage_m if each.now else each.at_m or 0.0)
    shifts = [
        each.now.finding.footage_m - each.before.finding.footage_m
        for each in compared
        # A stretch may have grown: its beginning says nothing of the counter.
        if each.now
        and each.before
        and each.now.far is None
        and each.before.far is None
        # Run from the other end, no counter reads a constant more.
        and carry.before_m[0] <= carry.before_m[1]
    ]
    read_sd = math.hypot(before.site.counter.sd_reading_m, now.site.counter.sd_reading_m)
    read_sd = max(read_sd, float(np.std(shifts)) if shifts else 0.0)
    gap, sd_gap = carry.widest(before)
    return Again(
        before, now, tuple(compared), _repairs(before, now, carry),
        float(np.mean(shifts)) if shifts else None,
        read_sd / math.sqrt(len(shifts)) if shifts else None,
        len(shifts), gap, sd_gap, carry.before_m,
    )  # fmt: skip


class _Carry:
    """Carries places of the earlier run over the ground onto the later one."""

    def __init__(self, before: Report, now: Report) -> None:
        self._before, self._now = before, now
        one, other = before.site.frame, now.site.frame
        if one.is_local != other.is_local:
            raise AnalysisError(
                "one of the two sites is a sketch and the other is not: nothing says where the one "
                "lies in the other; declare the same crs in both"
            )
        s = now.stations
        line = np.stack([s.easting_m, s.northing_m], axis=-1)
        # Straight on past both ends: what lies there the later camera did not come to.
        line = np.concatenate([[_onward(line[::-1])], line, [_onward(line)]])
        self._line = LineString(line)
        self._along_m = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        first, last = float(s.footage_m[0]), float(s.footage_m[-1])
        self._footage_m = np.array([first - _ONWARD_M, *s.footage_m, last + _ONWARD_M])
        self._require_one_pipe(LineString(line[1:-1]))
        self._now_m = first, now.site.run.end_m
        earlier = float(before.stations.footage_m[0]), before.site.run.end_m
        self.before_m = self.footage(earlier[0]), self.footage(earlier[1])

    def _require_one_pipe(self, line: LineString) -> None:
        """Raise ``AnalysisError`` where the earlier line comes nowhere near the later one."""
        one, other = self._before.stations, self._now.stations
        places = shapely.points([self.place(float(at)) for at in one.footage_m])
        gaps = shapely.distance(places, line)
        widest = float(np.max(np.hypot(other.along_sd_m, other.across_sd_m)))
        sure = np.hypot(np.hypot(one.along_sd_m, one.across_sd_m), widest)
        if np.min(gaps - 3.0 * sure) > _APART_M:
            unit = self._now.site.unit
            near = f"{from_metres(float(np.min(gaps)), unit):.0f} {unit.replace('_', ' ')}"
            raise AnalysisError(
                f"the two runs come no nearer to one another than {near}: they are not of one "
                "pipe, or one of them is laid out from another place; compare runs of one pipe in "
                "one system"
            )

    def place(self, footage_m: float) -> tuple[float, float]:
        """Return where the earlier run's footage lies in the later plane."""
        east, north, _ = self._before.route.positions([footage_m])[0]
        one, other = self._before.site.frame, self._now.site.frame
        if one.crs == other.crs:
            x, y = other.to_plane(*one.from_plane(east, north))
        else:
            lonlat = one.plane_to_lonlat(east, north)
            x, y = other.lonlat_to_plane(*lonlat) if lonlat else (east, north)
        return float(x), float(y)

    def footage(self, footage_m: float) -> float:
        """Return the later run's footage nearest to a footage of the earlier one, on the ground."""
        at = self._line.project(Point(self.place(footage_m)))
        return float(np.interp(at, self._along_m, self._footage_m))

    def ends(self, result: FindingResult) -> tuple[float, float, float]:
        """Return an earlier finding's two ends on the later footage, and 1 sd of both runs."""
        finding = result.finding
        at = self.footage(finding.footage_m)
        to = at if finding.to_m is None else self.footage(finding.to_m)
        return min(at, to), max(at, to), self.sd(finding.footage_m, at)

    def sd(self, before_m: float, now_m: float) -> float:
        """Return 1 sd along the pipe of a place of each run together, with both readings of it."""
        parts = [
            float(report.stations.along_sd_m[report.stations.index_of(at)])
            for report, at in ((self._before, before_m), (self._now, now_m))
        ]
        readings = [one.site.counter.sd_reading_m for one in (self._before, self._now)]
        return math.hypot(*parts, *readings)

    def reached_now(self, result: FindingResult) -> bool:
        """Say whether the later camera came to where an earlier finding is."""
        at, _, sd = self.ends(result)
        return _reached(at, sd, *self._now_m, to_main=self._now.site.run.reached_main)

    def reached_before(self, result: FindingResult) -> bool:
        """Say whether the earlier camera came to where a later finding is."""
        at, run = result.finding.footage_m, self._before.site.run
        sd = self.sd(run.end_m, at)
        return _reached(at, sd, *self.before_m, to_main=run.reached_main)

    def widest(self, before: Report) -> tuple[float, float]:
        """Return how far the lines lie apart across the pipe where it is most, with 1 sd."""
        gaps = [(0.0, 1.0)]
        for one in before.findings:
            at, _, _ = self.ends(one)
            gap = float(self._line.distance(Point(self.place(one.finding.footage_m))))
            across = [
                float(report.stations.across_sd_m[report.stations.index_of(footage)])
                for report, footage in ((before, one.finding.footage_m), (self._now, at))
            ]
            gaps.append((gap, math.hypot(*across)))
        return max(gaps, key=lambda each: each[0] / max(each[1], 1e-6))


def _onward(line: Floats) -> Floats:
    """Return a place far on past a line's last one, the way it went there."""
    steps = line[-1] - line
    long = np.hypot(*steps.T)
    # A riser's footage is spent on one spot; a step of a foot has a direction.
    steady = np.flatnonzero(long > 0.3)
    if not steady.size:
        return np.asarray(line[-1] + [_ONWARD_M, 0.0])
    k = steady[-1]
    return np.asarray(line[-1] + _ONWARD_M / long[k] * steps[k])


def _reached(at: float, sd: float, begin: float, end: float, *, to_main: bool) -> bool:
    """Say whether a camera that went from ``begin`` to ``end`` surely came to ``at``."""
    ahead = 1.0 if end >= begin else -1.0
    # Beyond the main there is no lateral to come to.
    return ahead * (at - begin) > -sd and (to_main or ahead * (end - at) > sd)


def _apart_m(other: FindingResult, at: float, to: float) -> float:
    begin = other.finding.footage_m
    end = begin if other.finding.to_m is None else other.finding.to_m
    return begin - to if begin > to else end - at if end < at else 0.0


def _cost(one: FindingResult, other: FindingResult, at: float, to: float, sd: float) -> float:
    """Return what taking two findings for one costs; beyond the gate where they cannot be."""
    if one.finding_class != other.finding_class:
        return 1e6
    same = one.finding.finding.casefold() == other.finding.finding.casefold()
    if not same and one.finding_class != "defect":
        return 1e6
    return (_apart_m(other, at, to) / sd) ** 2 + (0.0 if same else OTHER_NAME)


def _changed(one: FindingResult, other: FindingResult) -> Change:
    """Say what became of a finding: its severity, where both were given, before its name."""
    was, is_now = one.finding.severity, other.finding.severity
    if was and is_now and was != is_now:
        return "worse" if _RANK[is_now] > _RANK[was] else "less"
    if one.finding.finding.casefold() != other.finding.finding.casefold():
        return "other name"
    return "unchanged"


def _repairs(before: Report, now: Report, carry: _Carry) -> tuple[Repaired, ...]:
    """Return each stretch the earlier site asked to repair, against the new pipe found there."""
    found = []
    for reach in before.site.reaches:
        begin, end = sorted((carry.footage(reach.from_m), carry.footage(reach.to_m)))
        sd = carry.sd(reach.from_m, begin)
        was = {
            one.material
            for one in before.pipes
            if one.from_m < reach.to_m and one.to_m > reach.from_m
        }
        fresh = [
            one for one in now.pipes
            if one.material not in was and one.from_m < end and one.to_m > begin
        ]  # fmt: skip
        if not fresh:
            found.append(Repaired(reach, begin, end, sd))
            continue
        first, last = min(one.from_m for one in fresh), max(one.to_m for one in fresh)
        found.append(Repaired(reach, begin, end, sd, first, last, first - begin, end - last))
    return tuple(found)
