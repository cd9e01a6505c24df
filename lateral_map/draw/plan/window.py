"""From the site's plane to the paper: turned as a strip, true to scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.draw.paint.labels import Box
from lateral_map.model.arrays import Floats

_TILTS_DEG: Final = np.arange(-60.0, 60.1, 2.0)


@dataclass(frozen=True, slots=True)
class Window:
    """From the site's plane to the paper: turned by ``turn_deg``, ``points_per_metre`` to a metre.

    ``turn_deg`` is the plane azimuth that runs to the right of the paper; ``centre_m`` comes to
    lie in the middle of ``box``.
    """

    centre_m: tuple[float, float]
    turn_deg: float
    points_per_metre: float
    box: Box

    @classmethod
    def along(
        cls, line_m: Floats, points_per_metre: float, box: Box, shown_m: Floats | None = None
    ) -> Window:
        """Return the window that lays a line through (n, 2) points along a box.

        In the middle stand the ``shown_m``, or the line itself.
        """
        shown = line_m if shown_m is None else shown_m
        turn_deg, _ = laid_along(line_m)
        axes = _axes(turn_deg)
        middle = sum(
            (axis * ((shown @ axis).min() + (shown @ axis).max()) / 2.0 for axis in axes),
            np.zeros(2),
        )
        return cls((float(middle[0]), float(middle[1])), turn_deg, points_per_metre, box)

    def to_paper(self, points_m: ArrayLike) -> Floats:
        """Return (n, 2) points on the paper of plane points in metres."""
        from_centre = np.asarray(points_m, float).reshape(-1, 2) - np.asarray(self.centre_m)
        along, up = _axes(self.turn_deg)
        x, y = self.box.middle
        grown = self.points_per_metre
        return np.stack([x + grown * from_centre @ along, y - grown * from_centre @ up], axis=-1)

    def paper_angle_deg(self, azimuth_deg: float) -> float:
        """Return how far clockwise from straight up a plane azimuth points on the paper."""
        return (azimuth_deg - self.turn_deg + 90.0) % 360.0


def laid_along(line_m: Floats) -> tuple[float, Floats]:
    """Return the plane azimuth to lay to the right, and the line's (along, across) span in m.

    A line lies along its chord, unless turning away from it saves real height.
    """
    step = line_m[-1] - line_m[0]
    if not step.any():
        return 90.0, np.zeros(2)
    chord = float(np.degrees(np.arctan2(step[0], step[1])))
    spans = [
        np.array([np.ptp(line_m @ axis) for axis in _axes(chord + tilt)]) for tilt in _TILTS_DEG
    ]
    height = np.array([span[1] for span in spans]) + 0.002 * np.ptp(line_m) * np.abs(_TILTS_DEG)
    best = int(np.argmin(np.round(height, 6)))
    return (chord + float(_TILTS_DEG[best])) % 360.0, spans[best]


def spanned(points_m: Floats, turn_deg: float) -> Floats:
    """Return how far (n, 2) points span along and across an azimuth (m)."""
    return np.array([np.ptp(points_m @ axis) for axis in _axes(turn_deg)])


def _axes(turn_deg: float) -> tuple[Floats, Floats]:
    turn = np.radians(turn_deg)
    along = np.array([np.sin(turn), np.cos(turn)])
    return along, np.array([-along[1], along[0]])
