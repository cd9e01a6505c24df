"""One figure a test, each worked out on paper from the physics and not from the code."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import CORNERS, straight_site, surveyed, three_tapes

from lateral_map.adjust.chain import lay_chain, turns_at_nodes, wander_covariance, wander_rates
from lateral_map.adjust.ground import lay_ground
from lateral_map.adjust.possible import find_impossible, fix_by_ties
from lateral_map.adjust.route import adjust_route, solve_site
from lateral_map.adjust.solve import LeastSquares, Linear, invert_normal, solve_least_squares
from lateral_map.adjust.starts import first_azimuths
from lateral_map.adjust.transmitter import (
    near_vertical_bend_deg,
    nulls_depth_m,
    sd_depth_m,
    sd_mark_m,
    sd_nulls_m,
)
from lateral_map.model.expected import expect_depths
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import tie_reading
from lateral_map.model.site import (
    AlongTie,
    Bend,
    Boundary,
    Locate,
    OffsetTie,
    PipeRun,
    PlanLine,
    PlanPoint,
    PositionTie,
    Site,
    SpotLevel,
    TapeTie,
    Terrain,
    Transmitter,
)


def with_ground(**start: float) -> Site:
    """Return a straight run with locates and a measured start level."""
    site = straight_site(locate_footages_m=(8.0, 16.0, 24.0), tie=surveyed)
    return replace(site, start=replace(site.start, ground_m=50.0, **start))


def at_start(site: Site) -> np.ndarray:
    return np.zeros((len(lay_chain(site).nodes_m), 2))


class TestChain:
    def test_the_run_begins_at_the_foot_of_the_riser(self):
        site = straight_site(riser_m=1.5)
        site = replace(site, counter=replace(site.counter, zero_m=2.0))
        assert lay_chain(site).nodes_m[0] == pytest.approx(3.5)

    def test_no_piece_is_longer_than_five_feet(self):
        assert np.diff(lay_chain(straight_site(length_m=30.0)).nodes_m).max() <= 1.524 + 1e-9

    def test_wander_is_that_of_the_pipe_lying_there(self):
        site = straight_site(length_m=20.0)
        pipes = (PipeRun(0.0, "pvc", 0.1, 0.1), PipeRun(10.0, "clay", 0.1, 2.0))
        site = replace(site, pipes=pipes)
        rates = np.degrees(wander_rates(site, lay_chain(site)))
        assert rates[0] == pytest.approx(0.1)
        assert rates[-1] == pytest.approx(2.0)

    @pytest.mark.parametrize(
        ("bend", "sd"),
        [
            (Bend(10.0, turn_deg=45.0, how="fitting"), 2.0),
            (Bend(10.0, turn_deg=45.0, how="eye"), 8.0),
            (Bend(10.0, turn_deg=45.0, how="eye", sd_deg=3.0), 3.0),
        ],
    )
    def test_a_turn_is_as_unsure_as_how_it_was_judged(self, bend, sd):
        site = straight_site(bends=(bend,))
        turns = turns_at_nodes(site, lay_chain(site))
        node = int(np.argmax(np.abs(turns.turn)))
        assert np.degrees(turns.turn[node]) == pytest.approx(45.0)
        assert np.degrees(np.sqrt(turns.turn_variance[node])) == pytest.approx(sd)
        assert not turns.fall_variance.any()

    def test_a_fall_is_a_fall(self):
        site = straight_site(bends=(Bend(10.0, turn_deg=0.0, fall_deg=22.5),))
        turns = turns_at_nodes(site, lay_chain(site))
        assert np.degrees(turns.fall.sum()) == pytest.approx(22.5)
        assert not turns.turn_variance.any()

    def test_wander_of_two_pieces(self):
        # q L/3 each, q (L1 + L2)/3 between, q L1/6 shared: 0.2² x 3 = 0.12, 0.2² x 6 = 0.24.
        found = wander_covariance(np.array([3.0, 6.0]), np.array([0.2, 0.2]))
        assert found == pytest.approx(np.array([[0.04, 0.02], [0.02, 0.12]]))


class TestGround:
    def test_a_level_stands_over_the_transmitter(self):
        site = with_ground()
        locates = (replace(site.locates[0], ground_m=49.0), *site.locates[1:])
        site = replace(site, locates=locates)
        ground = lay_ground(site, lay_chain(site), at_start(site))
        assert ground.elevation(0.0)[0] == pytest.approx(50.0)
        assert ground.elevation(8.0 - 0.1524)[0] == pytest.approx(49.0)

    def test_the_ground_grows_unsure_by_three_in_a_hundred(self):
        site = with_ground()
        ground = lay_ground(site, lay_chain(site), at_start(site))
        measured = site.accuracy.ground_m
        assert ground.sd(0.0)[0] == pytest.approx(measured)
        assert ground.sd(30.0)[0] == pytest.approx(np.hypot(measured, 0.9))

    def test_spot_levels_near_the_line_count_and_far_ones_do_not(self):
        site = straight_site()
        levels = (SpotLevel(10.0, 1.0, 48.0), SpotLevel(20.0, 40.0, 10.0))
        site = replace(site, plan=replace(site.plan, levels=levels))
        chain = lay_chain(site)
        route = np.stack([chain.nodes_m, np.zeros(len(chain.nodes_m))], axis=-1)
        ground = lay_ground(site, chain, route)
        assert ground.levels_m == pytest.approx(48.0)
        surest = int(np.argmin(ground.sd_m))
        # It stands 1 m off the node it lies nearest to.
        assert abs(ground.knots_m[surest] - 10.0) <= 1.524 / 2.0
        gap = np.hypot(1.0, ground.knots_m[surest] - 10.0)
        assert ground.sd_m[surest] == pytest.approx(np.hypot(site.accuracy.ground_m, 0.03 * gap))

    def test_two_spot_levels_stand_where_the_line_comes_nearest(self):
        site = straight_site()
        levels = (SpotLevel(1.0, 0.5, 48.0), SpotLevel(29.0, 0.5, 40.0))
        site = replace(site, plan=replace(site.plan, levels=levels))
        chain = lay_chain(site)
        route = np.stack([chain.nodes_m, np.zeros(len(chain.nodes_m))], axis=-1)
        ground = lay_ground(site, chain, route)
        assert ground.elevation(0.0)[0] == pytest.approx(48.0)
        assert ground.elevation(30.0)[0] == pytest.approx(40.0)

    def test_one_far_level_is_better_than_none(self):
        site = straight_site()
        levels = (SpotLevel(10.0, 30.0, 48.0), SpotLevel(10.0, 60.0, 10.0))
        site = replace(site, plan=replace(site.plan, levels=levels))
        chain = lay_chain(site)
        route = np.stack([chain.nodes_m, np.zeros(len(chain.nodes_m))], axis=-1)
        assert lay_ground(site, chain, route).levels_m == pytest.approx(48.0)

    def test_a_terrain_is_as_sure_as_it_says(self):
        grid = np.array([[x, y, 5.0] for x in (-50.0, 50.0) for y in (-50.0, 50.0)])
        site = straight_site(length_m=20.0)
        site = replace(site, plan=replace(site.plan, terrain=Terrain(grid, 0.4, "grid")))
        chain = lay_chain(site)
        route = np.zeros((len(chain.nodes_m), 2))
        ground = lay_ground(site, chain, route)
        # Every corner stands 71 m off: 3 in a hundred of that, beside the terrain's own 0.4.
        assert ground.sd_m[0] == pytest.approx(np.hypot(0.4, 0.03 * np.hypot(50.0, 50.0)))


class TestStart:
    def test_the_starts_depth_is_ground_less_invert(self):
        """depth = level + correction - elevation: the correction counts against the elevation."""
        site = with_ground()
        system, _, _ = solve_site(site)
        design, observed = system.linear.design, system.rows.observed
        name = next(one for one in system.rows.observations if one.id.kind == "start depth")
        row = design[name.rows][0]
        assert row[2] > 0.0
        assert row[system.layout.ground.start] == pytest.approx(-row[2])
        assert observed[name.rows][0] / row[2] == pytest.approx(50.0 - 1.2)
        assert 1.0 / row[2] == pytest.approx(site.start.sd_depth_m)

    def test_a_ground_read_too_low_does_not_move_the_pipe_twice(self):
        """A start level wrong by 1 m and depths all right: the pipe follows the ground."""
        low = adjust_route(with_ground())
        high = adjust_route(
            replace(with_ground(), start=replace(with_ground().start, ground_m=51.0))
        )
        moved = high.positions([1.0, 20.0])[:, 2] - low.positions([1.0, 20.0])[:, 2]
        assert moved == pytest.approx(1.0, abs=1e-6)

    def test_a_depth_nobody_measured_is_four_feet_give_or_take_three(self):
        site = straight_site()
        site = replace(site, start=replace(site.start, depth_m=None))
        route = adjust_route(site)
        depth, sd = route.depths([0.0])
        assert depth[0] == pytest.approx(1.2192, abs=1e-6)
        assert sd[0] == pytest.approx(0.9144, rel=1e-6)

    def test_counter_scale_and_zero_have_their_own_accuracies(self):
        site = straight_site()
        site = replace(site, counter=replace(site.counter, sd_scale=0.02, sd_zero_m=0.5))
        sd = np.sqrt(np.diag(adjust_route(site).covariance))
        assert sd[3:5] == pytest.approx([0.02, 0.5])

    def test_the_first_azimuth_and_fall_are_as_sure_as_stated(self):
        site = straight_site()
        site = replace(site, start=replace(site.start, sd_azimuth_deg=3.0))
        route = adjust_route(site)
        sd = np.sqrt(np.diag(route.covariance))
        wander = np.radians(site.accuracy.wander_deg) ** 2 * np.diff(route.chain.nodes_m)[0] / 3
        azimuth = np.sqrt(np.radians(3.0) ** 2 + wander)
        assert sd[route.layout.azimuth][0] == pytest.approx(azimuth, rel=1e-6)
        wander = np.radians(site.accuracy.fall_wander_deg) ** 2 * np.diff(route.chain.nodes_m)[0]
        pitch = np.sqrt(site.accuracy.sd_fall**2 + wander / 3)
        assert sd[route.layout.pitch][0] == pytest.approx(pitch, rel=1e-6)
        assert route.unknowns[route.layout.pitch] == pytest.approx(np.arctan(0.02), abs=1e-6)

    def test_each_mark_has_its_own_accuracy(self):
        site = straight_site(locate_footages_m=(8.0, 16.0), tie=surveyed)
        locates = (site.locates[0], replace(site.locates[1], peak="total field"))
        site = replace(site, locates=locates)
        layout = solve_site(site)[0].layout
        system = solve_site(site)[0]
        rows = {one.id.mark: one for one in system.rows.observations if one.id.kind == "mark"}
        for mark, locate in zip(("1", "2"), locates, strict=True):
            sd = np.diag(rows[mark].recover)
            assert sd == pytest.approx([sd_mark_m(site, locate, expect_depths(site)[mark])] * 2)
            design = system.linear.design[rows[mark].rows, layout.mark]
            assert design.max(axis=1) == pytest.approx(1.0 / sd)

    def test_a_turns_check_is_its_own(self):
        site = straight_site(bends=(Bend(10.0, turn_deg=45.0),))
        system, _, _ = solve_site(site)
        reading = next(one for one in system.rows.observations if one.id.kind == "turn")
        # A turn taken 1 degree larger turns the line after it and nothing before.
        design = system.linear.design
        blunder = np.radians(1.0)
        change = np.linalg.solve(
            design.T @ design, design[reading.rows].T @ (reading.signature[:, 0] * blunder)
        )
        azimuth = change[system.layout.azimuth]
        after = system.chain.nodes_m[:-1] >= 10.0 - 1e-9
        assert azimuth[after] == pytest.approx(blunder, rel=1e-6)
        assert azimuth[~after] == pytest.approx(0.0, abs=1e-9)

    def test_the_grounds_correction_is_as_wide_as_the_ground(self):
        site = with_ground()
        system, _, _ = solve_site(site)
        design = system.linear.design
        last = design[-system.layout.knots :, system.layout.ground]
        sd = system.ground.sd(system.ground.correction_knots_m)
        assert np.diag(last) == pytest.approx(1.0 / sd)

    def test_a_start_on_a_point_goes_where_the_point_goes(self):
        """start - point = 0 give or take the start's own accuracy: they move together."""
        point = CORNERS[1]
        site = straight_site(locate_footages_m=(9.0,), tie=three_tapes)
        start = replace(site.start, easting_m=12.0, northing_m=7.0, point=point.name)
        system, _, _ = solve_site(replace(site, start=start, locates=()))
        design = system.linear.design
        name = next(one for one in system.rows.observations if one.id.kind == "start position")
        rows = design[name.rows]
        shift = system.layout.point_columns(point.name)
        assert rows[:, :2] == pytest.approx(np.eye(2) / start.sd_m)
        assert rows[:, shift] == pytest.approx(-np.eye(2) / start.sd_m)


