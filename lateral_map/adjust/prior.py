"""The linear equations: what is known of the line before any tie.

Start, counter, bends and wander, and how far marks, counter readings, mapped lines and points and
ground levels may be off. All are linear in the unknowns, so their part of the normal matrix is
formed once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from lateral_map.adjust.chain import (
    Turns,
    wander_covariance,
    wander_rates,
)
from lateral_map.adjust.transmitter import sd_mark_m
from lateral_map.model.arrays import Floats
from lateral_map.model.expected import UNKNOWN_DEPTH_M
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_reading
from lateral_map.model.route import Chain, Ground, Layout, Observation
from lateral_map.model.site import Locate, Site

# 1 sd of the depth taken for granted where nobody measured the invert at the start.
UNKNOWN_DEPTH_SD_M = 0.9144


@dataclass
class LinearRows:
    """Whitened linear equations: residuals = ``observed`` - ``design`` @ unknowns."""

    size: int
    design: list[Floats] = field(default_factory=list)
    observed: list[Floats] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    count: int = 0

    def add(
        self, columns: ArrayLike, coefficients: ArrayLike, observed: ArrayLike, sd: ArrayLike
    ) -> slice:
        """Add equations ``coefficients`` (k, c) on ``columns`` (c,), each with its own sd."""
        matrix = np.atleast_2d(np.asarray(coefficients, float))
        weight = 1.0 / np.broadcast_to(np.asarray(sd, float), len(matrix))
        rows = np.zeros((len(matrix), self.size))
        rows[:, np.asarray(columns)] = matrix * weight[:, None]
        return self.add_whitened(rows, np.atleast_1d(np.asarray(observed, float)) * weight)

    def add_pseudo(self, columns: slice, sd: ArrayLike) -> slice:
        """Add one equation an unknown: it is expected to be zero, give or take its sd."""
        count = columns.stop - columns.start
        rows = np.zeros((count, self.size))
        rows[np.arange(count), np.arange(columns.start, columns.stop)] = 1.0 / np.asarray(sd)
        return self.add_whitened(rows, np.zeros(count))

    def add_whitened(self, rows: Floats, observed: Floats) -> slice:
        """Add equations already divided by their sd."""
        self.design.append(rows)
        self.observed.append(np.broadcast_to(observed, len(rows)))
        place = slice(self.count, self.count + len(rows))
        self.count += len(rows)
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

    def stacked(self) -> tuple[Floats, Floats]:
        """Return (design, observed)."""
        return np.concatenate(self.design), np.concatenate(self.observed)


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
    rows, start, at_start = LinearRows(layout.size), site.start, site.counter.zero_m
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
    full = np.zeros((len(covariance), rows.size))
    full[:, layout.line.start : layout.point.stop] = whiten
    place, at = rows.add_whitened(full, np.zeros(len(covariance))), 0
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
) -> _Changes:
    """Add the changes between neighbouring unknowns, whitened by a Cholesky factor."""
    size = len(covariance)
    lower = np.asarray(np.linalg.cholesky(covariance), np.float64)
    whiten = np.asarray(np.linalg.inv(lower), np.float64)
    difference = np.eye(size) - np.eye(size, k=-1)
    full = np.zeros((size, rows.size))
    full[:, columns] = whiten @ difference
    return _Changes(rows.add_whitened(full, whiten @ expected), whiten, lower)


def tied_locates(site: Site) -> tuple[Locate, ...]:
    """Return the locates in use that are tied in plan, by footage."""
    return tuple(locate for locate in site.used_locates() if locate.ties)
