"""The non-linear equations: paint marks against their ties, depths against the line.

Every tie of a locate is to one paint mark: the line's position at the transmitter, moved along the
pipe by the counter's reading error, plus the mark's own two offsets.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from lateral_map.adjust.prior import LinearRows, tied_locates
from lateral_map.adjust.solve import Split
from lateral_map.adjust.transmitter import nulls_depth_m, sd_depth_m, sd_nulls_m
from lateral_map.model.arrays import Floats, Indices
from lateral_map.model.identity import ReadingId
from lateral_map.model.lines import Segments, signed_offsets
from lateral_map.model.readings import tie_reading
from lateral_map.model.route import Chain, Course, Ground, Layout, Stops
from lateral_map.model.site import (
    AlongTie,
    Locate,
    OffsetTie,
    PlanLine,
    PositionTie,
    Site,
    TapeTie,
)

_TieT = TypeVar("_TieT", PositionTie, TapeTie, AlongTie, OffsetTie)

_NOWHERE, _PAIR = -1, np.arange(2)
# A tape this short (6 in) says that the mark lies at the point, no longer on a ring round it: the
# ring is as small as the mark's own uncertainty, and its curvature would trap the solver.
_SHORT_TAPE_M = 0.1524


@dataclass(frozen=True, slots=True)
class LineTies:
    """Ties to one plan line: ``mark`` (t,) of each, what was read, and whether it is an offset."""

    segments: Segments
    shift_column: int | None
    mark: Indices
    read_m: Floats
    sd_m: Floats
    is_offset: NDArray[np.bool_]


@dataclass(frozen=True)
class Ties:
    """Every tie and depth of a site in arrays.

    ``footage_m`` (r,) is the transmitter's footage at each locate used and ``stops`` what hangs on
    it alone; ``reading_column`` (r,) its counter error's column. ``mark_row`` (m,) and
    ``mark_column`` (m,) give each tied mark's locate and first offset column. Position ties, tapes
    and depths follow, each with the mark (or, for depths, the locate) it belongs to; the ground
    there is ``depth_level_m`` (d,) with corrections weighed by ``depth_weights`` (d, knots).
    """

    footage_m: Floats
    stops: Stops
    reading_column: Indices
    mark_row: Indices
    mark_column: Indices
    position_mark: Indices
    position_m: Floats
    position_sd_m: Floats
    tape_mark: Indices
    tape_point_m: Floats
    tape_shift_column: Indices
    tape_read_m: Floats
    tape_sd_m: Floats
    lines: tuple[LineTies, ...]
    depth_row: Indices
    depth_invert_m: Floats
    depth_sd_m: Floats
    depth_level_m: Floats
    depth_weights: Floats

    @cached_property
    def parts(self) -> tuple[slice, ...]:
        """Which equations are the position ties', the tapes', each line's and the depths'."""
        on_lines = [len(group.mark) for group in self.lines]
        counts = [2 * len(self.position_mark), len(self.tape_mark), *on_lines, len(self.depth_row)]
        ends = list(itertools.accumulate(counts))
        return tuple(slice(end - count, end) for end, count in zip(ends, counts, strict=True))

    @property
    def count(self) -> int:
        """How many equations the ties and depths make."""
        return int(self.parts[-1].stop)

    @property
    def count_in_plan(self) -> int:
        """How many ties there are, a place fixed by coordinates counting once."""
        return int(self.parts[-1].start) - len(self.position_mark)

    @cached_property
    def sd(self) -> Floats:
        """The 1 sd (t, 1) of each equation."""
        sds = [np.repeat(self.position_sd_m, 2), self.tape_sd_m]
        sds += [*(group.sd_m for group in self.lines), self.depth_sd_m]
        return np.concatenate(sds)[:, None]

    @cached_property
    def shifted(self) -> tuple[Indices, Indices]:
        """The tapes (s,) from points whose mapped place is unsure, and the shifts' columns."""
        row = np.flatnonzero(self.tape_shift_column >= 0)
        return row, self.tape_shift_column[row, None] + _PAIR


