"""A picture under the plan, as it is seen: on the map in Chromium, on paper in the PDF."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pdfplumber
import pytest
from drawings.conftest import Opened
from painted import MARKED, Painted, marks_seen, painted_lot
from PIL import Image

from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.page import map_page
from lateral_map.export.packet import make_sheet
from lateral_map.model.results import Report
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report

SAID = 'source = "County <b>aerial"\ndate = 2021\nlicence = "CC {{7*7}} BY"\n'
# Where the plan's own marks stand in the pane, told by the browser.
MARKS = """() => Object.fromEntries(
  [...document.querySelectorAll(".leaflet-plan-points-pane .mark")].map((one) => {
    const box = one.getBoundingClientRect();
    return [one.getAttribute("aria-label"), [box.x + box.width / 2, box.y + box.height / 2]];
  }))"""
ZOOM = "map_site.setZoom(map_site.getZoom() {}, {{animate: false}})"
ALONE = """() => {
  for (const pane of document.querySelectorAll(".leaflet-map-pane > .leaflet-pane"))
    if (!pane.className.includes("plan-picture")) pane.style.visibility = "hidden";
  for (const one of document.querySelectorAll(".tools, .corner, .leaflet-control-container"))
    one.style.visibility = "hidden";
  const slider = document.getElementById("picture-opacity");
  slider.value = 100;
  slider.dispatchEvent(new Event("input"));
}"""


@pytest.fixture(scope="module")
def pictured(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """Return the plain lot over a turned aerial with painted marks."""
    painted = Painted(crs="EPSG:26917", pixel=0.08, turn_deg=12.0, size=(1000, 900), radius=6.0)
    folder = painted_lot(tmp_path_factory.mktemp("pictured"), painted, more=SAID)
    return build_report(load_site(folder))


def off_px(opened: Opened, marks: dict[str, list[float]]) -> dict[str, float]:
    """Return how far in pixels each painted mark that is in view is seen from the plan's mark."""
    pane = opened.run("document.getElementById('map_site').getBoundingClientRect().toJSON()")
    seen = np.array(marks_seen(Image.open(io.BytesIO(opened.page.screenshot()))))
    inside = {
        name: at
        for name in MARKED
        for label, at in marks.items()
        if name in label
        and pane["left"] + 15 < at[0] < pane["right"] - 15
        and pane["top"] + 15 < at[1] < pane["bottom"] - 15
    }
    return {name: float(np.hypot(*(seen - at).T).min()) for name, at in inside.items()}


@pytest.mark.browser
def test_a_painted_mark_is_seen_at_the_plans_mark_however_the_map_is_turned(
    pictured: Report, open_page: Callable[..., Opened]
) -> None:
    opened = open_page(map_page(pictured))
    views = {
        "along the run": ZOOM.format("- 1"),
        "north up": "document.getElementById('north-up').click()",
        "closer": ZOOM.format("+ 0.35"),
    }
    off: dict[str, dict[str, float]] = {}
    for name, act in views.items():
        opened.run(act)
        opened.page.wait_for_timeout(50)
        marks = opened.run(MARKS)
        opened.run(ALONE)
        off[name] = off_px(opened, marks)
    assert min(len(one) for one in off.values()) >= 2, off
    assert len(off["along the run"]) == len(MARKED)
    assert max(one for each in off.values() for one in each.values()) < 1.0, off
    assert opened.complaints == []


@pytest.mark.browser
def test_it_has_its_words_its_size_its_slider_and_asks_for_nothing(
    pictured: Report, open_page: Callable[..., Opened]
) -> None:
    opened = open_page(map_page(pictured), width=390, height=800, touch=True)
    page: Any = opened.page
    page.locator("#key > summary").click()
    row = page.locator(".layer", has=page.locator("#layer-picture"))
    picture = pictured.site.plan.picture
    assert picture is not None
    words = row.inner_text()
    assert "County <b>aerial, 2021, CC {{7*7}} BY; places on it ± 2.9 ft" in words
    assert f"{picture.width_px:,} × {picture.height_px:,} pixels" in words
    assert f"{len(picture.jpeg) / 1000:,.0f} kB" in words
    slider = row.get_by_label("Opacity")
    slider.focus()
    before = float(opened.run("lateralMap.page.image.style.opacity"))
    for _ in range(4):
        slider.press("ArrowLeft")
    assert float(opened.run("lateralMap.page.image.style.opacity")) == pytest.approx(before - 0.2)
    assert row.locator("label.opacity").bounding_box()["height"] >= 40
    # Under everything: its pane is the lowest of those the plan is drawn in.
    heights = opened.run(
        "[...document.querySelectorAll('.leaflet-pane')]"
        ".filter((one) => one.className.includes('plan-'))"
        ".map((one) => [one.className.includes('plan-picture'), +getComputedStyle(one).zIndex])"
    )
    assert min(heights, key=lambda one: one[1])[0]
    page.locator("#layer-picture").uncheck()
    assert page.locator(".underlay").count() == 0
    assert opened.run("lateralMap.page.map.getPane('plan-surfaces').style.opacity") == "1"
    assert [one for one in opened.requests if not one.startswith(("file:", "data:"))] == []
    assert opened.complaints == []


def test_in_the_dig_review_it_is_off_at_first(pictured: Report) -> None:
    text = dig_page(build_dig_review(pictured))
    data = json.loads(text.split('id="site-data">')[1].split("</script>")[0])
    (layer,) = (one for one in data["layers"] if one["key"] == "picture")
    assert not layer["shown"]


def test_on_the_sheet_it_is_grey_and_lies_at_the_plans_points(tmp_path: Path) -> None:
    near = ("cleanout", "water meter", "house NE corner")
    painted = Painted(turn_deg=-20.0, mark=(0, 0, 0), marked=near, pixel=0.2, size=(1200, 1100))
    report = build_report(load_site(painted_lot(tmp_path, painted, more=SAID)))
    sheets, data = make_sheet(report)
    window = sheets.setting.cuts[0].window
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        page = pdf.pages[0]
        (image,) = page.images
        words = "".join(page.extract_text().split())
    assert image["colorspace"][0].name == "DeviceGray"
    part = Image.open(io.BytesIO(image["stream"].get_rawdata()))
    assert part.mode == "L"
    per_pt = part.width / (image["x1"] - image["x0"])
    assert 140.0 < 72.0 * per_pt < 160.0
    seen = np.array(marks_seen(part, black=True)) / per_pt + [image["x0"], image["top"]]
    points = [report.site.plan.point(name) for name in near]
    box = window.box.grown(-6.0)
    shown = [
        at
        for at in window.to_paper([[one.easting_m, one.northing_m] for one in points])
        if box.left < at[0] < box.right and box.top < at[1] < box.bottom
    ]
    assert shown
    for at in shown:
        # A pixel of the sheet at 96 to the inch.
        assert np.hypot(*(seen - at).T).min() < 0.75
    assert "County<b>aerial,2021" in words
    assert "placesonit±2.9" in words
    assert np.asarray(part).min() > 100  # pale: what is drawn over it stays the darkest
