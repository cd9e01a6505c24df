"""Make every product of site folders by the real commands: ``make_everything.py SITE...``.

With ``QUICK=1`` only what is numbers and lines, no pages and pictures.
"""

from __future__ import annotations

import os
import sys

from lateral_map.cli.main import app
from lateral_map.export.registry import PRODUCTS

NUMBERS = ("result", "geojson", "gpkg", "stations", "dxf", "kml", "gpx", "landxml", "flatgeobuf")


def main(folders: list[str]) -> None:
    quick = bool(os.environ.get("QUICK"))
    own = {"sheet", "referral"}  # commands of their own
    names = NUMBERS if quick else [name for name in PRODUCTS if name not in own]
    only = [word for name in names for word in ("--only", name)]
    for folder in folders:
        app(["draw", folder, *only], standalone_mode=False)
        app(["dig", folder], standalone_mode=False)
        if not quick:
            app(["sheet", folder], standalone_mode=False)
            app(["refer", folder], standalone_mode=False)


if __name__ == "__main__":
    main(sys.argv[1:])
