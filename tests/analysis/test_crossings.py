"""Crossings in closed form, under laws, and against slow loops and drawn routes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis.builder import HandRoute, Sds, draw_routes, line, turned
from hypothesis import given, settings
from hypothesis import strategies as st
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.analysis.crossings import find_crossings
from lateral_map.model.identity import ReadingId
from lateral_map.model.past import measure_past
from lateral_map.model.site import Boundary
from lateral_map.words.notices import grazing_words, uncrossed_words

DECIDES = (Boundary("curb", "owner", "city", decides=True),)
SQUARE = line("curb", (20.0, 8.0), (20.0, -8.0))


def only(route):
    crossings, _ = find_crossings(route)
    assert len(crossings) == 1
    return crossings[0]


def test_square_crossing_is_as_sure_as_the_distance():
    curb = line("curb", (20.0, 8.0), (20.0, -8.0), sd_m=0.6)
    sds = Sds(start=0.15, scale=0.01, zero=0.09, azimuth=0.05, pitch=0.02)
    found = only(HandRoute(lines=(curb,), boundaries=DECIDES, sds=sds).build())
    assert found.footage_m == pytest.approx(20.0)
    # Along the pipe: start, counter's zero, 1 % of 20 m, and where the curb really is.
    assert found.sd_footage_m == pytest.approx(np.sqrt(0.15**2 + 0.09**2 + 0.2**2 + 0.6**2))
    assert (found.easting_m, found.northing_m) == pytest.approx((20.0, 0.0))
    assert found.angle_deg == pytest.approx(90.0)
    assert found.decides
    assert found.outward
    assert found.carried_m == 0.0
    assert not found.grazing


@given(st.floats(20.0, 89.0))
def test_oblique_crossing_is_looser_by_the_rate(angle_deg):
    angle = np.radians(angle_deg)
    along = 12.0 * np.array([np.cos(angle), np.sin(angle)])
    curb = line(
        "curb", tuple(np.array([20.0, 0.0]) + along), tuple(np.array([20.0, 0.0]) - along), sd_m=0.3
    )
    found = only(HandRoute(lines=(curb,), boundaries=DECIDES, sds=Sds(start=0.1)).build())
    assert found.footage_m == pytest.approx(20.0)
    assert found.angle_deg == pytest.approx(angle_deg)
    # Oblique by 90 - angle: 1/cos of it, that is 1/sin of the angle with the line.
    assert found.sd_footage_m == pytest.approx(np.hypot(0.1, 0.3) / np.sin(angle))


def test_a_sloping_pipe_spends_more_footage_to_the_line():
    found = only(HandRoute(lines=(SQUARE,), pitches=0.5, sds=Sds(start=0.1)).build())
    assert found.footage_m == pytest.approx(20.0 / np.cos(0.5))
    assert found.sd_footage_m == pytest.approx(0.1 / np.cos(0.5))


def test_the_line_crossed_is_the_real_one():
    curb = line("curb", (20.0, 8.0), (20.0, -8.0), sd_m=0.6)
    found = only(HandRoute(lines=(curb,), shifts_m=(-0.7,)).build())
    # Drawn southwards its right is west: a shift of -0.7 m puts it 0.7 m farther on.
    assert found.footage_m == pytest.approx(20.7)


def test_riser_and_counter_start_are_in_the_footage():
    found = only(HandRoute(lines=(SQUARE,), riser_m=1.5, zero_m=2.0).build())
    assert found.footage_m == pytest.approx(23.5)


def test_the_zero_offset_moves_the_run():
    found = only(HandRoute(lines=(SQUARE,), zero_offset_m=0.2).build())
    assert found.footage_m == pytest.approx(20.2)


def test_a_grazing_crossing_says_so():
    curb = line("curb", (0.0, -1.5), (40.0, 1.5), sd_m=0.3)
    found = only(HandRoute(lines=(curb,), boundaries=DECIDES, sds=Sds(start=0.1)).build())
    assert found.angle_deg == pytest.approx(np.degrees(np.arctan(0.075)), abs=1e-6)
    assert found.sd_footage_m > 4.0
    assert "only 4 degrees" in grazing_words(found, "ft")
    assert "no better than ±" in grazing_words(found, "ft")


def test_going_out_and_coming_back_are_two_crossings():
    there_and_back = HandRoute(
        lengths_m=(25.0, 4.0, 25.0),
        azimuths_deg=(90.0, 0.0, 270.0),
        lines=(SQUARE,),
        boundaries=DECIDES,
    )
    crossings, uncrossed = find_crossings(there_and_back.build())
    assert [c.footage_m for c in crossings] == pytest.approx([20.0, 34.0])
    assert [c.outward for c in crossings] == [True, False]
    assert uncrossed == ()


def test_a_touch_is_no_crossing():
    touching = HandRoute(lengths_m=(20.0, 20.0), azimuths_deg=(45.0, 135.0))
    corner = float(20.0 * np.cos(np.radians(45.0)))
    curb = line("curb", (-30.0, corner), (60.0, corner))
    crossings, uncrossed = find_crossings(replace(touching, lines=(curb,)).build())
    assert crossings == ()
    assert len(uncrossed) == 1


def test_a_corner_of_the_run_on_the_line_is_one_crossing():
    route = HandRoute(lengths_m=(20.0, 10.0), azimuths_deg=(90.0, 60.0), lines=(SQUARE,)).build()
    assert only(route).footage_m == pytest.approx(20.0)


def test_a_boundary_is_carried_straight_on():
    short = line("curb", (20.0, 30.0), (20.0, 12.0))
    found = only(HandRoute(lines=(short,), boundaries=DECIDES).build())
    assert found.carried_m == pytest.approx(12.0)
    assert found.footage_m == pytest.approx(20.0)


def test_other_lines_are_carried_on_a_little_only():
    near = line("north lot line", (20.0, 30.0), (20.0, 2.0), kind="property_line")
    far = line("south lot line", (22.0, -30.0), (22.0, -4.0), kind="property_line")
    crossings, uncrossed = find_crossings(HandRoute(lines=(near, far)).build())
    assert [(c.line, c.carried_m) for c in crossings] == [("north lot line", pytest.approx(2.0))]
    assert [uncrossed_words(one, "ft") for one in uncrossed] == [
        "south lot line: never crossed; the run comes nearest at 72.2 ft, 13.1 ft ± 0.0 ft away"
    ]


def test_a_line_not_reached_is_said_in_words():
    ahead = line("curb", (36.096, 9.0), (36.096, -9.0), sd_m=0.3)
    route = HandRoute(lines=(ahead,), boundaries=DECIDES, sds=Sds(start=0.4)).build()
    crossings, uncrossed = find_crossings(route)
    assert crossings == ()
    # 36.096 - 30 m = 20.0 ft; 1.96 * hypot(0.3, 0.4) m = 3.2 ft.
    assert [uncrossed_words(one, "ft") for one in uncrossed] == [
        "curb: never crossed; the run ends 20.0 ft ± 3.2 ft short of it"
    ]


def test_a_parcel_is_left_once():
    parcel = line("lot", (-5, -5), (12, -5), (12, 6), (-5, 6), (-5, -5), kind="property_line")
    found = only(HandRoute(lines=(parcel,)).build())
    assert found.footage_m == pytest.approx(12.0)
    assert found.outward
    assert found.carried_m == 0.0


def test_crossing_depth_moves_with_the_crossing():
    # A steep pipe under level ground: where the line is unsure, so is the depth at it.
    curb = line("curb", (20.0, 8.0), (20.0, -8.0), sd_m=0.5)
    steep = HandRoute(lines=(curb,), pitches=float(np.arctan(0.1)), sds=Sds(elevation=0.05))
    found = only(steep.build())
    assert found.depth_m == pytest.approx(1.2 + 20.0 * 0.1)
    assert found.sd_depth_m == pytest.approx(np.hypot(0.05, 0.1 * 0.5), rel=1e-4)


def test_rests_on_names_the_loosest_thing():
    curb = line("curb", (20.0, 8.0), (20.0, -8.0), sd_m=0.6)
    found = only(HandRoute(lines=(curb,), sds=Sds(start=0.1)).build())
    assert found.rests_on[0] == ReadingId("line", "curb")
    surveyed = HandRoute(lines=(SQUARE,), sds=Sds(start=0.1)).build()
    assert only(surveyed).rests_on == (ReadingId("start position"),)


WIGGLES = st.lists(st.floats(-70.0, 70.0), min_size=2, max_size=5)


@settings(max_examples=60)
@given(WIGGLES, st.floats(-1.2, 1.2), st.floats(-180.0, 180.0), st.floats(-500.0, 500.0))
def test_footages_survive_turning_and_moving_the_site(turns, shift, turn_deg, east):
    route = _wiggly(turns, shift)
    moved = turned(route, turn_deg, east, -3.0 * east)
    here, there = find_crossings(route)[0], find_crossings(moved)[0]
    assert [c.footage_m for c in there] == pytest.approx([c.footage_m for c in here], abs=1e-7)
    assert [c.sd_footage_m for c in there] == pytest.approx(
        [c.sd_footage_m for c in here], rel=1e-6
    )


@settings(max_examples=60)
@given(WIGGLES, st.floats(-1.2, 1.2))
def test_crossings_are_where_a_slow_walk_changes_sides(turns, shift):
    route = _wiggly(turns, shift)
    walk = np.linspace(0.0, route.site.run.end_m, 4001)
    beyond = measure_past(route, "curb", walk).past_m > 0.0
    changed = np.flatnonzero(beyond[1:] != beyond[:-1])
    found = np.array([c.footage_m for c in find_crossings(route)[0]])
    # Two crossings inside one step of the walk would cancel there; they are left out of both.
    alone = found[
        [np.abs(np.delete(found, i) - f).min(initial=9.0) > 0.05 for i, f in enumerate(found)]
    ]
    gap = np.abs(alone[:, None] - walk[None, changed + 1]).min(axis=1, initial=9.0)
    assert (gap < 0.02).all()
    for at in walk[changed + 1]:
        assert np.abs(found - at).min(initial=9.0) < 0.02


def _wiggly(turns, shift):
    """A run of straight pieces against a curb with corners, moved ``shift`` to its right."""
    curb = line(
        "curb", (16.0, 40.0), (14.0, 6.0), (18.0, 1.0), (15.0, -7.0), (19.0, -40.0), sd_m=0.4
    )
    return HandRoute(
        lengths_m=(6.0,) * len(turns),
        azimuths_deg=tuple(90.0 + turn for turn in turns),
        lines=(curb,),
        shifts_m=(shift,),
        boundaries=DECIDES,
        sds=Sds(start=0.1, scale=0.01, azimuth=0.02),
    ).build()


@pytest.mark.parametrize("seed", [0, 4])
def test_sd_of_footage_is_the_spread_over_routes_drawn_from_the_covariance(seed):
    site, _ = simulate(seed)
    route = adjust_route(site)
    found: dict[str, list[tuple[float, float]]] = {}
    for unknowns in draw_routes(route, 300, seed):
        for crossing in find_crossings(replace(route, unknowns=unknowns))[0]:
            found.setdefault(crossing.line, []).append((crossing.footage_m, crossing.depth_m))
    for expected in find_crossings(route)[0]:
        footage, depth = np.array(found[expected.line]).T
        assert footage.std() == pytest.approx(expected.sd_footage_m, rel=0.12)
        assert footage.mean() == pytest.approx(expected.footage_m, abs=0.2 * expected.sd_footage_m)
        if route.ground.is_level:
            assert depth.std() == pytest.approx(expected.sd_depth_m, rel=0.12)


def test_the_main_is_crossed_at_the_runs_end_and_a_cleanout_where_it_stands():
    at_main = Boundary("main", "owner", "city", decides=True, kind="main")
    at_cleanout = Boundary("cleanout", "owner", "city", kind="cleanout", footage_m=12.0)
    crossings, uncrossed = find_crossings(
        HandRoute(boundaries=(at_main, at_cleanout), sd_reading_m=0.05).build()
    )
    assert [(c.line, c.kind, c.footage_m, c.decides) for c in crossings] == [
        ("cleanout", "cleanout", 12.0, False), ("main", "main", 30.0, True),
    ]  # fmt: skip
    assert [c.easting_m for c in crossings] == pytest.approx([12.0, 30.0])
    assert uncrossed == ()
