"""Two runs of one pipe: pairs from their joint uncertainty, what changed, what was repaired."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lxml import html as lxml_html
from sheets.builder import line_site
from truth.simulate import FOOT
from typer.testing import CliRunner

from lateral_map.cli.main import app
from lateral_map.draw.again import again_html
from lateral_map.draw.paint.fonts import text_width
from lateral_map.errors import AnalysisError, SiteError
from lateral_map.frame import projected_frame
from lateral_map.model.again import Again
from lateral_map.model.results import Report
from lateral_map.model.site import Counter, Finding, PipeRun, Reach, Run, Site
from lateral_map.reading.folder import load_earlier, load_site
from lateral_map.report import build_report
from lateral_map.same_pipe import compare_runs
from lateral_map.words.again import again_facts, repair_words

ROOT = Path(__file__).parents[2]


def run(*seen: tuple[Any, ...], off_ft: float = 0.0, seed: int = 1, **changes: Any) -> Site:
    """Return a run of the same 100 ft pipe; its counter reads ``off_ft`` more everywhere."""
    site = line_site(100.0, 0, seed=seed)
    findings = tuple(
        Finding((at + off_ft) * FOOT, name, (to[0] + off_ft) * FOOT if to else None, severity)
        for at, name, severity, *to in seen
    )
    locates = tuple(replace(one, footage_m=one.footage_m + off_ft * FOOT) for one in site.locates)
    counter = Counter(zero_m=off_ft * FOOT)
    return replace(
        site, findings=findings, locates=locates, counter=counter,
        run=Run((100.0 + off_ft) * FOOT), **changes,
    )  # fmt: skip


def compared(before: Site, now: Site) -> Again:
    return compare_runs(build_report(before), build_report(now))


def told(again: Again) -> list[tuple[str, int | None, int | None]]:
    return [
        (one.change, one.before and one.before.number, one.now and one.now.number)
        for one in again.compared
    ]


BEFORE = (
    (20.0, "roots", "minor"), (35.0, "crack", "moderate"), (50.0, "standing water", "minor", 55.0),
    (80.0, "offset joint", "severe"),
)  # fmt: skip
NOW = (
    (20.1, "roots", "severe"), (52.0, "standing water", "minor", 57.0), (65.0, "broken pipe", None),
    (80.1, "offset joint", "severe"),
)  # fmt: skip
EXPECTED = [
    ("worse", 1, 1), ("gone", 2, None), ("unchanged", 3, 2), ("new", None, 3), ("unchanged", 4, 4),
]  # fmt: skip


@pytest.mark.parametrize("off_ft", [0.0, 12.0])
def test_findings_are_matched_on_the_ground_whatever_the_counter_read(off_ft: float) -> None:
    again = compared(run(*BEFORE), run(*NOW, off_ft=off_ft, seed=2))
    assert told(again) == EXPECTED
    assert again.counter_m == pytest.approx((off_ft + 0.1) * FOOT)
    said = " ".join(again_facts(again)["notices"])
    assert ("the two counters differ" in said) == (off_ft > 0.0)
    page = lxml_html.fromstring(again_html(again))
    changes = page.xpath("//td[last()]/strong/text()")
    assert changes == ["worse", "gone", "unchanged", "new", "unchanged"]
    drawn = " ".join(page.xpath("//*[local-name()='text']/text()"))
    for words in ("#1 worse", "#2 gone", "#3 new", "#4 #4"):
        assert words in drawn


def test_a_danger_heads_the_page_of_two_runs_whichever_saw_it() -> None:
    """Unchanged it stood as one row among many, and gone as if it were no longer there."""
    cable = (40.0, "electric cable in the sewer", "severe")
    both = again_facts(compared(run(*BEFORE, cable), run(*NOW, cable, seed=2)))
    (stop,) = both["stop"]
    assert stop.startswith("STOP: electric cable in the sewer, seen at 40.0 ft")
    earlier = compared(run(*BEFORE, cable), run(*NOW, seed=2))
    (stop,) = again_facts(earlier)["stop"]
    assert stop.startswith("In the earlier run, and not seen in this one: STOP: electric cable")
    page = again_html(earlier)
    assert page.index("STOP: electric cable") < page.index("<svg")


def test_no_words_of_the_strip_lie_on_others_however_close_the_findings() -> None:
    crowd = [(30.0 + 0.4 * k, "crack", ("minor", "severe")[k % 2]) for k in range(16)]
    again = compared(run(*BEFORE), run(*NOW, *crowd, seed=2))
    page = lxml_html.fromstring(again_html(again))
    words = page.xpath("//*[local-name()='text'][starts-with(., '#')]")
    assert len(words) == 4 + 4 + 16
    lanes: dict[str, list[tuple[float, float]]] = {}
    for one in words:
        half = text_width(one.text, 7.0) / 2.0
        x = float(one.get("x"))
        lanes.setdefault(one.get("y"), []).append((x - half, x + half))
    for lane in lanes.values():
        lane.sort()
        assert all(left[1] <= right[0] for left, right in pairwise(lane))


def test_pairs_are_chosen_all_at_once_and_not_each_by_its_nearest() -> None:
    # The nearest of the second is the first's own partner.
    loose = Counter(sd_reading_m=0.2 * FOOT)
    before = run((40.0, "roots", "minor"), (40.5, "roots", "minor"))
    now = run((40.45, "roots", "minor"), (40.95, "roots", "minor"), seed=2)
    again = compared(replace(before, counter=loose), replace(now, counter=loose))
    assert told(again) == [("unchanged", 1, 1), ("unchanged", 2, 2)]


def test_the_tolerance_is_that_of_both_runs_together() -> None:
    loose = Counter(sd_reading_m=3.0 * FOOT)
    before, now = run((40.0, "roots", "minor")), run((44.0, "roots", "minor"), seed=2)
    assert [change for change, *_ in told(compared(before, now))] == ["gone", "new"]
    unsure = replace(before, counter=loose)
    assert told(compared(unsure, now)) == [("unchanged", 1, 1)]


def test_what_a_finding_is_called_counts_and_a_feature_is_no_defect() -> None:
    again = compared(
        run((40.0, "crack", "moderate"), (60.0, "tap", None)),
        run((40.0, "broken pipe", None), (60.0, "roots", "minor"), seed=2),
    )
    assert told(again) == [
        ("other name", 1, 1), ("new", None, 2), ("gone", 2, None),
    ] or told(again) == [("other name", 1, 1), ("gone", 2, None), ("new", None, 2)]  # fmt: skip


def test_where_a_camera_did_not_come_nothing_is_gone_or_new() -> None:
    short = run((20.0, "roots", "minor"))
    short = replace(short, run=Run(50.0 * FOOT, "not reached"))
    short = replace(short, locates=tuple(one for one in short.locates if one.footage_m < 15.0))
    whole = run((20.0, "roots", "minor"), (80.0, "crack", "severe"), seed=2)
    assert ("not reached now", 2, None) in told(compared(whole, short))
    assert ("not reached before", None, 2) in told(compared(short, whole))


def from_the_other_end(site: Site) -> Site:
    """Return the same run of the straight pipe with the camera put in where it came out."""
    end = site.run.end_m
    east, north = end * np.sin(np.radians(80.0)), end * np.cos(np.radians(80.0))
    return replace(
        site,
        start=replace(site.start, easting_m=east, northing_m=north, azimuth_deg=260.0),
        # The transmitter rides half a foot behind the lens, whichever way it goes.
        locates=tuple(
            replace(one, footage_m=end - one.footage_m + FOOT) for one in site.locates[::-1]
        ),
        findings=tuple(
            replace(
                one, footage_m=end - (one.to_m or one.footage_m),
                to_m=end - one.footage_m if one.to_m else None,
            )
            for one in site.findings[::-1]
        ),
        boundaries=tuple(
            replace(one, inside=one.outside, outside=one.inside) for one in site.boundaries
        ),
    )  # fmt: skip


def test_runs_from_opposite_ends_are_matched_on_the_ground() -> None:
    reach = Reach(60.0 * FOOT, 80.0 * FOOT)
    before = replace(run(*BEFORE, reaches=(reach,)), pipes=(PipeRun(0.0, "clay", 0.15),))
    now = from_the_other_end(run(*NOW, seed=2))
    pipes = (("clay", 0.0), ("pvc", 20.0), ("clay", 35.0))
    now = replace(now, pipes=tuple(PipeRun(at * FOOT, name, 0.15) for name, at in pipes))
    again = compared(before, now)
    assert told(again) == [
        ("unchanged", 4, 1), ("new", None, 2), ("unchanged", 3, 3), ("gone", 2, None),
        ("worse", 1, 4),
    ]  # fmt: skip
    assert again.counter_m is None
    said = " ".join(again_facts(again)["notices"])
    assert "opposite ways" in said
    assert "read" not in said.split("opposite ways")[0]
    # Asked at 60 to 80 ft of the first run: 20 to 40 ft of this one, of which it ends 5 ft short.
    (one,) = again.repaired
    assert one.short_from_m == pytest.approx(0.0, abs=0.5 * FOOT)
    assert one.short_to_m == pytest.approx(5.0 * FOOT, abs=0.5 * FOOT)


def test_a_camera_put_in_farther_along_did_not_see_what_lies_before() -> None:
    long = run((10.0, "roots", "minor"), (60.0, "crack", "severe"))
    off = 40.0 * FOOT
    east, north = off * np.sin(np.radians(80.0)), off * np.cos(np.radians(80.0))
    short = run((60.0, "crack", "severe"), seed=2)
    short = replace(
        short,
        start=replace(short.start, easting_m=east, northing_m=north),
        locates=tuple(
            replace(one, footage_m=one.footage_m - off)
            for one in short.locates if one.footage_m > off
        ),
        findings=tuple(replace(one, footage_m=one.footage_m - off) for one in short.findings),
        run=Run(60.0 * FOOT), pipes=(PipeRun(0.0, "clay", 0.15),),
    )  # fmt: skip
    again = compared(long, short)
    assert told(again) == [("not reached now", 1, None), ("unchanged", 2, 1)]
    assert again.compared[0].at_m == pytest.approx(-30.0 * FOOT, abs=1.0 * FOOT)
    assert told(compared(short, long)) == [("not reached before", None, 1), ("unchanged", 1, 2)]


def test_runs_of_two_pipes_are_not_compared() -> None:
    report = build_report(run(*BEFORE))
    other = run(*NOW)
    moved = replace(
        other,
        start=replace(other.start, northing_m=60.0 * FOOT),
        locates=tuple(
            replace(
                one, ties=tuple(
                    replace(tie, northing_m=tie.northing_m + 60.0 * FOOT) for tie in one.ties
                ),
            )
            for one in other.locates
        ),
    )  # fmt: skip
    # 60 ft to the north of a pipe that runs 10 degrees from east.
    with pytest.raises(AnalysisError, match=r"no nearer to one another than 59 ft: they are not"):
        compare_runs(report, build_report(moved))


def test_a_run_dated_before_its_earlier_one_says_so() -> None:
    before, now = run(*BEFORE, date=date(2026, 6, 1)), run(*NOW, date=date(2025, 6, 1), seed=2)
    (first, *_) = again_facts(compared(before, now))["notices"]
    assert first.startswith("The run given as the earlier one is dated 2026-06-01, after this one")
    assert "dated" not in " ".join(again_facts(compared(now, before))["notices"])


def test_a_repairs_ends_are_held_against_what_was_asked() -> None:
    reach = Reach(60.0 * FOOT, 80.0 * FOOT, "under the walk")
    before = run((70.0, "broken pipe", "severe"), reaches=(reach,))
    before = replace(before, pipes=(PipeRun(0.0, "clay", 0.15),))
    later = (PipeRun(0.0, "clay", 0.15), PipeRun(58.0 * FOOT, "pvc", 0.15))
    now = replace(run(seed=2), pipes=(*later, PipeRun(75.0 * FOOT, "clay", 0.15)))
    again = compared(before, now)
    (one,) = again.repaired
    assert one.short_from_m == pytest.approx(-2.0 * FOOT, abs=0.3 * FOOT)
    assert one.short_to_m == pytest.approx(5.0 * FOOT, abs=0.3 * FOOT)
    said = repair_words(again, one)
    assert said.startswith("under the walk: asked from 60.0 ft to ")
    assert " short at its end" in said
    assert "beginning" not in said
    covered = replace(now, pipes=(*later, PipeRun(83.0 * FOOT, "clay", 0.15)))
    again = compared(before, covered)
    assert repair_words(again, again.repaired[0]).endswith("it covers what was asked.")
    again = compared(before, replace(now, pipes=before.pipes))
    assert "no other pipe is recorded there now" in repair_words(again, again.repaired[0])


def test_a_sketch_and_a_surveyed_site_have_nothing_in_common() -> None:
    report = build_report(run())
    surveyed: Report = replace(
        report, site=replace(report.site, frame=projected_frame("EPSG:32633", 5e5, 5e6))
    )
    with pytest.raises(AnalysisError, match="declare the same crs in both"):
        compare_runs(report, surveyed)


def test_most_pairs_of_a_simulated_pipe_are_right() -> None:
    """Of findings 4 ft apart and more, seen twice with both runs' own errors, nearly all are."""
    rng = np.random.default_rng(5)
    right = many = 0
    for seed in range(4):
        places = np.arange(8.0, 96.0, 4.0) + rng.uniform(-0.5, 0.5, 22)
        kept = rng.uniform(size=22) > 0.2
        before = run(*((float(at), "roots", "minor") for at in places), seed=10 + seed)
        later = places[kept] + rng.normal(0.0, 0.3, int(kept.sum()))
        now = run(*((float(at), "roots", "minor") for at in later), seed=50 + seed)
        numbers = {int(i) + 1: k + 1 for k, i in enumerate(np.flatnonzero(kept))}
        for _, one, other in told(compared(before, now)):
            if one is not None:
                many += 1
                right += numbers.get(one) == other
    assert right >= 0.95 * many


