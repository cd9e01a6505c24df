"""A run turned round says the same; ``python tests/agreement/turned.py`` asks it of 100 sites."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from agreement.turned import check_seed, compare, write_pair
from lateral_map.model.results import FallStretch, Report
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report


# Two lines; a depth misread; boundaries that contradict; to the house first; a cleanout.
@pytest.mark.parametrize("seed", [4, 5, 10, 2, 6])
def test_a_run_from_the_other_end_says_the_same(seed: int) -> None:
    assert check_seed(seed) == []


def test_what_differs_is_told(tmp_path: Path) -> None:
    there, back = (build_report(load_site(folder)) for folder in write_pair(tmp_path, 4))
    one = there.findings[0]
    moved = replace(one, may_answer=("county",), answers=("county",))
    deeper = replace(one, near=replace(one.near, depth_m=one.near.depth_m + 1.0))
    for changed, said in ((moved, "answers ('county',)"), (deeper, "m deep, turned round")):
        told = compare(replace(there, findings=(changed, *there.findings[1:])), back)
        assert any(said in each for each in told)
    assert any("falls" in each for each in compare(there, replace(back, falls=_reversed(back))))
    assert any("letters to" in each for each in compare(replace(there, letters=()), back))


def _reversed(report: Report) -> tuple[FallStretch, ...]:
    return tuple(replace(one, ratio=-one.ratio) for one in report.falls)
