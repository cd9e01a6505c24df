"""Where the line crosses curbs, right-of-way and property lines."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from lateral_map.draw.plan.scene import BOUNDARY, DECIDING_CROSSING, OTHER, Detail, Layer, Mark
from lateral_map.model.results import Crossing, Report
from lateral_map.words.names import readings_listed
from lateral_map.words.notices import grazing_words
from lateral_map.words.numbers import plus_minus, tidy
from lateral_map.words.technician import crossing_words

_SAME_PLACE_M: Final = 0.05


def crossings_layer(report: Report) -> Layer:
    """Return every crossing, its gate set across the line."""
    marks: list[Mark] = []
    # Where lines coincide the weightiest crossing bears the words of all.
    footages = [crossing.footage_m for crossing in report.crossings]
    apart = 1 + np.flatnonzero(np.diff(footages) > _SAME_PLACE_M)
    ends = [0, *apart.tolist(), len(footages)] if footages else []
    for begin, end in pairwise(ends):
        together = report.crossings[begin:end]
        words = crossing_words(together, report.site.unit)
        telling = max(together, key=lambda each: _weight(report, each))
        marks += [_mark(report, each, words if each is telling else "") for each in together]
    legend = (("gate", "Crossing; its 95 % range stands beside it"),)
    return Layer("crossings", "Crossings", tuple(marks), legend)


def _mark(report: Report, crossing: Crossing, caption: str) -> Mark:
    heading = float(report.route.headings_deg([crossing.footage_m])[0][0])
    return Mark(
        crossing.easting_m,
        crossing.northing_m,
        "gate",
        caption,
        crossing_detail(report, crossing),
        turn_deg=heading,
        footage_m=crossing.footage_m,
        weight=_weight(report, crossing),
    )


def _weight(report: Report, crossing: Crossing) -> int:
    if crossing.decides:
        return DECIDING_CROSSING
    named = {boundary.line for boundary in report.site.boundaries}
    return BOUNDARY if crossing.line in named else OTHER


def crossing_detail(report: Report, crossing: Crossing) -> Detail:
    """Return what is shown when a crossing is picked."""
    unit = report.site.unit
    rows = [
        ("Footage", plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)),
        ("Depth to invert", plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)),
        ("Crossed at", f"{crossing.angle_deg:.0f}°"),
    ]
    if crossing.decides:
        rows.append(("Responsibility", "changes here"))
    if crossing.extended:
        rows.append(("Caution", "the line was carried on past its mapped end"))
    if not crossing.outward:
        rows.append(("Way", "the run comes back over the line here"))
    if crossing.grazing:
        rows.append(("Note", grazing_words(crossing, unit)))
    if crossing.rests_on:
        rows.append(("Rests on", readings_listed(crossing.rests_on, report.site.plan)))
    return Detail(f"Crosses {tidy(crossing.line)}", tuple(rows))
