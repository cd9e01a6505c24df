"""How the page goes between the site's plane and longitude, latitude, without a projection library.

Over a site of some hundreds of metres a full quadratic in both directions agrees with the exact
projection far below a millimetre, so the page carries twenty-four numbers instead of a library.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.errors import FrameError
from lateral_map.frame import Frame

Floats = NDArray[np.float64]

_STEPS: Final = np.linspace(-1.0, 1.0, 7)


def plane_link(frame: Frame, bounds_m: tuple[float, float, float, float]) -> dict[str, Any]:
    """Return what the page needs to place plane metres on the map and back.

    For a map that lies on an online base map; any other *is* the plane. ``bounds_m`` is west,
    south, east, north of the drawing. ``to_lonlat`` and ``to_plane`` hold six coefficients for each
    coordinate, of 1, u, v, u², uv, v², with u, v measured from ``centre_m`` over ``reach_m`` and
    from ``centre_deg`` over ``reach_deg``. Raises ``FrameError`` for a local sketch.
    """
    west, south, east, north = bounds_m
    centre_m = np.array([(west + east) / 2.0, (south + north) / 2.0])
    reach_m = max(east - west, north - south) / 2.0
    steps = np.stack([axis.ravel() for axis in np.meshgrid(_STEPS, _STEPS)], axis=-1)
    grid_m = centre_m + reach_m * steps
    lonlat = frame.plane_to_lonlat(grid_m[:, 0], grid_m[:, 1])
    if lonlat is None:
        raise FrameError("a local sketch is tied to no place on earth, so it lies on no base map")
    grid_deg = np.stack(lonlat, axis=-1)
    centre_deg = grid_deg[len(grid_deg) // 2]
    reach_deg = np.abs(grid_deg - centre_deg).max(axis=0)
    scaled_deg = (grid_deg - centre_deg) / reach_deg
    return {
        "flat": False,
        "centre_m": centre_m.tolist(),
        "reach_m": reach_m,
        "centre_deg": centre_deg.tolist(),
        "reach_deg": reach_deg.tolist(),
        "to_lonlat": _fit(steps, scaled_deg),
        "to_plane": _fit(scaled_deg, steps),
    }


def _fit(source: Floats, target: Floats) -> list[list[float]]:
    u, v = source[:, 0], source[:, 1]
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=-1)
    solution, *_ = np.linalg.lstsq(terms, target, rcond=None)
    return [[round(float(value), 13) for value in column] for column in solution.T]
