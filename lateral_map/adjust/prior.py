"""The linear equations: what is known of the line before any tie.

Start, counter, bends and wander, and how far marks, counter readings, mapped lines and points and
ground levels may be off. All are linear in the unknowns, so their part of the normal matrix is
formed once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.adjust.chain import (
    Turns,
    wander_covariance,
    wander_rates,
)
from lateral_map.adjust.solve import Linear, Root, Split, gram_matrix
from lateral_map.adjust.transmitter import sd_mark_m
from lateral_map.model.arrays import Floats, Indices
from lateral_map.model.expected import UNKNOWN_DEPTH_M
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_reading
from lateral_map.model.route import Chain, Ground, Layout, Observation
from lateral_map.model.site import Locate, Site

# 1 sd of the depth taken for granted where nobody measured the invert at the start.
UNKNOWN_DEPTH_SD_M = 0.9144


@dataclass(frozen=True, slots=True)
class Block:
    """Whitened equations in a few of the unknowns: ``design`` (k, c) on ``columns`` (c,).

    Of one unknown each, ``design`` (k,) is the diagonal alone. The first k are those that these
    equations tell of and no others do, ``root`` (k, k) or (k,) being that part's inverse; any
    others' errors they follow.
    """

    rows: slice
    columns: Indices
    design: Floats
    root: Floats
    observed: Floats


@dataclass(frozen=True, slots=True)
class Walk:
    """The wander of a long run's azimuths or pitches: every change, from piece to piece.

    The changes' covariance is tridiagonal, so that its Cholesky factor has two diagonals, ``main``
    (k,) and ``below`` (k - 1,): each is that many times a step of wander and the one before it.
    """

    rows: slice
    columns: slice
    main: Floats
    below: Floats
    expected: Floats

    def steps(self, changes: Floats) -> Floats:
        """Return the steps of wander (k,), each with an sd of 1, that make such changes."""
        found, before = np.empty(len(changes)), 0.0
        shares = zip(changes.tolist(), self.main.tolist(), [0.0, *self.below.tolist()], strict=True)
        for index, (change, own, carried) in enumerate(shares):
            found[index] = before = (change - carried * before) / own
        return found

    def missed(self, directions: Floats) -> Floats:
        """Return the whitened residuals (k,) of directions along the run."""
        return self.steps(self.expected - np.diff(directions, prepend=0.0))

    def reading(self, reading: ReadingId, index: int, footage_m: float) -> Observation:
        """Name one change as a reading."""
        mark, recover = np.zeros((2, len(self.main)))
        # Each step makes up for what the one before it carried on.
        carried = -self.below[index:] / self.main[index + 1 :]
        mark[index:] = np.cumprod([1.0 / self.main[index], *carried])
        recover[index] = self.main[index]
        if index:
            recover[index - 1] = self.below[index - 1]
        return Observation(
            id=reading,
            footage_m=footage_m,
            rows=self.rows,
            signature=mark[:, None],
            recover=recover[None, :],
            is_angle=True,
        )


@dataclass
class LinearRows:
    """Whitened linear equations: residuals = ``observed`` - design @ unknowns.

    ``is_long`` where the directions' equations are kept as ``walks``, apart from ``blocks``.
    """

    size: int
    is_long: bool = False
    blocks: list[Block] = field(default_factory=list)
    walks: list[Walk] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    count: int = 0

    def add(
        self, columns: ArrayLike, coefficients: ArrayLike, observed: ArrayLike, sd: ArrayLike
    ) -> slice:
        """Add equations ``coefficients`` (k, c) on ``columns`` (c,), each with its own sd.

        The first k coefficients are one for an equation's own unknown and else nothing.
        """
        matrix = np.atleast_2d(np.asarray(coefficients, float))
        root = np.diag(np.broadcast_to(np.asarray(sd, float), len(matrix)))
        weight = 1.0 / np.diag(root)
        whitened = np.atleast_1d(np.asarray(observed, float)) * weight
        return self.add_whitened(np.asarray(columns), matrix * weight[:, None], root, whitened)

    def add_pseudo(self, columns: slice, sd: ArrayLike) -> slice:
        """Add one equation an unknown: it is expected to be zero, give or take its sd."""
        count = columns.stop - columns.start
        root = np.broadcast_to(np.asarray(sd, float), count)
        return self.add_whitened(np.r_[columns], 1.0 / root, root, np.zeros(count))

    def add_whitened(
        self, columns: Indices, design: Floats, root: Floats, observed: Floats
    ) -> slice:
        """Add equations already divided by their sd."""
        place = self.take(len(design))
        observed = np.broadcast_to(observed, len(design))
        self.blocks.append(Block(place, columns, design, root, observed))
        return place

    def take(self, count: int) -> slice:
        """Return the places of so many more equations."""
        place = slice(self.count, self.count + count)
        self.count += count
        return place

    def add_errors(
        self, columns: slice, errors: Sequence[tuple[ReadingId, float, float | None]], width: int
    ) -> None:
        """Expect each (reading, 1 sd, footage)'s ``width`` unknown errors to be zero; name them."""
        at = self.add_pseudo(columns, np.repeat([sd for _, sd, _ in errors], width)).start
        self.name_each(errors, at, width)

    def name_each(
        self, readings: Sequence[tuple[ReadingId, float, float | None]], at: int, width: int
    ) -> None:
        """Say that from ``at`` on each (reading, 1 sd, footage) has ``width`` rows, to check it."""
        sds = np.array([sd for _, sd, _ in readings], float)[:, None, None]
        unit = np.eye(width)
        for (reading, _, footage_m), sign, recover in zip(
            readings, unit / sds, unit * sds, strict=True
        ):
            rows = slice(at, at := at + width)
            self.observations.append(Observation(reading, footage_m, rows, sign, recover))

    def name(self, reading: ReadingId, rows: slice, sd: float, footage_m: float | None) -> None:
        """Say that ``rows`` are one reading with 1 sd ``sd``, so that it can be checked."""
        self.name_each([(reading, sd, footage_m)], rows.start, rows.stop - rows.start)

    def turned(self, azimuth: slice, turn_rad: float) -> LinearRows:
        """Return the equations with the first azimuth expected turned, and all others with it."""
        blocks = [
            # What each equation says of all azimuths together.
            replace(one, observed=one.observed + one.design.sum(axis=1) * turn_rad)
            if one.design.ndim > 1 and azimuth.start in one.columns
            else one
            for one in self.blocks
        ]
        unit = np.zeros(azimuth.stop - azimuth.start)
        unit[0] = turn_rad
        walks = [
            replace(one, expected=one.expected + unit) if one.columns == azimuth else one
            for one in self.walks
        ]
        return replace(self, blocks=blocks, walks=walks)

    @property
    def observed(self) -> Floats:
        """What each equation (q,) observed, whitened."""
        return np.concatenate([one.observed for one in self.blocks])

    def linear(self, split: Split | None) -> Linear:
        """Return what never changes of the equations; ``split`` as there."""
        design = np.zeros((self.count, self.size))
        normal = np.zeros((self.size, self.size))
        for one in self.blocks:
            if one.design.ndim == 1:
                design[np.r_[one.rows], one.columns] = one.design
                normal[one.columns, one.columns] += np.square(one.design)
            else:
                design[one.rows, one.columns] = one.design
                normal[one.columns[:, None], one.columns] += gram_matrix(one.design)
        return Linear(design, normal, split, self._root() if split is None else None)

    def _root(self) -> Root:
        """Return the inverse of the design."""
        single = [one for one in self.blocks if one.design.ndim == 1]
        square, links = [], []
        for one in self.blocks:
            if one.design.ndim > 1:
                own, others = np.split(one.columns, [len(one.design)])
                square.append((own, one.rows, one.root))
                if len(others):
                    links.append((own, others, -one.root @ one.design[:, len(own) :]))
        return Root(
            row=np.concatenate([np.r_[one.rows] for one in single]),
            column=np.concatenate([one.columns for one in single]),
            scale=np.concatenate([one.root for one in single]),
            square=tuple(square),
            links=tuple(links),
        )


