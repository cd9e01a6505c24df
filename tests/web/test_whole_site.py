"""A whole site entered on the page ends as the same site written by hand."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from web.yard import DESKTOP, PHONE, Yard, browser_context, served

from lateral_map import build_report, load_site
from lateral_map.export.registry import make_products

BY_HAND = Path(__file__).parents[1] / "sites" / "local_sketch"
SITE = {
    "name": "Sketch of a back-yard line", "date": "2026-02-11", "unit": "ft", "crs": "local",
}  # fmt: skip


def result(folder: Path) -> bytes:
    return make_products(build_report(load_site(folder)), ["result"])["result.json"]


def rows(name: str) -> list[dict[str, str]]:
    with (BY_HAND / name).open(newline="") as file:
        return [{k: v for k, v in row.items() if v} for row in csv.DictReader(file)]


def features() -> list[dict[str, Any]]:
    return json.loads((BY_HAND / "plan.geojson").read_text())["features"]


def places(feature: dict[str, Any]) -> list[list[float]]:
    at = feature["geometry"]["coordinates"]
    return {"Point": lambda: [at], "LineString": lambda: at, "Polygon": lambda: at[0][:-1]}[
        feature["geometry"]["type"]
    ]()


@pytest.mark.browser
@pytest.mark.parametrize("screen", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_a_site_entered_from_nothing_gives_the_same_result_as_by_hand(
    screen: dict[str, Any], browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "back yard"
    with served(folder, keys) as server, browser_context(browser, **screen) as context:
        yard = Yard(context, server.address)
        enter_everything(yard)
        assert yard.complaints == []
        assert {url.split("/")[2] for url in yard.asked if url.startswith("http")} == {
            server.address.split("/")[2]
        }
    assert result(folder) == result(BY_HAND)


def enter_everything(yard: Yard) -> None:
    yard.enter(SITE)
    yard.tab("Plan")
    for feature in features():
        properties = {key: str(value) for key, value in feature["properties"].items()}
        yard.add_feature(properties.pop("kind"), properties, places(feature))
    yard.tab("Site")
    yard.enter(
        {
            "point": "cleanout", "x": "", "y": "", "depth": "3 ft", "end_footage": "46.0",
            "end": "not reached", "tolerance_zone": "24 in",
            "rule": "invented for this test: 24 in each side",
        }
    )  # fmt: skip
    # [start] accuracy has a namesake in another group: name its group.
    start = yard.panel().get_by_role("group", name="Start of the footage")
    yard.fill({"accuracy": "0.3"}, start)
    yard.save()
    add_to_list(yard, "pipe", {"from": "0.0", "material": "clay", "size": "4"})
    add_to_list(
        yard, "boundary", {"line": "curb", "inside": "owner", "outside": "city", "decides": "yes"}
    )
    # Each says what it is once, with its unit, and on which side who answers.
    told = [
        yard.panel().locator(f'[data-list="{name}"] .row').first for name in ("pipe", "boundary")
    ]
    expect(told[0]).to_have_text("0.0 ft" + "clay, 4 in")
    expect(told[1]).to_have_text("curb" + "owner before it, city past it, decides")
    for tab, name in (("Locates", "locates.csv"), ("Findings", "findings.csv")):
        yard.tab(tab)
        for row in rows(name):
            yard.enter({**cleared(yard), **row})


def cleared(yard: Yard) -> dict[str, str]:
    """Return what the last row left in the form, to be emptied."""
    filled = yard.panel().locator("form").first.locator(".field:visible")
    names = [filled.nth(i).get_attribute("data-field") for i in range(filled.count())]
    kept = ("tape1_from", "tape2_from", "tape3_from", "line", "held_above")
    return {name: "" for name in names if name in kept}


def add_to_list(yard: Yard, name: str, values: dict[str, str]) -> None:
    part = yard.panel().locator(f'[data-list="{name}"]')
    part.get_by_role("button", name="Add a").click()
    yard.fill(values, part.locator("form"))
    yard.save(part.locator("form"))


@pytest.mark.browser
def test_a_site_on_the_earth_is_begun_from_a_position(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "earth"
    with served(folder, keys) as server, browser_context(browser, **DESKTOP) as context:
        yard = Yard(context, server.address)
        yard.fill({"crs": "EPSG:6499", "x": "", "y": "", "lat": "43.86", "lon": "-83.62"})
        yard.save()
        yard.tab("Plan")
        yard.panel().locator('[data-kind="curb"]').click()
        form = yard.panel().locator("form.entry")
        for lon in ("-83.6203", "-83.6197"):
            form.get_by_role("button", name="Latitude, longitude").click()
            yard.fill({"lat": "43.8602", "lon": lon}, form.locator(".way-form"))
            form.get_by_role("button", name="Take this place").click()
        yard.save(form)
        yard.tab("Locates")
        yard.enter({"footage": "60", "depth": "5", "lat": "43.86016", "lon": "-83.62",
                    "accuracy": "0.5", "line": "curb", "offset": "14.6"})  # fmt: skip
        assert yard.complaints == []
    site = load_site(folder)
    assert site.frame.crs == "EPSG:6499"
    (locate,) = site.locates
    assert {type(tie).__name__ for tie in locate.ties} == {"PositionTie", "OffsetTie"}
    # By hand: a degree of latitude is 111.11 km there, so 0.00016 of one is 17.78 m.
    report = build_report(site)
    assert report.stations.northing_m[-1] == pytest.approx(17.78, abs=1.0)
    assert not report.suspects
