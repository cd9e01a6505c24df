"""The line itself, coloured by what it rests on; its ends; its 95 % corridor; other solutions."""

from __future__ import annotations

from lateral_map.draw.plan.scene import TERMINAL, Area, Layer, Line, Mark, line_along
from lateral_map.model.results import Report
from lateral_map.words.names import BASIS_WORDS
from lateral_map.words.numbers import tidy
from lateral_map.words.picked import (
    ALTERNATIVE_WORDS,
    CORRIDOR_WORDS,
    alternative_picked,
    basis_picked,
    corridor_picked,
    end_picked,
)


def route_layer(report: Report) -> Layer:
    """Return the line cut by basis, with its start and end."""
    stretches = report.stations.basis_stretches()
    items = tuple(
        line_along(
            report,
            stretch.from_m,
            stretch.to_m,
            f"basis {stretch.basis}",
            basis_picked(stretch, report.site.unit),
        )
        for stretch in stretches
    )
    found = {stretch.basis for stretch in stretches}
    legend = tuple(
        (f"basis {basis}", words) for basis, words in BASIS_WORDS.items() if basis in found
    )
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    end_words = "End: main" if report.site.run.reached_main else "End: main not reached"
    start_words = tidy(report.site.start.point or "Start")
    ends = (
        _end(report, first, start_words, "Start of the footage"),
        _end(report, last, end_words, end_words),
    )
    legend = (*legend, ("terminal", "Start and end of the run"))
    return Layer("route", "Lateral", (*items, *ends), legend)


def _end(report: Report, footage_m: float, caption: str, title: str) -> Mark:
    east, north, _ = (float(value) for value in report.route.positions([footage_m])[0])
    return Mark(
        east,
        north,
        "terminal",
        caption,
        end_picked(report, footage_m, title),
        footage_m=footage_m,
        weight=TERMINAL,
    )


def corridor_layer(report: Report) -> Layer:
    """Return the 95 % corridor of the pipe's centreline."""
    corridor = report.dig.corridor
    items = () if corridor.is_empty else (Area(corridor, "corridor", corridor_picked()),)
    return Layer("corridor", "95 % corridor", items, (("corridor", CORRIDOR_WORDS),))


def alternatives_layer(report: Report) -> Layer:
    """Return other solutions that fit the readings about as well."""
    words = ALTERNATIVE_WORDS
    items = tuple(
        Line(line, "alternative", alternative_picked(), words) for line in report.route.alternatives
    )
    return Layer("alternatives", "Other solutions", items, (("alternative", words),))
