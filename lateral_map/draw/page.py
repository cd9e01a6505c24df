"""The map page: one HTML file that needs nothing else and asks nothing of the network.

The frame is a few lines made of constants and numbers only: the map, its panes, its layer groups;
folium makes that of an online base map.
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
from lateral_map.words.numbers import all_apart

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
_ZOOMING: Final = {"zoomSnap": 0.05, "zoomDelta": 0.5, "wheelPxPerZoomLevel": 110}
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
        page_template("page.html.j2").render(
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
    if base_map:
        frame = _online_map(centre)
    else:
        # One pixel is a metre at zoom 0.
        options = {
            "center": list(centre), "zoom": 3, "minZoom": -3, "maxZoom": 9, **_ZOOMING,
            "attributionControl": False,
        }  # fmt: skip
        frame = MapFrame(
            '<div id="map_site"></div>',
            f'var map_site = L.map("map_site", {{...{json.dumps(options)}, crs: L.CRS.Simple}});',
        )
    script = [_STILL, frame.script]
    panes = [(key, _FIRST_PANE + 5 * order) for order, key in enumerate(keys)]
    script += [
        f'map_site.createPane("plan-{key}").style.zIndex = {height};'
        for key, height in (*panes, *_UPPER_PANES)
    ]
    script += [f"var feature_group_{key} = L.featureGroup().addTo(map_site);" for key in keys]
    return MapFrame(html=frame.html, script="\n".join(script))


def _online_map(centre: tuple[float, float]) -> MapFrame:
    """Return a map of the world's tiles round a latitude and longitude, north up.

    folium renders what it is given as a template a second time: it gets constants and numbers only.
    It loads pandas, so a page that needs no world is made without it.
    """
    import folium

    # Half an inch or so on the ground is a pixel at zoom 23.
    options: dict[str, Any] = {"minZoom": 12, "maxZoom": 26, "attributionControl": True, **_ZOOMING}
    world: Any = folium.Map(location=list(centre), tiles=None, zoom_start=19, **options)
    tiles = folium.TileLayer(
        tiles=TILE_URL, attr=TILE_CREDIT, max_zoom=26, max_native_zoom=_TILE_ZOOM, opacity=0.75
    ).add_to(world)
    world.render()
    html, script = world.get_root().html.render(), world.get_root().script.render()
    # Its names are drawn at random; the same page must have the same.
    for drawn, ours in ((world.get_name(), "map_site"), (tiles.get_name(), "tile_layer_site")):
        html, script = html.replace(drawn, ours), script.replace(drawn, ours)
    lines = (line.strip() for line in script.splitlines())
    return MapFrame(html.strip(), "\n".join(line for line in lines if line))


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
def asset(name: str, home: str = "lateral_map.draw") -> str:
    """Return a file of the assets of a package as text."""
    return files(home).joinpath("assets", name).read_text("utf-8")


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
def page_template(name: str, home: str = "lateral_map.draw") -> Any:
    """Return the template of a page, of a package's assets; whatever is set into it is escaped."""
    loader = PackageLoader(home, "assets")
    return Environment(loader=loader, autoescape=True, finalize=all_apart).get_template(name)
