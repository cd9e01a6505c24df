"""What the dig review says before anything else."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from dig.builder import FOOT, sloped
from shapely.geometry import MultiPoint, Polygon
from truth.simulate import simulate

from lateral_map.adjust.route import adjust_route
from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.layers import CUT_LAYERS, dig_layers
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.dig.tables import rules_table
from lateral_map.draw.dig.truck import truck_html
from lateral_map.model.site import DigRules, Reach, RuleOverride, SoilLayer
from lateral_map.report import build_report
from lateral_map.words.excavator import dig_notices
from lateral_map.words.names import WALL_WORDS


def data_of(page):
    return re.search(r'id="site-data">(.*?)</script>', page, re.DOTALL).group(1)


def review(alternatives=(), **dig):
    site, _ = simulate(3)
    site = replace(site, dig=replace(DigRules(), **dig), reaches=(Reach(2.0, 4.0),))
    report = build_report(site)
    route = replace(adjust_route(site), alternatives=alternatives)
    return build_dig_review(replace(report, route=route))


@pytest.mark.parametrize("soil", ["A", "stable rock"])
def test_dug_ground_taken_as_type_a_is_said_first(soil):
    # Appendix A: previously disturbed soil is never Type A (from memory).
    assert any("never Type A" in one for one in dig_notices(review(soil=soil)))


@pytest.mark.parametrize("soil", ["B", "C"])
def test_other_soils_are_not_warned_of(soil):
    assert not any("never Type A" in one for one in dig_notices(review(soil=soil)))


def test_a_looser_figure_is_named_with_the_notices_and_in_the_table():
    own = RuleOverride("protective system depth", 6.0 * FOOT, "a county's note")
    found = review(overrides=(own,))
    (said,) = [one for one in dig_notices(found) if "asks less" in one]
    assert said.startswith("Protective system depth: the site's 6.0 ft")
    (row,) = [row for row in rules_table(found).rows if row.alarm]
    assert "LESS than the federal figure" in row.cells[3]
    stricter = review(overrides=(replace(own, value=4.0 * FOOT),))
    assert not any("asks less" in one for one in dig_notices(stricter))


def test_the_reports_own_notices_are_said_too():
    found = review()
    site = replace(found.report.site, notices=("the plan came from a napkin",))
    report = replace(found.report, site=site)
    assert "The plan came from a napkin." in dig_notices(replace(found, report=report))


def test_the_map_opens_on_every_cut_and_its_spoil():
    found = review()
    assert found.reaches
    data = json.loads(data_of(dig_page(found)))
    seen = MultiPoint(data["view"]["must"]).convex_hull
    for one in found.reaches:
        # What is thinned out of the outline lies within 0.1 m of it.
        assert seen.buffer(0.11).covers(one.opened[1].kept_back)


def test_other_lines_that_fit_as_well_are_said():
    site, _ = simulate(3)
    other = adjust_route(site).positions([0.0, 5.0])[:, :2] + 3.0
    assert any(
        "lines that fit" in one or "more than one line:" in one
        for one in dig_notices(review((other,)))
    )
    assert not any("more than one line:" in one for one in dig_notices(review()))


def test_a_reach_has_the_slope_of_its_own_soil_and_what_warns_that_of_the_softest():
    site, _ = simulate(3)
    reaches = (Reach(2.0, 4.0, "firm"), Reach(6.0, 8.0, "soft", "C"))
    site = replace(site, dig=replace(DigRules(), soil="B"), reaches=reaches)
    found = build_dig_review(build_report(site))
    assert [one.rules.soil for one in found.reaches] == ["B", "C"]
    assert set(found.profile.slope) == {1.5}
    for one, slope in zip(found.reaches, (1.0, 1.5), strict=True):
        part = found.profile.between(one.reach.begin.footage_m, one.reach.end.footage_m)
        wide = sum(part.edges_m(sloped(slope), 0.0)).max()
        assert one.excavation.sloped.top_width_m == pytest.approx(wide)


@pytest.mark.parametrize("walls", ["sloped", "shored"])
def test_the_white_line_of_the_truck_is_the_cut_chosen(walls):
    found = review(walls=walls)
    # No building stands on this site: nothing is refused.
    assert [one.chosen for one in found.reaches] == [walls]
    (line,) = next(layer for layer in dig_layers(found, chosen=True) if layer.key == "white").items
    outline = found.reaches[0].ground(walls).outline
    assert Polygon(line.at_m).area == pytest.approx(outline.area)


@pytest.mark.parametrize("walls", ["sloped", "shored", "benched", "box and slope"])
@pytest.mark.parametrize("box_height_m", [None, 0.3, 2.0])
def test_every_way_to_stand_is_told_and_outlined(walls, box_height_m):
    layers = () if walls == "benched" else (SoilLayer(0.5, "C"), SoilLayer(1.0, "stable rock"))
    found = review(walls=walls, soil="B", layers=layers, cohesive=True, box_height_m=box_height_m)
    for one in found.reaches:
        cuts = {ground.cut.walls: ground.cut for ground in one.opened}
        assert ("box and slope" in cuts) == (box_height_m == 2.0)
        assert one.chosen == (walls if walls in cuts else "sloped")
        # How the dig is to be opened is on the map at once, with both cuts that there always are.
        seen = {CUT_LAYERS[layer.key] for layer in dig_layers(found)
                if layer.key in CUT_LAYERS and layer.shown}  # fmt: skip
        assert seen == {"shored", "sloped", one.chosen}
        for ground in one.opened:
            cut = ground.cut
            assert cut.bank_low_m3 <= cut.bank_m3 <= cut.bank_high_m3
            assert ground.kept_back.covers(ground.outline)
            assert ground.outline.buffer(2e-3).covers(cut.footprint)
    told = dig_page(found) + truck_html(found)
    assert all(
        WALL_WORDS[cut.walls] in told for one in found.reaches for cut in one.excavation.cuts
    )
    asked = f"{walls.capitalize()} walls are asked for"
    assert any(asked in words for words in dig_notices(found)) == (found.reaches[0].chosen != walls)
