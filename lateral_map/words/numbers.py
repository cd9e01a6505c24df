"""Numbers and other people's words made ready to show: short, with their ±, safe to lay out."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Any, Final

import numpy as np

from lateral_map.model.chance import SURE, TWO_SIDED_95
from lateral_map.model.results import FallStretch
from lateral_map.units import format_length, from_metres, steep_deg

LABEL_LENGTH: Final = 28
# As long as a name may be: a sentence and a table have room for all of it.
NAME_LENGTH: Final = 120
NOTE_LENGTH: Final = 600
_KEPT_CONTROLS: Final = "\n\t"
_TURNS: Final = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u2028\u2029"

# Letters of the scripts that run from right to left, and what may stand between them in a name.
_LEFTWARD: Final = (
    "\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc\U00010800-\U00010fff\U0001e800-\U0001eeff"
)
_NAMED_LEFTWARD: Final = re.compile(
    f"\u2068[^\u2069]*\u2069"
    # In a name a whole number may stand; one with decimals or with a comma after it is no part.
    f"|([{_LEFTWARD}]+(?:(?:[ .,'’–-]+|[ '’–-]*[0-9]+[ '’–-]*)[{_LEFTWARD}]+)*)"
)
# A name that stands alone, an address such as "street 7, town": nothing else is there to part it.
_ALONE_LEFTWARD: Final = re.compile(
    f"[{_LEFTWARD}](?:(?![0-9]+[.,][0-9])[{_LEFTWARD}0-9 .,;:/'’()–-])*[{_LEFTWARD}]"
)


def decimals_for(unit: str) -> int:
    """Return the decimals a length is shown with: tenths of a foot, hundredths of a metre."""
    return 2 if unit == "m" else 1


def unit_word(unit: str) -> str:
    """Return the unit as printed beside a number; both feet print as ft."""
    return "m" if unit == "m" else "ft"


def unit_sentence(unit: str) -> str:
    """Return in words which unit a drawing's lengths are in."""
    return {
        "ft": "Lengths in feet (international foot, 0.3048 m exactly).",
        "us_ft": "Lengths in US survey feet (1200/3937 m).",
        "m": "Lengths in metres.",
    }[unit]


def length(value_m: float, unit: str) -> str:
    """Return a length such as ``43.2 ft``."""
    return format_length(value_m, unit, decimals_for(unit))


def plus_minus(value_m: float, sd_m: float, unit: str) -> str:
    """Return a length with its 95 % range, such as ``43.2 ± 0.9 ft``, from 1 sd in metres."""
    return f"{plus_minus_bare(value_m, sd_m, unit)} {unit_word(unit)}"


def plus_minus_bare(value_m: float, sd_m: float, unit: str) -> str:
    """Return a length with its 95 % range and no unit, where the unit stands over it."""
    return f"{from_metres(value_m, unit):z.{decimals_for(unit)}f} ± {_range(sd_m, unit)}"


def plus_minus_or_exact(value_m: float, sd_m: float, unit: str) -> str:
    """Return a length with its 95 % range where it has one; an end of the run has none."""
    return plus_minus(value_m, sd_m, unit) if sd_m > 0.0 else length(value_m, unit)


def range_95(sd_m: float, unit: str) -> str:
    """Return a 95 % range alone, such as ``± 0.9 ft``."""
    return f"± {_range(sd_m, unit)} {unit_word(unit)}"


def _range(sd_m: float, unit: str) -> str:
    half = from_metres(TWO_SIDED_95 * sd_m, unit)
    decimals = decimals_for(unit)
    # A range that would print as nothing keeps one more digit.
    extra = 1 if 0.0 < half < 10.0**-decimals else 0
    return f"{half:.{decimals + extra}f}"


def chance_words(probability: float) -> str:
    """Return a probability as a percentage that never claims certainty, such as ``> 99.9 %``."""
    if not math.isfinite(probability):
        return "unknown"
    if probability > 0.999:
        return "> 99.9 %"
    if probability < 0.001:
        return "< 0.1 %"
    if 0.94 < probability < SURE or 1.0 - SURE < probability < 0.06:
        # Short of what a verdict asks for must not print as if it were enough.
        short = math.floor(1000.0 * max(probability, 1.0 - probability)) / 10.0
        return f"{short if probability > 0.5 else 100.0 - short:.1f} %"
    digits = 1 if probability > 0.99 or probability < 0.01 else 0
    return f"{100.0 * probability:.{digits}f} %"


