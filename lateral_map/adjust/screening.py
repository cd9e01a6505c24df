"""Which readings the rest of the site checks, and which it disagrees with."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lateral_map.adjust.set_aside import best_without
from lateral_map.model.arrays import Floats
from lateral_map.model.blunders import LongBlunders
from lateral_map.model.chance import chi_square_tail, deviate_beyond
from lateral_map.model.diagnosis import LIKELY, Diagnosis
from lateral_map.model.identity import ReadingId
from lateral_map.model.noise import UNCHECKED_BELOW
from lateral_map.model.readings import noted_sign, reading_value
from lateral_map.model.results import Fit, ReadingCheck, ReadingVerdict
from lateral_map.model.route import Route
from lateral_map.model.strip import Strip
from lateral_map.model.threads import one_blas_thread

# Two-sided 0.1 %: the usual rejection limit of a single standardised residual (Baarda).
SUSPECT_BEYOND = 3.29
# Below this share nothing else checks a direction of a reading.
_DIRECTION_UNCHECKED_BELOW = 0.01
# The normal deviate that 80 % power asks for beyond the test's own limit.
_POWER_80 = 0.8416
# Beyond this many sd a mistake is gross: it is told from its victims by fitting without it.
_GROSS = 8.0
_MOST_GROSS = 3


def measure_fit(route: Route) -> Fit:
    """Return the chi-square of the whole adjustment and the chance of a worse one."""
    freedom = route.degrees_of_freedom
    return Fit(
        observations=len(route.residuals),
        unknowns=route.layout.size,
        degrees_of_freedom=freedom,
        chi_square=route.chi_square,
        p_value=chi_square_tail(freedom, route.chi_square) if freedom > 0 else None,
    )


@one_blas_thread()
def check_readings(
    route: Route,
    diagnoses: tuple[Diagnosis, ...] = (),
    deciding: Floats | None = None,
    *,
    refit: bool = True,
) -> tuple[ReadingCheck, ...]:
    """Return every reading's residual, standardised residual, redundancy and verdict.

    The standardised residual tests a blunder in that reading alone: hᵀr / sqrt(hᵀRh), h the
    blunder's mark on the whitened residuals r and R their cofactor (Baarda's w for uncorrelated
    readings). A two-dimensional reading's chi-square is given as the normal deviate of equal
    probability. Readings with |w| > 3.29 are suspect; those nothing checks are unchecked. The place
    of a mapped line counts as a reading where a tie uses the line or responsibility hangs on it.

    Where a diagnosis is likely, the reading it names is the one to look at first; where it names
    none (a bend nobody noted) none is. ``deciding`` (unknowns,) is the derivative of the distance
    past the line that decides, where it is crossed. Without ``refit`` the readings to look at first
    are those of the one fit, which a gross mistake may have bent.
    """
    space = _blunder_space(route)
    likely = [one for one in diagnoses if one.probability >= LIKELY]
    first = (
        {one.slip.id for one in likely} if likely else _wrong_readings(route, space, refit=refit)
    )
    site = route.site
    used = {tie.line for one in site.locates for tie in one.ties}
    used |= {boundary.line for boundary in site.boundaries}
    # How far each whitened equation moves the distance past the line that decides.
    pull = None if deciding is None else _pulled(route, deciding)
    blunders, checks = _estimate_blunders(space), []
    for index, (one, block) in enumerate(zip(route.observations, space.blocks, strict=True)):
        if one.id.kind == "line" and one.id.of not in used:
            continue
        residual = _size(one.recover @ route.residuals[one.rows])
        redundancy = min(max(float(space.share[index]), 0.0), 1.0)
        verdict: ReadingVerdict = "unchecked"
        deviate = mistake = 0.0
        seen = moves = would_read = None
        if redundancy >= UNCHECKED_BELOW:
            deviate = float(blunders.deviate[index])
            verdict = "suspect" if deviate > SUSPECT_BEYOND else "good"
            mistake = noted_sign(site, one.id) * _size(blunders.estimate[block])
            error = blunders.least_seen[block]
            seen = math.hypot(*error)
            moves = None if pull is None else abs(float(pull[one.rows] @ (one.signature @ error)))
            read = reading_value(site, one.id)
            if read is not None:
                would_read = read - mistake * (180.0 / np.pi if one.is_angle else 1.0)
        unit = 180.0 / np.pi if one.is_angle else 1.0
        checks.append(
            ReadingCheck(
                id=one.id,
                residual=residual * unit,
                is_angle=one.is_angle,
                standardised=math.copysign(deviate, residual),
                redundancy=redundancy,
                verdict=verdict,
                set_aside_first=one.id in first,
                footage_m=one.footage_m,
                likely_error=mistake * unit,
                would_read=would_read,
                smallest_seen=None if seen is None else seen * unit,
                moves_deciding_m=moves,
            )
        )
    return _blame_marks(checks, first)


def _pulled(route: Route, deciding: Floats) -> Floats:
    """Return A C times a quantity's derivative (unknowns,)."""
    if isinstance(route.covariance, Strip):
        return route.covariance.seen(deciding)
    return np.asarray(route.design @ (route.covariance @ deciding))


