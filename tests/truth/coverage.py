"""How often the truth lies where the report says it does, over many simulated lines."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from truth.simulate import Truth, simulate, true_crossing_m, true_past_m

from lateral_map.model.results import Report
from lateral_map.model.site import Site
from lateral_map.report import build_report

CHI_SQUARE_95 = 5.991464547107979


@dataclass
class Coverage:
    """Squared plan misfit over its covariance; standardised misfits; odds and outcomes."""

    position: list[float] = field(default_factory=list)
    depth: list[float] = field(default_factory=list)
    crossing: list[float] = field(default_factory=list)
    past: list[float] = field(default_factory=list)
    odds: list[float] = field(default_factory=list)
    was_past: list[bool] = field(default_factory=list)
    verdicts: list[str] = field(default_factory=list)

    def shares(self) -> dict[str, float]:
        """Return the share of cases inside their 95 % intervals."""
        return {
            "position": float(np.mean(np.array(self.position) < CHI_SQUARE_95)),
            "depth": _inside(self.depth),
            "crossing": _inside(self.crossing),
            "past": _inside(self.past),
        }

    def reliability(self, edges: Iterable[float]) -> list[tuple[float, float, int, float, float]]:
        """Return (from, to, count, mean odds stated, share that was past) for each band of odds."""
        odds, outcome = np.array(self.odds), np.array(self.was_past, float)
        rows = []
        limits = list(edges)
        for low, high in itertools.pairwise(limits):
            within = (odds >= low) & ((odds < high) | (high >= 1.0))
            if within.any():
                rows.append(
                    (low, high, int(within.sum()), odds[within].mean(), outcome[within].mean())
                )
        return rows


def _inside(values: list[float]) -> float:
    return float(np.mean(np.abs(values) < 1.959963984540054))


def measure_coverage(seeds: Iterable[int]) -> Coverage:
    """Build a report of each simulated line and hold it against the truth."""
    return measure_coverage_of(map(simulate, seeds))


def measure_coverage_of(sites: Iterable[tuple[Site, Truth]]) -> Coverage:
    """Build a report of each site and hold it against its truth."""
    found = Coverage()
    for site, truth in sites:
        report = build_report(site)
        _findings(found, report, truth)
        _crossings(found, report, truth)
    return found


def _findings(found: Coverage, report: Report, truth: Truth) -> None:
    route = report.route
    footage = np.array([result.finding.footage_m for result in report.findings])
    covariance = route.plan_covariance(footage)
    along = route.directions(footage)[:, :2]
    # A finding's own reading is off by the counter's noise along the pipe.
    noise = (route.noise.readings * route.site.counter.sd_reading_m) ** 2
    covariance = covariance + noise * along[:, :, None] * along[:, None, :]
    for index, (result, reading) in enumerate(
        zip(report.findings, truth.finding_reading_m, strict=True)
    ):
        real = truth.at(float(reading))
        gap = real[:2] - [result.near.easting_m, result.near.northing_m]
        found.position.append(float(gap @ np.linalg.solve(covariance[index], gap)))
        deep = truth.depth(float(reading)) - result.near.depth_m
        found.depth.append(deep / result.near.sd_depth_m)
        for side in result.sides:
            past = float(true_past_m(truth, side.line, real[None, :2])[0])
            found.past.append((past - side.past_m) / side.sd_past_m)
            found.odds.append(side.probability_past)
            found.was_past.append(past > 0.0)
            found.verdicts.append(side.verdict)


def _crossings(found: Coverage, report: Report, truth: Truth) -> None:
    lines = [crossing.line for crossing in report.crossings]
    for crossing in report.crossings:
        real = true_crossing_m(truth, crossing.line)
        # A line that doubles back crosses more than once; there is no one truth to hold it to.
        if real is not None and lines.count(crossing.line) == 1:
            found.crossing.append((real - crossing.footage_m) / crossing.sd_footage_m)