def gather_ties(site: Site, chain: Chain, layout: Layout, ground: Ground, rows: LinearRows) -> Ties:
    """Return a site's ties and depths in arrays, and name each among ``rows``' observations."""
    locates, marks = site.used_locates(), tied_locates(site)
    row_of = {id(locate): index for index, locate in enumerate(locates)}
    positions = _positions_fixed(site, marks)
    tapes = [(mark, tie) for mark, tie in _gather(marks, TapeTie) if tie.distance_m > _SHORT_TAPE_M]
    points = [site.plan.point(tie.point) for _, tie in tapes]
    shifts = [layout.point_columns(one.name) for one in points]
    on_lines: list[tuple[int, OffsetTie | AlongTie]] = [
        *_gather(marks, OffsetTie),
        *_gather(marks, AlongTie),
    ]
    lines = [
        (line, [(mark, tie) for mark, tie in on_lines if tie.line == line.name])
        for line in site.plan.lines
    ]
    depths = _depths(site, locates)
    # The order in which ``evaluate_ties`` makes the equations.
    footages = [site.transmitter_footage_m(one) for one in locates]
    at_mark = [footages[row_of[id(locate)]] for locate in marks]
    named = [(one.reading, one.sd_m, at_mark[one.mark]) for one in positions]
    rows.name_each(named, rows.count, 2)
    taped: list[tuple[int, TapeTie | OffsetTie | AlongTie]] = [*tapes]
    singles = [
        (tie_reading(marks[mark], read), read.sd_m, at_mark[mark])
        for mark, read in itertools.chain(taped, *(found for _, found in lines))
    ]
    singles += [(reading, sd, footages[row]) for row, reading, _, sd in depths]
    rows.name_each(singles, rows.count + 2 * len(positions), 1)
    footage = np.array(footages, float)
    depth_row = np.array([row for row, _, _, _ in depths], np.intp)
    return Ties(
        footage_m=footage,
        stops=chain.stops(footage),
        reading_column=np.arange(layout.reading.start, layout.reading.stop),
        mark_row=np.array([row_of[id(one)] for one in marks], np.intp),
        mark_column=layout.mark.start + 2 * np.arange(len(marks)),
        position_mark=np.array([one.mark for one in positions], np.intp),
        position_m=np.array([one.place_m for one in positions], float).reshape(-1, 2),
        position_sd_m=np.array([one.sd_m for one in positions], float),
        tape_mark=np.array([mark for mark, _ in tapes], np.intp),
        tape_point_m=np.array([[p.easting_m, p.northing_m] for p in points]).reshape(-1, 2),
        tape_shift_column=np.array([_NOWHERE if s is None else s.start for s in shifts], np.intp),
        tape_read_m=np.array([tie.distance_m for _, tie in tapes], float),
        tape_sd_m=np.array([tie.sd_m for _, tie in tapes], float),
        lines=tuple(_line_ties(layout, line, found) for line, found in lines if found),
        depth_row=depth_row,
        depth_invert_m=np.array([depth for _, _, depth, _ in depths], float),
        depth_sd_m=np.array([sd for _, _, _, sd in depths], float),
        depth_level_m=ground.elevation(footage[depth_row]),
        depth_weights=ground.correction_weights(footage[depth_row]),
    )


def _gather(marks: tuple[Locate, ...], kind: type[_TieT]) -> list[tuple[int, _TieT]]:
    """Return (mark, tie) of every tie of one kind."""
    return [
        (index, tie)
        for index, locate in enumerate(marks)
        for tie in locate.ties
        if isinstance(tie, kind)
    ]


@dataclass(frozen=True, slots=True)
class _Fixed:
    """A mark fixed at a place (easting, northing, m), 1 sd an axis, by one reading."""

    mark: int
    reading: ReadingId
    place_m: tuple[float, float]
    sd_m: float


def _positions_fixed(site: Site, marks: tuple[Locate, ...]) -> list[_Fixed]:
    """Return the marks fixed by coordinates, and those taped from right beside a point."""
    fixed = [
        _Fixed(mark, tie_reading(marks[mark], tie), (tie.easting_m, tie.northing_m), tie.sd_m)
        for mark, tie in _gather(marks, PositionTie)
    ]
    for mark, tape in _gather(marks, TapeTie):
        if tape.distance_m <= _SHORT_TAPE_M:
            point = site.plan.point(tape.point)
            # A ring of radius L has the variance L²/2 along each axis.
            sd = math.sqrt(tape.sd_m**2 + point.sd_m**2 + tape.distance_m**2 / 2.0)
            reading = tie_reading(marks[mark], tape)
            fixed.append(_Fixed(mark, reading, (point.easting_m, point.northing_m), sd))
    return fixed


