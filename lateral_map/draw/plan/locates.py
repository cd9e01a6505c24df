"""Locates with the verdict on every reading, what they were tied to, and the ties themselves."""

from __future__ import annotations

import numpy as np

from lateral_map.draw.plan.scene import LOCATE, MINOR, SUSPECT, Layer, Line, Mark
from lateral_map.model.results import LocateResult, Report
from lateral_map.model.site import Locate, PositionTie, TapeTie
from lateral_map.words.names import LOCATE_WORDS
from lateral_map.words.numbers import label, length
from lateral_map.words.picked import level_picked, locate_picked, measured_picked, point_picked


def locates_layer(report: Report) -> Layer:
    """Return every locate: on the adjusted line, or where it was marked if it is set aside."""
    marks = tuple(
        _mark(report, result, result.easting_m, result.northing_m)
        for result in report.locates
        if result.easting_m is not None and result.northing_m is not None
    )
    styles = {mark.style for mark in marks}
    legend = tuple(
        (f"locate {state}", words)
        for state, words in LOCATE_WORDS.items()
        if f"locate {state}" in styles
    )
    return Layer("locates", "Locates", marks, legend)


def _mark(report: Report, result: LocateResult, easting_m: float, northing_m: float) -> Mark:
    suspect = result.state == "suspect"
    return Mark(
        easting_m,
        northing_m,
        f"locate {result.state}",
        # With the word locate: a mark may be a letter, as utilities have them.
        f"locate {label(result.locate.mark, 16)}" + (" ?" if suspect else ""),
        locate_picked(report, result),
        footage_m=result.footage_m,
        weight=SUSPECT if suspect else LOCATE,
    )


def points_layer(report: Report) -> Layer:
    """Return the named points to tape from, and spot levels."""
    unit = report.site.unit
    points = tuple(
        Mark(
            point.easting_m,
            point.northing_m,
            "point",
            "" if point.name == report.site.start.point else label(point.name, 22),
            point_picked(point, report.site.locates),
        )
        for point in report.site.plan.points
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
    items: list[Line | Mark] = []
    for locate in report.site.locates:
        if locate.use:
            items += _ties(report, locate)
    legend = (("tie", "Taped, or measured to drawn"), ("measured", "Position as measured"))
    return Layer("ties", "Ties", tuple(items), legend, shown=False)


def _ties(report: Report, locate: Locate) -> list[Line | Mark]:
    unit = report.site.unit
    place = report.route.positions([report.site.transmitter_footage_m(locate)])[0, :2]
    points = {point.name: point for point in report.site.plan.points}
    items: list[Line | Mark] = []
    for tie in locate.ties:
        if isinstance(tie, TapeTie) and tie.point in points:
            point = points[tie.point]
            origin = np.array([point.easting_m, point.northing_m])
            items.append(Line(np.stack([origin, place]), "tie", None, length(tie.distance_m, unit)))
        elif isinstance(tie, PositionTie):
            origin = np.array([tie.easting_m, tie.northing_m])
            items.append(Line(np.stack([origin, place]), "tie"))
            detail = measured_picked(locate, tie)
            items.append(
                Mark(float(origin[0]), float(origin[1]), "measured", "", detail, weight=MINOR)
            )
    return items
