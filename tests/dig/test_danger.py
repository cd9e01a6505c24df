"""What could hurt someone comes first, the same in every output; one figure for one fact."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from functools import cache
from io import StringIO

import numpy as np
import pytest
import shapely
from dig.builder import FOOT
from rich.console import Console
from shapely.geometry import LineString
from truth.simulate import simulate

from lateral_map.cli.summary import check_parts, drawing_parts
from lateral_map.dig_review import build_dig_review
from lateral_map.draw.dig.layers import dig_layers
from lateral_map.draw.dig.page import dig_page
from lateral_map.draw.dig.tables import conflicts_table, reach_tables, refind_table
from lateral_map.draw.dig.truck import truck_html
from lateral_map.draw.packet.document import owner_html, sheet_html
from lateral_map.draw.page import map_page
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.export.dig_files import dig_geojson, refind_csv
from lateral_map.model.site import Finding, Reach, UtilityLine
from lateral_map.model.walls import WallShape
from lateral_map.report import build_report
from lateral_map.units import earth_metres_per
from lateral_map.words.excavator import dig_facts, dig_notices, summary_lines, urgent_lines

KINDS = ("gas", "electric", "water", "communication", "sewer", "reclaimed")
Z95 = 1.959964


@cache
def generated(seed):
    """Return the review of a simulated line among utilities across, along and beside it."""
    site, truth = simulate(seed)
    rng = np.random.default_rng(seed)
    true = np.array([truth.at(at)[:2] for at in np.linspace(0.0, site.run.end_m, 60)])
    lines = []
    for index in range(7):
        k = int(rng.integers(5, 55))
        ahead = true[min(k + 2, 59)] - true[k - 2]
        ahead = ahead / np.hypot(*ahead)
        right = np.array([ahead[1], -ahead[0]])
        along = index % 2 == 0
        middle = true[k] + rng.normal(0.0, 0.5 if along else 3.0) * right
        turn = rng.uniform(-0.2, 0.2) if along else rng.uniform(0.6, 2.5)
        way = np.cos(turn) * ahead + np.sin(turn) * right
        reach = rng.uniform(1.0, 6.0)
        depth = None if index % 3 == 0 else float(rng.uniform(0.2, 4.0))
        ends = np.array([middle - reach * way, middle + reach * way])
        lines.append(UtilityLine(f"line {index}", KINDS[index % 6], ends, depth, 0.15))
    site = replace(
        site,
        plan=replace(site.plan, utilities=tuple(lines)),
        reaches=(Reach(0.2 * site.run.end_m, 0.6 * site.run.end_m),),
    )
    return build_dig_review(build_report(site))


def lies_inside(review, line):
    """Say by sampling whether a mapped line lies in the trench as estimated: no, yes, or nearly."""
    profile = review.report.trench
    fine = profile.at(np.arange(profile.footage_m[0], profile.footage_m[-1], 0.02))
    ends = line.vertices_m
    many = ends[0] + np.linspace(0.0, 1.0, 1200)[:, None] * (ends[1] - ends[0])
    away = np.hypot(*(many[:, None] - fine.place_m[None]).transpose(2, 0, 1))
    nearest = away.argmin(axis=1)
    gap = away.min(axis=1) - fine.width_m[nearest] / 2.0
    above = line.depth_m is None or line.depth_m <= fine.bottom_depth_m[nearest]
    return bool(np.any((gap < -0.03) & above)), bool(np.all(gap > 0.03))


def in_the_slope(review):
    """Return the names of lines of which a sample lies in the earth over a sloped reach's walls."""
    found = set()
    for one in review.reaches:
        begin, end = one.reach.begin.footage_m, one.reach.end.footage_m
        at = review.profile.at(np.arange(begin, end, 0.05))
        edge = np.minimum(*at.edges_m(one.excavation.sloped.shape, 0.0))
        for line in review.report.site.plan.utilities:
            mapped = LineString(line.vertices_m)
            gap = np.asarray(shapely.distance(shapely.points(at.place_m), mapped)) - edge
            shallow = line.depth_m is None or line.depth_m < at.bottom_depth_m
            if one.chosen != "shored" and np.any((gap < -0.03) & shallow):
                found.add(line.name)
    return found - {one.name for one in review.conflicts if one.joins}


