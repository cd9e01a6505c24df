"""The line as a recorded utility: stretches with the attributes open standards ask of one.

A stretch is as long as what it rests on, its material and who answers stay the same. The method is
stated, the 95 % accuracy is a number, and no quality level is assigned: ASCE 38-22 leaves that to a
professional's judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.export.outward import Outward, outward
from lateral_map.model.chance import TWO_SIDED_95

if TYPE_CHECKING:
    from lateral_map.model.results import Basis, PipeStretch, Report

Floats = NDArray[np.float64]

METHOD: Final = "electromagnetic observation"
INFERRED: Final[dict[Basis, str]] = {
    "located": METHOD,
    "between locates": f"inferred between places of {METHOD}",
    "dead reckoned": "inferred from footage and bends, not located",
}
QUALITY_LEVEL: Final = "ASCE 38-22 quality level: not assigned, a professional's judgement"


@dataclass(frozen=True, slots=True)
class RecordedStretch:
    """One stretch: (n, 3) vertices in the plane, invert elevations as Z, and its attributes."""

    vertices_m: Floats
    basis: Basis
    record: dict[str, Any]


def recorded_stretches(report: Report) -> tuple[RecordedStretch, ...]:
    """Return the line's stretches in order of footage."""
    out = outward(report)
    stretches = report.stations.basis_stretches()
    edges = {s.from_m for s in stretches} | {stretches[-1].to_m}
    first, last = min(edges), max(edges)
    edges |= {s.from_m for s in report.pipes} | {s.from_m for s in report.responsibility}
    inside = sorted(edge for edge in edges if first <= edge <= last)
    return tuple(
        _stretch(report, out, from_m, to_m) for from_m, to_m in pairwise(inside) if to_m > from_m
    )


def line_vertices(report: Report, from_m: float, to_m: float) -> Floats:
    """Return (n, 3) easting, northing, invert elevation (m) of the line, bends included."""
    nodes = report.route.chain.nodes_m
    inside = nodes[(nodes > from_m) & (nodes < to_m)]
    return report.route.positions([from_m, *inside, to_m])


def _stretch(report: Report, out: Outward, from_m: float, to_m: float) -> RecordedStretch:
    middle = (from_m + to_m) / 2.0
    stretches = report.stations.basis_stretches()
    basis = next(s.basis for s in stretches if s.from_m <= middle <= s.to_m)
    record = {
        "from": out.length(from_m),
        "to": out.length(to_m),
        "function": "sanitary sewer lateral",
        "basis": basis,
        "method": INFERRED[basis],
        **_accuracy(report, out, from_m, to_m),
        **_pipe(report, out, middle),
        "answers": _party(report, middle),
        "date": report.site.date.isoformat() if report.site.date else None,
        "elevations": _elevations(report),
        "other_lines": len(report.route.alternatives),
        "suspect_readings": len(report.suspects),
        "quality_level": QUALITY_LEVEL,
        "unit": out.unit,
    }
    return RecordedStretch(line_vertices(report, from_m, to_m), basis, record)


def _accuracy(report: Report, out: Outward, from_m: float, to_m: float) -> dict[str, Any]:
    """Return the worst 95 % figures along a stretch."""
    stations = report.stations
    inside = (stations.footage_m >= from_m) & (stations.footage_m <= to_m)
    if not inside.any():
        inside[stations.index_of((from_m + to_m) / 2.0)] = True
    return {
        "horizontal_accuracy_95": out.length(float(stations.semi_major_m[inside].max())),
        "depth_accuracy_95": out.length(TWO_SIDED_95 * float(stations.depth_sd_m[inside].max())),
        "least_depth_to_invert": out.length(float(stations.depth_m[inside].min())),
        "greatest_depth_to_invert": out.length(float(stations.depth_m[inside].max())),
    }


def _pipe(report: Report, out: Outward, footage_m: float) -> dict[str, Any]:
    found: PipeStretch | None = next(
        (pipe for pipe in report.pipes if pipe.from_m <= footage_m <= pipe.to_m), None
    )
    return {
        "material": found.material if found else None,
        "nominal_size": out.length(found.size_m) if found else None,
        "outside_diameter": out.length(found.outside_diameter_m) if found else None,
    }


def _party(report: Report, footage_m: float) -> str | None:
    found = (s.party for s in report.responsibility if s.from_m <= footage_m <= s.to_m)
    return next(found, None)


def _elevations(report: Report) -> str:
    if report.stations.ground_known:
        return "invert elevation"
    return "invert below a level ground line; nobody measured the ground"
