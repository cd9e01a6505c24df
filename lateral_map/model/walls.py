"""How a cut's wall stands, from the bottom's edge out to the ground. Metres; slopes run over rise.

Everything is told of one wall seen along the trench: ``corner_m`` is how deep the bottom's edge
lies below the ground straight above it, ``rise`` how the ground rises outwards from there, over its
run. Layers of soil are taken to lie as the ground does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.model.arrays import Floats

LEAST_DAYLIGHT: Final = 0.25


@dataclass(frozen=True, slots=True)
class WallShape:
    """One way for a wall to stand.

    ``slopes`` are those of the soil's layers from the ground down, ``to_m`` the depths at which all
    but the lowest end. Up to ``upright_m`` above the bottom the wall is vertical, held by a box. A
    benched wall is vertical to ``first_m`` and then in steps of ``step_m``, every one of which has
    its top on the slope drawn from the bottom's edge; both are 0 for other walls.
    """

    slopes: tuple[float, ...] = (0.0,)
    to_m: tuple[float, ...] = ()
    upright_m: float = 0.0
    first_m: float = 0.0
    step_m: float = 0.0

    @property
    def flattest(self) -> float:
        """The flattest of its slopes."""
        return max(self.slopes)


class WallLine(NamedTuple):
    """A wall's corners from the bottom's edge to the ground, (n, ...) each.

    ``out_m`` from that edge outwards, ``up_m`` above the bottom, ``below_m`` under the ground.
    """

    out_m: Floats
    up_m: Floats
    below_m: Floats

    @property
    def area_m2(self) -> Floats:
        """Return the earth between the wall and the upright above the bottom's edge."""
        width = (self.out_m[:-1] + self.out_m[1:]) / 2.0
        return np.asarray((width * -np.diff(self.below_m, axis=0)).sum(axis=0))

    def area_above_m2(self, level_m: ArrayLike) -> Floats:
        """Return the same as far as it lies higher above the bottom than a level."""
        low, high = self.up_m[:-1], self.up_m[1:]
        span = np.where(high - low > 1e-12, high - low, 1.0)
        begin = np.clip(level_m, low, high)
        out = self.out_m[:-1] + (begin - low) / span * np.diff(self.out_m, axis=0)
        return np.asarray(((out + self.out_m[1:]) / 2.0 * (high - begin)).sum(axis=0))


def daylight_share(slope: ArrayLike, rise: ArrayLike) -> Floats:
    """Return an upright wall's height over that of one sloped up rising ground, 1/4 at the least.

    At the least the wall hardly comes out of the ground: that cut cannot be dug so.
    """
    return np.asarray(
        np.maximum(1.0 - np.asarray(slope, float) * np.asarray(rise, float), LEAST_DAYLIGHT)
    )


def draw_wall(shape: WallShape, corner_m: ArrayLike, rise: ArrayLike = 0.0) -> WallLine:
    """Return the corners of a wall, each as wide an array as ``corner_m`` and ``rise`` together."""
    corner, up_hill = np.broadcast_arrays(
        np.maximum(np.asarray(corner_m, float), 0.0), np.asarray(rise, float)
    )
    if shape.step_m > 0.0:
        return _draw_benches(shape, corner, up_hill)
    held = np.minimum(corner, shape.upright_m)
    line = [(np.zeros_like(corner), np.zeros_like(corner), corner)]
    line.append((line[0][0], held, corner - held))
    edges = (0.0, *shape.to_m, np.inf)
    for slope, top, foot in reversed(list(zip(shape.slopes, edges, edges[1:], strict=False))):
        out, up, below = line[-1]
        thick = np.maximum(np.minimum(below, foot) - top, 0.0)
        # Ground that rises as the wall goes out makes a layer's face the higher.
        face = thick / daylight_share(slope, up_hill)
        line.append((out + slope * face, up + face, below - thick))
    return WallLine(*(np.stack(each) for each in zip(*line, strict=True)))


def _draw_benches(shape: WallShape, corner: Floats, rise: Floats) -> WallLine:
    """Return a benched wall: no corner of the ground that is left stands over the slope."""
    (slope,) = shape.slopes
    face = corner / daylight_share(slope, rise)
    stepped = corner > shape.first_m
    up = np.where(stepped, shape.first_m, corner)
    line = [(np.zeros_like(corner), np.zeros_like(corner)), (np.zeros_like(corner), up)]
    steps = int(np.ceil(max(float(np.max(face, initial=0.0)) - shape.first_m, 0.0) / shape.step_m))
    for _ in range(steps):
        top = np.where(stepped, np.minimum(up + shape.step_m, face), up)
        out = np.where(stepped, slope * top, 0.0)
        line += [(out, up), (out, top)]
        up = top
    outs, ups = (np.stack(each) for each in zip(*line, strict=True))
    return WallLine(outs, ups, corner + rise * outs - ups)
