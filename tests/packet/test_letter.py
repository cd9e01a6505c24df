"""The user's own letter: what it may use, and what the sandbox keeps from it."""

from __future__ import annotations

import io
import os
import re
import select
import subprocess
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pdfplumber
import pikepdf
import pytest
from lxml import html as lxml_html
from packet.hostile import contents_of, harm_of, hostile_letters, join_to, small_packet
from packet.pdf_rules import broken_rules
from sheets.builder import line_site

from lateral_map import build_report, load_site
from lateral_map.draw.packet import sandbox
from lateral_map.draw.packet.document import referral_html
from lateral_map.draw.packet.sandbox import enclose_letter, fill_template
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.errors import ExportError, SiteError
from lateral_map.export import packet
from lateral_map.export.own_letter import laid_out_apart, require_whole
from lateral_map.export.packet import PacketOptions, make_packet
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.results import Report
from lateral_map.reading.enclosures import load_letter
from lateral_map.words.utility import letter_facts


def test_a_letter_of_ones_own_takes_the_place_of_the_programs() -> None:
    site = line_site(findings=3)
    gas = replace(site.findings[0], finding="gas pipe through sewer")
    report = build_report(replace(site, findings=(gas, *site.findings[1:])))
    text = (
        "<style>p { color: blue }</style>"
        "<p>Dear {{ party }}, {{ theirs|length }} of {{ total }} lie {{ part }}:</p>"
        "<ul>{% for each in theirs %}<li>{{ each.number }}: {{ each.words }} at {{ each.footage }},"
        "{{ each.position|join(' ') }}</li>{% endfor %}</ul>{{ question }}"
    )
    own = make_packet(report, {}, PacketOptions(letter=("mine.html", text)))["referral.pdf"]
    facts = letter_facts(report, report.letters[0])
    first, second = (
        " ".join(page.extract_text().split()) for page in pdfplumber.open(io.BytesIO(own)).pages[:2]
    )
    # Dangers keep the first page.
    assert first.startswith("STOP")
    assert second.startswith(f"Dear city, {len(facts['theirs'])} of 3 lie past the curb:")
    assert "A camera was run through this lateral" not in first + second
    rest = referral_html(report, report.letters[0], draw_sheets(report), apart=True)
    joined = contents_of(own)
    assert [*joined[:1], *joined[2:]] == contents_of(html_to_pdf(rest))
    assert broken_rules(own) == []
    with pikepdf.open(io.BytesIO(own)) as pdf:
        assert pdf.check_pdf_syntax() == []
        (document,) = pdf.Root.StructTreeRoot.K
        tagged = {int(part.Pg.objgen[0]) for part in document.K}
        assert tagged == {page.obj.objgen[0] for page in pdf.pages}
        numbers = pdf.Root.StructTreeRoot.ParentTree.Nums
        keyed = [int(numbers[k]) for k in range(0, len(numbers), 2)]
        assert len(set(keyed)) == len(keyed)
        assert {int(page.StructParents) for page in pdf.pages} <= set(keyed)


