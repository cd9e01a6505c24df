"""Normal and 95 % figures, and error ellipses."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats

_NORMAL = NormalDist()

# One dimension, both sides: the 1.9600 of NSSDA (FGDC-STD-007.3-1998).
TWO_SIDED_95: Final = _NORMAL.inv_cdf(0.975)
# One dimension, one side: what "at least 95 %" of a single answer asks.
SURE: Final = 0.95
ONE_SIDED_95: Final = _NORMAL.inv_cdf(SURE)
# Two dimensions: sqrt(chi-square with 2 degrees of freedom at 0.95) = 2.4477, as in NSSDA.
ELLIPSE_95: Final = math.sqrt(-2.0 * math.log(0.05))
# A fit this unlikely is none of chance's: one site in a thousand fits worse.
POOR_FIT: Final = 0.001


@dataclass(frozen=True, slots=True)
class Ellipses:
    """Standard (1 sd) error ellipses, one entry each.

    Semi-axes in metres; ``azimuth_deg`` is the long axis's, clockwise from north, 0 to 180.
    """

    semi_major_m: Floats
    semi_minor_m: Floats
    azimuth_deg: Floats


def chance_above_zero(mean: float, sd: float) -> float:
    """Return the probability that a normal quantity is positive; without doubt where sd is 0."""
    if sd > 0.0:
        return _NORMAL.cdf(mean / sd)
    return 0.5 if mean == 0.0 else float(mean > 0.0)


def less_sure(probability: float, wider: float) -> float:
    """Return the probability that a quantity is positive once its 1 sd is ``wider`` times as much.

    Exact for a normal one; what is certain stays so.
    """
    if not 0.0 < probability < 1.0:
        return probability
    return _NORMAL.cdf(_NORMAL.inv_cdf(probability) / wider)


def chi_square_tail(freedom: int, chi_square: float) -> float:
    """Return the probability that chi-square with ``freedom`` degrees (at least 1) is larger.

    The finite sums of Abramowitz and Stegun 26.4.4 and 26.4.5 (from memory); scipy, which has it,
    takes a quarter of a second to load.
    """
    half = max(chi_square, 0.0) / 2.0
    if half == 0.0:
        return 1.0
    odd = freedom % 2 / 2.0
    terms = (
        math.exp((k + odd) * math.log(half) - half - math.lgamma(k + odd + 1.0))
        for k in range(freedom // 2)
    )
    return min(math.fsum(terms) + (math.erfc(math.sqrt(half)) if odd else 0.0), 1.0)


def chi_square_beyond(freedom: int, probability: float) -> float:
    """Return the chi-square that is exceeded with ``probability`` (above 0), found by halving."""
    low, high = 0.0, 1.0
    while chi_square_tail(freedom, high) > probability:
        low, high = high, 2.0 * high
    while (middle := (low + high) / 2.0) not in (low, high):
        low, high = (
            (middle, high) if chi_square_tail(freedom, middle) > probability else (low, middle)
        )
    return low


def deviate_beyond(probability: float) -> float:
    """Return the normal deviate exceeded, on its own side, with ``probability`` (above 0)."""
    return -_NORMAL.inv_cdf(probability)


def error_ellipses(covariance_m2: Floats) -> Ellipses:
    """Return the standard ellipses of (k, 2, 2) covariances of easting and northing, in m²."""
    east, north = covariance_m2[:, 0, 0], covariance_m2[:, 1, 1]
    shared = covariance_m2[:, 0, 1]
    middle, spread = (east + north) / 2.0, np.hypot((east - north) / 2.0, shared)
    azimuth = np.degrees(np.arctan2(2.0 * shared, north - east)) / 2.0
    return Ellipses(
        semi_major_m=np.sqrt(middle + spread),
        semi_minor_m=np.sqrt(np.maximum(middle - spread, 0.0)),
        # Rounded first: an axis due north but for a last digit must not come out as 180.
        azimuth_deg=np.mod(np.round(azimuth, 9), 180.0),
    )
