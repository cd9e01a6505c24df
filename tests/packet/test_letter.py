"""The user's own letter: what it may use, and what the sandbox keeps from it."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import html as lxml_html

from lateral_map import load_site
from lateral_map.draw.packet import sandbox
from lateral_map.draw.packet.document import referral_html, render_letter
from lateral_map.draw.packet.sandbox import enclose_letter, fill_template_apart
from lateral_map.draw.sheet.document import SheetSet
from lateral_map.errors import ExportError, SiteError
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.results import Report
from lateral_map.reading.enclosures import load_letter
from lateral_map.words.utility import letter_facts


def test_a_letter_of_ones_own_takes_the_place_of_the_programs(
    report: Report, sheets: SheetSet
) -> None:
    text = (
        "<p>Dear {{ party }}, {{ theirs|length }} of {{ total }} lie {{ part }}:</p>"
        "<ul>{% for each in theirs %}<li>{{ each.number }}: {{ each.words }} at {{ each.footage }},"
        "{{ each.position|join(' ') }}</li>{% endfor %}</ul>{{ question }}"
    )
    page = referral_html(report, report.letters[0], sheets, template=("mine.html", text))
    facts = letter_facts(report, report.letters[0])
    assert f"Dear city, {len(facts['theirs'])} of 9 lie past the curb:" in page
    assert "A camera was run through this lateral" not in page


@pytest.mark.parametrize(
    "field",
    [
        "site", "date", "to_lines", "from_lines", "reference", "signature_lines", "question",
        "party", "the_party", "client", "title", "part", "whose", "crosses", "length",
        "reached_main", "crossing", "total", "stop", "seen", "doubts", "dangers", "theirs",
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
        ("{{ 'a'|center(3000000000) }}", "more memory than"),
    ],
)
def test_a_letter_that_cannot_be_used_is_one_clear_error(
    report: Report, template: str, said: str
) -> None:
    with pytest.raises(SiteError) as refused:
        render_letter(letter_facts(report, report.letters[0]), ("mine.html", template))
    (fault,) = refused.value.faults
    assert fault.file == "mine.html"
    assert said in str(fault)
    if template.startswith("line one"):
        assert fault.row == 2


@pytest.mark.parametrize(
    "template",
    [
        "{% for i in range(99000) %}{% for j in range(99000) %}{% endfor %}{% endfor %}",
        "{% macro f(n) %}{% if n %}{{ f(n - 1) ~ f(n - 1) }}{% endif %}{% endmacro %}{{ f(60) }}",
    ],
)
def test_a_letter_without_end_is_stopped(template: str) -> None:
    with pytest.raises(SiteError, match="not done after 1 seconds"):
        fill_template_apart(template, {}, most_seconds=1.0)


def test_no_file_in_the_folder_worked_in_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "jinja2.py").write_text("raise SystemExit('a trap')")
    monkeypatch.chdir(tmp_path)
    filled = fill_template_apart("Hello {{ site }}", {"site": "<\ud800>"})
    assert filled == "<div>Hello &lt;\ud800&gt;</div>"


def test_what_the_letter_prints_is_escaped(report: Report) -> None:
    facts = {**letter_facts(report, report.letters[0]), "reference": "<i>&"}
    assert "&lt;i&gt;&amp;" in render_letter(facts, ("mine.html", "{{ reference }}"))


@pytest.mark.parametrize(
    "opened",
    [
        "<!-- never closed", "<style>section { display: none }", "<script>//", "<textarea>",
        "<title>", "</section></body></html>", "<table><tr><td>",
        "<svg><style>* { fill: none }</style><g>", "<template>", "<plaintext>",
        "<link rel=stylesheet href='data:text/css,*{display:none}'>",
    ],
)  # fmt: skip
def test_what_a_letter_opens_swallows_nothing_after_it(
    report: Report, sheets: SheetSet, opened: str
) -> None:
    page = referral_html(
        report, report.letters[0], sheets, template=("mine.html", f"<p>Hello</p>{opened}")
    )
    tree = lxml_html.fromstring(page)
    assert len(tree.xpath("//style")) == 1
    (findings,) = tree.xpath("//body/section/h1[text()='Findings']")
    assert findings.xpath("..//td[@class='number']")
    assert tree.xpath("//body/section//div[@class='caution']//li")
    assert not tree.xpath("//script|//link")


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


def test_a_letter_nested_by_many_kinds_is_refused_once_parsed(report: Report) -> None:
    facts = letter_facts(report, report.letters[0])
    kinds = "".join(f"<kind{number}>" for number in range(300))
    with pytest.raises(SiteError, match="nests too deeply"):
        render_letter(facts, ("mine.html", kinds))


def test_the_deepest_letter_taken_can_be_laid_out() -> None:
    kept = enclose_letter("<div>" * 49 + "deep")
    assert html_to_pdf(f"<html lang=en><title>x</title><body>{kept}").startswith(b"%PDF")


@pytest.mark.parametrize("use", ["use", "USE"])
def test_a_drawing_that_doubles_itself_is_refused(report: Report, use: str) -> None:
    doubled = "".join(
        f"<g id=g{step}><{use} href=#g{step - 1} /><{use} href=#g{step - 1} /></g>"
        for step in range(1, 40)
    )
    letter = f"<svg width=9 height=9><rect id=g0 width=1 height=1 />{doubled}</svg>"
    with pytest.raises(SiteError, match="<use> is not for letters"):
        render_letter(letter_facts(report, report.letters[0]), ("mine.html", letter))


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
