"""Labels set beside what they name without running into each other.

Greedy: the weightiest label first, each to the nearest free place round its own mark; farther out
it gets a leader line. A label that finds no room at all is handed back, never printed over another.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lateral_map.model.arrays import Floats

_DIRECTIONS: Final = 24
_STEP_PT: Final = 5.0
_FARTHEST_PT: Final = 230.0
_GAP_PT: Final = 1.0
_SAMPLE_PT: Final = 4.0
_LEADER_FROM_PT: Final = 6.0
# What a soft obstacle (a drawn line) and a crossed leader cost, in points of distance.
_SOFT_PT: Final = 14.0
_CROSSED_PT: Final = 30.0
_RINGS_AT_ONCE: Final = 6
_MOST: Final = 300

Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle on the paper, in points, y down."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Width in points."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height in points."""
        return self.bottom - self.top

    @property
    def row(self) -> Row:
        """Left, top, right and bottom."""
        return self.left, self.top, self.right, self.bottom

    @property
    def middle(self) -> tuple[float, float]:
        """The centre."""
        return (self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0

    @property
    def ring(self) -> list[tuple[float, float]]:
        """The corners, clockwise from the upper left."""
        return [
            (self.left, self.top), (self.right, self.top),
            (self.right, self.bottom), (self.left, self.bottom),
        ]  # fmt: skip

    def grown(self, by: float) -> Box:
        """Return the box with a margin of ``by`` points all round."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def meets(self, other: Box) -> bool:
        """Say whether two boxes share any area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: Box) -> bool:
        """Say whether ``other`` lies wholly within."""
        return (
            self.left <= other.left
            and self.right >= other.right
            and self.top <= other.top
            and self.bottom >= other.bottom
        )

    @classmethod
    def around(cls, x: float, y: float, half: float) -> Box:
        """Return a square of twice ``half`` centred on a place."""
        return cls(x - half, y - half, x + half, y + half)


@dataclass(frozen=True, slots=True)
class Wish:
    """A label wanted: its size, the place it names, and how near to it a label may come.

    ``reach_pt`` is how far it may be led away; a wish with nothing found in reach is left out.
    """

    key: int
    x: float
    y: float
    width: float
    height: float
    clear_pt: float
    weight: int = 1
    reach_pt: float = _FARTHEST_PT


@dataclass(frozen=True, slots=True)
class Placed:
    """A label's box, and the leader from its edge to the mark, None where it stands beside it."""

    key: int
    box: Box
    leader: tuple[tuple[float, float], tuple[float, float]] | None


class _Rows:
    """Boxes taken so far; asked of far oftener than added to, so laid together only then."""

    def __init__(self, parts: Iterable[Floats] = ()) -> None:
        self._parts = [np.zeros((0, 4)), *parts]

    def add(self, boxes: ArrayLike) -> None:
        """Add (k, 4) boxes, or one."""
        self._parts.append(np.reshape(np.asarray(boxes, float), (-1, 4)))

    @property
    def rows(self) -> Floats:
        """All of them, (n, 4)."""
        if len(self._parts) > 1:
            self._parts = [np.concatenate(self._parts)]
        return self._parts[0]

    def copy(self) -> _Rows:
        """Return as many that grow by themselves."""
        return _Rows([self.rows])


