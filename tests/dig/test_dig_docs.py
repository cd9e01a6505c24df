"""Every figure of the trench rules is traced to its paragraph in the documentation."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lateral_map.analysis.dig import WIDEST_TOLERANCE_M
from lateral_map.analysis.trench_rules import FEDERAL_RULES

DOCS = Path(__file__).parents[2] / "docs" / "reference"


def rows(page):
    text = (DOCS / page).read_text("utf-8")
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| ") and "---" not in line
    ]


@pytest.mark.parametrize("rule", FEDERAL_RULES, ids=lambda rule: rule.key)
def test_the_table_says_what_the_program_uses(rule):
    (row,) = [row for row in rows("trench-rules.md") if row[0] == rule.key]
    assert row[1:5] == [rule.as_printed, rule.words, rule.paragraph, rule.standing]
    assert row[5] or rule.standing == "common practice"


@pytest.mark.parametrize("rule", FEDERAL_RULES, ids=lambda rule: rule.key)
def test_the_figure_is_what_is_printed(rule):
    if not rule.is_slope:
        printed = float(re.search(r"\(([\d.]+) m\)", rule.as_printed)[1])
        assert rule.value == pytest.approx(printed, abs=0.03)
        number, unit = re.search(r"(\d+) (feet|inches)", rule.as_printed).groups()
        assert rule.value == pytest.approx(int(number) * {"feet": 0.3048, "inches": 0.0254}[unit])
    elif "degrees" in rule.as_printed:
        # Table B-1 prints the angle to the whole degree: 53, 45, 34.
        degrees = int(re.search(r"\((\d+) degrees\)", rule.as_printed)[1])
        import math

        assert math.degrees(math.atan2(1.0, rule.value)) == pytest.approx(degrees, abs=0.5)


def test_where_no_zone_is_given_none_of_the_table_is_wider():
    widths = [re.match(r"([\d.]+) (in|m)\b", row[1]) for row in rows("tolerance-zones.md")]
    given = [float(one[1]) * {"in": 0.0254, "m": 1.0}[one[2]] for one in widths if one]
    assert len(given) >= 10
    assert pytest.approx(max(given)) == WIDEST_TOLERANCE_M


def test_zones_name_their_source_and_how_sure():
    zones = [row for row in rows("tolerance-zones.md") if len(row) == 5][1:]
    assert len(zones) >= 10
    for row in zones:
        assert row[3]
        assert row[4]
