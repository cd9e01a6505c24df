"""What a public-works desk asks for: in the letter where the site says it, asked where not."""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from packet.test_wording import undrawn, words_of
from typer.testing import CliRunner

from lateral_map import build_report, load_site
from lateral_map.cli.main import app
from lateral_map.draw.packet.document import owner_html, referral_html, render_letter
from lateral_map.draw.sheet.document import draw_sheets
from lateral_map.errors import SiteError
from lateral_map.words.desk import desk_missing
from lateral_map.words.utility import evidence_facts, letter_facts

JOB = {
    "address": "9 Nowhere Walk", "parcel": "P-77", "permit": "SP-1", "work_order": "WO-2",
    "owner": "the owner of lot 9", "contact": "by letter", "inspector": "A. Camera",
    "certificate": "C-3", "access_point": "front cleanout", "camera_direction": "upstream",
    "video": "run.mp4", "video_time": "10:20", "vertical_datum": "NAVD 88", "urgency": "urgent",
    "urgency_ground": "backing up",
}  # fmt: skip
MAIN = {"asset": "SM-4", "upstream": "MH 7", "downstream": "MH 8", "from": "MH 8"}


def write(folder: Path, table: str, values: dict[str, str], more: str = "") -> None:
    keys = "".join(f'{key} = "{value}"\n' for key, value in values.items())
    toml = folder / "site.toml"
    toml.write_text(f"{toml.read_text('utf-8')}\n[{table}]\n{keys}{more}", encoding="utf-8")


def with_columns(file: Path, **columns: str) -> None:
    rows = list(csv.reader(file.read_text("utf-8").splitlines()))
    with file.open("w", newline="", encoding="utf-8") as out:
        head, *rest = rows
        names = [name for name in columns if name not in head]
        csv.writer(out).writerow([*head, *names])
        for row in rest:
            shown = [columns.get(name, cell) or cell for name, cell in zip(head, row, strict=True)]
            csv.writer(out).writerow([*shown, *(columns[name] for name in names)])


def test_every_field_stands_once_in_the_letter(folder: Path) -> None:
    write(folder, "job", JOB)
    write(folder, "main", MAIN, 'distance = "112 ft 6 in"\n')
    write(folder, "referral", {"client": "owner"})
    report = build_report(load_site(folder))
    letter = words_of(f"<div>{render_letter(letter_facts(report, report.letters[0]))}</div>")
    for said in (
        "Urgency: Urgent: backing up", "Service address: 9 Nowhere Walk", "Parcel: P-77",
        "Permit: SP-1", "Work order: WO-2", "Owner: the owner of lot 9, by letter",
        "Sent for: owner", "Inspector: A. Camera", "Certificate: C-3",
        "Camera in at: front cleanout, upstream, against the flow", "Video: run.mp4, 10:20",
        "Main: SM-4, MH 7 upstream, MH 8 downstream",
        "Tap on the main: 112.5 ± 2.0 ft from MH 8 as read in the main",
        "Vertical datum: NAVD 88",
    ):  # fmt: skip
        assert letter.count(said) == 1, said


@pytest.mark.parametrize("way", ["upstream", "downstream"])
def test_which_way_the_camera_went_is_no_place_it_was_put_in_at(folder: Path, way: str) -> None:
    write(folder, "job", {"camera_direction": way})
    report = build_report(load_site(folder))
    letter = words_of(f"<div>{render_letter(letter_facts(report, report.letters[0]))}</div>")
    assert f"Camera went: {way}, " in letter
    assert "Camera in at" not in letter
    # Up the pipe or down it, the owner's page sends no camera the wrong way.
    assert "down the pipe" not in words_of(owner_html(report, undrawn(report)))


def test_what_is_missing_is_left_out_of_the_page_and_asked_by_check(folder: Path) -> None:
    report = build_report(load_site(folder))
    letter = words_of(f"<div>{render_letter(letter_facts(report, report.letters[0]))}</div>")
    assert "Parcel" not in letter
    assert "None" not in letter
    asked = desk_missing(report)
    for name in ("parcel", "camera direction", "main's manholes", "urgency"):
        assert name in asked
    said = " ".join(CliRunner().invoke(app, ["check", str(folder)]).stdout.split())
    assert "What the desk asks" in said
    assert "service address, parcel" in said


