"""The registry's own promises."""

from __future__ import annotations

from pathlib import Path

import pytest

from lateral_map.errors import ExportError
from lateral_map.export import registry
from lateral_map.export.registry import PRODUCTS, Options, Product, make_products, write_products
from lateral_map.model.results import Report


@pytest.fixture(scope="module")
def plain_report(reports: dict[str, Report]) -> Report:
    return reports["plain_lot"]


def test_all_products_are_made(plain_report: Report, tmp_path: Path) -> None:
    paths = write_products(plain_report, tmp_path / "out")
    assert [path.name for path in paths] == [
        "result.json", "map.html", "profile.svg", "profile.png", "route.geojson", "route.gpkg",
        "stations.csv",
    ]  # fmt: skip
    assert all(path.stat().st_size > 500 for path in paths)


def test_summaries_name_the_files(plain_report: Report) -> None:
    for product in PRODUCTS.values():
        for name in product.make(plain_report, Options()):
            assert name in product.summary


def test_only_what_was_asked(plain_report: Report) -> None:
    seen: list[tuple[str, float]] = []
    contents = make_products(
        plain_report,
        ["stations", "result", "stations"],
        progress=lambda name, done: seen.append((name, done)),
    )
    assert list(contents) == ["stations.csv", "result.json"]
    assert seen == [("stations", 0.0), ("result", 0.5)]


def test_unknown_name_is_refused(plain_report: Report) -> None:
    with pytest.raises(ExportError, match="'chart' is nothing that can be made; choose from resul"):
        make_products(plain_report, ["chart"])


def test_failing_maker_writes_nothing(
    plain_report: Report, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(_report: Report, _options: Options) -> dict[str, str]:
        raise ExportError("nothing to show")

    monkeypatch.setitem(registry.PRODUCTS, "bad", Product("bad", "", failing))
    with pytest.raises(ExportError, match="nothing to show"):
        write_products(plain_report, tmp_path / "out", ["result", "bad"])
    assert not (tmp_path / "out").exists()


def test_text_without_a_utf8_form_is_still_written(
    plain_report: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    product = Product("odd", "", lambda _report, _options: {"odd.txt": "half \ud83d"})
    monkeypatch.setitem(registry.PRODUCTS, "odd", product)
    assert make_products(plain_report, ["odd"]) == {"odd.txt": b"half ?"}
