"""Lengths as people write them, to and from the one internal unit, the metre.

No other module does unit arithmetic. The international foot is 0.3048 m exactly; the US survey
foot is 1200/3937 m exactly (85 FR 62698, 5 October 2020). They are different words here and are
never taken for each other.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Final

from lateral_map.errors import SiteError

_FACTORS: Final[dict[str, Fraction]] = {
    "m": Fraction(1),
    "ft": Fraction(3048, 10000),
    "us_ft": Fraction(1200, 3937),
    "in": Fraction(254, 10000),
    "us_in": Fraction(100, 3937),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
}
METRES_PER: Final[dict[str, float]] = {name: float(factor) for name, factor in _FACTORS.items()}

_WORDS: Final[dict[str, str]] = {
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
    "in": "in", "inch": "in", "inches": "in", '"': "in",
    "us_ft": "us_ft", "us-ft": "us_ft", "us ft": "us_ft", "usft": "us_ft", "ftus": "us_ft",
    "us survey ft": "us_ft", "us survey foot": "us_ft", "us survey feet": "us_ft",
}  # fmt: skip
# Units that may follow one another in one length, and how many of the smaller make the larger.
_SMALLER_IN_LARGER: Final[dict[tuple[str, str], int]] = {
    ("ft", "in"): 12,
    ("us_ft", "us_in"): 12,
    ("m", "cm"): 100,
    ("m", "mm"): 1000,
    ("cm", "mm"): 10,
}
_TYPOGRAPHY: Final = str.maketrans(
    {"′": "'", "’": "'", "‘": "'", "´": "'", "`": "'", "″": '"', "”": '"', "“": '"', "−": "-",
     "–": "-", "\u2044": "/", "\u00a0": " ", "\u2009": " ", "\u202f": " "}
    | {one: f" {top}/{bottom}" for one, top, bottom in (
        ("½", 1, 2), ("¼", 1, 4), ("¾", 3, 4), ("⅛", 1, 8), ("⅜", 3, 8), ("⅝", 5, 8), ("⅞", 7, 8))}
)  # fmt: skip
_LONGEST_TEXT: Final = 80
_NUMBER = r"\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d+\.\d*|\.\d+|\d+"
_WORD = r"(?:us[ _-]ft|us survey (?:foot|feet|ft)|[a-z]+)|'|\""
_TERM = re.compile(
    rf"\s*(?P<number>{_NUMBER})\s*(?:(?P<unit>{_WORD})(?:(?<=[a-z])\.)?)?\s*", re.ASCII
)
_PLAIN = re.compile(r"\d{1,12}(?:\.\d{1,12})?", re.ASCII)
_EXPECTED = "write a length such as 4.5, 7 ft 6 in, 7'6\", 90 in or 2.3 m"

Term = tuple[Fraction, str]


def metres_per(unit: str) -> float:
    """Return the metres in one ``unit`` (m, ft, us_ft, in, us_in, cm, mm)."""
    return METRES_PER[unit]


def to_metres(value: float, unit: str) -> float:
    """Convert ``value`` in ``unit`` to metres."""
    return value * METRES_PER[unit]


def from_metres(value_m: float, unit: str) -> float:
    """Convert ``value_m`` in metres to ``unit``."""
    return value_m / METRES_PER[unit]


def small_unit(unit: str) -> str:
    """Return the unit pipe sizes and small offsets are given in: inches, or mm for m."""
    return {"ft": "in", "us_ft": "us_in", "m": "mm"}[unit]


def per_root_metre(value: float, unit: str) -> float:
    """Convert a random walk's step per square root of a ``unit`` to one per root of a metre."""
    return value / math.sqrt(METRES_PER[unit])


