"""The page in real Chromium: what it asks for, what it shows, how it answers the hand."""

# ruff: noqa: E501  (scripts run in the page read best on one line)

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from lateral_map.draw.again import again_html
from lateral_map.draw.data import data_json, map_data
from lateral_map.draw.page import TILE_HOST, map_page
from lateral_map.draw.plan.layers import LAYER_KEYS
from lateral_map.model.results import Report
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report
from lateral_map.same_pipe import compare_runs

pytestmark = pytest.mark.browser

HOSTILE = (
    "{{7*7}} {% for %} {# #} ${7*7} ` </script><script>window.struck=1</script>"
    "<img src=x onerror=window.struck=2> <svg onload=window.struck=3> \u2028 'q' \"q\" &lt; "
    "javascript:window.struck=4 🚿 שלום \u202e "
)
SITES = [
    {},
    {"unit": "m", "level_ground": True},
    {"unit": "us_ft", "local": True, "alternatives": True},
]


def station_places(report: Report) -> np.ndarray:
    """Where the stations are: easting, northing in metres."""
    return np.stack([report.stations.easting_m, report.stations.northing_m], axis=-1)


def metres_apart(one, other) -> float:
    return float(np.hypot(*(np.asarray(one) - other)))


def cursor_place(shown) -> list[float]:
    return shown.run("lateralMap.page.plane.toPlane(lateralMap.page.cursor.getLatLng())")


@pytest.mark.parametrize("wishes", SITES, ids=str)
def test_nothing_is_asked_for_and_nothing_complains(
    make_report, open_page, page_of, wishes
) -> None:
    shown = open_page(page_of(**wishes))
    shown.run("lateralMap.page.map.setZoom(lateralMap.page.map.getMaxZoom(), {animate: false})")
    shown.page.wait_for_timeout(100)
    assert shown.complaints == []
    assert all(url.startswith("file:") for url in shown.requests)
    assert len(shown.requests) == 1


@pytest.mark.parametrize("wishes", SITES, ids=str)
def test_every_layer_is_present_and_switches(make_report, open_page, page_of, wishes) -> None:
    report = make_report(**wishes)
    shown = open_page(page_of(**wishes))
    data = map_data(report)
    drawn = {layer["key"]: layer for layer in data["layers"]}
    # A picture lies underneath only where a site names one.
    missing = {"picture"} | (set() if wishes.get("alternatives") else {"alternatives"})
    assert set(drawn) == set(LAYER_KEYS) - missing
    count = "key => document.querySelectorAll(`.leaflet-plan-${key}-pane :is(path, .mark, .tick:not(.under))`).length"
    for key, layer in drawn.items():
        box = shown.page.locator(f"#layer-{key}")
        assert box.is_checked() == layer["shown"]
        box.set_checked(True)
        on = shown.run(count, key)
        # Footages are ticked as close as they can be read, whatever the step on paper.
        assert on >= (3 if key == "footage" else len(layer["items"])), key
        box.set_checked(False)
        assert shown.run(count, key) == 0, key
        box.set_checked(True)
        assert shown.run(count, key) == on, key
    assert shown.complaints == []


@pytest.mark.parametrize("wishes", SITES, ids=str)
def test_pointing_at_the_profile_moves_the_mark_on_the_map(
    make_report, open_page, page_of, wishes
) -> None:
    report = make_report(**wishes)
    shown = open_page(page_of(**wishes))
    drawing = shown.page.locator("#profile-wide svg").first
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    data = map_data(report)["profiles"]["wide"]
    per_point = box["width"] / (13.2 * 72)
    places = station_places(report)
    for share in (0.0, 0.31, 0.5, 0.77, 1.0):
        along = data["left"] + share * (data["right"] - data["left"])
        shown.page.mouse.move(box["x"] + along * per_point, box["y"] + box["height"] / 2)
        footage_m = share * report.site.run.end_m
        nearest = report.stations.index_of(footage_m)
        station = shown.run("lateralMap.page.station")
        gap = abs(report.stations.footage_m[station] - footage_m)
        assert gap <= abs(report.stations.footage_m[nearest] - footage_m) + 0.02
        assert metres_apart(cursor_place(shown), places[station]) < 0.001
        assert shown.page.locator(".cursor-dot").first.is_visible()


