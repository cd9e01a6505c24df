"""Whose data each feature of a plan is: told wherever the feature is drawn or listed."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest
from exports.conftest import SITES

from lateral_map import build_report, load_site
from lateral_map.cli.summary import drawing_parts
from lateral_map.draw.data import data_json, map_data
from lateral_map.export.dxf import route_dxf
from lateral_map.export.features import plan_layers
from lateral_map.model.results import Report
from lateral_map.model.site import PlanLine
from lateral_map.words.notices import FEW_CROSSINGS, origin_words, report_notices
from lateral_map.words.utility import reference_rows

KINDS = ("building", "curb", "property_line", "reference", "right_of_way", "surface", "utility")


@pytest.fixture(scope="module")
def sourced(tmp_path_factory: pytest.TempPathFactory) -> Report:
    """A site whose every feature has a source, a day and a licence of its kind's own."""
    folder = tmp_path_factory.mktemp("sourced") / "site"
    shutil.copytree(SITES["plain_lot"], folder)
    plan = json.loads((folder / "plan.geojson").read_text())
    lawn = json.loads(json.dumps(next(
        one for one in plan["features"] if one["geometry"]["type"] == "Polygon"
    )))  # fmt: skip
    lawn["properties"] = {"kind": "surface", "name": "front lawn", "cover": "lawn"}
    plan["features"].append(lawn)
    for one in plan["features"]:
        said = one["properties"]
        said |= {"source": f"Register of {said['kind']}", "date": "2026-01-02", "licence": "free"}
    (folder / "plan.geojson").write_text(json.dumps(plan))
    return build_report(load_site(folder))


def test_source_day_and_licence_go_with_every_feature(sourced: Report) -> None:
    told = [
        data_json(map_data(sourced)),
        route_dxf(sourced).decode("utf-8", "replace"),
        str([one.record for layer in plan_layers(sourced) for one in layer.features]),
    ]
    for kind in KINDS:
        for text in told:
            assert f"Register of {kind}, 2026-01-02, free" in text, kind
    said = " ".join(origin_words(sourced.site))
    assert "Register of right_of_way, 2026-01-02, free: no boundary survey" in said
    assert "more" in origin_words(sourced.site)[-1]
    listed = {row[0]: row[-1] for row in reference_rows(sourced)}
    assert listed["curb"] == "Register of curb, 2026-01-02, free"


def test_a_districts_lines_are_counted_not_listed(sourced: Report) -> None:
    site = sourced.site
    far = tuple(
        PlanLine(f"far {x}", "property_line", np.array([[x, 500.0], [x, 520.0]]), 0.5)
        for x in range(900)
    )
    plan = replace(site.plan, lines=(*far, *site.plan.lines))
    rows = reference_rows(build_report(replace(site, plan=plan)))
    names = {row[0] for row in rows}
    assert len(rows) < 60
    assert {one.line for one in site.boundaries} <= names
    assert {tie.point or tie.line for one in site.locates for tie in one.ties} <= names | {""}
    listed = [name for name in names if name.startswith("far")]
    assert (
        rows[-1][0]
        == f"{900 + len(site.plan.lines + site.plan.points) - len(rows) + 1} more on the plan"
    )
    assert len(listed) <= 8


def test_a_flood_of_crossed_lines_is_said_once(sourced: Report) -> None:
    site, run = sourced.site, sourced.route
    lines = []
    for index, footage in enumerate(np.linspace(2.0, 15.0, 30)):
        (place,) = run.positions(footage)[:, :2]
        (ahead,) = run.directions(footage)[:, :2]
        across = np.array([-ahead[1], ahead[0]])
        ends = np.array([place + 0.5 * across, place + 3.0 * across])  # short of the pipe
        lines.append(PlanLine(f"hedge {index}", "property_line", ends, 0.3))
    plan = replace(site.plan, lines=(*site.plan.lines, *lines))
    report = build_report(replace(site, plan=plan))
    assert len([one for one in report.crossings if one.line.startswith("hedge")]) == 30
    spoken = [one for one in report_notices(report) if "carried straight on" in one]
    assert len(spoken) == 1
    assert "26 more, which bound nothing" in spoken[0]
    printed = "\n".join(str(getattr(one, "renderable", one)) for one in drawing_parts(report))
    assert printed.count("hedge") - str(report_notices(report)).count("hedge") <= FEW_CROSSINGS
    assert "22 more crossings" in printed
    assert "right of way at" in printed
