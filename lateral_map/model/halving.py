"""Block tridiagonal equations, solved by halves: every second block is eliminated at once.

Cyclic reduction (Golub, from memory): what is left after each halving is block tridiagonal again,
so that a thousand blocks take ten rounds, each over whole arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Real, or complex where a derivative is carried along.
Blocks = NDArray[Any]


@dataclass(frozen=True, slots=True)
class _Round:
    """One halving: the odd blocks' inverses, and those times what ties each to its neighbours."""

    inverse: Blocks
    left: Blocks
    right: Blocks


class Halved:
    """A symmetric matrix of blocks ``diagonal`` (k, c, c) with ``above`` (k - 1, c, c) beside them.

    No block is exchanged for another: each odd one must have an inverse of its own.
    """

    def __init__(self, diagonal: Blocks, above: Blocks) -> None:
        self._rounds: list[_Round] = []
        while len(diagonal) > 1:
            odd, before, after = diagonal[1::2], above[0::2], above[1::2]
            inverse = np.linalg.inv(odd)
            left = inverse @ before.swapaxes(1, 2)
            right = inverse[: len(after)] @ after
            self._rounds.append(_Round(inverse, left, right))
            diagonal = diagonal[0::2].copy()
            diagonal[: len(odd)] -= before @ left
            diagonal[1 : 1 + len(after)] -= after.swapaxes(1, 2) @ right
            above = -(before[: len(after)] @ right)
        self._last = np.linalg.inv(diagonal)

    @property
    def log_determinant(self) -> float:
        """The logarithm of the determinant's size."""
        inverses = [one.inverse for one in self._rounds] + [self._last]
        return -float(sum(np.linalg.slogdet(one)[1].sum() for one in inverses))

    def solve(self, wanted: Blocks) -> Blocks:
        """Return the solution (k, c, columns) for right-hand sides (k, c, columns)."""
        odds = []
        wanted = wanted.astype(np.result_type(wanted, self._last), copy=False)
        for one in self._rounds:
            odd, even = wanted[1::2], wanted[0::2].copy()
            even[: len(odd)] -= one.left.swapaxes(1, 2) @ odd
            even[1 : 1 + len(one.right)] -= one.right.swapaxes(1, 2) @ odd[: len(one.right)]
            odds.append(odd)
            wanted = even
        found = self._last @ wanted
        for one, odd in zip(reversed(self._rounds), reversed(odds), strict=True):
            between = one.inverse @ odd - one.left @ found[: len(odd)]
            between[: len(one.right)] -= one.right @ found[1 : 1 + len(one.right)]
            found = _by_turns(found, between)
        return found

    def inverse_blocks(self) -> Blocks:
        """Return the blocks (k, c, c) on the diagonal of the inverse."""
        own, beside = self._last, self._last[:0]
        for one in reversed(self._rounds):
            odd, after = len(one.inverse), len(one.right)
            # Of each odd block with the even one before it, and with the one after.
            before = -(one.left @ own[:odd])
            before[:after] -= one.right @ beside[:after].swapaxes(1, 2)
            behind = -(one.left[:after] @ beside[:after] + one.right @ own[1 : 1 + after])
            between = one.inverse - before @ one.left.swapaxes(1, 2)
            between[:after] -= behind @ one.right.swapaxes(1, 2)
            own = _by_turns(own, between)
            beside = _by_turns(before.swapaxes(1, 2), behind)
        return own


def _by_turns(even: Blocks, odd: Blocks) -> Blocks:
    """Return blocks as they stood before every second one was taken out."""
    whole = np.empty((len(even) + len(odd), *even.shape[1:]), np.result_type(even, odd))
    whole[0::2], whole[1::2] = even, odd
    return whole
