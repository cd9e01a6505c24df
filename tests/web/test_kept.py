"""What is typed in a yard is never lost, and never ends in another site's file."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, BrowserContext, expect
from web.yard import DESKTOP, Yard, browser_context, served, wait_until

from lateral_map.web.store import FeatureEdit, RowEdit, SettingEdit, SiteStore

pytestmark = pytest.mark.browser
SITES = Path(__file__).parents[1] / "sites"
DEMO = Path(__file__).parents[2] / "demo_sites" / "plain_lot"
# Every change is answered two seconds late.
SLOW = """
const ask = window.fetch;
window.fetch = async (...asked) => {
  const answer = await ask(...asked);
  if (asked[1]?.method === "POST") await new Promise((done) => setTimeout(done, 2000));
  return answer;
};
"""


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    with browser_context(browser, **DESKTOP) as fresh:
        yield fresh


def marks(folder: Path) -> list[str]:
    return [row.split(",")[0] for row in (folder / "locates.csv").read_text().splitlines()[1:]]


def press_save(yard: Yard) -> None:
    yard.panel().locator('form button[type="submit"]').first.click()


def not_sent(yard: Yard) -> Any:
    yard.tab("More")
    return yard.page.locator("#outbox")


def test_two_folders_of_one_name_on_one_port_share_nothing(
    tmp_path: Path, keys: Path, context: BrowserContext
) -> None:
    ours, theirs = tmp_path / "a" / "site", tmp_path / "b" / "site"
    for folder in (ours, theirs):
        shutil.copytree(SITES / "local_sketch", folder)
    with served(ours, keys) as first:
        yard, port = Yard(context, first.address), int(first.address.rpartition(":")[2])
    yard.fill({"footage": "45", "depth": "3"})
    press_save(yard)
    expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
    yard.fill({"footage": "45.7", "depth": "3"})
    press_save(yard)
    with served(theirs, keys, port=port) as other:
        page = Yard(context, other.address)
        form = page.panel().locator("form").first
        expect(form.locator('[data-field="footage"] input')).to_have_value("")
        expect(not_sent(page)).to_contain_text("2 of another site")
        # The page that was open all the time finds that another site answers now.
        yard.look()
        expect(yard.page.locator("#outbox-open")).to_be_hidden(timeout=15_000)
    assert marks(theirs) == ["A", "B", "C", "D"]
    with served(ours, keys, port=port) as again:
        page = Yard(context, again.address)
        wait_until(lambda: len(marks(ours)) == 6)
    assert marks(ours) == ["A", "B", "C", "D", "E", "F"]
    assert marks(theirs) == ["A", "B", "C", "D"]


def test_what_was_kept_at_another_port_is_told_and_sent(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as first:
        yard = Yard(context, first.address)
    yard.fill({"footage": "45", "depth": "3"})
    press_save(yard)
    expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
    yard.page.close()
    with served(sketch, keys) as other:
        assert other.address != first.address
        page = Yard(context, other.address).page
        expect(page.locator("#alerts")).to_contain_text(f"could not be sent from {first.address}")
        page.get_by_role("link", name="Open that page").click()
        wait_until(lambda: marks(sketch)[-1] == "E")


def test_a_row_another_device_saves_stays_as_it_is_typed(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    def saved_there(**values: str) -> None:
        site = SiteStore(sketch)
        table = site.table("locates.csv")
        edit = RowEdit(values, table.row_text(3), 3)
        site.save_rows(uuid4().hex, "locates.csv", [edit], "there")

    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        yard.panel().locator("button.row").filter(has_text="22.0 ft").click()
        yard.fill({"depth": "3.7"})
        saved_there(note="wet")
        expect(yard.page.locator("#saving")).to_contain_text("Changed elsewhere")
        expect(yard.panel().locator('[data-field="depth"] input')).to_have_value("3.7")
        yard.save()
        row = (sketch / "locates.csv").read_text().splitlines()[2]
        assert row.startswith("B,22.0,3.7,")
        assert row.endswith("wet")
        # Both change one field: asked, gone back to the form, and nothing typed is gone.
        yard.panel().locator("button.row").filter(has_text="22.0 ft").click()
        yard.fill({"depth": "3.8"})
        saved_there(depth="2.9")
        press_save(yard)
        dialog = yard.page.locator("#ask")
        expect(dialog.locator("h2")).to_have_text("Changed in two places: locate B")
        expect(dialog.locator("tbody")).to_contain_text("2.9")
        expect(dialog.locator("tbody")).to_contain_text("3.8")
        dialog.get_by_role("button", name="Back to the form").click()
        expect(yard.panel().locator('[data-field="depth"] input')).to_have_value("3.8")
        # What was begun outlives the page though its row is another one by now.
        yard.fill({"depth": "3.85"})
        yard.open()
        expect(yard.panel()).to_contain_text("Begun and not saved: B, depth shown 3.85")
        yard.panel().get_by_role("button", name="Open").click()
        expect(yard.panel().locator('[data-field="depth"] input')).to_have_value("3.85")
        # The row is gone, taken back or taken out elsewhere: what is typed can be a row of its own.
        table = sketch / "locates.csv"
        rows = table.read_text().splitlines(keepends=True)
        table.write_text("".join(row for row in rows if not row.startswith("B,")))
        press_save(yard)
        count = yard.saves()
        dialog.get_by_role("button", name="Save mine as a new row").click()
        yard.wait_saved(count)
        assert table.read_text().splitlines()[-1] == rows[2].strip().replace(",2.9,", ",3.85,")
        assert [words for words in yard.complaints if "409 (Conflict)" not in words] == []


def test_what_is_taken_out_elsewhere_while_it_is_typed_can_be_kept(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    pipe = SettingEdit("pipe.1.from", "30", None), SettingEdit("pipe.1.material", "pvc", None)
    added = uuid4().hex
    SiteStore(sketch).save_settings(added, pipe, "there")
    plan = sketch / "plan.geojson"
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        dialog = yard.page.locator("#ask")

        def anew(form: Any, button: str) -> None:
            form.locator('button[type="submit"]').click()
            count = yard.saves()
            expect(dialog).to_contain_text("taken out since")
            expect(dialog.get_by_role("button", name="Save mine over it")).to_have_count(0)
            dialog.get_by_role("button", name=button).click()
            yard.wait_saved(count)

        yard.tab("Site")
        form = yard.panel().locator('[data-list="pipe"]')
        form.locator(".row").last.click()
        yard.fill({"size": "4"}, form.locator("form"))
        SiteStore(sketch).undo(uuid4().hex, added)
        anew(form.locator("form"), "Add mine anew")
        settings = SiteStore(sketch).settings()
        assert [settings[f"pipe.1.{name}"] for name in ("from", "material", "size")] == [
            "30", "pvc", "4",
        ]  # fmt: skip
        yard.tab("Plan")
        yard.panel().locator('[data-section="rows"] .row').first.click()
        yard.fill({"name": "mine"}, yard.panel().locator("form.entry"))
        whole = json.loads(plan.read_text())
        gone = whole["features"].pop(0)
        plan.write_text(json.dumps(whole))
        anew(yard.panel().locator("form.entry"), "Save mine as a new part")
        mine = json.loads(plan.read_text())["features"][-1]
        assert mine["geometry"] == gone["geometry"]
        assert mine["properties"] == {**gone["properties"], "name": "mine"}
        assert [words for words in yard.complaints if "409 (Conflict)" not in words] == []


def test_typing_goes_on_while_a_save_is_under_way(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    context.add_init_script(SLOW)
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        keyboard = yard.page.keyboard
        yard.panel().locator('form [data-field="footage"] input').first.focus()
        before = yard.saves()
        for footage in ("45", "45.4"):  # two rows before the first answer
            keyboard.type(footage)
            keyboard.press("Tab")
            keyboard.type("3")
            keyboard.press("Enter")
        keyboard.type("45.8")
        expect(yard.panel().locator(".row.waiting")).to_have_count(2)
        yard.wait_saved(before + 1)
        form = yard.panel().locator("form").first
        expect(form.locator('[data-field="footage"] input')).to_have_value("45.8")
        expect(form.locator('[data-field="footage"] input')).to_be_focused()
        expect(form.locator('[data-field="mark"] input')).to_have_value("G")
        assert marks(sketch) == ["A", "B", "C", "D", "E", "F"]
        assert yard.complaints == []


@pytest.mark.parametrize("gap_ms", [60, 140, 300])
def test_a_double_tap_saves_once(
    gap_ms: int, sketch: Path, keys: Path, context: BrowserContext
) -> None:
    def tap(x: float, y: float, time_s: float) -> None:
        """Tap at a stated time, so that a busy machine makes the gap no longer than it says."""
        for kind in ("mousePressed", "mouseReleased"):
            asked = {"type": kind, "x": x, "y": y, "button": "left", "clickCount": 1}
            session.send("Input.dispatchMouseEvent", {**asked, "timestamp": time_s})

    def tap_twice(button: Any) -> None:
        button.scroll_into_view_if_needed()
        box = button.bounding_box()
        at = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        before, begun = yard.saves(), time.time()
        tap(*at, begun)
        yard.page.wait_for_timeout(gap_ms)
        tap(*at, begun + gap_ms / 1000)
        yard.wait_saved(before)
        expect(yard.page.locator("#outbox-open")).to_be_hidden()

    def features() -> int:
        return len(json.loads((sketch / "plan.geojson").read_text())["features"])

    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        session = context.new_cdp_session(yard.page)
        yard.fill({"footage": "45", "depth": "3"})
        tap_twice(yard.panel().locator('form button[type="submit"]').first)
        assert marks(sketch) == ["A", "B", "C", "D", "E"]
        tap_twice(yard.page.locator("#undo-last"))
        assert marks(sketch) == ["A", "B", "C", "D"]
        yard.tab("Plan")
        count = features()
        yard.panel().locator('[data-kind="reference"]').click()
        form = yard.panel().locator("form.entry")
        yard.fill({"name": "meter"}, form)
        form.get_by_role("button", name="x and y").click()
        yard.fill({"x": "1", "y": "2"}, form.locator(".way-form"))
        form.get_by_role("button", name="Take this place").click()
        tap_twice(form.locator('button[type="submit"]'))
        assert features() == count + 1
        assert yard.panel().locator("form").count() == 0  # nothing opened under the second tap
        yard.tab("Site")
        part = yard.panel().locator('[data-list="pipe"]')
        part.get_by_role("button", name="Add a").click()
        yard.fill({"from": "30", "material": "pvc", "size": "4"}, part.locator("form"))
        tap_twice(part.locator('form button[type="submit"]'))
        assert (sketch / "site.toml").read_text().count("[[pipe]]") == 2
        assert yard.complaints == []


@pytest.mark.parametrize("delay_ms", [0, 500, 2000])
def test_the_second_tap_of_a_double_one_calls_nothing_back_however_slow(
    delay_ms: int, sketch: Path, keys: Path, context: BrowserContext
) -> None:
    """Where the row came up under the finger; a tap that is meant for it calls it back."""
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
    yard.fill({"footage": "45", "depth": "3"})
    button = yard.panel().locator('form button[type="submit"]').first
    button.scroll_into_view_if_needed()
    box = button.bounding_box()
    at = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
    yard.page.mouse.click(*at)
    waiting = yard.panel().locator(".row.waiting")
    expect(waiting).to_have_count(1)
    tap = """(row, [x, y]) => row.dispatchEvent(new MouseEvent("click",
        { bubbles: true, cancelable: true, detail: 1, clientX: x, clientY: y }))"""
    yard.page.wait_for_timeout(delay_ms)
    waiting.evaluate(tap, at)
    expect(waiting).to_have_count(1)
    yard.page.wait_for_timeout(500)
    waiting.evaluate(tap, at)
    expect(waiting).to_have_count(0)
    expect(yard.panel().locator('form [data-field="footage"] input').first).to_have_value("45")


def test_a_row_may_be_called_back_at_once_by_a_tap_on_it(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
    yard.fill({"footage": "45", "depth": "3"})
    press_save(yard)
    # Not as on its way, where nothing takes it.
    told = yard.panel().locator(".result")
    expect(told).to_have_text("E is kept on this device, not sent yet")
    expect(told).to_have_attribute("data-tone", "waits")
    yard.panel().locator(".row.waiting").click()
    expect(yard.panel().locator(".row.waiting")).to_have_count(0)
    expect(yard.panel().locator('form [data-field="footage"] input').first).to_have_value("45")


def test_a_setting_both_changed_shows_both_values_and_both_choices(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        for choice, stands in (("Save mine over it", "3.4"), ("Keep what is there", "3.6")):
            yard.tab("Site")
            yard.fill({"depth": "3.4" if stands == "3.4" else "3.5", "ground": "100"})
            seen = SiteStore(sketch).settings()["start.depth"]
            edit = SettingEdit("start.depth", "3.2" if stands == "3.4" else "3.6", seen)
            SiteStore(sketch).save_settings(uuid4().hex, [edit], "there")
            press_save(yard)
            dialog = yard.page.locator("#ask")
            expect(dialog.locator("tbody")).to_contain_text(edit.value or "")
            expect(dialog.locator("tbody")).to_contain_text("3.4" if stands == "3.4" else "3.5")
            expect(dialog).not_to_contain_text("null")
            count = yard.saves()
            dialog.get_by_role("button", name=choice).click()
            if stands == "3.4":
                yard.wait_saved(count)
            expect(yard.page.locator("#outbox-open")).to_be_hidden()
            settings = SiteStore(sketch).settings()
            assert (settings["start.depth"], settings["start.ground"]) == (stands, "100")
            yard.tab("Locates")


def test_a_file_whose_server_is_gone_says_so(
    tmp_path: Path, keys: Path, context: BrowserContext
) -> None:
    folder = tmp_path / "lot"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("out"))
    with served(folder, keys) as server:
        yard = Yard(context, server.address)
    yard.tab("More")
    # The longest meaning of a position fits in the form, in letters twice as large too.
    yard.page.set_viewport_size({"width": 390, "height": 800})
    yard.page.evaluate("document.documentElement.style.fontSize = '32px'")
    panel = yard.panel().evaluate("one => [one.scrollWidth, one.clientWidth]")
    assert panel[0] <= panel[1]
    points = {"name": "day.csv", "mimeType": "text/csv", "buffer": b"name,lat,lon\nB,43.86,-83.6\n"}
    yard.page.locator("#gnss-file").set_input_files(points)
    expect(yard.panel()).to_contain_text("the file is not read")


def test_the_page_loads_without_its_server_and_keeps_what_is_typed(
    browser: Browser, sketch: Path, keys: Path
) -> None:
    with browser_context(browser, **DESKTOP, service_workers="allow") as context:
        with served(sketch, keys) as server:
            yard = Yard(context, server.address)
            port = int(server.address.rpartition(":")[2])
            expect(not_sent(yard)).to_contain_text("can be loaded again here")
            yard.page.wait_for_function("() => navigator.serviceWorker.controller !== null")
            yard.tab("Locates")
            yard.enter({"footage": "45", "depth": "3"})
        yard.fill({"footage": "45.4", "depth": "3.1"})
        press_save(yard)
        expect(yard.panel().locator(".row.waiting")).to_have_count(1)
        expect(yard.page.locator("#outbox-open")).to_have_text("1 not sent")
        yard.open()
        # The row saved last is there, the next one takes the next mark, and the line is drawn.
        yard.tab("Locates")
        expect(yard.panel().locator("button.row:not(.waiting)")).to_have_count(5)
        form = yard.panel().locator("form").first
        expect(form.locator('[data-field="mark"] input')).to_have_value("G")
        assert yard.page.locator("#map_site path").count() > 5
        # Seen, called back, typed anew, given out, forgotten, taken in.
        box = not_sent(yard)
        expect(box).to_contain_text("footage 45.4")
        box.get_by_role("button", name="Edit").click()
        yard.fill({"footage": "45.6"})
        press_save(yard)
        box = not_sent(yard)
        with yard.page.expect_download() as download:
            box.get_by_role("button", name="Export").click()
        text = download.value.path().read_bytes()
        box.get_by_role("button", name="Forget").click()
        expect(box).to_contain_text("Everything typed and saved here is in the site's folder")
        taken = {"name": "not-sent.json", "mimeType": "application/json", "buffer": text}
        yard.page.locator("#outbox-file").set_input_files(taken)
        expect(box).to_contain_text("footage 45.6")
        foreign = {**taken, "buffer": text.replace(b'"site": "', b'"site": "0')}
        yard.page.locator("#outbox-file").set_input_files(foreign)
        expect(yard.page.locator("#alerts")).to_contain_text("belong to another site")
        with served(sketch, keys, port=port):
            box.get_by_role("button", name="Send now").click()
            wait_until(lambda: marks(sketch)[-1] == "F")
        last = (sketch / "locates.csv").read_text().splitlines()[-1]
        assert last.startswith("F,45.6,3.1")


def test_nothing_but_the_servers_answer_holds_up_what_waits(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    """A drawing that never comes, and a first state that is refused."""

    def never(route: Any) -> None:
        del route

    def refused(route: Any) -> None:
        route.fulfill(status=500, json={"words": "a fault"})

    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        yard.page.route("**/profile*", never)
        for footage in ("45", "46"):
            yard.fill({"footage": footage, "depth": "3"})
            press_save(yard)
            expect(yard.page.locator("#saving")).to_contain_text("Saved")
        expect(yard.page.locator("#outbox-open")).to_be_hidden()
        assert marks(sketch)[-2:] == ["E", "F"]
        yard.page.unroute("**/profile*")
        context.set_offline(True)
        yard.fill({"footage": "47", "depth": "3"})
        press_save(yard)
        expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
        yard.page.route("**/state", refused)
        yard.page.route("**/rows", lambda route: route.abort())
        context.set_offline(False)
        yard.open()
        yard.page.unroute("**/rows")
        expect(yard.page.locator("#outbox-open")).to_be_hidden(timeout=10_000)
    assert marks(sketch)[-1] == "G"


def test_a_page_loaded_again_sends_what_it_kept_before_anything_is_drawn(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    """A drawing that never comes, as from a slow server: its own limit is half a minute."""

    def never(route: Any) -> None:
        del route

    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        context.set_offline(True)
        yard.fill({"footage": "47", "depth": "3"})
        press_save(yard)
        expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
        yard.page.route("**/profile*", never)
        context.set_offline(False)
        yard.page.reload()
        wait_until(lambda: marks(sketch)[-1] == "E", seconds=8.0)
        expect(yard.page.locator("#saving")).to_contain_text("Saved")
        assert yard.page.locator("body[data-ready]").count() == 0
        yard.page.unroute("**/profile*")


def test_a_server_begun_anew_again_and_again_gets_what_is_typed(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as first:
        yard, port = Yard(context, first.address), int(first.address.rpartition(":")[2])
    for mark in "EFG":
        with served(sketch, keys, port=port):
            yard.fill({"footage": "45", "depth": "3"})
            press_save(yard)
            wait_until(lambda mark=mark: marks(sketch)[-1] == mark, seconds=8.0)
            yard.page.wait_for_selector("body[data-ready]")
    assert marks(sketch) == list("ABCDEFG")


def test_two_devices_that_gave_one_mark_out_of_reach_are_told_and_both_rows_kept(
    sketch: Path, keys: Path, browser: Browser, context: BrowserContext
) -> None:
    with (
        served(sketch, keys) as server,
        browser_context(browser, **DESKTOP) as other,
    ):
        yards = [Yard(context, server.address), Yard(other, server.address)]
        for one, depth in zip((context, other), ("3.1", "3.2"), strict=True):
            one.set_offline(True)
            yard = yards[(context, other).index(one)]
            yard.fill({"footage": "45", "depth": depth})
            press_save(yard)
            expect(yard.page.locator("#saving")).to_contain_text("1 kept on this device")
        for one, yard in zip((context, other), yards, strict=True):
            one.set_offline(False)
            yard.look()
            expect(yard.page.locator("#outbox-open")).to_be_hidden(timeout=15_000)
        # Both are in the file; the later one is told of, to be opened and given a name of its own.
        assert [row.split(",")[2] for row in (sketch / "locates.csv").read_text().split()[-2:]] == [
            "3.1", "3.2",
        ]  # fmt: skip
        late = yards[1]
        late.panel().get_by_role("button", name="Open E").first.click()
        expect(late.panel().locator('[data-field="mark"] .fault')).to_contain_text("mark 'E' too")
        late.wait_saved(0)  # else what is waited for next may be the drawing of this save
        late.enter({"mark": "E2"})
        assert marks(sketch)[-2:] == ["E", "E2"]
        expect(late.panel().locator(".row.left-out")).to_have_count(0)


def test_a_proposed_name_moves_on_when_another_device_takes_it_and_a_typed_one_stays(
    sketch: Path, keys: Path, browser: Browser, context: BrowserContext
) -> None:
    """The form is empty, begun or begun and loaded again when the other device's row comes in."""

    def mark(yard: Yard) -> Any:
        return yard.panel().locator('[data-field="mark"] input')

    def taken(mark: str, footage: str) -> None:
        edit = RowEdit({"mark": mark, "footage": footage, "depth": "3"})
        SiteStore(sketch).save_rows(uuid4().hex, "locates.csv", [edit], "there")

    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        expect(mark(yard)).to_have_value("E")
        taken("E", "44.2")
        expect(mark(yard)).to_have_value("F")
        yard.fill({"footage": "44.9", "depth": "3.1"})
        taken("F", "44.4")
        expect(mark(yard)).to_have_value("G")
        expect(yard.panel().locator('[data-field="mark"]')).to_contain_text("F is another row's")
        expect(yard.panel().locator('[data-field="footage"] input')).to_have_value("44.9")
        yard.page.goto("about:blank")
        taken("G", "44.6")
        yard.open()
        expect(mark(yard)).to_have_value("H")
        yard.save()
        assert marks(sketch)[-1] == "H"
        # One typed stays though it is the one that was proposed: it is painted on the ground.
        yard.fill({"mark": "I", "footage": "45", "depth": "3.1"})
        taken("I", "44.7")
        expect(yard.page.locator("#saving")).to_contain_text("Changed elsewhere")
        expect(mark(yard)).to_have_value("I")
        yard.save()
        expect(yard.panel()).to_contain_text("I is saved, but left out")
        assert marks(sketch)[-2:] == ["I", "I"]


def test_a_proposed_name_of_the_plan_moves_on_too(
    sketch: Path, keys: Path, context: BrowserContext
) -> None:
    with served(sketch, keys) as server:
        yard = Yard(context, server.address)
        yard.tab("Plan")
        yard.panel().locator('[data-kind="property_line"]').click()
        name = yard.panel().locator('form [data-field="name"] input')
        expect(name).to_have_value("property line")
        line = {"type": "LineString", "coordinates": [[0, 50], [10, 50]]}
        there = FeatureEdit({"kind": "property_line", "name": "property line"}, line)
        SiteStore(sketch).save_feature(uuid4().hex, there, "there")
        expect(name).to_have_value("property line 2")