class TestTies:
    def deep(self, **fields: float) -> tuple[float, float]:
        """Return (invert depth, sd) of a locate's only depth."""
        site = replace(
            straight_site(), transmitter=Transmitter(above_invert_m=0.04),
            locates=(Locate("A", 5.0, ties=surveyed(5.0, 0.0), **fields),),
        )  # fmt: skip
        ties = solve_site(site)[0].ties
        return float(ties.depth_invert_m[0]), float(ties.depth_sd_m[0])

    def test_a_read_out_counts_from_the_locator_to_the_transmitter(self):
        assert self.deep(depth_m=1.5, held_above_m=0.3)[0] == pytest.approx(1.5 - 0.3 + 0.04)

    def test_nulls_count_from_the_path_they_were_found_on(self):
        found, _ = self.deep(nulls_m=2.0, nulls_held_above_m=0.25)
        assert found == pytest.approx(2.0 / np.sqrt(2.0) - 0.25 + 0.04)

    def test_a_short_tape_is_as_sure_as_ring_tape_and_point(self):
        point = PlanPoint("stake", 5.0, 0.0, 0.2)
        tie = TapeTie("stake", 0.1, 0.03, "tape1")
        site = straight_site()
        site = replace(
            site,
            plan=replace(site.plan, points=(*CORNERS, point)),
            locates=(Locate("A", 5.0, ties=(tie,)),),
        )
        ties = solve_site(site)[0].ties
        assert len(ties.tape_mark) == 0
        assert ties.position_sd_m == pytest.approx(np.sqrt(0.03**2 + 0.2**2 + 0.1**2 / 2.0))

    def test_a_tape_of_20_ft_is_a_ring(self):
        site = straight_site(locate_footages_m=(10.0,), tie=three_tapes)
        ties = solve_site(site)[0].ties
        assert len(ties.tape_mark) == 3
        assert len(ties.position_mark) == 0

    def test_the_transmitter_rides_behind_the_lens(self):
        site = straight_site(locate_footages_m=(10.0,), tie=surveyed)
        assert solve_site(site)[0].ties.footage_m == pytest.approx([10.0 - 0.1524])

    def test_a_reading_is_known_by_its_column(self):
        locate = Locate("A", 5.0)
        past, offset = OffsetTie("curb", 1.0, 0.1, as_past=True), OffsetTie("curb", 1.0, 0.1)
        assert tie_reading(locate, past) == ReadingId("offset", "A", "past")
        assert tie_reading(locate, offset) == ReadingId("offset", "A", "offset")

    def test_the_design_is_the_residuals_slope(self):
        """Every derivative against differences, with line and point shifts and levels in play."""
        site = with_ground()
        ties = (OffsetTie("curb", -16.0, 0.05), AlongTie("curb", 30.0, 0.05))
        taped = replace(site.locates[2], ties=(*three_tapes(24.0, 0.4), *ties))
        site = replace(site, locates=(*site.locates[:2], taped))
        system, solution, _ = solve_site(site)
        rng = np.random.default_rng(4)
        at = solution.unknowns + rng.normal(0.0, 0.01, len(solution.unknowns))
        _, design = system.evaluate(at)
        step = 1e-6
        for column in range(len(at)):
            ahead, behind = at.copy(), at.copy()
            ahead[column] += step
            behind[column] -= step
            slope = (system.evaluate(behind)[0] - system.evaluate(ahead)[0]) / (2.0 * step)
            assert design[:, column] == pytest.approx(slope, abs=1e-5, rel=1e-5), column

    def test_a_curb_taped_nearer_than_mapped_moves_towards_the_start(self):
        """Locates sure to a hair, curb mapped at 24 m, taped 1 m nearer: its shift is 1 m."""
        site = straight_site(locate_footages_m=(6.0, 12.0, 20.1524), tie=surveyed)
        last = site.locates[-1]
        east = 20.0 * np.cos(np.arctan(0.02))
        # Right of the curb's direction (southwards) lies west, where the start is.
        taped = replace(last, ties=(*last.ties, OffsetTie("curb", 23.0 - east, 0.001)))
        curb = replace(site.plan.lines[0], sd_m=5.0)
        site = replace(
            site, locates=(*site.locates[:-1], taped), plan=replace(site.plan, lines=(curb,))
        )
        route = adjust_route(site)
        assert abs(route.unknowns[route.layout.line][0]) == pytest.approx(1.0, abs=0.02)
        past = 24.0 - 1.0
        assert route.positions(route.chain.nodes_m[-1])[0, 0] > past


