"""Who is written to, about what: one letter a party the sender does not speak for, defects only."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pdfplumber
import pytest
from lxml import html as lxml_html
from packet.test_wording import referral_of, undrawn, words_of
from paper import page_texts
from sheets.builder import line_report, line_site
from truth.simulate import FOOT

from lateral_map.draw.packet.document import owner_html, referral_html, render_letter
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.export.packet import name_referrals
from lateral_map.export.pdf import html_to_pdf
from lateral_map.export.registry import make_referral
from lateral_map.model.referral import Referral
from lateral_map.model.results import PartyLetter, Report
from lateral_map.model.site import Boundary, Finding, NoLocate, PlanLine, Site, TapeTie
from lateral_map.report import build_report
from lateral_map.words.names import finding_words
from lateral_map.words.owner import owner_facts
from lateral_map.words.sayings import say_all
from lateral_map.words.technician import (
    answers_words,
    next_locate_words,
    report_tables,
    summary_facts,
    verdict_words,
)
from lateral_map.words.utility import letter_facts, question, seen_sentences, summary_lines

ROADS = "Department of Roads, Bridges and Underground Works of the County"


def with_line(site: Site, name: str, at_ft: float) -> Site:
    """Return a site with a line like its curb, at another footage of its straight run."""
    curb = site.plan.line("curb")
    along = np.array([np.sin(np.radians(80.0)), np.cos(np.radians(80.0))])
    moved = curb.vertices_m + (at_ft - 70.0) * FOOT * along
    line = PlanLine(name, "right_of_way", moved, 0.1)
    return replace(site, plan=replace(site.plan, lines=(*site.plan.lines, line)))


def seen(*findings: tuple[Any, ...]) -> tuple[Finding, ...]:
    """Return findings of (feet, words) or (feet, words, to feet)."""
    return tuple(
        Finding(at * FOOT, words, to[0] * FOOT if to else None, "severe")
        for at, words, *to in findings
    )


EVERYTHING = seen(
    (10.0, "roots"), (30.0, "crack"), (39.9, "broken pipe"), (50.0, "crack"),
    (55.0, "transition"), (60.0, "roots", 80.0), (70.1, "offset joint"), (85.0, "roots"),
    (90.0, "tap"), (99.8, "tap"),
)  # fmt: skip


@cache
def two_lines(**referral: str) -> Report:
    """The owner's part, an association's, the county's."""
    site = line_site(
        findings=0,
        boundaries=(
            Boundary("right of way", "owner", "association", decides=True),
            Boundary("curb", "association", ROADS, decides=True),
        ),
        referral=Referral(**referral),
    )
    return build_report(replace(with_line(site, "right of way", 40.0), findings=EVERYTHING))


def one_line(inside: str, outside: str, findings: tuple[Finding, ...] = EVERYTHING) -> Report:
    return decided_by(Boundary("curb", inside, outside, decides=True), findings)


def decided_by(boundary: Boundary, findings: tuple[Finding, ...] = EVERYTHING) -> Report:
    return build_report(replace(line_site(boundaries=(boundary,)), findings=findings))


def letter_to(report: Report, party: str) -> PartyLetter:
    (letter,) = (one for one in report.letters if one.party == party)
    return letter


def facts_to(report: Report, party: str) -> dict[str, Any]:
    return letter_facts(report, letter_to(report, party))


def letter_of(facts: dict[str, Any]) -> str:
    return words_of(f"<div>{render_letter(facts)}</div>")


def numbers(rows: Iterable[dict[str, Any]]) -> list[int]:
    return [row["number"] for row in rows]


def text_of(pdf: bytes) -> str:
    return re.sub(r"\s+", " ", " ".join(page_texts(pdf)))


def test_every_row_of_a_letter_tells_the_side_of_each_line_that_bounds_the_part() -> None:
    bounds = {"association": ("Right of way", "Curb"), ROADS: ("Curb",)}
    over_both = seen((30.0, "roots", 90.0), (50.0, "crack"), (60.0, "crack", 80.0), (70.0, "roots"))
    report = build_report(replace(two_lines().site, findings=over_both))
    for party, lines in bounds.items():
        facts = facts_to(report, party)
        for row in (*facts["theirs"], *facts["shared"], *facts["close"]):
            assert [row["side"].count(f"{line}: ") for line in lines] == [1] * len(lines), row
    both = facts_to(report, ROADS)["shared"][0]
    assert re.match(
        r"Curb: begins (39|40)\.\d ± .* inside.*ends (19|20)\.\d ± .* past", both["side"]
    )
    (middle,) = facts_to(report, "association")["theirs"]
    assert re.search(r"Right of way: past by (9|10)\.\d ", middle["side"])
    assert re.search(r"Curb: inside by (19|20)\.\d ", middle["side"])


