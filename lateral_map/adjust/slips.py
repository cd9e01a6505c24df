"""Every slip that field notes may hold, as a hypothesis with its mark on the equations.

A slip of size s (one or two numbers) changes the whitened residuals by ``columns @ s``: exactly for
a misread value or angle, to first order for what moves the pipe under its ties. One mark may have
several causes: a tape may be misread, read in another unit, or pulled from another point.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats
from lateral_map.model.diagnosis import Slip, SlipName
from lateral_map.model.identity import ReadingId
from lateral_map.model.readings import bend_of, bend_reading, noted_sign, reading_value, tie_of
from lateral_map.model.route import Chain, Course, Layout, Observation
from lateral_map.model.site import Site, Unit
from lateral_map.units import from_metres, to_metres

_FOOT = to_metres(1.0, "ft")
_FITTINGS_DEG = (11.25, 22.5, 45.0, 60.0, 72.0, 90.0)
# A bend passes unnoted the oftener the slighter it is: one here as often as it stands here.
_PASSED_DEG = (11.25, 11.25, *4 * (22.5,), *4 * (45.0,), 60.0, 72.0, 90.0)
_TIE_KINDS = ("position", "tape", "along", "offset", "depth", "nulls")
# No fitting of a lateral turns farther: a bend nobody noted is no hairpin.
_SHARPEST_RAD = math.radians(110.0)
# Nobody holds a locator higher, and no cleanout's riser is longer.
_HIGHEST_HELD_M, _LONGEST_RISER_M = to_metres(6.0, "ft"), to_metres(15.0, "ft")


@dataclass(frozen=True, slots=True)
class Cause:
    """What may have made a mark on the equations.

    ``rate`` is how often such a slip is made: for each reading it may befall, or on a site.
    ``usual`` is how large it usually is where it may be of any size (metres, radians, share), 0
    where only ``sizes`` are possible: those of a value meant in another unit, of digits changed
    about, of another fitting. ``most`` is the largest that makes sense, ``positive`` says that only
    sizes above zero do.
    """

    slip: SlipName
    rate: float
    usual: float = 0.0
    sizes: tuple[float, ...] = ()
    point: str = ""
    at_foot: bool = False
    positive: bool = False
    most: float = math.inf


# How often each slip is made and how large it usually is, per reading or per site. Judgement, no
# source: docs/mathematics.md.
_MISREAD: dict[str, Cause] = {
    "footage": Cause("footage misread", 0.004, 4.0 * _FOOT),
    "depth": Cause("depth misread", 0.004, 3.0 * _FOOT),
    "nulls": Cause("depth misread", 0.004, 3.0 * _FOOT),
    "start depth": Cause("depth misread", 0.004, 3.0 * _FOOT),
    "tape": Cause("tape misread", 0.004, 4.0 * _FOOT),
    "along": Cause("offset misread", 0.004, 4.0 * _FOOT),
    "offset": Cause("offset misread", 0.004, 4.0 * _FOOT),
    "position": Cause("position misread", 0.001, 10.0 * _FOOT),
    "mark": Cause("position misread", 0.0005, 10.0 * _FOOT),
    "line": Cause("line mapped elsewhere", 0.01, 3.0 * _FOOT),
    "point": Cause("point mapped elsewhere", 0.001, 3.0 * _FOOT),
    "start position": Cause("start elsewhere", 0.006, 4.0 * _FOOT),
    "start azimuth": Cause("azimuth", 0.01, 0.8),
    "turn": Cause("bend angle", 0.01, 0.5),
    "fall": Cause("bend angle", 0.01, 0.5),
}
_HELD = Cause("held above left out", 0.003, 2.0 * _FOOT, positive=True, most=_HIGHEST_HELD_M)
_ALL_HELD = Cause("held above left out", 0.01, 2.0 * _FOOT, positive=True, most=_HIGHEST_HELD_M)
_SHIFTED = Cause("positions shifted together", 0.01, 5.0 * _FOOT)
_NOT_AT_ZERO = Cause("counter not at zero", 0.01, 3.0 * _FOOT)
_SLIPPED = Cause("counter slipped", 0.01, 4.0 * _FOOT)
_SCALE = Cause("counter scale", 0.003, 0.04)
_RISER = Cause("riser left out", 0.01, 4.0 * _FOOT, positive=True, most=_LONGEST_RISER_M)
# Whose depth was measured at the riser's foot cannot be told from a count begun elsewhere.
_RISER_AT_FOOT = Cause(
    "riser left out", 0.001, 4.0 * _FOOT, at_foot=True, positive=True, most=_LONGEST_RISER_M
)
_MISPLACED = Cause("bend misplaced", 0.01, 5.0 * _FOOT)
# Two tapes of one mark, each on the other's point.
SWAPPED = 0.002
_TWICE, _ANOTHER_POINT, _ANOTHER_UNIT, _OTHER_WAY, _NOT_NOTED = 0.01, 0.003, 0.002, 0.01, 0.02


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A mark (m, k) that slips would leave on the whitened residuals, a unit of size each.

    ``is_exact`` is False where the mark is that of a move of the pipe and changes with the line.
    ``group`` is what neighbouring places of one slip share, empty for others.
    """

    columns: Floats
    causes: tuple[Cause, ...]
    id: ReadingId | None = None
    footage_m: float | None = None
    is_exact: bool = True
    group: str = ""

    def named(self, cause: Cause, size: Floats) -> Slip:
        """Return the slip with a size in metres, radians or share."""
        found = tuple(float(one) for one in size)
        slip = Slip(cause.slip, found, self.id, self.footage_m, cause.point, cause.at_foot)
        if slip.measure != "angle":
            return slip
        turned = tuple((math.degrees(one) + 180.0) % 360.0 - 180.0 for one in found)
        return Slip(cause.slip, turned, self.id, self.footage_m)


