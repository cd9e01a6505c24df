"""What things are called: readings, findings, lines, utilities, covers and verdicts."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from typing import Final

from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import taken_otherwise
from lateral_map.model.results import (
    Basis,
    BoundaryKind,
    FindingResult,
    FindingVerdict,
    LocateState,
    ReadingVerdict,
)
from lateral_map.model.site import (
    AlongTie,
    Cover,
    FarEnd,
    Finding,
    OffsetTie,
    Plan,
    RunEnd,
    Site,
    TapeTie,
    Tie,
    UtilityKind,
    Walls,
)
from lateral_map.model.sketch import SketchReading
from lateral_map.units import from_metres
from lateral_map.words.numbers import in_full, length, listed, tidy, unit_word

BASIS_WORDS: Final[dict[Basis, str]] = {
    "located": "Located",
    "between locates": "Between locates",
    "dead reckoned": "Dead reckoned: footage and bends only",
}

VERDICT_WORDS: Final[dict[FindingVerdict, str]] = {
    "inside": "inside",
    "past": "past",
    "across": "reaches across",
    "past from within": "its far part is past; where it begins is too close to call",
    "too close to call": "too close to call",
}
LOCATE_WORDS: Final[dict[LocateState, str]] = {
    "good": "Locate, checked by other readings",
    "unchecked": "Locate, nothing checks it",
    "suspect": "Locate with a suspect reading",
    "put off": "Locate misled by a slip elsewhere",
    "set aside": "Locate set aside, not used",
}

# What a locate is, as a table or a list has it.
LOCATE_STATES: Final[dict[LocateState, str]] = {
    "good": "good",
    "unchecked": "unchecked",
    "suspect": "suspect",
    "put off": "misled by a slip elsewhere",
    "set aside": "set aside",
}

# What stands behind a locate's mark in a file, by what it is.
LOCATE_DOUBTS: Final[dict[str, str]] = {
    LOCATE_STATES["suspect"]: " SUSPECT",
    LOCATE_STATES["put off"]: f" ({LOCATE_STATES['put off']})",
    LOCATE_STATES["set aside"]: " (set aside)",
}

READING_WORDS: Final[dict[ReadingVerdict, str]] = {
    "good": "good",
    "suspect": "SUSPECT",
    "unchecked": "unchecked",
}

LINE_WORDS: Final[dict[BoundaryKind, str]] = {
    "curb": "Curb",
    "right_of_way": "Right-of-way line",
    "property_line": "Property line",
    "centreline": "Centreline",
    "main": "Main",
    "cleanout": "Cleanout",
}

UTILITY_WORDS: Final[dict[UtilityKind, str]] = {
    "gas": "Gas", "electric": "Electric", "water": "Water",
    "communication": "Communication", "reclaimed": "Reclaimed water", "sewer": "Sewer",
    "storm": "Storm drain", "steam": "Steam", "oil": "Oil or fuel",
}  # fmt: skip

_END_WORDS: Final[dict[RunEnd, str]] = {
    "main": "to the main", "tank": "to a tank", "not reached": "{} not reached",
}  # fmt: skip
FAR_END_WORDS: Final[dict[FarEnd, str]] = {
    "main": "the main", "house": "the house's end", "other": "the other end",
}  # fmt: skip

COVER_WORDS: Final[dict[Cover, str]] = {
    "lawn": "Lawn",
    "planting": "Planting",
    "concrete": "Concrete",
    "asphalt": "Asphalt",
    "gravel": "Gravel",
    "other": "Other surface",
}

WALL_WORDS: Final[dict[Walls, str]] = {
    "shored": "vertical walls, shored or shielded",
    "sloped": "sloped walls",
    "benched": "benched walls",
    "box and slope": "a box under sloped walls",
}

_ARTICLES: Final = frozenset({"the"})
_DETERMINERS: Final = frozenset({
    "a", "an", "my", "our", "your", "his", "her", "its", "their", "this", "that", "these", "those",
    "each", "every", "all", "both", "any", "some", "no", "whoever", "whichever", "nobody",
})  # fmt: skip
# Who answers for pipes, by what its name ends in, whether a place's own name stands before it.
_BODIES: Final = frozenset({
    "agency", "association", "authority", "board", "bureau", "commission", "committee",
    "contractor", "cooperative", "corporation", "council", "department", "developer", "district",
    "division", "hoa", "landlord", "municipality", "neighbor", "neighbour", "office", "operator",
    "owner", "owners", "state", "tenant", "tenants", "trust", "union", "utilities", "utility",
})  # fmt: skip
# By themselves these are common words; after a place's name they are part of it.
_POLITIES: Final = frozenset({
    "borough", "city", "county", "parish", "public", "roads", "sewer", "sewers", "street", "town",
    "township", "village", "water", "works",
})  # fmt: skip
_MOST_NUMBERS: Final = 12
CONTRADICTED_WORDS: Final = "the boundaries contradict each other"

LEVEL_GROUND_WORDS: Final = "Ground taken as level: nobody measured it."

DEAD_RECKONED_WORDS: Final = (
    "DEAD RECKONED: footage and bends only, nothing located here",
    "DEAD RECKONED: nothing located",
    "DEAD RECKONED\nnothing located",
    "DEAD\nRECKONED",
)

BETWEEN_WORDS: Final = ("between locates: depth interpolated", "depth interpolated", "interpolated")
CONFIDENCE_WORDS: Final = "± is the 95 % range: the truth lies within it 95 times in 100."


def reading_name(reading: ReadingId, plan: Plan) -> str:
    """Return a reading in words, such as ``locate P4 tape2``, ``bend 24 turn`` or ``start depth``.

    The mapped place of a line or point says which it is where both have one name.
    """
    if reading.is_mapped:
        shared = {one.name for one in plan.lines} & {one.name for one in plan.points}
        which = f" ({reading.kind})" if reading.of in shared else ""
        return f"{reading.of}{which} as mapped"
    if reading.mark:
        return f"locate {reading.mark} {reading.column}"
    return f"bend {reading.of} {reading.kind}" if reading.of else reading.kind


def taken_words(site: Site, reading: ReadingId) -> str:
    """Say what a reading is taken as where that is not what was written; empty where it is."""
    other = taken_otherwise(site, reading)
    if other is None:
        return ""
    if isinstance(other.written, str):
        return (
            f"as written from {in_full(other.written)}, taken as from {in_full(str(other.taken))}"
        )
    if other.written is None or other.taken is None or isinstance(other.taken, str):
        return f"taken {length(other.moved_m, site.unit)} from where it was written"
    is_angle = reading.kind in ("turn", "fall", "start azimuth")
    return as_written_words(other.written, other.taken, site.unit, is_angle=is_angle)


def as_written_words(written: float, taken: float, unit: str, *, is_angle: bool = False) -> str:
    """Return what was written and what it is taken as, to a hundredth."""

    def shown(value: float) -> str:
        number = value if is_angle else from_metres(value, unit)
        digits = f"{number:z.2f}".rstrip("0").rstrip(".")
        return f"{digits}°" if is_angle else f"{digits} {unit_word(unit)}"

    return f"as written {shown(written)}, taken as {shown(taken)}"


def readings_listed(readings: tuple[ReadingId, ...], plan: Plan, most: int = 6) -> str:
    """Return readings in words for a sentence."""
    return listed([tidy(reading_name(one, plan)) for one in readings], most)


def utility_named(name: str, utility: UtilityKind) -> str:
    """Return a utility's name, and its kind where that is not said: ``phone (communication)``."""
    kind = UTILITY_WORDS[utility].lower()
    said = re.search(rf"\b{kind.split()[0]}\b", name.casefold()) is not None
    return name if said else f"{name} ({kind})"


