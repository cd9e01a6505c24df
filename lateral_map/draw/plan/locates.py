"""Locates with the verdict on every reading, what they were tied to, and the ties themselves."""

from __future__ import annotations

import numpy as np

from lateral_map.draw.along import checks_by_locate, transmitter_footage, worst_verdict
from lateral_map.draw.plan.scene import LOCATE, MINOR, SUSPECT, Detail, Layer, Line, Mark
from lateral_map.draw.style import LOCATE_WORDS, READING_WORDS
from lateral_map.draw.text import label, length, tidy
from lateral_map.model.results import ReadingCheck, Report
from lateral_map.model.site import Locate, PositionTie, TapeTie
from lateral_map.units import format_length


def locates_layer(report: Report) -> Layer:
    """Return every locate where the adjusted line says its transmitter lay."""
    checks = checks_by_locate(report)
    marks = tuple(
        _mark(report, locate, checks.get(locate.mark, ())) for locate in report.site.locates
    )
    styles = {mark.style for mark in marks}
    legend = tuple(
        (f"locate {verdict}", words)
        for verdict, words in LOCATE_WORDS.items()
        if f"locate {verdict}" in styles
    )
    return Layer("locates", "Locates", marks, legend)


def locate_verdict(locate: Locate, checks: tuple[ReadingCheck, ...]) -> str:
    """Return how a locate is drawn: good, suspect, unchecked or set aside."""
    return worst_verdict(checks) if locate.use else "set aside"


def _mark(report: Report, locate: Locate, checks: tuple[ReadingCheck, ...]) -> Mark:
    footage = transmitter_footage(report, locate)
    east, north, _ = (float(value) for value in report.route.positions([footage])[0])
    verdict = locate_verdict(locate, checks)
    # With the word locate: a mark may be a letter, as utilities have them.
    caption = f"locate {label(locate.mark, 16)}" + (" ?" if verdict == "suspect" else "")
    return Mark(
        east,
        north,
        f"locate {verdict}",
        caption,
        _detail(report, locate, checks),
        footage_m=footage,
        weight=SUSPECT if verdict == "suspect" else LOCATE,
    )


def _detail(report: Report, locate: Locate, checks: tuple[ReadingCheck, ...]) -> Detail:
    unit = report.site.unit
    rows = [("Footage at the lens", length(locate.footage_m, unit))]
    if locate.depth_m is not None:
        rows.append(("Depth read", length(locate.depth_m, unit)))
    if locate.held_above_m:
        rows.append(("Held above ground", length(locate.held_above_m, unit)))
    if locate.peak != "in-line":
        rows.append(("Located on", locate.peak))
    if not locate.use:
        rows.append(("Used", "no, set aside in locates.csv"))
    rows += [(reading_name(check), reading_words(check, unit)) for check in checks]
    return Detail(f"Locate {tidy(locate.mark)}", tuple(rows), tidy(locate.note))


def reading_name(check: ReadingCheck) -> str:
    """Return a reading's name without the words every row of its locate would repeat."""
    prefix = f"locate {check.locate} "
    name = check.reading.removeprefix(prefix) if check.locate else check.reading
    return tidy(name, 80)


def reading_words(check: ReadingCheck, unit: str) -> str:
    """Return a reading's verdict and residual, such as ``good, off 0.12 ft (0.8 sd)``."""
    off = f"{check.residual:z.1f}°" if check.is_angle else format_length(check.residual, unit, 2)
    words = f"{READING_WORDS[check.verdict]}, off {off} ({abs(check.standardised):.1f} sd)"
    return f"{words}; set this one aside first" if check.set_aside_first else words


def points_layer(report: Report) -> Layer:
    """Return the named points to tape from, and spot levels."""
    unit = report.site.unit
    points = tuple(
        Mark(
            point.easting_m,
            point.northing_m,
            "point",
            "" if point.name == report.site.start.point else label(point.name, 22),
            Detail(tidy(point.name), (("Use", "a point to tape from"),)),
        )
        for point in report.site.plan.points
    )
    levels = tuple(
        Mark(
            level.easting_m,
            level.northing_m,
            "level",
            f"{length(level.elevation_m, unit)}",
            Detail(
                tidy(level.name) or "Spot level", (("Elevation", length(level.elevation_m, unit)),)
            ),
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
    place = report.route.positions([transmitter_footage(report, locate)])[0, :2]
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
            detail = Detail(
                f"Locate {tidy(locate.mark)} as measured",
                (("By", "GNSS" if tie.method == "gnss" else "surveyed coordinates"),),
            )
            items.append(
                Mark(float(origin[0]), float(origin[1]), "measured", "", detail, weight=MINOR)
            )
    return items