def test_each_party_is_asked_about_its_own_and_no_other() -> None:
    report = two_lines()
    assert [letter.party for letter in report.letters] == ["association", ROADS]
    near, far = facts_to(report, "association"), facts_to(report, ROADS)
    assert (numbers(near["theirs"]), numbers(near["shared"]), numbers(near["close"])) == (
        [4], [6], [3, 7],
    )  # fmt: skip
    assert (numbers(far["theirs"]), numbers(far["shared"]), numbers(far["close"])) == (
        [8], [6], [7],
    )  # fmt: skip
    assert near["part"] == "between the right of way and the curb"
    assert far["part"] == "past the curb"
    assert near["question"].endswith("what will be done about findings 4 and 6, and when?")
    assert far["question"].endswith("what will be done about findings 6 and 8, and when?")
    for facts in (near, far):
        # Every finding stands in one table of every letter.
        tables = ("dangers", "theirs", "shared", "close", "record")
        listed = sorted(row["number"] for key in tables for row in facts[key])
        assert listed == list(range(1, 11))
        assert "owner" not in letter_of(facts)
    assert "To the association" in letter_of(near)
    assert f"To the {ROADS}" in letter_of(far)
    assert ROADS not in letter_of(near)


@pytest.mark.parametrize("client", ["", "owner", "association", ROADS])
def test_the_owners_page_says_the_same_whoever_sends_it(client: str) -> None:
    facts = owner_facts(two_lines(client=client))
    assert facts["shapes"].count("decides who answers") == 1
    cards = facts["cards"]
    groups: dict[str, list[int]] = {}
    for card in cards:
        groups.setdefault(card["group"], []).append(card["number"])
    assert groups == {
        "In another's part, as we understand it": [4, 8], "Reaching into another's part": [6],
        "Too close to call": [3, 7], "In your part, as we understand it": [1, 2],
        "How the pipe is built": [5, 9, 10],
    }  # fmt: skip
    said = {card["number"]: card["whose"] for card in cards}
    assert said[1] == "On your side of the right of way, as we understand it."
    assert said[8].startswith(f"On the {ROADS}'s side of the curb")


def test_a_run_against_the_flow_is_not_said_to_have_missed_the_main() -> None:
    report = one_line(ROADS, "owner")
    run = replace(report.site.run, end="not reached")
    missed = replace(report, site=replace(report.site, run=run))
    against = replace(
        missed, site=replace(missed.site, job=replace(missed.site.job, camera_direction="upstream"))
    )
    for one, there in ((missed, True), (against, False)):
        for said in (letter_of(facts_to(one, ROADS)), owner_facts(one)["came_to"]):
            missed_main = re.search(r"main was not reached|did not reach the main", said)
            assert (missed_main is not None) == there
            assert ("house" in said) != there
    assert letter_of(facts_to(against, ROADS)).count("Past a line is beyond it as the camera") == 1


def test_the_letter_of_a_part_in_the_middle_says_both_its_ends() -> None:
    said = letter_of(facts_to(two_lines(), "association"))
    assert re.search(r"between the right of way and the curb, from \S+ ± \S+ ft to \S+ ± ", said)
    assert re.search(r"It crosses the right of way at 4\d\.\d ± ", said)
    assert re.search(r"It crosses the curb at (69|70)\.\d ± ", said)


def test_run_from_the_street_the_city_is_asked_about_what_lies_before_the_line() -> None:
    report = one_line("city", "owner")
    (letter,) = report.letters
    facts = letter_facts(report, letter)
    assert facts["party"] == "city"
    assert numbers(facts["theirs"]) == [1, 2, 3, 4]
    assert numbers(facts["shared"]) == [6]
    assert numbers(facts["close"]) == [7]
    assert facts["part"] == "before the curb"
    said = letter_of(facts)
    assert "referral of what lies before the curb" in said
    assert "4 lie before the curb with at least 95 % probability: findings 1, 2, 3 and 4." in said
    assert "past the curb" not in said
    owner = owner_facts(report)
    assert any("reaches the city, and wait" in step for step in owner["next"])
    assert any("For finding 8 ask a licensed plumber" in step for step in owner["next"])


