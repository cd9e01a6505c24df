"""How much larger than stated the errors are, as far as the fit tells.

Nobody knows the accuracy of his own readings exactly, nor how straight a pipe was laid: what is
stated of either is taken to be worth as much as two readings' misfits. A misfit larger than that
allows makes every answer less sure; one smaller makes none surer. The counter's scale is one
number that every footage hangs on, so it has a component of its own. And some people's errors have
tails: a few large ones among many small, of which the variance of so few readings tells too little.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.strip import Covariance, Strip, WideStrip

# As many readings' misfits are worth as much as the accuracies stated: of all, of the scale's one.
_WORTH: Final = 2.0
_SCALE_WORTH: Final = 0.5
# On one site in five errors have tails (judgement): then they follow Student's t with so many
# degrees of freedom, the fewest for which errors have a variance, about the stated 1 sd.
_SITES_WITH_TAILS: Final = 0.2
_TAILS: Final = 3.0
# Such an error's 95 % deviate over the normal one.
_TAILS_WIDER: Final = 3.182446305284263 / TWO_SIDED_95
# However little the fit tells, accuracies are never known worse than by so many readings' misfits.
_LEAST_KNOWN: Final = 10.0
# Below this redundancy nothing but the reading itself fixes it: a blunder in it would not show.
UNCHECKED_BELOW: Final = 0.05


@dataclass(frozen=True, slots=True)
class Noise:
    """What widens a route's answers in plan.

    Of such an answer's variance, what comes of the readings' errors counts ``readings``² times and
    what comes of the pipe's directions ``pipe``² times, as a normal quantity with the same 95 %
    range. An answer with gradient g (unknowns,) owes (g · ``scale_column``)² more to the counter's
    scale, and of its variance |``of_pipe`` g|² to the directions, ``of_pipe`` (rows, unknowns).
    """

    readings: float
    pipe: float
    scale_column: Floats
    of_pipe: Floats | PipeShare

    def mixed(self, others: Iterable[tuple[float, Noise]]) -> Noise:
        """Return the noise of readings that mean this or, by their weights, what others make of it.

        Theirs say how large errors are; how the counter's scale spreads them stays its own.
        """
        each = [*others]
        left = max(1.0 - sum(weight for weight, _ in each), 0.0)
        readings, pipe = left * self.readings**2, left * self.pipe**2
        readings += sum(weight * one.readings**2 for weight, one in each)
        pipe += sum(weight * one.pipe**2 for weight, one in each)
        column = math.sqrt(left) * self.scale_column
        return Noise(math.sqrt(readings), math.sqrt(pipe), column, self.of_pipe)

    def widen(self, sd_m: Floats, gradient: Floats) -> Floats:
        """Return what 1 sd (k,) of answers in plan, whatever else is in it, is in truth.

        ``gradient`` (k, unknowns) are the answers' derivatives.
        """
        square = np.square(sd_m) + np.square(gradient @ self.scale_column)
        # Never more than all: an answer averaged over rival lines is not quite one gradient's.
        pulled = np.square(gradient @ self.of_pipe.T).sum(axis=-1)
        directions = np.minimum(pulled, square)
        wide = self.readings**2 * (square - directions) + self.pipe**2 * directions
        return np.asarray(np.sqrt(wide))

    def widen_covariance(self, covariance: Floats | Strip) -> Covariance:
        """Return what a joint covariance (unknowns, unknowns) is in truth, for answers in plan."""
        extra = self.pipe**2 - self.readings**2
        if isinstance(covariance, Strip):
            return WideStrip(covariance, self.readings**2, self.scale_column, extra)
        assert isinstance(self.of_pipe, np.ndarray)  # noqa: S101
        whole = covariance + np.outer(self.scale_column, self.scale_column)
        return np.asarray(self.readings**2 * whole + extra * (self.of_pipe.T @ self.of_pipe))


@dataclass(frozen=True, slots=True)
class PipeShare:
    """``Noise.of_pipe`` of a long run, never written out."""

    strip: Strip
    __array_ufunc__: ClassVar[None] = None

    @property
    def T(self) -> PipeShare:  # noqa: N802
        """The same: it stands on the right of a product alone."""
        return self

    def __rmatmul__(self, gradient: Floats) -> Floats:
        return np.asarray(self.strip.seen(gradient.T)[self.strip.order.azimuth_rows].T)


@dataclass(frozen=True, slots=True)
class Scale:
    """The counter's scale: the error ``found``, its ``stated`` 1 sd, its covariance ``column``.

    ``variance`` is the column's own entry.
    """

    found: float
    stated: float
    variance: float
    column: Floats

    @property
    def looser(self) -> float:
        """The share of the stated prior's weight that is taken off: 1 - 1/v, v its component."""
        checked = max(1.0 - self.variance / self.stated**2, 0.0)
        pull = (self.found / self.stated) ** 2
        return 1.0 - 1.0 / max((_SCALE_WORTH + pull) / (_SCALE_WORTH + checked), 1.0)

    @property
    def loosened(self) -> float:
        """The variance of the scale with that prior."""
        return 1.0 / (1.0 / self.variance - self.looser / self.stated**2)

    @property
    def excess(self) -> float:
        """What of chi-square is the prior's, over and above what it is once loosened."""
        pull = self.found / self.stated
        return self.looser * pull**2 + (self.looser * pull / self.stated) ** 2 * self.loosened

    def widening(self) -> Floats:
        """Return the column (unknowns,) whose square an answer's variance grows by."""
        moved = self.found * (self.loosened / self.variance - 1.0)
        wider = math.sqrt(max(self.loosened - self.variance + moved**2, 0.0)) / self.variance
        return np.asarray(self.column * wider)


