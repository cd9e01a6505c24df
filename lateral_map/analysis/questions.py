"""Which readings make no sense as written, and would in another unit or with the point moved?"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator
from typing import Final

import numpy as np

from lateral_map.model.expected import design_drop_m
from lateral_map.model.far import far_footages
from lateral_map.model.identity import ReadingId
from lateral_map.model.results import Question
from lateral_map.model.site import Site, TapeTie, Unit
from lateral_map.units import from_metres, metres_per, to_metres

# Beyond this a depth is asked about where it is also several times what is expected, or a share.
_DEEP_M: Final = to_metres(15.0, "ft")
_TIMES: Final = 3.0
# A reading read anew makes sense within this factor of what is expected.
_NEAR: Final = 1.6
# A depth at the top of a riser near the riser's own length was likely meant for its foot; so many
# depths read beyond are asked.
_BOTH_COUNTED, _DEPTHS_ASKED = 0.6, 3
# What a number may have been read in instead, the likeliest first.
_INSTEAD: Final[dict[Unit, tuple[str, ...]]] = {
    "ft": ("in", "m", "cm"),
    "us_ft": ("in", "m", "cm"),
    "m": ("cm", "ft", "in", "mm"),
}


def ask_questions(site: Site) -> tuple[Question, ...]:
    """Return the readings that make no sense as written, in the order of depths, tapes, footages.

    What nothing checks is asked about too: no misfit is needed.
    """
    depths, tapes = [], []
    start, expected = site.start, site.expected_depths_m
    for one in site.used_locates():
        read, should = one.depth_m, expected[one.mark] + one.held_above_m
        if read is not None and (read > max(_DEEP_M, _TIMES * should) or 0 < read < should / 8.0):
            reading = ReadingId("depth", one.mark, "depth")
            depths.append(_asked(site, reading, read, should / _NEAR, should * _NEAR))
        run = site.transmitter_footage_m(one) - site.counter.zero_m
        for tie in one.ties:
            if not isinstance(tie, TapeTie):
                continue
            point = site.plan.point(tie.point)
            far = math.hypot(point.easting_m - start.easting_m, point.northing_m - start.northing_m)
            if tie.distance_m > 1.5 * (far + run):
                reading = ReadingId("tape", one.mark, tie.column)
                tapes.append(_asked(site, reading, tie.distance_m, max(far - run, 0.0), far + run))
    # Footages that stand alone: the counter keeps to one unit, but loses its point.
    footages = [
        Question(
            one.reading,
            one.footage_m,
            "" if one.meant_m is None else "point",
            one.meant_m,
            one.finding,
            one.footage_m >= site.run.end_m and not site.run.end_given,
        )
        for one in far_footages(site)
    ]
    return (*depths, *tapes, *footages, *_riser(site))


def _riser(site: Site) -> Iterator[Question]:
    """Ask whether a start's depth was measured at the riser's foot, the riser then counted twice.

    Not where the depths read beyond say that it was not.
    """
    start, riser = site.start, site.start.riser_m
    if start.depth_m is None or not 0.0 < _BOTH_COUNTED * riser <= start.depth_m:
        return
    at_foot = [
        read + riser - float(design_drop_m(site, np.array([site.transmitter_footage_m(one)]))[0])
        for one in site.used_locates()
        if (read := site.read_invert_depth_m(one)) is not None
    ]
    if at_foot:
        said = statistics.median(at_foot[:_DEPTHS_ASKED])
        if abs(said - start.depth_m) > abs(said - start.depth_m - riser):
            return
    reading = ReadingId("start depth")
    yield Question(reading, start.depth_m, "foot", max(start.depth_m - riser, 0.0))


def _asked(site: Site, reading: ReadingId, read_m: float, low_m: float, high_m: float) -> Question:
    """Return the question, with the likeliest other meaning that lies within a range."""
    number = from_metres(read_m, site.unit)
    meanings = [(unit, number * metres_per(unit)) for unit in _INSTEAD[site.unit]]
    meanings.append(("point", read_m / 10.0))
    likely = [one for one in meanings if low_m <= one[1] <= high_m]
    unit, would = likely[0] if likely else ("", None)
    return Question(reading, read_m, unit, would)
