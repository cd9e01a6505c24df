"""Least squares over a long run: the same equations, each where it stands along the pipe.

Nothing is written out for all unknowns at once: a locate's equations hold the state of its own
piece, its own errors, and what the whole run shares (``model.strip``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from lateral_map.adjust.prior import LinearRows
from lateral_map.adjust.solve import (
    CLOSE_ENOUGH,
    FIRST_STEPS,
    MOST_STEPS,
    PROMISE_TRUSTED,
    SETTLED,
    SHARE_OF_RESIDUAL,
    SHARE_OF_SD,
    power_of_two,
    rounded,
)
from lateral_map.adjust.ties import Ties, equations_at, locates_of, split_unknowns
from lateral_map.model.arrays import Floats, Indices
from lateral_map.model.pieces import Pieces
from lateral_map.model.route import Chain, Layout
from lateral_map.model.strip import Bonds, Order, Strip, Told

# A step that makes things worse is halved so often at most.
_MOST_HALVINGS = 12
# A locate's own errors: of its mark (easting, northing), its counter's reading, its ground.
_MARK, _READING, _GROUND, _OWN = slice(0, 2), 2, 3, 4
# A place and those errors but the ground's, before what the run shares, where ties are worked out.
_BEFORE = 6
_SHARED = 5


@dataclass(frozen=True, slots=True)
class LongSolution:
    """The best unknowns (n,), whitened residuals (m,) there, and their joint covariance."""

    unknowns: Floats
    cost: float
    residuals: Floats
    covariance: Strip
    steps: int
    settled: bool

    @property
    def design(self) -> Floats:
        """The design is never written out."""
        return np.zeros((0, len(self.unknowns)))

    @property
    def log_determinant(self) -> float:
        """The logarithm of the normal matrix's determinant, but for what all solutions share."""
        return self.covariance.log_determinant

    def joint_covariance(self) -> Strip:
        """Return the unknowns'."""
        return self.covariance


