"""Whatever is left out or repeated, a site gives a whole report or one plain error."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from truth.simulate import simulate

from lateral_map.errors import AdjustmentError, Fault
from lateral_map.export.registry import make_products
from lateral_map.export.result import result_json
from lateral_map.model.results import Report
from lateral_map.model.site import Bend, PipeRun, Site, SpotLevel, TapeTie
from lateral_map.report import build_report

Change = Callable[[Site], Site]


def locates(change: Callable[[Any], Any]) -> Change:
    """Return a change made to every locate."""
    return lambda site: replace(site, locates=tuple(change(one) for one in site.locates))


def only(count: int) -> Change:
    """Return a change that keeps the first few locates."""
    return lambda site: replace(site, locates=site.locates[:count])


def start(**given_fields: Any) -> Change:
    """Return a change of the start."""
    return lambda site: replace(site, start=replace(site.start, **given_fields))


def through_a_corner(site: Site) -> Site:
    """Give every line a corner half-way along, a little aside."""
    lines = [
        replace(one, vertices_m=np.insert(one.vertices_m, 1, one.vertices_m.mean(axis=0) + 0.4, 0))
        for one in site.plan.lines
    ]
    return replace(site, plan=replace(site.plan, lines=tuple(lines)))


def far_from_home(site: Site) -> Site:
    """Move only the numbers of start and plan, as a site tied by tapes and lines alone may."""
    by = np.array([6e5, 4.8e6])
    plan = replace(
        site.plan,
        lines=tuple(replace(one, vertices_m=one.vertices_m + by) for one in site.plan.lines),
        points=tuple(
            replace(one, easting_m=one.easting_m + by[0], northing_m=one.northing_m + by[1])
            for one in site.plan.points
        ),
    )
    begin = replace(
        site.start,
        easting_m=site.start.easting_m + by[0],
        northing_m=site.start.northing_m + by[1],
    )
    tapes = locates(
        lambda one: replace(one, ties=tuple(t for t in one.ties if isinstance(t, TapeTie)))
    )
    return tapes(replace(site, plan=plan, start=begin))


def without_lines(site: Site) -> Site:
    """Leave nothing on the plan but points."""
    tapes = locates(
        lambda one: replace(one, ties=tuple(t for t in one.ties if not hasattr(t, "line")))
    )
    return tapes(replace(site, boundaries=(), plan=replace(site.plan, lines=())))


def one_level(site: Site) -> Site:
    """Give one spot level and nothing else about the ground."""
    level = SpotLevel(site.start.easting_m + 3.0, site.start.northing_m, 10.0)
    return replace(site, plan=replace(site.plan, levels=(level,)))


CHANGES: dict[str, Change] = {
    "no locates": only(0),
    "one locate": only(1),
    "no ties": locates(lambda one: replace(one, ties=())),
    "one tie each": locates(lambda one: replace(one, ties=one.ties[:1])),
    "no depths": locates(lambda one: replace(one, depth_m=None)),
    "no levels": locates(lambda one: replace(one, ground_m=None)),
    "nothing used": locates(lambda one: replace(one, use=False)),
    "two at a footage": lambda site: replace(site, locates=(*site.locates[:1], *site.locates)),
    "no findings": lambda site: replace(site, findings=()),
    "stretches": lambda site: replace(
        site, findings=tuple(replace(f, to_m=site.run.end_m) for f in site.findings)
    ),
    "no boundaries": lambda site: replace(site, boundaries=()),
    "all decide": lambda site: replace(
        site, boundaries=tuple(replace(b, decides=True) for b in site.boundaries)
    ),
    "lines through a corner": through_a_corner,
    "lines as exact": lambda site: replace(
        site,
        plan=replace(site.plan, lines=tuple(replace(one, sd_m=0.0) for one in site.plan.lines)),
    ),
    "no lines": without_lines,
    "one spot level": one_level,
    "no start depth": start(depth_m=None),
    "no start level": start(ground_m=None),
    "no azimuth": start(azimuth_deg=None),
    "riser": start(riser_m=1.2),
    "nearly all riser": lambda site: start(riser_m=site.run.end_m - 0.05)(site),
    "counter from 5 m": lambda site: replace(site, counter=replace(site.counter, zero_m=5.0)),
    "counter below nought": lambda site: replace(site, counter=replace(site.counter, zero_m=-2.0)),
    "short run": lambda site: replace(site, run=replace(site.run, end_m=0.4, end="not reached")),
    "a drop": lambda site: replace(site, bends=(*site.bends, Bend(4.0, fall_deg=88.0))),
    "no bends": lambda site: replace(site, bends=()),
    "no pipes": lambda site: replace(site, pipes=()),
    "odd pipes": lambda site: replace(
        site, pipes=(PipeRun(3.0, "other", 0.077, 0.1), PipeRun(900.0, "abs", 0.1))
    ),
    "metric": lambda site: replace(site, unit="m"),
    "far from home": far_from_home,
}


def unfinished(value: Any, name: str = "report") -> list[str]:
    """Return the names of all numbers in a report that are no numbers."""
    if is_dataclass(value):
        each = ((getattr(value, one.name), one.name) for one in fields(value))
        return [found for part, own in each for found in unfinished(part, f"{name}.{own}")]
    if isinstance(value, tuple):
        return [found for i, part in enumerate(value) for found in unfinished(part, f"{name}[{i}]")]
    if isinstance(value, float) or (isinstance(value, np.ndarray) and value.dtype.kind == "f"):
        return [] if np.isfinite(value).all() else [name]
    return []


def attempt(site: Site) -> tuple[Report | None, tuple[Fault, ...]]:
    """Return a site's report, or why it can have none."""
    try:
        return build_report(site), ()
    except AdjustmentError as error:
        return None, error.faults


@given(st.integers(0, 100_000), st.sets(st.sampled_from(sorted(CHANGES)), max_size=5))
# Read otherwise, the notes leave nothing of a stretch that has a fall.
@example(0, {"short run", "counter below nought", "a drop", "all decide"})
@settings(max_examples=40)
def test_every_number_of_a_report_is_one(seed, names):
    site, _ = simulate(seed)
    for name in sorted(names):
        site = CHANGES[name](site)
    report, faults = attempt(site)
    if report is None:
        assert faults
        assert all(fault.remedy for fault in faults)
        return
    assert unfinished(report) == []
    assert json.loads(result_json(report))["stations"]
    lows = [*report.stations.depth_sd_m, *report.stations.across_sd_m, *report.dig.half_width_m]
    assert min(lows) >= 0.0
    assert all(0.0 <= s.probability_past <= 1.0 for f in report.findings for s in f.sides)


@pytest.mark.parametrize(
    "names",
    [
        ("no locates", "no findings", "no lines", "no pipes", "no azimuth"),
        ("one locate", "nearly all riser", "all decide", "stretches"),
        ("short run", "no levels", "metric"),
        ("far from home", "a drop", "one spot level", "counter from 5 m", "odd pipes"),
    ],
)
def test_the_barest_sites_are_drawn_and_written_whole(names):
    site, _ = simulate(7)
    for name in names:
        site = CHANGES[name](site)
    made = make_products(build_report(site))
    assert all(made.values())
    assert not re.search(r"\b(nan|inf)\b", made["profile.svg"].decode())
