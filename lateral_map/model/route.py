"""The chain of straight pieces, its unknowns, and the adjusted route with its joint covariance.

Every position on the line is linear in the lengths spent on the pieces, so one matrix of those
lengths gives positions and derivatives at any footages at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lateral_map.model.arrays import Floats, Indices, in_row, sparse_product
from lateral_map.model.blunders import LongBlunders
from lateral_map.model.identity import ReadingId
from lateral_map.model.lines import ON_LINE_M, signed_offsets
from lateral_map.model.noise import (
    Noise,
    PipeShare,
    Scale,
    chance_of_tails,
    wider_by_fit,
    wider_by_tails,
)
from lateral_map.model.pieces import Pieces, Places
from lateral_map.model.strip import Covariance, Strip, WideStrip

if TYPE_CHECKING:
    from lateral_map.model.site import Site


# Beyond this much doubt of the heading (5 degrees) a line swings on an arc, no longer a chord.
_ARC_RAD = math.radians(5.0)
_DRAWS = 256
# Of what a reading fixes, so much at least is taken to be fixed without it.
ALMOST_NOTHING = 1e-7
# With more locates than this the joint covariance is no matrix but a ``Strip``.
MOST_WRITTEN_OUT = 500
# From so many unknowns on, those that a quantity does not hang on are left out of its sums.
_MANY = 200
# What many questions ask of the same footages is worked out once: the last few are kept, large ones
# (half a megabyte) not.
_KEPT, _LARGEST_KEPT = 12, 60_000
_AXES = np.eye(3)
# Derivatives of so many depths along a long run are written out at a time.
_CORNERS_AT_ONCE = 95


@dataclass(frozen=True)
class Layout:
    """Where each unknown stands in the vector of unknowns.

    Order: start easting, northing, elevation (m); scale - 1; zero offset (m); azimuth of each piece
    (rad); pitch of each piece (rad, down positive); mark offsets (m, easting then northing per
    tied locate); reading errors along the pipe (m, per locate); line shifts (m, to the right of the
    line); point shifts (m, easting then northing per point); ground corrections (m, per knot).
    """

    pieces: int
    marks: int
    readings: int
    lines: tuple[str, ...]
    points: tuple[str, ...]
    knots: int

    easting: ClassVar = 0
    northing: ClassVar = 1
    elevation: ClassVar = 2
    start: ClassVar = slice(0, 3)
    scale: ClassVar = 3
    zero_offset: ClassVar = 4
    counter: ClassVar = slice(3, 5)

    @property
    def is_long(self) -> bool:
        """Say whether so much is unknown that nothing is written out as a matrix of all of it."""
        return self.readings > MOST_WRITTEN_OUT

    @cached_property
    def azimuth(self) -> slice:
        """Azimuth of each piece."""
        return slice(self.counter.stop, self.counter.stop + self.pieces)

    @cached_property
    def pitch(self) -> slice:
        """Pitch of each piece."""
        return slice(self.azimuth.stop, self.azimuth.stop + self.pieces)

    @cached_property
    def mark(self) -> slice:
        """Mark offsets, two per tied locate."""
        return slice(self.pitch.stop, self.pitch.stop + 2 * self.marks)

    @cached_property
    def reading(self) -> slice:
        """Counter-reading errors, one per locate used."""
        return slice(self.mark.stop, self.mark.stop + self.readings)

    @cached_property
    def line(self) -> slice:
        """Line shifts."""
        return slice(self.reading.stop, self.reading.stop + len(self.lines))

    @cached_property
    def point(self) -> slice:
        """Point shifts, two per point."""
        return slice(self.line.stop, self.line.stop + 2 * len(self.points))

    @cached_property
    def ground(self) -> slice:
        """Ground corrections."""
        return slice(self.point.stop, self.point.stop + self.knots)

    @cached_property
    def size(self) -> int:
        """How many unknowns there are."""
        return int(self.ground.stop)

    def line_column(self, name: str) -> int | None:
        """Return the column of a line's shift, or None where its mapped place is taken as exact."""
        return self.line.start + self.lines.index(name) if name in self.lines else None

    def point_columns(self, name: str) -> slice | None:
        """Return the columns of a point's shift, or None where its place is taken as exact."""
        if name not in self.points:
            return None
        first = self.point.start + 2 * self.points.index(name)
        return slice(first, first + 2)


