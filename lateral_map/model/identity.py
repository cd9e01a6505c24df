"""What a reading is known by, from the reader to the last output.

A ``ReadingId`` is compared, sorted and looked up; ``words.names`` puts it into words at the edge,
and no words are ever turned back into one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ReadingKind = Literal[
    "position", "tape", "along", "offset", "mark", "footage", "depth", "nulls", "turn", "fall",
    "start position", "start depth", "start azimuth", "line", "point",
]  # fmt: skip


@dataclass(frozen=True, slots=True, order=True)
class ReadingId:
    """One reading of the site.

    ``of`` is the mark of the locate it belongs to, the bend's footage as the site's unit writes it,
    or the name of a mapped line or point; empty for the start. ``column`` is the column or key it
    was read from, such as ``tape2``, ``gnss`` or ``past``.
    """

    kind: ReadingKind
    of: str = ""
    column: str = ""

    @property
    def mark(self) -> str:
        """The mark of the locate it belongs to, empty for others."""
        return "" if self.kind in _NOT_OF_A_LOCATE else self.of

    @property
    def is_mapped(self) -> bool:
        """Whether it is the mapped place of a line or point, which no row of a table holds."""
        return self.kind in ("line", "point")

    @property
    def is_noise(self) -> bool:
        """Whether it is the mark's or the counter's own noise, which nobody could read again."""
        return self.kind in ("mark", "footage")


_NOT_OF_A_LOCATE = (
    "turn", "fall", "start position", "start depth", "start azimuth", "line", "point",
)  # fmt: skip
