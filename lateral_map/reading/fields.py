"""Values as typed: lengths, angles, choices, names, each refused in words that say what is right.

These are pydantic types shared by site.toml, the tables and the plan. Lengths come out in metres.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from typing import Annotated, Any, Final, get_args

from pydantic import AfterValidator, BeforeValidator, ValidationInfo, WithJsonSchema

from lateral_map.errors import SiteError
from lateral_map.model.site import (
    Cover,
    FallCodeName,
    Material,
    Peak,
    RuleKey,
    Severity,
    UtilityKind,
)
from lateral_map.reading.typed import Spelling, refuse
from lateral_map.reading.words import LONGEST_NAME, clean_name, clean_text, listed, plain, suggest
from lateral_map.units import parse_length, show_value, small_unit, to_metres

# No coordinate on earth is as large in any unit; far larger ones overflow the geometry.
FARTHEST: Final = 1e9


def _spelling(info: ValidationInfo) -> Spelling:
    spelling = info.context
    if not isinstance(spelling, Spelling):
        raise TypeError("lengths are read with a Spelling as context")
    return spelling


def _with_point(value: object, spelling: Spelling) -> object:
    """Write a decimal comma as a point where the table uses commas."""
    if spelling.decimal_comma and isinstance(value, str) and value.count(",") == 1:
        pointed = re.sub(r"(?<=\d),(?=\d)|^,(?=\d)", ".", value.strip())
        return pointed if pointed.count(".") == 1 else value  # 1,234.5 is neither
    return value


_COMMA_REMEDY = (
    "write a point (4.5); a decimal comma works in tables separated by semicolons or tabs"
)


def _read_length(value: object, unit: str, spelling: Spelling) -> float:
    try:
        return parse_length(_with_point(value, spelling), unit)
    except SiteError as error:
        fault = error.faults[0]
        comma = isinstance(value, str) and re.fullmatch(r"\s*-?\d+,\d+\s*", value)
        raise refuse(fault.problem, _COMMA_REMEDY if comma else fault.remedy) from None


def _length(value: object, info: ValidationInfo) -> float:
    spelling = _spelling(info)
    return _read_length(value, spelling.unit, spelling)


def _small_length(value: object, info: ValidationInfo) -> float:
    spelling = _spelling(info)
    return _read_length(value, small_unit(spelling.unit), spelling)


_PLAIN_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


def _number(value: object, info: ValidationInfo) -> float:
    spelling = _spelling(info)
    read = _with_point(value, spelling)
    if isinstance(read, str) and spelling.numbers_as_text:
        text = read.strip().replace("−", "-")
        read = float(text) if _PLAIN_NUMBER.fullmatch(text) else text
    return _finite(read, value)


def _finite(read: object, value: object) -> float:
    if isinstance(read, bool) or not isinstance(read, int | float):
        comma = isinstance(value, str) and "," in value
        remedy = _COMMA_REMEDY if comma else "write a plain number such as 12.5, without a unit"
        raise refuse(f"{show_value(value)} is not a number", remedy)
    try:
        number = float(read)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise refuse(f"{show_value(value)} is not a finite number", "write a number such as 12.5")
    return number


_DEGREES = re.compile(r"\s*(?P<number>.*?)\s*(?:°|deg\.?|degrees?)?\s*", re.IGNORECASE | re.DOTALL)
_MIXED = re.compile(r"([+-]?\d+)[ -](\d+)/(\d+)", re.ASCII)
_SIDED = re.compile(
    r"(?P<degrees>[\d.,]+)\s*(?:°|deg\w*)?\s*(?P<side>l|r|left|right|up|down)", re.IGNORECASE
)


def _angle(value: object, info: ValidationInfo) -> float:
    """Read degrees: 45, 22.5, and in tables also 22 1/2, 22½ or 45°."""
    if not isinstance(value, str) or not _spelling(info).numbers_as_text:
        return _number(value, info)
    match = _DEGREES.fullmatch(value.replace("½", " 1/2").replace("¼", " 1/4")[:80])
    text = " ".join(match["number"].split()) if match else value
    mixed = _MIXED.fullmatch(text)
    if mixed and int(mixed[3]):
        part = int(mixed[2]) / int(mixed[3])
        return float(int(mixed[1])) + math.copysign(part, -1.0 if text.startswith("-") else 1.0)
    sided = _SIDED.fullmatch(value.strip()[:80])
    if sided:
        sign = "-" if sided["side"].lower() in {"l", "left", "up"} else ""
        raise refuse(
            f"{show_value(value)} is not a number of degrees",
            f"write {sign}{sided['degrees']}: right and down are positive, left and up negative",
        )
    return _number(text, info)


def _within(
    low: float, high: float, *, above: bool = False, say: str = ""
) -> Callable[[float], float]:
    """Return a check that a value lies from ``low`` (beyond it, if above) to ``high``."""

    def check(value: float) -> float:
        if value < low or value > high or (above and value <= low):
            problem = f"{value:g} is out of range"
            raise refuse(problem, say or f"write a value from {low:g} to {high:g}")
        return value

    return check


def _length_within(
    low_m: float, high_m: float, *, above: bool = False, say: str
) -> Callable[[float, ValidationInfo], float]:
    """Return a check like ``_within`` for lengths, shown in the unit they were typed in."""

    def check(value_m: float, info: ValidationInfo) -> float:
        if value_m < low_m or value_m > high_m or (above and value_m <= low_m):
            unit = _spelling(info).unit
            word = "ft" if unit == "us_ft" else unit
            raise refuse(f"{value_m / to_metres(1.0, unit):.6g} {word} is out of range", say)
        return value_m

    return check


def within_length(most_m: float, *, say: str) -> Callable[[float, ValidationInfo], float]:
    """Return a check that a length is at most ``most_m``; ``say`` is what would be right."""
    return _length_within(-math.inf, most_m, say=say)


_LENGTH_SCHEMA: Final[dict[str, Any]] = {
    "anyOf": [{"type": "number"}, {"type": "string", "examples": ["7 ft 6 in", "2.3 m"]}]
}


def _length_schema(**limits: float) -> WithJsonSchema:
    number = {"type": "number", **limits}
    return WithJsonSchema({"anyOf": [number, _LENGTH_SCHEMA["anyOf"][1]]})


# A camera on a push rod or crawler never pays out this much; a footage beyond it is a slip.
MOST_FOOTAGE_M: Final = 6096.0
_LEAST_SD_M: Final = 1e-5

Length = Annotated[float, BeforeValidator(_length), WithJsonSchema(_LENGTH_SCHEMA)]
PositiveLength = Annotated[
    float,
    BeforeValidator(_length),
    AfterValidator(_length_within(0.0, math.inf, above=True, say="it must be greater than 0")),
    _length_schema(exclusiveMinimum=0.0),
]
NonNegativeLength = Annotated[
    float,
    BeforeValidator(_length),
    AfterValidator(_length_within(0.0, math.inf, say="it cannot be negative")),
    _length_schema(minimum=0.0),
]
Depth = Annotated[
    float,
    BeforeValidator(_length),
    AfterValidator(
        _length_within(0.0, 150.0, say="a depth is measured down from the ground, never negative")
    ),
    _length_schema(minimum=0.0),
]
Footage = Annotated[
    float,
    BeforeValidator(_length),
    AfterValidator(
        _length_within(
            -MOST_FOOTAGE_M, MOST_FOOTAGE_M, say="no counter reads that far; check the number"
        )
    ),
    WithJsonSchema(_LENGTH_SCHEMA),
]
Spread = Annotated[
    float,
    BeforeValidator(_length),
    AfterValidator(
        _length_within(
            _LEAST_SD_M, 1e5, say="an accuracy is 1 sd and greater than 0, such as 0.1 or '1 in'"
        )
    ),
    _length_schema(exclusiveMinimum=0.0),
]
PipeSize = Annotated[
    float,
    BeforeValidator(_small_length),
    AfterValidator(
        _length_within(
            0.024,
            1.6,
            say="a bare pipe size is in inches (millimetres on a metric site), such as 6 (or 150)",
        )
    ),
    _length_schema(exclusiveMinimum=0.0),
]
Number = Annotated[float, BeforeValidator(_number), WithJsonSchema({"type": "number"})]
NonNegativeNumber = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(_within(0.0, math.inf, say="it cannot be negative")),
    WithJsonSchema({"type": "number", "minimum": 0}),
]
Latitude = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(
        _within(-90.0, 90.0, say="latitude runs from -90 to 90; is it swapped with longitude?")
    ),
    WithJsonSchema({"type": "number", "minimum": -90, "maximum": 90}),
]
Longitude = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(_within(-180.0, 180.0, say="longitude runs from -180 to 180")),
    WithJsonSchema({"type": "number", "minimum": -180, "maximum": 180}),
]
Fraction = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(_within(0.0, 1.0, say="write a fraction from 0 to 1, such as 0.05 for 5 %")),
    WithJsonSchema({"type": "number", "minimum": 0, "maximum": 1}),
]
PositiveFraction = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(
        _within(0.0, 1.0, above=True, say="write a fraction above 0, such as 0.01 for 1 %")
    ),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 1}),
]
Grade = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(
        _within(-1.0, 1.0, say="write the grade as a ratio: 0.02 for 2 % or 1/4 in a foot")
    ),
    WithJsonSchema({"type": "number", "minimum": -1, "maximum": 1}),
]
Azimuth = Annotated[
    float,
    BeforeValidator(_angle),
    AfterValidator(
        _within(-180.0, 360.0, say="write degrees clockwise from grid north, from 0 to 360")
    ),
    WithJsonSchema({"type": "number", "minimum": -180, "maximum": 360}),
]
Turn = Annotated[
    float,
    BeforeValidator(_angle),
    AfterValidator(_within(-180.0, 180.0, say="a bend turns at most 180 degrees")),
    WithJsonSchema({"type": "number", "minimum": -180, "maximum": 180}),
]
AngleSpread = Annotated[
    float,
    BeforeValidator(_number),
    AfterValidator(_within(0.0, 180.0, above=True, say="write degrees (1 sd) greater than 0")),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": 180}),
]


def _name(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = f"{value:.15g}" if isinstance(value, float) else show_value(value)
    if not isinstance(value, str):
        raise refuse(f"{show_value(value)} is not a name", 'write text, such as "curb"')
    name = clean_name(value)
    if not name:
        raise refuse("it is blank", "write a name")
    if len(name) > LONGEST_NAME:
        raise refuse(
            f"the name is {len(name)} characters long", f"keep names within {LONGEST_NAME}"
        )
    return name


def _text(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        value = show_value(value)
    if not isinstance(value, str):
        raise refuse(f"{show_value(value)} is not text", "write words in quotation marks")
    return clean_text(value)


Name = Annotated[str, BeforeValidator(_name)]
Text = Annotated[str, BeforeValidator(_text)]


def one_of(*choices: str) -> BeforeValidator:
    """Return a validator that takes any spelling of a choice's letter case and separators."""
    by_plain = {plain(choice): choice for choice in choices}

    def check(value: object) -> str:
        if not isinstance(value, str):
            raise refuse(f"{show_value(value)} is not one of the words", f"write {listed(choices)}")
        found = by_plain.get(plain(value[:LONGEST_NAME]))
        if found is None:
            raise refuse(f"{show_value(clean_text(value))} is unknown", suggest(value, choices))
        return found

    return BeforeValidator(check)