def prior_rows(
    site: Site,
    chain: Chain,
    layout: Layout,
    ground: Ground,
    turns: Turns,
    first_azimuth: tuple[float, float],
) -> LinearRows:
    """Return the linear equations of a site.

    ``first_azimuth`` is the expected azimuth at the start and its 1 sd, radians.
    """
    rows, start, at_start = LinearRows(layout.size, layout.is_long), site.start, site.counter.zero_m
    columns, coefficients = [layout.easting, layout.northing], np.eye(2)
    shift = layout.point_columns(start.point) if start.point else None
    if shift is not None:
        columns += [shift.start, shift.start + 1]
        coefficients = np.hstack([coefficients, -coefficients])
    at = rows.add(columns, coefficients, [start.easting_m, start.northing_m], start.sd_m)
    rows.name(ReadingId("start position"), at, start.sd_m, at_start)
    level = float(ground.elevation(at_start)[0])
    known = start.depth_m is not None
    depth = start.depth_m if start.depth_m is not None else UNKNOWN_DEPTH_M
    sd = start.sd_depth_m if known else UNKNOWN_DEPTH_SD_M
    knots = np.arange(layout.ground.start, layout.ground.stop)
    weights = ground.correction_weights(at_start)[0]
    at = rows.add([layout.elevation, *knots], [1.0, *(-weights)], level - depth, sd)
    if known:
        rows.name(ReadingId("start depth"), at, sd, at_start)
    rows.add_pseudo(layout.counter, [site.counter.sd_scale, site.counter.sd_zero_m])
    _direction_rows(site, chain, layout, turns, first_azimuth, rows)
    expected = site.expected_depths_m
    marks = [
        (
            ReadingId("mark", one.mark, "mark"),
            sd_mark_m(site, one, expected[one.mark]),
            site.transmitter_footage_m(one),
        )
        for one in tied_locates(site)
    ]
    rows.add_errors(layout.mark, marks, 2)
    sd_reading = site.counter.sd_reading_m
    footages = [
        (ReadingId("footage", one.mark, "footage"), sd_reading, site.transmitter_footage_m(one))
        for one in site.used_locates()
    ]
    rows.add_errors(layout.reading, footages, 1)
    _map_rows(site, layout, rows)
    rows.add_pseudo(layout.ground, ground.sd(ground.correction_knots_m))
    return rows


