"""How much does the pipe fall, and is it enough, as far as the readings can tell?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats
from lateral_map.model.chance import ONE_SIDED_95
from lateral_map.model.past import variances
from lateral_map.model.pipe_sizes import nominal_inches
from lateral_map.model.results import (
    FallStretch,
    FallUnread,
    FallVerdict,
    OtherAnswers,
    PipeStretch,
)
from lateral_map.model.route import Route
from lateral_map.model.site import FallCodeName
from lateral_map.units import steep_deg


@dataclass(frozen=True, slots=True)
class FallStep:
    """The least fall for nominal sizes below ``below_in`` inches, as printed, and as a ratio."""

    below_in: float
    ratio: float
    printed: str


@dataclass(frozen=True, slots=True)
class FallCode:
    """One code's table of least falls, smallest sizes first, and where it is printed."""

    source: str
    steps: tuple[FallStep, ...]

    def step_for(self, size_m: float) -> FallStep:
        """Return the step that applies to a nominal size."""
        inches = nominal_inches(size_m)
        return next(step for step in self.steps if inches < step.below_in)


_QUARTER, _EIGHTH, _SIXTEENTH = "1/4 in per ft", "1/8 in per ft", "1/16 in per ft"
_ANY_SIZE = float("inf")

# Many codes print 1/4, 1/8 and 1/16 in per ft as 2, 1 and 1/2 percent; IPC 704.1 prints inches. The
# round percentage is what a fall is held against: 2.083 % would fail a pipe laid at 2 percent.
FALL_CODES: Final[dict[FallCodeName, FallCode]] = {
    "IPC": FallCode(
        "IPC Table 704.1",
        (
            FallStep(3.0, 0.02, _QUARTER),
            FallStep(8.0, 0.01, _EIGHTH),
            FallStep(_ANY_SIZE, 0.005, _SIXTEENTH),
        ),
    ),
    "IRC": FallCode(
        "IRC P3005.3, from memory",
        (FallStep(3.0, 0.02, _QUARTER), FallStep(_ANY_SIZE, 0.01, _EIGHTH)),
    ),
    "IRC 2024": FallCode(
        "IRC 2024 P3005.3, as summed up in a secondary source",
        (FallStep(4.0, 0.02, _QUARTER), FallStep(_ANY_SIZE, 0.01, _EIGHTH)),
    ),
    "UPC": FallCode("UPC 708.1 and 718.1, from memory", (FallStep(_ANY_SIZE, 0.02, _QUARTER),)),
    "UPC with approval": FallCode(
        "UPC 718.1 where the authority approves it, from memory",
        (
            FallStep(4.0, 0.02, _QUARTER),
            FallStep(8.0, 0.01, _EIGHTH),
            FallStep(_ANY_SIZE, 0.005, _SIXTEENTH),
        ),
    ),
}

# Two depths closer than this tell nothing of the fall between them (a choice of this program): at
# 10 ft a 3 in depth error alone is 3.5 %.
_SHORTEST_M: Final = 3.048
_SAME_M: Final = 1e-6
_END_M: Final = 0.3
_LEAST_LEVEL: Final = 1e-3


@dataclass(frozen=True, slots=True)
class _Told:
    """What readings tell of one stretch: ratio and 1 sd, why none bears on it, the verdict."""

    ratio: float
    sd: float
    unread: FallUnread | None
    verdict: FallVerdict


def measure_falls(
    route: Route, pipes: Iterable[PipeStretch], others: Iterable[OtherAnswers] = ()
) -> tuple[FallStretch, ...]:
    """Return the fall of each stretch between depths read, vertical bends and changes of pipe.

    The ratio is fall over level distance, positive with the flow, whichever way the camera went;
    its 1 sd is from the joint covariance of the pieces' pitches, and from what else the readings
    may mean. The least fall is that of the code the site names. At least 95 % is asked for "enough
    fall", "too flat" and "falls back", of each of the ``others`` too: without a suspect depth, say.
    """
    pipes, site = tuple(pipes), route.site
    ends = _stretch_ends(route, pipes, site.depth_footages_m())
    middles = (ends[:-1] + ends[1:]) / 2.0
    sizes = [
        next((one.size_m for one in pipes if one.from_m <= at <= one.to_m), None) for at in middles
    ]
    code = FALL_CODES[site.fall_code]
    steps = [None if size is None else code.step_for(size) for size in sizes]
    told = _read_falls(route, ends, steps, _doubted(route, ends))
    turned: set[int] = set()
    for other in others:
        there = other.doubt.along(ends)
        instead = _read_falls(other.doubt.route, there, steps)
        # A stretch of which that leaves nothing tells no fall.
        left = np.flatnonzero(np.diff(there) > _SAME_M).tolist()
        turned |= {index for index in left if told[index].verdict != instead[index].verdict}
    stretches = []
    for index, (one, step) in enumerate(zip(told, steps, strict=True)):
        turns = index in turned and one.verdict != "readings cannot tell"
        stretches.append(
            FallStretch(
                from_m=float(ends[index]),
                to_m=float(ends[index + 1]),
                ratio=one.ratio,
                sd_ratio=one.sd,
                minimum=None if step is None else step.ratio,
                verdict="readings cannot tell" if turns else one.verdict,
                below_ground_line=route.ground.is_level,
                rule="" if step is None else f"{code.source}: {step.printed}, {step.ratio:.1%}",
                unread=one.unread,
                flow_said=site.run.reached_main or site.job.camera_direction is not None,
                turns=turns,
            )
        )
    return tuple(stretches)


