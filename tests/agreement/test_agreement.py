"""Every output of a site says the same; the full bar is ``python -m agreement`` (DEVELOPERS.md)."""

from __future__ import annotations

from pathlib import Path

import pytest

from agreement.bar import disagreements
from agreement.sites import COVERING, write_site


@pytest.mark.parametrize("seed", range(len(COVERING)))
def test_pages_and_files_say_what_result_json_says(tmp_path: Path, seed: int) -> None:
    write_site(tmp_path, seed)
    assert disagreements(tmp_path, papers=False) == []


@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (0, 4, 11))]
)
def test_letters_sheet_and_owners_page_say_it_too(tmp_path: Path, seed: int) -> None:
    write_site(tmp_path, seed)
    assert disagreements(tmp_path, papers=True) == []
