"""The trench along the run, and the mapped utilities against it; metres, depths positive down."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import ArrayLike
from shapely.geometry import LineString, MultiPolygon, Polygon

from lateral_map.model.arrays import Floats, in_row, read_only
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.earthwork import corner_depth_m, trench_footprint
from lateral_map.model.site import UtilityKind
from lateral_map.model.walls import WallLine, WallShape, daylight_share, draw_wall

Area = Polygon | MultiPolygon

Passing = Literal["above", "below", "in the bedding", "at the pipe's own depth", "depth unknown"]
ConflictVerdict = Literal[
    "crosses the pipe", "within the trench", "hand dig", "hand dig if sloped", "clear"
]
UtilityRelation = Literal["crosses", "along", "beside"]


# Electromagnetic tracing: +-0.60 m in depth, taken as 95 % (terradiscovery.ca, "EM tracing").
# A depth off a record drawing is hardly better.
SD_UTILITY_DEPTH_M: Final = 0.30


@dataclass(frozen=True, slots=True)
class TrenchProfile:
    """The excavation's section, one array entry a station, at right angles to the pipe.

    ``width_m`` is the width at the bottom (and of vertical walls), ``standard_width_m`` the least
    width ASTM D2321 asks, ``top_width_m`` that of walls sloped all the way up. Areas are of the
    earth dug. ``ground_m`` and ``plan_m`` are elevation and distance run in plan. ``slope`` is that
    of sloped walls, run over rise, in the softest soil that anybody named; ``rise_left`` and
    ``rise_right`` how the ground rises outwards from above the pipe, over its run; ``rise_unseen``
    by how much steeper it may be, 95 % or, where nobody measured it, as allowed for.
    """

    footage_m: Floats
    plan_m: Floats
    easting_m: Floats
    northing_m: Floats
    ground_m: Floats
    invert_depth_m: Floats
    crown_depth_m: Floats
    bottom_depth_m: Floats
    sd_depth_m: Floats
    across_sd_m: Floats
    outside_diameter_m: Floats
    width_m: Floats
    standard_width_m: Floats
    top_width_m: Floats
    shored_area_m2: Floats
    sloped_area_m2: Floats
    slope: Floats
    rise_left: Floats
    rise_right: Floats
    rise_unseen: Floats

    @property
    def place_m(self) -> Floats:
        """Places (n, 2), easting and northing."""
        return np.stack([self.easting_m, self.northing_m], axis=-1)

    def depth_at_bound(self, sign: float) -> Floats:
        """Return the bottom's depths at their upper (+1) or lower (-1) 95 % bound."""
        return np.maximum(self.bottom_depth_m + sign * TWO_SIDED_95 * self.sd_depth_m, 0.0)

    def rises(self, sign: float) -> tuple[Floats, Floats]:
        """Return how the ground rises to the left and right, as estimated (0) or at a bound.

        What warns (+1) never counts on ground that falls away.
        """
        left, right = (
            (np.maximum(rise, 0.0) if sign > 0.0 else rise) + sign * self.rise_unseen
            for rise in (self.rise_left, self.rise_right)
        )
        return left, right

    def walls_m(self, shape: WallShape, sign: float) -> tuple[WallLine, WallLine]:
        """Return its left and right wall, as estimated (0) or at a 95 % bound (+1, -1)."""
        depth = self.depth_at_bound(sign)
        left, right = (
            draw_wall(shape, corner_depth_m(self.width_m, depth, rise), rise)
            for rise in self.rises(sign)
        )
        return left, right

    def faces_m(self, shape: WallShape, sign: float) -> tuple[Floats, Floats]:
        """Return how high its left and right wall stand, upright, to the ground."""
        left, right = self.walls_m(shape, sign)
        return left.up_m[-1], right.up_m[-1]

    def edges_m(self, shape: WallShape, sign: float) -> tuple[Floats, Floats]:
        """Return how far its left and right edge are from its middle at the ground."""
        left, right = self.walls_m(shape, sign)
        return self.width_m / 2.0 + left.out_m[-1], self.width_m / 2.0 + right.out_m[-1]

    def widest_m(self) -> Floats:
        """Return how far from its middle the farther edge of a cut at ``slope`` may be, 95 %."""
        depth, edges = self.depth_at_bound(1.0), []
        for rise in self.rises(1.0):
            corner = corner_depth_m(self.width_m, depth, rise)
            edges.append(self.slope * corner / daylight_share(self.slope, rise))
        return np.asarray(self.width_m / 2.0 + np.maximum(*edges))

    def footprint(self, shape: WallShape, sign: float) -> Area:
        """Return the ground it opens with its walls standing so."""
        return trench_footprint(
            self.place_m, self.width_m, self.depth_at_bound(sign), shape, self.rises(sign)
        )

    def at(self, footage_m: ArrayLike) -> TrenchProfile:
        """Return the profile at other footages, straight between stations."""
        return TrenchProfile(*read_only(self.columns_at(footage_m, *self.__slots__)))

    def columns_at(self, footage_m: ArrayLike, *names: str) -> Floats:
        """Return (names, k) columns of the profile at other footages, straight between stations."""
        known = self.footage_m
        at = np.clip(in_row(footage_m), known[0], known[-1])
        columns = np.array([getattr(self, name) for name in names])
        before = np.searchsorted(known, at, side="right") - 1
        after = np.minimum(before + 1, len(known) - 1)
        step = known[after] - known[before]
        slopes = (columns[:, after] - columns[:, before]) / np.where(step > 0.0, step, 1.0)
        return np.asarray(columns[:, before] + slopes * (at - known[before]))

    def between(self, from_m: float, to_m: float) -> TrenchProfile:
        """Return the stations between two footages, and one at each of them."""
        inside = (self.footage_m > from_m + 1e-6) & (self.footage_m < to_m - 1e-6)
        return self.at(np.concatenate([[from_m], self.footage_m[inside], [to_m]]))


