"""What the line lies under, and which lot lines it goes over, on routes known by arithmetic."""

from __future__ import annotations

from dataclasses import replace

import pytest
from analysis.builder import HandRoute, Sds, line
from shapely.geometry import box

from lateral_map.analysis.crossings import find_crossings
from lateral_map.analysis.other_ground import find_other_ground
from lateral_map.analysis.stations import lay_stations
from lateral_map.model.site import Boundary, Job, Plan, PlanArea

STREET = line("street edge", (28.0, 9.0), (28.0, -9.0), kind="right_of_way")
EXACT = Sds()
DECIDES = (Boundary("street edge", "owner", "city", decides=True),)


def found(*lines, buildings=(), sds=EXACT, boundaries=DECIDES, direction="", **parts):
    """Return what a run of 30 m due east from the origin meets; buildings as bounds."""
    areas = tuple(PlanArea(name, "building", box(*at)) for name, at in buildings)
    job = Job(camera_direction=direction)
    fields = {"plan": Plan(lines=(STREET, *lines), areas=areas), "job": job}
    hand = HandRoute(lines=(STREET, *lines), boundaries=boundaries, sds=sds, **parts)
    route = replace(hand, site_fields=fields).build()
    crossings, _ = find_crossings(route)
    places = find_other_ground(route, lay_stations(route, crossings), crossings)
    return [(one.name, one.what, round(one.from_m, 3), round(one.to_m, 3), one.sure)
            for one in places]  # fmt: skip


def test_buildings_but_the_one_it_serves_are_told_from_where_to_where() -> None:
    house, shed = ("house", (-9, -4, 6, 4)), ("shed", (11, -2, 14.5, 3))
    assert found(buildings=(house, shed)) == [("shed", "building", 11.0, 14.5, True)]
    # Run against the flow the house stands at the end, and what is at its beginning counts.
    there = ("house", (26, -4, 40, 4))
    told = found(buildings=(house, there), direction="upstream")
    assert told == [("house", "building", 0.0, 6.0, True)]


@pytest.mark.parametrize(("sd_m", "told"), [(0.3, []), (2.0, [("barn", False)])])
def test_a_building_within_the_range_may_be_above(sd_m: float, told) -> None:
    barn = ("barn", (10, 3, 20, 9))
    got = found(buildings=(barn,), sds=Sds(start=sd_m), start=(0.0, 0.0))
    assert [(name, sure) for name, _, _, _, sure in got] == told


def test_a_lot_left_but_by_its_front_leads_into_other_ground() -> None:
    front = line("front lot line", (22.0, 9.0), (22.0, -9.0), kind="property_line")
    far = line("back lot line", (5.0, 9.0), (5.0, -9.0), kind="property_line")
    aslant = line("side lot line", (20.0, 2.0), (28.0, -1.0), kind="property_line")
    assert found(front) == []
    assert [one[0] for one in found(front, far)] == ["back lot line"]
    assert [one[0] for one in found(front, aslant)] == ["side lot line"]
    assert found(front, far, boundaries=()) == []


def test_past_the_line_that_decides_nothing_is_another_lot() -> None:
    other = line("lot across", (29.0, 9.0), (29.5, -9.0), kind="property_line")
    assert found(other) == []
    # From the street: what lies beyond, as the camera goes, is the owner's.
    assert found(other, direction="upstream") == []
    back = line("back lot line", (5.0, 9.0), (5.0, -9.0), kind="property_line")
    assert found(back, direction="upstream") == []