@dataclass(frozen=True)
class Equations:
    """What a line's whitened equations are of: ``design`` (m, n) at its unknowns (n,)."""

    site: Site
    chain: Chain
    layout: Layout
    observations: Sequence[Observation]
    unknowns: Floats
    design: Floats


@dataclass(frozen=True)
class _Tied:
    """The tie and depth equations: their rows, the footage and locate of each."""

    rows: NDArray[np.intp]
    footage_m: Floats
    mark: list[str]


def list_hypotheses(of: Equations) -> list[Hypothesis]:
    """Return every slip that a site's notes may hold."""
    found = [*_of_readings(of.site, of.observations, len(of.design))]
    found += _of_several(of.site, of.observations, len(of.design))
    return [one for one in found if one.causes and one.columns.any()] + list_moves(of)


def list_moves(of: Equations) -> list[Hypothesis]:
    """Return the slips of ``list_hypotheses`` that sit on the run, not in the value of a tie."""
    found: list[Hypothesis] = []
    named = [one for one in of.observations if one.id.kind in _TIE_KINDS]
    if named:
        width = [one.rows.stop - one.rows.start for one in named]
        tied = _Tied(
            rows=np.concatenate([np.arange(one.rows.start, one.rows.stop) for one in named]),
            footage_m=np.repeat([one.footage_m or 0.0 for one in named], width),
            mark=[one.id.of for one, count in zip(named, width, strict=True) for _ in range(count)],
        )
        found += _of_moves(of, tied)
    return [one for one in found if one.causes and one.columns.any()]


def _of_moves(of: Equations, tied: _Tied) -> Iterator[Hypothesis]:
    """Return the slips that move the pipe under its ties: of footages, the counter, bends."""
    site, layout, chain, design = of.site, of.layout, of.chain, of.design
    direction = Course(of.unknowns, layout).direction
    place, ahead, down = design[tied.rows, :3], direction[0], np.array([0.0, 0.0, -1.0])

    def moved(at: NDArray[np.bool_] | slice, move: Floats) -> Floats:
        """Return the mark of the places ``at`` lying off by ``move`` (3,) a unit of size."""
        column = np.zeros((len(design), 1))
        column[tied.rows[at], 0] = place[at] @ move
        return column

    everywhere = slice(None)
    mark_of = np.array(tied.mark)
    for locate in site.used_locates():
        piece = int(chain.piece_of(site.transmitter_footage_m(locate))[0])
        misread = _with_sizes(_MISREAD["footage"], locate.footage_m, site.unit)
        columns = moved(mark_of == locate.mark, -direction[piece])
        reading = ReadingId("footage", locate.mark, "footage")
        # The counter keeps to one unit.
        yield Hypothesis(columns, (misread,), reading, locate.footage_m, is_exact=False)
    along = moved(everywhere, -ahead)
    scale = np.zeros((len(design), 1))
    scale[tied.rows, 0] = -design[tied.rows, layout.scale]
    yield Hypothesis(scale, (_SCALE,), is_exact=False)
    riser = site.start.riser_m
    if riser == 0.0:
        foot = (_RISER_AT_FOOT,) if site.start.depth_m is not None else ()
        yield Hypothesis(along, (_NOT_AT_ZERO, *foot), is_exact=False)
        yield Hypothesis(moved(everywhere, down - ahead), (_RISER,), is_exact=False)
    else:
        yield Hypothesis(along, (_NOT_AT_ZERO,), is_exact=False)
        for at_foot, move in ((False, ahead - down), (True, -down)):
            twice = Cause("riser counted twice", _TWICE, sizes=(riser,), at_foot=at_foot)
            yield Hypothesis(moved(everywhere, move), (twice,), is_exact=False)
    yield from _at_places(of, tied, direction)


