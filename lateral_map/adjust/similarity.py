"""Places laid onto others by shift, turn and, unless it is held, scale: least squares."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lateral_map.model.arrays import Floats

# A fit that may turn by more than this, 1 sd, is refused: its points lie too close together.
MOST_TURN_RAD = math.radians(5.0)


@dataclass(frozen=True, slots=True)
class Similarity:
    """Takes places about ``middle`` to places about ``aim``: turned clockwise, then scaled.

    ``sd_turn_rad`` is the 1 sd of the turn by the points' own accuracies, infinite for one place.
    """

    middle: Floats
    aim: Floats
    turn_rad: float
    scale: float
    sd_turn_rad: float

    @property
    def turned(self) -> Floats:
        """The (2, 2) rotation of (east, north) columns."""
        cos, sin = math.cos(self.turn_rad), math.sin(self.turn_rad)
        return np.array([[cos, sin], [-sin, cos]])

    def apply(self, places: Floats) -> Floats:
        """Return (n, 2) places laid on."""
        return np.asarray(self.scale * (places - self.middle) @ self.turned.T + self.aim)

    def undo(self, places: Floats) -> Floats:
        """Return (n, 2) places as they were before."""
        return np.asarray((places - self.aim) @ self.turned / self.scale + self.middle)


def fit_similarity(
    here: Floats, target: Floats, sd: Floats, *, scale_held: bool = False
) -> Similarity:
    """Return the similarity that lays (n, 2) places onto targets whose 1 sd an axis are ``sd``.

    Weighted least squares in closed form: the orthogonal Procrustes solution (Schönemann 1966;
    without reflection, and with scale, Umeyama 1991).
    """
    weight = 1.0 / sd**2
    weight /= weight.sum()
    middle, aim = weight @ here, weight @ target
    a, b = here - middle, target - aim
    # A clockwise turn t takes (e, n) to (e cos t + n sin t, n cos t - e sin t).
    dot = float(weight @ (a * b).sum(axis=1))
    cross = float(weight @ (a[:, 1] * b[:, 0] - a[:, 0] * b[:, 1]))
    size = float(weight @ (a**2).sum(axis=1))
    scale = math.hypot(dot, cross) / size if size > 0.0 and not scale_held else 1.0
    spread = scale**2 * float(((a**2).sum(axis=1) / sd**2).sum())
    sd_turn = 1.0 / math.sqrt(spread) if spread > 0.0 else math.inf
    return Similarity(middle, aim, math.atan2(cross, dot), scale, sd_turn)
