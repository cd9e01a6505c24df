"""Nominal pipe sizes of the trade."""

from __future__ import annotations

import numpy as np

# Nominal sizes in inches that drains and sewers are made in (common practice, no source).
NOMINAL_IN = (1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 18.0, 21.0, 24.0)
_INCH_M = 0.0254


def nominal_inches(size_m: float) -> float:
    """Return the trade's nominal size in inches nearest to ``size_m``: 100 or 110 mm is a 4 in.

    A size no nominal one is within a sixth of is returned as it is.
    """
    sizes = np.array(NOMINAL_IN)
    nearest = float(sizes[np.argmin(np.abs(sizes - size_m / _INCH_M))])
    measured = size_m / _INCH_M
    return nearest if abs(measured - nearest) <= nearest / 6.0 else measured