def variance_by_fit(chi_square: float, freedom: float) -> float:
    """Return how many times the stated variance is the true one, after a fit of so many readings.

    It is (W + chi-square) / (W + freedom), W what the statement is worth.
    """
    return (_WORTH + max(chi_square, 0.0)) / (_WORTH + max(freedom, 0.0))


def wider_by_fit(chi_square: float, freedom: float) -> float:
    """Return by how much the pipe's 1 sd is larger than stated, 1 at least, after such a fit.

    How little so few changes of direction tell of their variance makes a range wider by Student's t
    over the normal deviate at 95 %.
    """
    known = max(_WORTH + freedom, _LEAST_KNOWN)
    wider = math.sqrt(variance_by_fit(chi_square, freedom)) * student_95(known) / TWO_SIDED_95
    return max(wider, 1.0)


def wider_by_tails(chi_square: float, freedom: float, chance: float) -> float:
    """Return by how much the readings' 1 sd is larger than stated, 1 at least, after such a fit.

    With the probability ``chance`` their errors have tails, and are no less than those tell.
    """
    variance = max(variance_by_fit(chi_square, freedom), 1.0)
    return math.sqrt((1.0 - chance) * variance + chance * max(variance, _TAILS_WIDER**2))


def chance_of_tails(missed: Floats, redundancy: Floats, size: Floats) -> float:
    """Return how likely errors have tails, from what each reading missed (k,), whitened, squared.

    ``redundancy`` (k,) is the part of its ``size`` (k,) equations that others check; a reading that
    none check tells nothing. Student's t is compared with the normal distribution by likelihood; a
    reading of several equations has one scale for all of them.
    """
    told = redundancy >= UNCHECKED_BELOW
    square, size = missed[told] / redundancy[told], size[told]
    peaks = {each: _log_peak(each) for each in set(size.tolist())}
    higher = np.array([peaks[each] for each in size.tolist()])
    likelier = square / 2.0 - (_TAILS + size) / 2.0 * np.log1p(square / _TAILS) + higher
    log_odds = math.log(_SITES_WITH_TAILS / (1.0 - _SITES_WITH_TAILS)) + float(likelier.sum())
    return 0.5 + 0.5 * math.tanh(log_odds / 2.0)


def _log_peak(size: float) -> float:
    """Return how much higher than the normal density Student's t stands at zero, logarithms."""
    gamma = math.lgamma((_TAILS + size) / 2.0) - math.lgamma(_TAILS / 2.0)
    return gamma - size / 2.0 * math.log(_TAILS / 2.0)


def student_95(freedom: float) -> float:
    """Return the deviate that Student's t with ``freedom`` (8 or more) exceeds, either way, in 5 %.

    The expansion of Abramowitz and Stegun 26.7.5 (from memory), good to 0.001 from 8 on.
    """
    x = TWO_SIDED_95
    first = (x**3 + x) / 4.0
    second = (5.0 * x**5 + 16.0 * x**3 + 3.0 * x) / 96.0
    third = (3.0 * x**7 + 19.0 * x**5 + 17.0 * x**3 - 15.0 * x) / 384.0
    return x + first / freedom + second / freedom**2 + third / freedom**3
