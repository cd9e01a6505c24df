"""A long run piece by piece: a place hangs on the state of its own piece and on what all share."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from lateral_map.model.arrays import Floats
from lateral_map.model.strip import AZIMUTH, PITCH, PLACE, STATE, STEPS, Bonds

if TYPE_CHECKING:
    from lateral_map.model.route import Chain, Layout

# What every place shares: start (easting, northing, elevation), counter scale and zero offset.
_SHARED = 5


class Places(NamedTuple):
    """Places (k, 3) along a run, each on its ``piece`` (k,).

    ``state`` (k, 3, 7) and ``common`` (k, 3, 5) are their derivatives in that piece's state, and in
    start and counter; ``way`` (k, 3) those along the pipe.
    """

    piece: NDArray[np.intp]
    position: Floats
    state: Floats
    common: Floats
    way: Floats


class Pieces:
    """The way through space that unknowns describe, its pieces joined end to end."""

    def __init__(self, chain: Chain, layout: Layout, unknowns: Floats) -> None:
        azimuth, pitch = unknowns[layout.azimuth], unknowns[layout.pitch]
        sine, cosine, level, steep = np.sin(azimuth), np.cos(azimuth), np.cos(pitch), np.sin(pitch)
        nought = np.zeros_like(level)
        self._chain = chain
        self._start, self._scale = unknowns[layout.start], 1.0 + unknowns[layout.scale]
        self._zero_offset_m = unknowns[layout.zero_offset]
        self.direction = np.stack([level * sine, level * cosine, -steep], axis=-1)
        # Each piece's direction turned by its azimuth, and by its pitch.
        by_azimuth = np.stack([level * cosine, -level * sine, nought], axis=-1)
        by_pitch = np.stack([-steep * sine, -steep * cosine, -level], axis=-1)
        self._turned = np.stack([by_azimuth, by_pitch], axis=-1)
        self._spent = np.diff(chain.nodes_m)
        self._spent[0] -= self._zero_offset_m
        walked = np.cumsum(self._spent[:, None] * self.direction, axis=0)
        self._walked = np.concatenate([np.zeros((1, 3)), walked])

    def at(self, footage_m: Floats, error_m: Floats | None = None) -> Places:
        """Return places at footages (k,), each truly ``error_m`` (k,) farther along its piece."""
        chain, scale = self._chain, self._scale
        piece, nodes = chain.piece_of(footage_m), chain.nodes_m
        spent = np.maximum(footage_m, nodes[piece]) - nodes[piece]
        beyond = footage_m > nodes[0]
        spent = spent - self._zero_offset_m * (beyond & (piece == 0))
        spent = spent if error_m is None else spent + error_m
        walked = self._walked[piece] + spent[:, None] * self.direction[piece]
        walked[:, 2] -= np.minimum(np.maximum(footage_m - chain.zero_m, 0.0), chain.riser_m)
        state = np.zeros((len(piece), 3, STATE))
        state[:, :, PLACE] = np.eye(3)
        state[:, :, AZIMUTH : PITCH + 1] = scale * spent[:, None, None] * self._turned[piece]
        common = np.zeros((len(piece), 3, _SHARED))
        common[:, :, :3] = np.eye(3)
        common[:, :, 3] = walked
        common[:, :, 4] = -scale * self.direction[0] * beyond[:, None]
        way = scale * self.direction[piece]
        return Places(piece, self._start + scale * walked, state, common, way)

    def bonds(self, azimuths: tuple[Floats, Floats], pitches: tuple[Floats, Floats]) -> Bonds:
        """Return how each piece's state follows from the one before.

        Of azimuths' and pitches' changes these are the two diagonals of their Cholesky factor.
        """
        count, step = len(self._spent), (STEPS.start, STEPS.start + 1)
        carried, driven = np.zeros((count - 1, STATE, STATE)), np.zeros((count, STATE, 2))
        index = np.arange(PITCH + 1)
        carried[:, index, index] = 1.0
        carried[:, PLACE, AZIMUTH : PITCH + 1] = (
            self._scale * self._spent[:-1, None, None] * self._turned[:-1]
        )
        for kind, (main, below) in enumerate((azimuths, pitches)):
            carried[:, AZIMUTH + kind, step[kind]] = below
            driven[:, AZIMUTH + kind, kind] = main
            driven[:, step[kind], kind] = 1.0
        return Bonds(carried, driven)
