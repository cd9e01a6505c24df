"""Bytes damaged in a repeatable way."""

from __future__ import annotations

import random


def damage(data: bytes, seed: int) -> bytes:
    """Return ``data`` cut short, or with some of its bytes changed."""
    chance = random.Random(seed)
    if seed % 3 == 0:
        return data[: chance.randrange(len(data))]
    changed = bytearray(data)
    for _ in range(10 ** (seed % 4)):
        changed[chance.randrange(len(changed))] = chance.randrange(256)
    return bytes(changed)
