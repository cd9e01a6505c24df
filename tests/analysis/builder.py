"""Routes built by hand, with unknowns and covariance that are known by arithmetic alone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from truth.simulate import FOOT, default_accuracy

from lateral_map.frame import local_frame
from lateral_map.model import noise
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import Alternative, Chain, Ground, Layout, Observation, Route
from lateral_map.model.site import (
    Boundary,
    Counter,
    Finding,
    Plan,
    PlanLine,
    Run,
    Site,
    Start,
)

Floats = NDArray[np.float64]
_CHECKS = 20


@dataclass(frozen=True)
class Sds:
    """1 sd of each kind of unknown, all independent: metres and radians."""

    start: float = 0.0
    elevation: float = 0.0
    scale: float = 0.0
    zero: float = 0.0
    azimuth: float = 0.0
    pitch: float = 0.0


@dataclass(frozen=True)
class HandRoute:
    """What one test wants of a route of straight pieces, metres and degrees."""

    lengths_m: tuple[float, ...] = (30.0,)
    azimuths_deg: tuple[float, ...] = (90.0,)
    pitches: tuple[float, ...] | float = 0.0
    sds: Sds = field(default_factory=Sds)
    start: tuple[float, float] = (0.0, 0.0)
    depth_m: float = 1.2
    riser_m: float = 0.0
    zero_m: float = 0.0
    zero_offset_m: float = 0.0
    unit: str = "ft"
    lines: tuple[PlanLine, ...] = ()
    shifts_m: tuple[float, ...] = ()
    boundaries: tuple[Boundary, ...] = ()
    findings: tuple[Finding, ...] = ()
    tied_m: tuple[float, ...] = ()
    level_ground: bool = False
    sd_reading_m: float = 0.0
    site_fields: dict[str, Any] = field(default_factory=dict)

    def site(self) -> Site:
        first = self.zero_m + self.riser_m
        site = Site(
            name="by hand",
            frame=local_frame(self.unit),
            unit=self.unit,  # type: ignore[arg-type]
            start=Start(*self.start, self.sds.start, depth_m=self.depth_m, riser_m=self.riser_m),
            accuracy=default_accuracy(),
            run=Run(first + sum(self.lengths_m)),
            counter=Counter(zero_m=self.zero_m, sd_reading_m=self.sd_reading_m),
            boundaries=self.boundaries,
            findings=self.findings,
            plan=Plan(lines=self.lines),
        )
        return replace(site, **self.site_fields)

    def build(self) -> Route:
        site, pieces = self.site(), len(self.lengths_m)
        shifted = tuple(line for line in self.lines if line.sd_m > 0.0)
        layout = Layout(pieces, 0, 0, tuple(line.name for line in shifted), (), 0)
        nodes = self.zero_m + self.riser_m + np.concatenate([[0.0], np.cumsum(self.lengths_m)])
        unknowns = np.zeros(layout.size)
        unknowns[:3] = *self.start, -self.depth_m
        unknowns[4] = self.zero_offset_m
        unknowns[layout.azimuth] = np.radians(self.azimuths_deg)
        unknowns[layout.pitch] = self.pitches
        if self.shifts_m:
            unknowns[layout.line] = self.shifts_m
        sd = np.zeros(layout.size)
        sd[:5] = (
            self.sds.start, self.sds.start, self.sds.elevation, self.sds.scale, self.sds.zero
        )  # fmt: skip
        sd[layout.azimuth], sd[layout.pitch] = self.sds.azimuth, self.sds.pitch
        sd[layout.line] = [line.sd_m for line in shifted]
        # An exact unknown is one with a tiny sd, so that every equation has a weight.
        weights = 1.0 / np.maximum(sd, 1e-9)
        # As many readings and directions that miss nothing and fix nothing: a fit of which nobody
        # would say that its accuracies are not as stated.
        checks = np.zeros((2 * _CHECKS, layout.size))
        checks[:_CHECKS, 0], checks[_CHECKS:, layout.azimuth.start] = 1e-12, 1e-12
        knots = np.array([self.zero_m])
        return Route(
            site=site,
            chain=Chain(self.zero_m, self.riser_m, nodes),
            layout=layout,
            ground=Ground(knots, np.zeros(1), np.zeros(1), self.level_ground, np.zeros(0)),
            unknowns=unknowns,
            covariance=np.diag(1.0 / weights**2),
            residuals=np.zeros(layout.size + 2 * _CHECKS),
            design=np.concatenate([np.diag(weights), checks]),
            observations=tuple(
                Observation(
                    reading, 0.0, rows,
                    np.diag(weights[rows]), np.diag(1.0 / weights[rows]),
                )
                for reading, rows in (
                    (ReadingId("start position"), slice(0, 2)),
                    (
                        ReadingId("start azimuth"),
                        slice(layout.azimuth.start, layout.azimuth.start + 1),
                    ),
                    *(
                        (ReadingId("line", one.name), slice(at, at + 1))
                        for at, one in enumerate(shifted, layout.line.start)
                    ),
                )
            ),
            alternatives=(),
            tied_footages_m=np.array(self.tied_m, float),
            iterations=1,
        )  # fmt: skip


def line(
    name: str, *vertices: tuple[float, float], sd_m: float = 0.0, kind: str = "curb"
) -> PlanLine:
    """Return a plan line through vertices in metres."""
    return PlanLine(name, kind, np.array(vertices, float), sd_m)  # type: ignore[arg-type]


def as_line(route: Route, line_m: Floats) -> Alternative:
    """Return another line that fits as well, half of what the readings say, for drawing."""
    return Alternative(line_m, route.unknowns, route.covariance, route.chi_square, 0.5)


def turned(route: Route, turn_deg: float, east: float, north: float) -> Route:
    """Return the same route and plan turned clockwise about the origin, then moved."""
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    place = lambda points: np.asarray(points) @ matrix.T + [east, north]  # noqa: E731
    site = route.site
    lines = tuple(replace(one, vertices_m=place(one.vertices_m)) for one in site.plan.lines)
    begin = place([site.start.easting_m, site.start.northing_m])
    unknowns = route.unknowns.copy()
    unknowns[:2] = place(unknowns[:2])
    unknowns[route.layout.azimuth] += angle
    return replace(
        route,
        site=replace(
            site,
            plan=replace(site.plan, lines=lines),
            start=replace(site.start, easting_m=float(begin[0]), northing_m=float(begin[1])),
        ),
        unknowns=unknowns,
    )


def draw_routes(route: Route, count: int, seed: int = 1) -> list[Floats]:
    """Return unknowns drawn from the route's joint covariance."""
    rng = np.random.default_rng(seed)
    draws = rng.multivariate_normal(route.unknowns, route.covariance, count, method="eigh")
    return list(draws)


__all__ = ["FOOT", "HandRoute", "Sds", "as_line", "draw_routes", "line", "turned"]


@pytest.fixture(scope="module", autouse=True)
def normal_errors() -> Iterator[None]:
    """Let errors have no tails: arithmetic on stated sds, on routes of few readings, is held here.

    How likely errors have tails, and how much that widens an answer, tests/model holds.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(noise, "_SITES_WITH_TAILS", 1e-12)
        yield