class Placer:
    """Keeps what is taken on the paper and places labels round it."""

    def __init__(self, frame: Box) -> None:
        self.frame = frame
        self._hard, self._walls, self._soft = _Rows(), _Rows(), _Rows()
        self._leaders: list[Row] = []

    def copy(self) -> Placer:
        """Return a placer that knows what this one knows."""
        other = Placer(self.frame)
        other._hard, other._walls = self._hard.copy(), self._walls.copy()
        other._soft, other._leaders = self._soft.copy(), self._leaders.copy()
        return other

    def keep_off(self, box: Box) -> None:
        """Let no label lie on ``box``."""
        self._hard.add(box.row)

    def avoid(self, points: ArrayLike, half: float = 1.5) -> None:
        """Let labels lie off a drawn line through (n, 2) points where there is room elsewhere."""
        self._soft.add(self._along(points, half))

    def wall(self, points: ArrayLike, half: float = 1.0) -> None:
        """Let no label lie on a drawn line through (n, 2) points, though leaders may cross it."""
        self._walls.add(self._along(points, half))

    def _along(self, points: ArrayLike, half: float) -> Floats:
        """Return (k, 4) boxes at even steps along a line, those that meet the frame."""
        line = np.reshape(np.asarray(points, float), (-1, 2))
        if len(line) > 1:
            at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
            wanted = np.linspace(0.0, at[-1], max(2, int(np.ceil(at[-1] / _SAMPLE_PT)) + 1))
            line = np.stack([np.interp(wanted, at, axis) for axis in line.T], axis=-1)
        boxes = np.concatenate([line - half, line + half], axis=1)
        return np.asarray(boxes[_overlaps(self.frame.row, boxes)[0]])

    def is_free(self, *boxes: Box) -> bool:
        """Say whether all boxes lie inside the frame and on nothing that must stay clear."""
        inside = all(self.frame.holds(box) for box in boxes)
        rows = [box.row for box in boxes]
        taken = (self._hard.rows, self._walls.rows)
        return inside and not any(_overlaps(rows, each).any() for each in taken)

    def clashes(self, *boxes: Box) -> int:
        """Return how many samples of lines to be avoided lie under the boxes."""
        return int(_overlaps([box.row for box in boxes], self._soft.rows).sum())

    def place(self, wishes: Sequence[Wish]) -> tuple[list[Placed], list[Wish]]:
        """Place labels, the weightiest first; return those placed and those left out.

        More than a drawing can be read with are left out unlooked at.
        """
        placed: list[Placed] = []
        order = sorted(wishes, key=lambda wish: (-wish.weight, wish.x, wish.y, wish.key))
        left_out = order[_MOST:]
        for wish in order[:_MOST]:
            found = self._best(wish)
            if found is None:
                left_out.append(wish)
                continue
            self.keep_off(found.box.grown(_GAP_PT))
            if found.leader:
                self._leaders.append((*found.leader[0], *found.leader[1]))
            placed.append(found)
        return placed, left_out

    def _best(self, wish: Wish) -> Placed | None:
        # A leader may leave its own mark, but runs over no other mark or label.
        mark = Box.around(wish.x, wish.y, 1e-6).row
        hard, soft = self._hard.rows, self._soft.rows
        taken = np.concatenate([hard, self._walls.rows])
        others, leaders = hard[~_overlaps(mark, hard)[0]], np.reshape(self._leaders, (-1, 4))
        rings = np.arange(wish.clear_pt, wish.clear_pt + wish.reach_pt + 0.1, _STEP_PT)
        angle = np.arange(_DIRECTIONS) * 2.0 * np.pi / _DIRECTIONS
        way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        # A shade of preference for upper right, as a reader expects a label.
        bias = 0.8 * (1.0 - np.cos(angle + np.pi / 4.0))
        half = np.array([wish.width, wish.height]) / 2.0
        least, found = np.inf, None
        for first in range(0, len(rings), _RINGS_AT_ONCE):
            # Nothing farther out can cost less than its own distance.
            if least <= rings[first] - wish.clear_pt:
                break
            # Out in every direction until the box's nearer side has passed the mark's clearance.
            ring = rings[first : first + _RINGS_AT_ONCE]
            with np.errstate(divide="ignore"):
                out = np.min((half + ring[:, None, None]) / np.abs(way), axis=-1)
            centre = np.array([wish.x, wish.y]) + out[..., None] * way
            boxes = np.concatenate([centre - half, centre + half], axis=-1).reshape(-1, 4)
            distance = (ring[:, None] + bias).ravel()
            inside = (boxes[:, :2] >= self.frame.row[:2]) & (boxes[:, 2:] <= self.frame.row[2:])
            boxes, distance = boxes[inside.all(axis=1)], distance[inside.all(axis=1)]
            free = ~_overlaps(boxes, _near(boxes, taken)).any(axis=1)
            boxes, distance = boxes[free], distance[free]
            if not len(boxes):
                continue
            to_box = np.clip([wish.x, wish.y], boxes[:, :2], boxes[:, 2:])
            led = np.insert(to_box, 0, [[wish.x], [wish.y]], axis=1)
            cost = distance - wish.clear_pt
            cost += _SOFT_PT * np.minimum(_overlaps(boxes, _near(boxes, soft)).sum(axis=1), 4)
            cost += _CROSSED_PT * _crosses(led, leaders).sum(axis=1)
            over = _enters(led, others).any(axis=1) | _enters(leaders, boxes).any(axis=0)
            cost[over] += 4.0 * _CROSSED_PT
            best = int(np.argmin(np.round(cost, 6)))  # so that no choice hangs on a last bit
            if cost[best] < least:
                least = float(cost[best])
                beside = distance[best] - wish.clear_pt < _LEADER_FROM_PT
                leader = None if beside else ((wish.x, wish.y), tuple(to_box[best].tolist()))
                found = Placed(wish.key, Box(*boxes[best].tolist()), leader)
        return found