def _map_rows(site: Site, layout: Layout, rows: LinearRows) -> None:
    """A map is a reading like another: its lines and points may be off by their accuracy.

    Those of a sketch were measured from one another and are off together.
    """
    plan, sketch = site.plan, site.plan.sketch
    lines = [(ReadingId("line", name), plan.line(name).sd_m) for name in layout.lines]
    points = [(ReadingId("point", name), plan.point(name).sd_m) for name in layout.points]
    if sketch is None:
        rows.add_errors(layout.line, [(one, sd, None) for one, sd in lines], 1)
        rows.add_errors(layout.point, [(one, sd, None) for one, sd in points], 2)
        return
    covariance = sketch.shift_covariance(layout.lines, layout.points)
    variance = np.square([sd for _, sd in lines] + [sd for _, sd in points for _ in range(2)])
    # One that the sketch does not hold, or that was set aside since, is off on its own. A point's
    # stated accuracy is the mean of its two axes.
    held = np.diag(covariance).copy()
    pairs = held[len(lines) :].reshape(-1, 2)
    pairs[:] = pairs.mean(axis=1, keepdims=True)
    covariance += np.diag(np.maximum(variance - held, 0.0) * (variance > held * (1.0 + 1e-6)))
    if not len(covariance):
        return
    lower = np.asarray(np.linalg.cholesky(covariance), np.float64)
    whiten = np.asarray(np.linalg.inv(lower), np.float64)
    columns = np.arange(layout.line.start, layout.point.stop)
    place, at = rows.add_whitened(columns, whiten, lower, np.zeros(len(covariance))), 0
    for reading, _ in [*lines, *points]:
        of = slice(at, at + (1 if reading.kind == "line" else 2))
        rows.observations.append(Observation(reading, None, place, whiten[:, of], lower[of, :]))
        at = of.stop


