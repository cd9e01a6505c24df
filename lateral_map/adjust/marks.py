"""Where each locate's mark stands, how deep its read-out puts the invert, and how it agrees."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np

from lateral_map.adjust.possible import fix_by_ties
from lateral_map.adjust.transmitter import sd_depth_m
from lateral_map.model.diagnosis import LIKELY, Diagnosis
from lateral_map.model.results import LocateResult, LocateState, ReadingCheck
from lateral_map.model.route import Route

_WORST_FIRST: tuple[LocateState, ...] = ("suspect", "good")


def place_locates(
    route: Route, readings: Iterable[ReadingCheck], diagnoses: tuple[Diagnosis, ...] = ()
) -> tuple[LocateResult, ...]:
    """Return every locate, those set aside too, in the site's order.

    Where a diagnosis is likely, only the locate that it names is suspect; others are put off.

    A locate in use stands on the adjusted line over its transmitter; one set aside where its own
    ties put its mark.
    """
    site = route.site
    checks: defaultdict[str, list[ReadingCheck]] = defaultdict(list)
    for check in readings:
        if check.id.mark:
            checks[check.id.mark].append(check)
    likely = [one for one in diagnoses if one.probability >= LIKELY]
    named = {slip.id.mark for one in likely for slip in one.together if slip.id}
    expected = site.expected_depths_m
    results = []
    for locate in site.locates:
        at = site.transmitter_footage_m(locate)
        if locate.use:
            place: np.ndarray | None = route.positions(at)[0, :2]
        else:
            fix = fix_by_ties(site, locate, expected[locate.mark])
            place = None if fix is None else fix.points_m[0]
        own = tuple(checks[locate.mark]) if locate.use else ()
        verdicts = {check.verdict for check in own}
        state: LocateState = "set aside"
        if locate.use:
            state = next((one for one in _WORST_FIRST if one in verdicts), "unchecked")
            if likely and locate.mark in named:
                state = "suspect"
            elif likely and state == "suspect":
                state = "put off"
        read = site.read_invert_depth_m(locate)
        results.append(
            LocateResult(
                locate=locate,
                footage_m=at,
                easting_m=None if place is None else float(place[0]),
                northing_m=None if place is None else float(place[1]),
                depth_m=read,
                sd_depth_m=None
                if read is None
                else sd_depth_m(site, locate, expected[locate.mark]),
                state=state,
                checks=own,
            )
        )
    return tuple(results)
