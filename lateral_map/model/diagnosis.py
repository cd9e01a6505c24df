"""Slips in field notes: what may have gone wrong, and how probable that is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from lateral_map.model.identity import ReadingId, ReadingKind

SlipName = Literal[
    "footage misread", "depth misread", "tape misread", "tape from another point", "offset misread",
    "position misread", "positions shifted together", "bend turned the other way", "bend angle",
    "bend misplaced", "bend not noted", "counter not at zero", "counter slipped", "counter scale",
    "riser left out", "riser counted twice", "held above left out", "line mapped elsewhere",
    "point mapped elsewhere", "start elsewhere", "azimuth", "another unit",
]  # fmt: skip
_LENGTHS: Final = ("depth", "nulls", "tape", "along", "offset", "start depth")
# The kinds of reading that a slip may befall; a slip that is not here is of no one reading.
KINDS_OF: Final[dict[SlipName, tuple[ReadingKind, ...]]] = {
    "footage misread": ("footage",),
    "depth misread": ("depth", "nulls", "start depth"),
    "tape misread": ("tape",),
    "tape from another point": ("tape",),
    "offset misread": ("along", "offset"),
    "position misread": ("position", "mark"),
    "bend turned the other way": ("turn", "fall"),
    "bend angle": ("turn", "fall"),
    "bend misplaced": ("turn", "fall"),
    "held above left out": ("depth",),
    "line mapped elsewhere": ("line",),
    "point mapped elsewhere": ("point",),
    "start elsewhere": ("start position",),
    "azimuth": ("start azimuth",),
    "another unit": _LENGTHS,
}
# Slips of no reading that sit at a place along the run.
AT_A_PLACE: Final[tuple[SlipName, ...]] = ("counter slipped", "bend not noted")
# A diagnosis at least this probable is acted on: innocent readings are no longer blamed.
LIKELY: Final = 0.5
# One at least this probable puts answers in doubt that would change with it.
WORTH_DOUBT: Final = 0.05
# What the size of a slip is measured in: metres, degrees, or a share (the counter's scale).
SlipMeasure = Literal["length", "angle", "share"]


@dataclass(frozen=True, slots=True)
class Slip:
    """One slip: what was noted is what was true plus ``size``; what was left out is ``size``.

    ``id`` names the reading where the slip is one reading's, ``footage_m`` the place along the run
    where it sits (a slip of the counter, a bend). ``size`` has one entry, or two (easting,
    northing) for a place, in metres, degrees or, for the counter's scale, as a share. ``point`` is
    the plan point a tape was pulled from instead. ``at_foot`` says of a riser that the start's
    depth was measured at its foot. ``sd`` is 1 sd of a size that the readings alone tell, in the
    size's own measure, 0 where it is known.
    """

    slip: SlipName
    size: tuple[float, ...]
    id: ReadingId | None = None
    footage_m: float | None = None
    point: str = ""
    at_foot: bool = False
    sd: float = field(default=0.0, compare=False)

    @property
    def measure(self) -> SlipMeasure:
        """What ``size`` is measured in."""
        return measure_of(self.slip)


def measure_of(slip: SlipName) -> SlipMeasure:
    """Return what the size of such a slip is measured in."""
    if slip == "counter scale":
        return "share"
    turned = ("bend turned the other way", "bend angle", "bend not noted", "azimuth")
    return "angle" if slip in turned else "length"


@dataclass(frozen=True, slots=True)
class Applied:
    """A slip taken for true on somebody's word: the site's readings are as it mends them.

    ``written`` is what the reading is in the tables and ``taken`` what it counts as, in metres or
    degrees; both None where the slip is not one reading's, or the reading no one number.
    ``checked`` says that notes, video or a new reading bear it out.
    """

    slip: Slip
    written: float | None = None
    taken: float | None = None
    checked: bool = False


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """A slip that would explain a misfit, as a tested hypothesis.

    ``slip`` is as refitted. ``probability`` is over everything tried, no slip at all and none of
    these included; where two slips at once explain best, each has the probability of all the
    explanations it is part of, and ``together`` is the best of those in the order of mending,
    itself included. ``likelihood_ratio`` is how much likelier the readings are with it than
    without, its own freedom paid for. ``would_read`` is what the reading would then be, in metres
    or degrees; None where the slip is not one reading's. ``chi_square`` and ``degrees_of_freedom``
    are the fit's with it mended.
    """

    slip: Slip
    probability: float
    likelihood_ratio: float
    would_read: float | None
    chi_square: float
    degrees_of_freedom: int
    together: tuple[Slip, ...]

    @property
    def besides(self) -> tuple[Slip, ...]:
        """The other slips of the best explanation it is part of."""
        return tuple(one for one in self.together if one != self.slip)
