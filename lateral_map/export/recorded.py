"""The line as a recorded utility: stretches with the attributes open standards ask of one.

A stretch is as long as what it rests on, its material and who answers stay the same. The method is
stated, the 95 % accuracy is a number, and no quality level is assigned: ASCE 38-22 leaves that to a
professional's judgement.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final

from lateral_map.export.outward import outward
from lateral_map.model.chance import TWO_SIDED_95

if TYPE_CHECKING:
    from lateral_map.model.arrays import Floats
    from lateral_map.model.results import Basis, Report

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
    out, stations, site = outward(report), report.stations, report.site
    by_basis = stations.basis_stretches()
    first, last = by_basis[0].from_m, by_basis[-1].to_m
    edges = {s.from_m for s in by_basis} | {s.from_m for s in report.pipes} | {last}
    edges |= {s.from_m for s in report.responsibility}
    found = []
    for from_m, to_m in pairwise(sorted(edge for edge in edges if first <= edge <= last)):
        middle = (from_m + to_m) / 2.0
        basis = next(s.basis for s in by_basis if s.from_m <= middle <= s.to_m)
        pipe = next((s for s in report.pipes if s.from_m <= middle <= s.to_m), None)
        answers = (s.party for s in report.responsibility if s.from_m <= middle <= s.to_m)
        inside = (stations.footage_m >= from_m) & (stations.footage_m <= to_m)
        if not inside.any():
            inside[stations.index_of(middle)] = True
        sd_depth = float(stations.depth_sd_m[inside].max())
        record = {
            "from": out.length(from_m),
            "to": out.length(to_m),
            "function": "sanitary sewer lateral",
            "basis": basis,
            "method": INFERRED[basis],
            # The worst figures along the stretch.
            "horizontal_accuracy_95": out.length(float(stations.semi_major_m[inside].max())),
            "depth_accuracy_95": out.length(TWO_SIDED_95 * sd_depth),
            "least_depth_to_invert": out.length(float(stations.depth_m[inside].min())),
            "greatest_depth_to_invert": out.length(float(stations.depth_m[inside].max())),
            "material": pipe.material if pipe else None,
            "nominal_size": out.length(pipe.size_m) if pipe else None,
            "outside_diameter": out.length(pipe.outside_diameter_m) if pipe else None,
            "answers": next(answers, "") or None,
            "date": site.date.isoformat() if site.date else None,
            "elevations": "invert elevation"
            if stations.ground_known
            else "invert below a level ground line; nobody measured the ground",
            "other_lines": len(report.route.alternatives),
            "suspect_readings": len(report.suspects),
            "quality_level": QUALITY_LEVEL,
            "unit": out.unit,
        }
        found.append(RecordedStretch(report.line_vertices(from_m, to_m), basis, record))
    return tuple(found)
