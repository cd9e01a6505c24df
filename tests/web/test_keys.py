"""Every flow of the entry page by keyboard alone: the pointer is never used, nor a focus set.

What has the focus must be seen (no bar over it) and must never be the bare page after a change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from painted import Painted, lot_with
from playwright.sync_api import Browser, expect
from web.yard import DESKTOP, Yard, browser_context, served

from lateral_map.reading.folder import load_site
from lateral_map.web import serve
from lateral_map.web.store import SettingEdit, SiteStore

pytestmark = pytest.mark.browser
# Asked at every stop of the Tab key, so it looks at no layout.
_STOP = """() => {
  const one = document.activeElement;
  const byIds = (one.getAttribute("aria-labelledby") || "").split(" ")
    .map((id) => document.getElementById(id)?.textContent || "").join(" ");
  const labels = [...(one.labels || [])].map((label) => label.textContent).join(" ");
  const own = one.tagName === "BODY" ? "" : one.textContent;
  const name = one.getAttribute("aria-label") || labels || byIds || own || "";
  return {
    tag: one.tagName, id: one.id, name: name.replace(/\\s+/g, " ").trim().slice(0, 200),
    field: one.closest("[data-field]")?.dataset.field || "",
  };
}"""
_SEEN = """() => {
  const one = document.activeElement;
  const box = one.getBoundingClientRect();
  const at = [Math.min(Math.max(box.x + box.width / 2, 0), innerWidth - 1),
              Math.min(Math.max(box.y + box.height / 2, 0), innerHeight - 1)];
  const hit = document.elementFromPoint(...at);
  const seen = Boolean(hit) && (one.contains(hit) || hit.contains(one));
  return (seen || one.id === "profile-slider") && getComputedStyle(one).outlineStyle !== "none";
}"""
_MOST_STOPS = 260
_NAME = 200  # letters of a name that are compared


class Hands:
    """Somebody who has a keyboard and no pointer."""

    def __init__(self, yard: Yard) -> None:
        self.yard, self.page = yard, yard.page
        self.unseen: set[str] = set()

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def stop(self) -> dict[str, Any]:
        return self.page.evaluate(_STOP)

    def to(self, name: str = "", *, field: str = "", id: str = "") -> dict[str, Any]:  # noqa: A002
        """Go by Tab to what is called so, or is a field's, or has an id."""
        passed = []
        for _ in range(_MOST_STOPS):
            now = self.stop()
            matches = (
                (not name or now["name"] == name or now["name"].startswith(f"{name},"))
                and (not field or now["field"] == field)
                and (not id or now["id"] == id)
            )
            if matches and now["tag"] != "BODY":
                if not self.page.evaluate(_SEEN):
                    self.unseen.add(f"{now['tag']} {now['name']} {now['field']}")
                return now
            passed.append(now["name"] or now["tag"])
            self.press("Tab")
        raise AssertionError(f"Tab never comes to {name}{field}{id}: {passed[-60:]}")

    def do(self, name: str = "", *, id: str = "") -> None:  # noqa: A002
        self.to(name, id=id)
        self.press("Enter")

    def tab(self, name: str) -> None:
        """Open one of the tabs, which may show how many rows it has."""
        for _ in range(_MOST_STOPS):
            now = self.page.evaluate(
                "document.activeElement.dataset.tab && document.activeElement.textContent"
            )
            if now and now.startswith(name):
                self.press("Enter")
                self.here()
                return
            self.press("Tab")
        raise AssertionError(f"Tab never comes to the tab {name}")

    def type(self, field: str, text: str) -> None:
        self.to(field=field)
        if self.stop()["tag"] == "SELECT":
            self.page.keyboard.type(text)
        elif self.stop()["tag"] == "BUTTON":  # one of a few words
            self.to(text, field=field)
            self.press("Enter")
        else:
            self.press("Control+a")
            self.page.keyboard.type(text)

    def here(self) -> None:
        """What was worked on has not dropped the focus onto the bare page."""
        self.page.wait_for_function("() => document.activeElement !== document.body", timeout=3_000)

    def saved(self, act: Callable[[], object]) -> None:
        before = self.yard.saves()
        act()
        self.yard.wait_saved(before)
        self.here()

    def done(self) -> None:
        assert self.unseen == set()
        assert self.yard.complaints == []


