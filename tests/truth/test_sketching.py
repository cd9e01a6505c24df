"""A few of the jobs of ``sketching.py``: the long run is a script."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from truth.sketching import make_job, measure, report_of


def test_lines_drawn_from_a_tape_alone_lie_where_they_say(tmp_path: Path) -> None:
    misses = []
    for seed in range(8):
        job = make_job(seed)
        misses.append(measure(job, report_of(job, tmp_path / str(seed))))
    place = np.array([one for each in misses for one in each["place"]])
    rest = np.array(
        [one for each in misses for key in ("crossing", "finding") for one in each[key]]
    )
    # Of 48 places at 95 %, fewer than 38 inside would be chance once in a million; a spread beyond
    # half or one and a half of what is stated as seldom.
    assert (place < 5.991).sum() >= 38
    assert 0.5 < np.sqrt(np.mean(rest**2)) < 1.5
