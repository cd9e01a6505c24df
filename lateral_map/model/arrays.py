"""The arrays every layer passes on: floats that nobody downstream can write to."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Indices = NDArray[np.intp]


def read_only(values: ArrayLike) -> Floats:
    """Return ``values`` as an array nobody can write to."""
    array = np.array(values, float)
    array.setflags(write=False)
    return array


def in_row(values: ArrayLike) -> Floats:
    """Return numbers in a row, one by itself too; not copied where they stand in one."""
    return np.array(values, float, ndmin=1, copy=None)


def sparse_product(rows: Floats, matrix: Floats) -> Floats:
    """Return ``rows`` (m, n) @ ``matrix`` (n, k), most numbers of ``rows`` being nought.

    What a row that holds one number alone makes is looked up; of the others only those columns are
    gone through that any of them holds.
    """
    held = rows != 0.0
    alone = held.sum(axis=1) == 1
    if not alone.any():
        return np.asarray(rows @ matrix)
    product = np.empty((len(rows), matrix.shape[1]))
    column = held[alone].argmax(axis=1)
    product[alone] = rows[alone, column][:, None] * matrix[column]
    rest = rows[~alone]
    used = rest.any(axis=0)
    product[~alone] = rest @ matrix if used.all() else rest[:, used] @ matrix[used]
    return product
