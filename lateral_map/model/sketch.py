"""A plan measured by tape alone: what was measured, and what the adjustment made of it.

Places are unknown points; everything measured says something about two to four of them. Metres,
angles in radians, azimuths clockwise, offsets and turns positive to the right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from lateral_map.model.arrays import Floats

if TYPE_CHECKING:
    from lateral_map.model.results import ReadingVerdict

MeasureKind = Literal["distance", "turn", "along", "offset", "parallel", "azimuth"]
Basis = Literal["measured", "assumed"]


@dataclass(frozen=True, slots=True)
class SketchReading:
    """Where one number of the sketch was read: spreadsheet row, column, and what it is of."""

    row: int
    column: str
    of: str


@dataclass(frozen=True, slots=True)
class Measure:
    """One equation of the sketch.

    ``points`` are indices: of a distance or azimuth its two ends; of a turn the three corners; of
    a parallel the ends of both lines; of an along or offset the line's two ends and then one point,
    or two of which the point lies ``share`` of the way from the first. ``reading`` is None where
    the equation is nobody's reading, such as where a drawn line is taken to end.
    """

    kind: MeasureKind
    points: tuple[int, ...]
    value: float
    sd: float
    reading: SketchReading | None = None
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class SketchNet:
    """A sketch to adjust: where its points lie about (n, 2), and what was measured of them.

    ``named`` are the points about whose middle the covariance is given.
    """

    places_m: Floats
    measures: tuple[Measure, ...]
    named: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SketchCheck:
    """One number of the sketch against all the others; ``residual`` is read less adjusted."""

    reading: SketchReading
    residual: float
    is_angle: bool
    standardised: float
    redundancy: float
    verdict: ReadingVerdict


@dataclass(frozen=True, slots=True)
class AdjustedSketch:
    """The sketch as adjusted: places (n, 2), joint covariance (2n, 2n) east and north in turn.

    The covariance is that of the shape alone, about its own middle: where the whole lies and how
    it is turned is no part of it.
    """

    places_m: Floats
    covariance: Floats
    checks: tuple[SketchCheck, ...]
    chi_square: float
    freedom: int


@dataclass(frozen=True, slots=True)
class Misclosure:
    """By how much the sides of one building, laid end to end as paced, miss closing."""

    name: str
    gap_m: float
    length_m: float


@dataclass(frozen=True, slots=True)
class KnownPlace:
    """A sketched point whose coordinates are known; what is left there after the fit, metres."""

    name: str
    residual_m: tuple[float, float]
    sd_m: float


@dataclass(frozen=True, slots=True)
class WorldFit:
    """The sketch laid in the world by shift and turn, scale held at 1."""

    known: tuple[KnownPlace, ...]
    turn_rad: float
    sd_turn_rad: float
    sd_shift_m: float


@dataclass(frozen=True, slots=True)
class Sketch:
    """What a plan knows of the sketch it was drawn from.

    ``covariance`` is joint: two rows a point (east, north), then one a line, its shift to the right
    where the pipe is likely to cross it, metres squared. ``assumed`` are the lines nobody measured.
    """

    points: tuple[str, ...]
    lines: tuple[str, ...]
    covariance: Floats
    checks: tuple[SketchCheck, ...]
    chi_square: float
    freedom: int
    misclosures: tuple[Misclosure, ...] = ()
    world: WorldFit | None = None
    assumed: tuple[str, ...] = ()

    def shift_covariance(self, lines: tuple[str, ...], points: tuple[str, ...]) -> Floats:
        """Return the joint covariance of the named lines' and points' shifts, zero for others."""
        place = {("line", name): 2 * len(self.points) + i for i, name in enumerate(self.lines)}
        rows = [place.get(("line", name), -1) for name in lines]
        order = {name: 2 * i for i, name in enumerate(self.points)}
        for name in points:
            at = order.get(name, -1)
            rows += [at, at + 1 if at >= 0 else -1]
        index = np.array(rows, np.intp)
        known = index >= 0
        found = self.covariance[np.ix_(index, index)] if len(index) else np.zeros((0, 0))
        return np.asarray(np.where(np.outer(known, known), found, 0.0))
