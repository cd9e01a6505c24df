"""A locate whose readings are off only by a slip elsewhere: nobody reads that it is put off."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from lateral_map import build_report, load_site
from lateral_map.draw.profile.painter import page_profile
from lateral_map.export.registry import PRODUCTS, make_products
from lateral_map.web.entering import Entering
from lateral_map.web.store import SiteStore

DEMO = Path(__file__).parents[2] / "demo_sites" / "plain_lot"
# What a mark's shape is known by in the page's data is no label.
_SHAPE = re.compile(r"locate put off|data-state=\\*.put off")


def test_a_locate_that_is_misled_is_said_to_be(tmp_path: Path) -> None:
    folder = tmp_path / "site"
    shutil.copytree(DEMO, folder)
    table = folder / "locates.csv"
    table.write_text(table.read_text().replace("E,49.0,", "E,43.0,"))
    report = build_report(load_site(folder))
    misled = [one.locate.mark for one in report.locates if one.state == "put off"]
    assert misled
    said = "misled by a slip elsewhere"
    contents = make_products(
        report, [name for name in PRODUCTS if name in ("map", "geojson", "kml", "gpx")]
    )
    texts = {name: content.decode() for name, content in contents.items()}
    texts["profile"] = str(page_profile(report, "wide"))
    state = Entering(SiteStore(folder)).state()
    rows = state["tables"]["locates.csv"]["rows"]
    assert [row["said"] for row in rows if row["values"]["mark"] in misled] == [said] * len(misled)
    for row in rows:
        row["verdict"] = ""  # what its sign is known by
    texts["entry page"] = str(state)
    for name, text in texts.items():
        assert "put off" not in _SHAPE.sub("", text), name
    assert said in texts["entry page"]
    assert len(texts) > 3