@dataclass(frozen=True, slots=True)
class UtilityCrossing:
    """Where a utility crosses the pipe in plan; ``sd_footage_m`` is 1 sd along the pipe.

    ``clearance_m`` (1 sd ``sd_clearance_m``) is vertical, between the pipe's outside wall and the
    utility's top, None where the utility's depth is unknown. Above the pipe it counts down from the
    utility's bottom where its size is known, else from its top, so that its own height comes off.
    ``under_m`` is how far its top lies below the trench's bottom, negative where it is dug into.
    """

    footage_m: float
    sd_footage_m: float
    easting_m: float
    northing_m: float
    angle_deg: float
    passing: Passing
    clearance_m: float | None
    sd_clearance_m: float | None
    under_m: float | None


@dataclass(frozen=True)
class UtilityConflict:
    """One mapped utility against the pipe and its trench.

    ``aside_m`` is from the pipe's outside wall to the utility's edge in plan, never below 0, at
    ``nearest_footage_m``; ``side_m`` from there to the trench's side. ``size_m`` is its own
    diameter or width, None where nobody gave it: the edge is then the mapped line.
    ``hand_dig_m`` are the footages where the trench comes within the
    tolerance of it at 95 %, ``hand_dig_sloped_m`` those where a sloped cut would. ``sd_assumed`` is
    True where nobody gave its accuracy. ``joins`` is True where it is the main the lateral ends at;
    ``mapped_m`` (n, 2) is where it was mapped, ``tolerance_m`` the width each side of its edge that
    is dug by hand.

    ``relation`` says how it lies to the pipe, ``from_m`` to ``to_m`` where. ``in_trench`` is True
    where it lies within the trench's width and its depth is unknown or may be, at 95 %, no deeper
    than the trench's bottom. ``clearance_m`` (1 sd ``sd_clearance_m``) is the one figure every
    output gives: at a crossing the least vertical one, elsewhere that in space to its top, or in
    plan where its depth is unknown; None at a crossing of unknown depth.
    """

    name: str
    utility: UtilityKind
    verdict: ConflictVerdict
    crossings: tuple[UtilityCrossing, ...]
    nearest_footage_m: float
    aside_m: float
    sd_aside_m: float
    side_m: float
    size_m: float | None
    hand_dig_m: tuple[tuple[float, float], ...]
    hand_dig_sloped_m: tuple[tuple[float, float], ...]
    depth_m: float | None
    sd_plan_m: float
    sd_assumed: bool
    source: str
    joins: bool
    mapped_m: Floats
    tolerance_m: float
    relation: UtilityRelation
    from_m: float
    to_m: float
    in_trench: bool
    clearance_m: float | None
    sd_clearance_m: float | None

    @cached_property
    def zone(self) -> Area:
        """The tolerance zone about its outer edge, widened by its mapped 95 %; drawn once asked."""
        reach = (self.size_m or 0.0) / 2.0 + self.tolerance_m + TWO_SIDED_95 * self.sd_plan_m
        return cast("Area", LineString(self.mapped_m).buffer(reach))

    @property
    def depth_known(self) -> bool:
        """Whether anybody gave its depth."""
        return self.depth_m is not None

    @property
    def shallow_m(self) -> float | None:
        """How deep its top lies at its upper 95 % bound, None where nobody knows."""
        return None if self.depth_m is None else self.depth_m - TWO_SIDED_95 * SD_UTILITY_DEPTH_M

    @property
    def in_the_way(self) -> bool:
        """Whether it lies in the trench and is not the main that the run joins."""
        return self.in_trench and not self.joins

    @property
    def hidden(self) -> bool:
        """Whether it is near at a depth that nobody knows."""
        return not self.depth_known and self.verdict != "clear"
