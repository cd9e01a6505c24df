"""The entry page in a real browser: what it says, keeps, refuses and survives."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium import check_with_axe
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, expect
from web.yard import DESKTOP, PHONE, Yard, browser_context, served, wait_until

from lateral_map import load_site
from lateral_map.reading.enclosures import load_photographs
from lateral_map.web.app import all_assets
from lateral_map.web.serve import Served

pytestmark = pytest.mark.browser
DEMO = Path(__file__).parents[2] / "demo_sites" / "plain_lot"
HOSTILE = (
    "<img src=x onerror=window.hurt=1>{{7*7}}{%x%}${7*7}`'\"</script><script>window.hurt=1</script>"
    "<svg/onload=window.hurt=1>"
)


@pytest.fixture
def server(sketch: Path, keys: Path) -> Iterator[Served]:
    with served(sketch, keys) as running:
        yield running


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    with browser_context(browser, **DESKTOP) as fresh:
        yield fresh


@pytest.fixture
def yard(server: Served, context: BrowserContext) -> Yard:
    return Yard(context, server.address)


def rows_of(folder: Path, name: str = "locates.csv") -> list[str]:
    return (folder / name).read_text().splitlines()[1:]


def drawn_marks(yard: Yard) -> list[str]:
    """Return the captions of the locates on the map."""
    return yard.page.evaluate(
        "lateralMap.page.data.layers.find(l => l.key === 'locates').items"
        ".map(i => i.caption.replace(/^locate /, ''))"
    )


def open_row(yard: Yard, mark: str) -> None:
    yard.panel().locator("button.row").filter(
        has=yard.page.locator(f"strong:text-is('{mark}')")
    ).click()


def open_groups(yard: Yard) -> None:
    """Open every group of fields that the open tab offers."""
    yard.panel().locator('.chips > [aria-expanded="false"]').evaluate_all(
        "all => all.forEach((chip) => chip.click())"
    )


# ── entering ─────────────────────────────────────────────────────────────────────────────────────


def test_a_locate_is_saved_and_map_and_profile_redraw(yard: Yard, sketch: Path) -> None:
    assert "E" not in " ".join(drawn_marks(yard))
    profile = yard.page.locator("#profile-slider svg").inner_html()
    yard.enter({"footage": "45", "depth": "3'4 1/2\"", "tape1_from": "hydrant", "tape1": "33 ft"})
    assert rows_of(sketch)[-1].startswith('E,45,"3\'4 1/2"""')
    assert "E" in drawn_marks(yard)
    assert yard.page.locator("#profile-slider svg").inner_html() != profile
    expect(yard.page.locator("#saving")).to_contain_text("Saved")


# Every pane of the plan as it stands, but for which mark the Tab key stops at.
PANES = """() => Object.entries(map_site.getPanes())
  .filter(([name]) => /^plan-/.test(name))
  .map(([name, pane]) => `${name} ${pane.innerHTML}`.replace(/ tabindex="[^"]*"/g, ""))"""
ANEW = """() => {
  const { page } = lateralMap;
  for (const group of Object.values(page.groups)) group.clearLayers();
  page.slots = {};
  lateralMap.drawLayers(page);
}"""


def test_what_is_redrawn_is_what_would_be_drawn_anew(yard: Yard, sketch: Path) -> None:
    def check() -> None:
        redrawn = yard.page.evaluate(PANES)
        yard.page.evaluate(ANEW)
        drawn = yard.page.evaluate(PANES)
        for one, other in zip(redrawn, drawn, strict=True):
            assert _in_order(one) == _in_order(other)

    yard.enter({"footage": "26", "depth": "3", "tape1_from": "hydrant", "tape1": "17"})
    check()
    table = sketch / "locates.csv"
    for text in ("A,", "C,"):  # another program's saves: the first ones gone, the rest moved up
        rows = table.read_text().splitlines(keepends=True)
        table.write_text("".join(row for row in rows if not row.startswith(text)))
        yard.look()
        expect(yard.page.locator("#saving")).to_contain_text("Changed elsewhere", timeout=15_000)
        yard.page.locator("#saving").evaluate("(told) => (told.textContent = '')")
        check()
    yard.page.locator("#layer-locates").uncheck()
    yard.enter({"footage": "29", "depth": "3.1", "tape1_from": "hydrant", "tape1": "19"})
    yard.page.locator("#layer-locates").check()
    yard.page.locator("#north-up").click()
    check()


def _in_order(pane: str) -> list[str]:
    """A pane's elements, their attributes and classes sorted."""
    return [
        " ".join(sorted(element.replace('"', " ").split()))
        for element in pane.split("<")
        if element
    ]


