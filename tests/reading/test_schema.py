"""The JSON Schema of site.toml, judged by another library, and the reader itself agree."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from reading.good_site import good_folder

from lateral_map.model.referral import Referral
from lateral_map.model.site import Accuracy, Counter, DigRules, Transmitter
from lateral_map.reading.schema import (
    AccuracyTable,
    CounterTable,
    DigTable,
    ReferralTable,
    SiteDocument,
    TransmitterTable,
    site_schema,
)
from lateral_map.reading.typed import Typed, made

DEMO_SITES = Path(__file__).parents[2] / "demo_sites"
SITES = Path(__file__).parents[1] / "sites"


def errors(document: dict[str, Any]) -> list[str]:
    """Return what jsonschema says of a document; TOML's dates are written as JSON writes them."""
    plain = {
        name: {key: str(value) if key == "date" else value for key, value in table.items()}
        if isinstance(table, dict)
        else table
        for name, table in document.items()
    }
    validator = jsonschema.Draft202012Validator(site_schema())
    return [error.message for error in validator.iter_errors(plain)]


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(site_schema())


@pytest.mark.parametrize("path", [*DEMO_SITES.glob("*/site.toml"), *SITES.glob("*/site.toml")])
def test_the_demo_sites_pass(path: Path) -> None:
    assert errors(tomllib.loads(path.read_text())) == []


def test_the_good_site_passes() -> None:
    assert errors(tomllib.loads(good_folder().toml_text())) == []


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("start", "risr", "1"),
        ("site", "unit", '"yd"'),
        ("start", "accuracy", "0"),
        ("start", "depth", "-1"),
        ("start", "lat", "95.0"),
        ("counter", "scale_accuracy", "2.0"),
        ("run", "end", '"sewer"'),
        ("dig", "soil", '"D"'),
        ("start", "azimuth", "400"),
        ("accuracy", "wander", "0"),
        ("transmitter", "depth_accuracy", "-0.1"),
        ("site", "name", "[1]"),
    ],
)
def test_schema_and_reader_refuse_the_same(
    table: str, key: str, value: str, tmp_path: Path
) -> None:
    folder = good_folder()
    folder.toml[table][key] = value
    assert errors(tomllib.loads(folder.toml_text()))
    assert any(fault.field == f"{table}.{key}" for fault in folder.faults(tmp_path))


@pytest.mark.parametrize(("table", "key"), [("site", "name"), ("site", "crs"), ("site", "unit")])
def test_schema_and_reader_need_the_same(table: str, key: str, tmp_path: Path) -> None:
    folder = good_folder()
    del folder.toml[table][key]
    assert errors(tomllib.loads(folder.toml_text()))
    assert folder.faults(tmp_path)


def test_every_key_says_what_it_means() -> None:
    for name, of in site_schema()["$defs"].items():
        assert of["description"], name
        for key, value in of["properties"].items():
            assert value.get("description"), f"{name}.{key}"
            assert value.get("default", "given") is not None


def test_defaults_are_shown_with_their_unit() -> None:
    accuracy = site_schema()["$defs"]["AccuracyTable"]["properties"]
    assert accuracy["tape"]["default"] == "0.1 ft"
    assert accuracy["mapped_line"]["default"] == "1 ft"
    assert "default" not in accuracy["wander"]


def test_lengths_are_numbers_or_text() -> None:
    depth = site_schema()["$defs"]["StartTable"]["properties"]["depth"]
    assert [choice["type"] for choice in depth["anyOf"]] == ["number", "string"]


def test_the_top_names_every_table() -> None:
    assert set(site_schema()["properties"]) == set(SiteDocument.model_fields)
    assert site_schema()["required"] == ["format", "site", "start"]


@pytest.mark.parametrize(
    "boundary", [{"inside": '"owner"'}, {"line": '"curb"', "at": '"main"'}, {"at": '"curb"'}]
)
def test_schema_and_reader_take_one_place_for_a_boundary(
    boundary: dict[str, str], tmp_path: Path
) -> None:
    folder = good_folder()
    folder.toml["boundary"].append({"at": '"main"'})
    assert errors(tomllib.loads(folder.toml_text())) == []
    folder.toml["boundary"][-1] = boundary
    assert errors(tomllib.loads(folder.toml_text()))
    assert folder.faults(tmp_path)


@pytest.mark.parametrize(
    ("table", "model"),
    [
        (CounterTable, Counter),
        (TransmitterTable, Transmitter),
        (AccuracyTable, Accuracy),
        (DigTable, DigRules),
        (ReferralTable, Referral),
    ],
)
def test_what_is_left_out_is_what_the_model_has(table: type[Typed], model: type) -> None:
    """A default stands in one place; the format's contract gives it in feet and inches."""
    assert model(**made(table())) == model()


def test_the_contracts_defaults() -> None:
    accuracy, counter = Accuracy(), Counter()
    assert accuracy.tape_m == pytest.approx(0.1 * 0.3048)
    assert accuracy.wander_deg == pytest.approx(0.5 / 0.3048**0.5)
    assert accuracy.fall_wander_deg == pytest.approx(0.2 / 0.3048**0.5)
    assert (accuracy.fitting_deg, accuracy.eye_deg, accuracy.fall) == (2.0, 8.0, 0.02)
    assert counter.sd_zero_m == pytest.approx(0.3 * 0.3048)
    assert counter.sd_scale == 0.01
    assert DigRules().trench_width_m == pytest.approx(24 * 0.0254)


def test_no_note_of_our_own_is_in_the_schema() -> None:
    assert '"_"' not in json.dumps(site_schema())
