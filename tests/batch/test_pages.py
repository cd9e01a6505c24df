"""The summary and the overview of a programme, as an office opens them on a screen or a phone."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote, unquote

import geopandas as gpd
import pdfplumber
import pytest
from batch.programme import write_programme
from playwright.sync_api import Browser, Page

import lateral_map.batch.run as running
import lateral_map.batch.solve as solving
from lateral_map.batch.engine import Engine
from lateral_map.batch.gather import Gathered, Reasons
from lateral_map.batch.run import Batch, run_batch
from lateral_map.batch.solve import Asked
from lateral_map.batch.summary import summary_page
from lateral_map.words.programme import WORKER_DIED

SCREENS = ((1400, 900), (390, 844))
# A folder's name that an address, a page or a script would take for its own.
ODD = '<b>odd & "quoted" #folder%20?\''


@pytest.fixture(scope="module")
def out(tmp_path_factory) -> Path:
    """The files of a programme of sites with a place, sketches and damaged ones, solved here."""
    from concurrent.futures import ThreadPoolExecutor

    root = tmp_path_factory.mktemp("pages")
    folders = write_programme(root, 10)
    shutil.copytree(folders[2], root / ODD)
    (root / ODD / "findings.csv").write_bytes((folders[2] / "findings.csv").read_bytes() + b"\n")
    for seed, name in ((0, "spoilt"), (1, "spoilt too"), (2, "otherwise")):
        shutil.copytree(folders[seed], root / name)
        damaged, text = (
            ("locates.csv", f"mark,footage,depth\nA,1,{seed}x\n") if seed < 2 else ("site.toml", "")
        )
        (root / name / damaged).write_text(text)

    @contextmanager
    def engine(_: int) -> Iterator[Engine]:
        with ThreadPoolExecutor(1) as pool:
            yield Engine(1, lambda: pool)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(running, "local_engine", engine)
        run_batch(Batch(Asked(str(root)), root / "out"), lambda *_: None)
    return root / "out"


@pytest.fixture(scope="module", params=SCREENS, ids=lambda size: f"{size[0]} wide")
def page(request, browser: Browser) -> Iterator[Page]:
    wide, high = request.param
    page = browser.new_page(viewport={"width": wide, "height": high})
    yield page
    page.close()


def cells_of(page: Page, part: str) -> list[list[str]]:
    """The rows of the first table below a heading, as text."""
    script = """part => { let at = document.getElementById(part);
        while (!at.querySelector("tbody")) at = at.nextElementSibling;
        return [...at.querySelectorAll("tbody tr")].map(row =>
            [...row.children].map(cell => cell.textContent)); }"""
    return list(page.evaluate(script, part))


def test_lists_are_ranked_by_severity_then_probability(out):
    """Told apart from the layer by pandas; the page's order may break no tie the other way."""
    findings = gpd.read_parquet(out / "findings.parquet")
    findings["weight"] = findings["severity"].map({"severe": 3, "moderate": 2, "minor": 1})
    findings["weight"] = findings["weight"].fillna(0)
    judged = findings["verdict"].notna()
    findings["chance"] = findings["probability_past"].where(judged).fillna(0.0)
    past = findings["verdict"].isin(["past", "across", "past from within"])
    lists = {
        "dangers": findings[findings["class"] == "danger"],
        "past": findings[(findings["class"] == "defect") & past],
    }
    text = (out / "summary.html").read_text("utf-8")
    for part, found in lists.items():
        ranked = found.sort_values(["weight", "chance"], ascending=False)
        assert len(ranked), part
        between = text.split(f'id="{part}"')[1].split("<h2")[0]
        rows = between.split("<tr>")[2:]
        assert len(rows) == min(len(ranked), 200)
        for row, (_, one) in zip(rows, ranked.iterrows(), strict=False):
            assert f"<td>{one['severity'] or ''}</td>" in row
        told = sorted(row.split("#site=")[1].split('"')[0] for row in rows)
        assert len(ranked) > 200 or [unquote(one) for one in told] == sorted(ranked["site"])


def test_sites_of_the_same_ground_are_told_with_where_all_are_named(out):
    with (out / "same_ground.csv").open(encoding="utf-8-sig", newline="") as file:
        (shared,) = csv.DictReader(file)
    assert {shared["site"], shared["other"]} == {ODD, "district 0/lot 2"}
    assert float(shared["share"]) == 1.0
    text = (out / "summary.html").read_text("utf-8").split('id="twice"')[1]
    assert "2 sites hold ground that another one holds" in text
    assert 'href="same_ground.csv"' in text
    row = text.split("<tr>")[-1]
    assert quote(ODD, safe="") in row
    assert "100 %" in row


