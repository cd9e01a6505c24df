"""Settings every test shares."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from chromium import launched
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser

HERE = Path(__file__).parent
# dev: new examples each time. ci: the same examples each time, so that a red build is about the
# change. thorough: many more, for an evening (HYPOTHESIS_PROFILE=thorough pytest).
settings.register_profile("dev", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))

# The files that take longest, longest first. Workers are given whole files in this order: one that
# was begun last would run on alone.
LONGEST = (
    "web/test_page", "same_bytes/test_same_bytes", "drawings/test_dragging", "web/test_keys",
    "drawings/test_page_in_browser", "web/test_whole_site", "web/test_kept",
    "agreement/test_agreement", "docs/test_commands", "packet/test_letter", "sheets/test_sheets",
    "batch/test_batch", "web/test_picture_page", "packet/test_parties", "cli/test_fuzzing",
    "drawings/test_map_view", "truth/test_coverage", "cli/test_commands", "packet/test_files",
    "packet/test_letters_on_paper", "dig/test_dig_files", "web/test_taps", "sheets/test_scale",
    "sheets/test_plan_on_paper",
    "report/test_any_site", "adjust/test_diagnose", "reading/test_picture", "packet/test_wording",
    "exchange/test_round_trips", "exports/test_registry", "cli/test_refer",
    "reading/test_open_data", "drawings/test_profile",
)  # fmt: skip


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest."""
    places = {HERE / f"{name}.py": place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: places.get(item.path, len(places)))


def pytest_collection_finish() -> None:
    """Leave what was collected out of every later search for rubbish, and search less often.

    Thousands of tests and what they import are never rubbish; the searches between allocations
    took a sixth of the time in which a PDF is laid out.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The one Chromium of a run: a second driver in the same process would refuse to start."""
    with launched() as chromium:
        yield chromium
