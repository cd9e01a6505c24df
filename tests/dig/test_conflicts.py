"""Clearances against brute force, hand arithmetic and laws."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
import shapely
from analysis.builder import HandRoute, Sds
from dig.builder import FOOT, INCH, dig_rules, pipe, polyline, straight, trench
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from shapely.geometry import LineString

from lateral_map.analysis.conflicts import find_conflicts
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.site import Plan, UtilityLine
from lateral_map.model.space import crossings_between, nearest_on
from lateral_map.model.trench import SD_UTILITY_DEPTH_M
from lateral_map.words.excavator import clearance_words, utility_words
from lateral_map.words.names import utility_named
from lateral_map.words.numbers import length

Z95 = 1.959964


def utility(*vertices, depth_m=None, sd_m=0.1, kind="gas", name="gas"):
    return UtilityLine(name, kind, np.array(vertices, float), depth_m, sd_m)


def against(*lines, tolerance_m=0.6, route_fields=None, outside_in=0.0, length_m=20.0, depth_m=2.0):
    plan = Plan(utilities=lines)
    route = straight(length_m, depth_m, plan=plan, **(route_fields or {}))
    profile, _ = trench(route, dig_rules(), (pipe(outside_in=outside_in),))
    return find_conflicts(route, profile, tolerance_m)


@settings(max_examples=50)
@given(st.integers(0, 10_000), st.sampled_from([2, 3]))
def test_nearest_place_against_brute_force(seed, dimensions):
    rng = np.random.default_rng(seed)
    places, line = polyline(rng, 5, dimensions), polyline(rng, 4, dimensions)
    share = np.linspace(0.0, 1.0, 161)[:, None]
    sampled = np.concatenate([a + share * (b - a) for a, b in itertools.pairwise(line)])
    step = np.linalg.norm(np.diff(sampled, axis=0), axis=1).max()
    for place, found in zip(places, nearest_on(line, places), strict=True):
        gap = np.linalg.norm(sampled - place, axis=1).min()
        assert gap - step <= np.linalg.norm(found - place) <= gap + 1e-9
        assert np.linalg.norm(sampled - found, axis=1).min() <= step


@pytest.mark.parametrize("turn_deg", range(0, 360, 24))
@pytest.mark.parametrize("backwards", [False, True])
def test_lines_that_run_together_are_nearest_where_they_begin_to(turn_deg, backwards):
    ends = np.array([[2.0, 1.0], [19.0, 1.0]])[:: -1 if backwards else 1]
    angle = np.radians(turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    plan = Plan(utilities=(utility(*(ends @ turn.T), depth_m=1.0),))
    route = straight(20.0, 2.0, plan=plan, azimuths_deg=(90.0 + turn_deg,))
    profile, _ = trench(route, dig_rules(), (pipe(outside_in=6.0),))
    (found,) = find_conflicts(route, profile, 0.5)
    assert found.aside_m == pytest.approx(1.0 - 3 * INCH, abs=1e-5)
    assert found.nearest_footage_m == pytest.approx(2.0, abs=0.06)


@settings(max_examples=10)
@given(st.integers(0, 10_000))
def test_beside_a_change_of_size_the_wall_that_is_nearest_counts(seed):
    rng = np.random.default_rng(seed)
    route = straight(20.0, 2.0)
    wide = replace(pipe(20.0, outside_in=15.0), from_m=9.7)
    profile, _ = trench(route, dig_rules(), (pipe(9.7, outside_in=4.0), wide))
    ends = np.array([[9.0, 1.0], [9.5, 6.0]]) + rng.uniform(-0.8, 0.8, (2, 2))
    depth = float(rng.uniform(0.3, 4.0))
    plan = replace(route.site.plan, utilities=(utility(*ends, depth_m=depth),))
    (found,) = find_conflicts(
        replace(route, site=replace(route.site, plan=plan)), profile, tolerance_m=0.5
    )
    at = profile.at(np.linspace(0.0, 20.0, 40001))
    top = LineString(np.column_stack([ends, [-depth, -depth]]))
    radius = at.outside_diameter_m / 2.0
    share = np.linspace(0.0, 1.0, 1001)[:, None]
    near = slice(*np.searchsorted(at.footage_m, [7.0, 13.0]))
    gap = shapely.distance(shapely.points(at.place_m), shapely.force_2d(top)) - radius
    assert found.aside_m == pytest.approx(max(gap.min(), 0.0), abs=1e-4)
    if not found.crossings:
        axis = np.column_stack([at.place_m, -at.crown_depth_m - radius])[near]
        tops = np.column_stack([ends[0] + share * (ends[1] - ends[0]), np.full(1001, -depth)])
        away = cKDTree(tops).query(axis)[0] - radius[near]
        assert found.clearance_m == pytest.approx(max(away.min(), 0.0), abs=1e-4)


@settings(max_examples=25)
@given(st.floats(3.0, 9.0), st.floats(10.0, 17.0))
def test_a_hand_dug_stretch_ends_where_the_tolerance_does(begin, end):
    # 1 m aside: within the tolerance from where the slanted distance is the reach.
    (found,) = against(utility((begin, 1.0), (end, 1.0), sd_m=0.1), tolerance_m=1.0)
    ((first, last),) = found.hand_dig_m
    profile, _ = trench(straight(20.0, 2.0), dig_rules(), (pipe(),))
    for at, corner in ((first, begin), (last, end)):
        here = profile.at(at)
        spread = 1.96 * np.hypot(here.across_sd_m[0], 0.1)
        reach = 1.0 + here.width_m[0] / 2.0 + spread
        assert np.hypot(at - corner, 1.0) == pytest.approx(reach, abs=1e-4)


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_clearance_in_space_against_brute_force(seed):
    rng = np.random.default_rng(seed)
    ends = rng.uniform([0.0, -6.0], [20.0, 6.0], (2, 2))
    depth, outside = rng.uniform(0.3, 4.0), 6.0
    (found,) = against(utility(*ends, depth_m=depth), outside_in=outside)
    axis = np.column_stack([np.linspace(0.0, 20.0, 4001), np.zeros(4001), np.full(4001, 2.0)])
    share = np.linspace(0.0, 1.0, 401)[:, None]
    top = np.column_stack([ends[0] + share * (ends[1] - ends[0]), np.full(401, depth)])
    # The pipe by hand has no wall: its invert is its outside bottom, its axis half an OD above.
    axis[:, 2] -= outside * INCH / 2
    gap = min(np.linalg.norm(axis - one, axis=1).min() for one in top)
    brute = max(gap - outside * INCH / 2, 0.0)
    # Where a level utility crosses a level pipe the shortest way between them is upright.
    assert found.clearance_m == pytest.approx(brute, abs=0.02)


@given(st.integers(0, 10_000))
def test_crossings_against_shapely(seed):
    rng = np.random.default_rng(seed)
    one, other = polyline(rng, 5, 2), polyline(rng, 4, 2)
    found = crossings_between(one, other)
    places = (
        one[found[:, 0].astype(int)] + found[:, 1:] * np.diff(one, axis=0)[found[:, 0].astype(int)]
    )
    met = LineString(one).intersection(LineString(other))
    expected = shapely.get_coordinates(met)
    assert len(places) == len(expected)
    for place in places:
        assert np.hypot(*(expected - place).T).min() < 1e-9


def test_a_crossing_at_a_corner_is_one_crossing():
    bent = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 1.0]])
    found = crossings_between(bent, np.array([[1.0, -1.0], [1.0, 1.0]]))
    assert len(found) == 1
    assert len(crossings_between(bent, bent[:2])) == 1  # running together: only the far corner
    assert len(crossings_between(bent[:2], bent[:2])) == 0


def test_a_square_crossing_by_hand():
    sds = Sds(start=0.05, elevation=0.1)
    line = utility((8.0, -5.0), (8.0, 5.0), depth_m=0.5, sd_m=0.2)
    (found,) = against(line, route_fields={"sds": sds}, outside_in=6.0)
    (met,) = found.crossings
    assert found.verdict == "crosses the pipe"
    assert met.footage_m == pytest.approx(8.0)
    assert met.angle_deg == pytest.approx(90.0)
    assert met.sd_footage_m == pytest.approx(np.hypot(0.05, 0.2))
    assert met.passing == "above"
    # Invert 2 m down, crown 6 in above it, utility top at 0.5 m.
    assert met.clearance_m == pytest.approx(2.0 - 6 * INCH - 0.5)
    assert met.sd_clearance_m == pytest.approx(np.hypot(0.1, SD_UTILITY_DEPTH_M))
    assert (found.clearance_m, found.sd_clearance_m) == (met.clearance_m, met.sd_clearance_m)


def test_a_skew_crossing_is_looser_along_the_pipe():
    line = utility((3.0, -5.0), (13.0, 5.0), sd_m=0.2)
    (met,) = against(line)[0].crossings
    assert met.angle_deg == pytest.approx(45.0)
    assert met.sd_footage_m == pytest.approx(0.2 * np.sqrt(2.0))


@pytest.mark.parametrize(
    ("depth_m", "passing", "clearance_m"),
    [(None, "depth unknown", None), (1.95, "at the pipe's own depth", 0.0), (2.4, "below", 0.4)],
)
def test_how_a_utility_passes(depth_m, passing, clearance_m):
    (found,) = against(utility((8.0, -5.0), (8.0, 5.0), depth_m=depth_m), outside_in=6.0)
    (met,) = found.crossings
    assert met.passing == passing
    assert met.clearance_m == (None if clearance_m is None else pytest.approx(clearance_m))
    assert found.clearance_m == met.clearance_m
    assert (met.sd_clearance_m is None) == (depth_m is None)


def test_a_parallel_main_by_hand():
    sds = Sds(start=0.1)
    line = utility((0.0, 1.0), (20.0, 1.0), sd_m=0.3)
    (found,) = against(line, route_fields={"sds": sds}, outside_in=6.0, tolerance_m=0.2)
    assert found.crossings == ()
    assert found.aside_m == pytest.approx(1.0 - 3 * INCH)
    assert found.sd_aside_m == pytest.approx(np.hypot(0.1, 0.3))
    # Nobody knows its depth: the one clearance is that in plan.
    assert (found.clearance_m, found.sd_clearance_m) == (found.aside_m, found.sd_aside_m)
    assert found.verdict == "hand dig"
    assert found.hand_dig_m == ((pytest.approx(0.0), pytest.approx(20.0)),)


def test_hand_dig_stretch_by_hand():
    # Square crossing at 8 m: half the trench (1 ft), 0.6 m tolerance and 1.96 x 0.1 either way.
    (found,) = against(utility((8.0, -5.0), (8.0, 5.0), sd_m=0.1))
    reach = FOOT + 0.6 + Z95 * 0.1
    ((begin, end),) = found.hand_dig_m
    assert begin == pytest.approx(8.0 - reach, abs=0.06)
    assert end == pytest.approx(8.0 + reach, abs=0.06)


def test_a_main_clear_of_the_trench_is_not_clear_of_the_sloped_cut():
    # 2 m down in Type C: the sloped cut reaches 1 ft and 3 m from the pipe, the trench 1 ft.
    (found,) = against(utility((0.0, 2.5), (20.0, 2.5)), tolerance_m=0.5)
    assert found.hand_dig_m == ()
    assert found.hand_dig_sloped_m == ((pytest.approx(0.0), pytest.approx(20.0)),)
    assert found.verdict == "hand dig if sloped"
    (found,) = against(utility((0.0, 4.1), (20.0, 4.1)), tolerance_m=0.5)
    assert found.verdict == "clear"  # 0.3 + 3 + 0.5 + 0.2 m


def test_a_utility_far_off_is_clear_and_comes_last():
    far = utility((0.0, 30.0), (20.0, 30.0), name="far")
    near = utility((18.0, -5.0), (18.0, 5.0), name="near")
    found = against(far, near)
    assert [one.name for one in found] == ["near", "far"]
    assert found[1].verdict == "clear"


def test_a_utility_without_accuracy_says_what_was_taken():
    (found,) = against(utility((8.0, -5.0), (8.0, 5.0), sd_m=None))
    assert found.sd_assumed
    assert found.sd_plan_m > 0.0


def test_the_main_the_run_ends_at_is_named_as_such():
    main = utility((20.1, -5.0), (20.1, 5.0), kind="sewer", name="main")
    gas = utility((20.1, -5.0), (20.1, 5.0), name="gas")
    tape = utility((3.0, 2.0), (3.0, 9.0), name="tape", kind="communication")
    ranked = against(main, gas, tape)
    found = {one.name: one for one in ranked}
    assert found["main"].joins
    assert found["main"].in_trench
    assert not found["main"].in_the_way
    assert not found["gas"].joins
    assert ranked[-1] is found["main"]  # joining it is what the run is for


def test_of_several_crossings_the_nearest_one_is_the_clearance():
    # Over a pipe that falls 1 in 10 from 2 m down, a line crosses at 5 m and again at 15 m.
    line = utility((5.0, -5.0), (5.0, 5.0), (15.0, 5.0), (15.0, -5.0), depth_m=1.0)
    route = straight(20.0, 2.0, pitch=float(np.arctan(0.1)), plan=Plan(utilities=(line,)))
    profile, _ = trench(route, dig_rules(), (pipe(),))
    (found,) = find_conflicts(route, profile, 0.6)
    near, far = sorted(met.clearance_m for met in found.crossings)
    assert (near, far) == (pytest.approx(1.5, abs=0.01), pytest.approx(2.5, abs=0.01))
    assert found.clearance_m == near
    assert (found.from_m, found.to_m) == tuple(met.footage_m for met in found.crossings)


def test_of_crossings_as_near_the_words_are_of_the_one_decided_on():
    line = utility((5.0, -5.0), (5.0, 5.0), (15.0, 5.0), (15.0, -5.0), depth_m=1.95)
    (found,) = against(line, outside_in=6.0)
    first, second = found.crossings
    assert first.clearance_m == second.clearance_m == found.clearance_m == 0.0
    looser = replace(first, sd_clearance_m=3.0 * second.sd_clearance_m)
    told = replace(found, crossings=(looser, second), sd_clearance_m=second.sd_clearance_m)
    range_m = TWO_SIDED_95 * second.sd_clearance_m
    assert clearance_words(told, "m") == f"at the pipe's own depth, ± {range_m:.2f} m"


def test_a_duct_under_the_trench_is_not_in_it():
    shallow = utility((8.0, -5.0), (8.0, 5.0), depth_m=0.5, name="shallow")
    perhaps = utility((9.0, -5.0), (9.0, 5.0), depth_m=2.5, name="perhaps")
    deep = utility((10.0, -5.0), (10.0, 5.0), depth_m=2.7, name="deep")
    found = {one.name: one for one in against(deep, perhaps, shallow)}
    # The bottom is 2 m down; a depth is good to 1.96 x 0.3 m.
    assert {name: one.in_trench for name, one in found.items()} == {
        "shallow": True, "perhaps": True, "deep": False,
    }  # fmt: skip
    assert list(found)[-1] == "deep"


def to_the_millimetre(low, high):
    return st.integers(int(low * 1000), int(high * 1000)).map(lambda value: value / 1000)


lines = st.lists(
    st.tuples(to_the_millimetre(-5.0, 25.0), to_the_millimetre(-8.0, 8.0)),
    min_size=2,
    max_size=4,
    unique=True,
)


@given(st.lists(lines, min_size=1, max_size=3), st.floats(0.0, 1.5), st.floats(0.0, 1.5))
def test_a_wider_tolerance_never_removes_a_conflict(all_vertices, tolerance, more):
    given_lines = [
        utility(*vertices, name=f"line {index}") for index, vertices in enumerate(all_vertices)
    ]
    narrow = {one.name: one for one in against(*given_lines, tolerance_m=tolerance)}
    wide = {one.name: one for one in against(*given_lines, tolerance_m=tolerance + more)}
    for name, conflict in narrow.items():
        if conflict.verdict != "clear":
            assert wide[name].verdict != "clear"
        for spans, wider in (
            (conflict.hand_dig_m, wide[name].hand_dig_m),
            (conflict.hand_dig_sloped_m, wide[name].hand_dig_sloped_m),
            (conflict.hand_dig_m, conflict.hand_dig_sloped_m),
        ):
            for begin, end in spans:  # an offset curve is good to a hundredth of a micrometre
                assert any(b - 1e-6 <= begin and end <= e + 1e-6 for b, e in wider)
        assert wide[name].zone.buffer(1e-6).covers(conflict.zone)


@given(st.floats(0.0, 359.0), st.floats(-1000.0, 1000.0))
def test_turning_and_moving_the_plan_changes_nothing(turn_deg, move):
    angle = np.radians(turn_deg)
    ahead, right = (
        np.array([np.sin(angle), np.cos(angle)]),
        np.array([np.cos(angle), -np.sin(angle)]),
    )
    offset = np.array([move, -move])

    def place(along, across):
        return tuple(offset + along * ahead + across * right)

    line = utility(place(5.0, -4.0), place(9.0, 3.0), depth_m=1.0)
    dig = dig_rules()
    route = HandRoute(
        lengths_m=(20.0,),
        azimuths_deg=(turn_deg,),
        depth_m=2.0,
        start=tuple(offset),
        site_fields={"plan": Plan(utilities=(line,)), "dig": dig},
    ).build()
    profile, _ = trench(route, dig)
    (turned,) = find_conflicts(route, profile, 0.6)
    (plain,) = against(utility((5.0, 4.0), (9.0, -3.0), depth_m=1.0))
    assert turned.crossings[0].footage_m == pytest.approx(plain.crossings[0].footage_m, abs=1e-6)
    assert turned.clearance_m == pytest.approx(plain.clearance_m, abs=1e-6)
    assert turned.sd_clearance_m == pytest.approx(plain.sd_clearance_m, abs=1e-6)
    assert turned.verdict == plain.verdict


def test_of_equals_one_of_unknown_depth_comes_before_a_worse_one_of_known_depth():
    """Both run beside the trench, too near to dig by machine: gas, and a duct nobody sounded."""
    known = utility((-5.0, 1.0), (30.0, 1.0), depth_m=1.0)
    unknown = utility((-5.0, -1.0), (30.0, -1.0), kind="communication", name="duct")
    found = against(known, unknown)
    assert {one.verdict for one in found} == {"hand dig"}
    assert [one.name for one in found] == ["duct", "gas"]


def test_what_lies_in_the_trench_comes_before_what_crosses_below_it():
    below = utility((5.0, -5.0), (5.0, 5.0), depth_m=6.0)
    within = utility((15.0, -5.0), (15.0, 5.0), depth_m=1.0, kind="communication", name="duct")
    found = against(below, within)
    assert {one.verdict for one in found} == {"crosses the pipe"}
    assert [one.name for one in found] == ["duct", "gas"]


def test_a_districts_utilities_change_nothing_said_of_those_near() -> None:
    near = [utility((x, -5.0), (x + 1.0, 5.0), name=f"near {x}") for x in (3.0, 9.0, 26.0)]
    far = [utility((x, 40.0), (x, 60.0), name=f"far {x}") for x in range(3_000)]
    alone, among = against(*near), against(*far, *near)
    assert [one for one in among if one.name.startswith("near")] == list(alone)
    assert len(among) < 150


def test_a_duct_that_leaves_the_trench_as_mapped_is_said_to_be_at_hand_beyond():
    """The map is off by feet: where the duct is a hair outside the trench it is no safer."""
    duct = utility((2.0, 0.25), (15.0, 0.6), sd_m=0.3, kind="communication", name="duct")
    (found,) = against(duct)
    assert found.verdict == "within the trench"
    ((begins, ends),) = found.hand_dig_m
    assert begins < found.from_m
    assert found.to_m < 8.0 < 15.0 < ends
    by_hand = f"hand dig from {length(begins, 'm')} to {length(ends, 'm')}"
    assert by_hand in utility_words(found, "m")
    # As one is that crosses, runs beside the pipe and crosses it again.
    again = utility((4.0, -3.0), (5.0, 0.7), (12.0, 0.7), (13.0, -3.0), sd_m=0.3)
    (found,) = against(again)
    assert len(found.crossings) == 2
    ((begins, ends),) = found.hand_dig_m
    assert begins < 4.5
    assert ends > 12.5
    assert f"hand dig from {length(begins, 'm')} to" in utility_words(found, "m")


@pytest.mark.parametrize(
    ("name", "kind", "said"),
    [
        ("gas", "gas", "gas"),
        ("Old Water main", "water", "Old Water main"),
        ("phone", "communication", "phone (communication)"),
        ("gasworks drain", "gas", "gasworks drain (gas)"),
        ("water main", "sewer", "water main (sewer)"),
    ],
)
def test_what_a_utility_is_stands_beside_a_name_that_does_not_say_it(name, kind, said):
    assert utility_named(name, kind) == said
