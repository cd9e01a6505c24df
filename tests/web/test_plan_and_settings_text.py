"""plan.geojson and site.toml edited in place."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from lateral_map.web.geojson_text import EMPTY_PLAN, feature_text, parse_plan
from lateral_map.web.settings import change_setting, entries_of, read_settings, value_at

SITES = [
    *Path(__file__).parents[2].glob("demo_sites/*"),
    Path(__file__).parents[1] / "sites" / "local_sketch",
]
PLANS = [path for site in SITES for path in site.glob("plan.geojson")]
TOMLS = [path for site in SITES for path in site.glob("site.toml")]


@pytest.mark.parametrize("path", PLANS, ids=lambda path: path.parent.name)
def test_a_plan_changes_by_one_feature_and_back(path: Path) -> None:
    text = path.read_text("utf-8")
    plan = parse_plan(text)
    assert plan.text() == text
    added = plan.with_feature('{"type": "Feature"}')
    assert len(json.loads(added.text())["features"]) == len(plan.features) + 1
    assert added.without_feature(len(plan.features)).text() == text
    changed = plan.with_feature_text(0, "{}")
    assert changed.text().replace("{}", plan.features[0], 1) == text
    for index in range(len(plan.features)):
        assert (
            len(json.loads(plan.without_feature(index).text())["features"])
            == len(plan.features) - 1
        )


def test_features_are_added_to_an_empty_plan() -> None:
    plan = parse_plan(EMPTY_PLAN).with_feature('{"a": 1}').with_feature('{"b": 2}')
    assert json.loads(plan.text())["features"] == [{"a": 1}, {"b": 2}]
    assert parse_plan('{"features":[]}').with_feature("{}").text() == '{"features":[{}\n]}'


def test_members_a_form_does_not_know_are_kept() -> None:
    old = {
        "type": "Feature",
        "id": 7,
        "properties": {"kind": "curb", "colour": "red", "accuracy": 1},
    }
    text = feature_text({"name": "curb", "accuracy": None}, {"type": "Point"}, old)
    assert json.loads(text) == {
        "type": "Feature", "id": 7, "geometry": {"type": "Point"},
        "properties": {"kind": "curb", "colour": "red", "name": "curb"},
    }  # fmt: skip


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", '{"features": 3}', '{"features": [1,', "nonsense"]
)
def test_what_is_no_plan_is_refused(text: str) -> None:
    with pytest.raises((ValueError, IndexError)):
        parse_plan(text)


@pytest.mark.parametrize("path", TOMLS, ids=lambda path: path.parent.name)
def test_every_setting_changes_by_itself(path: Path) -> None:
    text = path.read_text("utf-8")
    comments = [line.split("#", 1)[1] for line in text.splitlines() if "#" in line]
    for name, value in read_settings(text).items():
        if name in ("format", "site.date") or name.endswith("decides"):
            continue
        changed = change_setting(text, name, "4.50")
        expected = {**read_settings(text), name: value_at(changed, name)}
        assert read_settings(changed) == expected
        assert all(comment in changed for comment in comments)
        assert read_settings(change_setting(changed, name, value)) == read_settings(text)


def test_typed_values_become_what_they_are() -> None:
    text = ""
    for path, value in {
        "format": "1", "site.name": "12", "site.date": "2026-05-04", "start.depth": "7'6\"",
        "start.azimuth": ".5", "pipe.0.from": "0", "pipe.0.size": "6", "boundary.0.decides": "yes",
        "start.x": "-12.250",
    }.items():  # fmt: skip
        text = change_setting(text, path, value)
    read = tomllib.loads(text)
    assert read["site"]["name"] == "12"
    assert read["site"]["date"].isoformat() == "2026-05-04"
    assert read["start"] == {"depth": "7'6\"", "azimuth": 0.5, "x": -12.25}
    assert read["pipe"] == [{"from": 0, "size": 6}]
    assert read["boundary"] == [{"decides": True}]
    assert "x = -12.250" in text


def test_a_table_of_a_list_goes_and_comes_back() -> None:
    text = "[[pipe]] # first\nfrom = 0\n\n[[pipe]]\nfrom = 9 # nine\n"
    assert entries_of(text, "pipe") == ["pipe.0", "pipe.1"]
    second = value_at(text, "pipe.1")
    without = change_setting(text, "pipe.1", None)
    assert tomllib.loads(without) == {"pipe": [{"from": 0}]}
    again = change_setting(without, "pipe.1", second)
    assert tomllib.loads(again) == tomllib.loads(text)
    assert "# nine" in again
    assert "pipe" not in tomllib.loads(change_setting(without, "pipe.0", None))


@pytest.mark.parametrize(("text", "words"), [("a = ", "at line 1"), ("pipe = 3", "is no table")])
def test_what_cannot_be_changed_is_refused(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        change_setting(text, "pipe.0.from", "1")