def _blame_marks(
    checks: list[ReadingCheck], first: set[ReadingId] | set[ReadingId | None]
) -> tuple[ReadingCheck, ...]:
    """Return checks; a mark fixed by coordinates alone takes the blame for a slip in them."""
    if any(one.set_aside_first and one.verdict == "suspect" for one in checks):
        return tuple(checks)
    marks = {one.mark for one in first if one is not None and one.kind == "position"}
    return tuple(
        replace(one, set_aside_first=one.set_aside_first or one.id.of in marks)
        if one.id.kind == "mark"
        else one
        for one in checks
    )


def _size(values: Floats) -> float:
    """Return a scalar as it is and a pair by its length."""
    return float(values[0]) if len(values) == 1 else math.hypot(*values)


@dataclass(frozen=True)
class _BlunderSpace:
    """What a blunder in each reading would do, per unit-length signature.

    ``blocks`` are each reading's columns, one or two. The cofactor of the scores is
    HᵀRH = HᵀH - ``spread`` ``shadow``ᵀ - ``removed`` ``removed``ᵀ, with Hᵀ in ``mark``, HᵀA C, HᵀA,
    and a column for each direction that is estimated along; its diagonal is the redundancy.
    ``score`` is Hᵀr; ``unit`` is the blunder (m or rad) that makes a signature of unit length.
    """

    blocks: list[slice]
    mark: Floats
    spread: Floats
    shadow: Floats
    score: Floats
    unit: Floats
    removed: Floats

    @cached_property
    def starts(self) -> NDArray[np.intp]:
        """Each reading's first column."""
        return np.array([block.start for block in self.blocks], np.intp)

    @cached_property
    def widths(self) -> NDArray[np.intp]:
        """How many columns each reading has."""
        return np.diff(self.starts, append=len(self.score))

    @cached_property
    def redundancy(self) -> Floats:
        """The cofactor's diagonal."""
        whole = np.einsum("km,km->k", self.mark, self.mark)
        followed = np.einsum("kn,kn->k", self.spread, self.shadow)
        return np.asarray(whole - followed - np.square(self.removed).sum(axis=1))

    @cached_property
    def pairs(self) -> Floats:
        """The cofactor of each reading of two columns, (pairs, 2, 2)."""
        at = self.starts[self.widths == 2][:, None] + np.arange(2)
        taken = self.spread[at] @ self.shadow[at].transpose(0, 2, 1)
        taken += self.removed[at] @ self.removed[at].transpose(0, 2, 1)
        return np.asarray(self.mark[at] @ self.mark[at].transpose(0, 2, 1) - taken)

    def cofactor(self, block: slice) -> Floats:
        """Return one reading's columns of the cofactor, (columns, 1 or 2)."""
        taken = self.spread @ self.shadow[block].T + self.removed @ self.removed[block].T
        return np.asarray(self.mark @ self.mark[block].T - taken)

    @cached_property
    def share(self) -> Floats:
        """How much of each reading the others check, 0 to 1."""
        return np.asarray(np.add.reduceat(self.redundancy, self.starts) / self.widths)