def test_a_packet_that_lacks_a_figure_is_not_written(
    report: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    laid_out = small_packet()
    monkeypatch.setattr(packet, "html_to_pdf", lambda _page, **_how: laid_out)
    with pytest.raises(ExportError, match=r"^the finished packet lacks"):
        make_packet(report, {})
    # Nothing else is laid out beside it here.
    waiting = partial(laid_out_apart, patience_seconds=60.0)
    monkeypatch.setattr(packet, "laid_out_apart", waiting)
    with pytest.raises(SiteError, match=r"mine\.html: .*the finished packet lacks"):
        make_packet(report, {}, PacketOptions(letter=("mine.html", "<p>Hello</p>")))
    require_whole(laid_out, ["Cautions: call first.", "38.1 ft"], 1)
    with pytest.raises(ExportError, match="has 1 of its 2 figures"):
        require_whole(laid_out, [], 2)


@pytest.mark.parametrize(
    "field",
    [
        "site", "date", "run", "sides", "to_lines", "from_lines", "reference", "signature_lines",
        "question", "party", "the_party", "client", "title", "part", "whose", "crosses", "length",
        "reached_main", "ended_at", "crossing", "total", "stop", "seen", "doubts", "dangers",
        "theirs",
        "shared", "close", "record", "theirs_numbers", "shared_numbers", "close_numbers",
        "mapped", "coordinates", "units", "cautions", "suspects", "alternatives",
        "position_head",
    ],
)  # fmt: skip
def test_documented_fields_are_there(report: Report, field: str) -> None:
    facts = letter_facts(report, report.letters[0])
    assert field in facts
    assert field in (
        Path(__file__).parents[2] / "docs" / "how-to" / "refer-to-the-utility.md"
    ).read_text("utf-8")


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("line one\n{{ nobody }}", "'nobody' is undefined"),
        ("{% if %}", "Expected an expression"),
        ("{{ ''.__class__.__mro__ }}", "unsafe"),
        ("{{ theirs.append(1) }}", "unsafe"),
        ("{{ 'a' * 1000000000 }}", "not for letters"),
        ("{{ [1] * 1000000000 }}", "not for letters"),
        ("{{ 9999 ** 9999 }}", "not for letters"),
        ("{% for i in range(10000000) %}x{% endfor %}", "Range too big"),
        ("{% for i in range(90000) %}xxxxxxxxxx{% endfor %}", "more than a letter holds"),
        ("{% include 'other.html' %}", "loader"),
        ("{% import 'os' as os %}", "loader"),
        ("{{ 1 / 0 }}", "division"),
        ("{{ cautions[99] }}", "99"),
        ("{% macro f(n) %}{{ f(n + 1) }}{% endmacro %}{{ f(1) }}", "call themselves"),
    ],
)
def test_a_letter_that_cannot_be_used_is_one_clear_error(
    report: Report, template: str, said: str
) -> None:
    with pytest.raises(SiteError) as refused:
        fill_template(template, letter_facts(report, report.letters[0]))
    (fault,) = refused.value.faults
    assert said in str(fault)


def test_a_letters_fault_is_named_with_its_file_and_row() -> None:
    for text, row, said in (
        ("line one\n{{ nobody }}", 2, "'nobody' is undefined"),
        ("{{ 'a'|center(3000000000) }}", 1, "more memory than"),
    ):
        with pytest.raises(SiteError) as refused:
            lay_out(text, {})
        (fault,) = refused.value.faults
        assert (fault.file, fault.row) == ("mine.html", row)
        assert said in fault.problem


def lay_out(text: str, facts: dict[str, Any]) -> bytes:
    limits = {"most_seconds": 60.0, "patience_seconds": 60.0}
    with laid_out_apart(("mine.html", text), [facts], "", **limits) as wait:
        (pdf,) = wait()
    return pdf


def test_no_file_in_the_folder_worked_in_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "jinja2.py").write_text("raise SystemExit('a trap')")
    monkeypatch.chdir(tmp_path)
    pdf = lay_out("Hello {{ site }}", {"site": "<\ud800>"})
    assert pdfplumber.open(io.BytesIO(pdf)).pages[0].extract_text().startswith("Hello <")


def test_what_the_letter_prints_is_escaped() -> None:
    assert fill_template("{{ reference }}", {"reference": "<i>&"}) == "&lt;i&gt;&amp;"


def test_every_kind_of_harm_is_tried() -> None:
    assert len(hostile_letters()) == 80


@pytest.mark.parametrize(
    "name",
    [
        "a link", "styles: @page { size: 9000in }",
    ],
)  # fmt: skip
def test_a_hostile_letter_harms_nothing_else(name: str) -> None:
    packet = small_packet()
    became, harm = harm_of(
        hostile_letters()[name], contents_of(packet), lambda own: join_to(packet, own, 60.0)
    )
    assert became
    assert harm == ""


def test_a_letter_without_end_is_stopped() -> None:
    without_end = hostile_letters()["template: {% for i in range(99000) %}{% for j in r"]
    became, harm = harm_of(without_end, [], lambda own: join_to(b"", own, 1.0))
    assert re.search(r"not done after \d seconds", became)
    assert harm == ""


