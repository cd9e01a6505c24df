"""Where footage and elevation stand on the paper, and the lines a profile is made of."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.draw.paint.labels import Box
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Report
from lateral_map.units import from_metres, to_metres

EXAGGERATIONS: Final = (
    *(0.05, 0.1, 0.2, 0.25, 0.4, 0.5, 0.75),
    *(1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0),
)
# Air above and below what is shown, as a share of its height.
_AIR: Final = 1.16


@dataclass(frozen=True, slots=True)
class Frame:
    """A profile's graph: its box on the paper, and the metres at the box's edges.

    ``is_first`` and ``is_last`` are False where another graph ends at ``from_m`` or goes on from
    ``to_m``: what stands there belongs to the graph that begins.
    """

    box: Box
    from_m: float
    to_m: float
    low_m: float
    high_m: float
    is_first: bool = True
    is_last: bool = True

    def x(self, footage_m: float) -> float:
        """Return where a footage stands across the paper."""
        return self.box.left + self.box.width * (footage_m - self.from_m) / (
            self.to_m - self.from_m
        )

    def y(self, elevation_m: float) -> float:
        """Return where an elevation stands down the paper."""
        return self.box.top + self.box.height * (self.high_m - elevation_m) / (
            self.high_m - self.low_m
        )

    def points(self, footage_m: ArrayLike, elevation_m: ArrayLike) -> Floats:
        """Return (n, 2) places on the paper."""
        along = (np.asarray(footage_m, float) - self.from_m) / (self.to_m - self.from_m)
        down = (self.high_m - np.asarray(elevation_m, float)) / (self.high_m - self.low_m)
        return np.stack(
            [self.box.left + self.box.width * along, self.box.top + self.box.height * down],
            axis=-1,
        )

    def holds(self, footage_m: float) -> bool:
        """Say whether a footage belongs to this graph."""
        after = self.is_first or footage_m >= self.from_m
        return after and (self.is_last or footage_m < self.to_m)

    def shows(self, elevation_m: float) -> bool:
        """Say whether an elevation lies within this graph."""
        return self.low_m <= elevation_m <= self.high_m

    @property
    def exaggeration(self) -> float:
        """The vertical scale over the horizontal one."""
        across = self.box.width / (self.to_m - self.from_m)
        return self.box.height / (self.high_m - self.low_m) / across


@dataclass(frozen=True, slots=True)
class Curves:
    """A stretch's lines in metres, one entry a station and one at each end; elevations.

    The crown is the invert plus the pipe's nominal size, the invert itself where nobody gave one.
    """

    footage_m: Floats
    ground_m: Floats
    invert_m: Floats
    crown_m: Floats
    half_m: Floats

    @classmethod
    def of(cls, report: Report, from_m: float, to_m: float) -> Curves:
        """Return the lines between two footages."""
        stations = report.stations
        inside = (stations.footage_m > from_m) & (stations.footage_m < to_m)
        at = np.concatenate([[from_m], stations.footage_m[inside], [to_m]])
        size = np.zeros_like(at)
        for pipe in report.pipes:
            size[(at >= pipe.from_m) & (at <= pipe.to_m)] = pipe.size_m or 0.0

        def along(values: Floats) -> Floats:
            return np.asarray(np.interp(at, stations.footage_m, values))

        invert = along(stations.elevation_m)
        half = TWO_SIDED_95 * along(stations.depth_sd_m)
        return cls(at, along(stations.ground_m), invert, invert + size, half)

    def between(self, from_m: float, to_m: float) -> Curves:
        """Return the lines of a part of the stretch."""
        inside = (self.footage_m > from_m) & (self.footage_m < to_m)
        at = np.concatenate([[from_m], self.footage_m[inside], [to_m]])
        lines = (self.ground_m, self.invert_m, self.crown_m, self.half_m)
        return Curves(at, *(np.interp(at, self.footage_m, line) for line in lines))

    def ground_at(self, footage_m: float) -> float:
        """Return the ground's elevation at a footage."""
        return float(np.interp(footage_m, self.footage_m, self.ground_m))

    def invert_at(self, footage_m: float) -> float:
        """Return the invert's elevation at a footage."""
        return float(np.interp(footage_m, self.footage_m, self.invert_m))


def heights_shown(report: Report, from_m: float, to_m: float) -> tuple[float, float]:
    """Return the lowest and highest elevation (m) a graph of this stretch must show.

    Ground, both bands, the depths read of the locates in use and the mapped utilities'.
    """
    curves = Curves.of(report, from_m, to_m)
    shown = [*curves.ground_m, *(curves.invert_m - curves.half_m)]
    shown += [*(curves.crown_m + curves.half_m)]
    for one in report.locates:
        if one.locate.use and one.depth_m is not None and from_m <= one.footage_m <= to_m:
            half = TWO_SIDED_95 * (one.sd_depth_m or 0.0)
            level = curves.ground_at(one.footage_m) - one.depth_m
            shown += [level - half, level + half]
    for utility in report.utilities:
        for met in utility.crossings:
            if utility.depth_m is not None and from_m <= met.footage_m <= to_m:
                shown.append(curves.ground_at(met.footage_m) - utility.depth_m)
    return min(shown), max(shown)


def heights_framed(
    low_m: float, high_m: float, run_m: float, size_pt: tuple[float, float]
) -> tuple[float, float]:
    """Return the lowest and highest elevation of a graph so large that shows a range of them.

    It takes the largest round vertical exaggeration that shows everything.
    """
    needed = needed_m(low_m, high_m, run_m)
    across = size_pt[0] / run_m
    fits = [scale for scale in EXAGGERATIONS if needed * scale * across <= size_pt[1]]
    spare = (size_pt[1] / (fits[-1] * across) if fits else needed) - (high_m - low_m)
    return low_m - 0.6 * spare, high_m + 0.4 * spare


def needed_m(low_m: float, high_m: float, run_m: float) -> float:
    """Return the height (m) a graph of a run wants for a range of elevations."""
    return _AIR * max(high_m - low_m, 0.02 * run_m, 1e-6)


def exaggeration_words(exaggeration: float) -> str:
    """Return a vertical exaggeration as printed, to three digits."""
    if math.isclose(exaggeration, 1.0, rel_tol=5e-4):
        return "No vertical exaggeration (1 : 1)."
    return f"Vertical exaggeration {exaggeration:.3g} ×."


def round_marks(low_m: float, high_m: float, most: int, unit: str) -> Sequence[tuple[float, str]]:
    """Return at most ``most`` round values of the unit between two, in metres and as printed."""
    low, high = from_metres(low_m, unit), from_metres(high_m, unit)
    least = (high - low) / max(most, 1)
    power = 10.0 ** math.floor(math.log10(least))
    step = next(power * each for each in (1.0, 2.0, 5.0, 10.0) if power * each >= least - 1e-12)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [(to_metres(k * step, unit), f"{k * step + 0.0:.10g}") for k in range(first, last + 1)]
