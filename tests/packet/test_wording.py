"""What the packet may and may not say of a finding."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from agreement.told import numbers_in
from analysis.builder import as_line
from hypothesis import given
from hypothesis import strategies as st
from lxml import html as lxml_html
from paper import page_texts
from sheets.builder import line_report, line_site

from lateral_map.analysis.responsibility import address_letters
from lateral_map.draw.packet.document import owner_html, referral_html, render_letter
from lateral_map.draw.sheet.document import SheetSet, draw_sheets
from lateral_map.draw.sheet.setting import choose_setting
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.referral import Referral
from lateral_map.model.results import FindingResult, FindingVerdict, Report
from lateral_map.model.site import Boundary
from lateral_map.report import build_report
from lateral_map.words.names import reading_name, the, the_party, whose
from lateral_map.words.owner import owner_facts
from lateral_map.words.technician import turns_at_m
from lateral_map.words.utility import letter_facts

VERDICTS: tuple[FindingVerdict, ...] = (
    "inside", "past", "across", "past from within", "too close to call",
)  # fmt: skip
ANSWERS: dict[FindingVerdict, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "inside": (("owner",), ("owner",)),
    "past": (("city",), ("city",)),
    "across": (("owner", "city"), ("owner", "city")),
    "past from within": (("city",), ("owner", "city")),
    "too close to call": ((), ("owner", "city")),
}
REPORT = line_report(100.0, 9)


def test_a_party_has_an_article_where_english_gives_it_one() -> None:
    bare = """Osper county|Osper County|Osper City|Ambersea Public Works|Ambersea Gas Inc.|N. Nobody
    |whoever owns plot 4|our client|ANY UTILITY OR NONE|\u00d6sper Township|Both neighbours"""
    with_article = """city|City|county|owner|Owner|HOA|public works|Public Works|City of Osper
    |Department of Works|Osper water district|Osper Water District|Plot 4 owner|utility
    |Sewer Utility|Ambersea Terrace association|homeowners' association|neighbour's tenant
    |City Sewer Department"""
    for name in map(str.strip, bare.split("|")):
        assert the_party(name) == name
    for name in map(str.strip, with_article.split("|")):
        assert the_party(name) == f"the {name}"
    assert the_party("The Osper Trust") == "The Osper Trust"
    assert (whose("Osper county"), whose("works")) == ("Osper county's", "the works'")
    things = ("curb", "Osper Street curb", "CO-2", "MH 14", "The wall", "theatre wall", "CURB")
    assert [the(name) for name in things] == [
        "the curb", "the Osper Street curb", "CO-2", "MH 14", "The wall", "the theatre wall",
        "the CURB",
    ]  # fmt: skip


def words_of(page: str) -> str:
    """Return a page's words, its drawings left out."""
    tree = lxml_html.fromstring(page)
    for drawing in tree.xpath("//*[local-name()='svg']|//style"):
        drawing.drop_tree()
    return re.sub(r"\s+", " ", tree.text_content())


def referral_of(report: Report) -> str:
    """Return the referral to the only party there is."""
    (letter,) = report.letters
    return referral_html(report, letter, undrawn(report))


def undrawn(report: Report) -> SheetSet:
    """Return the sheets without what is drawn on them, where only the words are read."""
    return SheetSet(choose_setting(report), (), ())


def judged(report: Report, *verdicts: FindingVerdict) -> Report:
    """Return a report whose findings, all defects, are judged so."""
    findings = tuple(
        with_verdict(result, verdict)
        for result, verdict in zip(report.findings, verdicts, strict=False)
    )
    letters = address_letters(report.site, report.client, findings, report.crossings)
    return replace(report, findings=findings, letters=letters)


def with_verdict(result: FindingResult, verdict: FindingVerdict) -> FindingResult:
    answers, may_answer = ANSWERS[verdict]
    return replace(
        result,
        finding_class="defect",
        verdict=verdict,
        answers=answers,
        may_answer=may_answer,
        sure=(),
    )


def facts_of(report: Report) -> dict[str, Any]:
    return letter_facts(report, report.letters[0])