def _line_ties(
    layout: Layout, line: PlanLine, found: list[tuple[int, OffsetTie | AlongTie]]
) -> LineTies:
    read = [tie.offset_m if isinstance(tie, OffsetTie) else tie.along_m for _, tie in found]
    return LineTies(
        segments=line.segments,
        shift_column=layout.line_column(line.name),
        mark=np.array([mark for mark, _ in found], np.intp),
        read_m=np.array(read, float),
        sd_m=np.array([tie.sd_m for _, tie in found]),
        is_offset=np.array([isinstance(tie, OffsetTie) for _, tie in found]),
    )


def _depths(site: Site, locates: tuple[Locate, ...]) -> list[tuple[int, ReadingId, float, float]]:
    """Return (locate row, reading, invert depth, sd) of each depth read or found from nulls."""
    above, expected = site.transmitter.above_invert_m, site.expected_depths_m
    found = []
    for row, locate in enumerate(locates):
        if locate.depth_m is not None:
            read = ReadingId("depth", locate.mark, "depth")
            invert = locate.depth_m - locate.held_above_m + above
            found.append((row, read, invert, sd_depth_m(site, locate, expected[locate.mark])))
        if locate.nulls_m is not None:
            read = ReadingId("nulls", locate.mark, "nulls")
            invert = nulls_depth_m(locate.nulls_m) - locate.nulls_held_above_m + above
            found.append((row, read, invert, sd_nulls_m(site, locate, expected[locate.mark])))
    return found


def split_unknowns(ties: Ties, layout: Layout) -> Split:
    """Return each locate's own unknowns, the errors of its mark and of its counter's reading."""
    count = len(ties.footage_m)
    own = np.full((count, 3), _NOWHERE)
    own[:, 0] = ties.reading_column
    own[ties.mark_row, 1:] = ties.mark_column[:, None] + np.arange(2)
    locate = locates_of(ties)
    order = np.argsort(locate, kind="stable")
    each = np.bincount(locate, minlength=count)
    place = np.arange(len(locate)) - np.repeat(np.cumsum(each) - each, each)
    rows = np.full((count, each.max()), _NOWHERE)
    rows[locate[order], place] = order
    shared = [np.arange(layout.mark.start), np.arange(layout.reading.stop, layout.size)]
    return Split(np.concatenate(shared), own, rows)


def locates_of(ties: Ties) -> Indices:
    """Return the locate (t,) each equation is of, in the order ``evaluate_ties`` makes them in."""
    marks = [np.repeat(ties.position_mark, 2), ties.tape_mark, *(one.mark for one in ties.lines)]
    return np.concatenate([ties.mark_row[np.concatenate(marks)], ties.depth_row])


def loosen_ties(ties: Ties, slack_m: float) -> Ties:
    """Return the ties as if each were ``slack_m`` less sure, so that none traps the solver."""
    return replace(
        ties,
        position_sd_m=np.hypot(ties.position_sd_m, slack_m),
        tape_sd_m=np.hypot(ties.tape_sd_m, slack_m),
        lines=tuple(replace(one, sd_m=np.hypot(one.sd_m, slack_m)) for one in ties.lines),
    )


def evaluate_ties(ties: Ties, layout: Layout, unknowns: Floats) -> tuple[Floats, Floats]:
    """Return whitened residuals (t,) and design (t, unknowns) of every tie and depth."""
    if not ties.count:
        return np.zeros(0), np.zeros((0, layout.size))
    return equations_at(ties, unknowns, layout.ground, *_places(ties, layout, unknowns))