@dataclass(frozen=True)
class LongEquations:
    """A long run's equations, found anew about any unknowns."""

    chain: Chain
    layout: Layout
    rows: LinearRows
    ties: Ties

    @cached_property
    def _owners(self) -> Indices:
        """The locate whose depths alone hold each ground correction (knots,), -1 where shared."""
        held, row = self.ties.depth_weights != 0.0, self.ties.depth_row[:, None]
        none = len(self.ties.footage_m)
        first = np.where(held, row, none).min(axis=0, initial=none)
        owner = np.where(np.where(held, row, -1).max(axis=0, initial=-1) == first, first, -1)
        # A depth between two of them, or the start's, shares them.
        owner[held[held.sum(axis=1) > 1].any(axis=0)] = -1
        for block in self.rows.blocks:
            if block.design.ndim > 1:
                used = block.columns[block.design.any(axis=0)] - self.layout.ground.start
                owner[used[used >= 0]] = -1
        return owner

    @cached_property
    def _common(self) -> Indices:
        """The unknowns that the whole run shares."""
        layout = self.layout
        ground = layout.ground.start + np.flatnonzero(self._owners < 0)
        mapped = np.arange(layout.line.start, layout.point.stop)
        return np.concatenate([np.arange(_SHARED), mapped, ground])

    @cached_property
    def _own_columns(self) -> Indices:
        """Each locate's own unknowns (k, 4), -1 for none."""
        ties, layout = self.ties, self.layout
        columns = np.full((len(ties.footage_m), _OWN), -1)
        columns[ties.mark_row, _MARK] = ties.mark_column[:, None] + np.arange(2)
        columns[:, _READING] = ties.reading_column
        owned = np.flatnonzero(self._owners >= 0)
        columns[self._owners[owned], _GROUND] = layout.ground.start + owned
        return columns

    @cached_property
    def _own(self) -> tuple[Indices, Floats]:
        """Where the equation of each locate's own error stands (k, 4), -1 for none, and its sd."""
        row, sd = np.full(self.layout.size, -1), np.ones(self.layout.size)
        for block in self.rows.blocks:
            if block.design.ndim == 1:
                row[block.columns], sd[block.columns] = np.r_[block.rows], 1.0 / block.design
        held = self._own_columns >= 0
        return np.where(held, row[self._own_columns], -1), np.where(
            held, sd[self._own_columns], 1.0
        )

    @cached_property
    def order(self) -> Order:
        """Where everything stands."""
        common = self._common
        place = np.full(self.layout.size, -1)
        place[common] = np.arange(len(common))
        rows, designs = [], []
        for block in self.rows.blocks:
            design = np.diag(block.design) if block.design.ndim == 1 else block.design
            kept = place[block.columns] >= 0
            used = np.flatnonzero(kept) if block.design.ndim == 1 else np.arange(len(design))
            full = np.zeros((len(used), len(common)))
            full[:, place[block.columns[kept]]] = design[used][:, kept]
            rows.append(np.r_[block.rows][used])
            designs.append(full)
        azimuth, pitch = self.rows.walks
        return Order(
            unknowns=self.layout.size,
            equations=self.rows.count + self.ties.count,
            azimuth=self.layout.azimuth,
            pitch=self.layout.pitch,
            azimuth_rows=azimuth.rows,
            pitch_rows=pitch.rows,
            common=common,
            common_rows=np.concatenate(rows),
            common_design=np.concatenate(designs),
        )

    @cached_property
    def _near_ties(self) -> Ties:
        """The ties with every locate's place and own errors in the same few columns."""
        ties, first = self.ties, self.layout.line.start
        moved = ties.tape_shift_column - first + _BEFORE
        return replace(
            ties,
            tape_shift_column=np.where(ties.tape_shift_column >= 0, moved, -1),
            lines=tuple(
                one if one.shift_column is None
                else replace(one, shift_column=one.shift_column - first + _BEFORE)
                for one in ties.lines
            ),
            depth_weights=np.zeros((len(ties.depth_row), 0)),
        )  # fmt: skip

    def about(self, unknowns: Floats) -> tuple[Floats, Strip]:
        """Return the whitened residuals (m,) of all equations, and the covariance they make."""
        layout, ties, order = self.layout, self.ties, self.order
        residuals = np.zeros(order.equations)
        for walk in self.rows.walks:
            residuals[walk.rows] = walk.missed(unknowns[walk.columns])
        for block in self.rows.blocks:
            values = unknowns[block.columns]
            if block.design.ndim == 1:
                residuals[block.rows] = block.observed - block.design * values
            else:
                residuals[block.rows] = block.observed - block.design @ values
        pieces = Pieces(self.chain, layout, unknowns)
        place = pieces.at(ties.footage_m, unknowns[ties.reading_column])
        jacobian = np.zeros(
            (len(ties.footage_m), 3, _BEFORE + layout.point.stop - layout.line.start)
        )
        jacobian[:, :, :3], jacobian[:, :, 5] = np.eye(3), place.way
        mark = (
            place.position[ties.mark_row, :2] + unknowns[ties.mark_column[:, None] + np.arange(2)]
        )
        of_mark = jacobian[ties.mark_row, :2]
        of_mark[:, :, 3:5] = np.eye(2)
        mapped = np.concatenate(
            [np.zeros(_BEFORE), unknowns[layout.line.start : layout.point.stop]]
        )
        surface = ties.depth_level_m + ties.depth_weights @ unknowns[layout.ground]
        near = replace(self._near_ties, depth_level_m=surface)
        nowhere = slice(len(mapped), len(mapped))
        missed, design = equations_at(
            near, mapped, nowhere, place.position, jacobian, mark, of_mark
        )
        residuals[self.rows.count :] = missed
        locate = locates_of(ties)
        state = np.einsum("tp,tps->ts", design[:, :3], place.state[locate])
        common = np.zeros((len(design), len(order.common)))
        common[:, :_SHARED] = np.einsum("tp,tpg->tg", design[:, :3], place.common[locate])
        common[:, _SHARED : _SHARED + design.shape[1] - _BEFORE] = design[:, _BEFORE:]
        own = np.zeros((len(design), _OWN))
        own[:, :_GROUND] = design[:, 3:_BEFORE]
        weights = ties.depth_weights / ties.depth_sd_m[:, None]
        depths = slice(len(design) - len(weights), None)
        shared = np.flatnonzero(self._owners < 0)
        common[depths, len(order.common) - len(shared) :] = weights[:, shared]
        own[depths, _GROUND] = np.where(self._owners >= 0, weights, 0.0).sum(axis=1)
        return residuals, Strip(
            self._bonds(pieces), self._tell(place.piece, state, common, own), order
        )

    def _bonds(self, pieces: Pieces) -> Bonds:
        azimuth, pitch = self.rows.walks
        return pieces.bonds((azimuth.main, azimuth.below), (pitch.main, pitch.below))

    def _tell(self, piece: Indices, state: Floats, common: Floats, own: Floats) -> Told:
        """Return the ties' derivatives (t, ...) locate by locate."""
        at = self._rows
        missing = (at < 0)[:, :, None]
        each = [np.where(missing, 0.0, one[at]) for one in (state, common, own)]
        rows = np.where(at < 0, -1, at + self.rows.count)
        own_rows, sd = self._own
        return Told(piece, each[0], each[1], each[2], sd, rows, own_rows, self._own_columns)

    @cached_property
    def _rows(self) -> Indices:
        """The ties and depths of each locate (k, r), -1 for none."""
        return split_unknowns(self.ties, self.layout).rows