def test_each_thing_is_asked_back_where_it_alone_is_missing(folder: Path) -> None:
    write(folder, "job", JOB)
    write(folder, "main", MAIN, 'distance = "112 ft 6 in"\n')
    write(folder, "referral", {"from": "The office", "to": "The city", "client": "owner"})
    with_columns(folder / "findings.csv", clock="9 to 3")
    report = build_report(load_site(folder))
    assert desk_missing(report) == []
    site, names = report.site, {
        "address": "service address", "parcel": "parcel", "owner": "owner",
        "contact": "owner's contact", "inspector": "inspector",
        "certificate": "certificate number", "access_point": "access point",
        "camera_direction": "camera direction", "video": "video", "urgency": "urgency",
        "urgency_ground": "what the urgency rests on",
    }  # fmt: skip
    for key, name in names.items():
        job = replace(site.job, **{key: None if key in ("camera_direction", "urgency") else ""})
        assert desk_missing(replace(report, site=replace(site, job=job))) == [name]
    for key, name in (("asset", "main's asset id"), ("upstream", "main's manholes")):
        main = replace(site.main, **{key: ""})
        assert desk_missing(replace(report, site=replace(site, main=main))) == [name]
    either = replace(site.job, permit="")
    assert desk_missing(replace(report, site=replace(site, job=either))) == []
    without = tuple(replace(one, finding=replace(one.finding, clock="")) for one in report.findings)
    assert desk_missing(replace(report, findings=without)) == ["clock positions of the findings"]


def test_where_and_when_it_is_seen_is_beside_the_finding(folder: Path) -> None:
    with_columns(
        folder / "findings.csv", clock="9-3", video="one.mp4", video_time="00:12:31", note="x"
    )
    report = build_report(load_site(folder))
    assert {one.finding.clock for one in report.findings} == {"9 to 3"}
    page = words_of(referral_html(report, report.letters[0], draw_sheets(report)))
    many = len(report.findings)
    asked = len(report.letters[0].theirs) + len(report.letters[0].close)
    assert page.count("at 9 to 3 o'clock; one.mp4 at 00:12:31") == many + asked


@pytest.mark.parametrize("clock", ["13", "0", "top", "9 to 13", "3:30"])
def test_a_position_on_no_clock_is_asked_back(folder: Path, clock: str) -> None:
    with_columns(folder / "findings.csv", clock=clock)
    with pytest.raises(SiteError, match="is no position on a clock"):
        load_site(folder)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"from": "MH 9", "upstream": "MH 7"}, "'MH 9' is neither of the two manholes"),
        ({"upstream": "MH 7", "distance": "9 ft"}, "says not what it counts from"),
        ({"line": "gas man"}, "the plan has no utility called 'gas man'"),
    ],
)
def test_a_main_that_cannot_be_is_refused(folder: Path, values: dict[str, str], said: str) -> None:
    write(folder, "main", values)
    with pytest.raises(SiteError, match=said):
        load_site(folder)


def test_readings_stand_as_they_were_written(folder: Path) -> None:
    file = folder / "locates.csv"
    with_columns(file, depth="4'2 1/2\"", footage="")
    head, *rows = csv.reader(file.read_text("utf-8").splitlines())
    site = load_site(folder)
    told = evidence_facts(build_report(site))["locates"]
    assert len(told) == len(rows)
    for row, said in zip(rows, told, strict=True):
        cells = dict(zip(head, row, strict=True))
        assert said[2] == "4'2 1/2\""
        assert cells["footage"] in said[1]
        for tape in ("tape1", "tape2", "tape3"):
            assert cells.get(tape, "") in said[4]


def test_a_letter_is_dated_where_the_site_dates_it(folder: Path) -> None:
    write(folder, "referral", {}, "date = 2026-05-09\n")
    site = load_site(folder)
    assert site.referral.date == dt.date(2026, 5, 9)
    report = build_report(site)
    assert "Date: 2026-05-09" in words_of(
        f"<div>{render_letter(letter_facts(report, report.letters[0]))}</div>"
    )