@pytest.fixture
def hands(browser: Browser, sketch: Path, keys: Path) -> Iterator[Hands]:
    with served(sketch, keys) as server, browser_context(browser, **DESKTOP) as context:
        yield Hands(Yard(context, server.address))


def test_a_site_from_nothing(browser: Browser, tmp_path: Path, keys: Path) -> None:
    """Settings, a point, a line drawn on the map, the sketch, pipe, boundary, every table."""
    folder = tmp_path / "yard"
    folder.mkdir()
    with served(folder, keys) as server, browser_context(browser, **DESKTOP) as context:
        hands = Hands(Yard(context, server.address))
        hands.press("Tab", "Enter")  # past the head of the page
        hands.type("name", "By keys")
        hands.saved(lambda: hands.do("Begin this site"))
        hands.tab("Plan")
        for name, x, y in (("corner", "2", "9"), ("post", "30", "8")):
            hands.do("Reference point")
            hands.type("name", name)
            hands.do("x and y")
            hands.type("x", x)
            hands.type("y", y)
            hands.do("Take this place")
            hands.saved(lambda: hands.do("Add reference point"))
        hands.do("Curb")
        hands.do("Tap on the map")
        hands.press("Enter", "ArrowRight", "ArrowRight")
        hands.page.wait_for_function("() => !map_site._panAnim?._inProgress")
        hands.press("Enter", "f")
        hands.here()
        hands.saved(lambda: hands.do("Add curb"))
        hands.tab("Site")
        hands.type("end_footage", "40")
        hands.do("Footage counter")
        hands.type("zero", "0.5")
        hands.saved(lambda: hands.do("Save settings"))
        hands.do("Add a pipe run")
        hands.type("material", "clay")
        hands.type("size", "6")
        hands.saved(lambda: hands.do("Add"))
        hands.do("Add a boundary")
        hands.type("line", "curb")
        hands.type("inside", "owner")
        hands.type("outside", "city")
        hands.to(field="decides")
        hands.press("Space")
        hands.saved(lambda: hands.do("Add"))
        hands.tab("Locates")
        hands.type("footage", "12")
        hands.type("depth", "4'2\"")
        hands.type("tape1_from", "corner")
        hands.type("tape1", "13")
        hands.type("tape2_from", "post")
        hands.type("tape2", "19.5")
        hands.saved(lambda: hands.press("Enter"))
        assert hands.stop()["field"] == "footage"  # on to the next
        hands.tab("Bends")
        hands.type("footage", "20")
        hands.do("22.5° left")
        hands.saved(lambda: hands.do("Save bend"))
        hands.tab("Findings")
        hands.type("footage", "25")
        hands.type("finding", "roots")
        hands.type("severity", "minor")
        hands.saved(lambda: hands.do("Save finding"))
        hands.done()
    site = load_site(folder)
    assert {point.name for point in site.plan.points} == {"corner", "post"}
    assert [line.name for line in site.plan.lines] == ["curb"]
    assert [len(one.ties) for one in site.locates] == [2]
    assert site.bends[0].turn_deg == -22.5
    assert site.findings[0].finding == "roots"
    assert site.pipes[0].material == "clay"
    assert site.boundaries[0].decides


