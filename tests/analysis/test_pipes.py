"""Pipe runs and outside diameters."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from analysis.builder import HandRoute
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.analysis.pipes import OUTSIDE_DIAMETERS, find_outside_diameter, list_pipes
from lateral_map.model.pipe_sizes import NOMINAL_IN, nominal_inches
from lateral_map.model.site import PipeRun

INCH = 0.0254
MATERIALS = (
    "cast iron", "clay", "concrete", "pvc", "abs", "hdpe", "bituminous fibre", "other",
)  # fmt: skip


@pytest.mark.parametrize(
    ("material", "size_in", "outside_in", "standard"),
    [
        ("cast iron", 2, 2.30, "ASTM A74"),
        ("cast iron", 3, 3.30, "ASTM A74"),
        ("cast iron", 4, 4.30, "ASTM A74"),
        ("cast iron", 5, 5.30, "ASTM A74"),
        ("pvc", 3, 3.500, "ASTM D1785"),
        ("pvc", 4, 4.500, "ASTM D1785"),
        ("pvc", 8, 8.400, "ASTM D3034"),
        ("pvc", 10, 10.5, "ASTM D3034"),
        ("pvc", 12, 12.5, "ASTM D3034"),
        ("abs", 4, 4.500, "ASTM D2661"),
    ],
)
def test_published_outside_diameters(material, size_in, outside_in, standard):
    # ASTM A74, D1785/D2665, D3034 and D2661 sizes as read in secondary copies.
    found, is_guess = find_outside_diameter(material, size_in * INCH)
    assert found.inches == outside_in
    assert standard in found.source
    assert "from memory" not in found.source
    assert not is_guess


def test_a_pvc_sewer_pipe_never_gets_the_thinner_of_its_two_standards():
    # ASTM D3034 SDR-35: 4 in is 4.215, 6 in is 6.275; both are made in Schedule 40 too.
    assert find_outside_diameter("pvc", 4 * INCH)[0].inches > 4.215
    assert find_outside_diameter("pvc", 6 * INCH)[0].inches > 6.275


@pytest.mark.parametrize("material", ["clay", "concrete", "bituminous fibre"])
def test_what_is_from_memory_says_so(material):
    assert "from memory" in find_outside_diameter(material, 6 * INCH)[0].source


def test_a_size_between_takes_the_next_larger():
    found, is_guess = find_outside_diameter("clay", 5 * INCH)
    assert found.inches == OUTSIDE_DIAMETERS["clay"][6.0].inches
    assert is_guess
    assert "next larger size, 6 in" in found.source


def test_an_unlisted_pipe_is_a_guess_and_says_so():
    found, is_guess = find_outside_diameter("hdpe", 4 * INCH)
    assert is_guess
    assert "a guess" in found.source
    assert found.inches >= 4.5


@given(st.sampled_from(MATERIALS), st.sampled_from(NOMINAL_IN))
def test_no_pipe_is_thinner_outside_than_its_bore_allows(material, size_in):
    assert find_outside_diameter(material, size_in * INCH)[0].inches > size_in


@pytest.mark.parametrize(
    ("millimetres", "inches"),
    [
        (50, 2), (65, 2.5), (75, 3), (80, 3), (100, 4), (110, 4),
        (125, 5), (150, 6), (160, 6), (200, 8), (300, 12),
    ],
)  # fmt: skip
def test_metric_sizes_are_the_trades_inches(millimetres, inches):
    # DN sizes and their inch twins (common practice, no source).
    assert nominal_inches(millimetres / 1000.0) == inches


def test_a_size_far_from_any_nominal_stays_itself():
    assert nominal_inches(36 * INCH) == pytest.approx(36.0)


def with_pipes(*runs, **wishes):
    site = HandRoute(**wishes).site()
    return list_pipes(replace(site, pipes=runs))


def test_runs_follow_each_other_to_the_end():
    pipes = with_pipes(
        PipeRun(12.0, "pvc", 4 * INCH), PipeRun(0.0, "concrete", 6 * INCH), zero_m=0.0
    )
    assert [(p.material, p.from_m, p.to_m) for p in pipes] == [
        ("concrete", 0.0, 12.0), ("pvc", 12.0, 30.0),
    ]  # fmt: skip
    assert pipes[1].outside_diameter_m == pytest.approx(4.5 * INCH)


def test_what_nobody_stated_is_unknown_and_generous():
    for pipes in (with_pipes(), with_pipes(PipeRun(10.0, "pvc", 4 * INCH))):
        assert pipes[0].material == "not stated"
        assert pipes[0].size_m is None
        assert pipes[0].is_guess
        assert pipes[0].outside_diameter_m > 6 * INCH


@given(st.lists(st.floats(-2.0, 40.0), max_size=5, unique=True), st.floats(0.0, 3.0))
def test_the_whole_run_is_covered_once(starts, zero):
    runs = [PipeRun(at, "pvc", 4 * INCH) for at in starts]
    pipes = with_pipes(*runs, zero_m=zero)
    assert pipes[0].from_m == zero
    assert pipes[-1].to_m == pytest.approx(30.0 + zero)
    assert all(a.to_m == b.from_m for a, b in itertools.pairwise(pipes))
    assert all(p.to_m > p.from_m for p in pipes)
