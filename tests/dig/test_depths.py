"""The depth table, and depths from nulls against the dipole field."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from adjust.builder import straight_site
from adjust.test_transmitter import field
from dig.builder import FOOT, dig_rules
from scipy.optimize import brentq
from shapely.geometry import box

from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings
from lateral_map.analysis.depth_table import find_unread, table_depths
from lateral_map.analysis.null_depths import check_null_depths, depth_from_nulls_m
from lateral_map.analysis.pipes import list_pipes
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.trench import lay_trench
from lateral_map.analysis.trench_rules import read_trench_rules
from lateral_map.model.identity import ReadingId
from lateral_map.model.site import PlanArea, RuleOverride
from lateral_map.words.excavator import unread_words


def table(site, asked=table_depths):
    route = adjust_route(site)
    stations = lay_stations(route)
    pipes = list_pipes(site)
    profile = lay_trench(stations, pipes, site.dig, read_trench_rules(site.dig))
    return asked(route, stations, profile)


def test_every_five_feet_and_every_event():
    site = straight_site(length_m=40 * FOOT, locate_footages_m=(4.0, 9.0))
    rows = table(site)
    feet = np.array([row.footage_m for row in rows]) / FOOT
    for regular in np.arange(0, 41, 5):
        assert np.abs(feet - regular).min() < 1e-6
    assert {"start", "locate 1", "locate 2", "end"} <= {e for row in rows for e in row.events}
    assert len(rows) < 20


def test_cover_invert_and_bottom_hang_together():
    site = straight_site(locate_footages_m=(4.0, 9.0, 20.0))
    pipe = list_pipes(site)[0]
    for row in table(site):
        # No pipe was given, so its wall is nothing: crown an outside diameter above the invert.
        assert row.invert_depth_m - row.cover_m == pytest.approx(pipe.outside_diameter_m)
        assert row.bottom_depth_m - row.invert_depth_m == pytest.approx(site.dig.bedding_m)
        assert row.sd_m > 0.0


def test_it_is_loud_where_nothing_was_located():
    site = straight_site(locate_footages_m=(4.0, 20.0), length_m=30.0)
    rows = {round(row.footage_m / FOOT): row for row in table(site)}
    assert rows[10].unread is None
    assert unread_words(rows[10], "ft") == ""
    assert unread_words(rows[40], "ft").startswith("INTERPOLATED: nothing was located here")
    assert unread_words(rows[95], "ft").startswith("CARRIED ON")


def test_it_names_the_building_above():
    site = straight_site(locate_footages_m=(4.0, 20.0), length_m=30.0)
    garage = PlanArea("garage", "building", box(8.0, -5.0, 14.0, 5.0))
    rows = table(replace(site, plan=replace(site.plan, areas=(garage,))))
    under = [row for row in rows if row.under]
    assert under
    assert all(8.0 <= row.footage_m <= 14.1 for row in under)
    assert all(
        "under garage" in unread_words(row, "ft") for row in under if row.from_reading_m > 2 * FOOT
    )


def test_stretches_nobody_read_lie_beyond_ten_feet_of_a_depth_or_two_under_a_house():
    # Depths are read at the start and over the transmitter, which rides behind the lens.
    site = straight_site(locate_footages_m=(4.0, 20.0), length_m=30.0)
    first, second = (at - site.transmitter.behind_lens_m for at in (4.0, 20.0))
    far = [(first + 10 * FOOT, second - 10 * FOOT), (second + 10 * FOOT, 30.0)]
    assert np.allclose(table(site, find_unread), far, atol=0.02)
    garage = PlanArea("garage", "building", box(2.0, -5.0, 6.0, 5.0))
    site = replace(site, plan=replace(site.plan, areas=(garage,)))
    under = [(2.0, first - 2 * FOOT), (first + 2 * FOOT, 6.0)]
    assert np.allclose(table(site, find_unread), [*under, *far], atol=0.02)


def test_no_depth_at_all_is_said():
    site = straight_site(locate_footages_m=(4.0,))
    bare = replace(
        site,
        start=replace(site.start, depth_m=None),
        locates=(replace(site.locates[0], depth_m=None),),
    )
    said = [unread_words(row, "ft") for row in table(bare)]
    assert all(words.startswith("NO DEPTH WAS EVER READ") for words in said)
    assert all(row.from_reading_m is None for row in table(bare))


@pytest.mark.parametrize("tilt_deg", [0.0, 1.19, 5.0, 10.0, 20.0, 30.0, 45.0])
def test_nulls_give_the_depth_of_a_tilted_dipole(tilt_deg):
    # The field is computed from the dipole formula and its zeros found numerically.
    ahead = brentq(lambda x: field(x, tilt_deg)[0], 0.0, 0.9)
    behind = brentq(lambda x: field(x, tilt_deg)[0], -2.5, -0.5)
    for depth_m in (0.6, 1.5, 4.0):
        found = depth_from_nulls_m(depth_m * (ahead - behind), tilt_deg)
        assert float(found) == pytest.approx(depth_m, rel=1e-9)


def test_level_nulls_are_the_published_share():
    # In-line nulls of a level dipole lie at depth / sqrt 2 either way: 0.70711 x their distance.
    assert float(depth_from_nulls_m(1.0)) == pytest.approx(0.70711, abs=5e-6)


def with_nulls(nulls_m, held_m=0.0):
    site = straight_site(locate_footages_m=(4.0, 10.0, 20.0))
    middle = replace(site.locates[1], nulls_m=nulls_m, nulls_held_above_m=held_m)
    return replace(site, locates=(site.locates[0], middle, site.locates[2]))


def test_nulls_that_agree_are_said_to_agree():
    depth = straight_site(locate_footages_m=(10.0,)).locates[0].depth_m
    (check,) = check_null_depths(adjust_route(with_nulls(depth * np.sqrt(2.0))))
    assert check.verdict == "agree"
    assert check.nulls_depth_m == pytest.approx(check.read_depth_m, abs=0.005)
    assert check.tilt_deg == pytest.approx(1.15, abs=0.3)


def test_held_above_the_ground_comes_off():
    depth = straight_site(locate_footages_m=(10.0,)).locates[0].depth_m
    held = with_nulls((depth + 0.5) * np.sqrt(2.0), held_m=0.5)
    (check,) = check_null_depths(adjust_route(held))
    assert check.nulls_depth_m == pytest.approx(depth, abs=0.005)


def test_nulls_that_disagree_are_a_named_suspect():
    route = adjust_route(with_nulls(3.2))
    (check,) = check_null_depths(route)
    assert check.verdict == "suspect"
    assert check.locate == "2"
    suspects = [one for one in check_readings(route) if one.verdict == "suspect"]
    first = [one.id for one in suspects if one.set_aside_first]
    assert first == [ReadingId("nulls", "2", "nulls")]


def test_no_nulls_no_check():
    assert check_null_depths(adjust_route(straight_site(locate_footages_m=(4.0,)))) == ()


def test_rules_of_the_site_come_before_the_federal_ones():
    from lateral_map.analysis.trench_rules import FEDERAL_RULES
    from lateral_map.model.site import RuleOverride

    own = RuleOverride("protective system depth", 4 * FOOT, "State Plan 12.3")
    rules = read_trench_rules(dig_rules("B", overrides=(own,)))
    assert rules.value("protective system depth") == pytest.approx(4 * FOOT)
    assert rules.rule("protective system depth").paragraph == "State Plan 12.3"
    assert rules.rule("protective system depth").standing == "set by the site"
    assert rules.slope == 1.0
    untouched = {rule.key for rule in rules.rules} - {"protective system depth"}
    for rule in FEDERAL_RULES:
        if rule.key in untouched:
            assert rules.rule(rule.key) == rule


@pytest.mark.parametrize(
    ("key", "feet", "looser"),
    [
        ("protective system depth", 4.0, False),
        ("protective system depth", 6.0, True),
        ("spoil set-back", 3.0, False),
        ("spoil set-back", 1.0, True),
    ],
)
def test_a_figure_that_asks_less_than_the_federal_one_is_marked(key, feet, looser):
    own = RuleOverride(key, feet * FOOT, "local code")
    rules = read_trench_rules(dig_rules(overrides=(own,)))
    assert [rule.key for rule in rules.rules if rule.looser] == ([key] if looser else [])


def test_levels_hang_together_where_the_ground_was_measured():
    site = straight_site(locate_footages_m=(4.0, 9.0, 20.0))
    locates = tuple(replace(one, ground_m=50.0) for one in site.locates)
    levelled = replace(site, start=replace(site.start, ground_m=50.0), locates=locates)
    for row in table(levelled):
        assert row.ground_m == pytest.approx(50.0, abs=0.2)
        assert row.crown_m == pytest.approx(row.ground_m - row.cover_m)
        assert row.sd_crown_m > 0.0
        assert row.sd_ground_m > 0.0
    assert all(row.crown_m is None for row in table(site))
