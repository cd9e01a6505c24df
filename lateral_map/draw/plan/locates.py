"""Locates with the verdict on every reading, what they were tied to, and where to locate next."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from lateral_map.draw.plan.scene import LOCATE, MINOR, NEXT_LOCATE, SUSPECT, Layer, Line, Mark
from lateral_map.model.results import Report
from lateral_map.model.site import PositionTie, TapeTie
from lateral_map.words.names import LOCATE_WORDS
from lateral_map.words.numbers import label, length, listed
from lateral_map.words.picked import (
    NO_LOCATE_WORDS,
    level_picked,
    locate_picked,
    measured_picked,
    next_locate_picked,
    no_locate_picked,
    point_picked,
)

_SAME_PLACE_M: Final = 0.05


def locates_layer(report: Report) -> Layer:
    """Return every locate: on the adjusted line, or where it was marked if it is set aside.

    Where nothing could be located stands on the line too, as such.
    """
    marks = tuple(
        Mark(
            result.easting_m,
            result.northing_m,
            f"locate {result.state}",
            # With the word locate: a mark may be a letter, as utilities have them.
            f"locate {label(result.locate.mark, 16)}" + (" ?" if result.state == "suspect" else ""),
            locate_picked(report, result),
            footage_m=result.footage_m,
            weight=SUSPECT if result.state == "suspect" else LOCATE,
        )
        for result in report.locates
        if result.easting_m is not None and result.northing_m is not None
    )
    for one in report.site.no_locates:
        east, north, _ = (float(value) for value in report.route.positions([one.footage_m])[0])
        picked = no_locate_picked(one, report.site.unit)
        caption = f"no locate: {label(one.why, 24)}"
        mark = Mark(east, north, "no locate", caption, picked, footage_m=one.footage_m)
        marks = (*marks, mark)
    styles = {mark.style for mark in marks}
    legend = tuple(
        (f"locate {state}", words)
        for state, words in LOCATE_WORDS.items()
        if f"locate {state}" in styles
    )
    if report.site.no_locates:
        legend = (*legend, ("no locate", NO_LOCATE_WORDS))
    return Layer("locates", "Locates", marks, legend)


def points_layer(report: Report) -> Layer:
    """Return the named points to tape from, and spot levels."""
    unit = report.site.unit
    given = report.site.plan.points
    names = ["" if one.name == report.site.start.point else label(one.name, 22) for one in given]
    at = shapely.points([one.easting_m for one in given], [one.northing_m for one in given])
    near = STRtree(at).query(at, predicate="dwithin", distance=_SAME_PLACE_M)
    # Of points in one place the first bears every name.
    for first, later in sorted(near.T.tolist()):
        if first < later and names[first] and names[later]:
            names[first], names[later] = listed([names[first], names[later]]), ""
    taped: dict[str, list[str]] = {}
    for locate in report.site.locates:
        for point in {tie.point: None for tie in locate.ties if isinstance(tie, TapeTie)}:
            taped.setdefault(point, []).append(locate.mark)
    points = tuple(
        Mark(
            point.easting_m,
            point.northing_m,
            "point",
            name,
            point_picked(point, taped.get(point.name, ())),
        )
        for point, name in zip(given, names, strict=True)
    )
    levels = tuple(
        Mark(
            level.easting_m,
            level.northing_m,
            "level",
            f"{length(level.elevation_m, unit)}",
            level_picked(level, unit),
            weight=MINOR,
        )
        for level in report.site.plan.levels
    )
    legend = [("point", "Point to tape from")] if points else []
    legend += [("level", "Spot level")] if levels else []
    return Layer("points", "Points and levels", (*points, *levels), tuple(legend))


def ties_layer(report: Report) -> Layer:
    """Return what fixed each used mark: taped lines, and coordinates as they were measured."""
    points = {point.name: point for point in report.site.plan.points}
    items: list[Line | Mark] = []
    for locate in report.site.locates:
        place = report.route.positions([report.site.transmitter_footage_m(locate)])[0, :2]
        for tie in locate.ties if locate.use else ():
            if isinstance(tie, TapeTie) and tie.point in points:
                point = points[tie.point]
                line = np.stack([[point.easting_m, point.northing_m], place])
                items.append(Line(line, "tie", None, length(tie.distance_m, report.site.unit)))
            elif isinstance(tie, PositionTie):
                east, north = tie.easting_m, tie.northing_m
                items.append(Line(np.stack([[east, north], place]), "tie"))
                detail = measured_picked(locate, tie)
                items.append(Mark(east, north, "measured", "", detail, weight=MINOR))
    legend = (("tie", "Taped, or measured to drawn"), ("measured", "Position as measured"))
    return Layer("ties", "Ties", tuple(items), legend, shown=False)


def next_locate_layer(report: Report) -> Layer:
    """Return the suggested next locate, if any."""
    suggestion = report.next_locate
    if suggestion is None:
        return Layer("next", "Next locate", ())
    mark = Mark(
        suggestion.easting_m,
        suggestion.northing_m,
        "next",
        f"locate next: {length(suggestion.footage_m, report.site.unit)}",
        next_locate_picked(report),
        footage_m=suggestion.footage_m,
        weight=NEXT_LOCATE,
    )
    return Layer("next", "Next locate", (mark,), (("next", "Where one more locate helps most"),))