def equations_at(
    ties: Ties,
    unknowns: Floats,
    ground: slice,
    place: Floats,
    jacobian: Floats,
    mark: Floats,
    mark_jacobian: Floats,
) -> tuple[Floats, Floats]:
    """Return whitened residuals (t,) and design (t, unknowns) of ties and depths at given places.

    ``place`` (r, 3) are the transmitters', ``mark`` (m, 2) the marks', each with its derivatives;
    ``ground`` are the ground's corrections among the unknowns.
    """
    residuals, design = np.empty(ties.count), np.empty((ties.count, jacobian.shape[-1]))
    positions, tapes, *lines, depths = ties.parts
    if positions.stop:
        residuals[positions] = (ties.position_m - mark[ties.position_mark]).ravel()
        design[positions] = mark_jacobian[ties.position_mark].reshape(-1, jacobian.shape[-1])
    if len(ties.tape_mark):
        (row, columns), point = ties.shifted, ties.tape_point_m
        if len(row):
            point = point.copy()
            point[row] += unknowns[columns]
        away = mark[ties.tape_mark] - point
        distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
        unit = away / distance[:, None]
        residuals[tapes] = ties.tape_read_m - distance
        design[tapes] = np.einsum("tk,tkn->tn", unit, mark_jacobian[ties.tape_mark])
        if len(row):
            design[tapes][row[:, None], columns] -= unit[row]
    for group, own in zip(ties.lines, lines, strict=True):
        residuals[own], design[own] = _offsets(group, unknowns, mark, mark_jacobian)
    if len(ties.depth_row):
        surface = ties.depth_level_m + ties.depth_weights @ unknowns[ground]
        residuals[depths] = ties.depth_invert_m - (surface - place[ties.depth_row, 2])
        np.negative(jacobian[ties.depth_row, 2], out=design[depths])
        design[depths, ground] += ties.depth_weights
    design /= ties.sd
    residuals /= ties.sd[:, 0]
    return residuals, design


def curvature(ties: Ties, layout: Layout, unknowns: Floats, residuals: Floats) -> Floats:
    """Return what tapes' rings bend of half the cost's second derivatives (n, n).

    A tape with the whitened residual v bends the cost across it by -v / (sd · distance): where it
    reads far too long that outweighs all else. How directions bend the line itself is left out.
    """
    mark, jacobian = marks_of(ties, layout, unknowns)
    away, across = mark[ties.tape_mark] - ties.tape_point_m, jacobian[ties.tape_mark]
    row, columns = ties.shifted
    if len(row):
        away[row] -= unknowns[columns]
        across[row[:, None], _PAIR, columns] -= 1.0
    distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
    normal = np.stack([-away[:, 1], away[:, 0]], axis=1) / distance[:, None]
    swung = np.einsum("tk,tkn->tn", normal, across)
    bent = -residuals[ties.parts[1]] / (ties.tape_sd_m * distance)
    return np.asarray((swung.T * bent) @ swung)


def marks_of(ties: Ties, layout: Layout, unknowns: Floats) -> tuple[Floats, Floats]:
    """Return the marks' places (m, 2) and their derivatives (m, 2, unknowns)."""
    return _places(ties, layout, unknowns)[2:]


def _places(ties: Ties, layout: Layout, unknowns: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Return the transmitters' places (r, 3), the marks' (m, 2), each followed by derivatives."""
    errors = unknowns[ties.reading_column]
    place, jacobian, step = Course(unknowns, layout).travel(ties.stops, errors)
    jacobian[np.arange(len(errors)), :, ties.reading_column] = step
    mark = place[ties.mark_row, :2] + unknowns[ties.mark_column[:, None] + _PAIR]
    mark_jacobian = jacobian[ties.mark_row, :2]
    index = np.arange(len(mark))
    mark_jacobian[index, 0, ties.mark_column] = 1.0
    mark_jacobian[index, 1, ties.mark_column + 1] = 1.0
    return place, jacobian, mark, mark_jacobian


def _offsets(
    group: LineTies, unknowns: Floats, mark: Floats, jacobian: Floats
) -> tuple[Floats, Floats]:
    """Return residuals (t,) and design (t, unknowns) of the ties to one line, metres."""
    found = signed_offsets(group.segments, mark[group.mark])
    gradient = np.where(group.is_offset[:, None], found.normal, found.tangent)
    computed = np.where(group.is_offset, found.offset_m, found.along_m)
    design = np.einsum("tk,tkn->tn", gradient, jacobian[group.mark])
    if group.shift_column is not None:
        computed = computed - unknowns[group.shift_column] * group.is_offset
        design[:, group.shift_column] -= group.is_offset
    return group.read_m - computed, design