def test_rows_are_changed_set_aside_undone_and_done_again(hands: Hands, sketch: Path) -> None:
    table = sketch / "locates.csv"
    before = table.read_bytes()

    def open_row(mark: str) -> None:
        for _ in range(_MOST_STOPS):
            if hands.page.evaluate(
                "(mark) => document.activeElement.matches('.row')"
                " && document.activeElement.querySelector('strong')?.textContent === mark", mark
            ):  # fmt: skip
                return hands.press("Enter")
            hands.press("Tab")
        raise AssertionError(mark)

    hands.tab("Locates")
    open_row("B")
    hands.type("note", "by keys") if hands.page.locator(
        '[data-field="note"] input:visible'
    ).count() else hands.do("More")
    hands.type("note", "by keys")
    hands.saved(lambda: hands.do("Save the change"))
    assert b"by keys" in table.read_bytes()
    open_row("B")
    hands.saved(lambda: hands.do("Set aside"))
    open_row("B")
    hands.saved(lambda: hands.do("Use it again"))
    open_row("B")
    hands.do("Cancel")
    hands.here()
    for _ in range(3):
        hands.to(id="undo-last")
        hands.saved(lambda: hands.press("Enter"))
    assert table.read_bytes() == before
    hands.tab("More")
    # What was taken back last is done again first.
    again = hands.page.locator(".history .undone button").last.get_attribute("aria-label")
    hands.saved(lambda: hands.do(again))
    assert table.read_bytes() != before
    hands.tab("Plan")
    hands.press("Tab")
    name = hands.page.locator('[data-section="rows"] .row strong').first.inner_text()
    open_row(name)
    hands.saved(lambda: hands.do("Take out of the plan"))
    hands.tab("Site")
    open_row("0.0 ft")
    hands.saved(lambda: hands.do("Take out"))
    hands.tab("Sketch")
    hands.type("what", "tape")
    hands.type("from", "house corner A")
    hands.type("to", "hydrant")
    hands.type("distance", "30")
    hands.saved(lambda: hands.do("Save row of the sketch"))
    assert "house corner A" in (sketch / "sketch.csv").read_text()
    hands.done()


def test_answers_are_given(hands: Hands, sketch: Path) -> None:
    """A row both changed, another program's save, what could not be sent."""
    page = hands.page
    table = sketch / "locates.csv"

    def change(mark: str, depth: str) -> None:
        hands.tab("Locates")
        row = page.locator("button.row").filter(has=page.locator(f"strong:text-is('{mark}')"))
        words = " ".join(row.inner_text().split())
        for _ in range(_MOST_STOPS):
            if page.evaluate("(one) => document.activeElement === one", row.element_handle()):
                break
            hands.press("Tab")
        assert words
        hands.press("Enter")
        hands.type("depth", depth)

    # Both changed one field: the page asks, the dialog is left by its own buttons or Escape.
    change("B", "3.3")
    table.write_text(table.read_text().replace(_row(table, "B"), _row(table, "B", depth="9.9")))
    hands.do("Save the change")
    expect(page.locator("#ask")).to_be_visible()
    hands.saved(lambda: hands.do("Save mine over it"))
    assert _row(table, "B").split(",")[2] == "3.3"
    # Another program wrote over it.
    table.write_text(table.read_text().replace(_row(table, "B"), _row(table, "B", depth="7.7")))
    page.evaluate("window.dispatchEvent(new Event('online'))")  # it looks now, not when next due
    expect(page.locator("[data-outside]")).to_be_visible(timeout=10_000)
    hands.saved(lambda: hands.do("Put mine back"))
    assert _row(table, "B").split(",")[2] == "3.3"
    # The server is out of reach: kept, seen, edited, forgotten, sent.
    page.context.set_offline(True)
    change("C", "3.1")
    hands.do("Save the change")
    expect(page.locator("#outbox-open")).to_be_visible()
    hands.do(id="outbox-open")
    hands.here()
    words = page.locator(".outbox-row span").first.inner_text()
    hands.do(f"Edit: {words}")
    hands.here()
    hands.type("depth", "3.15")
    hands.do("Save the change")
    hands.do(id="outbox-open")
    hands.do("Send now")
    hands.here()
    before = hands.yard.saves()
    page.context.set_offline(False)
    hands.yard.wait_saved(before)
    assert _row(table, "C").split(",")[2] == "3.15"
    page.context.set_offline(True)
    change("A", "3.9")
    hands.do("Save the change")
    hands.do(id="outbox-open")
    words = page.locator(".outbox-row span").first.inner_text()
    hands.do(f"Forget: {words}")
    hands.here()
    expect(page.locator("#outbox-open")).to_be_hidden()
    page.context.set_offline(False)
    assert _row(table, "A").split(",")[2] == "3.3"
    assert hands.unseen == set()


def _row(table: Path, mark: str, depth: str | None = None) -> str:
    line = next(one for one in table.read_text().splitlines() if one.startswith(f"{mark},"))
    cells = line.split(",")
    if depth is not None:
        cells[2] = depth
    return ",".join(cells)


