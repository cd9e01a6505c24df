"""What a blunder in each reading would do to a long run's equations, a unit-length mark each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lateral_map.model.arrays import Floats, Indices
from lateral_map.model.strip import Strip

if TYPE_CHECKING:
    from lateral_map.model.route import Observation


@dataclass(frozen=True)
class LongBlunders:
    """Marks H on the whitened residuals of a long run, one or two columns a reading.

    The redundancies are those of HᵀRH, R = 1 - A C Aᵀ.
    """

    strip: Strip
    readings: Sequence[Observation]

    @cached_property
    def widths(self) -> Indices:
        """How many columns each reading has."""
        return np.array([one.signature.shape[1] for one in self.readings], np.intp)

    @cached_property
    def starts(self) -> Indices:
        """Each reading's first column."""
        return np.cumsum(self.widths) - self.widths

    @cached_property
    def unit(self) -> Floats:
        """The blunder (m or rad) that makes a mark of unit length, one a column."""
        lengths = np.empty(int(self.widths.sum()))
        at = np.repeat(np.arange(len(self.widths)), self.widths)
        column = np.arange(len(at)) - self.starts[at]
        for place, (index, own) in enumerate(zip(at.tolist(), column.tolist(), strict=True)):
            mark = self.readings[index].signature
            lengths[place] = (
                abs(mark[own, own]) if self._rows[place] >= 0 else math.hypot(*mark[:, own])
            )
        return 1.0 / lengths

    @cached_property
    def _rows(self) -> Indices:
        """The one equation (columns,) that a mark stands on, -1 where it stands on several."""
        found: list[int] = []
        for one, width in zip(self.readings, self.widths.tolist(), strict=True):
            alone = one.rows.stop - one.rows.start == width
            alone = alone and (width == 1 or not (one.signature[0, 1] or one.signature[1, 0]))
            found += range(one.rows.start, one.rows.stop) if alone else [-1] * width
        return np.array(found, np.intp)

    @cached_property
    def _wide(self) -> list[int]:
        """The readings whose marks stand on equations that others share."""
        return np.flatnonzero(self._rows[self.starts] < 0).tolist()

    def _marks(self, index: int) -> Floats:
        """Return one reading's marks (rows, 1 or 2) where they stand."""
        start = self.starts[index]
        unit = self.unit[start : start + self.widths[index]]
        return np.asarray(self.readings[index].signature * unit)

    def project(self, rows: Floats) -> Floats:
        """Return Hᵀ times equations (m,) or (m, c)."""
        found = rows[self._rows]
        for index in self._wide:
            start = self.starts[index]
            here = rows[self.readings[index].rows]
            found[start : start + self.widths[index]] = self._marks(index).T @ here
        return found

    def cofactor(self, block: slice) -> Floats:
        """Return HᵀR times one reading's marks, (columns, 1 or 2)."""
        index = int(np.searchsorted(self.starts, block.start))
        marks = np.zeros((self.strip.order.equations, self.widths[index]))
        marks[self.readings[index].rows] = self._marks(index)
        return self.project(marks - self.strip.followed(marks))

    @cached_property
    def redundancy(self) -> Floats:
        """The cofactor's diagonal."""
        found = 1.0 - self.strip.spread_diagonal[self._rows]
        for index in self._wide:
            start = self.starts[index]
            own = np.diag(self._wide_cofactor(index))
            found[start : start + self.widths[index]] = own
        return found

    @cached_property
    def pairs(self) -> Floats:
        """The cofactor of each reading of two columns, (pairs, 2, 2)."""
        readings = np.flatnonzero(self.widths == 2)
        at = self.starts[readings]
        found = np.empty((len(at), 2, 2))
        found[:, 0, 0], found[:, 1, 1] = self.redundancy[at], self.redundancy[at + 1]
        first = self._rows[at]
        alone = first >= 0
        beside = np.zeros(len(at))
        beside[alone] = -self.strip.spread_between(first[alone], first[alone] + 1)
        for pair in np.flatnonzero(~alone):
            beside[pair] = self._wide_cofactor(int(readings[pair]))[0, 1]
        found[:, 0, 1] = found[:, 1, 0] = beside
        return found

    def _wide_cofactor(self, index: int) -> Floats:
        """Return the cofactor of one reading whose marks stand on several equations."""
        reading, marks, order = self.readings[index], self._marks(index), self.strip.order
        turns = [order.azimuth_rows.start, order.pitch_rows.start]
        if reading.rows.start in turns:
            # A change of direction moves nothing before it.
            node = int(np.flatnonzero(reading.signature[:, 0])[0])
            known = self.strip.of_turns[node, turns.index(reading.rows.start)]
            return np.asarray(known * self.unit[self.starts[index]] ** 2).reshape(1, 1)
        at = np.searchsorted(order.common_rows, np.arange(reading.rows.start, reading.rows.stop))
        across = marks.T @ order.common_design[at]
        return np.asarray(marks.T @ marks - across @ self.strip.common @ across.T)
