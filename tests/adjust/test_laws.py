"""What must not change the answer: turning the plan, moving it, reordering rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.model.site import PositionTie, Site, Tie

SEEDS = st.integers(0, 10_000)


def moved_site(site: Site, turn_deg: float, east: float, north: float) -> Site:
    """Return the same site turned clockwise about the origin, then shifted."""
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])

    def place(x: float, y: float) -> tuple[float, float]:
        turned = matrix @ [x, y]
        return float(turned[0] + east), float(turned[1] + north)

    def tie(one: Tie) -> Tie:
        if not isinstance(one, PositionTie):
            return one
        x, y = place(one.easting_m, one.northing_m)
        return replace(one, easting_m=x, northing_m=y)

    points = []
    for point in site.plan.points:
        x, y = place(point.easting_m, point.northing_m)
        points.append(replace(point, easting_m=x, northing_m=y))
    lines = [
        replace(line, vertices_m=line.vertices_m @ matrix.T + [east, north])
        for line in site.plan.lines
    ]
    x, y = place(site.start.easting_m, site.start.northing_m)
    azimuth = site.start.azimuth_deg
    return replace(
        site,
        start=replace(
            site.start,
            easting_m=x,
            northing_m=y,
            azimuth_deg=None if azimuth is None else azimuth + turn_deg,
        ),
        plan=replace(site.plan, points=tuple(points), lines=tuple(lines)),
        locates=tuple(replace(one, ties=tuple(tie(t) for t in one.ties)) for one in site.locates),
    )


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.floats(-720.0, 720.0), st.floats(-5e3, 5e3), st.floats(-5e3, 5e3))
def test_turning_and_shifting_the_plan(seed, turn_deg, east, north):
    site, _ = simulate(seed)
    footage = np.linspace(0.0, site.run.end_m, 9)
    here, there = adjust_route(site), adjust_route(moved_site(site, turn_deg, east, north))
    assert there.chi_square == pytest.approx(here.chi_square, rel=1e-5, abs=1e-5)
    angle = np.radians(turn_deg)
    matrix = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    expected = here.positions(footage)[:, :2] @ matrix.T + [east, north]
    assert there.positions(footage)[:, :2] == pytest.approx(expected, abs=2e-5)
    assert there.depths(footage)[1] == pytest.approx(here.depths(footage)[1], rel=1e-4)


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.randoms(use_true_random=False))
def test_row_order_is_nothing(seed, random):
    site, _ = simulate(seed)
    locates, bends = list(site.locates), list(site.bends)
    random.shuffle(locates)
    random.shuffle(bends)
    shuffled = adjust_route(replace(site, locates=tuple(locates), bends=tuple(bends)))
    footage = np.linspace(0.0, site.run.end_m, 9)
    straight = adjust_route(site)
    assert shuffled.positions(footage) == pytest.approx(straight.positions(footage), abs=1e-7)


@settings(max_examples=12, deadline=None)
@given(SEEDS)
def test_one_more_reading_never_adds_uncertainty(seed):
    """At the same place, with the same chain, information only grows."""
    site, _ = simulate(seed)
    vague = replace(
        site,
        locates=tuple(
            replace(
                one,
                ties=tuple(replace(t, sd_m=2.0 * t.sd_m) for t in one.ties),
            )
            for one in site.locates
        ),
    )
    footage = np.linspace(0.0, site.run.end_m, 9)
    sharp = np.trace(adjust_route(site).position_covariance(footage), axis1=1, axis2=2)
    loose = np.trace(adjust_route(vague).position_covariance(footage), axis1=1, axis2=2)
    # The two are linearised at slightly different lines, so allow a small share.
    assert (sharp <= 1.05 * loose).all()


@settings(max_examples=10, deadline=None)
@given(SEEDS)
def test_a_reading_set_aside_counts_for_nothing(seed):
    site, _ = simulate(seed)
    aside = replace(site.locates[0], use=False)
    without = replace(site, locates=site.locates[1:])
    with_aside = replace(site, locates=(aside, *site.locates[1:]))
    footage = np.linspace(0.0, site.run.end_m, 5)
    assert adjust_route(with_aside).positions(footage) == pytest.approx(
        adjust_route(without).positions(footage), abs=1e-12
    )