@pytest.fixture
def two_folders(tmp_path: Path) -> Path:
    """Two runs of a demo in a folder, the second of which names no earlier one."""
    for name in ("first", "second"):
        shutil.copytree(ROOT / "demo_sites" / "plain_lot", tmp_path / name)
    return tmp_path


def name_earlier(folder: Path, earlier: str) -> None:
    toml = folder / "site.toml"
    text = toml.read_text("utf-8")
    toml.write_text(text.replace("[site]", f'[site]\nearlier = "{earlier}"', 1), encoding="utf-8")


def test_the_command_reads_the_earlier_folder_from_the_site(two_folders: Path) -> None:
    second = two_folders / "second"
    done = CliRunner().invoke(app, ["again", str(second)])
    assert "it names no earlier run" in str(done.exception)
    name_earlier(second, "../first")
    done = CliRunner().invoke(app, ["again", str(second)])
    assert done.exit_code == 0, done.output
    assert {path.name for path in (second / "out").iterdir()} == {"again.html", "again.pdf"}
    said = " ".join(done.stdout.split())
    assert "unchanged." in said
    assert " new" not in said.split("unchanged.")[0]


@pytest.mark.parametrize(
    ("earlier", "said"),
    [
        ("../nowhere", r"^site\.toml, site\.earlier: '.*nowhere' is no site folder"),
        ("../first/site.csv", r"^site\.toml, site\.earlier: '.*site\.csv' is no site folder"),
        ("../pipe", r"^site\.toml, site\.earlier: '.*pipe' is no site folder"),
        (".", r"^site\.toml, site\.earlier: '.*' is this run's own folder"),
        ("../link", r"^site\.toml, site\.earlier: '.*' is this run's own folder"),
        ("../second/site.toml", r"^site\.toml, site\.earlier: '.*' is this run's own folder"),
        ("../empty", r"^\S*empty/site\.toml: it is missing"),
        ("../bad", r"^\S*bad/site\.toml line 9, site\.unit: 'furlong' is unknown"),
    ],
)
def test_an_earlier_folder_that_is_none_is_said_with_its_place(
    two_folders: Path, earlier: str, said: str
) -> None:
    (two_folders / "empty").mkdir()
    (two_folders / "link").symlink_to(two_folders / "second")
    os.mkfifo(two_folders / "pipe")
    shutil.copytree(two_folders / "first", two_folders / "bad")
    bad = two_folders / "bad" / "site.toml"
    bad.write_text(bad.read_text("utf-8").replace('unit = "ft"', 'unit = "furlong"'), "utf-8")
    second = two_folders / "second"
    name_earlier(second, earlier)
    with pytest.raises(SiteError, match=said):
        load_earlier(load_site(second), second)


@pytest.mark.parametrize("round_by", [("first", "second"), ("first", "third", "second")])
def test_earlier_runs_that_lead_round_in_a_circle_are_refused_and_said(
    two_folders: Path, round_by: tuple[str, ...]
) -> None:
    shutil.copytree(two_folders / "first", two_folders / "third")
    for one, other in zip(("second", *round_by), round_by, strict=False):
        name_earlier(two_folders / one, f"../{other}")
    second = two_folders / "second"
    said = f"circle: {', before it '.join(('second', *round_by))}; no run is older than itself"
    with pytest.raises(SiteError, match=said):
        load_earlier(load_site(second), second / "site.toml")
    done = CliRunner().invoke(app, ["check", str(second)])
    assert done.exit_code == 0
    assert "The earlier run this one names cannot be held against it:" in done.stdout
    assert said in " ".join(done.stdout.split())
    # One that goes round without this one is no better.
    shutil.copytree(ROOT / "demo_sites" / "plain_lot", two_folders / "fourth")
    name_earlier(two_folders / "fourth", ".")
    with pytest.raises(SiteError, match="round in a circle"):
        load_earlier(load_site(second), second, two_folders / "fourth")
