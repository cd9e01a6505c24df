"""What an answer rests on, against really setting readings aside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.model.identity import ReadingId
from lateral_map.model.past import measure_past
from lateral_map.model.site import OffsetTie
from lateral_map.model.telling import find_telling_readings, growth_by_loss


@pytest.mark.parametrize("seed", [2, 5, 11])
def test_growth_is_what_striking_the_equations_out_does(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    past = measure_past(route, "curb", [0.5 * site.run.end_m, 0.8 * site.run.end_m])
    readings, growth = growth_by_loss(route, past.gradient)
    before = np.einsum("kn,nm,km->k", past.gradient, route.covariance, past.gradient)
    checked = 0
    for observation in route.observations:
        if observation.id not in readings or not observation.id.mark:
            continue
        kept = np.ones(len(route.residuals), bool)
        kept[observation.rows] = False
        without = np.linalg.inv(route.design[kept].T @ route.design[kept])
        after = np.einsum("kn,nm,km->k", past.gradient, without, past.gradient)
        found = growth[readings.index(observation.id)]
        assert found == pytest.approx(after - before, rel=1e-4, abs=1e-8)
        checked += 1
    assert checked


def test_a_curb_nobody_taped_rests_on_its_map():
    route = adjust_route(straight_site(locate_footages_m=(6.0, 12.0, 18.0), tie=surveyed))
    assert find_telling_readings(route, measure_past(route, "curb", 24.0).gradient)[0][0] == (
        ReadingId("line", "curb")
    )


def test_a_taped_curb_rests_on_the_tape():
    site = straight_site(locate_footages_m=(6.0, 12.0, 23.0), tie=surveyed)
    last = site.locates[-1]
    taped = replace(last, ties=(*last.ties, OffsetTie("curb", 1.152, 0.03, as_past=True)))
    route = adjust_route(replace(site, locates=(*site.locates[:-1], taped)))
    named = find_telling_readings(route, measure_past(route, "curb", 24.0).gradient)[0]
    assert named[0] == ReadingId("offset", "3", "past")
