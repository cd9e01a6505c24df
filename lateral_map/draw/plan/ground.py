"""Round the pipe: a picture, surfaces, buildings, lines that bound ownership, mapped utilities."""

from __future__ import annotations

from typing import Final

from shapely import STRtree
from shapely.geometry import LineString

from lateral_map.draw.plan.scene import Area, Layer, Line, Underlay
from lateral_map.draw.style import UTILITY_LETTERS
from lateral_map.model.results import Report
from lateral_map.words.names import COVER_WORDS, LINE_WORDS, UTILITY_WORDS
from lateral_map.words.notices import embedded_words, picture_words
from lateral_map.words.numbers import label, listed
from lateral_map.words.picked import area_picked, line_picked, utility_picked


def picture_layer(report: Report) -> Layer:
    """Return the picture that lies under the plan, if any."""
    picture, unit = report.site.plan.picture, report.site.unit
    if picture is None:
        return Layer("picture", "Picture", ())
    item = Underlay(picture, "picture", caption=embedded_words(picture, unit))
    return Layer("picture", "Picture", (item,), (("picture", picture_words(picture, unit)),))


def surfaces_layer(report: Report) -> Layer:
    """Return the plan's surfaces, each hatched by its cover."""
    surfaces = [area for area in report.site.plan.areas if area.kind == "surface"]
    items = tuple(
        Area(
            area.polygon,
            f"cover {area.cover or 'other'}",
            area_picked(area),
        )
        for area in surfaces
    )
    covers = {area.cover or "other" for area in surfaces}
    legend = tuple(
        (f"cover {cover}", COVER_WORDS[cover]) for cover in COVER_WORDS if cover in covers
    )
    return Layer("surfaces", "Surfaces", items, legend)


def buildings_layer(report: Report) -> Layer:
    """Return the plan's buildings."""
    items = tuple(
        Area(area.polygon, "building", area_picked(area), label(area.name))
        for area in report.site.plan.areas
        if area.kind == "building"
    )
    return Layer("buildings", "Buildings", items, (("building", "Building"),))


_SAME_LINE_M: Final = 0.05


def boundaries_layer(report: Report) -> Layer:
    """Return the plan's lines, named along themselves."""
    lines = report.site.plan.lines
    # Of lines that lie on one another the first bears every name.
    captions = [label(line.name) for line in lines]
    shapes = [LineString(line.vertices_m) for line in lines]
    tree = STRtree(shapes)
    for later, shape in enumerate(shapes):
        for first in sorted(int(k) for k in tree.query(shape, "dwithin", _SAME_LINE_M)):
            short, long = sorted((shapes[first], shape), key=lambda line: line.length)
            # Nine tenths of the shorter lie on the longer.
            lies_on = short.difference(long.buffer(_SAME_LINE_M)).length < 0.1 * short.length
            if first < later and captions[first] and lies_on:
                captions[first] = listed([captions[first], captions[later]])
                captions[later] = ""
                break
    items = tuple(
        Line(line.vertices_m, f"line {line.kind}", line_picked(report, line), caption)
        for line, caption in zip(lines, captions, strict=True)
    )
    kinds = {line.kind for line in lines}
    legend = tuple((f"line {kind}", LINE_WORDS[kind]) for kind in LINE_WORDS if kind in kinds)
    return Layer("boundaries", "Lines on the plan", items, legend)


def utilities_layer(report: Report) -> Layer:
    """Return the plan's utilities."""
    utilities = report.site.plan.utilities
    items = tuple(
        Line(
            utility.vertices_m,
            f"utility {utility.utility}{' depth unknown' if utility.depth_m is None else ''}",
            utility_picked(utility, report.site.unit),
        )
        for utility in utilities
    )
    used = {item.style for item in items}
    legend = []
    for kind, words in UTILITY_WORDS.items():
        letter = UTILITY_LETTERS[kind]
        legend.append((f"utility {kind}", f"{words}, lettered {letter}"))
        legend.append((f"utility {kind} depth unknown", f"{words}, depth unknown, {letter}?"))
    rows = tuple((style, words) for style, words in legend if style in used)
    return Layer("utilities", "Mapped utilities", items, rows)