def test_map_profile_and_what_the_readings_say(hands: Hands) -> None:
    page = hands.page
    zoom = "map_site.getZoom()"
    hands.to(id="map_site")
    before = page.evaluate(zoom)
    hands.press("+")
    page.wait_for_function(f"(before) => {zoom} > before", arg=before)
    hands.do(id="north-up")
    assert page.evaluate("lateralMap.page.plane.turnDeg") == 0
    hands.do(id="whole-site")
    hands.do(id="measure")
    hands.press("Enter", "ArrowRight")
    page.wait_for_function("() => !map_site._panAnim?._inProgress")
    hands.press("Enter")
    expect(page.locator("#measured")).to_contain_text("in all")
    hands.press("Escape")
    expect(page.locator("#measured")).to_be_hidden()
    # The marks are one stop; the arrows go from one to the next; Enter tells of it.
    for _ in range(_MOST_STOPS):
        if page.evaluate("document.activeElement.matches('.mark')"):
            break
        hands.press("Tab")
    hands.press("ArrowRight", "Enter")
    expect(page.locator("#detail")).to_be_visible()
    title = page.locator("#detail-title").inner_text()
    assert title == page.evaluate("document.activeElement.getAttribute('aria-label')")
    hands.press("Escape")
    expect(page.locator("#detail")).to_be_hidden()
    hands.to(id="profile-slider")
    hands.press("ArrowRight", "End", "Home")
    expect(page.locator("#readout")).to_contain_text("Depth to invert")
    show = page.locator("#says-list button").first.get_attribute("aria-label")
    hands.do(show)
    hands.here()
    hands.to(id="layer-locates")
    hands.press("Space")
    assert not page.evaluate("map_site.hasLayer(lateralMap.page.groups.locates)")
    for _ in range(_MOST_STOPS):
        if page.evaluate("document.activeElement.matches('#results > summary')"):
            break
        hands.press("Tab")
    hands.press("Enter")
    expect(page.locator("#tables table").first).to_be_visible()
    hands.press("Tab", "Enter")  # the first of its rows points at the line
    hands.here()
    hands.done()


def test_a_slip_is_taken_so_checked_and_taken_back(hands: Hands, sketch: Path) -> None:
    hands.tab("Locates")
    if not hands.page.locator('[data-field="past"] input:visible').count():
        hands.do("Plan line")
    misread = {"footage": "45", "depth": "3", "tape1_from": "hydrant", "tape1": "33 ft 2 in",
               "line": "curb", "past": "12.5"}  # fmt: skip
    for field, text in misread.items():
        hands.type(field, text)
    hands.saved(lambda: hands.press("Enter"))
    site = sketch / "site.toml"
    before = site.read_bytes()

    def press(words: str) -> None:
        button = hands.page.get_by_role("button", name=words).first
        hands.saved(lambda: hands.do(button.get_attribute("aria-label")[:_NAME]))

    press("Take it so: Most probably locate E past")
    press("I have checked it: Taken so")
    assert b"checked = true" in site.read_bytes()
    press("Take it back: Taken so")
    assert site.read_bytes() == before
    hands.done()