def parse_length(value: object, unit: str) -> float:
    """Read a measured length and return it in metres.

    ``value`` is a number in ``unit``, or text that may carry its own units: ``7 ft 6 in``,
    ``7'6"``, ``7'-6 1/2"``, ``6 1/2 in``, ``2.3 m``. Feet and inches take the site's own foot, so
    that a us_ft site never mixes the two. Fractions are exact. Raises ``SiteError`` with one fault.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise _not_a_length(value)
    try:
        if not isinstance(value, str):
            metres = float(value) * METRES_PER[unit]
        elif _PLAIN.fullmatch(value):
            # As exact as with fractions, and ten times faster: nearly every length is written so.
            whole, _, decimals = value.partition(".")
            factor = _FACTORS[unit]
            over = factor.denominator * 10 ** len(decimals)
            metres = int(whole + decimals) * factor.numerator / over
        else:
            metres = float(_parse_text(value, unit))
    except OverflowError:
        metres = math.inf
    if not math.isfinite(metres):
        raise SiteError.of(f"{show_value(value)} is not a finite length", _EXPECTED)
    return metres


def show_value(value: object) -> str:
    """Return ``value`` as it is quoted in a message: escaped, and shortened where it is long."""
    try:
        text = repr(value[:80]).replace("\\'", "'") if isinstance(value, str) else repr(value)
    except ValueError:  # Python declines to write out an integer of thousands of digits.
        return "a number of thousands of digits"
    return text if len(text) <= 60 else f"{text[:57]}..."


def _not_a_length(value: object, why: str = "") -> SiteError:
    return SiteError.of(f"{show_value(value)} {why or 'is not a length'}", _EXPECTED)


def _parse_text(value: str, unit: str) -> Fraction:
    text = value.strip().translate(_TYPOGRAPHY).replace("''", '"').strip().lower()
    negative = text.startswith("-")
    terms = _split_terms(text[1:] if text[:1] in {"-", "+"} else text)
    if not terms:
        raise _not_a_length(value)
    names = [_WORDS.get(word, "") if word else unit for _, word in terms]
    if "" in names:
        raise _not_a_length(value, f"has the unknown unit {terms[names.index('')][1]!r}")
    if unit in {"us_ft", "us_in"}:
        # A us_ft site's inches are twelfths of its own foot.
        names = [f"us_{name}" if name in {"ft", "in"} else name for name in names]
    if not _in_order(terms, names):
        raise _not_a_length(value)
    total = sum((n * _FACTORS[name] for (n, _), name in zip(terms, names, strict=True)), Fraction())
    return -total if negative else total


def _split_terms(text: str) -> list[Term]:
    """Split ``7' 6 1/2"`` into (7, ') and (13/2, "); empty where the text is no list of terms."""
    terms: list[Term] = []
    position = 0
    while position < len(text) <= _LONGEST_TEXT:
        match = _TERM.match(text, position)
        number = _mixed_number(match["number"]) if match else None
        if match is None or number is None:
            return []
        word = match["unit"] or ""
        # In 7'6 the 6 after the feet can only be inches.
        if not word and terms and _WORDS.get(terms[-1][1]) == "ft" and match["number"][0] != ".":
            word = "in"
        terms.append((number, word))
        position = match.end()
        # 7'-6" and 7 ft - 6 in: the dash joins the terms, it is no minus sign.
        if match["unit"] and text[position : position + 1] == "-":
            position += 1
            if position == len(text):
                return []
    return terms


def _mixed_number(text: str) -> Fraction | None:
    """Read 6, 6.5, 1/2, 6 1/2 or 6-1/2; None for a division by zero or 6 3/2."""
    whole, _, part = text.replace("-", " ").rpartition(" ")
    try:
        fraction = Fraction(part)
    except ZeroDivisionError:
        return None
    if not whole:
        return fraction
    return Fraction(whole.strip()) + fraction if fraction < 1 else None


def _in_order(terms: list[Term], names: list[str]) -> bool:
    """Say whether terms run from large to small as in 7 ft 6 in, none overflowing (7'14" does)."""
    for place in range(1, len(terms)):
        most = _SMALLER_IN_LARGER.get((names[place - 1], names[place]))
        if most is None or not terms[place][1] or terms[place][0] >= most:
            return False
        if terms[place - 1][0].denominator != 1:
            return False
    return all(word for _, word in terms) or len(terms) == 1


def format_length(value_m: float, unit: str, decimals: int = 1) -> str:
    """Return ``value_m`` as text in ``unit``, such as ``43.2 ft``."""
    word = "ft" if unit == "us_ft" else unit
    return f"{from_metres(value_m, unit):z.{decimals}f} {word}"


def format_spread(value_m: float, unit: str) -> str:
    """Return an uncertainty as text: ``0.4 ft``, or to the centimetre for metric sites."""
    return format_length(value_m, unit, 2 if unit == "m" else 1)


def format_small(value_m: float, unit: str) -> str:
    """Return a short length as whole inches, or millimetres for metric sites."""
    small = small_unit(unit)
    word = "in" if small == "us_in" else small
    return f"{from_metres(value_m, small):z.0f} {word}"


def format_tape(value_m: float, unit: str) -> str:
    """Return ``value_m`` as a tape is read: feet and quarter inches, or metres and centimetres."""
    if unit == "m":
        return f"{value_m:z.2f} m"
    quarters = round(abs(from_metres(value_m, small_unit(unit))) * 4)
    feet, rest = divmod(quarters, 48)
    inches, quarter = divmod(rest, 4)
    fraction = {0: "", 1: " 1/4", 2: " 1/2", 3: " 3/4"}[quarter]
    sign = "-" if value_m < 0 and quarters else ""
    return f"{sign}{feet} ft {inches}{fraction} in"


def square_metres_per(unit: str) -> float:
    """Return the square metres in one square ``unit`` (ft, us_ft, m)."""
    return METRES_PER[unit] ** 2


def earth_metres_per(unit: str) -> float:
    """Return the cubic metres in the unit earth is measured in: a cubic yard, or a cubic metre."""
    return METRES_PER[unit] ** 3 * (1.0 if unit == "m" else 27.0)


def format_area(value_m2: float, unit: str) -> str:
    """Return an area as text, such as ``64 sq ft`` or ``5.9 m²``."""
    value = value_m2 / square_metres_per(unit)
    return f"{value:z.1f} m²" if unit == "m" else f"{value:z.0f} sq ft"


def steep_deg(ratio: float, half_ratio: float) -> tuple[float, float] | None:
    """Return a slope and its half-range in degrees where it is steeper than 45, else None.

    ``ratio`` is rise over run, which runs away towards a vertical drop; its angle does not.
    """
    if abs(ratio) <= 1.0:
        return None
    return math.degrees(math.atan(ratio)), math.degrees(half_ratio / (1.0 + ratio**2))
