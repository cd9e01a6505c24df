"""Papers a drawing may be set on, and the scales it may be drawn to.

The scales are those of an engineer's scale in feet (1 in = 5, 10, 20, 30, 40 ft) and the usual
metric ratios (1:50, 1:100, 1:200); vertical ones are finer members of the same families.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from lateral_map.errors import AnalysisError
from lateral_map.units import metres_per, show_value

POINTS_PER_INCH: Final = 72.0
_INCH_M: Final = metres_per("in")


@dataclass(frozen=True, slots=True)
class Scale:
    """A drawing scale: its figure, feet to the inch or a ratio, and metres to an inch of paper."""

    figure: float
    family: Literal["feet", "ratio"]
    metres_per_inch: float

    @property
    def words(self) -> str:
        """How the scale is stated: ``1 in = 10 ft`` or ``1:100``."""
        stated = f"{self.figure:g}"
        return f"1:{stated}" if self.family == "ratio" else f"1 in = {stated} ft"

    @property
    def points_per_metre(self) -> float:
        """Points on paper for a metre on the ground."""
        return POINTS_PER_INCH / self.metres_per_inch


def foot_scale(feet: float, unit: str = "ft") -> Scale:
    """Return the scale at which an inch stands for so many of the site's own feet."""
    return Scale(feet, "feet", feet * metres_per(unit))


def ratio_scale(ratio: float) -> Scale:
    """Return the scale 1:ratio."""
    return Scale(ratio, "ratio", ratio * _INCH_M)


def plan_scales(unit: str) -> tuple[Scale, ...]:
    """Return the plan scales for a site's unit, finest first."""
    if unit == "m":
        return tuple(ratio_scale(ratio) for ratio in (50.0, 100.0, 200.0))
    return tuple(foot_scale(feet, unit) for feet in (5.0, 10.0, 20.0, 30.0, 40.0))


def figure_scales(unit: str) -> tuple[Scale, ...]:
    """Return the scales of a plan that must fit where it stands, finest first."""
    if unit == "m":
        coarser = tuple(
            ratio_scale(float(ratio))
            for ratio in (250, 300, 400, 500, 600, 800, 1000, 1500, 2000, 3000, 5000)
        )
    else:
        coarser = tuple(
            foot_scale(float(feet), unit) for feet in (50, 60, 80, 100, 150, 200, 300, 400, 500)
        )
    return (*plan_scales(unit), *coarser)


def upright_scales(unit: str) -> tuple[Scale, ...]:
    """Return the vertical scales for a site's unit, finest first."""
    if unit == "m":
        ratios = (5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 500.0)
        return tuple(ratio_scale(ratio) for ratio in ratios)
    feet = (0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 20.0, 30.0, 40.0, 50.0, 100.0)
    return tuple(foot_scale(each, unit) for each in feet)


def scales_for(unit: str, wanted: str | None) -> tuple[Scale, ...]:
    """Return the plan scales to try, finest first; raises ``AnalysisError`` on an unknown one.

    ``wanted`` may be a bare number (10), or as stated on the sheet (1 in = 10 ft, 1:100). Either
    family may be asked for, whatever the site's unit.
    """
    own = plan_scales(unit)
    if wanted is None:
        return own
    other = plan_scales("ft" if unit == "m" else "m")
    asked = "".join(wanted.lower().split())
    for scale in (*own, *other):
        bare = f"{scale.figure:g}"
        stated = scale.words.replace(" ", "")
        if asked in {stated, bare} or (scale.family == "feet" and asked == f"{bare}ft"):
            return (scale,)
    raise AnalysisError(
        f"scale {show_value(wanted)} is not one of the sheet's: "
        f"write {', '.join(scale.words for scale in own)}"
    )


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