def test_feet_and_inches_are_read_back_as_they_are_typed(yard: Yard) -> None:
    form = yard.panel().locator("form").first
    form.locator('[data-field="depth"] input').fill("7'6\"")
    expect(form.locator('[data-field="depth"] .read-back')).to_have_text("= 7.50 ft")
    form.locator('[data-field="depth"] input').fill("7 yards")
    expect(form.locator('[data-field="depth"] .read-back')).to_contain_text("unknown unit")
    expect(form.locator('[data-field="depth"] .unit')).to_have_text("ft")


def test_the_next_row_starts_from_the_last_one(yard: Yard) -> None:
    yard.enter({"footage": "45", "depth": "3", "tape1_from": "hydrant", "tape1": "33 ft"})
    form = yard.panel().locator("form").first
    expect(form.locator('[data-field="mark"] input')).to_have_value("F")
    expect(form.locator('[data-field="tape1_from"] select')).to_have_value("hydrant")
    expect(form.locator('[data-field="tape1"] input')).to_have_value("")
    expect(form.locator('[data-field="footage"] input')).to_be_focused()
    # A point left over from the last row, with nothing measured from it, is no half of a tape.
    yard.enter({"footage": "45.5", "depth": "3"})
    expect(yard.panel().locator(".row.left-out")).to_have_count(0)


def test_where_nothing_could_be_located_is_saved_and_drawn(yard: Yard, sketch: Path) -> None:
    yard.fill({"footage": "28", "no_locate": "under the slab"})
    yard.save()
    assert rows_of(sketch)[-1].startswith("E,28,")
    assert "no locate: under the slab" in drawn_marks(yard)
    # The next row is begun like the last one that was located.
    form = yard.panel().locator("form").first
    expect(form.locator('[data-field="tape1_from"] select')).to_have_value("hydrant")
    expect(form.locator('[data-field="no_locate"]')).to_be_hidden()


def test_what_is_wrong_is_said_beside_its_field_and_the_rest_still_drawn(
    yard: Yard, sketch: Path
) -> None:
    yard.enter({"footage": "45", "depth": "deep", "tape1_from": "hydrant", "tape1": "33"})
    assert rows_of(sketch)[-1].startswith("E,45,deep")
    became = yard.panel().locator('.result[data-tone="wrong"]')
    expect(became).to_contain_text("left out of the line until it is right: depth shown")
    assert {"A", "B", "C", "D"} <= set(drawn_marks(yard))
    yard.says("'deep' is not a length")
    became.get_by_role("button", name="Open E").click()
    fault = yard.panel().locator('[data-field="depth"] .fault')
    expect(fault).to_contain_text("is not a length")
    expect(yard.panel().locator('[data-field="depth"] input')).to_be_focused()
    expect(became).to_have_count(0)  # the form itself says it now
    yard.enter({"depth": "3.3"})
    assert "E" in drawn_marks(yard)
    expect(yard.panel().locator(".row.left-out")).to_have_count(0)
    expect(became).to_have_count(0)


