"""Lengths as people write them, to and from the one internal unit, the metre.

No other module does unit arithmetic. The international foot is 0.3048 m exactly; the US survey
foot is 1200/3937 m exactly (85 FR 62698, 5 October 2020). They are different words here and are
never taken for each other.
"""

from __future__ import annotations

import itertools
import math
import re
from fractions import Fraction
from typing import Final, Literal

from lateral_map.errors import Fault, SiteError

LengthUnit = Literal["ft", "us_ft", "m"]

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
    "cm": "cm", "mm": "mm",
    "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
    "in": "in", "inch": "in", "inches": "in", '"': "in",
    "us_ft": "us_ft", "ftus": "us_ft", "us-ft": "us_ft",
}  # fmt: skip
_TYPOGRAPHY: Final = str.maketrans(
    {"′": "'", "’": "'", "‘": "'", "″": '"', "”": '"', "“": '"', "−": "-", "\u00a0": " "}
)
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+\.\d*|\.\d+|\d+)"
_TERM = re.compile(rf"\s*(?P<number>{_NUMBER})\s*(?P<unit>[a-z_]+(?:-ft)?|'|\")?\.?\s*")
_EXPECTED = "write a length such as 4.5, 7 ft 6 in, 7'6\", 90 in or 2.3 m"


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


def parse_length(value: object, unit: str) -> float:
    """Read a measured length and return it in metres.

    ``value`` is a number in ``unit``, or text that may carry its own units: ``7 ft 6 in``,
    ``7'6"``, ``6 1/2 in``, ``2.3 m``. Feet and inches take the site's own foot, so that a
    us_ft site never mixes the two. Raises ``SiteError`` with one fault.
    """
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise SiteError(Fault(f"{value!r} is not a length", _EXPECTED))
    if isinstance(value, int | float):
        return _finite(float(value) * METRES_PER[unit], value)
    return _finite(float(_parse_text(value, unit)), value)


def _finite(metres: float, value: object) -> float:
    if not math.isfinite(metres):
        raise SiteError(Fault(f"{_shown(value)} is not a finite length", _EXPECTED))
    return metres


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}...{text[0]}"


def _parse_text(value: str, unit: str) -> Fraction:
    text = value.strip().translate(_TYPOGRAPHY).lower()
    sign = -1 if text.startswith("-") else 1
    text = text.lstrip("+-") if text[:1] in "+-" else text
    terms = _split_terms(text)
    if not terms:
        raise SiteError(Fault(f"{_shown(value)} is not a length", _EXPECTED))
    factors = [_factor(word, unit) for _, word in terms]
    if None in factors or (len(terms) > 1 and not _descending(terms, factors)):
        raise SiteError(Fault(f"{_shown(value)} is not a length", _EXPECTED))
    total = sum((n * f for (n, _), f in zip(terms, factors, strict=True) if f), Fraction(0))
    return sign * total


def _split_terms(text: str) -> list[tuple[Fraction, str]]:
    """Split ``7' 6 1/2"`` into (7, ') and (13/2, "); empty where the text is no list of terms."""
    terms: list[tuple[Fraction, str]] = []
    position = 0
    while position < len(text):
        match = _TERM.match(text, position)
        if match is None or len(text) > 80:
            return []
        try:
            number = sum((Fraction(part) for part in match["number"].split()), Fraction(0))
        except ZeroDivisionError:
            return []
        terms.append((number, match["unit"] or ""))
        position = match.end()
        # 7'-6" and 7 ft - 6 in: the dash joins the terms, it is no minus sign.
        if text[position : position + 1] == "-" and match["unit"]:
            position += 1
            if position == len(text):
                return []
    return terms


def _factor(word: str, unit: str) -> Fraction | None:
    name = _WORDS.get(word) if word else unit
    if unit == "us_ft" and name in ("ft", "in"):
        name = f"us_{name}"
    return _FACTORS.get(name) if name else None


def _descending(terms: list[tuple[Fraction, str]], factors: list[Fraction | None]) -> bool:
    """Say whether several terms are named units from large to small, as in 7 ft 6 in."""
    sizes = [float(factor) for factor in factors if factor is not None]
    return all(word for _, word in terms) and all(a > b for a, b in itertools.pairwise(sizes))


def format_length(value_m: float, unit: str, decimals: int = 1) -> str:
    """Return ``value_m`` as text in ``unit``, such as ``43.2 ft``."""
    word = "ft" if unit == "us_ft" else unit
    return f"{from_metres(value_m, unit):.{decimals}f} {word}"


def format_small(value_m: float, unit: str) -> str:
    """Return a short length as whole inches, or millimetres for metric sites."""
    small = small_unit(unit)
    word = "in" if small == "us_in" else small
    return f"{from_metres(value_m, small):.0f} {word}"


def format_tape(value_m: float, unit: str) -> str:
    """Return ``value_m`` as a tape is read: feet and quarter inches, or metres and centimetres."""
    if unit == "m":
        return f"{value_m:.2f} m"
    quarters = round(abs(from_metres(value_m, small_unit(unit))) * 4)
    feet, rest = divmod(quarters, 48)
    inches, quarter = divmod(rest, 4)
    fraction = {0: "", 1: " 1/4", 2: " 1/2", 3: " 3/4"}[quarter]
    sign = "-" if value_m < 0 and quarters else ""
    return f"{sign}{feet} ft {inches}{fraction} in"
