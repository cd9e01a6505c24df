"""Slips planted in sites whose truth is known are named; nothing is named in clean ones."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import CURB, straight_site, three_tapes
from truth.slips import plant

from lateral_map.adjust.diagnose import explain
from lateral_map.adjust.route import adjust_route, fit_route
from lateral_map.errors import AdjustmentError
from lateral_map.model.diagnosis import LIKELY, Applied, Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import mend, mend_all, off_the_run, take_so
from lateral_map.model.site import Bend, Finding, Locate

FOOT = 0.3048
# What cannot be told apart: a count begun elsewhere from a riser whose foot the depth is of; a
# depth read too deep from one read held up.
ALIKE = {
    "riser left out": {"counter not at zero"},
    "depth misread": {"held above left out"},
    "held above left out": {"depth misread"},
}


def route_of(name, seed):
    planted = plant(name, seed)
    try:
        return planted, adjust_route(planted.site)
    except AdjustmentError:
        return planted, None


def is_it(slip: Slip, planted) -> bool:
    if slip.slip not in {planted.slip, *ALIKE.get(planted.slip, ())}:
        return False
    if slip.footage_m is not None and planted.footage_m is not None and slip.id is None:
        return abs(slip.footage_m - planted.footage_m) <= 10 * FOOT
    if slip.id is None or planted.reading is None:
        return slip.id is None and planted.reading is None
    return slip.id.of == planted.reading.of


@pytest.mark.parametrize(
    "name",
    [
        "footage 10 ft", "depth inches as feet", "tape 5 ft", "tape from another point",
        "tape in metres", "bend the other way", "45 as 90", "counter +4 ft", "riser left out",
        "riser counted twice", "bend 45 not noted", "counter slipped 5 ft", "GNSS shifted 4 ft",
        "point mapped wrong", "azimuth wrong",
    ],
)  # fmt: skip
def test_a_planted_slip_is_named_first(name):
    named = told = 0
    for seed in range(7000, 7060):
        planted, route = route_of(name, seed)
        if route is None or route.chi_square < 2.0 * route.degrees_of_freedom:
            # Stopped with a message already, or hardly to be seen.
            continue
        found = explain(route)
        told += 1
        named += bool(found) and is_it(found[0].slip, planted.slips[0])
        if told == 4:
            break
    assert told == 4
    # A place along the run is harder to tell than a reading.
    assert named >= (2 if name in ("bend 45 not noted", "counter slipped 5 ft") else 3)


@pytest.mark.parametrize("seed", [7108, 7156, 7238])
def test_a_bend_noted_beyond_the_last_tie_that_lies_before_it_is_named(seed):
    """Where it is noted nothing hangs on it, so that no first derivative tells."""
    planted, route = route_of("bend misplaced 8 ft", seed)
    slip = planted.slips[0]
    tied = [route.site.transmitter_footage_m(one) for one in route.site.used_locates() if one.ties]
    assert slip.footage_m - slip.size < max(tied) < slip.footage_m
    found = explain(route)[0].slip
    assert (found.slip, found.id) == ("bend misplaced", slip.reading)
    assert found.size[0] == pytest.approx(slip.size, abs=2.0 * FOOT)


@pytest.mark.parametrize("seed", [11021, 11408])
def test_a_footage_that_no_step_leads_back_to_is_named(seed):
    """The line bent by it takes its first derivative the wrong way, or to too small a size."""
    planted = plant("footage 10 ft", seed)
    slip = explain(fit_route(planted.site))[0].slip
    assert (slip.slip, slip.id) == ("footage misread", planted.slips[0].reading)
    assert slip.size[0] == pytest.approx(planted.slips[0].size, abs=2.0 * FOOT)


def test_nothing_is_named_in_clean_sites():
    likely = []
    for seed in range(7100, 7124):
        _, route = route_of("clean", seed)
        likely += [one for one in explain(route) if one.probability >= LIKELY]
    assert likely == []


def test_probabilities_share_out_one_whole():
    _, route = route_of("tape 5 ft", 7003)
    found = explain(route) if route else ()
    single = [one for one in found if len(one.together) == 1]
    assert sum(one.probability for one in single) <= 1.0 + 1e-9
    ranked = [one.probability for one in found]
    assert ranked == sorted(ranked, reverse=True)


def test_no_diagnosis_is_more_than_certain():
    """The places of one slip along the run add up, each a share that has a last digit."""
    sites = (plant("bend 45 not noted", seed).site for seed in range(7312, 7320))
    told = [one for site in sites for one in explain(fit_route(site))]
    assert max(one.probability for one in told) > 0.999
    assert all(0.0 <= one.probability <= 1.0 for one in told)


def test_two_slips_that_explain_together_are_both_named():
    site = straight_site(locate_footages_m=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0))
    depth, tape = ReadingId("depth", "2", "depth"), ReadingId("tape", "6", "tape2")
    site = mend(site, Slip("depth misread", (-2.0,), depth))
    site = mend(site, Slip("tape misread", (-2.5,), tape))
    found = explain(adjust_route(site))
    assert {one.slip.id for one in found[:2]} == {depth, tape}
    assert all(one.probability > LIKELY for one in found[:2])
    assert found[0].besides == (found[1].slip,)
    sizes = {one.slip.id: one.slip.size[0] for one in found[:2]}
    assert sizes[depth] == pytest.approx(2.0, abs=0.1)
    assert sizes[tape] == pytest.approx(2.5, abs=0.1)


def test_two_tapes_on_each_others_points_are_named_both():
    site = straight_site(locate_footages_m=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0))
    first, second = (ReadingId("tape", "2", column) for column in ("tape1", "tape2"))
    points = [tie.point for tie in site.locates[1].ties]
    swapped = mend_all(
        site,
        (
            Slip("tape from another point", (0.0,), first, point=points[1]),
            Slip("tape from another point", (0.0,), second, point=points[0]),
        ),
    )
    assert swapped is not None
    found = explain(adjust_route(swapped))
    told = {(one.slip.slip, one.slip.id, one.slip.point) for one in found[:2]}
    assert told == {
        ("tape from another point", first, points[0]),
        ("tape from another point", second, points[1]),
    }
    assert found[0].probability > 0.9


def test_a_slip_beside_two_swapped_tapes_is_named_with_them():
    site = straight_site(locate_footages_m=(3.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0))
    first, second = (ReadingId("tape", "2", column) for column in ("tape1", "tape2"))
    points = [tie.point for tie in site.locates[1].ties]
    depth = ReadingId("depth", "6", "depth")
    made = mend_all(
        site,
        (
            Slip("tape from another point", (0.0,), first, point=points[1]),
            Slip("tape from another point", (0.0,), second, point=points[0]),
            Slip("depth misread", (-3.0,), depth),
        ),
    )
    assert made is not None
    found = explain(adjust_route(made))
    assert {one.slip.id for one in found[:3]} == {first, second, depth}
    assert all(len(one.together) == 3 for one in found[:3])


@pytest.mark.parametrize(
    "name",
    ["counter +4 ft", "start elsewhere", "footage 3 ft", "riser left out", "counter scale 3 %"],
)
def test_what_is_told_can_be_taken_so_with_all_that_was_read_on_the_run(name):
    """Also what was seen just after the start, and at the very end."""
    told = 0
    for seed in range(7500, 7530):
        planted = plant(name, seed)
        site, zero = planted.site, planted.slips[0].size if name == "counter +4 ft" else 0.0
        seen = (Finding(zero + 0.1, "crack"), *site.findings, Finding(site.run.end_m, "roots"))
        site = replace(site, findings=seen)
        assert not off_the_run(site)
        try:
            route = adjust_route(site)
        except AdjustmentError:
            continue
        for one in explain(route):
            mended = mend_all(site, one.together)
            assert mended is not None
            assert not off_the_run(mended), (seed, one.together)
            told += 1
    assert told > 5


def test_a_mended_site_needs_no_more_explaining():
    _, route = route_of("bend 45 not noted", 7001)
    found = explain(route)
    mended = mend_all(route.site, found[0].together)
    assert mended is not None
    again = adjust_route(mended)
    assert again.chi_square < route.chi_square / 2.0
    assert all(one.probability < LIKELY for one in explain(again))


@pytest.mark.parametrize(
    ("seed", "off_m", "demanded"),
    [(9000, -0.9, False), (9000, 0.9, False), (9001, -0.6, False), (9002, 0.9, False),
     (9004, 0.9, False), (9000, 1.5, True), (9002, 1.5, True)],
)  # fmt: skip
def test_a_bend_just_taken_is_not_moved_for_less_than_the_readings_demand(seed, off_m, demanded):
    _, route = route_of("bend 45 not noted", seed)
    slip = explain(route)[0].slip
    assert slip.slip == "bend not noted"
    slip = replace(slip, footage_m=slip.footage_m + off_m)
    again = explain(adjust_route(take_so(route.site, [Applied(slip)])))
    asked = [one for one in again if one.slip.footage_m == slip.footage_m and one.slip.id]
    assert [one.slip.slip for one in asked] == (["bend misplaced"] if demanded else [])


def test_a_reading_just_taken_otherwise_is_not_asked_about_for_less_than_is_demanded():
    _, route = route_of("tape 5 ft", 9000)
    slip = explain(route)[0].slip
    assert slip.id is not None
    for off_m, demanded in ((0.25, False), (0.35, False), (1.5, True)):
        other = replace(slip, size=(slip.size[0] + off_m,))
        again = explain(adjust_route(take_so(route.site, [Applied(other)])))
        assert any(one.slip.id == slip.id for one in again) is demanded


class TestMending:
    site = straight_site(
        locate_footages_m=(4.0, 8.0, 12.0, 16.0),
        bends=(Bend(6.0, turn_deg=45.0), Bend(10.0, turn_deg=-22.5)),
    )

    @pytest.mark.parametrize(
        "slip",
        [
            Slip("footage misread", (1.5,), ReadingId("footage", "2", "footage")),
            Slip("depth misread", (0.5,), ReadingId("depth", "2", "depth")),
            Slip("tape misread", (-1.0,), ReadingId("tape", "3", "tape1")),
            Slip("bend angle", (-20.0,), ReadingId("turn", f"{6.0 / FOOT:.2f}", "turn")),
            Slip("counter not at zero", (1.2,)),
            Slip("counter scale", (0.03,)),
            Slip("line mapped elsewhere", (0.7,), ReadingId("line", "curb")),
            Slip("start elsewhere", (0.7, -0.2), ReadingId("start position")),
        ],
        ids=lambda slip: slip.slip,
    )
    def test_what_was_noted_less_the_size_is_what_was_true(self, slip):
        made = mend(self.site, Slip(slip.slip, tuple(-one for one in slip.size), slip.id))
        if slip.slip == "counter scale":
            made = mend(self.site, Slip(slip.slip, (1.0 / 1.03 - 1.0,)))
        assert not np.allclose(numbers(made), numbers(self.site), atol=1e-6)
        back = mend(made, slip)
        np.testing.assert_allclose(numbers(back), numbers(self.site), atol=1e-9)

    def test_the_size_comes_off_what_was_noted(self):
        turn = ReadingId("turn", f"{6.0 / FOOT:.2f}", "turn")
        assert mend(self.site, Slip("bend angle", (20.0,), turn)).bends[0].turn_deg == 25.0
        misplaced = mend(self.site, Slip("bend misplaced", (1.5,), turn))
        assert [one.footage_m for one in misplaced.bends] == [4.5, 10.0]
        depth = ReadingId("depth", "2", "depth")
        noted = self.site.locates[1].depth_m
        assert (
            mend(self.site, Slip("depth misread", (0.5,), depth)).locates[1].depth_m == noted - 0.5
        )
        held = mend(self.site, Slip("held above left out", (0.5,), depth)).locates[1]
        assert (held.depth_m, held.held_above_m) == (noted, 0.5)

    def test_a_slip_of_the_counter_moves_all_that_comes_after(self):
        mended = mend(self.site, Slip("counter slipped", (1.0,), None, 9.0))
        assert [one.footage_m for one in mended.locates] == [4.0, 8.0, 11.0, 15.0]
        assert [one.footage_m for one in mended.bends] == [6.0, 9.0]
        assert mended.run.end_m == self.site.run.end_m - 1.0

    def test_a_tape_is_hung_on_the_point_it_was_pulled_from(self):
        tape = ReadingId("tape", "2", "tape1")
        old = self.site.locates[1].ties[0]
        other = next(one.name for one in self.site.plan.points if one.name != old.point)
        mended = mend(self.site, Slip("tape from another point", (0.0,), tape, point=other))
        assert mended.locates[1].ties[0].point == other
        assert mended.locates[1].ties[0].distance_m == old.distance_m

    def test_a_riser_left_out_is_put_in(self):
        mended = mend(self.site, Slip("riser left out", (1.5,)))
        assert mended.start.riser_m == 1.5
        assert mended.start.depth_m == self.site.start.depth_m
        at_foot = mend(self.site, Slip("riser left out", (1.5,), at_foot=True))
        assert at_foot.start.depth_m == pytest.approx(self.site.start.depth_m - 1.5)

    def test_a_bent_line_moves_aside_by_the_same_on_all_of_its_sides(self):
        bent = replace(CURB, vertices_m=np.array([[0.0, 0.0], [0.0, 5.0], [5.0, 5.0]]))
        site = replace(self.site, plan=replace(self.site.plan, lines=(bent,)))
        slip = Slip("line mapped elsewhere", (-1.0,), ReadingId("line", "curb"))
        moved = mend(site, slip).plan.line("curb").vertices_m
        np.testing.assert_allclose(moved, [[1.0, 0.0], [1.0, 4.0], [5.0, 4.0]])

    @pytest.mark.parametrize(
        "reading",
        [
            ReadingId("depth", "Z", "depth"),
            ReadingId("tape", "2", "tape9"),
            ReadingId("turn", "99", "turn"),
            ReadingId("line", "no such line"),
            ReadingId("point", "no such point"),
        ],
        ids=lambda reading: reading.kind,
    )
    def test_a_reading_that_is_not_there_is_refused(self, reading):
        slip = Slip("depth misread", (1.0, 1.0), reading)
        with pytest.raises((ValueError, KeyError)):
            mend(self.site, slip)
        assert mend_all(self.site, (slip,)) is None


def numbers(site):
    """Return every number that a slip may touch."""
    found = [site.start.easting_m, site.start.northing_m, site.counter.zero_m, site.run.end_m]
    found += [value for one in site.bends for value in (one.footage_m, one.turn_deg)]
    found += [value for one in site.locates for value in (one.footage_m, one.depth_m)]
    found += [tie.distance_m for one in site.locates for tie in one.ties]
    found += [value for one in site.plan.lines for value in one.vertices_m.ravel()]
    return [math.nan if one is None else one for one in found]


def test_a_counter_that_slipped_at_a_bend_moves_what_lies_beyond_it_along_the_new_leg():
    # East for 12 m, then south; the counter slips by 1.5 m at the bend.
    site = straight_site(known_azimuth=False, bends=(Bend(12.0, 90.0),))

    def locate(index, footage_m):
        at = footage_m - site.transmitter.behind_lens_m
        place = (min(at, 12.0), min(12.0 - at, 0.0))
        noted = footage_m + (1.5 if footage_m > 12.0 else 0.0)
        return Locate(f"{index}", noted, ties=three_tapes(*place))

    locates = tuple(locate(k, at) for k, at in enumerate((3.0, 6.0, 9.0, 15.0, 18.0, 21.0, 24.0)))
    slip = explain(adjust_route(replace(site, locates=locates)))[0].slip
    assert slip.slip == "counter slipped"
    assert 12.0 <= slip.footage_m < 15.0
    assert slip.size[0] == pytest.approx(1.5, abs=0.2)


@pytest.mark.parametrize("size", [-1.5, -1.2, 0.8, 1.5])
@pytest.mark.parametrize("after", [2, 3, 4])
def test_a_counter_that_slipped_between_locates_close_together_is_told_between_them(size, after):
    """No node of the chain lies between them but the transmitter's own places."""
    true = (3.0, 6.0, 8.0, 10.0, 12.0, 14.0, 17.0, 21.0)
    site = straight_site()

    def locate(index, footage_m):
        place = three_tapes(footage_m - site.transmitter.behind_lens_m, 0.0)
        return Locate(f"{index}", footage_m + size * (index > after), ties=place)

    locates = tuple(locate(index, at) for index, at in enumerate(true))
    slip = explain(fit_route(replace(site, locates=locates)))[0].slip
    assert slip.slip == "counter slipped"
    assert locates[after].footage_m <= slip.footage_m < locates[after + 1].footage_m
    assert slip.size[0] == pytest.approx(size, abs=0.2)
