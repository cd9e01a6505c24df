"""Every line that fits about as well is found, weighed and shown; a unique line stays alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed, three_tapes

from lateral_map.adjust.route import adjust_route
from lateral_map.model.site import Locate, Plan, PlanPoint, TapeTie


def last_mark_taped(aside_m, *, along=(24.5, 27.5)):
    """Return a site surveyed but for its last mark, taped from two points in a row beside it."""
    site = straight_site(locate_footages_m=(5.0, 10.0), tie=surveyed)
    points = tuple(
        PlanPoint(name, east, aside_m, 0.01) for name, east in zip("AB", along, strict=True)
    )
    place = np.array([26.0, 0.0])
    ties = tuple(
        TapeTie(p.name, float(np.hypot(*(place - [p.easting_m, p.northing_m]))), 0.03, f"tape{i}")
        for i, p in enumerate(points, 1)
    )
    last = Locate("9", 26.16, 1.7, ties=ties)
    return replace(
        site, plan=Plan(lines=site.plan.lines, points=points), locates=(*site.locates, last)
    )


@pytest.mark.parametrize("aside_m", [0.4, -0.4, 0.6, -0.7])
def test_one_marks_mirror_image_is_found(aside_m):
    route = adjust_route(last_mark_taped(aside_m))
    (other,) = route.alternatives
    ends = [route.positions(26.0)[0, 1]]
    ends.append(route.solutions[1][1].positions(26.0)[0, 1])
    assert sorted(ends) == pytest.approx(sorted([0.0, 2.0 * aside_m]), abs=0.25 * abs(aside_m))
    assert 0.0 < other.weight < 1.0
    assert other.cost - route.chi_square < 5.991
    assert np.linalg.eigvalsh(other.covariance).min() > 0.0


def test_the_line_the_rest_prefers_weighs_more():
    near, far = (adjust_route(last_mark_taped(by)).alternatives[0].weight for by in (0.35, 0.7))
    assert far < near < 0.5


def test_an_image_that_the_pipe_cannot_reach_is_none():
    assert adjust_route(last_mark_taped(5.0)).alternatives == ()


@pytest.mark.parametrize("tie", [surveyed, three_tapes])
@pytest.mark.parametrize("known", [True, False])
def test_a_unique_line_stays_alone(tie, known):
    site = straight_site(locate_footages_m=(5.0, 12.0, 20.0), tie=tie, known_azimuth=known)
    assert adjust_route(site).alternatives == ()


def test_weights_are_shares():
    route = adjust_route(last_mark_taped(0.5))
    assert sum(weight for weight, _ in route.solutions) == pytest.approx(1.0)
