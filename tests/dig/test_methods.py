"""What is to be thought of first, and what the site's own rates come to."""

from __future__ import annotations

from dataclasses import replace

import pytest
from dig.builder import FOOT, dig_rules, straight, trench
from shapely.geometry import Polygon, box

from lateral_map.analysis.excavation import measure_excavation
from lateral_map.analysis.methods import compare_methods
from lateral_map.analysis.reach import propose_reaches
from lateral_map.analysis.sides import judge_findings
from lateral_map.analysis.stations import lay_stations
from lateral_map.analysis.structures import find_structures
from lateral_map.analysis.surfaces import measure_surfaces
from lateral_map.model.dig import OpenedGround, ReachReview
from lateral_map.model.site import Finding, Plan, PlanArea, Rate, Rates, Reach
from lateral_map.words.methods import method_cautions

LENGTH = 20 * FOOT
YARD3 = (3 * FOOT) ** 3


def methods(depth_ft=8.0, plan=None, rates=None, findings=()):
    """Return (excavation, methods by name) of a whole run that is one reach."""
    dig = dig_rules()
    route = straight(LENGTH, depth_ft * FOOT, plan=plan, dig=dig, findings=findings)
    site = replace(route.site, reaches=(Reach(0.0, LENGTH),), rates=rates or Rates())
    route = replace(route, site=site)
    profile, rules = trench(route, dig)
    (reach,) = propose_reaches(route, judge_findings(route, lay_stations(route), ()), (), ())
    cut = measure_excavation(profile, 0.0, LENGTH, dig, rules)
    surfaces = tuple(
        measure_surfaces(site.plan, profile.place_m, one.footprint, 0.0)
        for one in (cut.shored, cut.sloped)
    )
    near = find_structures(site, profile, cut, rules)
    found = compare_methods(site, reach, cut, surfaces)
    opened = tuple(
        OpenedGround(one, broken, Polygon(), Polygon())
        for one, broken in zip(cut.cuts, surfaces, strict=True)
    )
    review = ReachReview(reach, rules, cut, opened, near, found, "sloped")
    return cut, {
        one.name: (one, " / ".join(method_cautions(review, one.name, rules, site.unit)))
        for one in found
    }


def said(method):
    return method[1]


@pytest.mark.parametrize(
    ("depth_ft", "asked", "not_asked"),
    [
        (3.0, ("no sign of a cave-in",), ("way out", "test the air", "required from")),
        (4.5, ("no sign of a cave-in", "1 way out", "test the air"), ("required from",)),
        (4.96, ("required from 5.0 ft",), ("no sign",)),  # prints as 5.0 ft
        (5.5, ("required from 5.0 ft",), ("falling in",)),
        (8.0, ("required from 5.0 ft", "652(a)(1)", "falling in"), ("professional engineer",)),
        (20.5, ("professional engineer designs it",), ()),
    ],
)
def test_what_the_depth_asks_is_said_of_both_cuts(depth_ft, asked, not_asked):
    # 29 CFR 1926.651(c)(2), (g)(1)(i), 652(a)(1), (b)(4).
    _, found = methods(depth_ft)
    for name in ("open cut, shored", "open cut, sloped"):
        assert all(words in said(found[name]) for words in asked)
        assert not any(words in said(found[name]) for words in not_asked)


def test_a_building_on_the_influence_line_is_said_of_shored_walls_too():
    house = PlanArea("house", "building", box(0.0, 6 * FOOT, LENGTH, 30 * FOOT))
    _, found = methods(plan=Plan(areas=(house,)))
    for name in ("open cut, shored", "open cut, sloped"):
        assert "house stands within the sloped cut" in said(found[name])
        assert "judged safe by a registered professional engineer" in said(found[name])


def test_paving_beside_the_cut_is_not_to_be_undermined():
    def walk(north_ft, cover):
        shape = box(0.0, north_ft * FOOT, LENGTH, (north_ft + 4) * FOOT)
        return Plan(areas=(PlanArea("walk", "surface", shape, cover),))

    _, found = methods(plan=walk(6.0, "concrete"))
    assert "undermined" in said(found["open cut, sloped"])
    assert "undermined" not in said(found["open cut, shored"])  # 5 ft from the vertical wall
    _, found = methods(plan=walk(-1.0, "lawn"))
    assert "undermined" not in said(found["open cut, sloped"])


def test_a_liner_is_cautioned_by_what_was_seen():
    findings = (
        Finding(1.0, "standing water", to_m=2.0, severity="moderate"),
        Finding(3.0, "crushed pipe", severity="severe"),
        Finding(4.0, "roots", severity="minor"),
    )
    _, found = methods(findings=findings)
    words = said(found["liner"])
    assert "a liner keeps the dip" in words
    assert "ASTM F1743-22" in words
    assert "rule out a gas or electric line" in words


def test_sums_are_the_sites_own_rates_and_nothing_else():
    cut, found = methods()
    assert all(one.cost is None for one, _ in found.values())
    rates = Rates(
        "USD", (Rate("excavate", 40.0 / YARD3, 70.0 / YARD3), Rate("liner", 300.0, 300.0))
    )
    cut, found = methods(rates=rates)
    shored, liner = found["open cut, shored"][0], found["liner"][0]
    # 20 ft x 2 ft x 8 ft is 11.85 bank yd³, and every depth is exact here.
    assert shored.cost == (pytest.approx(40.0 * 320 / 27), pytest.approx(70.0 * 320 / 27))
    assert "shore" in shored.unpriced
    assert liner.cost == (pytest.approx(300 * LENGTH), pytest.approx(300 * LENGTH))
    assert cut.shored.bank_m3 == pytest.approx(320 * FOOT**3)


def test_a_liner_may_need_no_pit_and_the_main_is_no_tap_to_cut_open():
    findings = (
        Finding(2.0, "tap at 10 o'clock"),
        Finding(LENGTH - 0.05, "tap at the main"),
        Finding(3.0, "infiltration", severity="moderate"),
    )
    _, found = methods(findings=findings)
    liner, words = found["liner"]
    pits = next(one for one in liner.quantities if one.item == "access pit")
    assert pits.low == 0.0
    assert words.count("until it is cut open again") == 1
    assert "washes resin out" in words
    assert "sealed" in words
    assert "dig and relay" not in words


@pytest.mark.parametrize("depth_ft", [3.0, 8.0, 20.5])
def test_loads_layers_and_shields_are_said_of_the_walls_they_hold_for(depth_ft):
    _, found = methods(depth_ft)
    shored, sloped = (found[name][1] for name in ("open cut, shored", "open cut, sloped"))
    for words in (shored, sloped):
        assert "as needed through it" in words
        assert "traffic" in words
    assert "no soil is lost" in shored
    assert "no soil is lost" not in sloped
    assert "softer layer" in sloped
    assert "softer layer" not in shored
    assert ("tabulated data" in shored) == (depth_ft > 20)
    assert "tabulated data" not in sloped
