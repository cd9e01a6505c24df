"""Where the line crosses curbs, right-of-way and property lines."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from lateral_map.draw.plan.scene import BOUNDARY, DECIDING_CROSSING, OTHER, Layer, Mark
from lateral_map.model.results import Crossing, Report
from lateral_map.words.picked import crossing_picked
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
        marks += [
            Mark(
                each.easting_m,
                each.northing_m,
                "gate",
                words if each is telling else "",
                crossing_picked(report, each),
                turn_deg=float(report.route.headings_deg([each.footage_m])[0][0]),
                footage_m=each.footage_m,
                weight=_weight(report, each),
            )
            for each in together
        ]
    legend = (("gate", "Crossing; its 95 % range stands beside it"),)
    return Layer("crossings", "Crossings", tuple(marks), legend)


def _weight(report: Report, crossing: Crossing) -> int:
    if crossing.decides:
        return DECIDING_CROSSING
    named = {boundary.line for boundary in report.site.boundaries}
    return BOUNDARY if crossing.line in named else OTHER