def percent(ratio: float, decimals: int = 1) -> str:
    """Return a fall as a percentage, such as ``2.1 %``."""
    return f"{100.0 * ratio:z.{decimals}f} %"


def fall_words(fall: FallStretch, *, ranged: bool = True) -> str:
    """Return a fall in words with its 95 % range: ``2.1 % ± 0.8 %``, or ``88° ± 6°`` of a drop."""
    steep = steep_deg(fall.ratio, TWO_SIDED_95 * fall.sd_ratio)
    if steep is not None:
        value, half = (f"{each:.0f}°" for each in steep)
    else:
        value, half = percent(fall.ratio), percent(TWO_SIDED_95 * fall.sd_ratio)
    return f"{value} ± {half}" if ranged else value


def tidy(text: str, limit: int = NOTE_LENGTH) -> str:
    """Return ``text`` without control characters, clearly shortened past ``limit`` characters."""
    if text.isascii() and text.isprintable() and len(text) <= limit:
        return text.strip()
    kept = "".join(
        letter
        for letter in text
        if letter in _KEPT_CONTROLS
        # Surrogates, controls, and the codes that turn the direction of everything after them.
        or not (
            unicodedata.category(letter) in {"Cc", "Cs"}
            or letter in _TURNS
            or (ord(letter) & 0xFFFE) == 0xFFFE
            or 0xFDD0 <= ord(letter) <= 0xFDEF
        )
    ).strip()
    if len(kept) <= limit:
        return kept
    return f"{kept[:limit].rstrip()} … [{len(kept) - limit} more characters in the site's tables]"


def runs_leftward(text: str) -> bool:
    """Return whether a text holds letters that run from right to left."""
    return not text.isascii() and _NAMED_LEFTWARD.search(text) is not None


def apart(text: str) -> str:
    """Return ``text`` with what runs from right to left set apart from what stands beside it.

    Else a number after such a name is drawn into it: 66.0 ± 0.7 ft reads 0.7 ± 66.0. To be done
    where text is handed to what draws it, for ``tidy`` takes such codes out. A text that is nothing
    but such letters and whole numbers between them is one name; in a longer one a number with a
    comma after it is no part of any, for there it may be a place along the pipe.
    """
    if text.isascii():
        return text
    if _ALONE_LEFTWARD.fullmatch(text):
        return f"\u2068{text}\u2069"
    return _NAMED_LEFTWARD.sub(lambda met: f"\u2068{met[1]}\u2069" if met[1] else met[0], text)


def all_apart(data: Any) -> Any:
    """Return data with every text in it ``apart``, to be shown and not to be compared."""
    if type(data) is str:
        return apart(data)
    if isinstance(data, dict):
        return {key: all_apart(value) for key, value in data.items()}
    if not isinstance(data, list | tuple):
        return data
    first = data
    while isinstance(first, list | tuple) and first:
        first = first[0]
    # Coordinates, of which there are very many, hold no text.
    return data if isinstance(first, int | float) else [all_apart(value) for value in data]


def label(text: str, limit: int = LABEL_LENGTH) -> str:
    """Return ``text`` on one line of at most ``limit`` characters, ending in … where cut."""
    line = " ".join(tidy(text, 4 * limit + 40).split())
    return line if len(line) <= limit else f"{line[: limit - 1].rstrip()}…"


def with_capital(words: str) -> str:
    """Return words with a capital at the front, the rest as written: PVC and names keep theirs."""
    return words[:1].upper() + words[1:]


def in_full(name: str) -> str:
    """Return a name on one line, all of it: for sentences and tables, which have room for it."""
    return label(name, NAME_LENGTH)


def listed(values: tuple[str, ...] | list[str], most: int = 4) -> str:
    """Join names for a sentence: ``a, b and c``; past ``most``, ``a, b, c, d and 3 more``."""
    if len(values) > most:
        return f"{', '.join(values[:most])} and {len(values) - most} more"
    if len(values) < 2:
        return "".join(values)
    return f"{', '.join(values[:-1])} and {values[-1]}"


def rounded(values: object, decimals: int = 4) -> list[float]:
    """Return numbers rounded for the page (0.1 mm by default), in plain floats without -0."""
    array = np.round(np.asarray(values, float), decimals) + 0.0
    return [float(value) for value in array.ravel()]