@pytest.mark.parametrize("seed", range(12))
def test_whatever_lies_in_the_trench_comes_first(seed):
    review = generated(seed)
    inside = {
        line.name for line in review.report.site.plan.utilities if lies_inside(review, line)[0]
    } - {one.name for one in review.conflicts if one.joins}
    outside = {
        line.name for line in review.report.site.plan.utilities if lies_inside(review, line)[1]
    }
    ranked = [one.name for one in review.conflicts]
    told = [one.name for one in review.conflicts if one.in_trench and not one.joins]
    assert inside <= set(told)
    assert not outside & set(told)
    assert ranked[: len(told)] == told  # nothing else is ranked before them
    known = [one.depth_known for one in review.conflicts if one.in_trench and not one.joins]
    assert known == sorted(known)  # a depth that nobody knows is the worse danger
    urgent = urgent_lines(review)
    # After it what the sloped walls lay open beside it: all that samples find, in order of danger.
    laid_open = [one.name for one, _ in review.dug_into]
    assert laid_open == [name for name in ranked if name in laid_open]
    assert in_the_slope(review) <= {*told, *laid_open}
    heads = [f"IN THE TRENCH {name}" for name in told]
    heads += [f"IN THE SLOPED CUT {name}" for name in laid_open]
    said = [re.sub(r"^(IN THE [A-Z ]+?) *(?:\([^)]*\))?: (line \d).*", r"\1 \2", w) for w in urgent]
    assert said == heads
    # Terminal and page: the first lines, all of them, in that order.
    (fact,) = [one for one in dig_facts(review)[:1] if one.name == "In the trench"]
    assert re.findall(r"line \d", fact.note) == told
    assert re.findall(r"line \d", summary_lines(review)[0]) == told
    assert dig_notices(review)[: len(urgent)] == urgent
    page = dig_page(review)
    head = page[page.index("Before the first bucket") : page.index("Call 811")]
    assert re.findall(r"IN THE TRENCH[^:]*: (line \d)", head) == told
    assert re.findall(r"IN THE SLOPED CUT[^:]*: (line \d)", head) == laid_open
    assert [row.cells[0] for row in conflicts_table(review).rows] == ranked
    layer = next(one for one in dig_layers(review) if one.key == "conflicts")
    assert set(told) <= {mark.caption for mark in layer.items}
    zones = [
        feature["properties"]
        for feature in json.loads(dig_geojson(review))["features"]
        if feature["properties"]["layer"] == "tolerance zone"
    ]
    assert [(one["name"], one["rank"]) for one in zones] == list(zip(ranked, range(1, 8)))  # noqa: B905


def test_the_generated_digs_hold_every_case():
    conflicts = [one for seed in range(12) for one in generated(seed).conflicts]
    trench = [one for one in conflicts if one.in_trench]
    assert {one.relation for one in trench} >= {"crosses", "along"}
    assert {one.depth_known for one in trench} == {True, False}
    assert any(one.crossings and not one.in_trench for one in conflicts)


@pytest.mark.parametrize("seed", range(0, 12, 3))
def test_a_utility_has_one_clearance(seed):
    review = generated(seed)
    zones = {
        feature["properties"]["name"]: feature["properties"]
        for feature in json.loads(dig_geojson(review))["features"]
        if feature["properties"]["layer"] == "tolerance zone"
    }
    per = {"ft": FOOT, "us_ft": 1200 / 3937, "m": 1.0}[review.report.site.unit]
    decimals = 2 if per == 1.0 else 1
    for one, row in zip(review.conflicts, conflicts_table(review).rows, strict=True):
        if one.clearance_m is None:
            assert zones[one.name]["clearance"] is None
            assert "UNKNOWN" in row.cells[6] or "unknown" in row.cells[6]
            continue
        assert zones[one.name]["clearance"] * per == pytest.approx(one.clearance_m, abs=1e-3)
        assert zones[one.name]["clearance_sd"] * per == pytest.approx(one.sd_clearance_m, abs=1e-3)
        shown = f"{one.clearance_m / per:.{decimals}f}"
        assert shown in row.cells[6] or "own depth" in row.cells[6]
        if one.in_trench and not one.joins:
            (said,) = [words for words in urgent_lines(review) if one.name in words]
            assert row.cells[6] in said


@pytest.mark.parametrize("seed", range(0, 12, 3))
def test_an_unknown_depth_is_never_a_number(seed):
    review = generated(seed)
    for feature in json.loads(dig_geojson(review))["features"]:
        found = feature["properties"]
        if found["layer"] == "tolerance zone":
            line = {one.name: one for one in review.conflicts}[found["name"]]
            assert (found["depth"] is None) == (line.depth_m is None)
            assert found["depth_known"] == (line.depth_m is not None)
    for one, row in zip(review.conflicts, conflicts_table(review).rows, strict=True):
        assert (row.cells[5] == "UNKNOWN") == (one.depth_m is None)


