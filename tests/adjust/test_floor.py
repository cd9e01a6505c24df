"""A run that starts indoors: the floor's level ends at the wall."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import box

from lateral_map.adjust.route import adjust_route
from lateral_map.model.site import PlanArea


def indoors(floor_m, yard_m, wall_m=4.0):
    """Return a run east from a floor, out through a wall, under a level yard."""
    site = straight_site(locate_footages_m=(8.0, 14.0, 20.0, 26.0), tie=surveyed)
    locates = []
    for one in site.locates:
        below = floor_m - 1.2 - (one.footage_m - 0.1524) * np.sin(np.arctan(0.02))
        locates.append(replace(one, ground_m=yard_m, depth_m=yard_m - below - 0.036576))
    house = PlanArea("house", "building", box(-6.0, -5.0, wall_m, 5.0))
    return replace(
        site,
        start=replace(site.start, ground_m=floor_m),
        locates=tuple(locates),
        plan=replace(site.plan, areas=(house,)),
    )


@given(st.floats(-2.5, 0.6), st.floats(2.0, 6.5))
def test_outside_the_wall_the_depth_is_the_yards(basement, wall):
    route = adjust_route(indoors(30.0 + basement, 30.0, wall))
    fall = np.sin(np.arctan(0.02))
    inside, outside = route.depths([wall - 0.1, wall + 0.1])[0]
    assert inside == pytest.approx(1.2 + wall * fall, abs=0.03)
    assert outside == pytest.approx(1.2 - basement + wall * fall, abs=0.03)


def test_outdoors_a_start_level_counts_along_the_run():
    site = indoors(29.0, 30.0)
    site = replace(site, plan=replace(site.plan, areas=()))
    assert adjust_route(site).ground.elevation(4.0)[0] == pytest.approx(29.0 + 4.0 / 7.85, abs=0.02)
