"""The packet's files: complete and verifiable.

That they are the same bytes when made anew elsewhere is looked at in ``tests/same_bytes``.
"""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
import zipfile
from pathlib import Path

import pikepdf
import pytest
from packet.pdf_rules import broken_rules, elements_of
from paper import page_letters, page_texts
from playwright.sync_api import Browser

from lateral_map import build_report, load_site
from lateral_map.errors import ExportError
from lateral_map.export.packet import MANIFEST, make_sheet
from lateral_map.export.registry import make_referral
from lateral_map.model.results import Report
from lateral_map.words.utility import letter_facts

DEMOS = Path(__file__).parents[2] / "demo_sites"


@pytest.fixture(scope="module")
def packet() -> dict[str, bytes]:
    report = build_report(load_site(DEMOS / "garage_slab"))
    return make_referral(report, also=("dxf",))


def test_the_archive_holds_all_of_it_and_its_sums_are_right(packet: dict[str, bytes]) -> None:
    assert list(packet) == ["referral.pdf", "owner.html", "owner.pdf", "referral.zip"]
    archive = zipfile.ZipFile(io.BytesIO(packet["referral.zip"]))
    assert archive.testzip() is None
    assert set(archive.namelist()) == {
        "referral.pdf", "map.html", "route.gpkg", "result.json", "route.dxf", MANIFEST,
    }  # fmt: skip
    lines = archive.read(MANIFEST).decode().splitlines()
    assert len(lines) == 5
    for line in lines:
        sum_, name = line.split("  ")
        assert hashlib.sha256(archive.read(name)).hexdigest() == sum_
    assert archive.read("referral.pdf") == packet["referral.pdf"]


@pytest.mark.parametrize("name", ["referral.pdf", "owner.pdf"])
def test_no_rule_of_structure_is_broken(packet: dict[str, bytes], name: str) -> None:
    assert broken_rules(packet[name]) == []


def test_a_broken_rule_is_found(packet: dict[str, bytes]) -> None:
    with pikepdf.open(io.BytesIO(packet["referral.pdf"])) as pdf:
        del pdf.Root.Lang
        del pdf.Root.OutputIntents
        for element, _ in elements_of(pdf):
            if "/Alt" in element:
                del element["/Alt"]
        foot = pdf.pages[0].Contents.read_bytes()
        assert foot.count(b"/Artifact\n<</Type /Pagination>>") == 2  # whose it is, and the page
        foot = foot.replace(b"/Artifact\n<</Type /Pagination>>", b"/Span\n<</MCID 9999>>")
        pdf.pages[0].Contents = pdf.make_stream(foot)
        saved = io.BytesIO()
        pdf.save(saved)
    found = {rule.split(":")[0] for rule in broken_rules(saved.getvalue())}
    assert found == {"A 6.2.3", "UA 7.2", "UA 7.3", "UA 7.1", "UA 7.8"}


@pytest.mark.parametrize("name", ["referral", "nothing"])
def test_an_archive_holds_no_archive(report: Report, name: str) -> None:
    with pytest.raises(ExportError, match=f"'{name}' cannot go into the archive"):
        make_referral(report, also=(name,))


def test_sha256sum_agrees(packet: dict[str, bytes], tmp_path: Path) -> None:
    zipfile.ZipFile(io.BytesIO(packet["referral.zip"])).extractall(tmp_path)
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", MANIFEST],
        cwd=tmp_path, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout


def test_the_referrals_pages_read_and_carry_nothing_twice(packet: dict[str, bytes]) -> None:
    pages, texts = page_letters(packet["referral.pdf"]), page_texts(packet["referral.pdf"])
    text = " ".join("".join(texts).split())
    report = build_report(load_site(DEMOS / "garage_slab"))
    assert letter_facts(report, report.letters[0])["question"] in text
    for number, (page, said) in enumerate(zip(pages, texts, strict=True), 1):
        # The drawings count, but their own frame says which sheet one is.
        numbered = f"Page {number} of {len(pages)}" in said
        assert numbered == (page.width_pt < page.height_pt)
        assert page.overprinted() == []
        # Nothing runs off the paper.
        assert page.box_pt[:, 0].min() > 0.0
        assert page.box_pt[:, 2].max() < page.width_pt
        assert page.box_pt[:, 3].max() < page.height_pt


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_the_owners_page_stands_alone_in_a_browser(
    packet: dict[str, bytes], tmp_path: Path, browser: Browser, width: int
) -> None:
    file = tmp_path / "owner.html"
    file.write_bytes(packet["owner.html"])
    asked: list[str] = []
    complaints: list[str] = []
    page = browser.new_page(viewport={"width": width, "height": 800})
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator(".card").count() == 10
    assert page.locator(".drawing").bounding_box()["width"] <= width
    # The whole picture is seen without being pushed sideways, in letters that read.
    assert page.locator(".drawing").evaluate("shown => shown.scrollWidth <= shown.clientWidth")
    letters = page.locator("svg text").evaluate_all(
        """all => all.map(text => {
            const { a, b } = text.getScreenCTM();
            return parseFloat(getComputedStyle(text).fontSize) * Math.hypot(a, b);
        })"""
    )
    assert letters
    assert min(letters) > 11.9
    page.close()
    assert asked == [file.as_uri()]
    assert complaints == []


def test_without_pango_the_error_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, report: Report
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(ExportError, match=r"apt-get install libpango-1\.0-0"):
        make_sheet(report)