def _at_places(of: Equations, tied: _Tied, direction: Floats) -> Iterator[Hypothesis]:
    """Return the slips that sit at a place along the run."""
    site, layout, chain, design = of.site, of.layout, of.chain, of.design
    place = design[tied.rows, :3]
    nodes, last = chain.nodes_m[1:-1], float(tied.footage_m.max())
    inner = np.flatnonzero(nodes < last - 1e-6)
    linear = slice(0, int(tied.rows.min()))
    # A bend between pieces turns every later one: the sum of their columns.
    turning = np.cumsum(design[linear, layout.azimuth][:, ::-1], axis=1)[:, ::-1]
    # The marks of every node at once: of all places beyond it lying off along its piece, and of a
    # bend at it.
    slips, unnoted = np.zeros((2, len(design), len(inner)))
    slips[tied.rows] = (tied.footage_m[:, None] > nodes[inner]) * (place @ -direction[inner + 1].T)
    unnoted[linear] = -turning[:, inner + 1]
    noted = np.array([bend.footage_m for bend in site.bends])
    bare = np.all(np.abs(noted[:, None] - nodes[inner]) > _FOOT, axis=0, keepdims=True)[0]
    fittings = tuple(math.radians(sign * one) for one in _PASSED_DEG for sign in (1, -1))
    share = 1.0 / max(len(inner), 1)
    slipped = (Cause(_SLIPPED.slip, _SLIPPED.rate * share, _SLIPPED.usual),)
    bent = (Cause("bend not noted", _NOT_NOTED * share, 0.6, fittings, most=_SHARPEST_RAD),)
    behind = site.transmitter.behind_lens_m
    for index, node in enumerate(nodes[inner].tolist()):
        at = slice(index, index + 1)
        # The counter reads at the lens, which is that far ahead when the transmitter is at a node.
        yield Hypothesis(
            slips[:, at], slipped, None, node + behind, is_exact=False, group="counter slipped"
        )
        if bare[index]:
            yield Hypothesis(unnoted[:, at], bent, None, node, group="bend not noted")
    for bend in site.bends:
        near = np.flatnonzero(np.abs(nodes - bend.footage_m) < 1e-6)
        if len(near):
            turned = direction[near[0] + 1] - direction[near[0]]
            reading = bend_reading(site, bend, "turn" if bend.turn_deg else "fall")
            # Noted late, or early, by as much as is usual: what lies between is moved in part. To
            # first order a bend beyond the last tie would move nothing, wherever it truly is.
            for begin in (bend.footage_m - _MISPLACED.usual, bend.footage_m):
                reached = np.clip((tied.footage_m - begin) / _MISPLACED.usual, 0.0, 1.0)
                column = np.zeros((len(design), 1))
                column[tied.rows, 0] = reached * (place @ turned)
                yield Hypothesis(column, (_MISPLACED,), reading, bend.footage_m, is_exact=False)


