"""Distances between lines made of straight pieces, in the plane or in space."""

from __future__ import annotations

import numpy as np

from lateral_map.model.arrays import Floats


def nearest_on(line_m: Floats, places_m: Floats) -> Floats:
    """Return the places (..., n, k) on a line through (..., m, k) vertices nearest to others.

    Lines of as many vertices are asked of together, each of its own (..., n, k) places.
    """
    # Each coordinate by itself, and pieces first: sums and choices over a few numbers are slow.
    pieces = line_m[None].swapaxes(0, -2)
    axes = range(line_m.shape[-1])
    begin = [pieces[:-1, ..., axis] for axis in axes]
    step = [pieces[1:, ..., axis] - begin[axis] for axis in axes]
    place = [np.ascontiguousarray(places_m[..., axis]) for axis in axes]
    square = np.maximum(sum(step[axis] * step[axis] for axis in axes), 1e-300)
    share = (place[0] - begin[0]) * step[0]
    for axis in axes[1:]:
        share += (place[axis] - begin[axis]) * step[axis]
    share /= square
    np.minimum(np.maximum(share, 0.0, out=share), 1.0, out=share)
    feet = [share * step[axis] for axis in axes]
    for axis in axes:
        feet[axis] += begin[axis]
    nearest = np.empty((*share.shape[1:], len(axes)))
    if len(share) == 1:
        for axis in axes:
            nearest[..., axis] = feet[axis][0]
        return nearest
    gap = np.square(place[0] - feet[0])
    for axis in axes[1:]:
        gap += np.square(place[axis] - feet[axis])
    best = gap.argmin(axis=0)
    at = best.ravel(), np.arange(best.size)
    for axis in axes:
        nearest[..., axis] = feet[axis].reshape(len(share), -1)[at].reshape(best.shape)
    return nearest


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


def _dot(one: Floats, other: Floats) -> Floats:
    return np.asarray((one * other).sum(axis=-1))