def test_files_go_out_and_come_in(
    browser: Browser, tmp_path: Path, keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files made from it, a GNSS file, a picture with a line traced on it, a device's link."""
    monkeypatch.setattr(serve, "network_address", lambda: "127.0.0.2")
    painted = Painted()
    folder = lot_with(tmp_path / "lot", "")
    (folder / "aerial.jgw").write_text(painted.world_file())
    (folder / "aerial.jpg").write_bytes(painted.bytes())
    gnss = tmp_path / "points.csv"
    gnss.write_text("name,lat,lon\nA,43.86003,-83.61995\n")
    with (
        served(folder, keys, share=True) as server,
        browser_context(browser, ignore_https_errors=True, **DESKTOP) as context,
    ):
        assert server.new_link is not None
        joining = context.new_page()
        joining.goto(server.new_link())
        joining.keyboard.press("Tab")
        joining.keyboard.press("Enter")
        joining.wait_for_selector("body[data-ready]")
        joining.close()
        hands = Hands(Yard(context, server.address))
        page = hands.page
        hands.tab("More")
        with page.expect_download() as download:
            for _ in range(_MOST_STOPS):
                if hands.stop()["name"].startswith("locates"):
                    break
                if hands.stop()["name"].startswith("result.json"):
                    break
                hands.press("Tab")
            hands.press("Enter")
        assert download.value.suggested_filename
        hands.here()
        hands.to(id="gnss-file")
        with page.expect_file_chooser() as chooser:
            hands.press("Space")
        chooser.value.set_files(gnss)
        expect(page.get_by_label("A", exact=True)).to_be_visible()
        hands.saved(lambda: hands.do("Take these positions"))
        hands.do("Make a link")
        expect(page.locator(".address")).to_be_visible()
        hands.here()
        hands.tab("Site")
        hands.do("A picture underneath")
        hands.type("file", "aerial.jpg")
        hands.type("accuracy", "1.5")
        hands.saved(lambda: hands.do("Save settings"))
        expect(page.locator(".underlay")).to_have_count(1)
        hands.to(id="picture-opacity")
        hands.press("End")
        assert page.evaluate("lateralMap.page.opacity") == 1
        hands.tab("Plan")
        hands.do("Utility")
        hands.type("utility", "gas")
        hands.do("Tap on the map")
        hands.press("Enter", "ArrowRight", "ArrowRight")
        page.wait_for_function("() => !map_site._panAnim?._inProgress")
        hands.press("Enter", "f")
        hands.here()
        hands.saved(lambda: hands.do("Add utility"))
        assert "traced on" in (folder / "plan.geojson").read_text()
        hands.tab("More")
        turn_out = page.locator('button[aria-label^="Turn out"]').get_attribute("aria-label")
        hands.done()
        with page.expect_response("**/turn-out"):
            hands.do(turn_out)
        # Asked beside the page, which loads again as soon as it finds itself turned out.
        assert context.request.get(f"{server.address}/state").status == 401


def test_a_setting_both_changed_is_answered(hands: Hands, sketch: Path) -> None:
    site = sketch / "site.toml"
    hands.tab("Site")
    hands.type("name", "mine")
    store = SiteStore(sketch)
    seen = store.settings()["site.name"]
    store.save_settings("c" * 32, [SettingEdit("site.name", "theirs", seen)], "there")
    hands.do("Save settings")
    dialog = hands.page.locator("#ask")
    expect(dialog.locator("tbody")).to_contain_text("theirs")
    expect(dialog.locator("tbody")).to_contain_text("mine")
    hands.saved(lambda: hands.do("Save mine over it"))
    assert 'name = "mine"' in site.read_text()
    assert hands.unseen == set()


def test_the_devices_place_is_taken_and_a_photograph_named(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = lot_with(tmp_path / "lot", "")
    photograph = tmp_path / "seen.jpg"
    photograph.write_bytes(Painted().bytes())
    place = {"latitude": 43.86003, "longitude": -83.61995, "accuracy": 4.53}
    with (
        served(folder, keys) as server,
        browser_context(
            browser, geolocation=place, permissions=["geolocation"], **DESKTOP
        ) as context,
    ):
        hands = Hands(Yard(context, server.address))
        hands.tab("Locates")
        hands.type("footage", "31")
        hands.type("depth", "4")
        if not hands.page.locator('[data-field="lat"] input:visible').count():
            hands.do("Position")
        hands.do("This device's position")
        expect(hands.page.get_by_role("button", name="Use this position")).to_be_visible()
        hands.do("Use this position")
        expect(hands.page.locator('[data-field="lat"] input')).to_have_value("43.86003000")
        hands.here()
        hands.saved(lambda: hands.do("Save locate"))
        assert "43.86003000,-83.61995000,3.00 m" in (folder / "locates.csv").read_text()
        hands.tab("Findings")
        hands.type("footage", "25")
        with hands.page.expect_file_chooser() as chooser:
            hands.do("Add a photograph")
        chooser.value.set_files(photograph)
        expect(hands.page.locator(".tool [role=status]")).to_contain_text("among the site's")
        hands.here()
        assert [path.name for path in (folder / "photographs").iterdir()] == ["25.jpg"]
        hands.done()
