"""A long run's joint covariance, never written out: what a row of a thousand locates knows.

Along the run the place, direction and wander of a piece follow from those of the piece before it;
each locate tells of the piece it lies on, of its own errors, and of a few numbers that the whole
run shares. So the normal matrix, with the pieces' bonds held by multipliers, is block tridiagonal
with a border, and whatever is asked of its inverse is worked out from the blocks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats, Indices
from lateral_map.model.halving import Blocks, Halved

# A piece's state: its first end (easting, northing, elevation), as azimuths and pitches alone move
# it; its azimuth and pitch; and the latest step of each one's wander, in sds.
PLACE, AZIMUTH, PITCH, STEPS, STATE = slice(0, 3), 3, 4, slice(5, 7), 7
# A derivative carried along as an imaginary part this small loses no digit and moves none.
_IMAGINED = 1e-40
# So many right-hand sides are solved for at a time.
_AT_ONCE = 96


@dataclass(frozen=True, slots=True)
class Bonds:
    """How each piece's state follows from that of the piece before.

    ``carried`` (pieces - 1, 7, 7) times the state before, and ``driven`` (pieces, 7, 2) times two
    steps of wander (azimuth's, pitch's), each normal with an sd of 1.
    """

    carried: Floats
    driven: Floats


@dataclass(frozen=True, slots=True)
class Told:
    """What each locate's equations hang on, whitened: (locates, equations, ...), padded by zeros.

    ``piece`` (k,) is the piece it lies on, ``state`` (k, r, 7) the derivative in that one's state,
    ``common`` (k, r, g) in what the run shares, ``own`` (k, r, w) in its own errors, whose sds are
    ``sd`` (k, w), 1 where there is none. ``rows`` (k, r) and ``own_rows`` (k, w) are the
    equations' places among all, -1 for none; ``own_columns`` (k, w) the unknowns'.
    """

    piece: Indices
    state: Floats
    common: Floats
    own: Floats
    sd: Floats
    rows: Indices
    own_rows: Indices
    own_columns: Indices


@dataclass(frozen=True, slots=True)
class Order:
    """Where everything stands among the unknowns and the equations.

    ``common`` (g,) are the unknowns the run shares; ``common_design`` (q, g) the whitened linear
    equations that hold nothing else, ``common_rows`` (q,) where those stand.
    """

    unknowns: int
    equations: int
    azimuth: slice
    pitch: slice
    azimuth_rows: slice
    pitch_rows: slice
    common: Indices
    common_rows: Indices
    common_design: Floats


class Parts(NamedTuple):
    """A vector of all unknowns, or several: (pieces, 7, c) states, (g, c) shared, (k, w, c) own."""

    state: Floats
    common: Floats
    own: Floats


@dataclass(frozen=True)
class Strip:
    """The joint covariance C (n, n) of a long run's unknowns; stands where a matrix would.

    ``stiffness`` multiplies what the wander's azimuth steps weigh.
    """

    bonds: Bonds
    told: Told
    order: Order
    stiffness: complex = 1.0

    # So that ``array @ strip`` comes here.
    __array_ufunc__: ClassVar[None] = None

    def __len__(self) -> int:
        return self.order.unknowns

    @property
    def shape(self) -> tuple[int, int]:
        """As a matrix has it."""
        return self.order.unknowns, self.order.unknowns

    def __matmul__(self, vectors: Floats) -> Floats:
        columns = vectors.reshape(len(self), -1)
        found = np.empty_like(columns)
        for some in _slices(columns.shape[1]):
            found[:, some] = self._ungather(self.solve(self._gather(columns[:, some])))
        return found.reshape(vectors.shape)

    def __rmatmul__(self, rows: Floats) -> Floats:
        return np.asarray((self @ rows.T).T) if rows.ndim > 1 else self @ rows

    # The normal matrix, factored.

    @cached_property
    def _inverse_own(self) -> Floats:
        """B⁻¹ (k, w, w), B what is known of each locate's own errors."""
        told = self.told
        known = np.square(1.0 / told.sd)
        # One that a locate does not have is as good as known.
        known[told.own_columns < 0] = 1.0
        across = told.own.swapaxes(1, 2)
        return np.asarray(
            np.linalg.inv(known[:, :, None] * np.eye(known.shape[1]) + across @ told.own)
        )

    @cached_property
    def _seen(self) -> tuple[Floats, Floats]:
        """What each locate tells of the state and of the shared, its own errors allowed for.

        Without a difference: whitened by (1 + A_u P⁻¹ A_uᵀ)^-1/2.
        """
        told = self.told
        variance = np.where(told.own_columns < 0, 0.0, np.square(told.sd))
        noise = np.eye(told.own.shape[1]) + (told.own * variance[:, None, :]) @ told.own.swapaxes(
            1, 2
        )
        whiten = np.linalg.inv(np.linalg.cholesky(noise))
        return whiten @ told.state, whiten @ told.common

    @cached_property
    def _border(self) -> Floats:
        """The normal matrix's part (pieces, 7, g) between states and what the run shares."""
        state, common = self._seen
        border = np.zeros((self._pieces, STATE, common.shape[2]))
        np.add.at(border, self.told.piece, state.swapaxes(1, 2) @ common)
        return border

    @property
    def _pieces(self) -> int:
        return len(self.bonds.driven)

    @cached_property
    def _halved(self) -> Halved:
        """The states' part of the normal matrix, each piece's bond held by seven multipliers."""
        state, pieces = self._seen[0], self._pieces
        kind = complex if isinstance(self.stiffness, complex) else float
        blocks = np.zeros((pieces, 2 * STATE, 2 * STATE), kind)
        np.add.at(blocks[:, :STATE, :STATE], self.told.piece, state.swapaxes(1, 2) @ state)
        index = np.arange(STATE)
        blocks[:, index, STATE + index] = blocks[:, STATE + index, index] = -1.0
        loose = np.array([1.0 / self.stiffness, 1.0])
        blocks[:, STATE:, STATE:] = -(self.bonds.driven * loose) @ self.bonds.driven.swapaxes(1, 2)
        above = np.zeros((pieces - 1, 2 * STATE, 2 * STATE), kind)
        above[:, :STATE, STATE:] = self.bonds.carried.swapaxes(1, 2)
        return Halved(blocks, above)

    @cached_property
    def _followed(self) -> Blocks:
        """How states and multipliers (pieces, 14, g) follow what the run shares, sign turned."""
        return self._halved.solve(_with_multipliers(self._border))

    @cached_property
    def common(self) -> Blocks:
        """The covariance (g, g) of what the run shares."""
        design, told = self.order.common_design, self._seen[1]
        flat = told.reshape(-1, told.shape[2])
        normal = design.T @ design + flat.T @ flat
        normal = normal - _across(self._border, self._followed[:, :STATE])
        np.linalg.cholesky(normal.real)  # raises where something is undetermined
        return np.asarray(np.linalg.inv(normal))

    def solve(self, wanted: Parts) -> Parts:
        """Return C times a vector, or several."""
        told = self.told
        through = told.own @ (self._inverse_own @ wanted.own)
        state, common = wanted.state.copy(), wanted.common.copy()
        np.subtract.at(state, told.piece, told.state.swapaxes(1, 2) @ through)
        common -= _across(told.common, through)
        free = self._halved.solve(_with_multipliers(state))[:, :STATE]
        shared = self.common @ (common - _across(self._border, free))
        states = free - self._followed[:, :STATE] @ shared
        moved = told.state @ states[told.piece] + told.common @ shared
        own = self._inverse_own @ (wanted.own - told.own.swapaxes(1, 2) @ moved)
        return Parts(states, shared, own)

    def _gather(self, vectors: Floats) -> Parts:
        order, columns = self.order, self.told.own_columns
        state = np.zeros((self._pieces, STATE, vectors.shape[1]))
        state[:, AZIMUTH], state[:, PITCH] = vectors[order.azimuth], vectors[order.pitch]
        own = vectors[columns] * (columns >= 0)[:, :, None]
        return Parts(state, vectors[order.common], own)

    def _ungather(self, parts: Parts) -> Floats:
        order, held = self.order, self.told.own_columns >= 0
        vectors = np.empty((len(self), parts.common.shape[1]))
        vectors[order.azimuth], vectors[order.pitch] = (
            parts.state[:, AZIMUTH],
            parts.state[:, PITCH],
        )
        vectors[order.common] = parts.common
        vectors[self.told.own_columns[held]] = parts.own[held]
        return vectors

    # The equations, A (m, n) their whitened design.

    def _forward(self, parts: Parts) -> Floats:
        """Return A times what ``solve`` found."""
        order, told = self.order, self.told
        rows = np.zeros((order.equations, parts.common.shape[1]))
        rows[order.azimuth_rows] = parts.state[:, STEPS.start]
        rows[order.pitch_rows] = parts.state[:, STEPS.start + 1]
        rows[order.common_rows] = order.common_design @ parts.common
        held = told.own_rows >= 0
        rows[told.own_rows[held]] = (parts.own / told.sd[:, :, None])[held]
        found = (
            told.state @ parts.state[told.piece] + told.common @ parts.common + told.own @ parts.own
        )
        held = told.rows >= 0
        rows[told.rows[held]] = found[held]
        return rows

    def _backward(self, rows: Floats) -> Parts:
        """Return Aᵀ times equations (m, c)."""
        order, told = self.order, self.told
        state = np.zeros((self._pieces, STATE, rows.shape[1]))
        state[:, STEPS.start], state[:, STEPS.start + 1] = (
            rows[order.azimuth_rows],
            rows[order.pitch_rows],
        )
        here = rows[told.rows] * (told.rows >= 0)[:, :, None]
        np.add.at(state, told.piece, told.state.swapaxes(1, 2) @ here)
        common = order.common_design.T @ rows[order.common_rows]
        common += _across(told.common, here)
        own = told.own.swapaxes(1, 2) @ here
        own += rows[told.own_rows] * (told.own_rows >= 0)[:, :, None] / told.sd[:, :, None]
        return Parts(state, common, own)

    def step(self, residuals: Floats) -> tuple[Floats, float]:
        """Return Gauss-Newton's step C Aᵀ r for residuals (m,), and how much it promises."""
        found = self.solve(self._backward(residuals[:, None]))
        return self._ungather(found)[:, 0], float(residuals @ self._forward(found)[:, 0])

    def back(self, rows: Floats) -> Floats:
        """Return C Aᵀ times equations (m, c)."""
        found = np.empty((len(self), rows.shape[1]))
        for some in _slices(rows.shape[1]):
            found[:, some] = self._ungather(self.solve(self._backward(rows[:, some])))
        return found

    def seen(self, vectors: Floats) -> Floats:
        """Return A C times vectors (n,) or (n, c)."""
        columns = vectors.reshape(len(self), -1)
        found = np.empty((self.order.equations, columns.shape[1]))
        for some in _slices(columns.shape[1]):
            found[:, some] = self._forward(self.solve(self._gather(columns[:, some])))
        return found.reshape(-1, *vectors.shape[1:])

    def followed(self, rows: Floats) -> Floats:
        """Return A C Aᵀ times equations (m, c): what of them the line follows."""
        found = np.empty_like(rows)
        for some in _slices(rows.shape[1]):
            found[:, some] = self._forward(self.solve(self._backward(rows[:, some])))
        return found

    # What lies beside the diagonal, block by block.

    @cached_property
    def _blocks(self) -> Blocks:
        """Each piece's (14, 14) block of the states' inverse, the shared held."""
        return self._halved.inverse_blocks()

    def blocks(self, piece: Indices, state: Floats, common: Floats) -> Blocks:
        """Return covariances (k, q, q) of quantities, each of one piece's state and the shared.

        ``state`` (k, q, 7) and ``common`` (k, q, g) are their derivatives.
        """
        free = state @ self._blocks[piece, :STATE, :STATE] @ state.swapaxes(1, 2)
        left = common - state @ self._followed[piece, :STATE]
        return np.asarray(free + left @ self.common @ left.swapaxes(1, 2))

    def with_common(self, piece: Indices, state: Floats, common: Floats, column: int) -> Floats:
        """Return covariances (k, q) of such quantities with one unknown that the run shares."""
        left = common - state @ self._followed[piece, :STATE]
        return np.asarray(
            left @ self.common[:, int(np.flatnonzero(self.order.common == column)[0])]
        )

    @cached_property
    def of_turns(self) -> Floats:
        """How well (pieces, 2) a turn, and a fall, is known from all but what is noted there.

        The inverse of its variance: what the whole gains by a free turn there, to second order.
        """
        rows = slice(STATE + AZIMUTH, STATE + PITCH + 1)
        diagonal = np.diagonal(self._blocks[:, rows, rows], axis1=1, axis2=2)
        left = self._followed[:, rows]
        return np.asarray(-(diagonal + np.einsum("pig,pig->pi", left @ self.common, left)))

    @cached_property
    def pipe_part(self) -> Strip:
        """The same with what the azimuth's wander weighs differentiated, as an imaginary part."""
        return replace(self, stiffness=1.0 + 1j * _IMAGINED)

    def of_pipe(self, piece: Indices, state: Floats, common: Floats) -> Floats:
        """Return the part of ``blocks`` that comes of the pipe's own changes of azimuth."""
        return np.asarray(-self.pipe_part.blocks(piece, state, common).imag / _IMAGINED)

    @cached_property
    def _allowed(self) -> Floats:
        """(1 + A_u P⁻¹ A_uᵀ)⁻¹ (k, r, r): each locate's equations, its own errors allowed for."""
        told = self.told
        unit = np.eye(told.own.shape[1])
        return np.asarray(unit - told.own @ self._inverse_own @ told.own.swapaxes(1, 2))

    @cached_property
    def told_spread(self) -> Floats:
        """A C Aᵀ (k, r, r) among each locate's equations."""
        told, allowed = self.told, self._allowed
        shared = self.blocks(told.piece, allowed @ told.state, allowed @ told.common)
        return np.asarray(shared + np.eye(allowed.shape[1]) - allowed)

    @cached_property
    def own_covariance(self) -> Floats:
        """C (k, w, w) among each locate's own errors."""
        told = self.told
        follows = self._inverse_own @ told.own.swapaxes(1, 2)
        shared = self.blocks(told.piece, follows @ told.state, follows @ told.common)
        return np.asarray(shared + self._inverse_own)

    @cached_property
    def _state_variance(self) -> Floats:
        """The variance (pieces, 7) of each piece's state."""
        free = np.diagonal(self._blocks[:, :STATE, :STATE], axis1=1, axis2=2)
        left = self._followed[:, :STATE]
        return np.asarray(free + np.einsum("pig,pig->pi", left @ self.common, left))

    def diagonal(self) -> Floats:
        """The variance (n,) of each unknown."""
        order, found = self.order, np.empty(len(self))
        found[order.azimuth] = self._state_variance[:, AZIMUTH]
        found[order.pitch] = self._state_variance[:, PITCH]
        found[order.common] = np.diag(self.common)
        held = self.told.own_columns >= 0
        found[self.told.own_columns[held]] = np.diagonal(self.own_covariance, axis1=1, axis2=2)[
            held
        ]
        return found

    @cached_property
    def spread_diagonal(self) -> Floats:
        """The diagonal (m,) of A C Aᵀ: what of each equation the line follows."""
        order, told, found = self.order, self.told, np.zeros(self.order.equations)
        found[order.azimuth_rows] = self._state_variance[:, STEPS.start]
        found[order.pitch_rows] = self._state_variance[:, STEPS.start + 1]
        design = order.common_design
        found[order.common_rows] = np.einsum("qg,qg->q", design @ self.common, design)
        held = told.own_rows >= 0
        own = np.diagonal(self.own_covariance, axis1=1, axis2=2) / np.square(told.sd)
        found[told.own_rows[held]] = own[held]
        held = told.rows >= 0
        found[told.rows[held]] = np.diagonal(self.told_spread, axis1=1, axis2=2)[held]
        return found

    @cached_property
    def _stands(self) -> tuple[Indices, Indices]:
        """Which locate each equation (m,) is of, -1 for none, and its place among that one's."""
        locate, place = np.full((2, self.order.equations), -1)
        for rows in (self.told.rows, self.told.own_rows):
            held = rows >= 0
            row, column = np.nonzero(held)
            locate[rows[held]], place[rows[held]] = row, column
        place[self.order.common_rows] = np.arange(len(self.order.common_rows))
        return locate, place

    def spread_between(self, first: Indices, second: Indices) -> Floats:
        """Return A C Aᵀ (k,) between equations (k,) and others, of one locate's or the shared."""
        locate, place = self._stands
        here, one, other = locate[first], place[first], place[second]
        tied, sd = np.zeros(self.order.equations, bool), self.told.sd
        tied[self.told.rows[self.told.rows >= 0]] = True
        found, at = np.empty(len(first)), tied[first]
        found[at] = self.told_spread[here[at], one[at], other[at]]
        at = (here >= 0) & ~at
        own = self.own_covariance[here[at], one[at], other[at]]
        found[at] = own / (sd[here[at], one[at]] * sd[here[at], other[at]])
        at, design = here < 0, self.order.common_design
        spread = design[one[at]] @ self.common
        found[at] = np.einsum("qg,qg->q", spread, design[other[at]])
        return found

    @cached_property
    def log_determinant(self) -> float:
        """The logarithm of the normal matrix's determinant, but for what all such runs share."""
        own = np.linalg.slogdet(self._inverse_own)[1].sum()
        common = np.linalg.slogdet(self.common)[1]
        return float(self._halved.log_determinant - own - common)

    def place_design(self) -> Floats:
        """Return the ties' derivatives (m, 3) in their places, nought for all other equations."""
        rows, told = np.zeros((self.order.equations, 3)), self.told
        held = told.rows >= 0
        rows[told.rows[held]] = told.state[:, :, PLACE][held]
        return rows

    def kinds(self, elevation: int, ground: slice) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Say of equations (m,) which are changes of azimuth, and which tell of depths and ground.

        The latter hold the start's elevation, pitches, or the ground alone.
        """
        order, told = self.order, self.told
        directions, upright = np.zeros((2, order.equations), bool)
        directions[order.azimuth_rows] = upright[order.pitch_rows] = True
        at = order.common == elevation
        of_ground = (order.common >= ground.start) & (order.common < ground.stop)
        held = order.common_design != 0.0
        upright[order.common_rows] = held[:, at].any(axis=1) | ~held[:, ~of_ground].any(axis=1)
        tied, own = told.rows >= 0, told.own_rows >= 0
        upright[told.rows[tied]] = np.asarray(told.common[:, :, at].any(axis=2))[tied]
        columns = told.own_columns[own]
        upright[told.own_rows[own]] = (columns >= ground.start) & (columns < ground.stop)
        return directions, upright

    def column(self, unknown: int) -> Floats:
        """Return one column (n,) of the covariance."""
        unit = np.zeros(len(self))
        unit[unknown] = 1.0
        return self @ unit


@dataclass(frozen=True, slots=True)
class WideStrip:
    """What a long run's joint covariance is in truth, for answers in plan.

    ``readings`` (C + c cᵀ) + ``extra`` C A_pᵀA_p C, with c the ``scale`` column (n,) and A_p the
    changes of azimuth.
    """

    strip: Strip
    readings: float
    scale: Floats
    extra: float

    __array_ufunc__: ClassVar[None] = None

    def __matmul__(self, vectors: Floats) -> Floats:
        strip, columns = self.strip, vectors.reshape(len(self.scale), -1)
        whole = strip @ columns + np.outer(self.scale, self.scale @ columns)
        pulled = strip.seen(columns)
        directions = np.zeros_like(pulled)
        rows = strip.order.azimuth_rows
        directions[rows] = pulled[rows]
        found = self.readings * whole + self.extra * strip.back(directions)
        return np.asarray(found.reshape(vectors.shape))

    def __rmatmul__(self, rows: Floats) -> Floats:
        return np.asarray((self @ rows.T).T) if rows.ndim > 1 else self @ rows


# A joint covariance (n, n): written out, or a long run's.
Covariance = Floats | Strip | WideStrip


def _with_multipliers(states: Floats) -> Floats:
    """Return right-hand sides of the bonded equations: the bonds themselves are met."""
    return np.concatenate([states, np.zeros_like(states)], axis=1)


def _across(one: Blocks, other: Blocks) -> Blocks:
    """Return the sum of the products oneᵀ other of stacks (k, r, g) and (k, r, c)."""
    return np.asarray(one.reshape(-1, one.shape[2]).T @ other.reshape(-1, other.shape[2]))


def _slices(count: int) -> list[slice]:
    return [slice(first, first + _AT_ONCE) for first in range(0, count, _AT_ONCE)]
