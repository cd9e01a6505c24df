"""A job from an empty folder on a phone, every tap and key counted but the numbers themselves."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser
from web.yard import PHONE, Yard, browser_context, served

from lateral_map import build_report
from lateral_map.reading.folder import load_site
from lateral_map.units import from_metres

pytestmark = pytest.mark.browser
# What is really there, in feet: a house with one jog, paced round clockwise from A.
CORNERS = {"A": (0, 0), "B": (40, 0), "C": (40, -20), "D": (30, -20), "E": (30, -30), "F": (0, -30)}
TURNS = ("90", "90", "-90", "90", "90", "90")
POINTS = {"K": (20, 4), "M": (60, 10), "N": (-10, 25), "P": (45, 40)}
START, BENDS = "K", ((12.0, 22.5), (40.0, -22.5))
FOOTAGES = (8.0, 18.0, 28.0, 38.0, 48.0, 58.0)


def places() -> dict[float, tuple[float, float]]:
    """Return where the pipe runs by footage: north from the start, turned at two bends."""
    at, azimuth, footage, found = POINTS[START], 5.0, 0.0, {}
    while footage <= 60.0:
        found[footage] = at
        azimuth += dict(BENDS).get(footage, 0.0)
        east, north = math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))
        at, footage = (at[0] + 0.5 * east, at[1] + 0.5 * north), footage + 0.5
    return found


class Person:
    """Somebody at a phone. Numbers are free; every tap and every other key counts."""

    def __init__(self, yard: Yard) -> None:
        self.yard, self.count = yard, 0

    def tap(self, what: Any) -> None:
        self.count += 1
        what.tap()

    def tab(self, name: str) -> None:
        self.tap(self.yard.page.locator("#tabs").get_by_role("button", name=name))

    def field(self, name: str) -> Any:
        return self.yard.panel().locator(f'form [data-field="{name}"]:visible').first

    def put(self, **values: str) -> None:
        """Give fields their values: words are typed, choices tapped, names picked."""
        for name, value in values.items():
            field = self.field(name.rstrip("_"))
            if field.locator("select").count():
                self.count += 2  # opened, picked
                field.locator("select").select_option(value)
            elif (pick := field.get_by_role("button", name=value, exact=True)).count():
                self.tap(pick)
            else:
                box = field.locator("input")
                if not box.evaluate("e => e === document.activeElement"):
                    self.tap(box)
                if not value.replace(".", "").replace("-", "").isdigit():
                    self.count += len(value)
                self.count += 1 if value == "" else 0
                box.fill(value)

    def open(self, title: str) -> None:
        self.tap(self.yard.panel().get_by_role("button", name=title).first)

    def save(self) -> None:
        before = self.yard.saves()
        self.tap(self.yard.panel().locator('form button[type="submit"]:visible').first)
        self.yard.wait_saved(before)


def shown(value: float) -> str:
    return f"{value:.2f}"


def test_a_house_a_street_and_a_line_in_two_hundred_taps(
    browser: Browser, tmp_path: Path, keys: Path
) -> None:
    folder = tmp_path / "yard"
    with served(folder, keys) as server, browser_context(browser, **PHONE) as context:
        yard = Yard(context, server.address)
        person = Person(yard)
        person.put(x="", y="", end_footage="60")
        person.save()
        draw_the_sketch(person)
        person.tab("Site")
        person.put(point=START)
        person.save()
        person.tap(yard.panel().get_by_role("button", name="Add a boundary"))
        boundary = yard.panel().locator('[data-list="boundary"] form')
        boundary.locator('[data-field="line"] select').select_option("curb")
        person.count += 2
        before = yard.saves()
        person.tap(boundary.locator('button[type="submit"]'))
        yard.wait_saved(before)
        enter_the_line(person)
        assert yard.complaints == []
    assert person.count <= 200, f"{person.count} taps and keys"
    check_the_line(folder)


def draw_the_sketch(person: Person) -> None:
    """Pace round the house, tape the points, lay the street behind it."""
    person.tab("Sketch")
    names = list(CORNERS)
    for index, (name, turn) in enumerate(zip(names, TURNS, strict=True)):
        after = names[(index + 1) % len(names)]
        distance = shown(math.dist(CORNERS[name], CORNERS[after]))
        if index == 0:
            person.put(what="wall", from_=name, to=after)
        elif person.field("to").locator("input").input_value() != after:
            person.put(to=after)
        person.put(distance=distance)
        if person.field("turn").locator("input").input_value() != turn:
            person.put(turn=f"{turn.lstrip('-')}° {'left' if turn[0] == '-' else 'right'}")
        if index == 0:
            person.open("More")
            person.put(azimuth="90")
        person.save()
    for name, at in POINTS.items():
        person.put(what="point", name=name, side="left")
        person.open("Tapes")
        person.put(tape1_from="A", tape1=shown(math.dist(at, CORNERS["A"])))
        person.put(tape2_from="B", tape2=shown(math.dist(at, CORNERS["B"])))
        person.save()
    person.put(what="curb", name="curb", from_="A", to="B", side="out")
    person.open("Along and square")
    person.put(offset="50")
    person.save()
    person.put(what="right of way", name="row", side="behind")
    person.open("Along and square")
    person.put(offset="12")
    person.open("A line")
    person.put(line="curb")
    person.save()


def enter_the_line(person: Person) -> None:
    """Enter six locates, two bends and five findings."""
    at = places()
    person.tab("Locates")
    for footage in FOOTAGES:
        person.put(footage=shown(footage))
        for tape, point in (("tape1", "M"), ("tape2", "N")):
            if person.field(f"{tape}_from").locator("select").input_value() != point:
                person.put(**{f"{tape}_from": point})
            person.put(**{tape: shown(math.dist(at[footage], POINTS[point]))})
        person.save()
    person.tab("Bends")
    for footage, turn in BENDS:
        person.put(footage=shown(footage))
        person.put(turn=f"{abs(turn)}° {'left' if turn < 0 else 'right'}")
        person.save()
    person.tab("Findings")
    for footage, finding in zip((10, 20, 30, 40, 55), ("roots", "crack", "roots", "tap", "crack"),
                                strict=True):  # fmt: skip
        person.put(footage=str(footage), finding=finding)
        person.save()


def check_the_line(folder: Path) -> None:
    """Hold the line against where the pipe really is, in the sketch's own frame."""
    report = build_report(load_site(folder))
    assert not report.suspects
    assert (len(report.locates), len(report.findings)) == (6, 5)
    corner = next(one for one in report.site.plan.points if one.name == "A")
    for footage in (20.0, 40.0, 55.0):
        station = int(np.argmin(np.abs(report.stations.footage_m - footage * 0.3048)))
        nearest = from_metres(float(report.stations.footage_m[station]), "ft")
        east = from_metres(float(report.stations.easting_m[station]) - corner.easting_m, "ft")
        north = from_metres(float(report.stations.northing_m[station]) - corner.northing_m, "ft")
        truth = places()[round(nearest * 2) / 2]
        assert math.dist((east, north), truth) < 1.5
