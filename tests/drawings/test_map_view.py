"""The map's view in real Chromium: turned, fitted, lettered, touched, printed, in the dark."""

# ruff: noqa: E501  (scripts run in the page read best on one line)

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from agreement.sites import write_site
from chromium import check_with_axe
from paper import page_letters, page_texts

from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.page import map_page
from lateral_map.export.registry import make_products
from lateral_map.model.results import Report
from lateral_map.model.site import UtilityLine
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report

pytestmark = pytest.mark.browser

DEMOS = Path(__file__).parents[2] / "demo_sites"
DESK = {"width": 1400, "height": 900}
PHONE_VIEW = {"width": 390, "height": 844}
PHONE = {"width": 390, "height": 844, "touch": True}

LINE_ON_PANE = """() => { const { map, plane, data } = lateralMap.page, size = map.getSize();
  return data.stations.at.map(at => map.latLngToContainerPoint(plane.toMap(at))).map(p => [p.x / size.x, p.y / size.y]); }"""
CAPTIONS = "[...document.querySelectorAll('.caption:not(.footage)')].map(c => c.textContent)"


def told(report: Report) -> tuple[str, str]:
    """The captions of the crossing that decides and of the finding nearest to its line."""
    nearest = min(report.findings, key=lambda one: abs(one.telling.past_m))
    return "curb 73.7 ± 0.8 ft", f"#{nearest.number} {nearest.finding.finding}"


