"""Who answers along the run is who answers for what is found there, whatever puts it in doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from analysis.builder import HandRoute, line
from truth.slips import plant

from lateral_map.batch.summary import who_answers_words
from lateral_map.cli.summary import drawing_parts
from lateral_map.model.boundaries import find_contradictions
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Report
from lateral_map.model.site import Boundary, Finding, Site
from lateral_map.report import build_report, report_on
from lateral_map.words.owner import owner_facts
from lateral_map.words.picked import finding_picked
from lateral_map.words.technician import report_tables
from lateral_map.words.utility import letter_facts

APART_M = 0.5


def seen_all_along(site: Site) -> Report:
    """Return the report of a site on which a crack is seen every half metre."""
    first = site.counter.zero_m + site.start.riser_m + 0.2
    places = np.arange(first, min(site.run.end_m, first + 150.0), APART_M)
    return build_report(replace(site, findings=tuple(Finding(float(at), "crack") for at in places)))


def at_odds(report: Report) -> list[str]:
    """Return the findings for which others may answer than where they lie along the run.

    Left out are those so near a crossing that the range it is told with says as much.
    """
    noise = report.site.counter.sd_reading_m
    found = []
    for one in report.findings:
        at = one.finding.footage_m
        for part in report.responsibility:
            low, high = (
                TWO_SIDED_95 * float(np.hypot(sd, noise)) if line else 0.0
                for sd, line in (
                    (part.sd_from_m, part.line_from),
                    (part.sd_to_m, part.line_to),
                )
            )
            inside = part.from_m + low <= at <= part.to_m - high
            if inside and set(part.parties) != set(one.may_answer):
                found.append(f"{at:.1f} m: {one.may_answer}, along the run {part.parties}")
    return found


@pytest.mark.parametrize(
    ("name", "seed"),
    [
        ("counter +4 ft", 0),
        ("riser left out", 0),
        ("start elsewhere", 1),
        ("45 as 90", 4),
        ("Student t errors", 4),
        ("point lost, no end", 4),  # it comes near the line again far beyond where it crosses it
    ],
)
def test_a_finding_put_in_doubt_at_a_line_the_run_crosses_is_open_along_the_run_too(
    name: str, seed: int
) -> None:
    report = seen_all_along(plant(name, seed).site)
    assert any(one.line for one in report.deciding_crossings)
    assert at_odds(report) == []


@pytest.mark.parametrize(
    ("name", "seed"), [("counter +4 ft", 0), ("riser left out", 0), ("start elsewhere", 1)]
)
def test_a_located_run_knows_the_start_s_side_of_a_line_without_the_start_s_own_place(
    name: str, seed: int
) -> None:
    site = plant(name, seed).clean_site
    told, kept = (
        seen_all_along(replace(site, start=replace(site.start, sd_m=sd)))
        for sd in (1000.0, site.start.sd_m)
    )
    firm = [(one.finding, one.answers) for one in told.findings if one.answers]
    known = [(one.finding, one.answers) for one in kept.findings if one.answers]
    assert {answers for _, answers in firm} == {("owner",), ("city",)}
    assert len(firm) >= 0.8 * len(known)


def test_what_contradicting_boundaries_leave_open_says_so_and_not_that_it_is_close() -> None:
    """In its own row of every product: the tables, what is picked, the letter, the owner's page."""
    curb = line("curb", (20.0, 9.0), (20.0, -9.0), sd_m=0.1)
    route = HandRoute(
        lines=(curb,),
        boundaries=(
            Boundary("curb", "owner", "city", decides=True),
            Boundary("main", "owner", "county", True, "main"),
        ),
        findings=(Finding(26.0, "crack"),),
    ).build()
    report = report_on(route)
    (found,) = report.findings
    assert (found.verdict, found.answers) == ("past", ())
    assert found.left_open == "boundaries contradict"
    (table,) = (one for one in report_tables(report) if one.key == "findings")
    (letter,) = (one for one in report.letters if one.party == "city")
    (card,) = owner_facts(report)["cards"]
    (row,) = letter_facts(report, letter)["close"]
    told = {
        "table": " ".join(table.rows[0].cells),
        "picked": str(finding_picked(report, found).rows),
        "letter": row["side"],
        "owner": card["whose"],
        "programme": who_answers_words(None, "city; owner", found.verdict),
        "terminal": " ".join(map(str, drawing_parts(report))),
    }
    for where, words in told.items():
        assert "the boundaries contradict each other" in words, where
        assert "too close" not in words, where
    assert table.rows[0].alarm
    assert "the record" in row["settle"]
    assert "uncovering" not in row["settle"]
    steps = " ".join(owner_facts(report)["next"])
    assert "the record of who answers for finding 1" in steps
    assert "too close" not in steps


@pytest.mark.parametrize("slip", ["two slips", "counter scale 3 %", "depth inches as feet"])
def test_what_diagnoses_make_doubtful_is_not_said_to_be_contradicted(slip: str) -> None:
    """Where a diagnosis leaves a beginning in doubt, its far part keeps its party."""
    report = build_report(plant(slip, 1).site)
    site = report.site
    start = np.array([site.start.easting_m, site.start.northing_m])
    assert find_contradictions(site.boundaries, site.plan, start) == []
    verdicts = {one.verdict for one in report.findings}
    assert "past from within" in verdicts
    for one in report.findings:
        assert one.left_open in (None, "too close to call")
        assert set(one.answers) <= set(one.surely_answers) <= set(one.may_answer)