def test_where_one_party_answers_on_both_sides_nobody_is_asked_to_repair() -> None:
    report = one_line("owner", "owner")
    assert report.letters == ()
    facts = letter_facts(report, None)
    said = letter_of(facts)
    assert "As we understand it, the whole run is the owner's." in said
    assert facts["question"] == "Will you tell us if any record of yours says otherwise?"
    assert numbers(facts["record"]) == list(range(1, 11))
    assert not any("referral" in step for step in owner_facts(report)["next"])
    page = words_of(referral_html(report, None, undrawn(report)))
    assert "what will be done" not in page
    (card,) = (card for card in owner_facts(report)["cards"] if card["number"] == 7)
    assert card["whose"].endswith("but yours either way.")


def test_a_party_of_several_takes_no_verb_of_one() -> None:
    both = one_line("owners", "owners", EVERYTHING[:3])
    assert letter_facts(both, None)["whose"] == "As we understand it, the whole run is the owners'."
    city = one_line("owner", "public works", EVERYTHING)
    said = f"{owner_facts(city)} {facts_to(city, 'public works')}"
    assert re.search(r"public works (?:is|does|has|gets|answers|wants|lies)\b", said) is None


def test_the_owner_is_not_told_to_write_to_the_owner() -> None:
    boundary = Boundary("curb", "owner", "city", decides=True)
    site = line_site(boundaries=(boundary,), referral=Referral(client="city"))
    report = build_report(replace(site, findings=EVERYTHING))
    assert [letter.party for letter in report.letters] == ["owner"]
    steps = owner_facts(report)["next"]
    assert not any("referral" in step for step in steps)
    assert "Ask the city what will be done about finding 8." in steps
    assert any(step.startswith("For findings 1, 2, 3 and 4 ask a licensed") for step in steps)


def test_without_a_line_that_decides_it_is_asked_which_it_is() -> None:
    report = line_report(
        60.0, 4, boundaries=(Boundary("curb", "owner", "city"),),
        referral=Referral(to="Sewer Department"),
    )  # fmt: skip
    facts = letter_facts(report, None)
    assert facts["question"].startswith("Will you tell us at which line responsibility")
    assert facts["to_lines"] == ["Sewer Department"]


@pytest.mark.parametrize(
    ("boundary", "begins"),
    [
        (Boundary("main", "owner", "city", decides=True, kind="main"), "past the main"),
        (
            Boundary("walk cleanout", "owner", "city", decides=True, kind="cleanout",
                     footage_m=41.5 * FOOT, sd_footage_m=0.03),
            "past the walk cleanout",
        ),
    ],
)  # fmt: skip
def test_boundaries_at_the_main_and_at_a_cleanout(boundary: Boundary, begins: str) -> None:
    report = decided_by(boundary)
    (letter,) = report.letters
    facts = letter_facts(report, letter)
    assert facts["part"] == begins
    page = words_of(referral_html(report, letter, undrawn(report)))
    assert "on the counter to ±" in page
    if boundary.kind == "main":
        assert facts["theirs"] == []
        assert "None of the 7 defects seen is shown to lie wholly past the main." in page
        assert re.search(r"It meets the main at 100\.0 ± ", page)
        assert "this run does not reach the part that is yours, past the main" in page
    else:
        assert numbers(facts["theirs"]) == [4, 6, 7, 8]
        assert re.search(r"It passes the walk cleanout at 41\.5 ± ", page)


def test_features_are_never_asked_about() -> None:
    features = seen((20.0, "transition"), (80.0, "tap"), (90.0, "cleanout"), (99.9, "tap"))
    report = one_line("owner", "city", features)
    facts = facts_to(report, "city")
    assert facts["question"] == (
        "Will you tell us whether you need anything more about the pipe past the curb?"
    )
    assert numbers(facts["record"]) == [1, 2, 3, 4]
    said = letter_of(facts)
    assert "No defect was seen." in said
    assert "no defect past the curb" in said
    cards = {card["number"]: card["what"] for card in owner_facts(report)["cards"]}
    assert cards[2] == "Another pipe joins here"
    assert cards[4] == "The pipe meets the main sewer"


def test_the_owner_reads_a_finding_in_its_own_letters() -> None:
    report = build_report(
        replace(two_lines().site, findings=seen((10.0, "PVC patch loose, see Ann's note")))
    )
    (card,) = owner_facts(report)["cards"]
    assert card["what"] == "PVC patch loose, see Ann's note (severe)"


