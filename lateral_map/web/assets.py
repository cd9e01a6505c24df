"""The page's scripts, styles and pictures: a fixed list in memory, so no path is ever asked for.

They come from this package, from ``draw`` and from the installed Leaflet.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

from lateral_map.draw.page import asset as drawing_asset
from lateral_map.draw.page import leaflet_css, leaflet_js, map_frame, page_script

_OWN: Final = (
    "entry.js", "parts.js", "forms.js", "plan.js", "picture.js", "entry.css", "icon.svg",
)  # fmt: skip
_TYPES: Final = {"js": "text/javascript", "css": "text/css", "svg": "image/svg+xml"}


@dataclass(frozen=True, slots=True)
class Asset:
    """One file as it is sent."""

    content: str
    media_type: str


_MADE: Final[dict[str, Callable[[], str]]] = {
    "leaflet.js": leaflet_js,
    "leaflet.css": leaflet_css,
    "drawing.js": page_script,
    "drawing.css": lambda: drawing_asset("page.css"),
    "frame.js": lambda: map_frame().script,
}


@cache
def all_assets() -> dict[str, Asset]:
    """Return every asset by its name."""
    home = files("lateral_map.web").joinpath("static")
    texts = {name: home.joinpath(name).read_text("utf-8") for name in _OWN}
    texts |= {name: make() for name, make in _MADE.items()}
    return {name: Asset(text, _TYPES[name.rpartition(".")[2]]) for name, text in texts.items()}
