"""Values as typed: lengths, angles, choices, names, each refused in words that say what is right.

These are pydantic types shared by site.toml, the tables and the plan. Lengths come out in metres.
Each says once how it is read, its bounds, its JSON Schema, and how a form asks for it.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal, get_args

from pydantic import BeforeValidator, GetCoreSchemaHandler, ValidationInfo, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from lateral_map.errors import SiteError
from lateral_map.model.diagnosis import SlipName
from lateral_map.model.identity import ReadingKind
from lateral_map.model.referral import CameraDirection, Urgency
from lateral_map.model.site import (
    Cover,
    FallCodeName,
    Material,
    Peak,
    RuleKey,
    RunEnd,
    Severity,
    Soil,
    Unit,
    UtilityKind,
    Walls,
)
from lateral_map.reading.typed import Spelling, refuse
from lateral_map.reading.words import LONGEST_NAME, clean_name, clean_text, listed, plain, suggest
from lateral_map.units import parse_length, show_value, small_unit, to_metres

# No coordinate on earth is as large in any unit; far larger ones overflow the geometry.
FARTHEST: Final = 1e9
# A camera on a push rod or crawler never pays out this much; a footage beyond it is a slip.
MOST_FOOTAGE_M: Final = 6096.0
# No slip of a reading is as large, in metres or degrees.
_MOST_SLIP_M: Final = 1e5

_COMMA_REMEDY: Final = (
    "write a point (4.5); a decimal comma works in tables separated by semicolons or tabs"
)
_PLAIN_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_DEGREES = re.compile(r"\s*(?P<number>.*?)\s*(?:°|deg\.?|degrees?)?\s*", re.IGNORECASE | re.DOTALL)
_MIXED = re.compile(r"([+-]?\d+)[ -](\d+)/(\d+)", re.ASCII)
_SIDED = re.compile(
    r"(?P<degrees>[\d.,]+)\s*(?:°|deg\w*)?\s*(?P<side>l|r|left|right|up|down)", re.IGNORECASE
)


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


def _length(value: object, unit: str, spelling: Spelling) -> float:
    try:
        return parse_length(_with_point(value, spelling), unit)
    except SiteError as error:
        fault = error.faults[0]
        comma = isinstance(value, str) and re.fullmatch(r"\s*-?\d+,\d+\s*", value)
        raise refuse(fault.problem, _COMMA_REMEDY if comma else fault.remedy) from None


def _number(value: object, spelling: Spelling) -> float:
    read = _with_point(value, spelling)
    if isinstance(read, str) and spelling.numbers_as_text:
        text = read.strip().replace("−", "-")
        read = float(text) if _PLAIN_NUMBER.fullmatch(text) else text
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


def _angle(value: object, spelling: Spelling) -> float:
    """Read degrees: 45, 22.5, and in tables also 22 1/2, 22½ or 45°."""
    if not isinstance(value, str) or not spelling.numbers_as_text:
        return _number(value, spelling)
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
    return _number(text, spelling)


@dataclass(frozen=True, slots=True)
class Measured:
    """A number from ``low`` (beyond it, if ``above``) to ``high``; ``say`` is what would be right.

    ``kind`` is length (in the site's unit, its bounds in metres), size (a length whose bare number
    is inches or millimetres), number or angle. ``unit`` is what a form shows behind it: ``length``,
    ``size``, ``xy`` (the coordinate system's), or the sign itself.
    """

    kind: Literal["length", "size", "number", "angle"]
    low: float = -math.inf
    high: float = math.inf
    say: str = ""
    above: bool = False
    unit: str = ""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        del source, handler
        return core_schema.with_info_plain_validator_function(self._read)

    def __get_pydantic_json_schema__(self, core: object, handler: object) -> dict[str, Any]:
        del core, handler
        schema: dict[str, Any] = {"type": "number"}
        is_length = self.kind in ("length", "size")
        low = min(self.low, 0.0) if is_length else self.low
        if low > -math.inf and not (is_length and self.low < 0.0):
            least = "exclusiveMinimum" if self.above or low < self.low else "minimum"
            schema[least] = low
        if not is_length:
            return schema | ({"maximum": self.high} if self.high < math.inf else {})
        return {"anyOf": [schema, {"type": "string", "examples": ["7 ft 6 in", "2.3 m"]}]}

    def _read(self, value: object, info: ValidationInfo) -> float:
        spelling = _spelling(info)
        if self.kind == "length":
            number = _length(value, spelling.unit, spelling)
        elif self.kind == "size":
            number = _length(value, small_unit(spelling.unit), spelling)
        else:
            number = (_angle if self.kind == "angle" else _number)(value, spelling)
        if not self.low <= number <= self.high or (self.above and number <= self.low):
            shown = f"{number:g}"
            if self.kind in ("length", "size"):
                word = "ft" if spelling.unit == "us_ft" else spelling.unit
                shown = f"{number / to_metres(1.0, spelling.unit):.6g} {word}"
            raise refuse(f"{shown} is out of range", self.say)
        return number


_BARE: Final = "a bare number is in the site's unit; write"
_POSITIVE: Final = "it must be greater than 0"
_NOT_NEGATIVE: Final = "it cannot be negative"

Length = Annotated[float, Measured("length")]
PositiveLength = Annotated[float, Measured("length", 0.0, say=_POSITIVE, above=True)]
NonNegativeLength = Annotated[float, Measured("length", 0.0, say=_NOT_NEGATIVE)]
Depth = Annotated[
    float,
    Measured(
        "length",
        0.0,
        150.0,
        "a depth is measured down from the ground, never negative and at most 150 m (492 ft)",
    ),
]
Footage = Annotated[
    float,
    Measured(
        "length", -MOST_FOOTAGE_M, MOST_FOOTAGE_M, "no counter reads that far; check the number"
    ),
]
Spread = Annotated[
    float,
    Measured("length", 1e-5, 1e5, "an accuracy is 1 sd and greater than 0, such as 0.1 or '1 in'"),
]
PipeSize = Annotated[
    float,
    Measured(
        "size",
        0.024,
        1.6,
        "a bare pipe size is in inches (millimetres on a metric site), such as 6 (or 150)",
        unit="size",
    ),
]
# A bare 24 would be 24 ft: no local rule, trench or bedding is that wide.
ZoneLength = Annotated[
    float, Measured("length", 0.0, 3.05, f"{_BARE} '24 in' or '0.6 m'", above=True)
]
TrenchLength = Annotated[
    float, Measured("length", 0.0, 4.6, f"{_BARE} '24 in' or '0.6 m'", above=True)
]
BeddingLength = Annotated[float, Measured("length", 0.0, 1.0, f"{_BARE} '6 in' or '150 mm'")]
Coordinate = Annotated[float, Measured("number", unit="xy")]
NonNegativeNumber = Annotated[float, Measured("number", 0.0, say=_NOT_NEGATIVE)]
Latitude = Annotated[
    float,
    Measured(
        "number", -90.0, 90.0, "latitude runs from -90 to 90; is it swapped with longitude?",
        unit="°",
    ),
]  # fmt: skip
Longitude = Annotated[
    float, Measured("number", -180.0, 180.0, "longitude runs from -180 to 180", unit="°")
]
Fraction = Annotated[
    float, Measured("number", 0.0, 1.0, "write a fraction from 0 to 1, such as 0.05 for 5 %")
]
PositiveFraction = Annotated[
    float,
    Measured("number", 0.0, 1.0, "write a fraction above 0, such as 0.01 for 1 %", above=True),
]
Grade = Annotated[
    float,
    Measured("number", -1.0, 1.0, "write the grade as a ratio: 0.02 for 2 % or 1/4 in a foot"),
]
Azimuth = Annotated[
    float,
    Measured(
        "angle", -180.0, 360.0, "write degrees clockwise from grid north, from 0 to 360", unit="°"
    ),
]
Turn = Annotated[
    float, Measured("angle", -180.0, 180.0, "a bend turns at most 180 degrees", unit="°")
]
_CORNERS: Final = {"right": 90.0, "r": 90.0, "left": -90.0, "l": -90.0, "straight": 0.0}


CornerTurn = Annotated[
    float,
    Measured(
        "angle", -179.0, 179.0, "write right, left, or degrees such as -45 for 45 left", unit="°"
    ),
    # Anything else is left to the degrees' own reader.
    BeforeValidator(
        lambda value: _CORNERS.get(plain(value[:20]), value) if isinstance(value, str) else value
    ),
]
_SD_DEGREES: Final = "write degrees (1 sd) greater than 0"
AngleSpread = Annotated[float, Measured("number", 0.0, 180.0, _SD_DEGREES, above=True, unit="°")]
Wander = Annotated[float, Measured("number", 0.0, 180.0, _SD_DEGREES, above=True, unit="°/√")]


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


@dataclass(frozen=True, slots=True)
class Of:
    """What a text is beside words: the name of a plan ``point`` or ``line``; several ``lines``.

    As a ``choice`` it has usual words, where others do as well.
    """

    kind: Literal["point", "line", "choice", "lines"]
    usual: tuple[str, ...] = ()


Name = Annotated[str, BeforeValidator(_name)]
Text = Annotated[str, BeforeValidator(_text)]
# A day, or as much of it as is known: 2026-05-04, 2021, summer 2021.
When = Annotated[
    Text,
    BeforeValidator(lambda value: value.isoformat() if isinstance(value, dt.date) else value),
]
Lines = Annotated[Text, Of("lines")]
PointName = Annotated[Name, Of("point")]
LineName = Annotated[Name, Of("line")]
FINDINGS: Final = (
    "roots", "crack", "offset joint", "broken pipe", "standing water", "grease", "tap",
    "transition", "other",
)  # fmt: skip
FindingName = Annotated[Name, Of("choice", FINDINGS)]


@dataclass(frozen=True, eq=False)
class OneOf:
    """Takes any spelling, in letter case and separators, of a Literal's words, or of ``also``.

    ``closeness`` is how near (0 to 1) another word must be to be asked back as one of them.
    """

    also: Mapping[str, str] = field(default_factory=dict)
    closeness: float = 0.6

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        choices: tuple[str, ...] = get_args(source)
        by_plain = {plain(choice): choice for choice in choices}
        by_plain |= {plain(word): choice for word, choice in self.also.items()}

        def check(value: object) -> str:
            if not isinstance(value, str):
                problem = f"{show_value(value)} is not one of the words"
                raise refuse(problem, f"write {listed(choices)}")
            found = by_plain.get(plain(value[:LONGEST_NAME]))
            if found is None:
                problem = f"{show_value(clean_text(value))} is unknown"
                raise refuse(problem, suggest(value, choices, self.closeness))
            return found

        return core_schema.no_info_before_validator_function(check, handler(source))


# What the trade also calls a material (from memory). Nothing is guessed across materials: ductile
# iron is no cast iron, VCP no PVC.
MATERIAL_NAMES: Final = {
    "vcp": "clay", "vitrified clay": "clay", "vitrified clay pipe": "clay", "terracotta": "clay",
    "terra cotta": "clay", "earthenware": "clay",
    "ci": "cast iron", "cip": "cast iron", "cast iron pipe": "cast iron",
    "di": "ductile iron", "dip": "ductile iron", "ductile iron pipe": "ductile iron",
    "rcp": "concrete", "reinforced concrete": "concrete",
    "orangeburg": "bituminous fibre", "bituminous fiber": "bituminous fibre",
    "bituminized fiber": "bituminous fibre", "bituminised fibre": "bituminous fibre",
    "pitch fibre": "bituminous fibre", "pitch fiber": "bituminous fibre",
    "ac": "asbestos cement", "acp": "asbestos cement", "transite": "asbestos cement",
    "pe": "hdpe", "polyethylene": "hdpe", "sdr 35": "pvc", "sdr35": "pvc",
    "clay pipe": "clay", "clay tile": "clay", "vitrified clay tile": "clay",
    "cast iron soil pipe": "cast iron", "concrete pipe": "concrete", "pvc pipe": "pvc",
    "abs pipe": "abs", "hdpe pipe": "hdpe", "orangeburg pipe": "bituminous fibre",
    "ac pipe": "asbestos cement", "asbestos cement pipe": "asbestos cement",
    "transite pipe": "asbestos cement", "steel pipe": "steel", "galvanized": "steel",
    "galvanised": "steel", "galvanized steel": "steel", "galvanised steel": "steel",
}  # fmt: skip
# What the trade also calls a utility (from memory).
UTILITY_NAMES: Final = {
    "gas main": "gas", "gas service": "gas", "natural gas": "gas", "power": "electric",
    "electricity": "electric", "water main": "water", "water service": "water",
    "potable water": "water", "telephone": "communication", "telecom": "communication",
    "fiber": "communication", "fibre": "communication", "cable": "communication",
    "reclaimed water": "reclaimed", "recycled water": "reclaimed", "sanitary": "sewer",
    "sanitary sewer": "sewer", "drain": "storm", "storm drain": "storm", "storm sewer": "storm",
    "storm lateral": "storm", "steam line": "steam", "petroleum": "oil", "fuel": "oil",
    "oil line": "oil",
}  # fmt: skip
UnitWord = Annotated[Unit, OneOf()]
SketchWord = Annotated[
    Literal[
        "wall", "tape", "point", "curb", "right of way", "property line", "centreline", "known",
    ],
    OneOf({"centerline": "centreline", "row": "right of way"}),
]  # fmt: skip
SideWord = Annotated[
    Literal["left", "right", "out", "behind", "beyond"],
    OneOf({"l": "left", "r": "right", "outside": "out", "before": "behind", "past": "beyond"}),
]
BasisWord = Annotated[Literal["measured", "assumed"], OneOf()]
SoilWord = Annotated[Soil, OneOf()]
WallsWord = Annotated[Walls, OneOf()]
EndWord = Annotated[RunEnd, OneOf({"septic tank": "tank", "holding tank": "tank"})]
BoundaryPlaceWord = Annotated[Literal["main", "cleanout"], OneOf()]
HowWord = Annotated[Literal["fitting", "eye"], OneOf()]
RuleWord = Annotated[RuleKey, OneOf()]
MaterialWord = Annotated[Material, OneOf(MATERIAL_NAMES, closeness=0.8)]
CoverWord = Annotated[Cover, OneOf()]
UtilityWord = Annotated[UtilityKind, OneOf(UTILITY_NAMES)]
SeverityWord = Annotated[Severity, OneOf()]
PeakWord = Annotated[Peak, OneOf()]
FallCodeWord = Annotated[FallCodeName, OneOf()]


CameraDirectionWord = Annotated[CameraDirection, OneOf()]
UrgencyWord = Annotated[Urgency, OneOf()]

_CLOCK: Final = re.compile(r"(?P<from>\d{1,2})(?:\s*(?:-|–|to)\s*(?P<to>\d{1,2}))?", re.IGNORECASE)


def _clock(value: object) -> str:
    text = _text(value).strip()
    match = _CLOCK.fullmatch(text)
    hours = [int(one) for one in match.groups() if one] if match else []
    if not hours or not all(1 <= one <= 12 for one in hours):
        remedy = "write the hour as the camera sees it, 12 on top, such as 3, or 9 to 12"
        raise refuse(f"{show_value(value)} is no position on a clock", remedy)
    return " to ".join(str(one) for one in hours)


Clock = Annotated[str, BeforeValidator(_clock)]


def _span(value: object, info: ValidationInfo) -> tuple[float, float]:
    """Read one number, or a least and a most in square brackets."""
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise refuse(f"{show_value(value)} is not a least and a most", "write [least, most]")
    low, high = (_number(one, _spelling(info)) for one in pair)
    if not 0.0 <= low <= high:
        raise refuse(
            f"{show_value(value)} does not run from a least to a most",
            "write [least, most], neither negative, such as [40, 75]",
        )
    return low, high


_ONE: Final = {"type": "number", "minimum": 0}
_TWO: Final = {"type": "array", "items": _ONE, "minItems": 2, "maxItems": 2}
Span = Annotated[
    tuple[float, float], BeforeValidator(_span), WithJsonSchema({"anyOf": [_ONE, _TWO]})
]


@dataclass(frozen=True, slots=True)
class Amount:
    """One or two numbers whose meaning another key decides: as typed, and as lengths in metres.

    ``numbers`` is None where they carry a unit of length.
    """

    numbers: tuple[float, ...] | None
    lengths_m: tuple[float, ...]

    def read(self, measure: Literal["length", "angle", "share"], count: int) -> tuple[float, ...]:
        """Return the numbers in metres, degrees or share; raises ``SiteError``."""
        if len(self.lengths_m) != count:
            shape = "one number" if count == 1 else "two, [east, north]"
            raise SiteError.of(f"here it is {shape}", f"write {shape}", field="size")
        if measure == "length":
            return self.lengths_m
        if self.numbers is None:
            what = "degrees" if measure == "angle" else "a share, such as 0.03 for 3 %"
            raise SiteError.of("here it is no length", f"write {what}", field="size")
        return self.numbers


def _amount(value: object, info: ValidationInfo) -> Amount:
    """Read a number or a length, or two in square brackets."""
    spelling = _spelling(info)
    each = value if isinstance(value, list) else [value]
    if len(each) not in (1, 2):
        raise refuse(f"{show_value(value)} is not one number or two", "write 5.0 or [3.0, -1.5]")
    lengths = tuple(_length(one, spelling.unit, spelling) for one in each)
    if any(abs(one) > _MOST_SLIP_M for one in lengths):
        raise refuse(f"{show_value(value)} is out of range", "no slip is as large; check it")
    typed = [float(one) for one in each if isinstance(one, int | float)]
    return Amount(tuple(typed) if len(typed) == len(each) else None, lengths)


_SIZED: Final = {"anyOf": [{"type": "number"}, {"type": "string", "examples": ["7 ft 6 in"]}]}
OneAmount = Annotated[Any, BeforeValidator(_amount), WithJsonSchema(_SIZED)]
AmountOrPlace = Annotated[
    Any,
    BeforeValidator(_amount),
    WithJsonSchema(
        {
            "anyOf": [
                *_SIZED["anyOf"],
                {"type": "array", "items": _SIZED, "minItems": 2, "maxItems": 2},
            ]
        }
    ),
]
SlipWord = Annotated[SlipName, OneOf()]
KindWord = Annotated[ReadingKind, OneOf()]

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


YesNo = Annotated[bool, BeforeValidator(_yes_no), WithJsonSchema({"type": "boolean"})]


def is_no(word: str) -> bool:
    """Say whether a cell says no."""
    return _YES_NO.get(word.strip().casefold()) is False


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