def end_in_doubt(*, far: bool) -> Report:
    """A stretch past the curb at one end, and at the other about 71 % past."""
    doubtful = 70.3
    stretch = (50.0, "crack", doubtful) if far else (doubtful, "crack", 82.0)
    report = one_line("owner", "city", seen(stretch))
    (found,) = report.findings
    side = found.deciding_to if far else found.deciding
    assert side is not None
    assert 0.55 < side.probability_past < 0.94
    return report


def test_a_stretch_reaches_across_only_where_both_its_ends_are_sure() -> None:
    beginning = end_in_doubt(far=False)
    facts = facts_to(beginning, "city")
    assert numbers(facts["shared"]) == [1]
    said = letter_of(facts)
    assert "across" not in said
    assert "The far part of finding 1 lies past the curb; where it begins is too close to call" in (
        said
    )
    (row,) = facts["shared"]
    assert "its far part is past; where it begins is too close to call" in row["side"]
    (card,) = owner_facts(beginning)["cards"]
    assert "Its far part is past the curb, on the city's side" in card["whose"]
    ending = end_in_doubt(far=True)
    facts = facts_to(ending, "city")
    assert numbers(facts["close"]) == [1]
    assert "reaches across" not in words_of(
        referral_html(ending, ending.letters[0], undrawn(ending))
    )


@pytest.mark.parametrize("far", [False, True])
def test_who_surely_has_a_part_is_told_whichever_end_is_in_doubt(far: bool) -> None:
    """Of one pipe: pushed from the house it begins in doubt, pushed from the street it ends so."""
    lot, street = ("city", "owner") if far else ("owner", "city")
    stretch = (50.0, "crack", 70.3) if far else (70.3, "crack", 82.0)
    report = one_line(lot, street, seen(stretch))
    (found,) = report.findings
    assert found.surely_answers == ("city",)
    facts = facts_to(report, "city")
    assert (numbers(facts["shared"]), numbers(facts["close"])) == ([1], [])
    assert facts["question"].endswith("what will be done about finding 1, and when?")
    said = letter_of(facts)
    open_end = "it ends" if far else "it begins"
    assert f"where {open_end} is too close to call" in said
    assert "What would settle it: " in said
    (row,) = facts["shared"]
    known = "its near part is inside" if far else "its far part is past"
    assert f"{known}; where {open_end} is too close to call (begins" in row["side"]
    facts = owner_facts(report)
    (card,) = facts["cards"]
    assert "city" in card["whose"]
    assert f"where {open_end} is too close" in card["whose"]
    assert card["group"] == "Reaching into another's part"
    assert any("referral about finding 1 reaches the city" in step for step in facts["next"])
    assert any(step.startswith("Have settled how far finding 1 goes") for step in facts["next"])
    answers = "city, then too close to call where it ends"
    assert answers_words(found) == (
        answers if far else "too close to call where it begins, then city"
    )
    assert verdict_words(found, "ft").partition(": ")[2].startswith(known)
    assert "Partly the city's: finding 1" in summary_lines(report)


def test_where_boundaries_contradict_it_is_not_the_place_that_is_left_open() -> None:
    """The run surely lies past the one line and before the other: whose it is there is open."""
    site = with_line(line_site(findings=0), "right of way", 40.0)
    boundaries = (
        Boundary("right of way", "owner", "association", decides=True),
        Boundary("curb", "city", "county", decides=True),
    )
    report = build_report(replace(site, boundaries=boundaries, findings=EVERYTHING))
    for party, part in (("association", "past the right of way"), ("city", "before the curb")):
        said = facts_to(report, party)["whose"]
        assert re.search(
            rf"the pipe {part} is yours; whose this run is from \S+ ± \S+ ft to .* is left open",
            said,
        )
        assert "whether this run" not in said


def test_an_end_in_doubt_does_not_turn_what_is_told_of_the_other() -> None:
    """What is told is its far part: that is on the other side where the line lies that far off."""
    report = end_in_doubt(far=False)
    (found,) = report.findings
    assert found.deciding_to is not None
    assert found.turns_m == pytest.approx(abs(found.deciding_to.past_m))
    (both,) = one_line("owner", "city", seen((68.0, "roots", 75.0))).findings
    assert both.verdict == "across"
    assert both.deciding is not None
    assert both.turns_m == pytest.approx(abs(both.deciding.past_m))
    (said,) = facts_to(one_line("owner", "city", seen((68.0, "roots", 75.0))), "city")["turning"]
    assert said.endswith("finding 1 is on its other side, in whole or in part.")


