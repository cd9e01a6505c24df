"""Make the products of site folders by the real commands: ``make_everything.py SITE...``.

Of a site named in FULL every product, of the others what is numbers and lines, no pages and
pictures. A sketch has no latitude, so no KML and GPX.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from lateral_map.cli.main import app
from lateral_map.export.registry import PRODUCTS

NUMBERS = ("result", "geojson", "gpkg", "stations", "dxf", "kml", "gpx", "landxml", "flatgeobuf")
OWN_COMMANDS = {"sheet", "referral"}
ON_EARTH = {"kml", "gpx"}


def main(folders: list[str]) -> None:
    full = os.environ.get("FULL", "").split()
    for folder in folders:
        whole = Path(folder).name in full
        sketch = 'crs = "local"' in Path(folder, "site.toml").read_text(encoding="utf-8")
        names = set(PRODUCTS if whole else NUMBERS) - OWN_COMMANDS
        only = [
            word for name in names - (ON_EARTH if sketch else set()) for word in ("--only", name)
        ]
        app(["draw", folder, *only], standalone_mode=False)
        if whole:
            app(["dig", folder], standalone_mode=False)
            app(["sheet", folder], standalone_mode=False)
            app(["refer", folder, "--also", "dxf"], standalone_mode=False)


if __name__ == "__main__":
    main(sys.argv[1:])