def spread(centres: Sequence[float], widths: Sequence[float], low: float, high: float) -> Floats:
    """Return positions as near as can be to ``centres`` (ascending) with no two widths overlapping.

    Least squares with the gaps as bounds, an isotonic regression, then held inside low..high.
    Where the widths add up to more than high - low they are packed evenly instead.
    """
    sizes = np.asarray(widths, float)
    if len(sizes) == 0:
        return np.zeros(0)
    if sizes.sum() >= high - low:
        return np.linspace(low + sizes[0] / 2.0, high - sizes[-1] / 2.0, len(sizes))
    gaps = np.concatenate([[0.0], np.cumsum((sizes[:-1] + sizes[1:]) / 2.0)])
    # Neighbours out of order are pooled to their mean till none are (pool adjacent violators).
    pools: list[tuple[float, int]] = []
    for value in (np.asarray(centres, float) - gaps).tolist():
        mean, count = value, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        pools.append((mean, count))
    level = np.repeat([mean for mean, _ in pools], [count for _, count in pools])
    lowest = low + sizes[0] / 2.0
    highest = high - sizes[-1] / 2.0 - gaps[-1]
    return np.asarray(np.clip(level, lowest, highest) + gaps)


def _crosses(lines: Floats, others: Floats) -> NDArray[np.bool_]:
    """Return (k, n): which segments (k, 4) cross which others (n, 4); to touch is not to cross."""
    one, two = lines.reshape(-1, 1, 2, 2), others.reshape(1, -1, 2, 2)

    def side(line: Floats, point: Floats) -> Floats:
        step, to = line[..., 1, :] - line[..., 0, :], point - line[..., 0, :]
        return np.asarray(np.sign(step[..., 0] * to[..., 1] - step[..., 1] * to[..., 0]))

    apart = side(one, two[..., 0, :]) * side(one, two[..., 1, :]) < 0.0
    return np.asarray(apart & (side(two, one[..., 0, :]) * side(two, one[..., 1, :]) < 0.0))


def _enters(lines: Floats, boxes: Floats) -> NDArray[np.bool_]:
    """Return (k, n): which segments (k, 4) meet which boxes (n, 4), edges counted (slab method)."""
    begin = lines[:, None, :2]
    step = lines[:, None, 2:] - begin
    with np.errstate(divide="ignore", invalid="ignore"):
        to = np.stack([boxes[None, :, :2] - begin, boxes[None, :, 2:] - begin]) / step
    level = (step == 0.0) & (begin >= boxes[None, :, :2]) & (begin <= boxes[None, :, 2:])
    enter = np.where(level, -np.inf, to.min(axis=0)).max(axis=-1)
    leave = np.where(level, np.inf, to.max(axis=0)).min(axis=-1)
    return np.asarray(np.maximum(enter, 0.0) <= np.minimum(leave, 1.0))


def _near(boxes: Floats, others: Floats) -> Floats:
    """Return those of ``others`` (n, 4) that meet the box round all ``boxes`` (k, 4)."""
    if not len(boxes):
        return others[:0]
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    meets: Floats = others[((others[:, :2] < high) & (low < others[:, 2:])).all(axis=1)]
    return meets


def _overlaps(boxes: ArrayLike, others: ArrayLike) -> NDArray[np.bool_]:
    """Return (k, n): which boxes share area with which others."""
    one, two = np.reshape(boxes, (-1, 1, 4)), np.reshape(others, (1, -1, 4))
    return np.asarray(
        (one[..., 0] < two[..., 2])
        & (two[..., 0] < one[..., 2])
        & (one[..., 1] < two[..., 3])
        & (two[..., 1] < one[..., 3])
    )
