"""Distances between lines made of straight pieces, in the plane or in space."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lateral_map.model.arrays import Floats

_SAME_M: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Nearest:
    """Where two lines come nearest: the place on each (k,), and how far along the first one.

    ``piece`` is the first line's piece and ``share`` the part of it gone by.
    """

    distance_m: float
    first_m: Floats
    second_m: Floats
    piece: int
    share: float


def nearest_between(first_m: Floats, second_m: Floats) -> Nearest:
    """Return where lines through (n, k) and (m, k) vertices come nearest, k = 2 or 3.

    Between two straight pieces the distance is a convex function of the shares along both, so its
    least value is at the common perpendicular, where that lies on both pieces, or at an end.
    """
    begin, step = first_m[:-1, None], np.diff(first_m, axis=0)[:, None]
    other, other_step = second_m[None, :-1], np.diff(second_m, axis=0)[None]
    shares = [_perpendicular(begin, step, other, other_step)]
    for end in (0.0, 1.0):
        fixed = np.full(shares[0][0].shape, end)
        shares.append((fixed, _foot(other, other_step, begin + end * step)))
        shares.append((_foot(begin, step, other + end * other_step), fixed))
    along = np.stack([one for one, _ in shares])
    across = np.stack([one for _, one in shares])
    here = begin + along[..., None] * step
    there = other + across[..., None] * other_step
    gap = np.sqrt(np.square(here - there).sum(axis=-1))
    # Lines that run together are nearest all along: the first place, not the last digit's.
    nearest = gap <= gap.min() + _SAME_M
    best = np.unravel_index(
        int(np.where(nearest, np.arange(len(begin))[:, None] + along, np.inf).argmin()), gap.shape
    )
    return Nearest(
        distance_m=float(gap[best]),
        first_m=here[best],
        second_m=there[best],
        piece=int(best[1]),
        share=float(along[best]),
    )


def crossings_between(first_m: Floats, second_m: Floats) -> Floats:
    """Return the places (k, 2) along the first line where it meets the second: piece, share.

    Lines through (n, 2) and (m, 2) vertices. A meeting at a corner is one meeting; pieces that run
    together meet at no one place and give none.
    """
    begin, step = first_m[:-1, None], np.diff(first_m, axis=0)[:, None]
    other, other_step = second_m[None, :-1], np.diff(second_m, axis=0)[None]
    apart = other - begin
    turn = _cross(step, other_step)
    scale = np.sqrt(_dot(step, step) * _dot(other_step, other_step))
    safe = np.where(np.abs(turn) > 1e-12 * np.maximum(scale, 1e-300), turn, np.inf)
    along, across = _cross(apart, other_step) / safe, _cross(apart, step) / safe
    near = 1e-9
    meets = (along >= -near) & (along <= 1.0 + near) & (across >= -near) & (across <= 1.0 + near)
    piece, second = np.nonzero(meets & np.isfinite(safe))
    share = np.clip(along[piece, second], 0.0, 1.0)
    order = np.argsort(piece + share, kind="stable")
    found = np.stack([piece[order], share[order]], axis=-1).astype(float)
    place = first_m[piece[order]] + share[order, None] * step[piece[order], 0]
    apart_m = np.hypot(*np.diff(place, axis=0).T) if len(place) > 1 else np.zeros(0)
    first = np.concatenate([[True], apart_m > 1e-6]) if len(place) else np.zeros(0, bool)
    return np.asarray(found[first])


def _cross(one: Floats, other: Floats) -> Floats:
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])


def _perpendicular(
    begin: Floats, step: Floats, other: Floats, other_step: Floats
) -> tuple[Floats, Floats]:
    """Return clipped shares along both pieces of their common perpendicular."""
    apart = begin - other
    aa, bb, ab = _dot(step, step), _dot(other_step, other_step), _dot(step, other_step)
    a_apart, b_apart = _dot(step, apart), _dot(other_step, apart)
    spread = aa * bb - ab * ab
    # Parallel pieces have no one perpendicular; their ends are tried anyway.
    safe = np.where(spread > 1e-12 * np.maximum(aa * bb, 1e-300), spread, np.inf)
    return (
        np.clip((ab * b_apart - bb * a_apart) / safe, 0.0, 1.0),
        np.clip((aa * b_apart - ab * a_apart) / safe, 0.0, 1.0),
    )


def _foot(begin: Floats, step: Floats, place: Floats) -> Floats:
    """Return the clipped share along a piece nearest to a place."""
    square = np.maximum(_dot(step, step), 1e-300)
    return np.asarray(np.clip(_dot(place - begin, step) / square, 0.0, 1.0))


def _dot(one: Floats, other: Floats) -> Floats:
    return np.asarray((one * other).sum(axis=-1))
