"""The dig review's page in a real browser: whole, quiet, readable, and safe."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from drawings.builder import build

from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.layers import DIG_LAYER_KEYS
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.dig.section import section_svg
from lateral_map.draw.profile.trench import dig_profile
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report

DEMOS = Path(__file__).parents[2] / "demo_sites"
HOSTILE = "{{7*7}}{%{#${`</script><img src=x onerror=alert(1)>\u2028$x^2$ \\frac שלום"


@cache
def page_of(name="garage_slab"):
    return dig_page(build_dig_review(build_report(load_site(DEMOS / name))))


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])
def test_it_opens_alone_and_fits(open_page, width, height):
    shown = open_page(page_of(), width=width, height=height)
    assert shown.complaints == []
    assert all(url.startswith(("file:", "data:")) for url in shown.requests)
    assert shown.run("document.documentElement.scrollWidth") <= width
    assert shown.run("document.querySelectorAll('.reach').length") == 3
    assert shown.run("document.querySelectorAll('#facts > div').length") >= 5


@pytest.mark.browser
def test_its_layers_stand_on_the_map(open_page):
    shown = open_page(page_of())
    keys = shown.run("[...document.querySelectorAll('[data-layer]')].map(e => e.dataset.layer)")
    # Nobody has a box there, and the soil is not cohesive: nothing of either is shown.
    assert set(DIG_LAYER_KEYS) - set(keys) == {"benched", "boxed"}
    drawn = "document.querySelectorAll('.leaflet-plan-shored-pane path').length"
    assert shown.run(drawn) == 3
    tapes = "document.querySelectorAll('.leaflet-plan-tapes-pane path').length"
    assert shown.run(tapes) == 0  # off until asked for
    shown.page.check("#layer-tapes")
    assert shown.run(tapes) > 10


@pytest.mark.browser
def test_the_profile_follows_the_map(open_page):
    shown = open_page(page_of())
    shown.page.focus("#profile-slider")
    for _ in range(5):
        shown.page.keyboard.press("ArrowRight")
    assert shown.run(
        "document.querySelector('#profile-wide .cursor').getAttribute('visibility')"
    ) == ("visible")
    x = float(shown.run("document.querySelector('#profile-wide .cursor-line').getAttribute('x1')"))
    box = dig_profile(review_of(), narrow=False)
    assert box["left"] < x < box["right"]


@cache
def review_of(name="garage_slab"):
    return build_dig_review(build_report(load_site(DEMOS / name)))


@pytest.mark.browser
@pytest.mark.parametrize("unit", ["ft", "m"])
def test_hostile_words_are_shown_and_never_run(open_page, unit):
    review = build_dig_review(build(word=HOSTILE, unit=unit))
    page = dig_page(review)
    shown = open_page(page)
    assert shown.complaints == []
    assert shown.run("document.querySelectorAll('img').length") == 0
    assert "{{7*7}}" in shown.run("document.body.textContent")
    assert shown.run("document.querySelector('.refind').textContent").count("{{7*7}}") > 1


@pytest.mark.browser
def test_nothing_to_repair_is_said(open_page):
    report = build(findings=0)
    shown = open_page(dig_page(build_dig_review(report)))
    assert shown.complaints == []
    assert "nothing is proposed" in shown.run("document.getElementById('notices').textContent")


def test_no_link_leaves_the_page():
    page = page_of()
    left = page.replace("http://www.w3.org/", "").replace("https://leafletjs.com", "")
    assert "http://" not in left
    assert "src=" not in left.split("<script")[0]


def test_the_profile_shows_the_bottom_and_its_bound():
    box = dig_profile(review_of(), narrow=False)
    profile = review_of().profile
    lowest = -float(profile.depth_at_bound(1.0).max()) / 0.3048
    assert box["low"] < lowest < box["high"]
    assert box["from"] == pytest.approx(0.0)


def test_the_section_is_to_scale():
    import re

    review = review_of()
    one = review.reaches[0]
    svg = section_svg(review, one, narrow=False)
    assert "14.9 ft" in svg
    assert "± 0.3 ft" in svg
    width, height = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups()
    assert float(width) == pytest.approx(12.4 * 72, abs=1)
    assert 100 < float(height) < 400


def test_without_utilities_it_says_that_this_is_no_sign():
    report = build(findings=3)
    site = replace(report.site, plan=replace(report.site.plan, utilities=()))
    bare = replace(report, site=site, route=replace(report.route, site=site), utilities=())
    assert "That is no sign that there are none" in dig_page(build_dig_review(bare))
