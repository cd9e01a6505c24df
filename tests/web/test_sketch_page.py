"""A plan entered by tape on a phone, wall by wall, with no coordinate."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser
from web.yard import PHONE, Yard, served

from lateral_map import load_site

SITE = """format = 1
[site]
name = "By tape"
crs = "local"
unit = "ft"
[start]
point = "cleanout"
depth = 4
[run]
end_footage = 40
"""
HEAD = "what,name,from,to,distance,turn,offset,side,line,basis"
BEGUN = [
    {"what": "wall", "from": "NW", "to": "NE", "distance": "40", "turn": "right"},
    {"what": "wall", "from": "NE", "to": "SE", "distance": "28", "turn": "right"},
    {"what": "curb", "name": "curb", "from": "NW", "to": "NE", "side": "left", "offset": "31"},
    {"what": "right of way", "name": "right of way", "side": "behind", "line": "curb",
     "offset": "12", "basis": "assumed"},
]  # fmt: skip
WALLS = [
    {"what": "wall", "from": "SE", "to": "SW", "distance": "40", "turn": "right"},
    {"to": "NW", "distance": "28"},
]
REST = [
    {"what": "point", "name": "cleanout", "from": "NW", "to": "NE", "side": "out",
     "along": "15", "offset": "3"},
    {"what": "point", "name": "hydrant", "side": "left", "tape1_from": "NW", "tape1": "31.5",
     "tape2_from": "NE", "tape2": "44.2"},
]  # fmt: skip


@pytest.mark.usefixtures("browser")
def test_a_sketch_is_entered_on_a_phone_row_by_row(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "yard"
    folder.mkdir()
    (folder / "site.toml").write_text(SITE)
    begun = [HEAD, *(",".join(row.get(name, "") for name in HEAD.split(",")) for row in BEGUN)]
    (folder / "sketch.csv").write_text("\n".join(begun) + "\n")
    with served(folder, keys) as server:
        context = browser.new_context(**PHONE)
        yard = Yard(context, server.address)
        yard.tab("Sketch")
        for row in [*WALLS, *REST]:  # where a wall begins is filled in
            yard.enter(row)
        wide = yard.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        yard.page.screenshot(path=str(tmp_path / "phone.png"))
        context.close()
    assert wide
    assert yard.complaints == []
    plan = load_site(folder).plan
    assert {one.name for one in plan.points} == {"NW", "NE", "SE", "SW", "cleanout", "hydrant"}
    assert {one.name: one.kind for one in plan.lines} == {
        "curb": "curb", "right of way": "right_of_way",
    }  # fmt: skip
    assert plan.sketch is not None
    assert plan.sketch.misclosures[0].gap_m < 0.01
