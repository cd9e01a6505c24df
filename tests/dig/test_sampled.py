"""A small sample of the digs that ``sampled.py`` compares."""

from __future__ import annotations

import pytest
from dig.sampled import disagreements


@pytest.mark.parametrize("seed", range(4))
def test_clear_inside_and_below_are_what_samples_in_space_say(seed):
    compared, wrong = disagreements(seed)
    assert compared > 10
    assert wrong == []
