"""The arrays every layer passes on: floats that nobody downstream can write to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def read_only(values: ArrayLike) -> Floats:
    """Return ``values`` as an array nobody can write to."""
    array = np.array(values, float)
    array.setflags(write=False)
    return array
