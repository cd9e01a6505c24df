"""How much of each thing a site may hold: far above any lateral, far below what a machine bears.

The reference page has the same table; a test compares them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lateral_map.errors import Fault


@dataclass(frozen=True, slots=True)
class Limit:
    """The most there may be of a thing, what it is called, and what to do beyond it."""

    most: int
    what: str
    remedy: str

    def fault(self, count: int, *, counted: bool = True) -> Fault | None:
        """Return the fault of ``count`` things, None where they are not too many.

        Not ``counted`` to the end, there are at least that many.
        """
        if count <= self.most:
            return None
        problem = f"there are {'' if counted else 'at least '}{count:,} {self.what}"
        return Fault(problem, f"{self.remedy}; {self.most:,} is the most")


ROWS: Final = {
    "sketch.csv": Limit(300, "rows of the sketch", "keep to the lot and its street"),
    "locates.csv": Limit(1_000, "rows of locates", "split the run into several sites"),
    "bends.csv": Limit(1_000, "rows of bends", "split the run into several sites"),
    "findings.csv": Limit(2_000, "rows of findings", "split the run into several sites"),
}
# Two tapes leave two places: which of them the pipe passes through is sought over all such locates.
TAPED: Final = Limit(
    500, "locates that tapes alone place", "split the run into several sites, or give coordinates"
)
FEATURES: Final = Limit(10_000, "features of the plan", "cut the plan to the lot and its street")
VERTICES: Final = Limit(1_000_000, "vertices in one feature", "simplify it, or cut it to the site")
# A line's that are left where the run can reach, after those that change nothing by a millimetre.
CORNERS: Final = Limit(50_000, "corners in one line near the run", "simplify it")
KEY_PARTS: Final = Limit(
    16, "parts in one key of site.toml", "write table and key, such as start.x"
)
BYTES: Final = Limit(100_000_000, "bytes in one file", "keep only what belongs to this site")
# What is longer is refused (a name), or cut with a notice (a note).
NAME_LETTERS: Final = Limit(120, "letters in a name", "shorten it")
NOTE_LETTERS: Final = Limit(2_000, "letters in a note", "shorten it")
ARCHIVE_MEMBERS: Final = Limit(100_000, "files in one archive", "pack fewer sites in one")
LIMITS: Final = (
    *ROWS.values(), TAPED, FEATURES, VERTICES, CORNERS, KEY_PARTS, BYTES, NAME_LETTERS,
    NOTE_LETTERS, ARCHIVE_MEMBERS,
)  # fmt: skip
