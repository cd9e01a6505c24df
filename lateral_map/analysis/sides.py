"""On which side of each boundary does each finding lie, and so who answers for it?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.chance import chance_above_zero
from lateral_map.model.past import Past, alternative_pasts, measure_past, variances
from lateral_map.model.results import FindingResult, Side, SideVerdict, Stations
from lateral_map.model.route import Route
from lateral_map.model.site import Boundary, Finding
from lateral_map.model.telling import name_telling_readings

Floats = NDArray[np.float64]

_SURE: Final = 0.95
TOO_CLOSE: Final = "too close to call"


@dataclass(frozen=True, slots=True)
class _Judged:
    """Places against one boundary, one side each."""

    boundary: Boundary
    past: Past
    sides: tuple[Side, ...]


def judge_findings(route: Route, stations: Stations) -> tuple[FindingResult, ...]:
    """Return every finding's place, its side of every boundary, and the party that answers for it.

    The distance past is judged jointly with the boundary's own shift and with the counter's reading
    noise at the finding, which acts along the pipe: P(past) = Phi(distance / sd), and 95 % is asked
    for a verdict. Where other routes fit the readings as well, P(past) is the mean over all of
    them. ``stations`` must hold a station at every finding.
    """
    findings = route.site.findings
    if not findings:
        return ()
    near = _judge(route, [finding.footage_m for finding in findings])
    far = _judge(route, [_far_end(finding) for finding in findings])
    rests_on = _rests_on(route, near, findings)
    return tuple(
        _result(route, stations, finding, near, far, index, rests_on[index])
        for index, finding in enumerate(findings)
    )


def _far_end(finding: Finding) -> float:
    return finding.footage_m if finding.to_m is None else finding.to_m


def _judge(route: Route, footages: Iterable[float]) -> tuple[_Judged, ...]:
    """Judge places at footages against every boundary."""
    at = np.array(list(footages), float)
    judged = []
    for boundary in route.site.boundaries:
        past = measure_past(route, boundary.line, at)
        reading = np.square(route.site.counter.sd_reading_m * past.rate)
        sd = np.sqrt(variances(past.gradient, route.covariance) + reading)
        distances = np.vstack([past.past_m, alternative_pasts(route, boundary.line, at)])
        sides = tuple(_side(boundary.line, past, sd, distances, i) for i in range(len(at)))
        judged.append(_Judged(boundary, past, sides))
    return tuple(judged)


def _side(line: str, past: Past, sd: Floats, distances: Floats, index: int) -> Side:
    """Judge one place; ``distances`` (routes, k) are those of every route that fits."""
    chances = [chance_above_zero(float(one), float(sd[index])) for one in distances[:, index]]
    probability = fmean(chances)
    return Side(
        line=line,
        past_m=float(past.past_m[index]),
        sd_past_m=float(sd[index]),
        probability_past=probability,
        verdict=_verdict(probability),
        extended=bool(past.carried_m[index] > 0.0),
    )


def _verdict(probability_past: float) -> SideVerdict:
    if probability_past >= _SURE:
        return "past"
    return "inside" if probability_past <= 1.0 - _SURE else TOO_CLOSE


def _result(
    route: Route,
    stations: Stations,
    finding: Finding,
    near: tuple[_Judged, ...],
    far: tuple[_Judged, ...],
    index: int,
    rests_on: tuple[str, ...],
) -> FindingResult:
    at = stations.index_of(finding.footage_m)
    sides = tuple(judged.sides[index] for judged in near)
    sides_to = tuple(judged.sides[index] for judged in far) if finding.to_m is not None else ()
    return FindingResult(
        finding=finding,
        easting_m=float(stations.easting_m[at]),
        northing_m=float(stations.northing_m[at]),
        depth_m=float(stations.depth_m[at]),
        sd_depth_m=float(stations.depth_sd_m[at]),
        semi_major_m=float(stations.semi_major_m[at]),
        semi_minor_m=float(stations.semi_minor_m[at]),
        ellipse_azimuth_deg=float(stations.ellipse_azimuth_deg[at]),
        basis=stations.basis[at],
        sides=sides,
        sides_to=sides_to,
        answers=_answers(route, sides, sides_to),
        settle="",
        rests_on=rests_on,
        straddles=_straddles(sides, sides_to),
    )


def _straddles(sides: tuple[Side, ...], sides_to: tuple[Side, ...]) -> tuple[str, ...]:
    """Return the lines that a stretch's two ends lie on either side of, for all we know best."""
    return tuple(
        near.line
        for near, far in zip(sides, sides_to, strict=False)
        if (near.past_m > 0.0) != (far.past_m > 0.0)
    )


def _answers(route: Route, sides: tuple[Side, ...], sides_to: tuple[Side, ...]) -> str:
    near = _party(route.site.boundaries, sides)
    if not sides_to:
        return near
    far = _party(route.site.boundaries, sides_to)
    return near if near == far else f"{near}, then {far}"


def _party(boundaries: tuple[Boundary, ...], sides: tuple[Side, ...]) -> str:
    """Return who answers at one place; doubt about a side that changes nothing is no doubt."""
    deciding = [(b, s) for b, s in zip(boundaries, sides, strict=True) if b.decides]
    if not deciding:
        return ""
    parties = {
        _party_if(
            [(b, s, s.verdict == "past" or (s.verdict == TOO_CLOSE and given)) for b, s in deciding]
        )
        for given in (True, False)
    }
    return parties.pop() if len(parties) == 1 else TOO_CLOSE


def _party_if(deciding: list[tuple[Boundary, Side, bool]]) -> str:
    """Return who answers: beyond the line crossed last, or before the one to be crossed next."""
    crossed = [(abs(side.past_m), b.outside) for b, side, past in deciding if past]
    ahead = [(abs(side.past_m), b.inside) for b, side, past in deciding if not past]
    return min(crossed or ahead)[1]


def _rests_on(
    route: Route, near: tuple[_Judged, ...], findings: tuple[Finding, ...]
) -> tuple[tuple[str, ...], ...]:
    """Name the readings the deciding distance rests on, or the place across the pipe."""
    deciding = [judged for judged in near if judged.boundary.decides] or list(near)
    if not deciding:
        return name_telling_readings(route, _across(route, findings))
    distance = np.abs([judged.past.past_m for judged in deciding])
    closest = np.argmin(distance, axis=0)
    gradients = np.stack([judged.past.gradient for judged in deciding])
    return name_telling_readings(route, gradients[closest, np.arange(len(findings))])


def _across(route: Route, findings: tuple[Finding, ...]) -> Floats:
    footage = np.array([finding.footage_m for finding in findings])
    heading = np.radians(route.headings_deg(footage)[0])
    right = np.stack([np.cos(heading), -np.sin(heading)], axis=-1)
    return np.asarray(np.einsum("kx,kxn->kn", right, route.position_jacobian(footage)[1][:, :2]))
