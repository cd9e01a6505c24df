from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from lateral_map.draw.paint.flags import Flag, PlacedFlag, place_flags

GAP = 1.0
RIGHT = 340.0


def measure(text: str, bold: bool) -> float:
    return len(text) * (1.2 if bold else 1.0)


def flag(at: float, number: int, *, joins: bool = True, key: str = "finding") -> Flag:
    wordings = (f"{number} offset joint, severe", f"{number} joint", str(number))
    return Flag(at, wordings, (str(number),), joins=joins, key=key)


FLAGS = st.lists(st.floats(0, 320), max_size=40).map(
    lambda places: [flag(at, number) for number, at in enumerate(sorted(places), start=1)]
)


def overlaps(placed: tuple[PlacedFlag, ...]) -> list[tuple[str, str]]:
    """Slow look at every pair: texts in one lane, and staffs through texts of nearer lanes."""
    found = []
    for one in placed:
        for other in placed:
            if one is other:
                continue
            inside = one.flag.at < other.flag.at < one.flag.at + one.width
            if inside and other.lane >= one.lane:
                found.append((one.text, other.text))
    return found


@settings(max_examples=150)
@given(FLAGS)
def test_no_text_meets_a_text_or_a_staff(flags: list[Flag]) -> None:
    placed = place_flags(flags, lanes=5, right=RIGHT, gap=GAP, measure=measure)
    assert overlaps(placed) == []


@settings(max_examples=150)
@given(FLAGS)
def test_every_finding_is_named_once_in_order(flags: list[Flag]) -> None:
    placed = place_flags(flags, lanes=5, right=RIGHT, gap=GAP, measure=measure)
    named = [name for each in placed for name in each.flag.names]
    assert named == [str(number) for number in range(1, len(flags) + 1)]
    assert all(each.lane < 5 for each in placed)


def test_with_room_everything_is_said_in_full() -> None:
    flags = [flag(at, number) for number, at in enumerate((0.0, 100.0, 200.0), start=1)]
    placed = place_flags(flags, lanes=5, right=RIGHT, gap=GAP, measure=measure)
    assert [each.text for each in placed] == [each.wordings[0] for each in flags]
    assert {each.lane for each in placed} == {0}


def test_eighty_findings_crowd_into_ranges_within_the_lanes() -> None:
    flags = [flag(float(at), at + 1) for at in range(80)]
    placed = place_flags(flags, lanes=4, right=RIGHT, gap=GAP, measure=measure)
    assert overlaps(placed) == []
    assert max(each.lane for each in placed) < 4
    assert any("–" in each.text for each in placed)


def test_crossings_and_suspects_are_never_joined() -> None:
    flags = [flag(10.0 + 0.1 * k, k, joins=False) for k in range(12)]
    placed = place_flags(flags, lanes=3, right=RIGHT, gap=GAP, measure=measure)
    assert len(placed) == 12
    assert overlaps(placed) == []


def test_kinds_do_not_join_each_other() -> None:
    flags = [flag(10.0 + 0.1 * k, k, key="locate" if k % 2 else "bend") for k in range(12)]
    placed = place_flags(flags, lanes=3, right=RIGHT, gap=GAP, measure=measure)
    for each in placed:
        assert len({int(name) % 2 for name in each.flag.names}) == 1
