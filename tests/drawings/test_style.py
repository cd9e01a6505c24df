"""Colours against their published sources, and everything told apart without colour."""

from __future__ import annotations

import colorsys

import pytest

from lateral_map.draw import style
from lateral_map.words.cautions import CAUTIONS

# Okabe & Ito, 'Color Universal Design' (2008): the eight colours as published in RGB (0-255).
# RGB values from memory.
PUBLISHED_RGB = {
    "black": (0, 0, 0),
    "orange": (230, 159, 0),
    "sky blue": (86, 180, 233),
    "bluish green": (0, 158, 115),
    "yellow": (240, 228, 66),
    "blue": (0, 114, 178),
    "vermillion": (213, 94, 0),
    "reddish purple": (204, 121, 167),
}
# APWA Uniform Color Code, as cited by MCL 460.727(2): the hue for each utility. The code names
# hues; the ranges of hue angle counted as each name are this test's own.
APWA_HUES = {
    "gas": (45, 65),  # yellow
    "electric": (350, 370),  # red
    "water": (200, 240),  # blue
    "communication": (20, 40),  # orange
    "reclaimed": (265, 300),  # purple
    "storm": (90, 150),
    "steam": (40, 65),
    "oil": (40, 65),
    "sewer": (100, 150),  # green
}


def rgb(colour: str) -> tuple[int, int, int]:
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))  # type: ignore[return-value]


def luminance(colour: str) -> float:
    def part(value: int) -> float:
        share = value / 255
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (part(value) for value in rgb(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.1, success criterion 1.4.3."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_palette_is_the_published_one() -> None:
    assert {name: rgb(colour) for name, colour in style.OKABE_ITO.items()} == PUBLISHED_RGB


def test_the_line_takes_its_colours_from_the_palette() -> None:
    assert {line.colour for line in style.BASIS_LINES.values()} <= set(style.OKABE_ITO.values())
    marks = {mark.fill for mark in style.SIDE_MARKS.values()}
    assert marks <= set(style.OKABE_ITO.values())


@pytest.mark.parametrize(("utility", "hues"), APWA_HUES.items())
def test_utilities_take_the_hues_of_the_apwa_code(utility: str, hues: tuple[int, int]) -> None:
    red, green, blue = (value / 255 for value in rgb(style.UTILITY_COLOURS[utility]))
    hue = 360 * colorsys.rgb_to_hsv(red, green, blue)[0]
    low, high = hues
    assert low <= hue <= high or low <= hue + 360 <= high


def distinct(values: list[object]) -> bool:
    return len(set(values)) == len(values)


def test_without_colour_lines_differ_by_dash_or_width() -> None:
    assert distinct([line.dash_px for line in style.BASIS_LINES.values()])
    assert distinct([(line.dash_px, line.width_px) for line in style.LINE_KINDS.values()])
    assert distinct([line.dash_px for line in style.PARTY_LINES])


def test_without_colour_marks_differ_by_shape_and_utilities_by_letter() -> None:
    assert distinct([mark.shape for mark in style.SIDE_MARKS.values()])
    assert distinct([mark.shape for mark in style.LOCATE_MARKS.values()])
    assert distinct(list(style.UTILITY_LETTERS.values()))


def test_words_stand_out_from_paper() -> None:
    assert contrast(style.INK, style.PAPER) > 7
    assert contrast(style.QUIET, style.PAPER) > 4.5


def test_the_cautions_are_said() -> None:
    said = " ".join(CAUTIONS).lower()
    for words in (
        "call 811", "hand dig", "tolerance zone", "cave in", "bored through", "cutting roots",
        "local code", "licensed practice", "not a land survey", "one-call ticket",
    ):  # fmt: skip
        assert words in said


def test_every_style_goes_to_the_page() -> None:
    table = style.style_values(style.STYLES)
    assert {entry["as"] for entry in table.values()} == {"line", "area", "mark"}
    for kind in style.UTILITY_COLOURS:
        assert table[f"utility {kind}"]["letter"] == style.UTILITY_LETTERS[kind]