class TestTransmitter:
    def test_a_riser_is_a_vertical_bend(self):
        site = straight_site(riser_m=1.5)
        near, far = Locate("A", 2.5, 1.0), Locate("B", 12.0, 1.0)
        assert near_vertical_bend_deg(site, near, 1.0) == pytest.approx(90.0)
        assert near_vertical_bend_deg(site, far, 1.0) == 0.0

    def test_a_riser_reaches_from_its_foot(self):
        """1.3 m past the foot, 1.0 m deep: within 1.5 depths of it, though 3 m from the top."""
        assert near_vertical_bend_deg(
            straight_site(riser_m=1.5), Locate("A", 1.5 + 1.3 + 0.1524), 1.0
        ) == pytest.approx(90.0)

    @pytest.mark.parametrize("fall", [45.0, -45.0])
    def test_a_drop_within_a_depth_and_a_half(self, fall):
        site = straight_site(bends=(Bend(10.0, turn_deg=0.0, fall_deg=fall),))
        assert near_vertical_bend_deg(site, Locate("A", 11.3), 1.0) == pytest.approx(45.0)
        assert near_vertical_bend_deg(site, Locate("A", 12.0), 1.0) == 0.0

    def test_a_tilt_shifts_a_peak_and_a_null_more(self):
        site = straight_site(bends=(Bend(10.0, turn_deg=0.0, fall_deg=5.0),))
        own = np.hypot(site.accuracy.mark_m, site.accuracy.mark_fraction * 2.0)
        peak, null = (
            sd_mark_m(site, Locate("A", 10.0, peak=kind), 2.0) for kind in ("in-line", "null")
        )
        assert peak == pytest.approx(np.hypot(own, 0.0291 * 2.0))
        assert null == pytest.approx(np.hypot(own, 0.0582 * 2.0))

    def test_nulls_stand_root_two_depths_apart(self):
        assert nulls_depth_m(np.sqrt(2.0)) == pytest.approx(1.0)

    def test_nulls_near_a_drop_are_less_sure(self):
        locate = Locate("A", 10.0, 1.0, nulls_m=float(np.sqrt(2.0)))
        level = straight_site()
        drop = straight_site(bends=(Bend(10.0, turn_deg=0.0, fall_deg=45.0),))
        over = np.hypot(level.transmitter.sd_depth_fraction, 0.4577)
        assert sd_nulls_m(drop, locate, 1.0) == pytest.approx(np.hypot(level.accuracy.tape_m, over))
        assert sd_nulls_m(level, locate, 1.0) < 0.1

    def test_a_read_out_is_never_surer_than_the_least_it_shows(self):
        site = straight_site()
        assert sd_depth_m(site, Locate("A", 10.0), 0.5) >= site.transmitter.sd_depth_floor_m
        assert sd_depth_m(site, Locate("A", 10.0), 4.0) == pytest.approx(0.2, rel=0.01)