def solve_long(
    equations: LongEquations, guess: Floats, worth_reaching: float = math.inf
) -> LongSolution:
    """Minimise the squared residuals from a guess (n,) by Gauss-Newton steps.

    A step that lowers nothing is halved. Where after the first steps several times what one
    promises would not bring the cost down to ``worth_reaching``, the solution is left unsettled.
    Raises ``numpy.linalg.LinAlgError`` where the readings leave an unknown undetermined.
    """
    unknowns, (residuals, strip) = guess, equations.about(guess)
    cost, steps, gain = float(residuals @ residuals), 0, math.inf
    while steps < MOST_STEPS:
        steps += 1
        step, promised = strip.step(residuals)
        if steps > FIRST_STEPS and cost - PROMISE_TRUSTED * promised > worth_reaching:
            gain = math.inf
            break
        lower = _go_lower(equations, unknowns, step, cost)
        if lower is None:
            break
        gain, (unknowns, residuals, strip, cost) = promised, lower
        if gain < CLOSE_ENOUGH * (1.0 + cost):
            break
    return LongSolution(unknowns, cost, residuals, strip, steps, gain < SETTLED)


def _go_lower(
    equations: LongEquations, unknowns: Floats, step: Floats, cost: float
) -> tuple[Floats, Floats, Strip, float] | None:
    """Return unknowns, residuals, covariance and cost after as much of a step as lowers the cost.

    None where no part of it does.
    """
    for _ in range(_MOST_HALVINGS):
        trial = unknowns + step
        residuals, strip = equations.about(trial)
        found = float(residuals @ residuals)
        if found <= cost * (1.0 + 1e-14) + 1e-20:
            return trial, residuals, strip, found
        step = 0.5 * step
    return None


def settle_long(equations: LongEquations, found: LongSolution) -> LongSolution:
    """Return what is handed on of a solution: the same bits whatever processor found it.

    The last steps are taken until rounding alone moves the unknowns, which are then rounded as
    those of ``solve.settle`` are. The covariance is never written out, and what is told of it is
    rounded only where it is told.
    """
    unknowns, residuals, strip, before = found.unknowns, found.residuals, found.covariance, math.inf
    for _ in range(MOST_STEPS if found.settled else 0):
        step, gain = strip.step(residuals)
        if not gain < before:
            break
        unknowns, before = unknowns + step, gain
        residuals, strip = equations.about(unknowns)
    unknowns = rounded(unknowns, SHARE_OF_SD * power_of_two(np.sqrt(strip.diagonal())))
    residuals, strip = equations.about(unknowns)
    residuals = rounded(residuals, SHARE_OF_RESIDUAL)
    return replace(found, unknowns=unknowns, residuals=residuals, covariance=strip)
