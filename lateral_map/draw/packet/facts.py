"""Everything the packet's templates show, as plain values."""

from __future__ import annotations

from typing import Any

from lateral_map.draw.packet.sorting import (
    Sorted,
    deciding_boundary,
    deciding_crossing,
    of_group,
    sort_findings,
)
from lateral_map.draw.packet.words import (
    coordinates_sentence,
    crossing_sentence,
    finding_row,
    fit_sentences,
    locate_row,
    mapped_words,
    numbers_words,
    reference_rows,
    run_length,
    the_line,
)
from lateral_map.model.results import Report
from lateral_map.words.cautions import CAUTIONS
from lateral_map.words.names import reading_name
from lateral_map.words.notices import drawing_notices
from lateral_map.words.numbers import label, tidy, unit_sentence
from lateral_map.words.technician import report_tables

_WORDS = 1500
_EVIDENCE = ("crossings", "responsibility", "falls", "readings")


def packet_facts(report: Report) -> dict[str, Any]:
    """Return what every part of the packet may show; the letter's template sees all of it."""
    site, boundary = report.site, deciding_boundary(report)
    findings = sort_findings(report)
    past, across = of_group(findings, "past"), of_group(findings, "across")
    close, inside = of_group(findings, "close"), of_group(findings, "inside")
    return {
        "site": tidy(site.name, 120),
        "date": site.date.isoformat() if site.date else "",
        "to_lines": _text_lines(site.referral.to),
        "from_lines": _text_lines(site.referral.sender),
        "reference": tidy(site.referral.reference, 200),
        "signature_lines": _text_lines(site.referral.signature),
        "question": tidy(site.referral.question, _WORDS) or question(report, findings),
        "line": the_line(boundary.line) if boundary else "",
        "line_mapped": mapped_words(report, boundary.line) if boundary else "",
        "party_inside": label(boundary.inside) if boundary else "",
        "party_past": label(boundary.outside) if boundary else "",
        "crosses": deciding_crossing(report) is not None,
        "length": run_length(report),
        "reached_main": site.run.reached_main,
        "crossing": crossing_sentence(report),
        "total": len(findings),
        "past": [finding_row(report, each) for each in past],
        "across": [finding_row(report, each) for each in across],
        "close": [finding_row(report, each) for each in close],
        "inside": [finding_row(report, each) for each in inside],
        "no_line": [finding_row(report, each) for each in of_group(findings, "no line")],
        "past_numbers": numbers_words(past),
        "across_numbers": numbers_words(across),
        "close_numbers": numbers_words(close),
        "coordinates": coordinates_sentence(report),
        "units": unit_sentence(site.unit),
        "position_head": "Position" if site.frame.is_local else "Latitude, longitude; x,\u00a0y",
        "cautions": list(CAUTIONS),
        "suspects": len(report.suspects),
        "alternatives": len(report.route.alternatives),
    }


def evidence_facts(report: Report) -> dict[str, Any]:
    """Return what the evidence pages show beside the packet's facts."""
    return {
        "locates": [locate_row(report, locate) for locate in report.site.locates],
        "references": reference_rows(report),
        "tables": [table for table in report_tables(report) if table.key in _EVIDENCE],
        "fit": fit_sentences(report),
        "notices": drawing_notices(report),
        "suspects": [
            tidy(reading_name(check.id, report.site.plan), 80) for check in report.suspects
        ],
    }


def question(report: Report, findings: tuple[Sorted, ...]) -> str:
    """Return the one sentence asked of the utility where the site gives none of its own.

    It asks; it claims nothing. What is too close to call is asked about as such.
    """
    boundary = deciding_boundary(report)
    if boundary is None:
        return (
            "Will you tell us at which line responsibility for this lateral changes, and on which "
            "record or code that rests?"
        )
    line = the_line(boundary.line)
    past = (*of_group(findings, "past"), *of_group(findings, "across"))
    close = of_group(findings, "close")
    if past:
        which = numbers_words(tuple(sorted(past, key=lambda each: each.number)))
        return (
            f"Will you confirm whether the pipe past {line} is yours and, if it is, what will be "
            f"done about {which}, and when?"
        )
    if close:
        return (
            f"Will you meet us on site, or let us see the record, to settle on which side of "
            f"{line} {numbers_words(close)} lie{'s' if len(close) == 1 else ''}?"
        )
    return f"Will you tell us whether you need anything more about the pipe past {line}?"


def _text_lines(text: str) -> list[str]:
    return [tidy(line, 200) for line in tidy(text, _WORDS).splitlines()[:12]]