def test_what_may_reach_a_party_is_asked_as_that() -> None:
    """Begins surely in the owner's part: the city is not asked on which side all of it lies."""
    report = end_in_doubt(far=True)
    facts = facts_to(report, "city")
    (sentence,) = (one for one in facts["seen"] if "Finding 1" in one)
    assert "lies in part in another's; whether it reaches into yours is too close" in sentence
    assert "nothing is claimed of it" in sentence
    assert "on which side" not in f"{facts['seen']} {facts['question']}"
    assert facts["question"].endswith("to settle whether finding 1 reaches into your part?")
    page = words_of(referral_html(report, report.letters[0], undrawn(report)))
    assert "Too close to call: the readings do not say whether these lie past the curb" in page


def test_lines_at_one_place_leave_the_party_between_them_nothing() -> None:
    site = with_line(line_site(findings=0), "right of way", 70.0)
    boundaries = (
        Boundary("right of way", "owner", "association", decides=True),
        Boundary("curb", "association", "city", decides=True),
    )
    report = build_report(replace(site, boundaries=boundaries, findings=EVERYTHING))
    said = facts_to(report, "association")["whose"]
    assert said.endswith("it crosses both lines that bound your part at one place.")
    assert "does not reach" not in said


def test_parts_surely_of_several_are_told_in_order() -> None:
    report = build_report(replace(two_lines().site, findings=seen((20.0, "roots", 70.2))))
    (found,) = report.findings
    assert found.surely_answers == ("owner", "association")
    (card,) = owner_facts(report)["cards"]
    assert card["whose"].startswith(
        "It begins in your part and goes on into the association's part, as we understand it; "
        "where it ends is too close to the curb to call."
    )
    (said,) = (
        one
        for one in facts_to(report, "association")["seen"]
        if "Finding 1" in one or "part of" in one
    )
    assert (
        said == "A part of finding 1 lies in your part; how far that reaches is too close to call."
    )


def test_a_stretch_that_begins_in_doubt_and_crosses_a_whole_part_has_its_far_part_in_the_last() -> (
    None
):
    report = build_report(
        replace(two_lines().site, findings=seen((39.9, "roots", 85.0)), referral=Referral())
    )
    (found,) = report.findings
    assert found.verdict == "past from within"
    assert found.answers == ("association", ROADS)
    for party in found.answers:
        facts = facts_to(report, party)
        assert numbers(facts["shared"]) == [1]
        assert "far part" not in " ".join(facts["seen"])
        assert "Finding 1 reaches across into it: only what lies" in letter_of(facts)
    (card,) = owner_facts(report)["cards"]
    assert f"past the right of way, part the association's and part the {ROADS}'s" in card["whose"]


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("past from within", "Its far part is past the curb; who answers for it is left open"),
        ("across", "Reaches across the curb; who answers for it is left open"),
        ("inside", "Who answers for it is left open"),
    ],
)
def test_the_owner_is_told_where_one_line_is_sure_and_another_leaves_open_who_answers(
    verdict: str, words: str
) -> None:
    report = end_in_doubt(far=False)
    open_one = replace(report.findings[0], verdict=verdict, answers=())
    (card,) = owner_facts(replace(report, findings=(open_one,)))["cards"]
    assert card["whose"] == f"{words}: the boundaries contradict each other."
    assert card["unsure"]
    assert card["group"] == "Left open: the boundaries contradict each other"


def test_both_ends_of_a_stretch_have_their_place_and_depth() -> None:
    report = one_line("owner", "city", seen((60.0, "roots", 90.0)))
    (found,) = report.findings
    (row,) = facts_to(report, "city")["shared"]
    assert len(row["depth"]) == len(row["ellipse"]) == 2
    assert len(row["position"]) == 2
    assert found.far is not None
    x, _ = report.site.frame.from_plane(found.far.easting_m, found.far.northing_m)
    assert f"x {x:.1f}" in row["position"][1]


DANGER = seen((20.0, "roots"), (80.0, "gas pipe through sewer"), (85.0, "crack"))


def test_a_danger_heads_every_letter_and_page_and_is_asked_nothing() -> None:
    report = one_line("owner", "city", DANGER)
    files = make_referral(report)
    texts = [text_of(files["referral.pdf"]), text_of(files["owner.pdf"])]
    texts.append(words_of(files["owner.html"].decode()))
    for text in texts:
        assert text.index("STOP: gas pipe through sewer, seen at 80.0 ft") < 200
    pages = page_texts(files["referral.pdf"])
    (findings,) = (page for page in pages if page.lstrip().startswith("Findings"))
    assert findings.index("STOP:") < 60
    facts = facts_to(report, "city")
    assert numbers(facts["theirs"]) == [3]
    assert numbers(facts["dangers"]) == [2]
    assert "finding 3" in facts["question"]
    cards = owner_facts(report)["cards"]
    assert [card["number"] for card in cards] == [2, 3, 1]
    assert owner_facts(report)["next"][0].startswith("Keep everybody away")
    assert summary_lines(report)[0].startswith("STOP: gas pipe")