@given(st.lists(st.sampled_from(VERDICTS), max_size=9))
def test_too_close_to_call_is_never_worded_as_anyones(verdicts: list[FindingVerdict]) -> None:
    report = judged(REPORT, *verdicts)
    facts = facts_of(report)
    close = {row["number"] for row in facts["close"]}
    claimed = {row["number"] for row in facts["theirs"]}
    assert close == {i for i, one in enumerate(verdicts, 1) if one == "too close to call"}
    assert claimed == {i for i, one in enumerate(verdicts, 1) if one == "past"}
    for sentence in (facts["theirs_numbers"], facts["shared_numbers"]):
        assert not close & {int(each) for each in re.findall(r"\d+", sentence)}
    if claimed or facts["shared"]:
        asked = {int(each) for each in re.findall(r"\d+", facts["question"])}
        assert not close & asked
    for card in owner_facts(report)["cards"]:
        if card["number"] in close:
            assert "city" not in card["whose"]
            assert "owner" not in card["whose"]
    letter = words_of(f"<div>{render_letter(facts)}</div>")
    if close:
        assert "nothing is claimed of" in letter
    elif "past from within" not in verdicts:
        assert "too close" not in letter


@pytest.mark.parametrize(
    ("verdict", "table"),
    [
        ("inside", "record"), ("past", "theirs"), ("across", "shared"),
        ("past from within", "shared"), ("too close to call", "close"),
    ],
)  # fmt: skip
def test_every_finding_is_in_exactly_one_table(verdict: FindingVerdict, table: str) -> None:
    facts = facts_of(judged(REPORT, verdict))
    tables = ("dangers", "theirs", "shared", "close", "record")
    assert {key: len(facts[key]) for key in tables} == {key: int(key == table) for key in tables}


def test_without_a_deciding_line_nothing_is_put_on_either_side() -> None:
    report = line_report(60.0, 4, boundaries=(Boundary("curb", "owner", "city"),))
    page = words_of(referral_html(report, None, undrawn(report)))
    assert "names no line at which responsibility changes" in page
    assert "at which line responsibility for this lateral changes" in page
    assert "city" not in page


def test_another_line_that_fits_is_said_wherever_places_are_given() -> None:
    other = REPORT.route.positions(REPORT.route.chain.nodes_m)
    report = replace(
        REPORT, route=replace(REPORT.route, alternatives=(as_line(REPORT.route, other),))
    )
    drawn = draw_sheets(REPORT)
    said = words_of(referral_html(report, report.letters[0], drawn))
    assert said.count("More than one line fits the readings about as well") == 2
    assert "another line fits what we measured about as well" in words_of(owner_html(report, drawn))
    alone = words_of(referral_html(REPORT, REPORT.letters[0], drawn)) + words_of(
        owner_html(REPORT, drawn)
    )
    assert "More than one line" not in alone
    assert "another line" not in alone


def test_no_range_is_said_to_reach_over_the_line_where_only_another_line_does() -> None:
    finding = REPORT.findings[0]
    side = replace(finding.sides[0], past_m=2.0, sd_past_m=0.5, probability_past=0.5)
    plain = replace(finding, sides=(side,), deciding=side, far=None, deciding_to=None)
    report = judged(replace(REPORT, findings=(plain,)), "too close to call")
    said = words_of(referral_html(report, report.letters[0], undrawn(report)))
    assert "neither side is at least 95 % probable" in said
    assert "reaches over the line" not in said


@pytest.mark.parametrize(
    ("verdict", "title"),
    [
        ("past", "referral of what lies past the curb"),
        ("too close to call", "a question about the curb"),
        ("inside", "no defect past the curb"),
    ],
)
def test_the_letters_title_claims_no_more_than_the_letter(
    verdict: FindingVerdict, title: str
) -> None:
    letter = words_of(f"<div>{render_letter(facts_of(judged(REPORT, verdict)))}</div>")
    assert f"Sewer lateral: {title}" in letter


def test_parties_named_with_an_article_take_no_second_one() -> None:
    boundary = Boundary("curb", "the owner", "the city", decides=True)
    report = line_report(60.0, 9, boundaries=(boundary,))
    said = words_of(owner_html(report, undrawn(report)))
    assert "the city's side" in said
    assert "the the" not in said


@pytest.mark.parametrize("name", ["plain_lot", "garage_slab", "rising_ground"])
def test_the_findings_of_a_demo_stand_on_one_page(demo: Callable[[str], Report], name: str) -> None:
    report = demo(name)
    text = page_texts(html_to_pdf(referral_of(report)))[1]
    assert text.startswith("Findings")
    for number in range(1, len(report.findings) + 1):
        assert re.search(rf"(?m)^{number} ", text), number
    turns = all(turns_at_m(one) is None for one in report.findings)
    assert turns or "Nothing checks where the map has" in text


