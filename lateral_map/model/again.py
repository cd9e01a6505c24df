"""What two runs of one pipe tell together. Footages are those of the later run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lateral_map.model.results import FindingResult, Report
from lateral_map.model.site import Reach

Change = Literal[
    "new", "gone", "worse", "less", "other name", "unchanged", "not reached before",
    "not reached now",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Compared:
    """One finding of either run or of both.

    ``at_m`` and ``to_m`` are where the earlier one lies on the later run's footage, with 1 sd of
    both places together in ``sd_m``; None where there is no earlier one. ``apart_m`` is how far
    apart the two are along the pipe, later minus earlier, 0 where they overlap.
    """

    change: Change
    before: FindingResult | None
    now: FindingResult | None
    at_m: float | None
    to_m: float | None
    sd_m: float | None
    apart_m: float | None


@dataclass(frozen=True, slots=True)
class Repaired:
    """A stretch that was to be repaired, and the new pipe found there.

    ``from_m`` to ``to_m`` is what was asked, 1 sd in ``sd_m``; ``new_from_m`` to ``new_to_m`` the
    pipe of another material now, None where none is recorded. ``short_from_m`` and ``short_to_m``
    are how much is missing at each end, negative where it goes beyond.
    """

    reach: Reach
    from_m: float
    to_m: float
    sd_m: float
    new_from_m: float | None = None
    new_to_m: float | None = None
    short_from_m: float | None = None
    short_to_m: float | None = None


@dataclass(frozen=True, slots=True)
class Again:
    """Two runs compared.

    ``counter_m`` is the mean of what the later counter read more at places that are the same, with
    1 sd, over ``counter_pairs`` of them. ``gap_m`` is the widest the two lines lie apart across the
    pipe at the earlier findings, ``sd_gap_m`` 1 sd of both there. ``before_m`` is from
    where to where the earlier camera went: the second is less where it went the other way.
    """

    before: Report
    now: Report
    compared: tuple[Compared, ...]
    repaired: tuple[Repaired, ...]
    counter_m: float | None
    sd_counter_m: float | None
    counter_pairs: int
    gap_m: float
    sd_gap_m: float
    before_m: tuple[float, float]

    @property
    def opposite(self) -> bool:
        """Whether the two cameras went opposite ways."""
        return self.before_m[1] < self.before_m[0]