@pytest.mark.parametrize("wishes", SITES, ids=str)
def test_pointing_at_the_map_moves_the_mark_on_the_profile(
    make_report, open_page, page_of, wishes
) -> None:
    report = make_report(**wishes)
    shown = open_page(page_of(**wishes))
    shown.run("scrollTo(0, 0)")
    places = station_places(report)
    profile = map_data(report)["profiles"]["wide"]
    metre = 1.0 / (profile["to"] / report.site.run.end_m)
    for station in (3, len(places) // 3, len(places) - 4):
        at = shown.run(
            "at => { const m = lateralMap.page.map; const p = m.latLngToContainerPoint(lateralMap.page.plane.toMap(at));"
            "const r = m.getContainer().getBoundingClientRect(); return [r.left + p.x, r.top + p.y]; }",
            places[station].tolist(),
        )
        shown.page.mouse.move(*at)
        pointed = shown.run("lateralMap.page.station")
        # A pixel on the screen is some hundredths of a metre on the ground.
        here, there = (report.stations.footage_m[i] for i in (station, pointed))
        assert abs(here - there) < 0.2
        x = float(shown.page.locator("#profile-wide .cursor-line").get_attribute("x1"))
        share = (x - profile["left"]) / (profile["right"] - profile["left"])
        footage = profile["from"] + share * (profile["to"] - profile["from"])
        assert footage * metre == pytest.approx(report.stations.footage_m[pointed], abs=1e-4)


def test_far_from_the_line_the_map_points_at_nothing(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    box = shown.page.locator("#map_site").bounding_box()
    shown.page.mouse.move(box["x"] + box["width"] - 30, box["y"] + box["height"] - 20)
    assert shown.run("lateralMap.page.station") == -1


def test_the_read_out_says_footage_depth_position_and_basis(
    report: Report, open_page, page_of
) -> None:
    shown = open_page(page_of())
    shown.run("lateralMap.page.point(0, 'keys')")
    said = shown.page.locator("#readout").inner_text().replace("\n", " ")
    depth = report.stations.depth_m[0] / 0.3048
    assert f"Footage 0.0 ft Depth to invert {depth:.1f} ± " in said
    across = 1.959964 * report.stations.across_sd_m[0] / 0.3048
    assert f"Across the pipe ± {across:.1f} ft Along it ± 0.7 ft" in said
    assert said.endswith("Rests on between locates")


def test_arrow_keys_step_along_the_pipe(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    slider = shown.page.locator("#profile-slider")
    slider.focus()
    for key, station in [("Home", 0), ("ArrowRight", 1), ("PageUp", 11), ("ArrowLeft", 10)]:
        shown.page.keyboard.press(key)
        assert shown.run("lateralMap.page.station") == station
    shown.page.keyboard.press("End")
    assert shown.run("lateralMap.page.station") == len(report.stations.footage_m) - 1
    assert slider.get_attribute("aria-valuetext").startswith("Footage 100.0 ft, Depth to invert")
    assert slider.get_attribute("aria-valuemax") == slider.get_attribute("aria-valuenow")


def test_the_station_pointed_at_carries_its_95_percent_ellipse(
    report: Report, open_page, page_of
) -> None:
    shown = open_page(page_of())
    station = 40
    shown.run("s => lateralMap.page.point(s, 'keys')", station)
    ring = shown.run("lateralMap.page.ellipse.getLatLngs()[0].map(lateralMap.page.plane.toPlane)")
    centre = station_places(report)[station]
    reach = [metres_apart(centre, place) for place in ring]
    assert max(reach) == pytest.approx(report.stations.semi_major_m[station], abs=2e-4)
    assert min(reach) == pytest.approx(report.stations.semi_minor_m[station], abs=2e-3)


def test_picking_a_locate_shows_every_reading(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    shown.page.get_by_role("button", name="Locate C", exact=True).focus()
    shown.page.keyboard.press("Enter")
    said = shown.page.locator("#detail").inner_text()
    assert "Locate C" in said
    assert "SUSPECT, off by 4.7 ft: set this one aside first" in said
    assert "in the bed, probe hit the pipe" in said
    shown.page.keyboard.press("Escape")
    assert shown.page.locator("#detail").is_hidden()


def test_a_table_row_points_map_and_profile(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    shown.page.locator("[data-table=findings] td button").nth(2).click()
    station = shown.run("lateralMap.page.station")
    footage = report.findings[2].finding.footage_m
    assert report.stations.footage_m[station] == pytest.approx(footage)


@pytest.mark.parametrize("wishes", SITES, ids=str)
def test_the_scale_bar_is_true_in_the_sites_own_plane(open_page, page_of, wishes) -> None:
    shown = open_page(page_of(**wishes))
    for zoom_by in (0, 2, 4, -5):
        shown.run(
            "by => lateralMap.page.map.setZoom(lateralMap.page.map.getZoom() + by, {animate: false})",
            zoom_by,
        )
        bar = shown.run(
            "(() => { const d = document.getElementById('scale').dataset; return [+d.metres, +d.pixels]; })()"
        )
        ends = shown.run(
            "w => { const m = lateralMap.page.map, s = m.getSize(); return [-w / 2, w / 2].map(d => {"
            "return lateralMap.page.plane.toPlane(m.containerPointToLatLng([s.x / 2 + d, s.y / 2])); }); }",
            bar[1],
        )
        assert metres_apart(*map(np.array, ends)) == pytest.approx(bar[0], rel=1e-4)
        words = shown.page.locator("#scale").inner_text()
        value, unit = words.split()
        metre = {
            "ft": 1200 / 3937 if wishes.get("unit") == "us_ft" else 0.3048,
            "m": 1.0,
            "cm": 0.01,
        }
        metre["in"] = metre["ft"] / 12
        assert float(value) * metre[unit] == pytest.approx(bar[0], rel=1e-9)


@pytest.mark.parametrize("wishes", [{}, SITES[2]], ids=str)
def test_measuring_by_keyboard_gives_plane_distance(
    make_report, open_page, page_of, wishes
) -> None:
    report = make_report(**wishes)
    shown = open_page(page_of(**wishes))
    shown.page.locator("#measure").click()
    places = station_places(report)
    for station in (5, 60):
        shown.run(
            "at => lateralMap.page.map.setView(lateralMap.page.plane.toMap(at), lateralMap.page.map.getMaxZoom(), {animate: false})",
            places[station].tolist(),
        )
        shown.page.keyboard.press("Enter")
    apart = float(np.hypot(
        report.stations.easting_m[60] - report.stations.easting_m[5],
        report.stations.northing_m[60] - report.stations.northing_m[5],
    ))  # fmt: skip
    assert shown.run("lateralMap.page.measured()") == pytest.approx(apart, abs=0.02)
    feet = apart / (0.3048 if wishes.get("unit") == "ft" else 1200 / 3937)
    assert f"{feet:.1f} ft in all" in shown.page.locator("#measured").inner_text()
    shown.page.keyboard.press("Escape")
    assert shown.page.locator("#measured").is_hidden()


def test_measuring_by_pointer_adds_up(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    shown.page.locator("#measure").click()
    box = shown.page.locator("#map_site").bounding_box()
    for x, y in [(300, 120), (500, 120), (500, 220)]:
        shown.page.mouse.click(box["x"] + x, box["y"] + y)
    total = shown.run("lateralMap.page.measured()")
    per_pixel = shown.run(
        "(() => { const d = document.getElementById('scale').dataset; return d.metres / d.pixels; })()"
    )
    assert total == pytest.approx(300 * per_pixel, rel=2e-3)
    assert shown.page.locator("#detail").is_hidden()


def test_a_layer_switched_on_again_keeps_its_height(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    order = "() => [...document.querySelectorAll('.leaflet-map-pane > [class*=leaflet-plan-]')].map(p => [+p.style.zIndex, p.className])"
    before = shown.run(order)
    for key in ("surfaces", "route"):
        shown.page.locator(f"#layer-{key}").uncheck()
        shown.page.locator(f"#layer-{key}").check()
    assert shown.run(order) == before
    heights = {
        key: shown.run(
            f"+getComputedStyle(document.querySelector('.leaflet-plan-{key}-pane')).zIndex"
        )
        for key in LAYER_KEYS
    }
    assert heights["surfaces"] < heights["corridor"] < heights["route"] < heights["findings"]
    stacked = "[...document.querySelectorAll('.leaflet-plan-findings-pane .mark')].map(m => +m.style.zIndex)"
    levels = shown.run(stacked)
    assert len(levels) > 3
    assert levels == sorted(levels)


def test_captions_do_not_overlap(open_page, page_of) -> None:
    shown = open_page(page_of(findings=30))
    for zoom_by in (0, 1, 2):
        shown.run(
            "by => { const { map, plane, data } = lateralMap.page;"
            "map.setView(plane.toMap(data.stations.at[60]), map.getZoom() + by, {animate: false}); }",
            zoom_by,
        )
        boxes = shown.run(
            "[...document.querySelectorAll('.caption:not(.along)')].map(c => { const r = c.getBoundingClientRect();"
            "return [c.textContent, r.left, r.top, r.right, r.bottom]; })"
        )
        assert boxes
        for index, (one, left, top, right, bottom) in enumerate(boxes):
            for other, left2, top2, right2, bottom2 in boxes[index + 1 :]:
                apart = left >= right2 or left2 >= right or top >= bottom2 or top2 >= bottom
                assert apart, (one, other)


def test_hostile_words_are_shown_and_never_run(open_page, page_of) -> None:
    shown = open_page(page_of(word=HOSTILE + "x" * 5000))
    for key in LAYER_KEYS:
        box = shown.page.locator(f"#layer-{key}")
        if box.count():
            box.set_checked(True)
    details = shown.run("lateralMap.page.data.details.length")
    for index in range(details):
        shown.run("i => lateralMap.openDetail(lateralMap.page, i)", index)
    shown.page.wait_for_timeout(200)
    assert shown.run("window.struck") is None
    assert shown.complaints == []
    assert len(shown.requests) == 1
    text = shown.page.locator("body").inner_text()
    assert "{{7*7}} {% for %} {# #} ${7*7} ` </script><script>" in text
    assert "49" not in shown.page.locator("#site-name").inner_text()
    assert "more characters in the site's tables" in text
    assert shown.run("document.querySelectorAll('img, iframe, script:not([type])').length") == 3
    assert shown.run("document.documentElement.scrollWidth <= innerWidth")


def test_the_policy_stops_what_gets_in_all_the_same(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    shown.run(
        """() => {
          const put = (name, set) => document.body.append(Object.assign(document.createElement(name), set));
          put("script", { textContent: "window.struck = 1" });
          put("script", { src: "data:text/javascript,window.struck=2" });
          put("style", { textContent: "body { outline: 7px solid red }" });
          put("img", { src: "https://example.invalid/x.png" });
          put("iframe", { src: "https://example.invalid/" });
          const holder = document.createElement("div");
          holder.innerHTML = "<b onclick='window.struck=3' style='outline: 7px solid red'>b</b>";
          document.body.append(holder);
          holder.firstChild.click();
          fetch("https://example.invalid/").catch(() => {});
        }"""
    )
    shown.page.wait_for_timeout(300)
    assert shown.run("window.struck") is None
    assert shown.run("getComputedStyle(document.body).outlineWidth") != "7px"
    assert shown.run("getComputedStyle(document.querySelector('b')).outlineWidth") != "7px"
    strays = [url for url in shown.requests if not url.startswith("file:")]
    assert {shown.refused.get(url) for url in strays} <= {"csp"}


def test_new_data_redraws_in_place(make_report, open_page) -> None:
    shown = open_page(map_page(make_report()))
    shown.page.locator("#layer-dig").uncheck()
    shown.run("lateralMap.page.map.setZoom(6, {animate: false}); lateralMap.page.point(10, 'keys')")
    view = "(() => { const m = lateralMap.page.map, c = m.getCenter(); return [m.getZoom(), c.lat, c.lng]; })()"
    before = shown.run(view)
    other = make_report(name="Second reading", findings=4)
    shown.run("text => lateralMap.show(JSON.parse(text))", data_json(map_data(other)))
    assert shown.run(view) == before
    assert shown.page.locator("#site-name").inner_text() == "Second reading"
    assert shown.page.locator("[data-table=findings] tbody tr").count() == 4
    assert not shown.page.locator("#layer-dig").is_checked()
    assert shown.run("document.querySelectorAll('.leaflet-plan-dig-pane path').length") == 0
    assert shown.page.locator("#profile-wide svg").count() == 1
    footage = shown.run("lateralMap.page.data.stations.footage[lateralMap.page.station]")
    assert footage == pytest.approx(make_report().stations.footage_m[10], abs=0.3)
    assert shown.complaints == []


def test_an_online_map_is_fetched_from_its_own_host_alone(
    report: Report, browser, tmp_path
) -> None:
    file = tmp_path / "online.html"
    file.write_text(map_page(report, base_map=True), encoding="utf-8")
    page = browser.new_page()
    asked: list[str] = []

    def refuse(route) -> None:
        if route.request.url.startswith("file:"):
            route.continue_()
            return
        asked.append(route.request.url)
        route.abort()

    page.route("**/*", refuse)
    page.goto(file.as_uri())
    page.wait_for_timeout(500)
    assert asked
    assert all(url.startswith(f"{TILE_HOST}/") for url in asked)
    assert "OpenStreetMap contributors" in page.locator(".leaflet-control-attribution").inner_text()
    page.locator("#layer-base-map").uncheck()
    assert page.locator(".leaflet-tile-pane img").count() == 0
    page.close()


@pytest.mark.parametrize(("width", "height", "touch"), [(390, 844, True), (1280, 900, False)])
def test_the_page_fits_phone_and_desk(
    report: Report, open_page, page_of, width, height, touch
) -> None:
    shown = open_page(page_of(), width=width, height=height, touch=touch)
    assert shown.run("document.documentElement.scrollWidth") <= width
    narrow = shown.page.locator("#profile-narrow").is_visible()
    assert narrow == touch
    assert shown.page.locator("#profile-wide").is_visible() != narrow
    small = shown.run(
        "[...document.querySelectorAll('button, summary')].filter(b => b.offsetParent && !b.closest('td'))"
        ".filter(b => b.getBoundingClientRect().height < (innerWidth < 760 ? 32 : 24)).map(b => b.outerHTML)"
    )
    assert small == []


def test_what_changed_since_an_earlier_run_is_read_on_a_phone_without_going_sideways(
    open_page, page_of
) -> None:
    run = build_report(load_site(Path(__file__).parents[2] / "demo_sites" / "plain_lot"))
    shown = open_page(page_of(), width=390, height=844, touch=True)
    file = Path(shown.page.url.removeprefix("file://")).with_name("again.html")
    file.write_text(again_html(compare_runs(run, run)), encoding="utf-8")
    shown.page.goto(file.as_uri())
    rows = shown.page.locator("tbody tr")
    assert rows.count() == len(run.findings)
    for row in rows.all():
        change, wide = row.locator("td").last, row.bounding_box()["width"]
        assert change.inner_text() == "unchanged"
        assert change.bounding_box()["x"] + 20 < 390
        assert wide <= 390
    assert shown.run("document.documentElement.scrollWidth") <= 390


def test_a_finger_on_the_narrow_profile_moves_the_mark(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of(), width=390, height=844, touch=True)
    drawing = shown.page.locator("#profile-narrow svg").first
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    shown.page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert shown.run("lateralMap.page.station") > 0


def test_print_leaves_the_tools_out_and_keeps_map_legend_profile_and_cautions(
    report: Report, open_page, page_of
) -> None:
    shown = open_page(page_of())
    shown.page.emulate_media(media="print")
    # The page hears of it with its next frame, which may be late on a busy machine.
    shown.page.locator("html.paper").wait_for()
    for left_out in ("#measure", "#whole-site", ".leaflet-control-zoom", "#readout"):
        assert shown.page.locator(left_out).is_hidden()
    for kept in ("#map_site", "#layers", "#profile-paper", "#cautions", "#scale", "#north"):
        assert shown.page.locator(kept).is_visible()
    pdf = shown.page.pdf(format="Letter", print_background=True)
    assert pdf.startswith(b"%PDF")


def test_the_printed_map_holds_the_whole_site(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    whole = """(() => {
      const {map, data, plane} = lateralMap.page;
      return data.view.must.every(at => map.getBounds().contains(plane.toMap(at)));
    })()"""
    shown.run("lateralMap.page.map.setZoom(lateralMap.page.map.getZoom() + 3, {animate: false})")
    assert not shown.run(whole)
    shown.run("window.dispatchEvent(new Event('beforeprint'))")
    assert shown.run(whole)
    # As wide as an A4 sheet within its margins, at 96 CSS pixels to the inch.
    assert shown.run("lateralMap.page.map.getSize().x") <= 186 / 25.4 * 96
    wide = shown.run("document.getElementById('plan').clientWidth")
    shown.run("window.dispatchEvent(new Event('afterprint'))")
    assert shown.run("document.getElementById('plan').clientWidth") > wide


def test_the_page_is_titled_and_its_data_is_inert(report: Report, open_page, page_of) -> None:
    shown = open_page(page_of())
    assert shown.page.title() == "Invented yard 7 – located lateral"
    kept = json.loads(shown.page.locator("#site-data").text_content())
    assert kept["site"]["name"] == "Invented yard 7"
