"""One made-up site: every product made of it, each held against result.json."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from agreement.files import check_files
from agreement.pages import check_pages
from agreement.papers import check_papers
from agreement.told import Told, check_result, read_told
from lateral_map import build_report, load_site
from lateral_map.dig_review import build_dig_review
from lateral_map.export.dig_files import dig_files
from lateral_map.export.registry import PRODUCTS, make_products

_ON_EARTH = ("kml", "gpx")
_PAPERS = ("sheet", "referral")
_UNREAD = ("flatgeobuf", "geoparquet", "profile")


def make_everything(folder: Path, *, papers: bool) -> tuple[Told, dict[str, bytes]]:
    """Return what result.json says of a site folder, and every file that is made of it."""
    report = build_report(load_site(folder))
    left_out = {*_UNREAD, *(_ON_EARTH if report.site.frame.is_local else ())}
    if not papers:
        left_out |= {*_PAPERS}
    made = make_products(report, [name for name in PRODUCTS if name not in left_out])
    made |= dig_files(build_dig_review(report), leave_out=("dig.pdf",))  # read by no check
    told = read_told(json.loads(made["result.json"]), (folder / "site.toml").read_text("utf-8"))
    return told, made


def disagreements(folder: Path, *, papers: bool) -> list[str]:
    """Return every disagreement among a site's outputs, each as ``product: what``."""
    return check_everything(*make_everything(folder, papers=papers))


def check_everything(told: Told, made: Mapping[str, bytes]) -> list[str]:
    """Return every disagreement of what was made with result.json."""
    found: Iterable[str] = (
        *(f"result.json: {said}" for said in check_result(told)),
        *check_files(told, made),
        *check_pages(told, made),
        *check_papers(told, made),
    )
    return [*dict.fromkeys(found)]
