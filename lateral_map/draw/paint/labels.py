"""Labels set beside what they name without running into each other.

Greedy: the weightiest label first, each to the nearest free place round its own mark; farther out
it gets a leader line. A label that finds no room at all is handed back, never printed over another.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    def middle(self) -> tuple[float, float]:
        """The centre."""
        return (self.left + self.right) / 2.0, (self.top + self.bottom) / 2.0

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


class Placer:
    """Keeps what is taken on the paper and places labels round it."""

    def __init__(self, frame: Box) -> None:
        self.frame = frame
        self._hard: list[tuple[float, float, float, float]] = []
        self._walls: list[tuple[float, float, float, float]] = []
        self._soft: list[tuple[float, float, float, float]] = []
        self._leaders: list[tuple[float, float, float, float]] = []

    def copy(self) -> Placer:
        """Return a placer that knows what this one knows."""
        other = Placer(self.frame)
        other._hard, other._walls = self._hard.copy(), self._walls.copy()
        other._soft, other._leaders = self._soft.copy(), self._leaders.copy()
        return other

    def keep_off(self, box: Box) -> None:
        """Let no label lie on ``box``."""
        self._hard.append((box.left, box.top, box.right, box.bottom))

    def avoid(self, points: ArrayLike, half: float = 1.5) -> None:
        """Let labels lie off a drawn line through (n, 2) points where there is room elsewhere."""
        self._soft += self._along(points, half)

    def wall(self, points: ArrayLike, half: float = 1.0) -> None:
        """Let no label lie on a drawn line through (n, 2) points, though leaders may cross it."""
        self._walls += self._along(points, half)

    def _along(self, points: ArrayLike, half: float) -> list[tuple[float, float, float, float]]:
        return [
            (float(x) - half, float(y) - half, float(x) + half, float(y) + half)
            for x, y in _sampled(np.asarray(points, float), _SAMPLE_PT)
            if self.frame.left < x < self.frame.right and self.frame.top < y < self.frame.bottom
        ]

    def is_free(self, *boxes: Box) -> bool:
        """Say whether all boxes lie inside the frame and on nothing that must stay clear."""
        taken = self._array(self._hard + self._walls)
        inside = all(self.frame.holds(box) for box in boxes)
        return inside and not _overlaps(_rows(boxes), taken).any()

    def clashes(self, *boxes: Box) -> int:
        """Return how many samples of lines to be avoided lie under the boxes."""
        return int(_overlaps(_rows(boxes), self._array(self._soft)).sum())

    def place(self, wishes: Sequence[Wish]) -> tuple[list[Placed], list[Wish]]:
        """Place labels, the weightiest first; return those placed and those left out."""
        placed: list[Placed] = []
        left_out: list[Wish] = []
        order = sorted(wishes, key=lambda wish: (-wish.weight, wish.x, wish.y, wish.key))
        for wish in order:
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
        hard, soft = self._array(self._hard), self._array(self._soft)
        walls = self._array(self._walls)
        rings = np.arange(wish.clear_pt, wish.clear_pt + wish.reach_pt + 0.1, _STEP_PT)
        least, found = np.inf, None
        for first in range(0, len(rings), _RINGS_AT_ONCE):
            # Nothing farther out can cost less than its own distance.
            if least <= rings[first] - wish.clear_pt:
                break
            boxes, distance = _candidates(wish, rings[first : first + _RINGS_AT_ONCE])
            cost = self._costs(wish, boxes, distance - wish.clear_pt, hard, walls, soft)
            best = int(np.argmin(cost))
            if cost[best] < least:
                least = float(cost[best])
                found = self._as_placed(wish, boxes[best], float(distance[best]))
        return found

    def _costs(
        self,
        wish: Wish,
        boxes: Floats,
        distance: Floats,
        hard: Floats,
        walls: Floats,
        soft: Floats,
    ) -> Floats:
        frame = self.frame
        inside = (
            (boxes[:, 0] >= frame.left)
            & (boxes[:, 1] >= frame.top)
            & (boxes[:, 2] <= frame.right)
            & (boxes[:, 3] <= frame.bottom)
        )
        cost = np.where(inside, distance, np.inf)
        cost[_overlaps(boxes, hard).any(axis=1) | _overlaps(boxes, walls).any(axis=1)] = np.inf
        cost += _SOFT_PT * np.minimum(_overlaps(boxes, soft).sum(axis=1), 4)
        likely = np.flatnonzero(np.isfinite(cost))
        leaders = _leader_ends(wish, boxes[likely])
        crossed = _crossings(leaders, self._array(self._leaders)).sum(axis=1)
        # A leader may leave its own mark, but runs over no other mark or label.
        blocked = _blocked(leaders, hard, wish)
        over = _blocked(self._array(self._leaders), boxes[likely], None).any(axis=0)
        cost[likely] += _CROSSED_PT * crossed + np.where(blocked | over, 4.0 * _CROSSED_PT, 0.0)
        return np.asarray(np.round(cost, 6), float)  # so that no choice hangs on a last bit

    def _as_placed(self, wish: Wish, row: Floats, distance: float) -> Placed:
        box = Box(*(float(value) for value in row))
        if distance - wish.clear_pt < _LEADER_FROM_PT:
            return Placed(wish.key, box, None)
        x, y = _leader_ends(wish, row[None])[0, 2:]
        return Placed(wish.key, box, ((wish.x, wish.y), (float(x), float(y))))

    @staticmethod
    def _array(rows: list[tuple[float, float, float, float]]) -> Floats:
        return np.array(rows, float).reshape(-1, 4)


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
    level = _ascending(np.asarray(centres, float) - gaps)
    lowest = low + sizes[0] / 2.0
    highest = high - sizes[-1] / 2.0 - gaps[-1]
    return np.asarray(np.clip(level, lowest, highest) + gaps)


def _ascending(values: Floats) -> Floats:
    """Return the ascending values nearest to ``values`` by least squares.

    Neighbours out of order are pooled to their mean till none are (pool adjacent violators).
    """
    pools: list[tuple[float, int]] = []
    for value in values.tolist():
        mean, count = value, 1
        while pools and pools[-1][0] > mean:
            before, many = pools.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        pools.append((mean, count))
    return np.repeat([mean for mean, _ in pools], [count for _, count in pools])


def _candidates(wish: Wish, distances: Floats) -> tuple[Floats, Floats]:
    """Return boxes whose nearest edge is so far from the mark, in every direction, and how far."""
    angle = np.arange(_DIRECTIONS) * 2.0 * np.pi / _DIRECTIONS
    # A shade of preference for upper right, as a reader expects a label.
    bias = 0.8 * (1.0 - np.cos(angle + np.pi / 4.0))
    way = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    half = np.array([wish.width, wish.height]) / 2.0
    # Out along the direction until the box's nearer side has passed the mark's clearance.
    with np.errstate(divide="ignore"):
        out = np.min((half + distances[:, None, None]) / np.abs(way), axis=-1)
    centre = np.array([wish.x, wish.y]) + out[..., None] * way
    boxes = np.concatenate([centre - half, centre + half], axis=-1).reshape(-1, 4)
    return boxes, (distances[:, None] + bias).ravel()


def _leader_ends(wish: Wish, boxes: Floats) -> Floats:
    """Return (k, 4): the mark, and the nearest point of each box to it."""
    ends = np.empty((len(boxes), 4))
    ends[:, 0], ends[:, 1] = wish.x, wish.y
    ends[:, 2] = np.clip(wish.x, boxes[:, 0], boxes[:, 2])
    ends[:, 3] = np.clip(wish.y, boxes[:, 1], boxes[:, 3])
    return ends


def _rows(boxes: Sequence[Box]) -> Floats:
    return np.array([(b.left, b.top, b.right, b.bottom) for b in boxes], float).reshape(-1, 4)


def _overlaps(boxes: Floats, others: Floats) -> NDArray[np.bool_]:
    """Return (k, n): which boxes share area with which others."""
    one, two = boxes[:, None, :], others[None, :, :]
    return np.asarray(
        (one[..., 0] < two[..., 2])
        & (two[..., 0] < one[..., 2])
        & (one[..., 1] < two[..., 3])
        & (two[..., 1] < one[..., 3])
    )


def _crossings(segments: Floats, others: Floats) -> NDArray[np.bool_]:
    """Return (k, n): which segments properly cross which others."""

    def side(line: Floats, point: Floats) -> Floats:
        step = line[..., 2:] - line[..., :2]
        gap = point - line[..., :2]
        return np.asarray(step[..., 0] * gap[..., 1] - step[..., 1] * gap[..., 0])

    one, two = segments[:, None, :], others[None, :, :]
    apart = side(one, two[..., :2]) * side(one, two[..., 2:]) < 0.0
    return np.asarray(apart & (side(two, one[..., :2]) * side(two, one[..., 2:]) < 0.0))


def _blocked(leaders: Floats, boxes: Floats, wish: Wish | None) -> NDArray[np.bool_]:
    """Return which leaders run through boxes: (k,) for one wish's, (k, n) where wish is None.

    A wish's own mark, the box round its place, does not count.
    """
    share = np.linspace(0.02, 0.98, 12)[:, None, None]
    points = leaders[None, :, :2] + share * (leaders[None, :, 2:] - leaders[None, :, :2])
    x, y = points[..., 0, None], points[..., 1, None]
    inside = (x > boxes[:, 0]) & (x < boxes[:, 2]) & (y > boxes[:, 1]) & (y < boxes[:, 3])
    hit = inside.any(axis=0)
    if wish is None:
        return np.asarray(hit)
    own = (
        (boxes[:, 0] <= wish.x)
        & (boxes[:, 2] >= wish.x)
        & (boxes[:, 1] <= wish.y)
        & (boxes[:, 3] >= wish.y)
    )
    return np.asarray((hit & ~own).any(axis=1))


def _sampled(points: Floats, step: float) -> Floats:
    """Return points every ``step`` along a line."""
    if len(points) < 2:
        return points.reshape(-1, 2)
    lengths = np.hypot(*np.diff(points, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(lengths)])
    wanted = np.linspace(0.0, at[-1], max(2, int(np.ceil(at[-1] / step)) + 1))
    return np.stack([np.interp(wanted, at, points[:, i]) for i in (0, 1)], axis=-1)
