"""A gross mistake is told from its victims by fitting the line without it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from adjust.builder import CURB, straight_site, surveyed, three_tapes
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings
from lateral_map.adjust.set_aside import best_without
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import without_reading
from lateral_map.model.site import AlongTie, Bend, OffsetTie, TapeTie
from lateral_map.words.names import reading_name

FOOTAGES = (4.0, 8.0, 12.0, 16.0, 20.0, 24.0)


def blamed(site):
    """Return the readings named as the ones to look at first."""
    checks = check_readings(adjust_route(site))
    return [reading_name(one.id, site.plan) for one in checks if one.set_aside_first]


def with_locate(site, index, **fields):
    """Return the site with one locate changed."""
    locates = list(site.locates)
    locates[index] = replace(locates[index], **fields)
    return replace(site, locates=tuple(locates))


@pytest.mark.parametrize("seed", [5, 9, 20, 22, 27])
def test_a_tape_misread_by_many_feet_is_named_alone_or_by_its_mark(seed):
    site, _ = simulate(seed)
    for index, one in enumerate(site.locates):
        tapes = [tie for tie in one.ties if isinstance(tie, TapeTie)]
        if len(tapes) >= 2 and one.use:
            bad = replace(tapes[0], distance_m=tapes[0].distance_m + 2.0)
            ties = tuple(bad if tie is tapes[0] else tie for tie in one.ties)
            name = f"locate {one.mark} "
            assert set(blamed(with_locate(site, index, ties=ties))) <= {
                f"{name}{bad.column}", f"{name}mark"
            }  # fmt: skip
            return
    pytest.fail("this simulated site has no locate with two tapes")


def test_coordinates_typed_wrong_are_not_blamed_on_the_tapes():
    site = straight_site(locate_footages_m=FOOTAGES)
    east = 12.0
    wrong = (*three_tapes(east, 0.0), *surveyed(east, 27.0))
    named = blamed(with_locate(site, 2, ties=wrong))
    assert named in (["locate 3 xy"], ["locate 3 mark"])


def test_a_drop_entered_upside_down_is_named():
    drop = (Bend(13.9, fall_deg=45.0), Bend(14.0, fall_deg=-45.0))
    site = straight_site(locate_footages_m=FOOTAGES, bends=drop)
    turned = (replace(drop[0], fall_deg=-45.0), Bend(22.0, fall_deg=-45.0))
    assert any("bend" in name for name in blamed(replace(site, bends=turned)))


def test_a_good_site_needs_no_refit():
    assert blamed(straight_site(locate_footages_m=FOOTAGES)) == []


def test_the_best_loss_is_the_mistake_itself():
    site = straight_site(locate_footages_m=FOOTAGES)
    route = adjust_route(with_locate(site, 3, depth_m=6.0))
    depth_4 = ReadingId("depth", "4", "depth")
    found = best_without(
        route, [ReadingId("mark", "4", "mark"), depth_4, ReadingId("depth", "3", "depth")]
    )
    assert found is not None
    assert found[0] == depth_4
    assert found[1].chi_square < 1.0 < route.chi_square


class TestLeavingOut:
    site = with_locate(
        straight_site(locate_footages_m=FOOTAGES, bends=(Bend(10.0, 45.0),)),
        1,
        ties=(*three_tapes(8.0, 0.0), AlongTie("curb", 3.0, 0.03), OffsetTie("curb", 1.0, 0.03)),
    )

    @pytest.mark.parametrize(
        ("kind", "column"),
        [("tape", "tape1"), ("tape", "tape3"), ("along", "along"), ("offset", "offset")],
    )
    def test_a_tie(self, kind, column):
        left = without_reading(self.site, ReadingId(kind, "2", column))
        assert left is not None
        assert len(left.locates[1].ties) == 4

    def test_a_mark_takes_all_its_ties(self):
        left = without_reading(self.site, ReadingId("mark", "2", "mark"))
        assert left is not None
        assert left.locates[1].ties == ()
        assert left.locates[1].use

    def test_a_footage_takes_its_locate(self):
        left = without_reading(self.site, ReadingId("footage", "2", "footage"))
        assert left is not None
        assert not left.locates[1].use

    def test_a_locate_of_ties_alone_goes_with_them(self):
        left = without_reading(
            with_locate(self.site, 1, depth_m=None), ReadingId("mark", "2", "mark")
        )
        assert left is not None
        assert not left.locates[1].use

    def test_a_bend_may_then_turn_any_way(self):
        left = without_reading(self.site, ReadingId("turn", "32.81", "turn"))
        assert left is not None
        assert left.bends[0].sd_deg == 90.0

    def test_start_and_map(self):
        assert without_reading(self.site, ReadingId("start position")).start.sd_m > 30.0
        assert without_reading(self.site, ReadingId("start depth")).start.depth_m is None
        assert without_reading(self.site, ReadingId("start azimuth")).start.azimuth_deg is None
        assert (
            without_reading(self.site, ReadingId("line", "curb")).plan.line("curb").sd_m > CURB.sd_m
        )
        assert (
            without_reading(self.site, ReadingId("point", "hydrant")).plan.point("hydrant").sd_m
            > 30.0
        )

    @pytest.mark.parametrize(
        "reading",
        [
            ReadingId("tape", "2", "tape9"),
            ReadingId("mark", "99", "mark"),
            ReadingId("turn", "3", "turn"),
        ],
    )
    def test_what_is_no_reading(self, reading):
        assert without_reading(self.site, reading) is None