def _direction_rows(
    site: Site,
    chain: Chain,
    layout: Layout,
    turns: Turns,
    first: tuple[float, float],
    rows: LinearRows,
) -> None:
    """Azimuth and pitch of the first piece, and their changes from piece to piece."""
    lengths = np.diff(chain.nodes_m)
    inner = np.arange(1, len(lengths))
    covariance = wander_covariance(lengths, wander_rates(site, chain))
    covariance[0, 0] += first[1] ** 2
    covariance[inner, inner] += turns.turn_variance
    expected = np.concatenate([[first[0]], turns.turn])
    changes = _add_changes(rows, layout.azimuth, covariance, expected)
    if site.start.azimuth_deg is not None:
        azimuth = changes.reading(ReadingId("start azimuth"), 0, site.counter.zero_m)
        rows.observations.append(azimuth)
    for node, bend in turns.bends:
        if bend.turn_deg:
            turn = bend_reading(site, bend, "turn")
            rows.observations.append(changes.reading(turn, node + 1, bend.footage_m))
    rates = np.full(len(lengths), np.radians(site.accuracy.fall_wander_deg))
    covariance = wander_covariance(lengths, rates)
    covariance[0, 0] += site.accuracy.sd_fall**2
    covariance[inner, inner] += turns.fall_variance
    expected = np.concatenate([[np.arctan(site.accuracy.fall)], turns.fall])
    changes = _add_changes(rows, layout.pitch, covariance, expected)
    for node, bend in turns.bends:
        if bend.fall_deg:
            fall = bend_reading(site, bend, "fall")
            rows.observations.append(changes.reading(fall, node + 1, bend.footage_m))


@dataclass(frozen=True, slots=True)
class _Changes:
    """The correlated changes of direction along the chain, as whitened equations."""

    rows: slice
    whiten: Floats
    lower: Floats

    def reading(self, reading: ReadingId, index: int, footage_m: float) -> Observation:
        """Name one change as a reading."""
        return Observation(
            id=reading,
            footage_m=footage_m,
            rows=self.rows,
            signature=self.whiten[:, [index]],
            recover=self.lower[[index], :],
            is_angle=True,
        )


def _add_changes(
    rows: LinearRows, columns: slice, covariance: Floats, expected: Floats
) -> _Changes | Walk:
    """Add the changes between neighbouring unknowns, whitened by a Cholesky factor."""
    if rows.is_long:
        main, below = lower_of_tridiagonal(np.diag(covariance), np.diag(covariance, -1))
        walk = Walk(rows.take(len(expected)), columns, main, below, expected)
        rows.walks.append(walk)
        return walk
    size = len(covariance)
    lower = np.asarray(np.linalg.cholesky(covariance), np.float64)
    whiten = np.asarray(np.linalg.inv(lower), np.float64)
    difference = np.eye(size) - np.eye(size, k=-1)
    # Directions are the sums of their changes.
    root = np.cumsum(lower, axis=0)
    place = rows.add_whitened(np.r_[columns], whiten @ difference, root, whiten @ expected)
    return _Changes(place, whiten, lower)


def lower_of_tridiagonal(diagonal: Floats, beside: Floats) -> tuple[Floats, Floats]:
    """Return the two diagonals of a tridiagonal matrix's Cholesky factor."""
    main, below = [math.sqrt(diagonal[0])], list[float]()
    for own, shared in zip(diagonal[1:].tolist(), beside.tolist(), strict=True):
        below.append(shared / main[-1])
        main.append(math.sqrt(own - below[-1] ** 2))
    return np.array(main), np.array(below)


def tied_locates(site: Site) -> tuple[Locate, ...]:
    """Return the locates in use that are tied in plan, by footage."""
    return tuple(locate for locate in site.used_locates() if locate.ties)