def _read_falls(
    route: Route, ends: Floats, steps: list[FallStep | None], wider: Floats | float = 0.0
) -> list[_Told]:
    """Return what a route's readings tell of each stretch, its variance so much ``wider``."""
    known_m = route.site.depth_footages_m()
    ratio, gradient = _ratios(route, ends)
    if route.site.against_flow:
        ratio = -ratio
    sd = np.sqrt(variances(gradient, route.covariance) + wider)
    told = []
    for index, step in enumerate(steps):
        unread: FallUnread | None = None
        if route.ground.is_level:
            unread = "level ground"
        elif len(known_m) < 2:
            unread = "too few depths"
        elif ends[index] >= known_m[-1] - _SAME_M or ends[index + 1] <= known_m[0] + _SAME_M:
            unread = "no depth here"
        fall = float(ratio[index]), float(sd[index])
        verdict: FallVerdict = "readings cannot tell" if unread else _verdict(*fall, step)
        told.append(_Told(*fall, unread, verdict))
    return told


def _stretch_ends(route: Route, pipes: tuple[PipeStretch, ...], known_m: list[float]) -> Floats:
    """Return the footages that part the run: grade can only change at some, the rest are depths.

    Bends and changes of pipe always part it; a depth parts it where it leaves stretches long enough
    for depths to say something of the fall.
    """
    site = route.site
    begin, end = float(route.chain.nodes_m[0]), site.run.end_m
    if end - begin <= _SAME_M:
        return np.zeros(0)
    firm = [bend.footage_m for bend in site.bends if bend.fall_deg]
    firm += [pipe.from_m for pipe in pipes]
    chosen = np.unique([begin, end, *(at for at in firm if begin + _END_M < at < end - _END_M)])
    for depth in known_m:
        if begin < depth < end and np.abs(chosen - depth).min() >= _SHORTEST_M:
            chosen = np.sort(np.append(chosen, depth))
    return np.asarray(chosen[np.concatenate([[True], np.diff(chosen) > _SAME_M])])


def _ratios(route: Route, ends: Floats) -> tuple[Floats, Floats]:
    """Return fall over level distance between neighbouring ends, and the derivatives.

    Both fall and level distance are sums over the pieces of length times sine and cosine of pitch;
    the counter's scale cancels.
    """
    if len(ends) < 2:
        return np.zeros(0), np.zeros((0, route.layout.size))
    spent = np.diff(route.chain.lengths_spent(ends), axis=0)
    # The zero offset shortens the stretch that begins where the run does.
    spent[0, 0] -= route.unknowns[route.layout.zero_offset]
    pitch = route.unknowns[route.layout.pitch]
    sine, cosine = np.sin(pitch), np.cos(pitch)
    # A pipe past the vertical, as a drop's readings may have it, is taken as vertical; of a stretch
    # that another reading of the notes leaves nothing of, the fall is none.
    length = np.maximum(np.abs(spent).sum(axis=1), _SAME_M)
    level = np.maximum(spent @ cosine, _LEAST_LEVEL * length)
    ratio = (spent @ sine) / level
    gradient = np.zeros((len(ratio), route.layout.size))
    gradient[:, route.layout.pitch] = spent * (cosine + ratio[:, None] * sine) / level[:, None]
    gradient[0, route.layout.zero_offset] = (ratio[0] * cosine[0] - sine[0]) / level[0]
    return ratio, gradient


def _doubted(route: Route, ends: Floats) -> Floats:
    """Return how much larger each fall's variance is for what else the readings may mean."""
    ratio, gradient = _ratios(route, ends)
    own, more = variances(gradient, route.covariance), np.zeros(len(ratio))
    for one in route.doubts:
        there = one.along(ends)
        other, derivative = _ratios(one.route, there)
        square = variances(derivative, one.route.covariance) + np.square(other - ratio)
        # A stretch of which that leaves nothing tells no fall.
        more += one.weight * np.where(np.diff(there) > _SAME_M, square - own, 0.0)
    return np.maximum(more, 0.0)


def _verdict(ratio: float, sd: float, step: FallStep | None) -> FallVerdict:
    low, high = ratio - ONE_SIDED_95 * sd, ratio + ONE_SIDED_95 * sd
    steep = steep_deg(ratio, ONE_SIDED_95 * sd)
    if steep is not None:
        # By its angle, as a steep fall's ratio runs away.
        angle, half = steep
        low, high = np.tan(np.radians(np.clip([angle - half, angle + half], -89.9, 89.9)))
    if high <= 0.0 and ratio < 0.0:
        return "falls back"
    if step is None:
        return "readings cannot tell"
    if low >= step.ratio:
        return "enough fall"
    return "too flat" if high < step.ratio else "readings cannot tell"
