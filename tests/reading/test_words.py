"""Words cleaned and matched; faults said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.errors import Fault, SiteError
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.words import clean_name, clean_text, listed, nearest, plain, suggest


@pytest.mark.parametrize(
    ("word", "choices", "found"),
    [
        ("crub", ["curb", "centreline"], "curb"),
        ("Right of way", ["right_of_way", "reference"], "right_of_way"),
        ("hydrnt", ["Hydrant", "meter"], "Hydrant"),
        ("zebra", ["curb", "meter"], None),
        ("", ["curb"], None),
        ("x" * 1_000_000, ["curb"], None),
    ],
)
def test_the_nearest_word(word: str, choices: list[str], found: str | None) -> None:
    assert nearest(word, choices) == found


def test_what_to_write_instead() -> None:
    assert suggest("crub", ["curb", "house"]) == "did you mean 'curb'?"
    assert suggest("zebra", ["curb", "house"]) == "write 'curb' or 'house'"
    assert suggest("zebra", []) == ""
    assert listed(str(i) for i in range(30)).endswith("... (30 in all)")


def test_spellings_are_compared_plainly() -> None:
    assert plain(" Right-of  Way ") == plain("right_of_way") == "right_of_way"


@given(st.text(max_size=60))
def test_clean_text_can_be_printed_anywhere(text: str) -> None:
    for cleaned in (clean_text(text), clean_name(text)):
        cleaned.encode()
        assert all(letter in "\n\t" or ord(letter) >= 32 for letter in cleaned)
        assert clean_text(cleaned) == cleaned
    assert clean_name(clean_name(text)) == clean_name(text)
    assert "\n" not in clean_name(text)


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (Fault("it is wrong"), "it is wrong"),
        (Fault("bad", "mend it", "bends.csv", 14, "turn"), "bends.csv row 14, turn: bad; mend it"),
        (Fault("bad", "mend it", "site.toml", 3, "x"), "site.toml line 3, x: bad; mend it"),
        (Fault("it is wrong", file="plan.gpkg"), "plan.gpkg: it is wrong"),
        (Fault("it is wrong", field="depth"), "depth: it is wrong"),
    ],
)  # fmt: skip
def test_a_fault_says_its_place(fault: Fault, said: str) -> None:
    assert str(fault) == said


def test_a_place_is_attached_once() -> None:
    ledger = Ledger()
    with ledger.place(file="locates.csv", row=3, field="depth"):
        raise SiteError([Fault("a"), Fault("b", file="plan.gpkg", row=1, field="c")])
    assert ledger.faults == [
        Fault("a", file="locates.csv", row=3, field="depth"),
        Fault("b", file="plan.gpkg", row=1, field="c"),
    ]
    with pytest.raises(SiteError) as caught:
        ledger.raise_if_any()
    assert len(caught.value.faults) == 2


def test_a_notice_is_kept_once() -> None:
    ledger = Ledger()
    ledger.notice("so it is")
    ledger.notice("so it is")
    assert ledger.notices == ["so it is"]
    ledger.raise_if_any()