@pytest.mark.browser
def test_every_part_of_the_overview_can_be_reached(out, page):
    page.goto((out / "overview.html").as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    page.fill("#search", "lot")
    page.wait_for_selector("#hits button")
    page.click("#hits button")
    for part in ("#search", "#picked-title", "#picked-findings", "#classes button"):
        place = page.locator(part)
        place.scroll_into_view_if_needed()
        reached = place.evaluate(
            """part => { const at = part.getBoundingClientRect();
            const top = document.elementFromPoint(at.left + 5, at.top + 5);
            return part.contains(top) || top.contains(part); }"""
        )
        assert reached, part
    sideways = page.evaluate("document.documentElement.scrollWidth > innerWidth")
    assert not sideways


@pytest.mark.browser
def test_no_list_of_the_summary_is_read_sideways(out, page):
    page.goto((out / "summary.html").as_uri())
    cut = page.evaluate(
        """() => [...document.querySelectorAll(".scroll")]
        .filter(one => one.scrollWidth > one.clientWidth).map(one => one.textContent)"""
    )
    assert not cut
    rows = cells_of(page, "past")
    assert rows
    assert all(len(row) == 8 for row in rows)


def test_names_stand_in_full_and_a_danger_with_the_note_that_tells_of_it():
    """Roots are no danger: what the note says bores through them is."""
    name, party = "the long low house " * 6, "the joint sanitary sewer improvement district " * 2
    told = {
        "site": "a", "name": name, "placed": True, "finding": "roots", "class": "danger",
        "note": "gas line bored through the pipe", "footage": 7.0, "depth_to_invert": 5.0,
        "depth_sd": 0.1, "severity": "severe", "verdict": "past", "line": f"curb of {party}",
        "probability_past": 0.99, "answers": party, "may_answer": "",
    }  # fmt: skip
    totals = Gathered(unit="ft", crs="EPSG:4326", spreads={})
    totals.dangers.add((1.0,), told)
    totals.failed.add((0.0,), {"site": "b", "state": "refused", "why": "no row"})
    said = " ".join(summary_page(totals, "all").split())
    assert "roots (gas line bored through the pipe)" in said
    for words in (name.strip(), party.strip(), "1 site; "):
        assert words in said
    assert "more characters" not in said


@pytest.mark.browser
def test_the_printed_overview_is_one_page_that_holds_what_was_in_view(out, page):
    page.goto((out / "overview.html").as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    page.evaluate(
        """() => { const fit = L.Map.prototype.fitBounds;
        L.Map.prototype.fitBounds = function (seen, ...how) { fit.call(this, seen, ...how);
            window.holds = [this.getSize().x, this.getBounds().contains(seen)]; return this; }; }"""
    )
    with pdfplumber.open(io.BytesIO(page.pdf(format="A4"))) as document:
        (paper,) = document.pages
        said = paper.extract_text()
    width, holds = page.evaluate("window.holds")
    assert holds
    assert width == pytest.approx(186 / 25.4 * 96, abs=4)
    assert "call before you dig" in said
    assert "Find a site" not in said


@pytest.mark.browser
def test_links_to_sites_hold_where_the_folder_is_moved(out, page, tmp_path):
    moved = tmp_path / "sent by mail #1"
    shutil.copytree(out, moved)
    page.goto((moved / "summary.html").as_uri())
    links = page.evaluate(
        """() => [...document.querySelectorAll("td:first-child a")]
        .map(one => [one.href, one.parentElement.querySelector("small span")?.textContent])"""
    )
    folders = {folder for _, folder in links if folder}
    assert ODD in folders
    sites = gpd.read_parquet(out / "sites.parquet").set_index("site")
    assert sites.loc[sorted(folders)].geometry.isna().any()  # sketches are found, too
    for href, folder in dict(links).items():
        assert href.startswith(moved.as_uri())
        if folder:
            page.goto(href)
            page.wait_for_selector("html[data-ready=yes]")
            assert folder in page.inner_text("#picked-rows")
            assert page.inner_text("#picked-title") == sites.loc[folder, "name"]
    page.goto(f"{(moved / 'overview.html').as_uri()}#site=nowhere")
    page.reload()
    assert "nowhere is not among the sites" in page.inner_text("#hits")
    page.goto((moved / "summary.html").as_uri())
    for href in page.evaluate("[...document.querySelectorAll('nav a')].map(one => one.hash)"):
        assert page.query_selector(f"h2{href}"), href


@pytest.mark.browser
def test_failed_sites_are_told_with_what_to_do(out, page):
    page.goto((out / "summary.html").as_uri())
    (shared,) = cells_of(page, "failed")
    assert shared[1] == "2"
    assert "'0x'" in shared[0]  # the words of one of them, whole
    assert "#" not in shared[0]
    failed = page.inner_text("table:has(td.lines)")
    for name in ("spoilt", "spoilt too", "otherwise"):
        assert name in failed


@pytest.mark.parametrize(
    "error",
    [solving._OutOfTimeError(), MemoryError(), PermissionError(13, "no", "a.csv"), ValueError()],
    ids=lambda one: type(one).__name__,
)
def test_why_a_site_failed_ends_with_what_to_do(error):
    _, why = solving._failure(Asked("/"), error)
    assert "; " in why
    assert "; " in WORKER_DIED


def test_reasons_alike_are_one_in_the_words_of_the_first():
    reasons = Reasons()
    for row in range(3):
        reasons.add(f"locates.csv row {row}, depth: '{row}x' is not a length; write 7'6\"")
    reasons.add("site.toml: it is missing")
    assert reasons.shared() == [("locates.csv row 0, depth: '0x' is not a length; write 7'6\"", 3)]
    for number in range(5_000):  # every site its own: what is held stays bounded
        reasons.add("".join(chr(97 + int(digit)) for digit in str(number)))
    assert reasons.shared()[0][1] == 3


def test_the_overview_holds_every_solved_site_once(out):
    text = (out / "overview.html").read_text("utf-8")
    data = json.loads(text.split('id="data">')[1].split("</script>")[0])
    sites = gpd.read_parquet(out / "sites.parquet").set_index("site")
    solved = sites[sites["state"] == "solved"]
    assert sorted(one[0] for one in data["sites"]) == sorted(solved.index)
    for one in data["sites"]:
        assert (one[3] is None) == (solved.loc[one[0]].geometry is None)
        assert len(one[7]) == solved.loc[one[0], "findings"]