@cache
def foreign(beside=True, own=True):
    """Return a review with a gas pipe through the sewer, and severe damage a foot beyond it."""
    site, _ = simulate(4)
    at = 0.4 * site.run.end_m
    findings = [Finding(at, "gas pipe bored through the sewer", severity="severe")]
    if beside:
        findings.append(Finding(at + FOOT, "crack", severity="severe"))
    reaches = (Reach(at - 3 * FOOT, at + 3 * FOOT),) if own else ()
    return build_dig_review(build_report(replace(site, findings=tuple(findings), reaches=reaches)))


def test_a_danger_stops_every_proposal():
    for beside in (False, True):
        review = foreign(beside=beside, own=False)
        assert review.reaches == ()
        assert any("before its owner has been" in one for one in dig_notices(review))


def test_a_danger_refuses_every_way_of_repair():
    (one,) = foreign().reaches
    assert len(one.methods) == 3
    for method in one.methods:
        assert "a foreign pipe or cable in the sewer" in [each.why for each in method.refused]
        assert method.cost is None


def test_stop_heads_terminal_page_and_files():
    review = foreign()
    stop = urgent_lines(review)[0]
    assert stop.startswith("STOP: gas pipe bored through the sewer")
    assert "keep ignition away" in stop
    assert dig_facts(review)[0].name.startswith("STOP")
    assert dig_facts(review)[0].tone == "alarm"
    assert dig_notices(review)[0] == stop
    page = dig_page(review)
    assert page.index("STOP: gas pipe bored") < page.index("Call 811")
    text = json.loads(dig_geojson(review))
    assert text["urgent"][0] == stop
    assert text["features"][0]["properties"]["layer"] == "danger"
    assert text["features"][0]["properties"]["number"] == 1
    first = next(csv.DictReader(io.StringIO(refind_csv(review).decode("utf-8-sig"))))
    assert first["key_point"] == "gas pipe bored through the sewer"
    assert first["warnings"].startswith("STOP: ")


def test_a_reach_beside_a_danger_says_stop_before_anything():
    review = foreign()
    (one,) = review.reaches
    assert [danger.number for danger in one.reach.dangers] == [1]
    lines = summary_lines(review)
    title = next(i for i, line in enumerate(lines) if line.startswith("reach 1"))
    assert lines[title + 1].strip().startswith("STOP: ")
    page = dig_page(review)
    reach = page[page.index('<section class="reach"') :]
    assert reach.index("STOP: ") < reach.index("Why")
    cautions = reach[reach.index("To think of first") :]
    assert cautions.count("STOP: ") >= 3  # whichever way it is repaired
    assert "must be opened first" not in cautions


def test_earth_has_one_range():
    review = generated(3)
    (one,) = review.reaches
    unit = review.report.site.unit
    swell = one.excavation.swell
    for cut in (one.excavation.shored, one.excavation.sloped):
        assert cut.loose_low_m3 == pytest.approx(cut.bank_low_m3 * (1 + swell[0]))
        assert cut.loose_high_m3 == pytest.approx(cut.bank_high_m3 * (1 + swell[1]))
    methods = next(table for table in reach_tables(review, one) if table.key == "methods")
    said = "\n".join(summary_lines(review))
    for words in ("Earth dug", "Earth to cart"):
        (row,) = [row for row in methods.rows if row.cells[0].startswith(words)]
        for cell in row.cells[1:3]:
            assert cell in said
    low, high = (
        f"{v / earth_metres_per(unit):.1f}"
        for v in (one.excavation.shored.loose_low_m3, one.excavation.shored.loose_high_m3)
    )
    assert f"{low} to {high}" in said
    layer = next(layer for layer in dig_layers(review) if layer.key == "shored")
    assert any(f"{low} to {high}" in value for _, value in layer.items[0].detail.rows)
    cut = next(
        feature["properties"]
        for feature in json.loads(dig_geojson(review))["features"]
        if feature["properties"]["layer"] == "cut"
    )
    per = {"ft": FOOT, "us_ft": 1200 / 3937, "m": 1.0}[unit]
    loose = np.array([one.excavation.shored.loose_low_m3, one.excavation.shored.loose_high_m3])
    assert np.array(cut["loose_volume"]) * per**3 == pytest.approx(loose, abs=0.01)


def test_one_top_width():
    review = generated(6)
    profile, rules = review.report.trench, review.rules
    wide = np.add(*profile.edges_m(WallShape((rules.slope,)), 0.0))
    assert profile.top_width_m == pytest.approx(wide)
    for one in review.reaches:
        part = profile.between(one.reach.begin.footage_m, one.reach.end.footage_m)
        assert one.excavation.sloped.top_width_m == pytest.approx(part.top_width_m.max())
        assert one.excavation.section.bottom_depth_m.max() == part.bottom_depth_m.max()
        middle = profile.at((one.reach.begin.footage_m + one.reach.end.footage_m) / 2)
        edge = shapely.boundary(one.excavation.sloped.footprint)
        away = shapely.distance(edge, shapely.points(middle.place_m))[0]
        assert away == pytest.approx(middle.top_width_m[0] / 2.0, abs=0.3)
        assert away <= middle.top_width_m[0] / 2.0 + 1e-3


