"""Settings every test shares."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from chromium import launched
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser

# dev: new examples each time. ci: the same examples each time, so that a red build is about the
# change. thorough: many more, for an evening (HYPOTHESIS_PROFILE=thorough pytest).
settings.register_profile("dev", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.register_profile(
    "thorough", deadline=None, max_examples=2000, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "ci" if os.environ.get("CI") else "dev"))


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The one Chromium of a run: a second driver in the same process would refuse to start."""
    with launched() as chromium:
        yield chromium
