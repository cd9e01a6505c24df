"""Where the parts of a profile stand on the sheet, and its two scales."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from lateral_map.draw.along import interpolated
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import Report
from lateral_map.units import from_metres

Floats = NDArray[np.float64]

EXAGGERATIONS: Final = (
    *(0.05, 0.1, 0.2, 0.25, 0.4, 0.5, 0.75),
    *(1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0),
)


@dataclass(frozen=True, slots=True)
class Lines:
    """The profile's lines in the site's unit, one entry a station; elevations up-positive."""

    footage: Floats
    ground: Floats
    crown: Floats
    invert: Floats
    half_band: Floats


def profile_lines(report: Report) -> Lines:
    """Return the profile's lines. The crown is the invert plus the pipe's nominal size."""
    stations, unit = report.stations, report.site.unit
    size = np.zeros_like(stations.footage_m)
    for pipe in report.pipes:
        size[(stations.footage_m >= pipe.from_m) & (stations.footage_m <= pipe.to_m)] = (
            pipe.size_m or 0.0
        )

    def in_unit(values_m: Floats) -> Floats:
        return np.array([from_metres(float(value), unit) for value in values_m])

    return Lines(
        footage=in_unit(stations.footage_m),
        ground=in_unit(stations.ground_m),
        crown=in_unit(stations.elevation_m + size),
        invert=in_unit(stations.elevation_m),
        half_band=in_unit(TWO_SIDED_95 * stations.depth_sd_m),
    )


@dataclass(frozen=True, slots=True)
class Metrics:
    """Sizes in inches and points for one width of sheet.

    ``inside_in`` are the least and the greatest height of the plotting window.
    """

    left_in: float
    right_in: float
    lane_in: float
    strip_in: float
    head_in: float
    tick_in: float
    foot_in: float
    text_pt: float
    lanes_above: int
    lanes_below: int
    inside_in: tuple[float, float]


WIDE: Final = Metrics(0.88, 1.30, 0.158, 0.185, 0.26, 0.24, 0.24, 8.5, 6, 4, (1.6, 3.0))
NARROW: Final = Metrics(0.62, 0.50, 0.158, 0.185, 0.44, 0.24, 0.24, 8.5, 5, 5, (2.0, 3.0))


@dataclass(frozen=True, slots=True)
class Window:
    """A profile's plotting window in the site's unit, and where it stands in inches on the sheet.

    ``left_in``, ``bottom_in``, ``width_in`` and ``height_in`` place it from the sheet's lower left.
    """

    from_footage: float
    to_footage: float
    low: float
    high: float
    left_in: float
    bottom_in: float
    width_in: float
    height_in: float

    def across_in(self, footage: float) -> float:
        """Return where a footage stands, in inches from the sheet's left."""
        share = (footage - self.from_footage) / (self.to_footage - self.from_footage)
        return self.left_in + share * self.width_in

    def up_in(self, elevation: float) -> float:
        """Return where an elevation stands, in inches from the sheet's foot."""
        return self.bottom_in + (elevation - self.low) / (self.high - self.low) * self.height_in


def choose_heights(
    lines: Lines, also: Floats, width_in: float, height_in: float
) -> tuple[float, float]:
    """Return the lowest and highest elevation of a window of this size that shows ``also`` too.

    The window takes the largest round vertical exaggeration that shows everything.
    """
    low, high = _extremes(lines, also)
    needed = _needed(lines, low, high)
    horizontal = width_in / _run(lines)
    fits = [scale for scale in EXAGGERATIONS if needed * scale * horizontal <= height_in]
    spare = (height_in / (fits[-1] * horizontal) if fits else needed) - (high - low)
    return low - 0.6 * spare, high + 0.4 * spare


def suitable_height(
    lines: Lines, also: Floats, width_in: float, between_in: tuple[float, float]
) -> float:
    """Return the height (in) a window of this width wants, within limits.

    Enough that a short, deep run is not squeezed below its true proportions.
    """
    low, high = _extremes(lines, also)
    true_in = _needed(lines, low, high) * width_in / _run(lines)
    return float(np.clip(1.001 * true_in, *between_in))


def _extremes(lines: Lines, also: Floats) -> tuple[float, float]:
    band = [lines.invert - lines.half_band, lines.invert + lines.half_band]
    shown = np.concatenate([lines.ground, *band, also])
    return float(shown.min()), float(shown.max())


def _needed(lines: Lines, low: float, high: float) -> float:
    return 1.16 * max(high - low, 0.02 * _run(lines), 1e-6)


def _run(lines: Lines) -> float:
    return float(lines.footage[-1] - lines.footage[0])


def measure_exaggeration(axes: Axes) -> float:
    """Return the vertical over the horizontal scale of an axes, measured from what is drawn."""
    box = axes.get_window_extent()
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    horizontal = box.width / abs(right - left)
    vertical = box.height / abs(high - low)
    return float(vertical / horizontal)


def exaggeration_words(exaggeration: float) -> str:
    """Return a vertical exaggeration as printed, to three digits."""
    if math.isclose(exaggeration, 1.0, rel_tol=5e-4):
        return "no vertical exaggeration (1 : 1)"
    return f"vertical exaggeration {exaggeration:.3g} ×"


def at_footage(report: Report, values_m: Floats, footage_m: float) -> float:
    """Return a station array's value at a footage, in the site's unit."""
    return from_metres(interpolated(report.stations, values_m, footage_m), report.site.unit)