def _of_readings(
    site: Site, observations: Sequence[Observation], count: int
) -> Iterator[Hypothesis]:
    """Return what may have befallen each reading by itself."""
    held = {one.mark for one in site.locates if one.held_above_m}
    points = [one.name for one in site.plan.points]
    rate = _ANOTHER_POINT / max(len(points) - 1, 1)
    elsewhere = [Cause("tape from another point", rate, point=name) for name in points]
    for one in observations:
        reading, misread = one.id, _MISREAD.get(one.id.kind)
        # A footage has its own; what no slip is told of is left to the screening.
        if misread is None or reading.kind == "footage":
            continue
        columns = np.zeros((count, one.signature.shape[1]))
        columns[one.rows] = noted_sign(site, reading) * one.signature
        value = reading_value(site, reading)
        causes: tuple[Cause, ...] = (misread,)
        if reading.kind in ("turn", "fall") and value:
            turn = math.radians(value)
            others = [one for one in _FITTINGS_DEG if abs(one - abs(value)) > 1.0]
            sizes = tuple(turn - math.copysign(math.radians(one), turn) for one in others)
            bend = bend_of(site, reading)
            causes = (
                Cause(misread.slip, misread.rate, misread.usual, sizes),
                Cause("bend turned the other way", _OTHER_WAY, sizes=(2.0 * turn,)),
            )
            yield Hypothesis(columns, causes, reading, bend.footage_m)
            continue
        if value is not None and reading.kind != "start azimuth":
            causes = (_with_sizes(misread, value, site.unit), *_in_another_unit(value, site))
        if reading.kind == "depth" and reading.of not in held:
            causes += (_HELD,)
        if reading.kind == "tape" and (tie := tie_of(site, reading)):
            causes += tuple(cause for cause in elsewhere if cause.point != tie.point)
        yield Hypothesis(columns, causes, reading, one.footage_m)


def _of_several(
    site: Site, observations: Sequence[Observation], count: int
) -> Iterator[Hypothesis]:
    """Return what may have befallen all readings of a kind together."""
    held = {one.mark for one in site.locates if one.held_above_m}
    fixes = [one for one in observations if one.id.column == "gnss"]
    depths = [one for one in observations if one.id.kind == "depth" and one.id.of not in held]
    for together, cause in ((fixes, _SHIFTED), (depths, _ALL_HELD)):
        if len(together) > 1:
            columns = np.zeros((count, together[0].signature.shape[1]))
            for one in together:
                columns[one.rows] = one.signature
            yield Hypothesis(columns, (cause,))


_LOOKS_LIKE = {"6": "9", "9": "6", "1": "7", "7": "1", "3": "8", "8": "3"}


@functools.lru_cache(maxsize=4096)
def _with_sizes(misread: Cause, value_m: float, site_unit: Unit) -> Cause:
    """Return a misread value's cause with the sizes that slips of the pen would have.

    Two digits changed about, 6 for 9, 1 for 7, 3 for 8, a whole 10, 5 or 1 off, a sign or a
    decimal point lost.
    """
    unit = to_metres(1.0, site_unit)
    written = f"{abs(from_metres(value_m, site_unit)):.2f}".rstrip("0").rstrip(".")
    meant = {
        written[:index] + _LOOKS_LIKE[digit] + written[index + 1 :]
        for index, digit in enumerate(written)
        if digit in _LOOKS_LIKE
    }
    for first, second in itertools.pairwise(range(len(written.split(".")[0]))):
        digits = [*written]
        digits[first], digits[second] = digits[second], digits[first]
        meant.add("".join(digits))
    sizes = {value_m - math.copysign(float(one) * unit, value_m) for one in meant}
    # A decimal point lost, or put in.
    sizes |= {value_m - 10.0 * value_m, value_m - value_m / 10.0}
    sizes |= {size * unit for size in (10.0, -10.0, 5.0, -5.0, 1.0, -1.0)}
    if misread.slip == "offset misread":
        sizes.add(2.0 * value_m)
    kept = tuple(sorted(size for size in sizes if abs(size) > 0.5 * unit))
    return Cause(misread.slip, misread.rate, misread.usual, kept)


def _in_another_unit(value_m: float, site: Site) -> tuple[Cause, ...]:
    """Return the cause that a value was meant in inches or metres (in feet where they are used)."""
    others = ("ft", "in") if site.unit == "m" else ("in", "m")
    meant = [to_metres(from_metres(value_m, site.unit), other) for other in others]
    sizes = tuple(value_m - one for one in meant if abs(value_m - one) > 0.3 * _FOOT)
    return (Cause("another unit", _ANOTHER_UNIT, sizes=sizes),) if sizes else ()
