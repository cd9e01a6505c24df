from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lateral_map.model.results import FallStretch
from lateral_map.words.numbers import (
    chance_words,
    fall_words,
    label,
    length,
    listed,
    plus_minus,
    tidy,
)
from lateral_map.words.technician import number_ranges


@pytest.mark.parametrize(
    ("value_m", "sd_m", "unit", "words"),
    [
        (3.048, 0.3048, "ft", "10.0 ± 2.0 ft"),
        (3.048, 0.003, "ft", "10.0 ± 0.02 ft"),
        (3.0, 0.0, "m", "3.00 ± 0.00 m"),
        (1200 / 3937 * 50, 0.1, "us_ft", "50.0 ± 0.6 ft"),
        (-0.001, 0.0, "m", "0.00 ± 0.00 m"),
    ],
)
def test_a_length_carries_its_95_percent_range(value_m, sd_m, unit, words) -> None:
    assert plus_minus(value_m, sd_m, unit) == words


def test_lengths_take_the_decimals_of_their_unit() -> None:
    assert length(3.048, "ft") == "10.0 ft"
    assert length(3.048, "m") == "3.05 m"


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "> 99.9 %"),
        (0.9989, "99.9 %"),
        (0.953, "95 %"),
        (0.9499999, "94.9 %"),
        (0.946, "94.6 %"),
        (0.0500001, "5.1 %"),
        (0.0465, "5 %"),
        (0.5, "50 %"),
        (0.004, "0.4 %"),
        (0.0, "< 0.1 %"),
        (float("nan"), "unknown"),
    ],
)
def test_probabilities_never_claim_certainty(probability, words) -> None:
    assert chance_words(probability) == words


@given(st.text(max_size=3000))
def test_labels_are_one_short_line(text: str) -> None:
    shown = label(text, 20)
    assert len(shown) <= 20
    assert len(shown.splitlines()) <= 1


@given(st.text(max_size=3000))
def test_tidy_text_has_no_controls_and_says_what_it_leaves_out(text: str) -> None:
    shown = tidy(text, 50)
    assert not any(ord(letter) < 32 and letter not in "\n\t" for letter in shown)
    assert not set(shown) & set("\u202e\u2066\u2028\u2029\x00")
    if len(shown) > 50:
        assert "more characters" in shown


def test_long_text_says_how_much_is_left_out() -> None:
    assert tidy("a" * 5000, 600).endswith("[4400 more characters in the site's tables]")


def test_emoji_and_right_to_left_words_stay() -> None:
    assert label("🚿 שלום") == "🚿 שלום"


def test_lists_read_as_sentences() -> None:
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(list("abcdef"), 3) == "a, b, c and 3 more"


def test_finding_numbers_run_together() -> None:
    assert number_ranges([1, 4, 5, 6, 9]) == "1, 4–6, 9"
    assert number_ranges([1, 3, 5, 7, 9, 10]) == "1, 3, 5, 7 and 2 more"
    assert number_ranges([]) == ""


@pytest.mark.parametrize(
    ("ratio", "sd", "words"),
    [
        (0.021, 0.004, "2.1 % ± 0.8 %"),
        (-0.0001, 0.004, "0.0 % ± 0.8 %"),
        (57.29, 114.6, "89° ± 4°"),
        (-57.29, 114.6, "-89° ± 4°"),
    ],
)
def test_a_drop_is_said_in_degrees(ratio, sd, words) -> None:
    fall = FallStretch(0.0, 1.0, ratio, sd, None, "readings cannot tell", False)
    assert fall_words(fall) == words