def test_a_danger_alone_is_no_letter_that_nothing_was_seen() -> None:
    report = one_line("owner", "city", DANGER[1:2])
    facts = facts_to(report, "city")
    assert facts["title"] == "a foreign pipe or cable seen in it"
    assert facts["seen"] == ["Besides the danger told first, no defect was seen."]


LONG = "the upper end of a name as long as names may be, of which no part may be missing: "


def test_two_things_whose_names_begin_alike_are_told_apart() -> None:
    """In every sentence and table of letter, findings, owner's page, map and terminal."""
    lines, what = (LONG + "one", LONG + "two"), (LONG + "roots", LONG + "crack")
    site = with_line(with_line(line_site(findings=0), lines[0], 40.0), lines[1], 60.0)
    boundaries = tuple(
        Boundary(line, f"{LONG}{i}", f"{LONG}{i + 1}", decides=True) for i, line in enumerate(lines)
    )
    found = tuple(Finding(at * FOOT, one) for at, one in zip((20.0, 90.0), what, strict=True))
    report = build_report(replace(site, boundaries=boundaries, findings=found))
    tables = report_tables(report)
    told = {
        "sides": [verdict_words(one, "ft") for one in report.findings],
        "findings": [finding_words(one) for one in report.findings],
        "findings table": [row.cells[2] for row in tables[0].rows],
        "crossings table": [row.cells[0] for row in tables[1].rows if LONG in row.cells[0]],
        "answers": [row.cells[3] for row in tables[2].rows],
        "facts": [fact.name for fact in summary_facts(report) if LONG in fact.name],
        "sayings": [
            one.title for one in say_all(report) if one.title.startswith("Crosses the upper")
        ],
        "readings table": [row.cells[0] for row in tables[-1].rows if LONG in row.cells[0]],
        "cards": [card["what"].lower() for card in owner_facts(report)["cards"]],
    }
    for where, words in told.items():
        assert len(set(words)) == len(words) > 1, where
        assert all(LONG.strip().lower() in each.lower() for each in words[:2]), where


def test_a_name_with_an_article_takes_no_second_one_anywhere() -> None:
    site = with_line(line_site(findings=0), "the old wall", 40.0)
    boundary = Boundary("the old wall", "owner", "city", decides=True)
    found = seen((20.0, "roots"), (40.1, "crack"), (45.0, "crack"))
    report = build_report(replace(site, boundaries=(boundary,), findings=found))
    assert report.next_locate
    (facts,) = (letter_facts(report, one) for one in report.letters)
    said = [
        next_locate_words(report.next_locate, report.site),
        *(verdict_words(one, "ft") for one in report.findings),
        *(saying.words for saying in say_all(report)),
    ]
    assert "turns if the old wall lies more than" in said[3]
    assert "the the" not in f"{said} {facts} {owner_facts(report)}".lower()


@pytest.mark.parametrize("located", ["nowhere", "tried in vain", "by depth alone", "tied"])
def test_no_locate_is_claimed_that_nobody_made(located: str) -> None:
    site = line_site(findings=0)
    loose = tuple(replace(one, ties=()) for one in site.locates)
    failed = (NoLocate(30.0 * FOOT, "under the slab", "X"),)
    changes: dict[str, Any] = {
        "nowhere": {"locates": ()},
        "tried in vain": {"locates": (), "no_locates": failed},
        "by depth alone": {"locates": loose},
        "tied": {},
    }[located]
    report = build_report(replace(site, findings=EVERYTHING[:2], **changes))
    said = words_of(referral_of(report))
    owner = owner_facts(report)["found"]
    tied = located == "tied"
    assert ("its transmitter located from the surface. The run" in said) is tied
    assert ("each paint mark tied" in said) is tied
    assert ("we followed the camera and marked" in owner) is tied
    assert ("Nothing was located from the surface" in said) is (
        located in ("nowhere", "tried in vain")
    )
    assert ("nothing could be located" in said) is (located == "tried in vain")
    assert ("tried at 1 place." in said) is (located == "tried in vain")
    assert ("under the slab" in said) is (located == "tried in vain")


