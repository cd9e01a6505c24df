"""How much larger than stated the errors are, as far as the fit tells.

Nobody knows the accuracy of his own readings exactly: what is stated is taken to be worth as much
as ten readings' misfits. A misfit larger than the stated accuracies allow makes every answer less
sure; one smaller makes none surer. The counter's scale is one number that every footage hangs on,
so it has a component of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.route import Route

# As many readings' misfits are worth as much as the accuracies stated: of all, of the scale's one.
_WORTH: Final = 10.0
_SCALE_WORTH: Final = 0.5
_DEPTHS: Final = ("depth", "nulls", "start depth")


@dataclass(frozen=True, slots=True)
class Noise:
    """What widens a route's answers.

    An answer in plan with gradient g (unknowns,) and 1 sd s has in truth the variance
    ``factor``² (s² + (g · ``scale_column``)²), as a normal quantity with the same 95 % range.
    """

    factor: float
    scale_column: Floats

    def widen(self, sd_m: float, gradient: Floats) -> float:
        """Return what 1 sd of an answer in plan is in truth."""
        return self.factor * math.hypot(sd_m, float(gradient @ self.scale_column))


def measure_noise(route: Route) -> Noise:
    """Return how much less sure a route's answers in plan are than its stated accuracies say.

    Variance components with the stated ones as what is known beforehand, none less than 1. Of the
    scale, v = (w + e²/s²) / (w + r), e the scale found, s its stated sd, r its redundancy, w what
    the statement is worth. Of all the rest but the depths, without the scale's own excess,
    v = (W + chi-square) / (W + f), f what these equations' redundancies come to. How little so few
    readings tell of v makes a range wider by Student's t over the normal deviate at 95 %.
    """
    at = route.layout.scale
    found, stated = float(route.unknowns[at]), route.site.counter.sd_scale
    column = route.covariance[:, at]
    variance = float(column[at])
    # The prior in whitened numbers, and what is left of it where it is loosened.
    pull = (found / stated) ** 2
    checked = max(1.0 - variance / stated**2, 0.0)
    looser = 1.0 - 1.0 / max((_SCALE_WORTH + pull) / (_SCALE_WORTH + checked), 1.0)
    loosened = 1.0 / (1.0 / variance - looser / stated**2)
    moved = found * (loosened / variance - 1.0)
    wider = math.sqrt(max(loosened - variance + moved**2, 0.0)) / variance
    excess = looser * pull + (looser * found / stated**2) ** 2 * loosened

    rows = np.zeros(len(route.residuals), bool)
    for one in route.observations:
        if one.id.kind in _DEPTHS:
            rows[one.rows] = True
    design, missed = route.design[rows], route.residuals[rows]
    deep = float(rows.sum() - np.einsum("mn,mn->", design @ route.covariance, design))
    freedom = _WORTH + max(route.degrees_of_freedom - deep, 0.0)
    left = route.chi_square - excess - float(missed @ missed)
    factor = math.sqrt(max((_WORTH + left) / freedom, 1.0)) * student_95(freedom) / TWO_SIDED_95
    return Noise(factor, np.asarray(column * wider))


def student_95(freedom: float) -> float:
    """Return the deviate that Student's t with ``freedom`` (8 or more) exceeds, either way, in 5 %.

    The expansion of Abramowitz and Stegun 26.7.5 (from memory), good to 0.001 from 8 on.
    """
    x = TWO_SIDED_95
    first = (x**3 + x) / 4.0
    second = (5.0 * x**5 + 16.0 * x**3 + 3.0 * x) / 96.0
    third = (3.0 * x**7 + 19.0 * x**5 + 17.0 * x**3 - 15.0 * x) / 384.0
    return x + first / freedom + second / freedom**2 + third / freedom**3
