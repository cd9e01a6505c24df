"""The linear algebra of a line runs on one thread, and the caller gets his threads back."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from adjust.builder import straight_site, surveyed
from threadpoolctl import threadpool_info, threadpool_limits

import lateral_map.report as report_module
from lateral_map.model.threads import one_blas_thread


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


def test_a_report_is_built_on_one_thread(monkeypatch):
    seen = []
    whole = report_module.adjust_route

    def spy(site):
        seen.append(threads())
        return whole(site)

    monkeypatch.setattr(report_module, "adjust_route", spy)
    with threadpool_limits(2, user_api="blas"):
        report_module.build_report(straight_site(locate_footages_m=(9.0,), tie=surveyed))
        assert threads() == {2}
    assert seen[0] == {1}


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
