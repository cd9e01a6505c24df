"""How far off a bend's place may be is what refits with it moved say."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site
from truth.slips import plant

from lateral_map.adjust.bend_place import measure_bend_place
from lateral_map.adjust.route import adjust_route
from lateral_map.model.site import Bend


def bent_site():
    """A run that turns right by 45 degrees at 12 m, located every 2 m; all exact."""
    site = straight_site(locate_footages_m=tuple(np.arange(2.0, 26.0, 2.0)))
    corner, turned = 12.0 * np.cos(np.arctan(0.02)), math.radians(45.0)
    locates = []
    for one in site.locates:
        along = (one.footage_m - 0.1524) * np.cos(np.arctan(0.02))
        beyond = max(along - corner, 0.0)
        place = (min(along, corner) + beyond * math.cos(turned), -beyond * math.sin(turned))
        ties = tuple(
            replace(tie, distance_m=float(np.hypot(place[0] - at[0], place[1] - at[1])))
            for tie in one.ties
            for point in [site.plan.point(tie.point)]
            for at in [(point.easting_m, point.northing_m)]
        )
        locates.append(replace(one, ties=ties))
    return replace(site, locates=tuple(locates), bends=(Bend(12.0, 45.0),))


def test_the_place_of_a_bend_is_known_as_refits_with_it_moved_say():
    site = bent_site()
    route = adjust_route(site)
    assert route.chi_square < 1.0
    sd, by = measure_bend_place(route, 12.0), 0.3
    rise = [
        adjust_route(replace(site, bends=(Bend(12.0 + far, 45.0),))).chi_square - route.chi_square
        for far in (-by, by)
    ]
    assert sd == pytest.approx(by / math.sqrt(np.mean(rise)), rel=0.2)


def test_a_bend_that_no_tie_lies_beyond_may_be_anywhere_in_the_gap():
    site = bent_site()
    route = adjust_route(replace(site, locates=site.locates[:5]))
    last = route.tied_footages_m[-1]
    assert measure_bend_place(route, 12.0) == pytest.approx((30.0 - last) / math.sqrt(12.0))


def test_a_bend_is_placed_no_worse_than_between_its_two_ties():
    for seed in range(1, 9):
        route = adjust_route(plant("clean jobs", seed).site)
        ties = np.array([route.chain.nodes_m[0], *route.tied_footages_m, route.site.run.end_m])
        for bend in route.site.bends:
            gap = np.min(ties[ties > bend.footage_m]) - np.max(ties[ties <= bend.footage_m])
            assert 0.0 < measure_bend_place(route, bend.footage_m) <= gap / math.sqrt(12.0) + 1e-9
