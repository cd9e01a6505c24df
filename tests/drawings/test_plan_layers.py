"""Each drawing element against the report it shows."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely.geometry import LineString, Point

from lateral_map.draw.plan.findings import findings_layer, stretches_layer
from lateral_map.draw.plan.ground import (
    boundaries_layer,
    buildings_layer,
    surfaces_layer,
    utilities_layer,
)
from lateral_map.draw.plan.layers import LAYER_KEYS, plan_layers
from lateral_map.draw.plan.locates import locates_layer, next_locate_layer, points_layer, ties_layer
from lateral_map.draw.plan.pipe import (
    alternatives_layer,
    bends_layer,
    corridor_layer,
    crossings_layer,
    dig_layer,
    responsibility_layer,
    route_layer,
    undecided,
)
from lateral_map.draw.plan.scene import ALWAYS, Line, Mark, SceneWriter
from lateral_map.draw.style import STYLES
from lateral_map.model.results import FindingResult, Report
from lateral_map.model.site import Bend
from lateral_map.words.notices import as_sentence, drawing_notices, report_notices
from lateral_map.words.numbers import length
from lateral_map.words.picked import bend_words
from lateral_map.words.technician import report_tables, summary_facts


def rows_of(item) -> dict[str, str]:
    return dict(item.detail.rows)


def test_the_line_is_cut_by_basis_and_loses_nothing(report: Report) -> None:
    lines = [item for item in route_layer(report).items if isinstance(item, Line)]
    assert len(lines) == len(report.stations.basis_stretches())
    for one, following in pairwise(lines):
        assert one.at_m[-1] == pytest.approx(following.at_m[0])
    drawn = sum(LineString(line.at_m).length for line in lines)
    stations = np.stack([report.stations.easting_m, report.stations.northing_m], axis=-1)
    assert drawn == pytest.approx(LineString(stations).length)


def test_each_piece_has_the_style_of_its_stations(report: Report) -> None:
    stations = report.stations
    for stretch in stations.basis_stretches():
        inside = (stations.footage_m > stretch.from_m) & (stations.footage_m < stretch.to_m)
        assert {stations.basis[i] for i in np.flatnonzero(inside)} == {stretch.basis}
    styles = {item.style for item in route_layer(report).items if isinstance(item, Line)}
    assert styles == {f"basis {basis}" for basis in stations.basis}


def test_the_drawn_line_turns_at_the_bends(report: Report) -> None:
    plan = report.line_between(0.0, report.site.run.end_m)
    for bend in report.site.bends:
        place = report.route.positions([bend.footage_m])[0, :2]
        assert np.hypot(*(plan - place).T).min() == pytest.approx(0.0, abs=1e-9)


def test_corridor_lies_inside_the_dig_buffer(report: Report) -> None:
    corridor, dig = corridor_layer(report).items[0], dig_layer(report).items[0]
    assert dig.polygon.buffer(1e-6).contains(corridor.polygon)
    assert rows_of(dig)["Tolerance zone"] == "2.0 ft each side of the pipe's wall"
    assert "no one-call ticket" in dig.detail.note


def test_a_transmitter_not_yet_in_the_pipe_stands_at_the_start(report: Report) -> None:
    zero = report.site.counter.zero_m
    early = replace(report.site.locates[0], footage_m=zero)
    assert report.site.transmitter_footage_m(early) == zero


def test_locates_stand_where_the_transmitter_lay_with_every_reading(report: Report) -> None:
    behind = report.site.transmitter.behind_lens_m
    used = [result for result in report.locates if result.locate.use]
    for result, mark in zip(used, locates_layer(report).items, strict=True):
        place = report.route.positions([result.locate.footage_m - behind])[0, :2]
        assert (mark.easting_m, mark.northing_m) == pytest.approx(tuple(place))
        said = " ".join(words for _, words in mark.detail.rows)
        for check in result.checks:
            if check.verdict != "unchecked":
                assert f"off by {length(abs(check.residual), 'ft')}" in said
        assert ("SUSPECT, off by" in said) == any(
            check.verdict == "suspect" for check in result.checks
        )


def test_locates_are_drawn_by_their_worst_verdict(report: Report) -> None:
    styles = {mark.detail.title: mark.style for mark in locates_layer(report).items}
    assert styles == {
        "Locate A": "locate good",
        "Locate B": "locate good",
        "Locate C": "locate suspect",
        "Locate D": "locate unchecked",
        "Locate E": "locate good",
    }
    # One set aside whose own ties fix no place has none to be drawn at.
    (aside,) = (result for result in report.locates if not result.locate.use)
    placed = replace(aside, easting_m=1.0, northing_m=2.0)
    (mark,) = locates_layer(replace(report, locates=(placed,))).items
    assert (mark.style, mark.easting_m, mark.northing_m) == ("locate set aside", 1.0, 2.0)


def test_ties_run_from_what_was_measured_to_the_mark_drawn(report: Report) -> None:
    lines = [item for item in ties_layer(report).items if isinstance(item, Line)]
    corner = report.site.plan.points[0]
    assert lines[0].at_m[0] == pytest.approx([corner.easting_m, corner.northing_m])
    assert lines[0].caption == "15.0 ft"
    measured = [item for item in ties_layer(report).items if isinstance(item, Mark)]
    assert len(measured) == 2


def test_bends_point_along_the_pipe(report: Report) -> None:
    for bend, mark in zip(report.site.bends, bends_layer(report).items, strict=True):
        assert mark.turn_deg == pytest.approx(report.route.headings_deg([bend.footage_m])[0][0])


@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (Bend(1.0, 45.0), "45° right"),
        (Bend(1.0, -22.5, 11.25), "22.5° left, 11.25° down"),
        (Bend(1.0, 0.0, -45.0), "45° up"),
        (Bend(1.0), "straight"),
    ],
)
def test_bends_are_said_in_the_trades_words(bend: Bend, words: str) -> None:
    assert bend_words(bend) == words


def number_of(mark: Mark) -> int:
    return int(mark.short.removeprefix("#"))


def test_marks_that_matter_most_lie_on_top(report: Report) -> None:
    keys = [layer.key for layer in plan_layers(report)]
    assert keys.index("findings") > keys.index("locates") > keys.index("next")
    first = report.findings[0]
    finding = first.finding

    def one(number: int, severity: str, **changed: object) -> FindingResult:
        return replace(
            first, number=number, finding=replace(finding, severity=severity), far=None, **changed
        )

    crowded = (
        one(1, "severe", finding_class="danger"),
        one(2, "severe", verdict="too close to call"),
        one(3, "minor", verdict="past"),
        one(4, "severe", verdict="past"),
    )
    marks = findings_layer(replace(report, findings=crowded)).items
    assert [number_of(mark) for mark in marks] == [4, 3, 2, 1]


def test_findings_take_the_verdict_of_the_line_that_decides(report: Report) -> None:
    marks = [item for item in findings_layer(report).items if isinstance(item, Mark)]
    numbered = sorted((mark for mark in marks if mark.caption), key=number_of)
    for result, mark in zip(report.findings, numbered, strict=True):
        curb = next(side for side in result.sides if side.line == "curb")
        assert result.deciding == curb
        assert mark.style == f"side {curb.verdict}"
        assert (mark.easting_m, mark.northing_m) == (result.near.easting_m, result.near.northing_m)
        assert mark.caption.startswith(f"#{result.number} ")
    stretch, end = stretches_layer(report).items
    assert LineString(stretch.at_m).length == pytest.approx(3.5 * 0.3048, rel=1e-3)
    assert (end.easting_m, end.northing_m) == pytest.approx(tuple(stretch.at_m[-1]))


def test_the_finding_nearest_the_deciding_line_weighs_most(report: Report) -> None:
    marks = [item for item in findings_layer(report).items if isinstance(item, Mark)]
    weights = {mark.caption: mark.weight for mark in marks if mark.caption}
    gaps = {
        mark.caption: abs(result.deciding.past_m)
        for mark, result in zip(
            sorted((mark for mark in marks if mark.caption), key=number_of),
            report.findings,
            strict=True,
        )
    }
    assert sorted(weights, key=weights.get, reverse=True) == sorted(gaps, key=gaps.get)
    assert max(weights.values()) >= ALWAYS
    crossings = {mark.caption: mark.weight for mark in crossings_layer(report).items}
    deciding = next(caption for caption in crossings if caption.startswith("curb"))
    assert crossings[deciding] > max(weights.values())
    assert min(weights.values()) > crossings["right of way 61.2 ± 0.8 ft"]


def test_a_close_finding_says_what_would_settle_it(report: Report) -> None:
    marks = [item for item in findings_layer(report).items if isinstance(item, Mark)]
    (mark,) = (mark for mark in marks if mark.caption.startswith("#4"))
    said = rows_of(mark)
    assert said["Side"].startswith("curb: too close to call")
    assert "0.6 ± 0.9 ft inside" in said["Side"]
    assert "ends" in said["Side"]
    assert "one more tape from the real curb" in said["Would settle it"]


def test_without_boundaries_findings_have_no_verdict(report: Report) -> None:
    bare = replace(
        report,
        findings=tuple(
            replace(each, sides=(), deciding=None, deciding_to=None, verdict=None)
            for each in report.findings
        ),
    )
    marks = [item for item in findings_layer(bare).items if isinstance(item, Mark)]
    assert {mark.style for mark in marks if mark.caption} == {"side none"}


def test_crossings_stand_on_their_line(report: Report) -> None:
    for crossing, mark in zip(report.crossings, crossings_layer(report).items, strict=True):
        line = LineString(report.site.plan.line(crossing.line).vertices_m)
        assert line.distance(Point(mark.easting_m, mark.northing_m)) == pytest.approx(0, abs=1e-6)
    said = rows_of(crossings_layer(report).items[1])
    assert said["Footage"] == "73.7 ± 0.8 ft"
    assert said["Responsibility"] == "decides who answers"
    assert re.fullmatch(r"line carried straight on [0-9.]+ ft past its mapped end", said["Caution"])


def test_the_plan_shows_every_line_area_utility_and_point(report: Report) -> None:
    plan = report.site.plan
    assert len(boundaries_layer(report).items) == len(plan.lines)
    assert len(utilities_layer(report).items) == len(plan.utilities)
    assert len(surfaces_layer(report).items) == 5
    assert len(buildings_layer(report).items) == 1
    assert len(points_layer(report).items) == len(plan.points) + len(plan.levels)
    curb = boundaries_layer(report).items[1]
    assert rows_of(curb)["Beyond it"] == "city"


def test_a_plan_without_named_points_is_drawn(report: Report) -> None:
    plan = replace(report.site.plan, points=())
    bare = replace(report, site=replace(report.site, plan=plan))
    assert [item.style for item in points_layer(bare).items] == ["level"] * len(plan.levels)


def test_a_utility_of_unknown_depth_says_so(report: Report) -> None:
    said = {item.detail.title: rows_of(item) for item in utilities_layer(report).items}
    assert said["cable"]["Depth"] == "unknown"
    assert said["gas main"]["Depth"] == "3.0 ft to its top"


def test_responsibility_bands_and_the_range_of_the_change(report: Report) -> None:
    layer = responsibility_layer(report)
    low, high = undecided(report)[0]
    change = report.responsibility[0]
    assert (low + high) / 2 == pytest.approx(change.to_m)
    assert high - low == pytest.approx(2 * 1.959964 * change.sd_to_m)
    drawn = next(item for item in layer.items if item.style == "party undecided")
    assert LineString(drawn.at_m).length == pytest.approx(high - low, rel=1e-3)


def test_next_locate_is_drawn_or_absent(report: Report) -> None:
    mark = next_locate_layer(report).items[0]
    assert rows_of(mark) == {"Range now": "± 1.8 ft", "Range after": "± 0.6 ft"}
    assert next_locate_layer(replace(report, next_locate=None)).items == ()


def test_other_solutions_are_drawn_and_said(make_report) -> None:
    report = make_report(alternatives=True)
    assert len(alternatives_layer(report).items) == 1
    assert any("more than one line" in notice for notice in drawing_notices(report))


def slow_meetings(report: Report) -> list[tuple[str, float]]:
    """Walk the line in small steps and see where it changes side of each utility."""
    found = []
    footage = np.linspace(0, report.site.run.end_m, 40_001)
    places = report.route.positions(footage)[:, :2]
    for utility in report.site.plan.utilities:
        (x0, y0), (x1, y1) = utility.vertices_m[0], utility.vertices_m[-1]
        side = (x1 - x0) * (places[:, 1] - y0) - (y1 - y0) * (places[:, 0] - x0)
        for i in np.flatnonzero(np.diff(np.sign(side))):
            along = (places[i] - [x0, y0]) @ [x1 - x0, y1 - y0] / ((x1 - x0) ** 2 + (y1 - y0) ** 2)
            if 0 <= along <= 1:
                found.append((utility.name, float(footage[i])))
    return sorted(found, key=lambda each: each[1])


def test_utilities_meet_the_line_where_a_slow_walk_finds_them(report: Report) -> None:
    met = [(one.name, each.footage_m) for one in report.utilities for each in one.crossings]
    quick = sorted(met, key=lambda each: each[1])
    slow = slow_meetings(report)
    assert [name for name, _ in quick] == [name for name, _ in slow]
    assert [at for _, at in quick] == pytest.approx([at for _, at in slow], abs=0.002)


def test_layers_have_the_keys_and_styles_the_page_knows(report: Report) -> None:
    layers = plan_layers(report)
    assert tuple(layer.key for layer in layers) == LAYER_KEYS
    known = STYLES
    for layer in layers:
        assert {item.style for item in layer.items} <= set(known)
        assert {style for style, _ in layer.legend} <= set(known)
        # What is drawn is explained, but for what stands under another mark of its own layer.
        unexplained = {item.style for item in layer.items} - {style for style, _ in layer.legend}
        assert unexplained <= {"stretch end"}


def test_the_head_says_length_crossings_findings_past_and_suspects(report: Report) -> None:
    facts = {fact.name: fact for fact in summary_facts(report)}
    assert facts["Length"].value == "100.0 ft"
    assert facts["Crosses curb"].value == "73.7 ± 0.8 ft"
    assert facts["Findings past curb"].value == "3 of 8"
    assert facts["Too close to call"].note == "no. 4–5"
    assert facts["Suspect readings"].tone == "alarm"
    assert "locate C" in facts["Suspect readings"].note


@pytest.mark.parametrize(
    ("name", "kind", "note"),
    [
        ("curb", "curb", ""),
        ("Right of way", "right_of_way", ""),
        ("property line", "property_line", ""),
        ("walk", "right_of_way", "right-of-way line"),
        ("north edge", "curb", "curb"),
    ],
)
def test_a_line_named_by_its_kind_is_not_told_it_twice(
    report: Report, name: str, kind: str, note: str
) -> None:
    told = [replace(one, line=name, kind=kind, decides=False) for one in report.crossings[:1]]
    facts = {one.name: one for one in summary_facts(replace(report, crossings=tuple(told)))}
    assert facts[f"Crosses {name}"].note == note


def test_notices_name_dead_reckoning_and_level_ground(make_report) -> None:
    said = " ".join(drawing_notices(make_report(level_ground=True)))
    assert "Dead reckoned, nothing located there: 70.5 ft to 100.0 ft." in said
    assert "Nobody measured the ground" in said


def test_what_could_hurt_leads_every_list_of_notices(make_report) -> None:
    report = make_report(alternatives=True, level_ground=True)
    assert "Dead reckoned" in " ".join(drawing_notices(report))
    gas = replace(report.findings[-1], finding_class="danger")
    report = replace(report, findings=(*report.findings[:-1], gas))
    for said in (drawing_notices(report), map(as_sentence, report_notices(report))):
        first, *others = said
        assert first.startswith("STOP")
        assert not any(one.startswith("STOP") for one in others)


def test_tables_have_a_row_for_everything(report: Report) -> None:
    tables = {table.key: table for table in report_tables(report)}
    assert len(tables["findings"].rows) == len(report.findings)
    assert len(tables["crossings"].rows) == len(report.crossings)
    assert len(tables["readings"].rows) == len(report.readings)
    assert len(tables["falls"].rows) == len(report.falls)
    for table in tables.values():
        assert all(len(row.cells) == len(table.columns) for row in table.rows)
    assert [row.alarm for row in tables["findings"].rows].count(True) == 2


def test_details_are_numbered_once(report: Report) -> None:
    writer = SceneWriter()
    layers = writer.layers(plan_layers(report))
    numbers = [item["detail"] for layer in layers for item in layer["items"] if item["detail"] >= 0]
    assert numbers == list(range(len(writer.details)))


def test_no_stretch_of_a_finding_covers_a_locate(report: Report) -> None:
    keys = [layer.key for layer in plan_layers(report)]
    assert keys.index("route") < keys.index("stretches") < keys.index("locates")
    layers = {layer.key: layer for layer in plan_layers(report)}
    assert {item.style for item in layers["stretches"].items} == {"stretch", "stretch end"}
    assert all(isinstance(item, Mark) for item in layers["findings"].items)