def finding_words(result: FindingResult) -> str:
    """Return a finding in words, such as ``roots, severe``."""
    finding = result.finding
    name = in_full(finding.finding)
    return f"{name}, {finding.severity}" if finding.severity else name


def footage_words(finding: Finding, unit: str) -> str:
    """Return a finding's footage, or the stretch's: ``12.0 ft`` or ``12.0 ft to 15.5 ft``.

    Where a slip taken for true has moved it, what the counter showed stands beside it.
    """
    begin = length(finding.footage_m, unit)
    words = begin if finding.to_m is None else f"{begin} to {length(finding.to_m, unit)}"
    if finding.noted_m is None:
        return words
    return f"{words} (the counter showed {length(finding.noted_m, unit)})"


def the(name: str) -> str:
    """Return a thing's name in full as a sentence takes it: ``the curb``, but ``CO-2``."""
    shown = in_full(name)
    is_code = shown.isupper() and any(letter.isdigit() for letter in shown)
    return shown if is_code or _begins_with(shown, _ARTICLES) else f"the {shown}"


def the_party(name: str) -> str:
    """Return a party's name in full as a sentence takes it: ``the city``, but ``Osper county``.

    What any town has is called by its article, also where it is named after a place (``the Osper
    water district``, ``the City of Osper``); places, people and firms go by their bare names.
    """
    shown = in_full(name)
    words = "".join(c if c.isalnum() or c in "'’-" else " " for c in shown).lower().split()
    if not words or _begins_with(shown, _ARTICLES | _DETERMINERS):
        return shown
    common = shown[0].islower() or (shown.isupper() and len(words) == 1)
    named_after = words[-1] in _BODIES or "of" in words
    return f"the {shown}" if common or named_after or set(words) <= _POLITIES else shown


