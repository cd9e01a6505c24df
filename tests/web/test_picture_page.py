"""The entry page with a picture under its map: shown, chosen, pointed at, traced on."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from chromium import check_with_axe
from painted import MARKED, PLAIN_LOT, Painted, lot_with, marks_seen, painted_lot
from PIL import Image
from playwright.sync_api import Browser, expect
from web.yard import DESKTOP, PHONE, Yard, browser_context, served

from lateral_map.reading.folder import load_site

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def yard(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    """One page on the plain lot over a painted aerial."""
    folder = tmp_path_factory.mktemp("aerial") / "lot"
    painted_lot(folder, Painted(turn_deg=9.0), more='source = "County"\ndate = 2021\n')
    with (
        served(folder, tmp_path_factory.mktemp("keys")) as server,
        browser_context(browser, **DESKTOP) as context,
    ):
        page = Yard(context, server.address)
        page.folder = folder  # type: ignore[attr-defined]
        yield page


def test_it_lies_under_the_map_fetched_once(yard: Yard) -> None:
    page = yard.page
    page.wait_for_function("() => document.querySelector('.underlay')?.complete")
    page.evaluate("map_site.setZoom(map_site.getZoom() - 1.2, {animate: false})")
    marks = page.evaluate(
        "() => Object.fromEntries([...document.querySelectorAll('.leaflet-plan-points-pane .mark')]"
        ".map((one) => { const box = one.getBoundingClientRect();"
        " return [one.getAttribute('aria-label'), [box.x + box.width/2, box.y + box.height/2]]; }))"
    )
    page.evaluate(
        "() => { for (const pane of document.querySelectorAll('.leaflet-map-pane > *'))"
        " if (!pane.className.includes('plan-picture')) pane.style.opacity = 0;"
        " document.querySelector('.underlay').style.opacity = 1; }"
    )
    pane = page.locator("#map_site").bounding_box()
    shot = Image.open(io.BytesIO(page.screenshot()))
    page.reload()
    page.wait_for_selector("body[data-ready]")
    seen = np.array(marks_seen(shot))
    inside = [
        at
        for label, at in marks.items()
        if any(name in label for name in MARKED)
        and pane["x"] + 12 < at[0] < pane["x"] + pane["width"] - 12
        and pane["y"] + 12 < at[1] < pane["y"] + pane["height"] - 12
    ]
    assert len(inside) >= 3
    assert max(np.hypot(*(seen - at).T).min() for at in inside) < 1.0
    # Asked for by the page's own address, and not with every answer.
    assert sum("/picture/" in url for url in yard.asked) <= 2
    state = page.evaluate("fetch('/state').then((answer) => answer.text())")
    assert "base64" not in state
    assert yard.complaints == []


def test_what_is_tapped_on_it_has_its_accuracy_and_source(yard: Yard) -> None:
    page = yard.page
    yard.tab("Plan")
    yard.panel().locator('[data-kind="utility"]').click()
    form = yard.panel().locator("form.entry")
    yard.fill({"utility": "gas", "name": "traced"}, form)
    form.get_by_role("button", name="Tap on the map").click()
    box = page.locator("#map_site").bounding_box()
    for share in (0.4, 0.6):
        page.mouse.click(box["x"] + share * box["width"], box["y"] + 0.75 * box["height"])
        page.wait_for_timeout(500)  # two taps so near in time would be one
    assert check_with_axe(page)["violations"] == []
    page.locator("#placing-done").click()
    expect(form).to_contain_text("its accuracy, 1.50 ft, is taken")
    yard.save(form)
    folder: Path = yard.folder  # type: ignore[attr-defined]
    plan = json.loads((folder / "plan.geojson").read_text("utf-8"))
    traced = next(one for one in plan["features"] if one["properties"].get("name") == "traced")
    assert traced["properties"]["source"] == "traced on County, 2021"
    line = next(u for u in load_site(folder).plan.utilities if u.name == "traced")
    assert line.sd_m == pytest.approx(1.5 * 0.3048)


def test_a_fault_of_the_picture_leaves_the_line_and_comes_back_with_the_file(yard: Yard) -> None:
    folder: Path = yard.folder  # type: ignore[attr-defined]
    page = yard.page
    away = folder.parent / "away.jpg"
    (folder / "aerial.jpg").rename(away)
    yard.look()
    expect(page.locator(".underlay")).to_have_count(0, timeout=15_000)
    assert page.evaluate("lateralMap.page.data.layers.some((one) => one.key === 'route')")
    yard.tab("Site")
    expect(yard.panel()).to_contain_text("the site folder holds no 'aerial.jpg'")
    away.rename(folder / "aerial.jpg")
    yard.look()
    expect(page.locator(".underlay")).to_have_count(1, timeout=15_000)


def test_it_is_there_while_the_server_is_not(browser: Browser, tmp_path: Path, keys: Path) -> None:
    folder = painted_lot(tmp_path / "lot")
    with browser_context(browser, **DESKTOP, service_workers="allow") as context:
        with served(folder, keys) as server:
            yard = Yard(context, server.address)
            yard.page.wait_for_function("() => navigator.serviceWorker.controller !== null")
            yard.open()
            yard.page.wait_for_function("() => document.querySelector('.underlay')?.complete")
        yard.open()
        yard.page.wait_for_function("() => document.querySelector('.underlay')?.naturalWidth > 900")


@pytest.mark.parametrize("how", ["taps on a phone", "keys alone"])
def test_a_photograph_is_chosen_and_laid_by_points_found_in_it(
    browser: Browser, tmp_path: Path, keys: Path, how: str
) -> None:
    painted = Painted(turn_deg=-14.0)
    exif = Image.Exif()
    exif[0x010F] = "Somebody's camera"
    photo = tmp_path / "My photo (1).jpg"
    photo.write_bytes(painted.bytes(exif=exif))
    folder = lot_with(tmp_path / "lot", "")
    chosen = (MARKED[1], MARKED[2], MARKED[3])
    with (
        served(folder, keys) as server,
        browser_context(browser, **(PHONE if how == "taps on a phone" else DESKTOP)) as context,
    ):
        yard = Yard(context, server.address)
        page = yard.page
        yard.tab("Site")
        form = yard.panel().locator("form").first
        form.get_by_role("button", name="A picture underneath").press("Enter")
        with page.expect_file_chooser() as chooser:
            form.get_by_role("button", name="Choose a picture").press("Enter")
        chooser.value.set_files(photo)
        expect(form).to_contain_text("My photo 1.jpg is in the site's folder")
        page.keyboard.type("2 ft")  # the accuracy has the focus
        yard.save(form)
        section = yard.panel().locator('[data-list="picture_point"]')
        for name in chosen:
            section.get_by_role("button", name="Add a point").press("Enter")
            entry = section.locator("form.entry")
            entry.get_by_role("button", name="Find it in the picture").press("Enter")
            column, row = painted.at[name]
            if how == "taps on a phone" and name == chosen[0]:
                assert check_with_axe(page)["violations"] == []
            if how == "keys alone":
                _point_by_keys(yard, column - painted.size[0] / 2, row - painted.size[1] / 2)
            else:
                picture = page.locator(".pointing img")
                page.get_by_role("button", name="Larger").tap()
                box = picture.bounding_box()
                scale = box["width"] / painted.size[0]
                picture.evaluate(
                    "(one, [x, y]) => { const pane = one.closest('.pointing');"
                    " pane.scrollTo(x - pane.clientWidth / 2, y - pane.clientHeight / 2); }",
                    [column * scale, row * scale],
                )
                box = picture.bounding_box()
                page.touchscreen.tap(box["x"] + column * scale, box["y"] + row * scale)
                page.get_by_role("button", name="Take this place").tap()
            yard.fill({"point": name}, entry)
            yard.save(entry)
        page.wait_for_function("() => document.querySelector('.underlay')?.complete")
        expect(section).to_contain_text(f"{chosen[0]}: the others put it 0.")
        assert yard.complaints == []
    site = load_site(folder)
    picture = site.plan.picture
    assert picture is not None
    assert max(one.others_m or 9.0 for one in picture.points) < 0.5
    seen = np.array(marks_seen(Image.open(io.BytesIO(picture.jpeg))))
    for name in MARKED:
        one = site.plan.point(name)
        at = np.array([one.easting_m - picture.west_m, picture.north_m - one.northing_m])
        # Pointed at with a finger: to some pixels of its screen.
        assert np.hypot(*(seen - at / picture.pixel_m).T).min() * picture.pixel_m < 0.5
    assert b"Somebody" not in picture.jpeg
    assert (PLAIN_LOT / "site.toml").read_text() in (folder / "site.toml").read_text()


def _point_by_keys(yard: Yard, right: float, down: float) -> None:
    """Move the cross from the picture's middle, in the screen's pixels, and take the place."""
    page = yard.page
    shown = page.locator(".pointing img").bounding_box()["width"]
    for pixels, forth, back in ((right, "ArrowRight", "ArrowLeft"), (down, "ArrowDown", "ArrowUp")):
        steps = round(abs(pixels) * shown / 900)
        key = forth if pixels > 0 else back
        for _ in range(steps // 20):
            page.keyboard.press(f"Shift+{key}")
        for _ in range(steps % 20):
            page.keyboard.press(key)
    page.keyboard.press("Enter")