def _span(value: object, info: ValidationInfo) -> tuple[float, float]:
    """Read one number, or a least and a most in square brackets."""
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise refuse(f"{show_value(value)} is not a least and a most", "write [least, most]")
    low, high = (_number(one, info) for one in pair)
    if not 0.0 <= low <= high:
        raise refuse(
            f"{show_value(value)} does not run from a least to a most",
            "write [least, most], neither negative, such as [40, 75]",
        )
    return low, high


_NOT_NEGATIVE: Final = {"type": "number", "minimum": 0}
Span = Annotated[
    tuple[float, float],
    BeforeValidator(_span),
    WithJsonSchema(
        {
            "anyOf": [
                _NOT_NEGATIVE,
                {"type": "array", "items": _NOT_NEGATIVE, "minItems": 2, "maxItems": 2},
            ]
        }
    ),
]

RuleWord = Annotated[RuleKey, one_of(*get_args(RuleKey))]
MaterialWord = Annotated[Material, one_of(*get_args(Material))]
CoverWord = Annotated[Cover, one_of(*get_args(Cover))]
UtilityWord = Annotated[UtilityKind, one_of(*get_args(UtilityKind))]
SeverityWord = Annotated[Severity, one_of(*get_args(Severity))]
PeakWord = Annotated[Peak, one_of(*get_args(Peak))]
FallCodeWord = Annotated[FallCodeName, one_of(*get_args(FallCodeName))]

_YES_NO: Final = dict.fromkeys(("yes", "y", "true", "1"), True) | dict.fromkeys(
    ("no", "n", "false", "0"), False
)


def _yes_no(value: object) -> bool:
    if isinstance(value, bool):
        return value
    word = show_value(value).strip("' ").casefold() if isinstance(value, str | int) else ""
    if word not in _YES_NO:
        raise refuse(f"{show_value(value)} is neither yes nor no", "write yes or no")
    return _YES_NO[word]


YesNo = Annotated[bool, BeforeValidator(_yes_no)]


def _date(value: object) -> dt.date:
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            pass
    raise refuse(f"{show_value(value)} is not a date", "write year-month-day, such as 2026-05-04")


Date = Annotated[dt.date, BeforeValidator(_date)]
