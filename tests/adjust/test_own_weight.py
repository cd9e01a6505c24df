"""No reading sets its own weight: a gross mistake must not excuse itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import FOOT, straight_site, surveyed
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings
from lateral_map.model.expected import expect_depths
from lateral_map.model.identity import ReadingId
from lateral_map.model.site import Bend

SITES = {
    "riser": straight_site(
        locate_footages_m=(4.0, 8.0, 12.0, 16.0, 20.0), tie=surveyed, riser_m=1.5
    ),
    "level": straight_site(locate_footages_m=(4.0, 8.0, 12.0, 16.0, 20.0), tie=surveyed),
    "drop": straight_site(
        locate_footages_m=(4.0, 8.0), tie=surveyed, bends=(Bend(9.0, fall_deg=22.5),)
    ),
    "two": straight_site(locate_footages_m=(10.0, 20.0), tie=surveyed, riser_m=1.0),
}


def with_depth(site, index, depth_m):
    """Return the site with another depth at one locate."""
    locates = list(site.locates)
    locates[index] = replace(locates[index], depth_m=depth_m)
    return replace(site, locates=tuple(locates))


@pytest.mark.parametrize("name", SITES)
@given(st.floats(0.1, 80.0), st.integers(0, 4))
def test_a_depth_weighs_the_same_whatever_it_says(name, depth, index):
    site = SITES[name]
    index %= len(site.locates)
    other = with_depth(site, index, depth)
    mark = site.locates[index].mark
    assert expect_depths(other)[mark] == expect_depths(site)[mark]


@pytest.mark.parametrize("name", SITES)
@pytest.mark.parametrize("too_deep_ft", [20.0, 40.0, 80.0, 300.0])
def test_a_gross_depth_is_named(name, too_deep_ft):
    site = SITES[name]
    for index, locate in enumerate(site.locates):
        gross = with_depth(site, index, locate.depth_m + too_deep_ft * FOOT)
        checks = {one.id: one for one in check_readings(adjust_route(gross))}
        guilty = checks[ReadingId("depth", locate.mark, "depth")]
        assert guilty.verdict == "suspect", (index, guilty)
        assert guilty.set_aside_first, index


@pytest.mark.parametrize("name", SITES)
def test_the_others_say_how_deep_it_should_be(name):
    site = SITES[name]
    for mark, expected in expect_depths(site).items():
        (locate,) = (one for one in site.locates if one.mark == mark)
        assert expected == pytest.approx(locate.transmitter_depth_m, abs=0.1)


def test_one_gross_neighbour_moves_what_is_expected_little():
    site = SITES["riser"]
    gross = expect_depths(with_depth(site, 2, 30.0))
    for mark, expected in expect_depths(site).items():
        assert gross[mark] == pytest.approx(expected, abs=0.3)
    assert np.isfinite(list(gross.values())).all()
