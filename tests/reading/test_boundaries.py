"""Boundaries at plan lines, at the main and at cleanouts, and what they say together."""

from __future__ import annotations

from pathlib import Path

import pytest
from reading.good_site import Folder, at, feature, good_folder

from lateral_map.model.site import Boundary

FT = 0.3048


def bounded(*boundaries: dict[str, str]) -> Folder:
    """Return the good folder with these boundaries alone, all of them deciding."""
    folder = good_folder()
    folder.toml["boundary"] = [
        {
            key: value if key in ("footage", "accuracy", "decides") else f'"{value}"'
            for key, value in {**one, "decides": "true"}.items()
        }
        for one in boundaries
    ]
    folder.locates[2].pop("past")
    return folder


def contradictions(folder: Folder, place: Path) -> list[str]:
    return [one for one in folder.load(place).notices if "contradict" in one]


def test_owner_to_main(tmp_path: Path) -> None:
    site = bounded({"at": "main", "inside": "owner", "outside": "city"}).load(tmp_path)
    assert site.boundaries == (Boundary("main", "owner", "city", True, "main"),)


def test_a_cleanout_by_its_footage(tmp_path: Path) -> None:
    keys = {"at": "cleanout", "footage": "41.5", "accuracy": "0.5", "name": "walk cleanout"}
    site = bounded({**keys, "inside": "owner", "outside": "city"}).load(tmp_path)
    (boundary,) = site.boundaries
    assert (boundary.kind, boundary.line) == ("cleanout", "walk cleanout")
    assert boundary.footage_m == pytest.approx(41.5 * FT)
    assert boundary.sd_footage_m == pytest.approx(0.5 * FT)


@pytest.mark.parametrize("called", ["cleanout", "Clean-out at the walk", "buried clean out"])
def test_a_cleanout_by_its_finding(called: str, tmp_path: Path) -> None:
    folder = bounded({"at": "cleanout", "inside": "owner", "outside": "city"})
    folder.findings[0]["finding"] = called
    (boundary,) = folder.load(tmp_path).boundaries
    assert (boundary.line, boundary.footage_m) == ("cleanout", pytest.approx(12 * FT))
    assert boundary.sd_footage_m == pytest.approx(0.1 * FT)  # the counter's reading accuracy


def test_a_cleanout_set_aside_is_none(tmp_path: Path) -> None:
    folder = bounded({"at": "cleanout", "inside": "owner", "outside": "city"})
    folder.findings[0] |= {"finding": "cleanout", "use": "no"}
    (fault,) = folder.faults(tmp_path)
    assert fault.field == "boundary[1].footage"


def test_a_run_ends_no_sooner_than_its_cleanout(tmp_path: Path) -> None:
    folder = bounded({"at": "cleanout", "footage": "90", "inside": "owner", "outside": "city"})
    folder.toml["run"] = {"end": '"main"'}
    assert folder.load(tmp_path).run.end_m == pytest.approx(90 * FT)


def test_a_line_may_be_called_main(tmp_path: Path) -> None:
    folder = bounded(
        {"line": "main", "inside": "owner", "outside": "city"},
        {"at": "main", "inside": "city", "outside": "county"},
    )
    folder.features("curb")["properties"]["name"] = "main"
    for row in folder.locates:
        row.update({"line": "main"} if row.get("line") else {})
    site = folder.load(tmp_path)
    assert [(one.kind, one.line) for one in site.boundaries] == [("line", "main"), ("main", "main")]


def test_a_main_the_camera_never_reached_is_noted(tmp_path: Path) -> None:
    folder = bounded({"at": "main", "inside": "owner", "outside": "city"})
    assert not any("does not end at it" in one for one in folder.load(tmp_path / "a").notices)
    folder.toml["run"]["end"] = '"not reached"'
    (notice,) = [one for one in folder.load(tmp_path / "b").notices if "does not end at it" in one]
    assert "'owner'" in notice


def test_a_client_is_spelt_as_the_boundary_spells_it(tmp_path: Path) -> None:
    folder = good_folder()
    assert folder.load(tmp_path / "a").referral.client == ""
    folder.toml["referral"] = {"client": '"City"'}
    assert folder.load(tmp_path / "b").referral.client == "city"