@dataclass(frozen=True)
class _LongSpace(_BlunderSpace):
    """The same of a long run, whose cofactor is worked out column by column."""

    long: LongBlunders

    @cached_property
    def redundancy(self) -> Floats:
        """The cofactor's diagonal."""
        return np.asarray(self.long.redundancy - np.square(self.removed).sum(axis=1))

    @cached_property
    def pairs(self) -> Floats:
        """The cofactor of each reading of two columns, (pairs, 2, 2)."""
        at = self.starts[self.widths == 2][:, None] + np.arange(2)
        taken = self.removed[at] @ self.removed[at].transpose(0, 2, 1)
        return np.asarray(self.long.pairs - taken)

    def cofactor(self, block: slice) -> Floats:
        """Return one reading's columns of the cofactor, (columns, 1 or 2)."""
        return np.asarray(self.long.cofactor(block) - self.removed @ self.removed[block].T)


@dataclass(frozen=True, slots=True)
class _Blunders:
    """What the residuals say of a blunder in each reading alone.

    ``deviate`` (readings,) is the normal deviate as improbable as the reading's chi-square;
    ``estimate`` (columns,) the best estimate of a mistake, all others being right; ``least_seen``
    (columns,) the least error noticed with 80 % power, along the worst checked direction.
    """

    deviate: Floats
    estimate: Floats
    least_seen: Floats


def _blunder_space(route: Route) -> _BlunderSpace:
    if isinstance(route.covariance, Strip):
        return _long_space(route)
    every = route.blunders
    blocks = [
        slice(start, start + width)
        for start, width in zip(every.starts.tolist(), every.widths.tolist(), strict=True)
    ]
    unit = 1.0 / np.sqrt(np.einsum("km,km->k", every.mark, every.mark))
    return _BlunderSpace(
        blocks,
        mark=every.mark * unit[:, None],
        spread=every.spread * unit[:, None],
        shadow=every.shadow * unit[:, None],
        score=(every.mark @ route.residuals) * unit,
        unit=unit,
        removed=np.zeros((len(unit), 0)),
    )


def _long_space(route: Route) -> _LongSpace:
    long, nothing = route.long_blunders, np.zeros((0, 0))
    ends = (long.starts + long.widths).tolist()
    return _LongSpace(
        [slice(start, end) for start, end in zip(long.starts.tolist(), ends, strict=True)],
        mark=nothing,
        spread=nothing,
        shadow=nothing,
        score=long.project(route.residuals),
        unit=long.unit,
        removed=np.zeros((len(long.unit), 0)),
        long=long,
    )


def _modes(cofactor: Floats) -> tuple[Floats, Floats]:
    """Return the checked directions of a block: eigenvalues and eigenvectors.

    A mark tied by one offset alone is checked across the line and not along it.
    """
    if len(cofactor) == 1:
        one = cofactor[0, 0] > _DIRECTION_UNCHECKED_BELOW
        return cofactor[0, : int(one)], np.ones((1, int(one)))
    values, vectors = np.linalg.eigh(cofactor)
    kept = values > _DIRECTION_UNCHECKED_BELOW
    return values[kept], vectors[:, kept]


def _estimate_blunders(space: _BlunderSpace) -> _Blunders:
    """Return what the residuals say of a blunder in each reading, all readings' at once.

    Directions that nothing checks (``_modes``) are left out.
    """
    deviate, estimate, least = np.zeros(len(space.blocks)), *np.zeros((2, len(space.score)))
    power = SUSPECT_BEYOND + _POWER_80
    at = space.starts[space.widths == 1]
    value, score = space.redundancy[at], space.score[at]
    kept = value > _DIRECTION_UNCHECKED_BELOW
    value = np.where(kept, value, np.inf)
    deviate[space.widths == 1] = np.sqrt(np.square(score) / value)
    estimate[at], least[at] = score / value, power / np.sqrt(value)
    pairs = np.flatnonzero(space.widths == 2)
    columns = space.starts[pairs, None] + np.arange(2)
    values, vectors = np.linalg.eigh(space.pairs)
    kept = values > _DIRECTION_UNCHECKED_BELOW
    values = np.where(kept, values, np.inf)
    along = np.einsum("kij,ki->kj", vectors, space.score[columns])
    estimate[columns] = np.einsum("kij,kj->ki", vectors, along / values)
    row, worst = np.arange(len(pairs)), values.argmin(axis=1)
    least[columns] = vectors[row, :, worst] * (power / np.sqrt(values[row, worst]))[:, None]
    square = (np.square(along) / values).sum(axis=1)
    for index, statistic, freedom in zip(pairs, square.tolist(), kept.sum(axis=1), strict=True):
        deviate[index] = math.sqrt(statistic)
        if freedom == 2:
            # Held above 1e-300, so that a gross blunder's deviate stays finite.
            tail = max(chi_square_tail(2, statistic), 1e-300)
            deviate[index] = deviate_beyond(tail / 2.0)
    return _Blunders(deviate, estimate * space.unit, least * space.unit)


