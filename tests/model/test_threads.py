"""The linear algebra of a line runs on one thread, and the caller gets his threads back."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from threadpoolctl import threadpool_info, threadpool_limits

from lateral_map import adjust
from lateral_map.adjust.diagnose import explain
from lateral_map.adjust.near import adjust_near, fitted_of
from lateral_map.adjust.route import adjust_route
from lateral_map.adjust.screening import check_readings
from lateral_map.model.threads import one_blas_thread
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report

ADJUST = Path(adjust.__file__).parent
TAPE_ONLY = Path(__file__).parents[2] / "demo_sites" / "tape_only"


def threads():
    return {one["num_threads"] for one in threadpool_info() if one["user_api"] == "blas"}


def test_one_inside_and_as_before_outside():
    np.ones((2, 2)) @ np.ones((2, 2))
    with threadpool_limits(2, user_api="blas"):
        with one_blas_thread():
            assert threads() == {1}
            with one_blas_thread():
                assert threads() == {1}
            assert threads() == {1}
        assert threads() == {2}


ROUTE = adjust_route(straight_site(locate_footages_m=(9.0,), tie=surveyed))
NEAR = fitted_of(ROUTE)


@pytest.mark.parametrize(
    "work",
    [
        lambda: adjust_route(ROUTE.site),
        lambda: adjust_near(ROUTE.site, NEAR),
        lambda: check_readings(ROUTE),
        lambda: explain(ROUTE),
        lambda: build_report(ROUTE.site),
        lambda: load_site(TAPE_ONLY),
    ],
    ids=["adjust", "adjust near", "screen", "explain", "report", "sketch"],
)
def test_the_work_is_done_on_one_thread_whoever_calls(work):
    seen = []

    def look(frame, event, _):
        if event == "call" and Path(frame.f_code.co_filename).parent == ADJUST and len(seen) < 60:
            seen.append((frame.f_code.co_name, threads()))

    with threadpool_limits(2, user_api="blas"):
        sys.setprofile(look)
        try:
            work()
        finally:
            sys.setprofile(None)
        assert threads() == {2}
    assert seen
    assert [one for one in seen if one[1] != {1}] == []


def test_callers_side_by_side_leave_nothing_behind():
    def enter(_):
        with one_blas_thread():
            return np.linalg.inv(np.eye(3)).sum()

    with threadpool_limits(2, user_api="blas"):
        with ThreadPoolExecutor(8) as pool:
            assert sum(pool.map(enter, range(64))) == 64 * 3
        assert threads() == {2}


def test_a_failure_gives_the_threads_back():
    with threadpool_limits(2, user_api="blas"):
        with pytest.raises(ZeroDivisionError), one_blas_thread():
            _ = 1 / 0
        assert threads() == {2}