def test_a_letter_that_rests_is_waited_for_no_longer_than_is_said(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What a letter works and what it takes by the clock are two things on a busy machine."""
    start = subprocess.Popen
    rests = "import os, time; os.fork(); time.sleep(600)"
    ended, held = os.pipe()

    def resting(command: list[str], **how: Any) -> Any:
        return start([command[0], "-c", rests], pass_fds=[held], **how)

    monkeypatch.setattr("lateral_map.export.own_letter.subprocess.Popen", resting)
    with pytest.raises(SiteError, match="not done after"):
        join_to(b"", ("mine.html", "<p>Hello</p>"), 0.5)
    os.close(held)
    # Nothing of it goes on, that holds the other end.
    assert select.select([ended], [], [], 60.0)[0] == [ended]
    os.close(ended)


@pytest.mark.parametrize(
    "nested",
    [
        "<div>" * 3_000, "<div>" * 60_000, "<div></b>" * 30_000, "<b><i>" * 300,
        "<ul><li>" * 30_000, "<table><tr><td>" * 20_000, "<DIV >" * 30_000,
    ],
    ids=lambda nested: nested[:12],
)  # fmt: skip
def test_a_letter_that_nests_without_end_is_refused_unparsed(
    nested: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sandbox, "tinyhtml5", None)
    with pytest.raises(SiteError, match="nests too deeply"):
        enclose_letter(nested)


def test_a_letter_nested_by_many_kinds_is_refused_once_parsed() -> None:
    with pytest.raises(SiteError, match="nests too deeply"):
        enclose_letter("".join(f"<kind{number}>" for number in range(300)))


def test_the_deepest_letter_taken_can_be_laid_out() -> None:
    kept = enclose_letter("<div>" * 49 + "deep")
    assert html_to_pdf(f"<html lang=en><title>x</title><body>{kept}").startswith(b"%PDF")


@pytest.mark.parametrize("use", ["use", "USE"])
def test_a_drawing_that_doubles_itself_is_refused(use: str) -> None:
    doubled = "".join(
        f"<g id=g{step}><{use} href=#g{step - 1} /><{use} href=#g{step - 1} /></g>"
        for step in range(1, 40)
    )
    letter = f"<svg width=9 height=9><rect id=g0 width=1 height=1 />{doubled}</svg>"
    with pytest.raises(SiteError, match="<use> is not for letters"):
        enclose_letter(letter)


def test_a_long_flat_letter_is_kept_whole() -> None:
    rows = "".join(f"<tr><td>{row}<td><b>roots</b><br>" for row in range(2_000))
    points = "<p>One<li>two" * 500
    logo = f"<svg>{'<path d=M0,0h1 />' * 300}</svg>"
    kept = lxml_html.fromstring(enclose_letter(f"{logo}<table>{rows}</table>{points}"))
    assert len(kept.xpath("//path")) == 300
    assert len(kept.xpath("//tr")) == 2_000
    assert len(kept.xpath("//li")) == 500


@pytest.mark.parametrize(
    "address",
    ["file:///etc/passwd", "https://example.invalid/x.png", "logo.png", "face:../../etc/passwd"],
)
def test_a_letter_fetches_nothing(address: str) -> None:
    with pytest.raises(ExportError, match="not inside it"):
        html_to_pdf(f"<html lang=en><title>x</title><img src='{address}'>")


def test_a_letter_named_in_the_site_is_read_from_its_folder_only(folder: Path) -> None:
    toml = folder / "site.toml"
    (folder / "mine.html").write_text("\ufeffHello {{ site }}", encoding="utf-8")
    toml.write_text(toml.read_text("utf-8") + '\n[referral]\nletter = "mine.html"\n')
    assert load_letter(load_site(folder)) == ("mine.html", "Hello {{ site }}")
    toml.write_text(toml.read_text("utf-8").replace("mine.html", "../../../etc/hostname"))
    with pytest.raises(SiteError, match="not inside the site folder"):
        load_letter(load_site(folder))
    with pytest.raises(SiteError, match="cannot be read"):
        load_letter(load_site(folder), folder / "nowhere.html")
    (folder / "latin.html").write_bytes(b"caf\xe9")
    with pytest.raises(SiteError, match="not UTF-8"):
        load_letter(load_site(folder), folder / "latin.html")
