"""The map page: one HTML file that needs nothing else and asks nothing of the network.

The frame is a few lines made of constants and numbers only: the map, its panes, its layer groups.
The page's own script then fills the groups from the data, which stands in a block of its own and
reaches the page as text.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from lateral_map.draw.data import data_json, map_data
from lateral_map.draw.plan.layers import LAYER_KEYS
from lateral_map.draw.plan.scene import Layer
from lateral_map.errors import FrameError
from lateral_map.model.results import Report

SCRIPT_FILES: Final = (
    "base.js", "symbols.js", "layers.js", "captions.js", "controls.js", "view.js", "paper.js",
    "words.js", "profile.js", "page.js",
)  # fmt: skip
TILE_HOST: Final = "https://tile.openstreetmap.org"
TILE_URL: Final = f"{TILE_HOST}/{{z}}/{{x}}/{{y}}.png"
TILE_CREDIT: Final = (
    '&copy; <a href="https://www.openstreetmap.org/copyright">OpenStreetMap contributors</a>'
)
_TILE_ZOOM: Final = 19
_FIRST_PANE: Final = 410
# Whoever asks for little motion gets a map that jumps instead of gliding.
_STILL: Final = (
    'if (window.matchMedia("(prefers-reduced-motion: reduce)").matches) '
    "L.Map.mergeOptions({zoomAnimation: false, fadeAnimation: false, markerZoomAnimation: false, "
    "inertia: false});"
)
# Above the plan: captions, what is being measured, and the cursor.
_UPPER_PANES: Final = (("captions", 640), ("measure", 645), ("cursor", 650))


@dataclass(frozen=True, slots=True)
class MapFrame:
    """The empty map: its element and the script that makes it, panes and groups included."""

    html: str
    script: str


def map_page(report: Report, *, base_map: bool = False, extra: Sequence[Layer] = ()) -> str:
    """Return the map page of a report as one self-contained HTML text.

    ``base_map`` lays an online map under it, the one thing that makes the page ask the network.
    ``extra`` layers come on top. The same report gives the same text. Raises ``FrameError`` where a
    base map is asked for a local sketch.
    """
    if base_map and report.site.frame.is_local:
        raise FrameError(
            'crs = "local" is tied to no place on earth, so an online base map cannot lie under '
            "it; leave the base map out, or declare a projected crs"
        )
    data = map_data(report, extra=extra, base_map=base_map)
    keys = (*LAYER_KEYS, *(layer.key for layer in extra))
    frame = map_frame(map_centre(report, base_map=base_map), base_map=base_map, keys=keys)
    styles = (leaflet_css(), asset("page.css"), asset("dark.css"))
    scripts = (leaflet_js(), frame.script, page_script())
    return str(
        _template().render(
            policy=content_policy(styles, scripts, base_map=base_map),
            styles=[Markup(style) for style in styles],  # noqa: S704  # our own files
            scripts=[Markup(script) for script in scripts],  # noqa: S704  # our own files
            map_html=Markup(frame.html),  # noqa: S704  # constants only
            data=Markup(data_json(data)),  # noqa: S704  # no < or > left in it
        )
    )


def map_centre(report: Report, *, base_map: bool = False) -> tuple[float, float]:
    """Return the (northing, easting) of the first station, or (latitude, longitude)."""
    east, north = float(report.stations.easting_m[0]), float(report.stations.northing_m[0])
    lonlat = report.site.frame.plane_to_lonlat(east, north) if base_map else None
    return (north, east) if lonlat is None else (float(lonlat[1]), float(lonlat[0]))


def map_frame(
    centre: tuple[float, float] = (0.0, 0.0),
    *,
    base_map: bool = False,
    keys: Sequence[str] = LAYER_KEYS,
) -> MapFrame:
    """Return the empty map round ``centre`` with a pane and a group for each layer key.

    The map is the site's own plane, ``centre`` (northing, easting) in metres; on an online base map
    ``centre`` is (latitude, longitude).
    """
    # One pixel is a metre at zoom 0 of a plane, half an inch or so on the ground at zoom 23.
    low, high, first = (12, 26, 19) if base_map else (-3, 9, 3)
    options = {
        "center": list(centre), "zoom": first, "minZoom": low, "maxZoom": high, "zoomSnap": 0.05,
        "zoomDelta": 0.5, "wheelPxPerZoomLevel": 110, "attributionControl": base_map,
    }  # fmt: skip
    plane = "L.CRS.EPSG3857" if base_map else "L.CRS.Simple"
    script = [
        _STILL,
        f'var map_site = L.map("map_site", {{...{json.dumps(options)}, crs: {plane}}});',
    ]
    if base_map:
        tiles = {
            "maxZoom": 26, "maxNativeZoom": _TILE_ZOOM, "attribution": TILE_CREDIT, "opacity": 0.75,
        }  # fmt: skip
        script.append(
            f'var tile_layer_site = L.tileLayer("{TILE_URL}", {json.dumps(tiles)}).addTo(map_site);'
        )
    panes = [(key, _FIRST_PANE + 5 * order) for order, key in enumerate(keys)]
    script += [
        f'map_site.createPane("plan-{key}").style.zIndex = {height};'
        for key, height in (*panes, *_UPPER_PANES)
    ]
    script += [f"var feature_group_{key} = L.featureGroup().addTo(map_site);" for key in keys]
    return MapFrame(html='<div id="map_site"></div>', script="\n".join(script))


def content_policy(styles: Sequence[str], scripts: Sequence[str], *, base_map: bool = False) -> str:
    """Return the page's content security policy: these scripts and styles, nothing else."""
    images = f"data: {TILE_HOST}" if base_map else "data:"
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src {' '.join(_hashes(scripts))}",
            f"style-src {' '.join(_hashes(styles))}",
            f"img-src {images}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _hashes(texts: Sequence[str]) -> list[str]:
    digests = (hashlib.sha256(text.encode()).digest() for text in texts)
    return [f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests]


@cache
def asset(name: str) -> str:
    """Return one of the page's own files as text."""
    return files("lateral_map.draw").joinpath("assets", name).read_text("utf-8")


def page_script() -> str:
    """Return the page's own script: draws what ``map_data`` says, now and again."""
    return "\n".join(asset(name) for name in SCRIPT_FILES)


@cache
def leaflet_js() -> str:
    """Return Leaflet's script from the installed package, without the link to its source map."""
    return re.sub(r"\n//# sourceMappingURL=.*\s*$", "\n", _leaflet("leaflet.js"))


@cache
def leaflet_css() -> str:
    """Return Leaflet's styles without comments and without the pictures they would fetch.

    The page uses none of those pictures.
    """
    bare = re.sub(r"/\*.*?\*/", "", _leaflet("leaflet.css"), flags=re.DOTALL)
    return re.sub(r"url\([^)]*\)", "none", bare)


def _leaflet(name: str) -> str:
    home = files("js_lib_leaflet").joinpath("static", "js_lib_leaflet", name)
    return home.read_text("utf-8").replace("\r\n", "\n")


@cache
def _template() -> Any:
    loader = PackageLoader("lateral_map.draw", "assets")
    return Environment(loader=loader, autoescape=True).get_template("page.html.j2")
