"""The dig buffer against published zone widths, closed forms and laws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis.builder import HandRoute, Sds, as_line
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.dig import draw_dig_buffer, half_width_m
from lateral_map.analysis.pipes import list_pipes
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.results import PipeStretch
from lateral_map.model.site import DigRules, PipeRun
from lateral_map.units import to_metres

INCH = 0.0254


def draw(route, pipes=None):
    stations = lay_stations(route)
    return stations, draw_dig_buffer(route, stations, pipes or list_pipes(route.site))


def width_at(polygon, easting_m):
    """The polygon's width across a run that heads east, at one easting."""
    cut = LineString([(easting_m, -50.0), (easting_m, 50.0)])
    return float(polygon.intersection(cut).length)


def zone_in(outside_in, tolerance_in):
    half = half_width_m(np.array([outside_in * INCH / 2.0]), tolerance_in * INCH, np.zeros(1))
    return 2.0 * float(half[0]) / INCH


def test_montana_811_worked_example():
    # Montana 811, "The tolerance zone" (2018): a 20 in pipe with 18 in each side is 56 in wide.
    assert zone_in(20.0, 18.0) == pytest.approx(56.0)


def test_california_three_cases():
    # California Government Code 4216, "tolerance zone", for a 4 in pipe: 24 in from one mark is
    # 48 in; with half the size, or from outside edge marks, it is 52 in.
    assert zone_in(0.0, 24.0) == pytest.approx(48.0)
    assert zone_in(4.0, 24.0) == pytest.approx(52.0)


def test_a_drawn_buffer_has_that_width():
    rules = DigRules(to_metres(18.0, "in"), "18 in each side")
    route = HandRoute(site_fields={"dig": rules}).build()
    pipe = PipeStretch(0.0, 30.0, "other", 20 * INCH, 20 * INCH, "as in the example")
    _, buffer = draw(route, (pipe,))
    assert width_at(buffer.polygon, 15.3) / INCH == pytest.approx(56.0, abs=1e-4)
    assert buffer.rule == "18 in each side"
    assert buffer.tolerance_m == pytest.approx(18 * INCH)


def test_half_width_adds_up():
    rules = DigRules(0.6, "two feet")
    route = HandRoute(
        sds=Sds(start=0.1, azimuth=0.02),
        site_fields={"dig": rules, "pipes": (PipeRun(0.0, "pvc", 4 * INCH),)},
    ).build()
    stations, buffer = draw(route)
    away = stations.footage_m
    lateral = 1.959964 * np.hypot(0.1, 0.02 * away)
    assert buffer.half_width_m == pytest.approx(2.25 * INCH + 0.6 + lateral, rel=1e-6)
    # The sides open by two degrees, so that straight across they stand a hair wider; never less.
    needed = 1.959964 * np.hypot(0.1, 0.3)
    assert needed <= width_at(buffer.corridor, 15.0) / 2 <= 1.005 * needed


def test_without_a_rule_the_widest_known_stands_in():
    _, buffer = draw(HandRoute().build())
    # Michigan, MCL 460.723: a caution zone of 48 in on each side of the marks.
    assert buffer.tolerance_m == pytest.approx(48 * INCH)
    assert "no local rule" in buffer.rule
    assert "5.19" in buffer.rule


def test_the_ends_reach_as_far_as_the_run_may():
    route = HandRoute(sds=Sds(start=0.2, scale=0.01), site_fields={"dig": DigRules(0.6)}).build()
    _, buffer = draw(route)
    west, _, east, _ = buffer.corridor.bounds
    reach = 1.959964 * np.hypot(0.2, 0.3) + 1.959964 * 0.2
    assert east == pytest.approx(30.0 + reach, rel=1e-3)
    assert west == pytest.approx(-2 * 1.959964 * 0.2, rel=0.01)


def test_a_change_of_pipe_never_narrows_too_early():
    pipes = (PipeRun(0.0, "clay", 8 * INCH), PipeRun(10.1, "pvc", 4 * INCH))
    route = HandRoute(unit="m", site_fields={"pipes": pipes, "dig": DigRules(0.6)}).build()
    stations, buffer = draw(route)
    wide = buffer.half_width_m > 0.6 + 4 * INCH
    assert stations.footage_m[wide].max() == pytest.approx(10.25)
    assert width_at(buffer.polygon, 10.09) == pytest.approx(2 * (0.6 + 9.9 * INCH / 2), abs=1e-6)


SEEDS = st.integers(0, 400)


@settings(max_examples=15)
@given(SEEDS)
def test_buffer_holds_corridor_holds_route(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    stations, buffer = draw(route)
    line = LineString(np.stack([stations.easting_m, stations.northing_m], axis=-1))
    assert buffer.corridor.is_valid
    assert buffer.polygon.is_valid
    assert buffer.corridor.covers(line)
    assert buffer.polygon.covers(buffer.corridor)
    for index in range(0, len(stations.footage_m), 7):
        # Nothing within the half width of a station is left out.
        disc = Point(stations.easting_m[index], stations.northing_m[index]).buffer(
            buffer.half_width_m[index], quad_segs=4
        )
        # Corners are rounded to a ten-thousandth of a millimetre, so that bytes repeat.
        assert buffer.polygon.buffer(1e-7).covers(disc)


@settings(max_examples=15)
@given(SEEDS, st.floats(0.0, 1.5), st.floats(0.0, 1.5))
def test_a_wider_tolerance_never_shrinks_the_buffer(seed, one, other):
    site, _ = simulate(seed)
    narrow, wide = sorted((one, other))
    route = adjust_route(site)
    small, large = (
        draw(replace(route, site=replace(site, dig=DigRules(tolerance))))[1].polygon
        for tolerance in (narrow, wide)
    )
    assert large.buffer(1e-9).covers(small)
    assert large.area >= small.area - 1e-9


def test_swept_area_in_closed_form():
    # A straight run of even width is a rectangle and two half discs, drawn as 32-gons round them.
    route = HandRoute(site_fields={"dig": DigRules(0.6)}).build()
    pipe = PipeStretch(0.0, 30.0, "other", None, 0.2, "")
    _, buffer = draw(route, (pipe,))
    around = 32 * np.tan(np.pi / 32) * 0.7**2
    assert buffer.polygon.area == pytest.approx(30.0 * 1.4 + around, rel=1e-6)


def test_a_route_that_fits_as_well_is_dug_round_too():
    route = HandRoute(site_fields={"dig": DigRules(0.6)}).build()
    other = np.array([[0.0, 0.0], [0.0, -30.0]])
    _, buffer = draw(replace(route, alternatives=(as_line(route, other),)))
    assert buffer.polygon.covers(Point(0.3, -29.0))
    assert buffer.polygon.buffer(1e-9).covers(draw(route)[1].polygon)
    assert not buffer.corridor.covers(Point(0.0, -29.0))