def test_the_re_find_sheet_carries_depth_range_and_mirror():
    review = generated(9)
    unit = review.report.site.unit
    per = {"ft": FOOT, "us_ft": 1200 / 3937, "m": 1.0}[unit]
    rows = list(csv.DictReader(io.StringIO(refind_csv(review).decode("utf-8-sig"))))
    points = [
        feature["properties"]
        for feature in json.loads(dig_geojson(review))["features"]
        if feature["properties"]["layer"] == "key point"
    ]
    mind = [row.cells[-1] for row in refind_table(review).rows]
    assert any(one.mirror_gap_m is not None for one in review.refinds)
    for one, row, point, words in zip(review.refinds, rows, points, mind, strict=True):
        assert float(row[f"invert_depth_{unit}"]) * per == pytest.approx(one.depth_m, abs=0.01)
        half = float(row[f"invert_depth_95_{unit}"]) * per
        assert half == pytest.approx(Z95 * one.sd_depth_m, abs=0.01)
        assert point["invert_depth_sd"] * per == pytest.approx(one.sd_depth_m, abs=1e-3)
        if one.mirror_gap_m is None:
            assert row[f"mirror_gap_{unit}"] == ""
            continue
        assert float(row[f"mirror_gap_{unit}"]) * per == pytest.approx(one.mirror_gap_m, abs=0.01)
        assert point["mirror_gap"] * per == pytest.approx(one.mirror_gap_m, abs=1e-3)
        if one.mirror_check_m is not None:
            reads = float(row[f"mirror_check_{unit}"]) * per
            assert reads == pytest.approx(one.mirror_check_m, abs=1e-3)
            assert row["mirror_check_reads"] in words


def test_a_line_beside_the_run_lies_where_it_is_said_to():
    # Sampled by hand: from where to where the mapped line is within the trench's width.
    for seed in range(12):
        review = generated(seed)
        profile = review.report.trench
        fine = profile.at(np.arange(profile.footage_m[0], profile.footage_m[-1], 0.02))
        lines = {one.name: one for one in review.report.site.plan.utilities}
        for one in review.conflicts:
            if not one.in_trench or one.crossings:
                continue
            away = shapely.distance(
                shapely.points(fine.place_m), LineString(lines[one.name].vertices_m)
            )
            within = fine.footage_m[away <= fine.width_m / 2.0]
            assert one.from_m == pytest.approx(within.min(), abs=0.08)
            assert one.to_m == pytest.approx(within.max(), abs=0.08)


def test_what_a_cut_undermines_is_met_where_the_pipe_meets_it():
    checked = 0
    for seed in range(12):
        review = generated(seed)
        crossed = {one.name: one.crossings for one in review.conflicts if one.crossings}
        for reach in review.reaches:
            begin, end = reach.reach.begin.footage_m, reach.reach.end.footage_m
            for found in reach.structures:
                met = [
                    one.footage_m
                    for one in crossed.get(found.name, ())
                    if begin <= one.footage_m <= end
                ]
                if met:
                    assert found.footage_m == pytest.approx(met[0], abs=1e-3)
                    checked += 1
    assert checked


# Common practice, no source: what can hurt those who open the pipe, by a word that tells it.
AT_THE_PIPE = ("traffic control", "permit", "sewer gas", "water", "asbestos", "lean")


@pytest.mark.parametrize("told", ["map", "dig", "truck", "owner", "sheet", "check", "draw"])
def test_the_cautions_of_the_work_itself_are_said_everywhere(told):
    review = generated(3)
    said = {
        "map": lambda: map_page(review.report),
        "dig": lambda: dig_page(review),
        "truck": lambda: truck_html(review),
        "owner": lambda: owner_html(review.report, draw_sheets(review.report)),
        "sheet": lambda: sheet_html(review.report, draw_sheets(review.report)),
        "check": lambda: said_by(check_parts(review.report)),
        "draw": lambda: said_by(drawing_parts(review.report)),
    }[told]()
    assert [word for word in AT_THE_PIPE if word not in said.lower()] == []


def said_by(parts):
    shown = StringIO()
    for part in parts:
        Console(file=shown, width=4000).print(part)
    return shown.getvalue()


@pytest.mark.parametrize("parts", [check_parts, drawing_parts])
def test_stop_is_the_first_line_of_check_and_draw(parts):
    assert str(parts(foreign().report)[0]).startswith("STOP: ")
    assert not str(parts(generated(3).report)[0]).startswith("STOP")