@dataclass(frozen=True, slots=True)
class Stops:
    """Footages along a chain, and what of them hangs on no unknown.

    ``spent_m`` (k, pieces) is the footage spent on each piece on the way there, ``piece`` (k,) the
    piece each lies on, ``beyond_riser`` (k,) whether it lies past the riser, ``drop_m`` (k,) the
    footage gone straight down.
    """

    spent_m: Floats
    piece: NDArray[np.intp]
    beyond_riser: NDArray[np.bool_]
    drop_m: Floats


@dataclass(frozen=True, slots=True)
class Chain:
    """Where the straight pieces begin and end, in counter readings (m).

    ``zero_m`` is the reading at the start; ``riser_m`` the footage going straight down from it;
    ``nodes_m`` (pieces + 1) the readings at the ends of the pieces, the first being zero + riser.
    """

    zero_m: float
    riser_m: float
    nodes_m: Floats

    def lengths_spent(self, footage_m: ArrayLike) -> Floats:
        """Return (k, pieces): footage spent on each piece on the way to each of k footages.

        Beyond the last node the last piece goes on; in the riser nothing is spent.
        """
        footage = in_row(footage_m)[:, None]
        begin, end = self.nodes_m[:-1], self.nodes_m[1:]
        spent = np.minimum(np.maximum(footage, begin), end) - begin
        spent[:, -1] += np.maximum(footage[:, 0] - self.nodes_m[-1], 0.0)
        return np.asarray(spent)

    def piece_of(self, footage_m: ArrayLike) -> NDArray[np.intp]:
        """Return the piece each footage lies on; a node belongs to the piece that ends there."""
        return self.nodes_m[1:-1].searchsorted(in_row(footage_m), side="left")

    def stops(self, footage_m: ArrayLike) -> Stops:
        """Return what of footages along the chain hangs on no unknown."""
        footage = in_row(footage_m)
        return Stops(
            spent_m=self.lengths_spent(footage),
            piece=self.piece_of(footage),
            beyond_riser=footage > self.nodes_m[0],
            drop_m=np.minimum(np.maximum(footage - self.zero_m, 0.0), self.riser_m),
        )

    def positions(self, unknowns: Floats, layout: Layout, footage_m: ArrayLike) -> Floats:
        """Return (k, 3) easting, northing, invert elevation at k footages."""
        return Course(unknowns, layout).positions(self.stops(footage_m))

    def position_jacobian(
        self, unknowns: Floats, layout: Layout, footage_m: ArrayLike
    ) -> tuple[Floats, Floats]:
        """Return positions (k, 3) and their derivatives (k, 3, unknowns) at k footages."""
        return Course(unknowns, layout).travel(self.stops(footage_m))[:2]


class Course:
    """The way through space that unknowns describe, whatever footages are asked of it.

    ``direction`` (pieces, 3) are unit vectors east, north, up of the pieces.
    """

    def __init__(self, unknowns: Floats, layout: Layout) -> None:
        azimuth, pitch = unknowns[layout.azimuth], unknowns[layout.pitch]
        self._unknowns, self._layout = unknowns, layout
        self._scale = 1.0 + unknowns[layout.scale]
        self._sine, self._cosine = np.sin(azimuth), np.cos(azimuth)
        self._level, self._steep = np.cos(pitch), np.sin(pitch)
        self.direction = np.empty((len(azimuth), 3))
        self.direction[:, 0] = self._level * self._sine
        self.direction[:, 1] = self._level * self._cosine
        self.direction[:, 2] = -self._steep

    def positions(self, stops: Stops) -> Floats:
        """Return (k, 3) easting, northing, invert elevation at stops."""
        return self._reach(stops, None)[0]

    def travel(
        self, stops: Stops, reading_error_m: Floats | None = None
    ) -> tuple[Floats, Floats, Floats]:
        """Return positions (k, 3), their derivatives (k, 3, unknowns), and ways along (k, 3).

        ``reading_error_m`` (k,) is how much farther along its own piece each place truly lies; the
        last is a place's derivative in it.
        """
        layout, scale, direction = self._layout, self._scale, self.direction
        positions, spent, walked = self._reach(stops, reading_error_m)
        jacobian = np.zeros((len(spent), 3, layout.size))
        jacobian[:, :, layout.start] = _AXES
        jacobian[:, :, layout.scale] = walked
        jacobian[:, 2, layout.scale] -= stops.drop_m
        jacobian[:, :, layout.zero_offset] = -scale * direction[0] * stops.beyond_riser[:, None]
        scaled = scale * spent
        # Each piece's direction turned by its azimuth, and by its pitch.
        jacobian[:, 0, layout.azimuth] = scaled * direction[:, 1]
        jacobian[:, 1, layout.azimuth] = scaled * -direction[:, 0]
        jacobian[:, 0, layout.pitch] = scaled * (-self._steep * self._sine)
        jacobian[:, 1, layout.pitch] = scaled * (-self._steep * self._cosine)
        jacobian[:, 2, layout.pitch] = scaled * -self._level
        return positions, jacobian, scale * direction[stops.piece]

    def _reach(self, stops: Stops, reading_error_m: Floats | None) -> tuple[Floats, Floats, Floats]:
        """Return positions (k, 3), the footage truly spent on each piece (k, pieces), its sum."""
        spent = stops.spent_m.copy()
        # The zero offset is care taken over where the count began: it moves the whole run along its
        # first piece.
        spent[:, 0] -= self._unknowns[self._layout.zero_offset] * stops.beyond_riser
        if reading_error_m is not None:
            spent[np.arange(len(spent)), stops.piece] += reading_error_m
        # Summed in one order on every processor: BLAS has its own for ``spent @ direction``.
        walked = np.asarray(np.einsum("kp,pc->kc", spent, self.direction))
        positions = self._unknowns[self._layout.start] + self._scale * walked
        positions[:, 2] -= self._scale * stops.drop_m
        return positions, spent, walked