@given(
    st.lists(
        st.tuples(st.sampled_from(VERDICTS), st.none() | st.floats(0.1, 9.0)),
        min_size=len(REPORT.findings), max_size=len(REPORT.findings),
    )
)  # fmt: skip
def test_an_unchecked_line_is_said_once_for_all_that_hangs_on_it(
    cases: list[tuple[FindingVerdict, float | None]],
) -> None:
    report = judged(REPORT, *(verdict for verdict, _ in cases))
    findings = tuple(
        replace(one, turns_m=off_m, verdict_without=(), verdict_under=())
        for one, (_, off_m) in zip(report.findings, cases, strict=True)
    )
    facts = facts_of(replace(report, findings=findings))
    hanging = [
        number
        for number, (verdict, off_m) in enumerate(cases, 1)
        # Ten feet off no map is that anybody goes by.
        if off_m is not None and off_m <= 3.048 and verdict != "too close to call"
    ]
    said = [numbers_in(each.rpartition("finding")[2]) for each in facts["turning"]]
    assert said == [hanging][: len(hanging)]
    for key in ("theirs", "shared", "close", "record"):
        for row in facts[key]:
            assert "turns" not in row["side"]


@pytest.mark.parametrize("name", ["plain_lot", "garage_slab", "rising_ground"])
def test_the_referral_says_all_it_must(demo: Callable[[str], Report], name: str) -> None:
    report = demo(name)
    page = words_of(referral_of(report))
    facts = facts_of(report)
    assert facts["question"] in page
    rows = [row for key in ("theirs", "shared", "close", "record") for row in facts[key]]
    assert len(rows) == len(report.findings)
    for row in rows:
        for said in (row["footage"], *row["depth"], *row["position"], row["side"]):
            assert said
            assert " ".join(said.split()) in page
    for locate in report.site.locates:
        assert locate.mark in page
    for point in report.site.plan.points:
        assert point.name in page
    for check in report.readings:
        assert reading_name(check.id, report.site.plan) in page
    assert "electromagnetic observation" in page
    assert "ASCE 38-22 quality level: not assigned, a professional's judgement" in page
    assert "Call 811" in page
    assert "local code" in page.lower()
    assert "gas" in page


def test_the_users_own_words_come_out_and_come_out_escaped() -> None:
    own = Referral(
        to="Sewer Department\n1 <Main> Street", sender="A. Person", reference="R-17 & more",
        question="Is <b>this</b> yours?", signature="A. Person\nTechnician",
    )  # fmt: skip
    report = line_report(60.0, 4, referral=own)
    page = referral_of(report)
    assert "<b>this</b>" not in page
    said = words_of(page)
    for part in ("1 <Main> Street", "R-17 & more", "Is <b>this</b> yours?", "Technician"):
        assert part in said


def test_5000_characters_are_shortened_and_say_so() -> None:
    site = line_site(60.0, 3)
    long = replace(site.findings[0], note="word " * 1000)
    report = build_report(replace(site, findings=(long, *site.findings[1:])))
    page = words_of(referral_of(report))
    assert "more characters in the site's tables" in page
    assert page.count("word") < 200


HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>{{7*7}}</style></svg></title>5 %"


def test_hostile_words_become_no_elements(sheets: SheetSet) -> None:
    report = line_report(
        60.0, 3, name=HOSTILE, boundaries=(Boundary("curb", "owner", HOSTILE, decides=True),),
        referral=Referral(to=HOSTILE, sender=HOSTILE, reference=HOSTILE, question=HOSTILE,
                          signature=HOSTILE),
    )  # fmt: skip
    drawn = draw_sheets(report)
    for page in (referral_html(report, report.letters[0], drawn), owner_html(report, drawn)):
        tree = lxml_html.fromstring(page)
        assert not tree.xpath("//script|//img|//iframe|//link|//object")
        assert not tree.xpath("//@onerror|//@onload|//@onclick")
        assert "49" not in words_of(page).replace("49.", "").split()
        assert len(tree.xpath("//style")) == 1
        title = tree.xpath("string(/html/head/title)")
        assert HOSTILE[: HOSTILE.index("alert(2)")] in title
        assert "<span" not in title