def test_no_depth_is_told_that_nobody_measured() -> None:
    site = replace(line_site(findings=0), findings=EVERYTHING[:2])
    blind = replace(
        site,
        start=replace(site.start, depth_m=None),
        locates=tuple(replace(one, depth_m=None) for one in site.locates),
    )
    sure, guessed = build_report(site), build_report(blind)
    assert "It lies" in owner_facts(sure)["found"]
    assert owner_facts(guessed)["found"].endswith("How deep it lies nobody has measured.")
    assert all("about" in card["where"] for card in owner_facts(sure)["cards"])
    assert all(card["where"].endswith("measured.") for card in owner_facts(guessed)["cards"])
    loose = replace(site, locates=(), start=replace(site.start, sd_depth_m=0.5))
    told = owner_facts(build_report(loose))
    assert ", give or take " in told["found"]
    assert all(", give or take " in card["where"] for card in told["cards"])
    assert ", give or take " not in str(owner_facts(sure))
    assumed = "Nobody measured how deep the pipe lies: the depths here are assumed."
    assert assumed in facts_to(guessed, "city")["doubts"]
    assert assumed not in facts_to(sure, "city")["doubts"]


def test_how_deep_the_pipe_lies_leaves_its_riser_out_everywhere() -> None:
    site = line_site(findings=0)
    start = replace(site.start, riser_m=3.0 * FOOT, depth_m=1.0 * FOOT)
    counter = replace(site.counter, zero_m=-3.0 * FOOT)
    report = build_report(replace(site, start=start, counter=counter))
    (fact,) = (one for one in summary_facts(report) if one.name == "Depth to invert")
    low = float(fact.value.split()[0])
    assert low > 3.5
    assert f"It lies {low} ft to" in owner_facts(report)["found"]


def test_names_are_given_in_full_and_no_finding_is_left_out() -> None:
    many = seen(*((71.5 + 0.4 * i, "roots") for i in range(1, 65) if i % 8))
    report = decided_by(Boundary("curb", "owner", ROADS, decides=True), many)
    (letter,) = report.letters
    facts = letter_facts(report, letter)
    assert len(facts["theirs"]) == 56
    assert facts["theirs_numbers"] == "findings 1 to 56"
    assert facts["question"].endswith("about findings 1 to 56, and when?")
    assert "more" not in facts["question"]
    said = letter_of(facts)
    assert f"To the {ROADS}" in said
    owner = owner_facts(report)
    assert len(owner["cards"]) == 56
    assert all(f"the {ROADS}'s side" in card["whose"] for card in owner["cards"])


def test_the_words_of_the_site_go_to_the_party_the_address_names() -> None:
    report = two_lines(to="Lawn Street Association\nThe gate house", question="Is it yours?")
    near, far = facts_to(report, "association"), facts_to(report, ROADS)
    assert near["to_lines"] == ["Lawn Street Association", "The gate house"]
    assert near["question"] == "Is it yours?"
    assert far["to_lines"] == []
    assert far["question"].startswith("Will you confirm whether the pipe past the curb is yours")
    unaddressed = two_lines(to="Whoever it may be", question="Is it yours?")
    assert "yours?" not in facts_to(unaddressed, "association")["question"]
    assert any("names none of the parties" in line for line in summary_lines(unaddressed))


def test_several_referrals_are_named_after_their_parties() -> None:
    report = two_lines()
    files = make_referral(report)
    stem = "referral-department-of-roads-bridges-and-underground-works-o"
    assert list(files) == [
        "referral-association.pdf", f"{stem}.pdf", "owner.html", "owner.pdf", "referral.zip",
    ]  # fmt: skip
    held = zipfile.ZipFile(io.BytesIO(files["referral.zip"])).namelist()
    assert {"referral-association.pdf", f"{stem}.pdf"} <= set(held)
    assert "referral.pdf" not in held
    text = text_of(files["referral-association.pdf"])
    assert "To the association" in text
    assert "what will be done about findings 4 and 6, and when?" in text
    assert "about findings 6 and 8, and when?" in text_of(files[f"{stem}.pdf"])


def test_file_names_are_safe_whatever_a_party_is_called() -> None:
    report = two_lines()
    names = ("../../etc", "Город", "市", "a" * 300, "ETC", "CON")
    letters = tuple(replace(report.letters[0], party=name) for name in names)
    files = list(name_referrals(replace(report, letters=letters)))
    assert len(set(files)) == len(names)
    for file in files:
        assert re.fullmatch(r"referral[a-z0-9_-]{0,56}\.pdf", file), file