class TestPossible:
    def fix(self, *ties, **fields):
        lines = (PlanLine("wall", "other", np.array([[0.0, 0.0], [20.0, 0.0]]), 0.0),)
        site = straight_site(**fields)
        site = replace(site, plan=replace(site.plan, lines=lines, points=(
            PlanPoint("A", 0.0, 0.0, 0.0), PlanPoint("B", 10.0, 0.0, 0.0))))  # fmt: skip
        return fix_by_ties(site, Locate("1", 5.0, 1.0, ties=ties), 1.0)

    def test_two_tapes_of_a_three_four_five_triangle(self):
        # From A (0, 0) 3.6 along and 4.8 across: 6 from A, 8 from B (10, 0).
        found = self.fix(TapeTie("A", 6.0, 0.03, "tape1"), TapeTie("B", 8.0, 0.03, "tape2"))
        assert sorted(map(tuple, found.points_m.round(9))) == [(3.6, -4.8), (3.6, 4.8)]

    def test_tapes_nearly_in_line_are_no_fix(self):
        assert self.fix(TapeTie("A", 4.0, 0.03, "t1"), TapeTie("B", 6.01, 0.03, "t2")) is None

    def test_an_offset_to_the_right_of_a_line_heading_east_lies_south(self):
        found = self.fix(AlongTie("wall", 7.0, 0.03), OffsetTie("wall", 2.0, 0.03))
        assert found.points_m == pytest.approx(np.array([[7.0, -2.0]]))

    def far(self, east: float, footage: float = 5.0, riser: float = 0.0):
        site = straight_site(riser_m=riser)
        tie = PositionTie(east, 0.0, 0.03, "xy")
        return replace(site, locates=(Locate("1", footage, 1.0, ties=(tie,)),))

    def test_twice_the_footage_away_cannot_be(self):
        assert len(find_impossible(self.far(12.0))) == 1
        assert find_impossible(self.far(5.5)) == ()

    def test_a_risers_footage_is_no_ground(self):
        """30 m of counter, 9 m of them down the riser: 30 m away cannot be."""
        assert find_impossible(self.far(30.0, footage=30.0)) == ()
        assert len(find_impossible(self.far(30.0, footage=30.0, riser=9.0))) == 1

    def test_one_possible_place_of_two_is_enough(self):
        """Tapes of 20 m from (20, 12) and (20, -12) meet at 4 m and at 36 m; 5 m of pipe."""
        points = (PlanPoint("C", 20.0, 12.0, 0.0), PlanPoint("D", 20.0, -12.0, 0.0))
        ties = (TapeTie("C", 20.0, 0.03, "tape1"), TapeTie("D", 20.0, 0.03, "tape2"))
        site = straight_site()
        site = replace(
            site,
            plan=replace(site.plan, points=points),
            locates=(Locate("1", 5.0, 1.0, ties=ties),),
        )
        assert find_impossible(site) == ()

    def test_the_locate_is_blamed_and_not_the_start(self):
        assert find_impossible(self.far(12.0))[0].file == "locates.csv"


