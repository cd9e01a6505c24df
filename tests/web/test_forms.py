"""The entry page's forms hold what the site format has, by its own words."""

from __future__ import annotations

import json
import re

from lateral_map.reading.plan import KINDS
from lateral_map.reading.vocabulary import VOCABULARY
from lateral_map.web.app import all_assets
from lateral_map.web.forms import FORMS, form_values
from lateral_map.words.entering import PAGE_WORDS

# Shown otherwise than in a field: a row is set aside by a button, a boundary's spread in the file.
ELSEWHERE = {"use", "accuracy of boundary", "wander of pipe"}
NOT_ON_THE_PAGE = {"dig_rule", "soil_layer", "reach", "rates", "terrain", "applied"}
# Files are named where they lie.
IN_THE_FILE_ALONE = {
    "swell", "swell_source", "pavement_cutback", "cohesive", "letter", "photographs",
    "keep_metadata",
}  # fmt: skip


def test_every_column_has_a_field() -> None:
    for name in ("locates.csv", "bends.csv", "findings.csv"):
        fields = {field["name"] for group in form_values()[name] for field in group["fields"]}
        assert fields == set(VOCABULARY[name]) - ELSEWHERE


def test_every_table_of_the_site_has_its_fields() -> None:
    shown = {
        name: form_values()[name][0]["fields"] for name in ("pipe", "boundary", "picture_point")
    }
    for group in form_values()["site"]:
        shown[group["path"]] = [*shown.get(group["path"], ()), *group["fields"]]
    assert set(shown) == {name for name in VOCABULARY if "." not in name} - NOT_ON_THE_PAGE
    for table, fields in shown.items():
        wanted = {key for key in VOCABULARY[table] if f"{key} of {table}" not in ELSEWHERE}
        assert {field["name"] for field in fields} == wanted - IN_THE_FILE_ALONE, table


def test_every_field_is_labelled_in_words() -> None:
    for name in FORMS:
        for group in form_values()[name]:
            for field in group["fields"]:
                assert field["label"] != field["name"], field["name"]
                assert "[" not in field["help"], "a heading of the file, where nobody sees the file"


def test_no_form_speaks_of_a_standard_deviation() -> None:
    forms = form_values()
    groups = [group for name in FORMS for group in forms[name]]
    fields = [field for one in (*groups, *forms["plan"].values()) for field in one["fields"]]
    told = [group["help"] for group in groups] + [field["help"] for field in fields]
    told += [words for _, words in forms["meanings"]]
    assert [words for words in told if re.search(r"\bsd\b|deviation", words)] == []
    assert sum("2 of 3 are nearer" in words for words in told) > 10


def test_every_kind_of_the_plan_has_a_form() -> None:
    assert tuple(form_values()["plan"]) == KINDS
    json.dumps(form_values())


def test_a_choice_of_what_is_needed_cannot_be_taken_back() -> None:
    fields = {
        (name, field["name"]): field
        for name in FORMS
        for group in form_values()[name]
        for field in group["fields"]
    }
    assert fields["site", "unit"]["required"]
    assert not fields["findings.csv", "severity"]["required"]
    assert fields["findings.csv", "finding"]["free"]
    assert fields["locates.csv", "tape1_from"]["keep"]
    assert fields["bends.csv", "how"]["default"] == "fitting"


def test_every_sentence_is_said_and_every_slot_of_it_filled() -> None:
    scripts = "\n".join(one.content for one in all_assets().values())
    asked = re.findall(r'\bsay\("(\w+)"(, )?', scripts)
    assert {key for key, _ in asked} <= set(PAGE_WORDS)
    assert [key for key in PAGE_WORDS if f'"{key}"' not in scripts] == []
    for key, values in asked:
        assert bool(values) == ("{" in PAGE_WORDS[key]), key
