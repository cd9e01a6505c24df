"""Papers a sheet may be drawn on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lateral_map.draw.plan.scales import POINTS_PER_INCH
from lateral_map.errors import AnalysisError
from lateral_map.units import show_value


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper lying on its long side, in inches."""

    name: str
    width_in: float
    height_in: float
    metric: bool = False

    @property
    def width_pt(self) -> float:
        """Width in points."""
        return self.width_in * POINTS_PER_INCH

    @property
    def height_pt(self) -> float:
        """Height in points."""
        return self.height_in * POINTS_PER_INCH

    @property
    def words(self) -> str:
        """Name and size, such as ``tabloid, 17 × 11 in``."""
        if self.metric:
            return f"{self.name}, {self.width_in * 25.4:.0f} × {self.height_in * 25.4:.0f} mm"
        return f"{self.name}, {self.width_in:g} × {self.height_in:g} in"


# ANSI/ASME Y14.1 sizes A and B turned on their long side; ISO 216 A4 and A3 (297, 210, 420 mm).
PAPERS: Final[dict[str, Paper]] = {
    "letter": Paper("letter", 11.0, 8.5),
    "tabloid": Paper("tabloid", 17.0, 11.0),
    "A4": Paper("A4", 297.0 / 25.4, 210.0 / 25.4, metric=True),
    "A3": Paper("A3", 420.0 / 25.4, 297.0 / 25.4, metric=True),
}
_FAMILY: Final = {"ft": ("letter", "tabloid"), "us_ft": ("letter", "tabloid"), "m": ("A4", "A3")}


def papers_for(unit: str, wanted: str | None) -> tuple[Paper, ...]:
    """Return the papers to try, small before large; raises ``AnalysisError`` on an unknown name."""
    if wanted is None:
        return tuple(PAPERS[name] for name in _FAMILY[unit])
    named = {name.lower(): paper for name, paper in PAPERS.items()}
    paper = named.get(wanted.strip().lower())
    if paper is None:
        raise AnalysisError(
            f"paper {show_value(wanted)} is not one of the sheet's: write {', '.join(PAPERS)}"
        )
    return (paper,)