@dataclass(frozen=True, slots=True)
class Ground:
    """The ground along the run: piecewise linear in footage.

    ``knots_m`` and ``levels_m`` are footages and elevations; ``sd_m`` the 1 sd of each.
    ``is_level`` is True where nobody measured it and a level line stands in for it.
    ``correction_knots_m`` are the footages whose ground correction is an unknown of the
    adjustment (the start and the locates with a depth), empty where the ground is level.
    """

    knots_m: Floats
    levels_m: Floats
    sd_m: Floats
    is_level: bool
    correction_knots_m: Floats

    def elevation(self, footage_m: ArrayLike) -> Floats:
        """Return ground elevations (m) at footages, before corrections."""
        return np.asarray(np.interp(in_row(footage_m), self.knots_m, self.levels_m))

    def sd(self, footage_m: ArrayLike) -> Floats:
        """Return the 1 sd (m) of the ground at footages, before the adjustment."""
        return np.asarray(np.interp(in_row(footage_m), self.knots_m, self.sd_m))

    def corrections(self, footage_m: ArrayLike, values: Floats, *, squared: bool = False) -> Floats:
        """Return what corrections ``values`` (knots,) make at footages, each by its weight.

        By its weight ``squared`` where those are variances.
        """
        footage, knots = in_row(footage_m), self.correction_knots_m
        if len(knots) < 2:
            return np.asarray(np.zeros(len(footage)) + values.sum())
        at = np.clip(np.searchsorted(knots, footage, side="right") - 1, 0, len(knots) - 2)
        share = np.clip((footage - knots[at]) / (knots[at + 1] - knots[at]), 0.0, 1.0)
        before, after = (
            (np.square(1.0 - share), np.square(share)) if squared else (1.0 - share, share)
        )
        return np.asarray(before * values[at] + after * values[at + 1])

    def correction_weights(self, footage_m: ArrayLike) -> Floats:
        """Return (k, knots) hat-function weights of the ground corrections at footages."""
        footage, knots = in_row(footage_m), self.correction_knots_m
        if len(knots) < 2:
            return np.ones((len(footage), len(knots)))
        after = np.clip(knots.searchsorted(footage, side="right"), 1, len(knots) - 1)
        before, row = after - 1, np.arange(len(footage))
        share = (footage - knots[before]) * (1.0 / (knots[after] - knots[before]))
        share = np.minimum(np.maximum(share, 0.0), 1.0)
        weights = np.zeros((len(footage), len(knots)))
        weights[row, before], weights[row, after] = 1.0 - share, share
        return weights


@dataclass(frozen=True, slots=True)
class Observation:
    """One reading among the whitened equations.

    ``rows`` are its equations. A blunder of size b (k,) in the reading changes the whitened
    residuals there by ``signature @ b`` (rows, k); ``recover @ residuals[rows]`` (k,) gives the
    reading's own residual, reading minus route, in metres or radians. Where readings are
    uncorrelated these are 1/sd and sd; a bend shares its equations with the pipe's wander.
    ``footage_m`` is None for a mapped line or point, which has no place along the pipe.
    """

    id: ReadingId
    footage_m: float | None
    rows: slice
    signature: Floats
    recover: Floats
    is_angle: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Alternative:
    """Another solution that fits a site's readings about as well.

    ``line_m`` (nodes, 2) is its plan line at the chain's nodes; ``cost`` its chi-square; ``weight``
    its share of what all solutions together explain (likelihood times the root of its own
    covariance's determinant).
    """

    line_m: Floats
    unknowns: Floats
    covariance: Floats | Strip
    cost: float
    weight: float


