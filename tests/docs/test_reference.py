"""The reference pages name everything there is, and nothing they link to is missing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
from docs.pages import PAGES, TOP, prose

from lateral_map import build_report, load_site
from lateral_map.export.features import route_layers
from lateral_map.export.registry import PRODUCTS
from lateral_map.export.result import result_record
from lateral_map.model.results import (
    Basis,
    FallVerdict,
    ReadingVerdict,
    Report,
    SideVerdict,
)
from lateral_map.reading.plan import KINDS, FeatureProperties
from lateral_map.reading.rows import BendRow, FindingRow, LocateRow
from lateral_map.reading.schema import site_schema
from lateral_map.reading.typed import key_names

REFERENCE = TOP / "docs" / "reference"
_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_HEADING = re.compile(r"^#+ (.+)$", re.MULTILINE)


def page(name: str) -> str:
    return (REFERENCE / name).read_text(encoding="utf-8")


def coded(text: str) -> set[str]:
    """Return every word that stands in backticks outside fenced blocks."""
    outside = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    spans = re.findall(r"`([^`\n]+)`", outside)
    return {word for span in spans for word in re.findall(r"\w+", span)}


@pytest.fixture(scope="module")
def report() -> Report:
    return build_report(load_site(TOP / "demo_sites" / "plain_lot"))


def test_every_key_of_site_toml_is_described() -> None:
    text = page("site-format.md")
    for table in site_schema()["$defs"].values():
        for key in table["properties"]:
            assert re.search(rf"^{key} = |`{key}`", text, re.MULTILINE), key


@pytest.mark.parametrize("model", [LocateRow, BendRow, FindingRow, FeatureProperties])
def test_every_column_is_described(model: Any) -> None:
    text = page("site-format.md")
    for key in key_names(model):
        assert key in coded(text) or re.search(rf"^{key},|,{key},|,{key}$", text, re.MULTILINE), key


def test_every_kind_is_described() -> None:
    assert set(KINDS) <= coded(page("site-format.md"))


def keys(record: object) -> Iterator[str]:
    if isinstance(record, dict):
        for key, value in record.items():
            if key != "extra":
                yield key
                yield from keys(value)
    elif isinstance(record, list):
        for one in record:
            yield from keys(one)


def test_every_key_of_result_json_is_described(report: Report) -> None:
    text = page("result-json.md")
    missing = set(keys(result_record(report))) - coded(text)
    assert missing == set()


def test_every_product_is_described(report: Report) -> None:
    text = page("files.md")
    for name, product in PRODUCTS.items():
        assert f"`{name}`" in text, product.summary
    assert {layer.name for layer in route_layers(report)} <= coded(text)


def test_every_verdict_is_described() -> None:
    text = page("verdicts.md")
    for word in (
        *get_args(Basis),
        *get_args(SideVerdict),
        *get_args(ReadingVerdict),
        *get_args(FallVerdict),
    ):
        assert f"| {word} |" in text


def anchors(path: Path) -> set[str]:
    """Return the anchors a page's headings make, as the documentation's builder makes them."""
    words = _HEADING.findall(prose(path))
    return {re.sub(r"[\s-]+", "-", re.sub(r"[^\w\s-]", "", word.strip().lower())) for word in words}


@pytest.mark.parametrize("one", PAGES, ids=lambda one: str(one.relative_to(TOP)))
def test_links_lead_somewhere(one: Path) -> None:
    for link in _LINK.findall(prose(one)):
        if link.startswith(("http:", "https:")):
            continue
        target, _, anchor = link.partition("#")
        place = (one.parent / target).resolve() if target else one
        assert place.exists(), link
        if anchor:
            assert anchor in anchors(place), link


def test_no_page_is_unfinished() -> None:
    for one in PAGES:
        assert not re.search(
            r"\bTODO\b|placeholder|lorem", one.read_text(encoding="utf-8"), re.IGNORECASE
        )
