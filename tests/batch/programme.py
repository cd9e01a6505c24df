"""Programmes of made-up sites: the sites of the agreement tests, spread over open water."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from agreement import sites as one_site

_PLACES: dict[str, Any] = dict(one_site._CRS)


def write_programme(root: Path, count: int, *, first: int = 0) -> list[Path]:
    """Write ``count`` site folders in districts of 50, each 200 ft or so from the next."""
    folders = []
    for seed in range(first, first + count):
        east, north = seed % 50, seed // 50
        one_site._CRS.update(
            {
                unit: (crs, lon + 0.0009 * east, lat + 0.0007 * north)
                for unit, (crs, lon, lat) in _PLACES.items()
            }
        )
        folder = root / f"district {seed // 50}" / f"lot {seed}"
        one_site.write_site(folder, seed)
        folders.append(folder)
    one_site._CRS.update(_PLACES)
    return folders


if __name__ == "__main__":
    write_programme(Path(sys.argv[1]), int(sys.argv[2]))
