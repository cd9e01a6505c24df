"""The page as text: whole, strict, the same each time, and free of links."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from html.parser import HTMLParser

import pytest

from lateral_map.draw.data import data_json, map_data, north_words
from lateral_map.draw.page import content_policy, leaflet_css, map_frame, map_page, page_script
from lateral_map.draw.plan.layers import LAYER_KEYS
from lateral_map.draw.plan.scene import Layer, Mark
from lateral_map.errors import FrameError
from lateral_map.frame import local_frame, projected_frame_at
from lateral_map.model.results import Report

# Names of namespaces, and the address in Leaflet's own licence line and in its switched-off
# credit: nothing in the page follows them.
INERT = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink", "https://leafletjs.com"}


class Outline(HTMLParser):
    """Scripts, styles and the policy of a page, as a browser's parser sees them."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=False)
        self.scripts: list[str] = []
        self.styles: list[str] = []
        self.data = ""
        self.policy = ""
        self.attributes: list[tuple[str, str, str]] = []
        self._into: list[str] | None = None
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        given = dict(attrs)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if given.get("http-equiv") == "Content-Security-Policy":
            self.policy = given["content"].replace("&#39;", "'")
        if tag == "style":
            self._into = self.styles
        elif tag == "script":
            self._into = [] if given.get("type") == "application/json" else self.scripts

    def handle_data(self, data: str) -> None:
        if self._into is not None:
            self._into.append(data)
            if self._into is not self.scripts and self._into is not self.styles:
                self.data = data

    def handle_endtag(self, tag) -> None:
        if tag in ("script", "style"):
            self._into = None


@pytest.fixture(scope="module")
def page(report: Report) -> str:
    return map_page(report)


def links(text: str) -> set[str]:
    return set(re.findall(r"https?://[^\s\"'`<>()\\]+", text))


def test_no_link_is_left(page: str) -> None:
    assert links(page) <= INERT
    outline = Outline(page)
    assert not [each for each in outline.attributes if each[1] in ("src", "srcset", "action")]
    assert {value for _, name, value in outline.attributes if name == "href"} == {"#profile-slider"}
    assert "@import" not in page
    assert set(re.findall(r"url\(([^)]*)\)", leaflet_css())) == set()


def test_the_policy_names_every_script_and_style_by_its_hash(page: str) -> None:
    outline = Outline(page)

    def named(text: str) -> str:
        return "'sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() + "'"

    rules = dict(rule.split(" ", 1) for rule in outline.policy.split("; "))
    assert rules["default-src"] == "'none'"
    assert rules["script-src"].split() == [named(script) for script in outline.scripts]
    assert rules["style-src"].split() == [named(style) for style in outline.styles]
    assert rules["img-src"] == "data:"
    assert len(outline.scripts) == 3
    assert not [each for each in outline.attributes if each[1] == "style"]
    assert not [each for each in outline.attributes if each[1].startswith("on")]


def test_the_same_site_gives_the_same_bytes(page: str, make_report) -> None:
    make_report.cache_clear()
    assert map_page(make_report()) == page


def test_the_data_stands_whole_in_its_block(page: str, report: Report) -> None:
    data = json.loads(Outline(page).data)
    assert data == json.loads(json.dumps(map_data(report)))
    assert data["groups"] == list(LAYER_KEYS)


def test_data_cannot_end_its_block() -> None:
    text = data_json({"note": "</script><!-- & \u2028 \ud83d 🚿"})
    assert not set(text) & set("<>&\u2028")
    assert text.isascii()


def test_words_of_people_do_not_reach_the_frame(make_report) -> None:
    word = "QqZz7731"
    report = make_report(word=word)
    page = map_page(report)
    outline = Outline(page)
    assert word in outline.data
    assert word not in page.replace(outline.data, "")


def test_an_online_map_is_there_only_when_asked_for(report: Report, page: str) -> None:
    assert "openstreetmap" not in page.lower()
    online = map_page(report, base_map=True)
    assert "https://tile.openstreetmap.org/{z}/{x}/{y}.png" in online
    assert "OpenStreetMap contributors" in online
    assert "img-src data: https://tile.openstreetmap.org" in Outline(online).policy


def test_a_sketch_cannot_have_an_online_map(make_report) -> None:
    with pytest.raises(FrameError, match="tied to no place on earth"):
        map_page(make_report(local=True), base_map=True)


def test_extra_layers_get_a_pane_and_a_place_in_the_data(report: Report) -> None:
    extra = Layer("trench", "Trench", (Mark(1.0, 2.0, "point", "bottom"),), (("point", "Pit"),))
    page = map_page(report, extra=[extra])
    assert 'createPane("plan-trench")' in page
    assert "var feature_group_trench" in page
    assert json.loads(Outline(page).data)["layers"][-1]["title"] == "Trench"


def test_panes_stand_in_the_order_of_the_layers() -> None:
    script = map_frame().script
    heights = re.findall(r'createPane\("plan-([a-z]+)"\)\.style\.zIndex = (\d+)', script)
    plan = [(key, int(height)) for key, height in heights if key in LAYER_KEYS]
    assert [key for key, _ in plan] == list(LAYER_KEYS)
    assert [height for _, height in plan] == sorted(height for _, height in plan)
    assert int(dict(heights)["cursor"]) == max(int(height) for _, height in heights)


def test_the_map_zooms_to_inches() -> None:
    """At the greatest zoom a pixel is under half an inch on the plane (one pixel a metre at zoom 0)
    and well under an inch on an online map.

    Web Mercator has 256 px round the equator at zoom 0 (from memory).
    """
    script = map_frame().script
    assert 1 / 2 ** int(re.search(r'"maxZoom": (\d+)', script)[1]) < 0.0127
    assert "L.CRS.Simple" in script
    online = map_frame((42.7, -84.5), base_map=True).script
    zoom = int(re.search(r'"maxZoom": (\d+)', online)[1])
    assert 40_075_017 / 256 / 2**zoom < 0.0254


def test_north_is_named(make_report) -> None:
    assert north_words(local_frame("ft")) == "Up as drawn on the sketch"
    sketch, mapped = (map_data(make_report(local=local))["north"] for local in (True, False))
    assert (sketch["letter"], sketch["button"]) == ("", "Up as drawn"), "a sketch may have no north"
    assert (mapped["letter"], mapped["button"]) == ("N", "North up")
    east = projected_frame_at("EPSG:32616", -84.5, 42.7)
    # East of a zone's middle grid north lies east of true north, by about 2.5° sin(42.7°) = 1.70°
    # at 2.5° (meridian convergence of the transverse Mercator projection, from memory).
    assert north_words(east) == "True north; grid north of EPSG:32616 is 1.70° east of it"


def test_the_script_evaluates_no_text() -> None:
    script = page_script()
    ways = "eval( innerHTML outerHTML insertAdjacentHTML document.write Function( srcdoc"
    for word in ways.split():
        assert word not in script


def test_policy_follows_its_texts() -> None:
    assert content_policy(["a"], ["b"]) != content_policy(["a"], ["c"])