def _begins_with(shown: str, words: frozenset[str]) -> bool:
    return shown.lower().split(" ")[0] in words


def end_words(site: Site) -> str:
    """Return what a run came to, or what it did not reach."""
    return _END_WORDS[site.run.end].format(FAR_END_WORDS[site.far_end].removeprefix("the "))


def answering_words(parties: Sequence[str]) -> str:
    """Return who answers, or each party that may where that is left open."""
    if len(parties) == 1:
        return tidy(parties[0])
    return f"left open: {' or '.join(map(tidy, parties))}"


def whose(party: str) -> str:
    """Return a party's name as an owner's: ``the city's``, ``the public works'``."""
    shown = the_party(party)
    return f"{shown}'" if shown.lower().endswith("s") else f"{shown}'s"


def findings_named(findings: Iterable[FindingResult]) -> str:
    """Return findings by number for a sentence, none left out: ``findings 3, 5 and 7 to 19``.

    Numbers in a row are drawn together only where there are too many to read one by one.
    """
    numbers = sorted(one.number for one in findings)
    if not numbers:
        return ""
    breaks = [0, *(i for i, (one, two) in enumerate(pairwise(numbers), 1) if two != one + 1)]
    runs = [numbers[begin:end] for begin, end in pairwise([*breaks, len(numbers)])]
    if len(numbers) <= _MOST_NUMBERS:
        shown = [str(number) for number in numbers]
    else:
        shown = [f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs]
    return f"{'finding' if len(numbers) == 1 else 'findings'} {listed(shown, len(shown))}"


def tie_name(tie: Tie) -> str:
    """Return what a tie is called where a locate's readings are listed."""
    if isinstance(tie, TapeTie):
        return f"Tape {tie.column.removeprefix('tape')}".strip()
    named = {"gnss": "GNSS", "xy": "Surveyed", "along": "Along the line", "past": "From the line"}
    return named.get(tie.column, "Off the line")


def tie_words(tie: TapeTie | AlongTie | OffsetTie, read: Callable[[float], str]) -> str:
    """Return what a mark was tied by, its length as ``read`` writes one: ``12.5 ft from curb``."""
    if isinstance(tie, TapeTie):
        return f"{read(tie.distance_m)} from {in_full(tie.point)}"
    line = in_full(tie.line)
    if isinstance(tie, AlongTie):
        return f"{read(tie.along_m)} along {line} from its first point"
    if tie.as_past:
        past = (tie.offset_m > 0) == tie.past_is_right
        return f"{read(abs(tie.offset_m))} {'past' if past else 'short of'} {line}"
    return f"{read(abs(tie.offset_m))} {'right' if tie.offset_m > 0 else 'left'} of {line}"


def sketch_reading(reading: SketchReading) -> str:
    """Name a number of the sketch by what it is of, its row and its column."""
    return f"sketch, {reading.of}: {reading.column} of row {reading.row}"
