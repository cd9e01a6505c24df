"""What every test of one question shares."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from lateral_map.model import noise


@pytest.fixture(scope="module", autouse=True)
def _no_errors_with_tails() -> Iterator[None]:
    """Let errors be normal: these hold arithmetic on stated sds, on routes of few readings.

    How likely errors have tails, and how much that widens an answer, tests/model holds.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(noise, "_SITES_WITH_TAILS", 1e-12)
        yield
