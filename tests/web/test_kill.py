"""A server killed at any moment: what it said it had saved is there, and every file is whole."""

from __future__ import annotations

import json
import random
import signal
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
from web.saving import saving

from lateral_map import build_report, load_site
from lateral_map.web.geojson_text import parse_plan
from lateral_map.web.store import SiteStore

ROUNDS = 12


def kill_at(folder: Path, first: int, seconds: float) -> list[tuple[str, int]]:
    """Start saving, kill -9 after a while, return what was acknowledged until then."""
    with saving(folder, first) as (process, told):
        assert told.recv() == ("ready", 0)
        time.sleep(seconds)
        process.kill()
        acknowledged = []
        # What was half told when the end came is no word.
        with suppress(EOFError, ConnectionError):
            while True:
                acknowledged.append(told.recv())
        process.join()
        assert process.exitcode == -signal.SIGKILL
        return acknowledged


@pytest.mark.skipif(sys.platform == "win32", reason="there is no kill -9")
def test_a_kill_at_any_moment_loses_at_most_the_row_in_flight(sketch: Path) -> None:
    chance, told = random.Random(811), {"row": set(), "setting": set(), "feature": set()}
    for start in range(0, ROUNDS * 1000, 1000):
        for kind, number in kill_at(sketch, start, chance.uniform(0.0, 0.12)):
            told[kind].add(number)
        site = SiteStore(sketch)  # what the next start finds
        table = site.table("locates.csv")
        marks = [table.row_values(n)["mark"] for n in table.data_rows()]
        rows = {int(mark[1:]) for mark in marks if mark.startswith("K")}
        assert told["row"] <= rows
        assert len(marks) == len(set(marks))
        assert all(
            len(table.row_values(n)["note"]) == 4000
            for n in table.data_rows()
            if table.row_values(n)["mark"].startswith("K")
        )
        names = {json.loads(text)["properties"].get("name") for text in site.plan().features}
        assert {f"P{number}" for number in told["feature"]} <= names
        if told["setting"]:
            assert int(site.settings()["start.ground"]) >= max(told["setting"])
        # At most one change a round was on its way when the end came.
        in_flight = len(rows) - len(told["row"])
        assert in_flight <= start // 1000 + 1
        told["row"] = rows
    assert len(told["row"]) > ROUNDS
    parse_plan((sketch / "plan.geojson").read_text())
    leftovers = [path.name for path in sketch.iterdir() if path.name.endswith(".saving")]
    assert set(leftovers) <= {".locates.csv.saving", ".site.toml.saving", ".plan.geojson.saving"}


def test_the_folder_still_loads_after_a_kill(sketch: Path) -> None:
    before = load_site(sketch)
    kill_at(sketch, 0, 0.05)
    after = load_site(sketch)
    assert len(after.locates) >= len(before.locates)
    assert build_report(after).stations.footage_m[-1] == build_report(before).stations.footage_m[-1]
