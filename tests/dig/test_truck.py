"""The two pages for the truck."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from dig.truck import faults, generate
from paper import page_texts

from lateral_map.draw.dig.truck import truck_html
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.dig import RefindTape
from lateral_map.words.cautions import WHO_TO_CALL


@pytest.fixture(scope="module")
def review():
    return generate(3)


def test_two_pages_hold_all_that_lies_in_the_trench(review):
    assert any(one.in_the_way for one in review.conflicts)
    content = html_to_pdf(truck_html(review))
    assert faults(review, content) == []
    first, second = page_texts(content)
    assert first.index("STOP: gas pipe") < first.index("Call 811")
    assert second.index("STOP: foreign pipe") < second.index("Utilities")
    assert "sewer gas" in first.lower()
    for words in ("Utilities, worst first:", "Find again by tape", "Who to call:"):
        assert words in second


def test_a_long_name_is_cut_once(review):
    site = replace(review.report.site, name="Lower Upper Middle Saltings Road East " * 3)
    named = replace(review, report=replace(review.report, site=site))
    said = re.findall(r"<text[^>]*>([^<]*)</text>", truck_html(named))
    titles = [words for words in said if words.startswith("Lower Upper")]
    assert [words.partition("…")[2] for words in titles] == [
        ": the trench from the side", ": the dig from above",
    ]  # fmt: skip
    assert "[" not in "".join(titles)


def test_a_number_to_call_names_its_country():
    for line in WHO_TO_CALL[1]:
        for met in re.finditer(r"\d{3}", line):
            assert "USA" in line[: met.start()].rpartition("(")[2], line
            assert "____" in line[met.end() :].partition("  ")[0], line


def test_a_name_that_ends_in_a_colon_is_no_heading(review):
    site = review.report.site
    gate = replace(site.plan.points[0], name="gate:")
    site = replace(site, plan=replace(site.plan, points=(*site.plan.points, gate)))
    tape = RefindTape("gate:", 3.0)
    refinds = tuple(replace(one, tapes=(tape, tape), check=tape) for one in review.refinds)
    named = replace(review, report=replace(review.report, site=site), refinds=refinds)
    drawn = re.findall(r"<text([^>]*)>([^<]*)</text>", truck_html(named))
    bold = {words: 'font-weight="bold"' in how for how, words in drawn}
    assert bold["Find again by tape (check last):"]
    ending = [words for words in bold if words.endswith("gate:")]
    assert ending
    assert not any(bold[words] for words in ending)


def test_the_check_sees_small_text_and_text_over_text(review):
    small = (
        '<svg width="300" height="200" viewBox="0 0 300 200"><text x="9" y="40" font-size="7">'
        'gas and more</text><text x="30" y="41" font-size="12">over it</text></svg>'
    )
    said = " ".join(faults(review, html_to_pdf(f"<body>{small}</body>")))
    for words in ("1 pages", "text of", " over ", "not in the first lines"):
        assert words in said