@pytest.mark.parametrize("how", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_who_types_on_after_a_fault_writes_over_nothing(
    browser: Browser, sketch: Path, keys: Path, how: dict[str, Any]
) -> None:
    """The next locate's numbers, typed by keyboard the moment the last one is saved."""
    with served(sketch, keys) as server, browser_context(browser, **how) as context:
        yard = Yard(context, server.address)
        yard.tab("Locates")
        for footage, depth in (("45", "deep"), ("50", "4.1"), ("55", "soft"), ("60", "4.3")):
            footed = yard.panel().locator('form [data-field="footage"] input')
            footed.fill(footage)
            yard.panel().locator('form [data-field="depth"] input').fill(depth)
            yard.save()
            expect(footed).to_be_focused()
            expect(footed).to_have_value("")
        wrong = yard.panel().locator('.result[data-tone="wrong"]')
        expect(wrong).to_contain_text("G is saved, but left out")
        written = [row.split(",")[1:3] for row in rows_of(sketch)[-4:]]
        assert written == [["45", "deep"], ["50", "4.1"], ["55", "soft"], ["60", "4.3"]]
        # It leads back to each of them, and leaves the form in sight.
        assert wrong.bounding_box()["height"] < 180
        wrong.get_by_role("button", name="Open E").click()
        expect(footed).to_have_value("45")
        yard.enter({"depth": "3.3"})
        expect(wrong.get_by_role("button", name="Open E")).to_have_count(0)
        expect(wrong.get_by_role("button", name="Open G")).to_have_count(1)
        assert yard.complaints == []


@pytest.mark.parametrize("pasted", ["deep\t4", "deep\u200b", "deep\u00a04"])
def test_pasted_text_is_known_again_and_what_is_wrong_with_it_said_once(
    pasted: str, yard: Yard, sketch: Path
) -> None:
    """A tab, a mark nobody sees, a space that holds: the file has a space in its place."""
    yard.enter({"footage": "45", "depth": pasted})
    assert rows_of(sketch)[-1].startswith("E,45,deep")
    yard.panel().get_by_role("button", name="Open E").click()
    field = yard.panel().locator('[data-field="depth"]')
    expect(field.locator(".fault")).to_contain_text("is not a length")
    yard.page.wait_for_timeout(600)  # what is read back while typing comes a moment later
    assert field.inner_text().count("is not a length") == 1


def test_a_change_of_unit_says_what_becomes_of_the_numbers_there_are(
    yard: Yard, sketch: Path
) -> None:
    before = (sketch / "site.toml").read_bytes()
    yard.tab("Site")
    yard.fill({"unit": "US survey ft"})
    yard.save()
    alert = yard.page.locator("#alerts")
    expect(alert).to_contain_text("were in ft and are in US survey ft from now on, in the 6 rows")
    yard.page.locator("#undo-last").click()
    yard.says("Past curb")
    expect(yard.page.locator("#outbox-open")).to_be_hidden()
    wait_until(lambda: (sketch / "site.toml").read_bytes() == before)


def test_a_suspect_is_named_and_taken_so_and_taken_back(yard: Yard, sketch: Path) -> None:
    yard.enter({"footage": "45", "depth": "3", "tape1_from": "hydrant", "tape1": "33 ft 2 in",
                "line": "curb", "past": "12.5"})  # fmt: skip
    yard.says("What may have gone wrong")
    yard.says("Most probably locate E past was misread")
    before = (sketch / "site.toml").read_bytes()
    tables = (sketch / "locates.csv").read_bytes()
    yard.page.get_by_role("button", name="Take it so: Most probably locate E past").click()
    yard.says("Taken so in site.toml: locate E past was misread: as written 12.5 ft, taken as")
    expect(yard.page.locator("#says-list")).not_to_contain_text("gone wrong")
    assert "[[applied]]" in (sketch / "site.toml").read_text()
    assert (sketch / "locates.csv").read_bytes() == tables
    yard.page.get_by_role("button", name="Take it back: Taken so").click()
    yard.says("Most probably locate E past was misread")
    assert (sketch / "site.toml").read_bytes() == before
    yard.page.get_by_role("button", name="Take it so: Most probably locate E past").click()
    yard.says("Taken so")
    yard.page.get_by_role("button", name="I have checked it: Taken so").click()
    yard.says("Taken so in site.toml, and checked: locate E past was misread")
    expect(yard.page.get_by_role("button", name="I have checked it")).to_have_count(0)
    assert "checked = true" in (sketch / "site.toml").read_text()
    yard.page.get_by_role("button", name="Undo", exact=False).first.click()
    yard.says("Taken so in site.toml: locate E past")
    yard.page.get_by_role("button", name="Take it back: Taken so").click()
    yard.says("Most probably locate E past was misread")
    assert (sketch / "site.toml").read_bytes() == before
    yard.page.get_by_role("button", name="Open the row of E").first.click()
    yard.panel().get_by_role("button", name="Set aside").click()
    expect(yard.page.locator("#says-list")).not_to_contain_text("gone wrong")
    expect(yard.panel().locator(".row.set-aside")).to_have_count(1)


def test_a_locate_farther_than_the_footage_allows_is_named(yard: Yard) -> None:
    yard.enter({"footage": "45", "depth": "3", "line": "curb", "along": "85", "offset": "-30"})
    yard.says("apart on the ground, but the counter says")
    assert "E" not in drawn_marks(yard)
    assert {"A", "B", "C", "D"} <= set(drawn_marks(yard))
    expect(yard.panel().locator(".row.left-out")).to_contain_text("E")


def test_a_new_site_opens_and_says_what_is_missing(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "new"
    with served(folder, keys) as server, browser_context(browser, **DESKTOP) as context:
        yard = Yard(context, server.address)
        yard.says("Begin the site")
        expect(yard.page.locator("#says-list > li")).to_have_count(1)
        expect(yard.page.locator("#no-picture")).to_be_visible()
        yard.enter({"name": "Yard"})
        yard.says("How far did the camera go?")
        expect(yard.page.locator("#picture-note")).to_contain_text("Only the plan is drawn")
        yard.tab("Locates")
        yard.enter({"footage": "20", "depth": "4"})
        assert drawn_marks(yard) is not None
        expect(yard.page.locator("#picture-note")).to_be_hidden()
        assert yard.complaints == []


def test_a_bend_and_a_finding_can_be_set_aside(yard: Yard, sketch: Path) -> None:
    yard.tab("Bends")
    yard.panel().get_by_role("button", name="22.5° left", exact=True).click()
    yard.enter({"footage": "30"})
    assert rows_of(sketch, "bends.csv") == ["30,-22.5,,fitting,"]
    captions = "lateralMap.page.data.layers.some(l => l.key === 'bends')"
    assert yard.page.evaluate(captions)
    yard.panel().locator("button.row").first.click()
    before = yard.saves()
    yard.panel().get_by_role("button", name="Set aside").click()
    yard.wait_saved(before)
    assert rows_of(sketch, "bends.csv") == ["30,-22.5,,fitting,,no"]
    assert not yard.page.evaluate(captions)


def test_everything_can_be_undone_and_done_again(yard: Yard, sketch: Path) -> None:
    before = (sketch / "locates.csv").read_bytes()
    yard.enter({"footage": "45", "depth": "3"})
    count = yard.saves()
    yard.page.locator("#undo-last").click()
    yard.wait_saved(count)
    assert (sketch / "locates.csv").read_bytes() == before
    yard.tab("More")
    yard.panel().get_by_role("button", name="Do again").click()
    yard.wait_saved(count + 1)
    assert rows_of(sketch)[-1].startswith("E,45,3")


def test_what_a_desk_asks_is_filled_in_and_undone_to_the_byte(yard: Yard, sketch: Path) -> None:
    toml = sketch / "site.toml"
    toml.write_text(f'{toml.read_text()}\n[referral]\nto = """\nDesk 4\nTown Hall\n"""\n')
    yard.open()
    yard.says("The utility's desk would ask for")
    yard.says("Service address")
    yard.tab("Site")
    before = toml.read_bytes()
    yard.enter({"address": "9 Nowhere Walk", "urgency": "urgent", "urgency_ground": "backing up",
                "upstream": "MH 7", "asset": "SM-4", "signature": "A. Camera\nInspector",
                "earlier": "../2025-11"})  # fmt: skip

    site = load_site(sketch)
    assert (site.job.address, site.job.urgency) == ("9 Nowhere Walk", "urgent")
    assert (site.main.upstream, site.main.asset) == ("MH 7", "SM-4")
    assert site.referral.signature == "A. Camera\nInspector"
    assert site.earlier == "../2025-11"
    assert b'to = """\nDesk 4\nTown Hall\n"""' in toml.read_bytes()  # nobody typed there
    expect(yard.page.locator("#says-list")).not_to_contain_text("Service address")
    yard.says("Parcel")
    yard.page.locator("#undo-last").click()
    yard.says("Service address")
    assert toml.read_bytes() == before


def test_a_photograph_is_named_by_the_footage_it_shows(
    yard: Yard, sketch: Path, tmp_path: Path
) -> None:
    exif = Image.Exif()
    exif[0x010F] = "Somebody's camera"
    picture, other = tmp_path / "IMG_1.jpg", tmp_path / "words.jpg"
    Image.new("RGB", (60, 40), "red").save(picture, exif=exif)
    other.write_text("no picture")
    yard.tab("Findings")
    form = yard.panel().locator("form").first
    add = form.get_by_role("button", name="Add a photograph")
    add.press("Enter")
    expect(form).to_contain_text("Give the footage it shows first.")
    yard.page.keyboard.type("12 ft 6 in")  # the footage has the focus
    for name, said in (
        (picture, "12.5.jpg is among the site's photographs"),
        (picture, "12.5 2.jpg is among"),
        (other, "this is not a picture that can be read"),
    ):
        with yard.page.expect_file_chooser() as chooser:
            add.press("Enter")
        chooser.value.set_files(name)
        expect(form).to_contain_text(said)
    yard.enter({"finding": "crack"})
    shown = load_photographs(load_site(sketch))
    assert [one.name for one in shown] == ["12.5 2.jpg", "12.5.jpg"]
    assert {round(one.footage_m / 0.3048, 6) for one in shown} == {12.5}
    assert not any(b"Somebody" in one.jpeg for one in shown)
    assert rows_of(sketch, "findings.csv")[-1].startswith("12 ft 6 in,")


def test_a_point_is_tapped_on_the_map(yard: Yard, sketch: Path) -> None:
    yard.tab("Plan")
    yard.panel().locator('[data-kind="reference"]').click()
    yard.fill({"name": "post"}, yard.panel().locator("form.entry"))
    yard.panel().get_by_role("button", name="Tap on the map").click()
    where = yard.page.evaluate(
        "(() => { const { map, plane } = lateralMap.page;"
        "const p = map.latLngToContainerPoint(plane.toMap([6.096, 3.048]));"
        "const b = document.getElementById('map_site').getBoundingClientRect();"
        "return [b.x + p.x, b.y + p.y]; })()"
    )
    yard.page.mouse.click(*where)
    yard.save(yard.panel().locator("form.entry"))
    feature = json.loads((sketch / "plan.geojson").read_text())["features"][-1]
    assert feature["properties"] == {"kind": "reference", "name": "post"}
    assert feature["geometry"]["coordinates"] == pytest.approx([20.0, 10.0], abs=0.3)


def test_a_point_is_taped_from_two_others(yard: Yard, sketch: Path) -> None:
    yard.tab("Plan")
    yard.panel().locator('[data-kind="reference"]').click()
    form = yard.panel().locator("form.entry")
    yard.fill({"name": "post"}, form)
    form.get_by_role("button", name="Two tapes").click()
    yard.fill({"from1": "house corner A", "tape1": "3 ft", "from2": "house corner B",
               "tape2": "3 ft", "side": "left"}, form.locator(".way-form"))  # fmt: skip
    form.get_by_role("button", name="Take this place").click()
    form.locator('button[type="submit"]').click()
    expect(form).to_contain_text("the tapes cannot meet")
    form.get_by_role("button", name="Two tapes").click()
    yard.fill({"from1": "house corner A", "tape1": "20", "from2": "house corner B",
               "tape2": "20", "side": "left"}, form.locator(".way-form"))  # fmt: skip
    form.get_by_role("button", name="Take this place").click()
    yard.save(form)
    at = json.loads((sketch / "plan.geojson").read_text())["features"][-1]["geometry"][
        "coordinates"
    ]
    for corner in ((0.04, -0.1), (29.92, -0.49)):
        assert ((at[0] - corner[0]) ** 2 + (at[1] - corner[1]) ** 2) ** 0.5 == pytest.approx(
            20, abs=1e-3
        )
    assert at[1] > 5  # left, going from A to B, is up


def test_a_locate_is_entered_by_keyboard_alone(yard: Yard, sketch: Path) -> None:
    page = yard.page
    page.locator("body").press("Tab")
    expect(page.get_by_role("link", name="Skip to the form")).to_be_focused()
    page.keyboard.press("Enter")
    for _ in range(20):
        page.keyboard.press("Tab")
        if (
            page.evaluate("document.activeElement.closest('[data-field]')?.dataset.field")
            == "footage"
        ):
            break
    page.keyboard.type("45")
    page.keyboard.press("Tab")
    page.keyboard.type("3'2\"")
    before = yard.saves()
    page.keyboard.press("Enter")
    yard.wait_saved(before)
    assert rows_of(sketch)[-1].startswith('E,45,"3\'2"""')
    # The profile steps along by its arrow keys, and the map's point with it.
    page.locator("#profile-slider").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#readout")).to_contain_text("Depth to invert")
    page.locator("#undo-last").focus()
    before = yard.saves()
    page.keyboard.press("Enter")
    yard.wait_saved(before)
    assert len(rows_of(sketch)) == 4


# ── others ───────────────────────────────────────────────────────────────────────────────────────


def test_two_tabs_that_change_one_field_are_asked(
    yard: Yard, server: Served, context: BrowserContext, sketch: Path
) -> None:
    other = Yard(context, server.address)
    for each in (yard, other):
        open_row(each, "B")
    yard.fill({"depth": "3.2"})
    yard.save()
    other.page.evaluate("fetch")  # the other tab knows nothing of it yet
    other.fill({"depth": "3.4"})
    other.panel().locator('form button[type="submit"]').first.click()
    dialog = other.page.locator("#ask")
    expect(dialog).to_contain_text("Changed in two places")
    expect(dialog.locator("tbody")).to_contain_text("3.2")
    expect(dialog.locator("tbody")).to_contain_text("3.4")
    count = other.saves()
    dialog.get_by_role("button", name="Save mine over it").click()
    other.wait_saved(count)
    assert rows_of(sketch)[1].startswith("B,22.0,3.4,")


def test_a_spreadsheet_that_saves_an_old_copy_is_noticed(yard: Yard, sketch: Path) -> None:
    old = (sketch / "locates.csv").read_bytes()
    yard.enter({"footage": "45", "depth": "3"})
    (sketch / "locates.csv").write_bytes(old.replace(b"by the rose bed", b"by the roses"))
    banner = yard.page.locator("[data-outside]")
    expect(banner).to_contain_text("mark E", timeout=15_000)
    banner.get_by_role("button", name="Put mine back").click()
    expect(banner).to_have_count(0)
    assert rows_of(sketch)[-1].startswith("E,45,3")
    assert b"by the roses" in (sketch / "locates.csv").read_bytes()


def test_out_of_reach_a_row_is_kept_and_sent_later_once(
    yard: Yard, context: BrowserContext, sketch: Path
) -> None:
    context.set_offline(True)
    yard.fill({"footage": "45", "depth": "3"})
    yard.panel().locator('form button[type="submit"]').first.click()
    expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
    assert len(rows_of(sketch)) == 4
    context.set_offline(False)
    wait_until(lambda: len(rows_of(sketch)) == 5)
    expect(yard.page.locator("#saving")).to_contain_text("Saved")
    assert rows_of(sketch)[-1].startswith("E,45,3")


def test_a_page_open_since_before_the_server_was_begun_anew_loses_no_row(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as first:
        yard = Yard(context, first.address)
        port = int(first.address.rpartition(":")[2])
    yard.fill({"footage": "45", "depth": "3"})
    with served(sketch, keys, port=port):
        yard.panel().locator('form button[type="submit"]').first.click()
        wait_until(lambda: len(rows_of(sketch)) == 5)
        expect(yard.page.locator("#saving")).to_contain_text("Saved")
        # The page that was loaded anew knows nothing of when the row was pressed, and minds not.
        yard.page.evaluate("new Promise((d) => requestAnimationFrame(() => setTimeout(d, 100)))")
    assert rows_of(sketch)[-1].startswith("E,45,3")
    assert [one for one in yard.complaints if "403" not in one] == []


def test_the_cautions_stand_on_a_page_that_draws_nothing_yet(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    with served(tmp_path / "new", keys) as server, browser_context(browser) as context:
        yard = Yard(context, server.address)
        expect(yard.page.locator("#cautions")).to_contain_text("Call 811")
        expect(yard.page.locator("#cautions")).to_contain_text("cave in")


def test_what_was_typed_outlives_the_page(yard: Yard) -> None:
    yard.fill({"footage": "45", "note": "by the gate"})
    yard.open()
    form = yard.panel().locator("form").first
    expect(form.locator('[data-field="footage"] input')).to_have_value("45")
    expect(form.locator('[data-field="note"] input')).to_have_value("by the gate")


# ── hostile text ─────────────────────────────────────────────────────────────────────────────────


def test_no_text_becomes_anything_but_text(yard: Yard, sketch: Path) -> None:
    yard.enter({"mark": HOSTILE[:100], "footage": "45", "depth": "3", "note": HOSTILE})
    yard.enter({"mark": "Z", "footage": "45.5", "depth": HOSTILE})
    yard.tab("Findings")
    yard.enter({"footage": "20", "finding": HOSTILE[:100], "note": HOSTILE})
    yard.tab("Plan")
    yard.add_feature("reference", {"name": HOSTILE[:100]}, [[5.0, 5.0]])
    yard.tab("Site")
    yard.enter({"name": HOSTILE[:110], "rule": HOSTILE})
    (sketch / "bends.csv").write_text(f"footage,turn,{HOSTILE.replace(',', '')}\n20,{HOSTILE}\n")
    yard.open()
    for tab in ("Locates", "Bends", "Findings", "Sketch", "Plan", "Site", "More"):
        yard.tab(tab)
    yard.page.locator("#results > summary").click()
    assert yard.page.evaluate("window.hurt") is None
    assert yard.page.locator("img[src=x]").count() == 0
    assert "{{7*7}}" in yard.page.locator("#site-name").inner_text()
    assert yard.complaints == []


def test_the_policy_stops_what_got_in_all_the_same(yard: Yard) -> None:
    yard.page.evaluate(
        """() => {
        const script = document.createElement('script');
        script.textContent = 'window.hurt = 1';
        document.body.append(script);
        document.body.insertAdjacentHTML('beforeend', '<b onclick="window.hurt=2" id="bait">x</b>');
        document.getElementById('bait').click();
        document.body.insertAdjacentHTML('beforeend', '<iframe src="https://example.com"></iframe>');
        }"""
    )
    assert yard.page.evaluate("window.hurt") is None
    assert len([words for words in yard.complaints if "Content Security Policy" in words]) >= 3


# ── positions and files ──────────────────────────────────────────────────────────────────────────


@pytest.fixture
def lot(tmp_path: Path) -> Path:
    folder = tmp_path / "lot"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("out"))
    return folder


def test_the_devices_position_is_a_tie_with_its_accuracy(
    browser: Browser, lot: Path, keys: Path
) -> None:
    here = {"latitude": 43.86, "longitude": -83.62, "accuracy": 4.9}
    how = {**PHONE, "geolocation": here, "permissions": ["geolocation"]}
    with served(lot, keys) as server, browser_context(browser, **how) as context:
        yard = Yard(context, server.address)
        yard.fill({"mark": "P", "footage": "20"})
        yard.panel().get_by_role("button", name="Position").first.click()
        yard.panel().get_by_role("button", name="This device's position").click()
        yard.panel().get_by_role("button", name="Use this position").click()
        expect(yard.panel()).to_contain_text("holds 68 % of its fixes")
        yard.save()
        header, *_, last = (lot / "locates.csv").read_text().splitlines()
        row = dict(zip(header.split(","), last.split(","), strict=True))
        assert (float(row["lat"]), float(row["lon"])) == (43.86, -83.62)
        # 4.9 m over sqrt(-2 ln 0.32) = 1.5096, the factor of a circular normal error.
        assert row["accuracy"] == "3.25 m"
        assert "P" in drawn_marks(yard)


def test_points_of_a_file_are_matched_to_marks(browser: Browser, lot: Path, keys: Path) -> None:
    gpx = (
        '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="43.86003" lon="-83.6199"><name>b</name></wpt>'
        '<wpt lat="43.86" lon="-83.6198"><name>unknown</name></wpt></gpx>'
    )
    with served(lot, keys) as server, browser_context(browser, **DESKTOP) as context:
        yard = Yard(context, server.address)
        yard.tab("More")
        yard.page.locator("#gnss-file").set_input_files(
            {"name": "day.gpx", "mimeType": "application/gpx+xml", "buffer": gpx.encode()}
        )
        match = yard.panel().locator("form")
        expect(match.locator("select").first).to_have_value("3")
        expect(match.locator("select").nth(1)).to_have_value("")
        yard.save(match)
        changed = [line for line in rows_of(lot) if "43.86003000,-83.61990000" in line]
        assert [line[0] for line in changed] == ["B"]
        yard.page.locator("#gnss-file").set_input_files(
            {"name": "day.gpx", "mimeType": "x", "buffer": b"<gpx"}
        )
        expect(yard.panel()).to_contain_text("no sound XML")


def test_results_are_taken_away(yard: Yard, tmp_path: Path) -> None:
    yard.tab("More")
    with yard.page.expect_download() as download:
        yard.panel().get_by_role("button", name="result.json").click()
    saved = tmp_path / "result.json"
    download.value.save_as(saved)
    assert download.value.suggested_filename == "result.json"
    assert json.loads(saved.read_text())["format"] == 1
    with yard.page.expect_download() as download:
        yard.panel().get_by_role("button", name="profile.svg").click()
    assert download.value.suggested_filename == "profile.zip"


def test_a_geopackage_plan_is_shown_and_left_alone(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "ground"
    shutil.copytree(DEMO.parent / "rising_ground", folder, ignore=shutil.ignore_patterns("out"))
    with served(folder, keys) as server, browser_context(browser, **DESKTOP) as context:
        yard = Yard(context, server.address)
        yard.tab("Plan")
        expect(yard.panel()).to_contain_text("change it in a GIS")
        yard.tab("Locates")
        expect(yard.panel().locator('[data-field="footage"] .unit').first).to_have_text("m")
        assert yard.complaints == []


# ── for everyone ─────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "screen", [PHONE, {**DESKTOP, "color_scheme": "dark"}], ids=["phone", "desktop in the dark"]
)
def test_axe_finds_nothing_in_ten_states(
    screen: dict[str, Any], browser: Browser, server: Served, sketch: Path, tmp_path: Path,
    keys: Path,
) -> None:  # fmt: skip
    # axe-core's rules for WCAG 2 A and AA and its best practices, contrast and sizes included.
    found: dict[str, list[str]] = {}
    with browser_context(browser, **screen) as context:
        yard = Yard(context, server.address)
        yard.enter({"footage": "45", "depth": "deep"})
        found["a row with a fault"] = violations(yard)
        for tab in ("Bends", "Findings", "Sketch", "Plan", "Site", "More"):
            yard.tab(tab)
            if tab == "Plan":
                yard.panel().locator('[data-kind="utility"]').click()
            open_groups(yard)
            found[tab] = violations(yard)
        yard.tab("Plan")
        yard.panel().locator('[data-kind="curb"]').click()
        yard.panel().get_by_role("button", name="Tap on the map").click()
        found["placing"] = violations(yard)
        yard.page.keyboard.press("Escape")
        yard.tab("Locates")
        open_row(yard, "B")
        yard.fill({"depth": "3.4"})
        text = (sketch / "locates.csv").read_text()
        (sketch / "locates.csv").write_text(text.replace("B,22.0,3.1", "B,22.0,3.2"))
        yard.panel().locator('form button[type="submit"]').first.click()
        expect(yard.page.locator("#ask")).to_be_visible()
        found["a question"] = violations(yard)
        yard.page.keyboard.press("Escape")
        yard.tab("More")
        yard.page.locator("#results > summary").click()
        yard.page.locator("#says").evaluate("e => e.open = true")
        found["not sent, and the tables"] = violations(yard)
    with served(tmp_path / "new", keys) as fresh, browser_context(browser, **screen) as context:
        found["nothing yet"] = violations(Yard(context, fresh.address))
    assert len(found) >= 10
    assert {state: words for state, words in found.items() if words} == {}


def violations(yard: Yard) -> list[str]:
    told = check_with_axe(yard.page)["violations"]
    return [f"{one['id']}: {node['html'][:160]}" for one in told for node in one["nodes"]]


SMALL = """[...document.querySelectorAll('button,input,select,summary,a,label')].filter((e) => {
  const box = e.getBoundingClientRect();
  const target = e.matches('label') ? e.querySelector('input') : !e.closest('label');
  return target && e.checkVisibility() && !e.matches('.skip')
    && box.width > 1 && (box.height < 43.5 || box.width < 43.5);
}).map((e) => e.outerHTML.slice(0, 90))"""


@pytest.mark.parametrize(("width", "letters"), [(320, 16), (390, 16), (390, 32), (1024, 16)])
def test_nothing_sticks_out_and_everything_can_be_touched(
    width: int, letters: int, browser: Browser, server: Served
) -> None:
    screen = {**PHONE, "viewport": {"width": width, "height": 800}}
    with browser_context(browser, **screen) as context:
        yard = Yard(context, server.address)
        yard.page.evaluate(f"document.documentElement.style.fontSize = '{letters}px'")
        for tab in ("Locates", "Bends", "Findings", "Sketch", "Plan", "Site", "More"):
            yard.tab(tab)
            if tab == "Plan":
                yard.panel().locator('[data-kind="curb"]').click()
            open_groups(yard)
            assert yard.page.evaluate("document.documentElement.scrollWidth") <= width
            assert yard.page.evaluate(SMALL) == []
            cut = yard.page.evaluate(
                "[...document.querySelectorAll('#tabs button, #panel button, .views button')]"
                ".filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"
            )
            assert cut == []
        marks = yard.page.evaluate(
            "[...document.querySelectorAll('.leaflet-marker-icon[role=button]')]"
            ".map(e => e.getBoundingClientRect().width)"
        )
        assert marks
        assert min(marks) >= 43.5


def test_on_a_phone_the_next_field_is_in_view_below_what_became_of_the_last(
    browser: Browser, server: Served
) -> None:
    with browser_context(browser, **PHONE) as context:
        yard = Yard(context, server.address)
        yard.enter({"footage": "45.2", "depth": "3"})
        result, field = yard.panel().locator(".result"), yard.panel().locator(":focus")
        expect(result).to_have_text("E is saved: good")
        above, below = result.bounding_box(), field.bounding_box()
        assert above is not None
        assert below is not None
        assert 0 <= above["y"] < below["y"]
        assert below["y"] + below["height"] < 844 / 2  # the keys cover the other half
        pads = "[data-field=footage] input, [data-field=x] input, [data-field=lat] input"
        modes = yard.panel().locator(pads).evaluate_all("all => all.map(e => e.inputMode)")
        assert set(modes) == {"decimal"}
        yard.tab("Bends")
        for name in ("turn", "fall"):
            field = yard.panel().locator(f'[data-field="{name}"] input')
            expect(field).to_have_attribute("inputmode", "decimal")
            expect(yard.panel().locator(f'[data-field="{name}"] .key')).to_have_text("−")


def test_a_line_is_drawn_on_the_map_by_keyboard_alone(yard: Yard, sketch: Path) -> None:
    press = yard.page.keyboard.press
    yard.page.locator("#tabs [data-tab=plan]").focus()
    press("Enter")
    yard.page.locator('[data-kind="property_line"]').focus()
    press("Enter")
    expect(yard.panel().locator('[data-field="name"] input')).to_be_focused()
    yard.panel().get_by_role("button", name="Tap on the map").focus()
    for key in ("Enter", "Enter", "ArrowRight"):
        press(key)
    yard.page.wait_for_function("() => !lateralMap.page.map._panAnim?._inProgress")
    for key in ("Enter", "Enter", "Backspace", "f"):
        press(key)
    expect(yard.panel().locator(".places li")).to_have_count(2)
    before = yard.saves()
    yard.panel().locator('form [data-field="name"] input').focus()
    press("Enter")
    yard.wait_saved(before)
    feature = json.loads((sketch / "plan.geojson").read_text())["features"][-1]
    assert feature["properties"]["kind"] == "property_line"
    (x1, y1), (x2, y2) = feature["geometry"]["coordinates"]
    assert ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5 > 3.0
    assert yard.page.evaluate("document.activeElement !== document.body")


def test_the_map_follows_a_line_that_grows_beyond_its_edge(yard: Yard) -> None:
    yard.page.evaluate("lateralMap.page.map.panBy([60, 40], { animate: false })")
    yard.tab("Site")
    yard.enter({"end_footage": "120"})
    assert yard.page.evaluate(
        "lateralMap.page.data.stations.at.every((at) => lateralMap.page.map.getBounds()"
        ".contains(lateralMap.page.plane.toMap(at)))"
    )


def test_the_page_has_every_element_the_drawing_writes_to(
    server: Served, context: BrowserContext
) -> None:
    wanted = set(
        re.findall(r'(?:byId|getElementById)\("([\w-]+)"\)', all_assets()["drawing.js"].content)
    )
    page = context.new_page()
    page.goto(server.address)
    there = set(page.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)"))
    assert wanted - there == set()