def test_what_a_suspect_decides_is_said_once_and_named() -> None:
    report = two_lines()
    suspect = next(check for check in report.readings if check.id.mark)
    checks = tuple(
        replace(check, verdict="suspect", set_aside_first=check is suspect)
        for check in report.readings
    )
    report = replace(report, readings=checks)
    name = f"locate {suspect.id.mark} {suspect.id.column}"
    facts = facts_to(report, "association")
    assert facts["suspects"] == 1
    assert f"One reading does not agree with the others: {name}." in letter_of(facts)
    (doubt,) = owner_facts(report)["doubts"]
    assert f"One measurement does not fit the others: {name}." in doubt


def test_a_search_finds_the_percentage_in_the_pdf() -> None:
    report = end_in_doubt(far=True)
    (letter,) = report.letters
    page = referral_html(report, letter, undrawn(report))
    # No length may be parted from its unit either.
    kept = r"<(svg|style|title)\b.*?</\1>|<span class=\"whole\">[^<]*</span>"
    assert re.findall(r"[\d.]+ ft\b", re.sub(kept, "", page, flags=re.DOTALL)) == []
    pdf = html_to_pdf(page)
    # Not broken over two lines.
    assert "< 0.1 %" in page_texts(pdf)[1]
    text = text_of(pdf)
    side = report.findings[0].deciding_to
    assert side is not None
    assert f"{100 * side.probability_past:.0f} %" in text
    assert "\u00a0" not in text
    assert "odds" not in text
    assert text.index("chi-square") > text.index("Evidence")


def test_every_figure_of_the_pdf_has_a_text_of_its_own(report: Report) -> None:
    pdf = html_to_pdf(referral_html(report, report.letters[0], draw_sheets(report)))
    figures: list[str | None] = []

    def walk(elements: list[dict[str, Any]]) -> None:
        for each in elements:
            if each.get("type") == "Figure":
                figures.append(each.get("alt_text"))
            walk(each.get("children", []))

    walk(pdfplumber.open(io.BytesIO(pdf)).structure_tree)
    assert figures
    assert all(text and text.startswith("Plan and profile of") for text in figures)


def test_every_table_head_says_what_it_heads() -> None:
    report = two_lines()
    page = lxml_html.fromstring(referral_html(report, report.letters[0], undrawn(report)))
    heads = page.xpath("//th")
    assert heads
    assert all(head.get("scope") == "col" for head in heads)


def test_readings_are_given_as_read(demo: Any) -> None:
    report = demo("plain_lot")
    page = words_of(referral_html(report, report.letters[0], undrawn(report)))
    # 13 ft 4 1/2 in is no 13.4 ft.
    tapes = {
        (locate.written[tie.column], tie.point)
        for locate in report.site.locates
        for tie in locate.ties
        if isinstance(tie, TapeTie)
    }
    assert any(not tape.replace(".", "").isdigit() for tape, _ in tapes)
    for tape, point in tapes:
        assert f"{tape} from {point}" in page or f"{tape} ft from {point}" in page
    report = demo("garage_slab")
    page = words_of(referral_html(report, report.letters[0], undrawn(report)))
    assert re.search(r"GNSS -?\d+\.\d{7}, -?\d+\.\d{7} \(±", page)


def test_the_owners_page_tells_everything_what_matters_first() -> None:
    report = two_lines()
    cards = owner_facts(report)["cards"]
    assert sorted(card["number"] for card in cards) == list(range(1, 11))
    assert [card["number"] for card in cards] == [4, 8, 6, 3, 7, 1, 2, 5, 9, 10]
    page = words_of(owner_html(report, undrawn(report)))
    for name in ("association", ROADS):
        assert name in page


def test_where_boundaries_contradict_each_letter_leaves_it_open() -> None:
    """A defect past the first line and before the second: each names another party for it."""
    report = end_in_doubt(far=False)
    (one, *_) = report.findings
    both = ("owner", "city")
    untold = replace(one, verdict="past", answers=(), may_answer=both, finding_class="defect")
    letter = PartyLetter("city", "curb", None, (), (), (untold,), ())
    told = replace(report, findings=(untold,), letters=(letter,))
    said = " ".join(seen_sentences(told, letter))
    assert "Who answers for finding 1 is left open: the boundaries contradict each other." in said
    assert "too close" not in said
    assert "settle who answers for finding 1?" in question(told, letter)
