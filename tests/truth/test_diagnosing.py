"""The scorer calls a slip told right only where it is, and counts verdicts by the truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import pytest
from truth.diagnosing import HEAD, _is_right, _is_there, measure_site, table
from truth.simulate import FOOT
from truth.slips import CLASSES, Planted, Slip, plant

from lateral_map.model.diagnosis import Applied
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import take_so
from lateral_map.report import build_report

SLIPS = [name for name in CLASSES if plant(name, 1).slips]


@dataclass
class Told:
    slip: Any
    probability: float = 0.9


def as_told(slip: Slip) -> Told:
    """Return the diagnosis that says just what was planted."""
    return Told(SimpleNamespace(slip=slip.slip, id=slip.reading, footage_m=slip.footage_m))


@pytest.mark.parametrize("name", SLIPS)
def test_the_planted_slip_itself_is_right(name):
    planted = plant(name, 1)
    for slip in planted.slips:
        assert _is_right(as_told(slip), slip, planted)


@pytest.mark.parametrize("name", SLIPS)
def test_another_slip_in_its_place_is_there_but_not_right(name):
    planted = plant(name, 1)
    for slip in planted.slips:
        other = as_told(replace(slip, slip="counter scale"))
        assert _is_there(other, slip, planted)
        assert not _is_right(other, slip, planted)


@pytest.mark.parametrize("name", SLIPS)
def test_the_slip_in_another_reading_is_neither(name):
    planted = plant(name, 1)
    for slip in planted.slips:
        moved = _moved(slip, planted)
        if moved is not None:
            assert not _is_there(as_told(moved), slip, planted)
            assert not _is_right(as_told(moved), slip, planted)


def _moved(slip: Slip, planted: Planted) -> Slip | None:
    """Return the same slip of another reading or place, None where it has none."""
    footage = None if slip.footage_m is None else slip.footage_m + 12.0 * FOOT
    if slip.reading is None:
        return None if footage is None else replace(slip, footage_m=footage)
    marks = [one.mark for one in planted.site.locates if one.mark != slip.reading.of]
    reading = ReadingId(slip.reading.kind, marks[0], slip.reading.column)
    return replace(slip, reading=reading, footage_m=footage)


def test_a_depth_too_deep_and_a_locator_held_up_are_one():
    planted = plant("depth 3 ft", 1)
    slip = planted.slips[0]
    assert _is_right(as_told(replace(slip, slip="held above left out")), slip, planted)


def test_verdicts_on_a_clean_site_hold_and_make_a_row():
    records = [measure_site("clean jobs", seed) for seed in (1, 2)]
    verdicts = [each for one in records for each in one["before"]["verdicts"]]
    assert len(verdicts) >= 10
    assert [right for _, right in verdicts].count(False) <= 1
    row = table(records, records).splitlines()[-1].split("|")
    assert row[1].strip() == "clean jobs"
    assert row[2].strip() == "2"
    assert row[1 + HEAD.index("lost")].strip() == "0.0%"


@pytest.mark.parametrize("seed", [20062, 20294])
def test_a_guessed_bend_makes_nothing_firm_until_it_is_checked(seed):
    """Its size and place are what fits best: notes as written and mended put a finding apart."""
    report = build_report(plant("bend 22.5 not noted", seed).site)
    asked = [one.verdict == "too close to call" for one in report.findings]
    guess = report.diagnoses[0].slip
    assert guess.slip == "bend not noted"
    assert guess.sd > 0.0
    taken, checked = (
        build_report(take_so(report.site, [Applied(guess, checked=sure)])) for sure in (False, True)
    )
    assert all(
        one.verdict == "too close to call"
        for one, was in zip(taken.findings, asked, strict=True)
        if was
    )
    assert sum(one.verdict == "too close to call" for one in checked.findings) < sum(asked)


@pytest.mark.parametrize(
    "name", [name for name in SLIPS if plant(name, 1).slips[0].reading is None]
)
def test_a_slip_of_the_whole_run_leaves_most_verdicts_firm(name):
    """It opens what it may turn: an answer bought by calling all too close is none."""
    found = [each for seed in (0, 1) for each in build_report(plant(name, seed).site).findings]
    firm = [one for one in found if one.verdict != "too close to call"]
    assert 2 * len(firm) > len(found)


def test_a_curb_drawn_wrong_and_never_taped_makes_verdicts_wrong():
    """Nothing checks the map then; the scorer must see it by the truth."""
    records = [measure_site("curb drawn wrong, not taped", seed) for seed in range(6)]
    firm = [right for one in records for _, right in one["before"]["verdicts"] if right is not None]
    assert firm.count(False) >= 1