class Blunders(NamedTuple):
    """What a blunder in each reading does, a row each way it could err.

    ``mark`` (rows, m) is Sᵀ, S the readings' signatures; ``shadow`` and ``spread`` (rows, unknowns)
    are SᵀA and SᵀA C, A the design and C the covariance. ``starts`` are each reading's first row
    and ``widths`` how many it has, one or two.
    """

    mark: Floats
    shadow: Floats
    spread: Floats
    starts: Indices
    widths: Indices


class Losses(NamedTuple):
    """What setting each reading aside costs.

    ``spread`` (rows, unknowns) is that of ``Blunders``. Readings that could err in as many ways
    stand together in ``alike``: which of ``ids`` (k,), their rows (k, ways), and what the others
    check of them, SᵀS - SᵀA C AᵀS (k, ways, ways).
    """

    ids: tuple[ReadingId, ...]
    spread: Floats
    alike: tuple[tuple[Indices, Indices, Floats], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Doubt:
    """What else a route's notes may mean: the line that makes, and its share of the probability.

    ``meant`` turns a footage of the notes into that line's.
    """

    weight: float
    route: Route
    meant: Callable[[float], float]

    def along(self, footage_m: Floats) -> Floats:
        """Return the line's own footages (k,), none beyond its ends."""
        last = max(self.route.site.run.end_m, float(self.route.chain.nodes_m[-1]))
        return np.clip([self.meant(float(at)) for at in footage_m], self.route.chain.zero_m, last)


@dataclass(frozen=True)
class Route:
    """An adjusted route: the best unknowns, their joint covariance, and what it rests on.

    ``residuals`` (m,) are whitened: reading minus route over 1 sd. ``design`` (m, unknowns) is the
    derivative of the whitened computed readings. Of a long run ``covariance`` is a ``Strip``, and
    ``design`` has no rows. ``alternatives`` are other solutions that fit
    about as well. ``tied_footages_m`` are the transmitter's footages at
    the locates used that were tied in plan. ``settled`` is False where no best fit was settled on.
    ``assumed_start_depth_m`` is the depth at the start, with 1 sd, where nobody measured it.
    ``tilted`` are the marks whose transmitter lay near a vertical bend, with its fall in degrees.
    ``doubts`` are what else the notes may mean: they move nothing, and widen what is told.
    """

    site: Site
    chain: Chain
    layout: Layout
    ground: Ground
    unknowns: Floats
    covariance: Floats | Strip
    residuals: Floats
    design: Floats
    observations: tuple[Observation, ...]
    alternatives: tuple[Alternative, ...]
    tied_footages_m: Floats
    iterations: int
    settled: bool = True
    assumed_start_depth_m: tuple[float, float] | None = None
    tilted: tuple[tuple[str, float], ...] = ()
    doubts: tuple[Doubt, ...] = ()

    @property
    def is_long(self) -> bool:
        """Say whether nothing is written out as a matrix of all unknowns."""
        return isinstance(self.covariance, Strip)

    @cached_property
    def chi_square(self) -> float:
        """Sum of the squared whitened residuals."""
        return float(self.residuals @ self.residuals)

    @cached_property
    def noise(self) -> Noise:
        """How much less sure answers in plan are than stated, over all that the notes may mean."""
        return self.fit_noise.mixed([(one.weight, one.route.noise) for one in self.doubts])

    @cached_property
    def fit_noise(self) -> Noise:
        """How much less sure answers in plan are than stated, where the notes hold as they stand.

        Judged by what the readings in plan miss, and apart from them by how far the pipe's azimuths
        change unlooked for; depths and the fall tell nothing of either.
        """
        at, covariance = self.layout.scale, self.covariance
        column = covariance.column(at) if isinstance(covariance, Strip) else covariance[:, at]
        stated = self.site.counter.sd_scale
        scale = Scale(float(self.unknowns[at]), stated, float(column[at]), column)
        directions, upright = self._kinds
        of_pipe: Floats | PipeShare
        if isinstance(covariance, Strip):
            checked, of_pipe = 1.0 - covariance.spread_diagonal, PipeShare(covariance)
        else:
            spread = self.spread
            checked = 1.0 - np.einsum("mn,mn->m", spread, self.design)
            of_pipe = spread[directions]
        missed = np.square(self.residuals)
        level = ~(directions | upright)
        misfit = float(missed[level].sum()) - scale.excess
        # Equations that are one reading's, or were measured together, err together.
        begin, end = np.array(
            sorted({(one.rows.start, one.rows.stop) for one in self.observations})
        ).T
        begin, end = begin[level[begin]], end[level[begin]]
        size, sums = (end - begin).astype(float), np.zeros((2, len(missed) + 1))
        np.cumsum([missed, checked], axis=1, out=sums[:, 1:])
        own = sums[:, end] - sums[:, begin]
        tails = chance_of_tails(own[0], own[1] / size, size)
        return Noise(
            readings=wider_by_tails(misfit, checked[level].sum(), tails),
            pipe=wider_by_fit(float(missed[directions].sum()), checked[directions].sum()),
            scale_column=scale.widening(),
            of_pipe=of_pipe,
        )

    @cached_property
    def _kinds(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which equations (m,) are changes of azimuth, and which tell of depths and ground."""
        layout, design = self.layout, self.design
        if isinstance(self.covariance, Strip):
            return self.covariance.kinds(layout.elevation, layout.ground)

        touched = np.count_nonzero(design, axis=1)

        def touch_nothing_but(columns: slice) -> NDArray[np.bool_]:
            return np.asarray(np.count_nonzero(design[:, columns], axis=1) == touched)

        upright = design[:, layout.elevation].astype(bool) | touch_nothing_but(layout.pitch)
        return touch_nothing_but(layout.azimuth), upright | touch_nothing_but(layout.ground)

    @cached_property
    def told_covariance(self) -> Covariance:
        """Joint covariance of the unknowns as far as they lie in plan, as sure as the fit allows.

        The fit's own is ``covariance``: depths are told by it, and readings judged.
        """
        return self.noise.widen_covariance(self.covariance)

    @cached_property
    def _fit_covariance(self) -> Covariance:
        """The same where the notes hold as they stand."""
        return self.fit_noise.widen_covariance(self.covariance)

    @cached_property
    def solutions(self) -> tuple[tuple[float, Route], ...]:
        """Every solution that fits about as well, the best first, each with its weight of 1."""
        own = 1.0 - sum(one.weight for one in self.alternatives)
        others = (
            (
                one.weight,
                replace(self, unknowns=one.unknowns, covariance=one.covariance, alternatives=()),
            )
            for one in self.alternatives
        )
        return (own, self), *others

    @cached_property
    def senses(self) -> dict[str, float]:
        """+1 for each plan line past which (seen from the start) is to its right, else -1.

        From a start on the line itself past is where the run leads to.
        """
        start = self.site.start
        place = np.array([start.easting_m, start.northing_m])
        senses = {}
        for line in self.site.plan.lines:
            off_m = float(signed_offsets(line.segments, place).offset_m)
            if abs(off_m) <= ON_LINE_M:
                run = self.chain.positions(self.unknowns, self.layout, self.chain.nodes_m)[:, :2]
                away_m = signed_offsets(line.segments, run).offset_m
                off_m = -float(away_m[np.argmax(np.abs(away_m))])
            senses[line.name] = -1.0 if off_m > 0.0 else 1.0
        return senses

    @cached_property
    def spread(self) -> Floats:
        """A C (m, unknowns): the whitened equations' covariances with the unknowns.

        Of a long run it is never asked for.
        """
        assert not isinstance(self.covariance, Strip)  # noqa: S101
        return sparse_product(self.design, self.covariance)

    @cached_property
    def blunders(self) -> Blunders:
        """What a blunder in each of the observations does."""
        widths = np.array([one.signature.shape[1] for one in self.observations], np.intp)
        starts = np.cumsum(widths) - widths
        mark = np.zeros((int(widths.sum()), len(self.residuals)))
        for start, one in zip(starts.tolist(), self.observations, strict=True):
            mark[start : start + one.signature.shape[1], one.rows] = one.signature.T
        shadow, spread = (sparse_product(mark, of) for of in (self.design, self.spread))
        return Blunders(mark, shadow, spread, starts, widths)

    @cached_property
    def losses(self) -> Losses:
        """What setting each reading aside costs; marks' and counter's own noise are no readings."""
        mark, shadow, spread, starts, widths = self.blunders
        is_reading = np.array([not one.id.is_noise for one in self.observations], bool)
        starts, widths = starts[is_reading], widths[is_reading]
        alike = []
        for width in (1, 2):
            which = np.flatnonzero(widths == width)
            block = starts[which, None] + np.arange(width)
            own = mark[block] @ mark[block].transpose(0, 2, 1)
            left = own - spread[block] @ shadow[block].transpose(0, 2, 1)
            # Where nothing else fixes what the reading fixes, its loss leaves a quantity adrift.
            # The rounded covariance tells such a rest from nothing to some 1e-8 of the whole.
            least = ALMOST_NOTHING * np.trace(own, axis1=1, axis2=2)
            left += least[:, None, None] * np.eye(width)
            alike.append((which, block, left))
        ids = tuple(one.id for one in self.observations if not one.id.is_noise)
        return Losses(ids, spread, tuple(alike))

    @cached_property
    def long_blunders(self) -> LongBlunders:
        """What a blunder in each of a long run's observations does."""
        assert isinstance(self.covariance, Strip)  # noqa: S101
        return LongBlunders(self.covariance, self.observations)

    @cached_property
    def draws(self) -> Floats | None:
        """Unknowns (256, unknowns) drawn from the joint covariance where a slope does not tell.

        With no mark tied in plan and a heading unsure by more than 5 degrees the line swings on an
        arc: how far it reaches has no first derivative in the heading. With no tie every equation
        but the depths' is linear, so that drawn lines are as likely as the readings say. Always the
        same draws, in pairs about the best. None where linear propagation holds.
        """
        heading = self.layout.azimuth.start
        if len(self.tied_footages_m) or self._variance[heading] < _ARC_RAD**2:
            return None
        random = np.random.default_rng(20)
        if isinstance(self.covariance, Strip):
            # Residuals with an sd of 1 each, followed by the line.
            rows = random.standard_normal((len(self.residuals), _DRAWS // 2))
            moved = self.covariance.back(rows).T
        else:
            half = random.standard_normal((_DRAWS // 2, self.layout.size))
            moved = half @ np.linalg.cholesky(self.covariance).T
        return np.concatenate([self.unknowns + moved, self.unknowns - moved])

    @cached_property
    def _variance(self) -> Floats:
        """The variance (n,) of each unknown."""
        covariance = self.covariance
        return covariance.diagonal() if isinstance(covariance, Strip) else np.diag(covariance)

    @cached_property
    def _drawn_ways(self) -> Floats:
        """How far (draws, pieces, 2) east and north each drawn line goes along each piece."""
        unknowns, layout = self.draws, self.layout
        assert unknowns is not None  # noqa: S101
        azimuth, level = unknowns[:, layout.azimuth], np.cos(unknowns[:, layout.pitch])
        return np.stack([level * np.sin(azimuth), level * np.cos(azimuth)], axis=-1)

    def drawn_plan(self, footage_m: ArrayLike) -> Floats:
        """Return (draws, k, 2) plan positions of the drawn lines at footages; they must exist."""
        unknowns = self.draws
        assert unknowns is not None  # noqa: S101
        footage = in_row(footage_m)
        spent, layout, direction = self.chain.lengths_spent(footage), self.layout, self._drawn_ways
        # One product of matrices for all that are drawn.
        gone = spent @ direction.transpose(1, 0, 2).reshape(spent.shape[1], -1)
        gone = gone.reshape(len(footage), len(direction), 2).transpose(1, 0, 2)
        begun = (footage > self.chain.nodes_m[0])[None, :, None]
        gone = gone - unknowns[:, layout.zero_offset, None, None] * direction[:, :1] * begun
        return np.asarray(
            unknowns[:, None, :2] + (1.0 + unknowns[:, layout.scale, None, None]) * gone
        )

    @property
    def degrees_of_freedom(self) -> int:
        """Observations, prior knowledge included, less unknowns."""
        return len(self.residuals) - self.layout.size

    @cached_property
    def course(self) -> Course:
        """The way through space of the best unknowns."""
        return Course(self.unknowns, self.layout)

    @cached_property
    def _pieces(self) -> Pieces:
        """The way through space of a long run's best unknowns."""
        return Pieces(self.chain, self.layout, self.unknowns)

    def _places(self, footage_m: ArrayLike) -> tuple[Places, Floats]:
        """Return places on a long run, and their derivatives (k, 3, g) in all that it shares."""
        assert isinstance(self.covariance, Strip)  # noqa: S101
        found = self._pieces.at(in_row(footage_m))
        common = np.zeros((*found.common.shape[:2], len(self.covariance.order.common)))
        common[:, :, : found.common.shape[2]] = found.common
        return found, common

    def positions(self, footage_m: ArrayLike) -> Floats:
        """Return (k, 3) easting, northing, invert elevation (m) at footages."""
        if self.is_long:
            return self._pieces.at(in_row(footage_m)).position
        return self.course.positions(self.chain.stops(footage_m))

    @cached_property
    def _travelled(self) -> dict[bytes, tuple[Floats, Floats]]:
        """The last positions and derivatives asked for, by their footages."""
        return {}

    def position_jacobian(self, footage_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return positions (k, 3) and their derivatives (k, 3, unknowns), not to be written to."""
        footage = in_row(footage_m)
        kept, key = self._travelled, footage.tobytes()
        found = kept.get(key)
        if found is None:
            found = self.course.travel(self.chain.stops(footage))[:2]
            for array in found:
                array.setflags(write=False)
            if found[1].size <= _LARGEST_KEPT:
                if len(kept) >= _KEPT:
                    kept.clear()
                kept[key] = found
        return found

    def position_covariance(self, footage_m: ArrayLike) -> Floats:
        """Return (k, 3, 3) covariances (m²) of easting, northing, elevation at footages."""
        if isinstance(self.covariance, Strip):
            found, common = self._places(footage_m)
            return np.asarray(self.covariance.blocks(found.piece, found.state, common))
        _, jacobian = self.position_jacobian(footage_m)
        return propagate(jacobian, self.covariance)

    def plan_covariance(self, footage_m: ArrayLike) -> Floats:
        """Return (k, 2, 2) covariances (m²) of easting and northing, as sure as the fit allows.

        With doubts they are those of the mixture about this line.
        """
        if isinstance(self.covariance, Strip):
            position, found = self._long_plan(self.covariance, footage_m)
        else:
            position, jacobian = self.position_jacobian(footage_m)
            found = propagate(jacobian[:, :2], self._fit_covariance)
        found = self._undoubted * found
        for one in self.doubts:
            at = one.along(in_row(footage_m))
            gap = (one.route.positions(at) - position)[:, :2]
            away = gap[:, :, None] * gap[:, None, :]
            found = found + one.weight * (one.route.plan_covariance(at) + away)
        return found

    def _long_plan(self, strip: Strip, footage_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return positions (k, 3) and (k, 2, 2) covariances in plan, the notes as they stand."""
        noise, (found, common) = self.fit_noise, self._places(footage_m)
        state, common = found.state[:, :2], common[:, :2]
        whole = strip.blocks(found.piece, state, common)
        at = self.layout.scale
        wider = float(noise.scale_column[at]) / self._variance[at]
        along = wider * strip.with_common(found.piece, state, common, at)
        whole = whole + along[:, :, None] * along[:, None, :]
        of_pipe = strip.of_pipe(found.piece, state, common)
        extra = noise.pipe**2 - noise.readings**2
        return found.position, noise.readings**2 * whole + extra * of_pipe

    @property
    def _undoubted(self) -> float:
        """The weight of the notes as they stand."""
        return max(1.0 - sum(one.weight for one in self.doubts), 0.0)

    def headings_deg(self, footage_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return plane azimuths of the pipe at footages and their 1 sd, in degrees."""
        column = self.layout.azimuth.start + self.chain.piece_of(footage_m)
        sd = np.sqrt(self._variance[column])
        return np.degrees(self.unknowns[column]) % 360.0, np.degrees(sd)

    def directions(self, footage_m: ArrayLike) -> Floats:
        """Return (k, 3) unit vectors east, north, up of the pipe at footages."""
        return self.course.direction[self.chain.piece_of(footage_m)]

    def depth_jacobian(self, footage_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return invert depths (k,) below ground and their derivatives (k, unknowns), in metres."""
        positions, jacobian = self.position_jacobian(footage_m)
        weights = self.ground.correction_weights(footage_m)
        derivative = -jacobian[:, 2, :]
        derivative[:, self.layout.ground] += weights
        level = self.ground.elevation(footage_m) + weights @ self.unknowns[self.layout.ground]
        return level - positions[:, 2], derivative

    def ground_elevation(self, footage_m: ArrayLike) -> Floats:
        """Return adjusted ground elevations (m) at footages; 0 where the ground is level."""
        if self.is_long:
            return self.ground.elevation(footage_m) + self.ground.corrections(
                footage_m, self.unknowns[self.layout.ground]
            )
        weights = self.ground.correction_weights(footage_m)
        return self.ground.elevation(footage_m) + weights @ self.unknowns[self.layout.ground]

    def best_depths(self, footage_m: ArrayLike) -> Floats:
        """Return invert depths (k,) below ground at footages, not how sure they are, in metres."""
        return self.ground_elevation(footage_m) - self.positions(footage_m)[:, 2]

    def depths(self, footage_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return invert depths (m) below ground at footages and their 1 sd, doubts included."""
        if isinstance(self.covariance, Strip):
            depth, variance = self.best_depths(footage_m), self._long_depth_variance(footage_m)
        else:
            depth, jacobian = self.depth_jacobian(footage_m)
            held, covariance = _held(jacobian, self.covariance)
            variance = np.einsum("kn,kn->k", held @ covariance, held)
        # Away from a measured level the ground itself is less sure than the corrections know.
        if self.layout.knots:
            known = np.square(self.ground.sd(self.ground.correction_knots_m))
            if self.is_long:
                carried = np.sqrt(self.ground.corrections(footage_m, known, squared=True))
            else:
                weights = self.ground.correction_weights(footage_m)
                carried = np.sqrt(np.square(weights) @ known)
            extra = np.square(self.ground.sd(footage_m)) - np.square(carried)
            variance = variance + np.maximum(extra, 0.0)
        variance = self._undoubted * variance
        for one in self.doubts:
            there, sd = one.route.depths(one.along(in_row(footage_m)))
            variance = variance + one.weight * (np.square(sd) + np.square(there - depth))
        return depth, np.sqrt(variance)

    def _long_depth_variance(self, footage_m: ArrayLike) -> Floats:
        """Return the variance (k,) of depths along a long run."""
        strip, footage = self.covariance, in_row(footage_m)
        assert isinstance(strip, Strip)  # noqa: S101
        if not self.layout.knots:
            found, common = self._places(footage)
            upright = slice(2, 3)
            blocks = strip.blocks(found.piece, found.state[:, upright], common[:, upright])
            return np.asarray(blocks[:, 0, 0])
        corners, own, beside = self._depth_corners
        at = np.clip(np.searchsorted(corners, footage, side="right") - 1, 0, len(beside) - 1)
        share = np.maximum((footage - corners[at]) / (corners[at + 1] - corners[at]), 0.0)
        square = np.square(1.0 - share) * own[at] + np.square(share) * own[at + 1]
        return np.asarray(square + 2.0 * share * (1.0 - share) * beside[at])

    @cached_property
    def _depth_corners(self) -> tuple[Floats, Floats, Floats]:
        """Footages (c,) between which depth, and its derivatives, are linear in the footage.

        Then depth's variance (c,) there, and its covariance (c - 1,) from each to the next.
        """
        chain, strip = self.chain, self.covariance
        ends = [chain.zero_m, np.nextafter(chain.nodes_m[0], np.inf)]
        corners = np.unique([*chain.nodes_m, *self.ground.correction_knots_m, *ends])
        own, beside = np.empty(len(corners)), np.empty(len(corners) - 1)
        for begin in range(0, len(corners) - 1, _CORNERS_AT_ONCE):
            end = begin + _CORNERS_AT_ONCE
            gradient = self.depth_jacobian(corners[begin : end + 1])[1]
            spread = gradient @ strip
            own[begin : end + 1] = np.einsum("kn,kn->k", spread, gradient)
            beside[begin:end] = np.einsum("kn,kn->k", spread[:-1], gradient[1:])
        return corners, own, beside


def propagate(jacobian: Floats, covariance: Covariance) -> Floats:
    """Return J C Jᵀ for a stack of Jacobians (k, m, n): the covariances (k, m, m)."""
    if isinstance(covariance, Strip | WideStrip):
        spread = (jacobian.reshape(-1, jacobian.shape[-1]) @ covariance).reshape(jacobian.shape)
        return np.asarray(spread @ np.swapaxes(jacobian, -1, -2))
    jacobian, covariance = _held(jacobian, covariance)
    spread = (jacobian.reshape(-1, len(covariance)) @ covariance).reshape(jacobian.shape)
    return np.asarray(spread @ np.swapaxes(jacobian, -1, -2))


def _held(jacobian: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Return derivatives (..., n) and covariance without unknowns that none hangs on."""
    if len(covariance) < _MANY:
        return jacobian, covariance
    used = np.flatnonzero(jacobian.reshape(-1, len(covariance)).any(axis=0))
    return jacobian[..., used], covariance[used[:, None], used]
