"""What a technician reads when something on the map is picked: what was read, in plain words."""

from __future__ import annotations

import re

import pytest

from lateral_map.draw.data import data_json, map_data
from lateral_map.model.results import Report
from lateral_map.model.site import OffsetTie
from lateral_map.words.names import tie_words
from lateral_map.words.picked import Detail, locate_picked

# Words of the adjustment, which say nothing to who holds the tape.
JARGON = re.compile(
    r"\bsd\b|\bsigma\b|chi-?squared?|\bodds\b|standardised|redundancy|p-value|Checked \d",
    re.IGNORECASE,
)


def picked(report: Report, mark: str) -> Detail:
    (result,) = [one for one in report.locates if one.locate.mark == mark]
    return locate_picked(report, result)


def test_a_tape_is_said_as_it_is_read_with_its_point_and_how_far_off_it_is(report) -> None:
    rows = dict(picked(report, "A").rows)
    assert rows["Verdict"] == "agrees with the other readings"
    assert rows["Tape 1"] == "15 ft 0 in (15.0 ft) from house SE; off by 0.1 ft"
    assert rows["Tape 2"] == "26 ft 0 in (26.0 ft) from house NE; off by 0.2 ft"
    assert rows["Depth read"] == "4 ft 2 1/2 in (4.2 ft); off by 0.1 ft"


def test_a_locator_held_above_the_ground_is_said(report) -> None:
    said = dict(picked(report, "B").rows)["Depth read"]
    assert said == "4 ft 8 1/2 in (4.7 ft), held 0 ft 4 3/4 in (0.4 ft) above the ground"


def test_a_suspect_is_named_on_the_locate_and_on_the_reading(report) -> None:
    rows = dict(picked(report, "C").rows)
    assert rows["Verdict"].startswith("SUSPECT")
    assert rows["Surveyed"].endswith("; SUSPECT, off by 4.7 ft: set this one aside first")
    assert rows["Off the line"] == "29 ft 0 in (29.0 ft) left of curb; off by 0.3 ft"


def test_what_nothing_checks_and_what_is_set_aside_are_said(report) -> None:
    rows = dict(picked(report, "D").rows)
    assert rows["Tape 1"] == "24 ft 0 in (24.0 ft) from hydrant; nothing checks it"
    assert "no other reading checks it" in rows["Verdict"]
    assert "not used" in dict(picked(report, "F").rows)["Verdict"]


def test_a_metric_site_gives_metres_alone(make_report) -> None:
    rows = dict(picked(make_report(unit="m", level_ground=True), "A").rows)
    assert rows["Tape 1"] == "4.57 m from house SE; off by 0.03 m"


@pytest.mark.parametrize("wishes", [{}, {"unit": "m", "level_ground": True}], ids=str)
def test_no_word_of_the_adjustment_stands_on_the_page(make_report, wishes) -> None:
    data = map_data(make_report(**wishes), widths=())
    del data["style"]
    assert JARGON.findall(data_json(data)) == []


@pytest.mark.parametrize(("right", "offset_m", "side"), [
    (True, 0.3, "past"), (True, -0.3, "short of"), (False, 0.3, "short of"), (False, -0.3, "past"),
])  # fmt: skip
def test_a_tie_to_a_line_says_whether_it_lies_past_it(right, offset_m, side) -> None:
    tie = OffsetTie("curb", offset_m, 0.03, as_past=True, past_is_right=right)
    assert tie_words(tie, lambda value_m: f"{value_m:.1f} m") == f"0.3 m {side} curb"