CURB = {"line": "curb", "inside": "association", "outside": "city"}
NORTH = {"line": "north line", "inside": "owner", "outside": "neighbour"}
ROW = {"line": "right of way", "inside": "owner", "outside": "association"}
MAIN = {"at": "main", "inside": "city", "outside": "county"}
CLEANOUT = {"at": "cleanout", "footage": "20", "inside": "owner", "outside": "trust"}


def with_right_of_way(*boundaries: dict[str, str]) -> Folder:
    folder = bounded(*boundaries)
    line = [at(48, 50), at(48, -50)]
    folder.plan["features"].append(
        feature("LineString", line, kind="right_of_way", name="right of way", accuracy=1.0)
    )
    return folder


@pytest.mark.parametrize(
    "boundaries",
    [
        (CURB,),
        (ROW, CURB),
        (CURB, ROW, MAIN),
        (ROW, CURB, MAIN, CLEANOUT | {"outside": "owner"}),
        (CLEANOUT, ROW | {"inside": "trust"}, CURB),
        (CLEANOUT | {"inside": "city"}, MAIN | {"inside": "trust"}, ROW, CURB),
        (ROW | {"outside": "city"}, CURB | {"inside": "trust"}, CLEANOUT | {"inside": "city"}),
        (NORTH, ROW, CURB),
    ],
)
def test_boundaries_that_agree(boundaries: tuple[dict[str, str], ...], tmp_path: Path) -> None:
    assert contradictions(with_right_of_way(*boundaries), tmp_path) == []


@pytest.mark.parametrize(
    ("boundaries", "said"),
    [
        ((CURB | {"inside": "owner"}, ROW), "past 'right of way' 'association' answers"),
        ((ROW, CURB, MAIN | {"inside": "owner"}), "past 'curb' 'city' answers"),
        ((CURB, CURB | {"line": "right of way"}), "past 'right of way' 'city' answers"),
        ((ROW, CLEANOUT | {"inside": "county"}), "'cleanout'"),
        ((CLEANOUT | {"outside": "city"}, MAIN | {"inside": "owner"}), "past 'cleanout' 'city'"),
    ],
)
def test_boundaries_that_contradict_each_other_are_noted(
    boundaries: tuple[dict[str, str], ...], said: str, tmp_path: Path
) -> None:
    (notice,) = contradictions(with_right_of_way(*boundaries), tmp_path)
    assert said in notice
    assert "it is left open which of the two answers between them" in notice


@pytest.mark.parametrize(
    ("row", "curb", "contradict"),
    [
        (ROW, CURB, False),  # the one leads up to the other
        (ROW, CURB | {"inside": "owner"}, True),
        (ROW, CURB | {"inside": "owner", "outside": "association"}, False),
    ],
)
def test_two_lines_at_one_place_that_name_two_past_it_are_noted(
    row: dict[str, str], curb: dict[str, str], contradict: bool, tmp_path: Path
) -> None:
    for number, boundaries in enumerate(((row, curb), (curb, row))):
        folder = with_right_of_way(*boundaries)
        folder.features("right of way")["geometry"] = folder.features("curb")["geometry"]
        said = [one for one in contradictions(folder, tmp_path / str(number)) if "one place" in one]
        assert len(said) == contradict
        assert all("'association'" in one and "'city'" in one for one in said)


def test_a_line_that_decides_nothing_contradicts_nothing(tmp_path: Path) -> None:
    folder = with_right_of_way(ROW, CURB | {"inside": "owner"})
    folder.toml["boundary"][1]["decides"] = "false"
    assert contradictions(folder, tmp_path) == []


@pytest.mark.parametrize(
    ("boundaries", "noted"), [((ROW, CURB), True), ((ROW, CURB | {"inside": "owner"}), False)]
)
def test_a_start_within_two_lines_that_name_two_parties_for_it_is_noted(
    boundaries: tuple[dict[str, str], ...], noted: bool, tmp_path: Path
) -> None:
    """The right of way is drawn behind the start: what leads to the curb cannot cross it."""
    folder = with_right_of_way(*boundaries)
    row = folder.features("right of way")
    row["geometry"]["coordinates"] = [list(at(-12, 50)), list(at(-12, -50))]
    found = contradictions(folder, tmp_path)
    assert bool(found) is noted
    for notice in found:
        assert "the start lies within 'right of way', where 'owner' answers" in notice
        assert "within 'curb', where 'association' does" in notice