class TestStarts:
    def azimuths(self, site: Site):
        chain = lay_chain(site)
        turns = turns_at_nodes(site, chain)
        system, _, _ = solve_site(site)
        return first_azimuths(site, chain, system.layout, turns, system.ties)

    def test_a_line_nobody_tied_heads_for_the_line_that_decides(self):
        side = PlanLine("side", "property_line", np.array([[-9.0, 30.0], [-9.0, -30.0]]), 0.3)
        site = straight_site(known_azimuth=False)
        site = replace(
            site,
            plan=replace(site.plan, lines=(side, *site.plan.lines)),
            boundaries=(Boundary("side", "owner", "neighbour"), *site.boundaries),
        )
        ((azimuth, sd),) = self.azimuths(site)
        assert np.degrees(azimuth) % 360.0 == pytest.approx(90.0)  # the curb lies east
        assert np.degrees(sd) == pytest.approx(60.0)

    def test_the_main_is_no_line_to_head_for(self):
        site = straight_site(known_azimuth=False)
        main = Boundary("main", "owner", "city", decides=True, kind="main")
        ((azimuth, _),) = self.azimuths(replace(site, boundaries=(main, *site.boundaries)))
        assert np.degrees(azimuth) % 360.0 == pytest.approx(90.0)  # the curb lies east

    def test_a_mirror_image_is_tried_too_the_likelier_first(self):
        """Tapes from two points on the start's own line north fit east and west alike."""
        points = (PlanPoint("A", 0.0, -9.0, 0.0), PlanPoint("B", 0.0, 9.0, 0.0))
        reach = float(np.hypot(9.8, 9.0))
        ties = (TapeTie("A", reach, 0.03, "tape1"), TapeTie("B", reach, 0.03, "tape2"))
        site = straight_site(known_azimuth=False)
        site = replace(
            site,
            plan=replace(site.plan, points=points),
            locates=(Locate("1", 10.0, 1.2, ties=ties),),
        )
        found = sorted(np.degrees(azimuth) % 360.0 for azimuth, _ in self.azimuths(site))
        assert found == pytest.approx([90.0, 270.0], abs=5.0)

    @pytest.mark.parametrize("azimuth", [20.0, 100.0, 250.0])
    def test_ties_tell_the_direction(self, azimuth):
        site = straight_site(
            azimuth_deg=azimuth, locate_footages_m=(9.0, 18.0), tie=surveyed, known_azimuth=False
        )
        best = np.degrees(self.azimuths(site)[0][0])
        assert abs((best - azimuth + 180.0) % 360.0 - 180.0) <= 5.0


def test_covariance_is_the_inverse_of_the_normal_matrix():
    matrix = np.array([[4.0, 2.0, 0.6], [2.0, 5.0, 1.0], [0.6, 1.0, 3.0]])
    assert invert_normal(matrix) @ matrix == pytest.approx(np.eye(3))


def test_a_tie_makes_the_line_surer():
    loose = adjust_route(straight_site())
    tied = adjust_route(straight_site(locate_footages_m=(10.0, 20.0), tie=surveyed))
    assert np.trace(tied.position_covariance(20.0)[0, :2, :2]) < 0.5 * np.trace(
        loose.position_covariance(20.0)[0, :2, :2]
    )


def test_a_step_that_makes_things_worse_is_not_taken():
    """arctan has its only zero at 0; from 2 Newton's own step flies off for ever."""

    def evaluate(unknowns):
        return -10.0 * np.arctan(unknowns), np.diag(10.0 / (1.0 + np.square(unknowns)))

    design, observed = np.array([[1e-3]]), np.zeros(1)
    found = solve_least_squares(
        LeastSquares(Linear.of(design), observed, evaluate), np.array([2.0]), most_steps=60
    )
    assert found.settled
    assert found.unknowns == pytest.approx(0.0, abs=1e-6)