# How far, in pixels, the nearest lozenge of its own letter stands from each utility that is in view.
LETTERS_OFF = """() => { const { map, plane, data } = lateralMap.page, pane = map.getContainer().getBoundingClientRect();
  const chips = [...document.querySelectorAll('.letter-chip')].map(chip => { const r = chip.getBoundingClientRect();
    return [chip.textContent, L.point(r.x + r.width / 2 - pane.x, r.y + r.height / 2 - pane.y)]; });
  const items = data.layers.flatMap(layer => layer.items).filter(item => item.as === 'line' && data.style[item.style].letter);
  return items.map(item => { const at = item.at.map(one => map.latLngToContainerPoint(plane.toMap(one)));
    return Math.min(...chips.filter(([letter]) => letter === data.style[item.style].letter).map(([, chip]) =>
      Math.min(...at.slice(1).map((one, k) => L.LineUtil.pointToSegmentDistance(chip, at[k], one))))); }); }"""


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_every_utility_bears_its_letter_close_beside_the_pipe_too(
    report: Report, open_page, size
) -> None:
    """The pipe's names and footages took all its places: no letter, and no ? of unknown depth."""
    stations = report.stations
    line = np.stack([stations.easting_m, stations.northing_m], axis=-1)
    right = np.radians(stations.heading_deg + 90.0)
    square = np.stack([np.sin(right), np.cos(right)], axis=-1)
    along = range(len(line) // 6, len(line) * 5 // 6, len(line) // 9)
    beside = tuple(
        UtilityLine(kind, kind, np.array([line[k] + off_m * square[k] for k in along]))
        for kind, off_m in (("electric", 0.4), ("steam", -0.4), ("water", 0.9))
    )
    plan = report.site.plan
    plan = replace(plan, utilities=(*plan.utilities, *beside))
    shown = open_page(map_page(replace(report, site=replace(report.site, plan=plan))), **size)
    off = shown.run(LETTERS_OFF)
    assert len(off) == len(plan.utilities)
    assert max(off) < 2.0


# The words and figures of tables, facts and notices that stand on more than one line.
PARTED = r"""() => {
  const lines = (cell, from, to) => {
    const range = document.createRange(), walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let passed = 0; walk.nextNode(); passed += walk.currentNode.length) {
      const node = walk.currentNode, end = passed + node.length;
      if (from >= passed && from < end) range.setStart(node, from - passed);
      if (to > passed && to <= end) range.setEnd(node, to - passed);
    }
    const boxes = [...range.getClientRects()].filter((box) => box.width > 1);
    return new Set(boxes.map((box) => Math.round(box.top / 6))).size;
  };
  const told = /[<>] [\d.]+ %|± [\d.]+ \w+|\d+ ft \d+ in|\b[A-Za-z]{2,16}\b/g;
  return [...document.querySelectorAll("td, dd, #notices li")].flatMap((cell) => {
    const met = cell.offsetParent ? [...cell.textContent.matchAll(told)] : [];
    return met.map((one) => [one[0], lines(cell, one.index, one.index + one[0].length)]);
  });
}"""


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_no_word_and_no_figure_is_parted_over_two_lines(open_page, page_of, tmp_path, size) -> None:
    write_site(tmp_path, 3)
    review = build_dig_review(build_report(load_site(tmp_path)))
    for page in (page_of(findings=30), map_page(review.report), dig_page(review)):
        shown = open_page(page, **size)
        shown.run("new Promise((done) => setTimeout(done, 600))")
        for _ in ("screen", "paper"):
            told = shown.run(PARTED)
            assert len(told) > 100
            assert [words for words, lines in told if lines > 1] == []
            shown.run("window.dispatchEvent(new Event('beforeprint'))")


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_run_fills_the_pane_and_what_decides_is_lettered(
    report: Report, open_page, page_of, size
) -> None:
    shown = open_page(page_of(), **size)
    line = np.array(shown.run(LINE_ON_PANE))
    reach = np.ptp(line, axis=0)
    # Across a wide pane from left to right, up a tall one.
    if size is DESK:
        assert reach[0] > 0.75
        assert line[0, 0] < line[-1, 0]
        assert shown.run("lateralMap.page.map.getSize().y") > 600
    else:
        assert reach[1] > 0.65
        assert line[0, 1] > line[-1, 1]
    assert ((line > 0) & (line < 1)).all()
    assert set(told(report)) <= set(shown.run(CAPTIONS))


def test_north_is_set_up_and_the_run_along_the_pane_again(
    report: Report, open_page, page_of
) -> None:
    shown = open_page(page_of(), **DESK)
    heading = np.radians(report.stations.heading_deg[0])

    def first_step() -> np.ndarray:
        size = np.array(
            shown.run("(() => { const s = lateralMap.page.map.getSize(); return [s.x, s.y]; })()")
        )
        line = np.array(shown.run(LINE_ON_PANE)) * size
        step = line[10] - line[0]
        return step / np.hypot(*step)

    turned = shown.run("lateralMap.page.plane.turnDeg")
    assert turned != 0
    a = np.radians(turned)
    north = np.array([np.cos(a), np.sin(a)])
    ahead = np.array([np.sin(heading), np.cos(heading)])
    expected = [ahead @ [north[0], -north[1]], -(ahead @ [north[1], north[0]])]
    assert first_step() == pytest.approx(expected, abs=0.02)
    arrow = "document.querySelector('#north g').getAttribute('transform')"
    assert shown.run(arrow) == f"rotate({-turned:.15g})" or turned == pytest.approx(
        -float(shown.run(arrow)[7:-1])
    )
    shown.page.locator("#north-up").click()
    assert shown.run("lateralMap.page.plane.turnDeg") == 0
    assert first_step() == pytest.approx([np.sin(heading), -np.cos(heading)], abs=0.02)
    assert float(shown.run(arrow)[7:-1]) == 0
    shown.page.locator("#north-up").click()
    assert shown.run("lateralMap.page.plane.turnDeg") == pytest.approx(turned)
    assert shown.complaints == []


def test_the_map_fits_again_until_a_hand_has_moved_it(open_page, page_of) -> None:
    shown = open_page(page_of(), **DESK)
    # What the window does to the map comes a frame or two later.
    settled = "() => new Promise(done => setTimeout(done, 250))"
    shown.page.set_viewport_size({"width": 1000, "height": 760})
    shown.run(settled)
    line = np.array(shown.run(LINE_ON_PANE))
    assert ((line > 0) & (line < 1)).all()
    assert np.ptp(line[:, 0]) > 0.7
    shown.run("lateralMap.page.map.setZoom(6, {animate: false})")
    shown.page.set_viewport_size({"width": 1300, "height": 860})
    shown.run(settled)
    assert shown.run("lateralMap.page.map.getZoom()") == 6
    shown.page.locator("#whole-site").click()
    line = np.array(shown.run(LINE_ON_PANE))
    assert ((line > 0) & (line < 1)).all()


def test_a_legend_that_is_folded_up_leaves_its_column_to_the_map(open_page, page_of) -> None:
    for width, height in ((844, 500), (1400, 900)):
        shown = open_page(page_of(), width=width, height=height)
        width_of = "document.querySelector('.plan').offsetWidth"
        shown.page.evaluate("document.getElementById('key').open = true")
        beside = shown.run(width_of)
        shown.page.locator("#key summary").click()
        assert shown.run(width_of) > beside + 200
        assert shown.run(width_of) > width - 40
        shown.page.wait_for_function("() => lateralMap.page.map.getSize().x > innerWidth - 40")
        assert shown.page.locator("#key summary").is_visible()


def test_footages_are_ticked_at_round_figures_as_close_as_they_read(
    report: Report, open_page, page_of
) -> None:
    shown = open_page(page_of(), **DESK)
    # Each figure's middle and, of the station at its footage, the place on the screen.
    figures = """() => { const { map, plane, data } = lateralMap.page, box = map.getContainer().getBoundingClientRect();
      return [...document.querySelectorAll('.caption.footage')].map(c => {
        const value = parseFloat(c.textContent), at = data.stations.footage.map(f => Math.abs(f / data.unit.metres - value));
        const p = map.latLngToContainerPoint(plane.toMap(data.stations.at[at.indexOf(Math.min(...at))])), r = c.getBoundingClientRect();
        return [value, (r.left + r.right) / 2 - box.left - p.x, (r.top + r.bottom) / 2 - box.top - p.y]; }); }"""
    steps = {}
    for zoom_by in (0, 2):
        shown.run(
            "by => { const { map, plane, data } = lateralMap.page; map.setView(plane.toMap(data.stations.at[50]), map.getZoom() + by, {animate: false}); }",
            zoom_by,
        )
        found = np.array(shown.run(figures))
        assert len(found) >= 3
        assert np.hypot(found[:, 1], found[:, 2]).max() < 36
        steps[zoom_by] = np.diff(np.sort(found[:, 0])).min()
    assert steps[0] in (5, 10)
    assert steps[2] < steps[0]
    shown.page.locator("#layer-footage").uncheck()
    assert shown.page.locator(".caption.footage, .tick").count() == 0


def test_no_name_stands_on_a_plate_that_erases_the_line_under_it(open_page, page_of) -> None:
    shown = open_page(page_of(), **DESK)
    grounds = shown.run(
        "[...document.querySelectorAll('.caption')].map(c => getComputedStyle(c).backgroundColor)"
    )
    assert set(grounds) == {"rgba(0, 0, 0, 0)"}


def test_marks_are_one_stop_of_the_tab_key_and_arrows_go_along_the_line(open_page, page_of) -> None:
    shown = open_page(page_of(), **DESK)
    stops = "document.querySelectorAll('.mark[tabindex=\"0\"]').length"
    assert shown.run(stops) == 1
    shown.page.locator('.mark[tabindex="0"]').focus()
    name = "document.activeElement.getAttribute('aria-label')"
    seen = [shown.run(name)]
    for _ in range(4):
        shown.page.keyboard.press("ArrowRight")
        seen.append(shown.run(name))
    assert len(set(seen)) == 5
    shown.page.keyboard.press("ArrowLeft")
    assert shown.run(name) == seen[3]
    assert shown.run(stops) == 1
    shown.page.keyboard.press("Enter")
    assert shown.page.locator("#detail-title").inner_text() == seen[3]


def test_a_finger_near_a_mark_picks_the_nearest(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of(), **PHONE)
    shown.page.locator("#plan").scroll_into_view_if_needed()
    places = shown.run(
        "lateralMap.page.marks.filter(({ shape }) => shape.getElement()).map(({ shape }) => { const r = shape.getElement().getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2, r.width]; })"
    )
    assert min(width for *_, width in places) >= 44
    x, y, _ = next(place for place in places if 60 < place[0] < 330 and 150 < place[1] < 700)
    shown.page.touchscreen.tap(x + 3, y + 3)
    nearest = min(
        range(len(places)), key=lambda i: np.hypot(places[i][0] - x - 3, places[i][1] - y - 3)
    )
    expected = shown.run(
        "i => lateralMap.page.data.details[lateralMap.page.marks.filter(({ shape }) => shape.getElement())[i].item.detail].title",
        nearest,
    )
    assert shown.page.locator("#detail-title").inner_text() == expected


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_touch_and_contrast_pass_by_day_and_by_night(
    browser, page_of, tmp_path, size, scheme
) -> None:
    file = tmp_path / "map.html"
    file.write_text(page_of(), encoding="utf-8")
    touch = size.get("touch", False)
    context = browser.new_context(
        viewport={"width": size["width"], "height": size["height"]},
        has_touch=touch, is_mobile=touch, color_scheme=scheme, bypass_csp=True,
    )  # fmt: skip
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
    # The rule on the size of targets is off unless asked for.
    found = check_with_axe(page, rules={"target-size": {"enabled": True}})
    ground = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    context.close()
    assert [(each["id"], each["nodes"][0]["html"][:90]) for each in found["violations"]] == []
    assert "target-size" in {each["id"] for each in (*found["passes"], *found["incomplete"])}
    assert (ground == "rgb(255, 255, 255)") == (scheme == "light")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_dig_page_is_read_by_day_and_by_night(browser, tmp_path, scheme) -> None:
    file = tmp_path / "dig.html"
    review = build_dig_review(build_report(load_site(DEMOS / "garage_slab")))
    file.write_text(dig_page(review), encoding="utf-8")
    context = browser.new_context(viewport=PHONE_VIEW, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
    found = check_with_axe(page)
    assert [(each["id"], each["nodes"][0]["html"][:90]) for each in found["violations"]] == []
    # A caption under a section stands on the drawing's own paper.
    ink, paper = page.evaluate(
        """() => { const of = getComputedStyle(document.querySelector('.reach figcaption'));
        return [of.color, of.backgroundColor === 'rgba(0, 0, 0, 0)' ?
          getComputedStyle(document.documentElement).backgroundColor : of.backgroundColor]; }"""
    )
    level = [sum(map(int, one[4:-1].split(", "))) / 3.0 for one in (ink, paper)]
    assert abs(level[0] - level[1]) > 120.0
    assert page.evaluate("getComputedStyle(document.querySelector('.jump a')).color") != (
        "rgb(0, 0, 238)" if scheme == "light" else "rgb(158, 158, 255)"
    )
    context.close()


def test_whoever_wants_little_motion_gets_none(browser, page_of, tmp_path) -> None:
    file = tmp_path / "map.html"
    file.write_text(page_of(), encoding="utf-8")
    context = browser.new_context(reduced_motion="reduce")
    page = context.new_page()
    page.goto(file.as_uri())
    page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
    options = page.evaluate(
        "(({ zoomAnimation, inertia }) => [zoomAnimation, inertia])(lateralMap.page.map.options)"
    )
    context.close()
    assert options == [False, False]


@pytest.mark.parametrize("paper", ["Letter", "A4"])
@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_first_printed_page_answers_and_tables_follow(
    report: Report, open_page, page_of, paper, size
) -> None:
    shown = open_page(page_of(), **size)
    before = shown.run("[lateralMap.page.map.getZoom(), lateralMap.page.plane.turnDeg]")
    printed = shown.page.pdf(format=paper, print_background=True)
    # In the order they were set: words that break within a cell stay together.
    first, *others = (" ".join(page.split()) for page in page_texts(printed))
    for words in (
        "Invented yard 7", "Findings past curb", *told(report),
        "Call 811", "Who answers for the pipe is set by local code", "traffic control",
        "Sewer gas", "upstream stop using water", "Asbestos",
        "Footage along the pipe",
    ):  # fmt: skip
        assert words in first, words
    assert others[0].startswith("Findings")
    pages = page_letters(printed)
    assert first.split().count("Rests") == 1
    rests_on = "".join(pages[0].text).index("Rests")
    assert pages[0].size_pt[rests_on] >= 8.0, "the profile's letters"
    assert len(others) <= 3
    assert "Code minimum" not in first
    # No heading stands alone at the foot of a page.
    for page in pages[1:-1]:
        bottom = page.box_pt[:, 3]
        last = "".join(page.text[at] for at in np.flatnonzero(bottom > bottom.max() - 3.0))
        assert last not in ("Findings", "Crossings", "Whoanswers", "Fall", "Readings")
    assert shown.run("[lateralMap.page.map.getZoom(), lateralMap.page.plane.turnDeg]") == before


def test_a_legend_that_goes_over_the_page_has_the_tables_below_it(open_page) -> None:
    shown = open_page(map_page(build_report(load_site(DEMOS / "garage_slab"))), **DESK)
    printed = shown.page.pdf(format="Letter")
    second = " ".join(page_texts(printed)[1].split())
    assert second.index("Start and end of the run") < second.index("Findings No. Footage")
    for page in page_letters(printed)[:-1]:
        assert page.box_pt[:, 3].max() > page.height_pt / 2


def test_however_much_there_is_to_say_no_printed_page_is_left_mostly_blank(
    open_page, page_of
) -> None:
    urgent = '<ul class="urgent">' + "<li>IN THE TRENCH: gas 1, crosses the pipe</li>" * 14
    dig = dig_page(build_dig_review(build_report(load_site(DEMOS / "garage_slab"))))
    crowded = dig.replace('<ul class="urgent">', urgent, 1)
    assert crowded != dig
    for page in (page_of(findings=40), crowded):
        shown = open_page(page, **DESK)
        for each in page_letters(shown.page.pdf(prefer_css_page_size=True))[:-1]:
            right, bottom = each.box_pt[:, 2:].max(axis=0)
            assert bottom > 0.5 * each.height_pt, each.text[:40]
            # A landscape page is used over its width.
            assert right > 0.8 * each.width_pt, each.text[:40]


@pytest.mark.parametrize("demo", ["garage_slab", "plain_lot", "rising_ground", "tape_only"])
def test_no_demos_last_printed_page_holds_a_few_rows(open_page, demo) -> None:
    report = build_report(load_site(DEMOS / demo))
    shown = open_page(map_page(report), **DESK)
    sheets = make_products(report, ["sheet"])["sheet.pdf"]
    for printed in (*(shown.page.pdf(format=paper) for paper in ("A4", "Letter")), sheets):
        last = page_letters(printed)[-1]
        ends = np.sort(last.box_pt[:, 3])  # the page's own number aside
        filled = ends[ends < 0.93 * last.height_pt].max() / last.height_pt
        assert filled > 0.33, demo


@pytest.mark.parametrize("demo", ["rising_ground", "plain_lot"])
def test_what_the_ranges_mean_takes_no_printed_page_of_its_own(open_page, demo) -> None:
    shown = open_page(map_page(build_report(load_site(DEMOS / demo))), **DESK)
    pages = page_texts(shown.page.pdf(format="Letter"))
    _, second, *_, last = (" ".join(each.split()) for each in pages)
    assert "± is the 95 % range" in second
    assert "± is the 95 % range" not in last
    # The readings stand side by side over the page's width.
    assert last.count("Reading Footage Verdict") >= 2
    shown.run("window.dispatchEvent(new Event('afterprint'))")
    assert shown.run("document.querySelector('#tables').nextElementSibling.tagName") == "FOOTER"


@pytest.mark.parametrize("width", [1000, 1280, 1900])
def test_a_long_name_leaves_the_window_to_the_map(open_page, page_of, width) -> None:
    """Eight lines of it in its narrow place pushed the map down."""
    heads = {}
    for name in ("Lot 21, Ambersea", "The lower yard of " + "Ambersea Terrace " * 5):
        shown = open_page(page_of(name=name), width=width, height=900)
        heads[name] = shown.run("document.querySelector('header').getBoundingClientRect().height")
        line = shown.run("parseFloat(getComputedStyle(document.querySelector('h1')).lineHeight)")
        assert shown.run("document.querySelector('h1').offsetHeight") <= 2.5 * line
    short, long = heads.values()
    assert long - short <= 3.5 * line


def test_an_online_map_stays_north_up_in_its_right_place(report: Report, browser, tmp_path) -> None:
    file = tmp_path / "online.html"
    file.write_text(map_page(report, base_map=True), encoding="utf-8")
    page = browser.new_page(viewport={"width": 1400, "height": 900})
    page.route(
        "**/*",
        lambda route: route.continue_() if route.request.url.startswith("file:") else route.abort(),
    )
    page.goto(file.as_uri())
    page.wait_for_function("() => window.lateralMap && lateralMap.page.data !== null")
    places = page.evaluate(
        "lateralMap.page.data.stations.at.map(lateralMap.page.plane.toMap).map(p => [p.lng, p.lat])"
    )
    line = np.array(page.evaluate(LINE_ON_PANE))
    hidden = page.locator("#north-up").is_hidden()
    page.close()
    exact = report.site.frame.plane_to_lonlat(report.stations.easting_m, report.stations.northing_m)
    assert np.array(places) == pytest.approx(np.stack(exact, axis=-1), abs=1e-8)
    assert hidden
    assert ((line > 0) & (line < 1)).all()
    assert np.ptp(line[:, 0]) > 0.6