@dataclass(frozen=True, slots=True)
class Screened:
    """One number's standardised residual, redundancy, verdict; whether to look at it first."""

    standardised: float
    redundancy: float
    verdict: ReadingVerdict
    set_aside_first: bool


def screen_numbers(residuals: Floats, design: Floats, covariance: Floats) -> list[Screened]:
    """Return the verdict on each of a plain adjustment's equations, by the limits of a route's.

    ``residuals`` (m,) and ``design`` (m, n) are whitened, every equation a number of its own.
    """
    count = len(residuals)
    blocks = [slice(index, index + 1) for index in range(count)]
    unit, removed = np.ones(count), np.zeros((count, 0))
    space = _BlunderSpace(
        blocks, np.eye(count), design @ covariance, design, residuals, unit, removed
    )
    first, deviates = _set_aside_in_turn(space), _estimate_blunders(space).deviate
    found = []
    for index in range(count):
        redundancy = float(np.clip(space.redundancy[index], 0.0, 1.0))
        checked = redundancy >= UNCHECKED_BELOW
        deviate = math.copysign(deviates[index], residuals[index]) if checked else 0.0
        verdict: ReadingVerdict = "unchecked"
        if checked:
            verdict = "suspect" if abs(deviate) > SUSPECT_BEYOND else "good"
        found.append(Screened(deviate, redundancy, verdict, index in first))
    return found


def _wrong_readings(route: Route, space: _BlunderSpace, *, refit: bool) -> set[ReadingId]:
    """Return the readings whose loss leaves no suspect.

    Small mistakes are found among the residuals of the one fit; gross ones bend the line too far
    for that, and the line is fitted again without each suspect in turn.
    """
    wrong: set[ReadingId] = set()
    for _ in range(_MOST_GROSS if refit else 0):
        deviate = _estimate_blunders(space).deviate
        deviates = [
            (float(deviate[index]), route.observations[index].id) for index in _checked(space)
        ]
        suspects = sorted(
            (one for one in deviates if one[0] > SUSPECT_BEYOND), key=lambda one: -one[0]
        )
        if not suspects:
            return wrong
        if suspects[0][0] <= _GROSS:
            break
        found = best_without(route, [one for _, one in suspects if one not in wrong])
        if found is None:
            break
        wrong.add(found[0])
        route = found[1]
        space = _blunder_space(route)
    return wrong | {route.observations[index].id for index in _set_aside_in_turn(space)}


def _checked(space: _BlunderSpace) -> list[int]:
    """Return the readings that others check."""
    return [int(index) for index in np.flatnonzero(space.share >= UNCHECKED_BELOW)]


def _set_aside_in_turn(space: _BlunderSpace) -> set[int]:
    """Return the readings which, set aside one after the other, leave no suspect.

    One blunder makes many residuals large; only the largest is believed each time, and the rest are
    judged anew without it.
    """
    left = _checked(space)
    chosen: set[int] = set()
    while left:
        deviate = _estimate_blunders(space).deviate
        worst = max(left, key=lambda index: float(deviate[index]))
        if deviate[worst] <= SUSPECT_BEYOND:
            break
        chosen.add(worst)
        left.remove(worst)
        # From here on that reading's blunder is estimated along with everything else.
        block = space.blocks[worst]
        columns = space.cofactor(block)
        values, vectors = _modes(columns[block])
        through = columns @ vectors
        space = replace(
            space,
            removed=np.hstack([space.removed, through / np.sqrt(values)]),
            score=space.score - through @ ((vectors.T @ space.score[block]) / values),
        )
    return chosen
