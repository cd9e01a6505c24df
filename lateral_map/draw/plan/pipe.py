"""Along the pipe: its line and corridor, footages, bends, crossings, who answers, where to dig."""

from __future__ import annotations

from typing import Final

import numpy as np

from lateral_map.draw.plan.scene import (
    BEND,
    BOUNDARY,
    DECIDING_CROSSING,
    OTHER,
    SUSPECT,
    TERMINAL,
    Area,
    Layer,
    Line,
    Mark,
    line_along,
)
from lateral_map.draw.style import PARTY_LINES
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.diagnosis import AT_A_PLACE
from lateral_map.model.results import Crossing, Report
from lateral_map.units import from_metres, to_metres
from lateral_map.words.names import BASIS_WORDS, answering_words, end_words
from lateral_map.words.numbers import label, tidy
from lateral_map.words.picked import (
    ALTERNATIVE_WORDS,
    CORRIDOR_WORDS,
    UNDECIDED_WORDS,
    Detail,
    alternative_picked,
    basis_picked,
    bend_picked,
    bend_words,
    blames_bend,
    corridor_picked,
    crossing_picked,
    dig_picked,
    end_picked,
    party_picked,
    slip_picked,
)
from lateral_map.words.technician import crossing_words

_STEPS: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
_TICK_WEIGHT: Final = 1


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
    end = f"End: {end_words(report.site).removeprefix('to the ').removeprefix('to ')}"
    start_words = tidy(report.site.start.point or "Start")
    ends = (
        _end(report, first, start_words, "Start of the footage"),
        _end(report, last, end, end),
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
        Line(one.line_m, "alternative", alternative_picked(), words)
        for one in report.route.alternatives
    )
    return Layer("alternatives", "Other solutions", items, (("alternative", words),))


def footage_layer(report: Report, step_m: float | None = None) -> Layer:
    """Return a tick across the line at every ``step_m`` of footage, about ten where not given."""
    first, last = float(report.stations.footage_m[0]), float(report.stations.footage_m[-1])
    unit = report.site.unit
    step = step_m or round_step_m((last - first) / 14.0, unit)
    at = step * np.arange(np.ceil(first / step - 1e-9), np.floor(last / step + 1e-9) + 1.0)
    places = report.route.positions(at)[:, :2]
    headings = report.route.headings_deg(at)[0]
    marks = tuple(
        Mark(
            float(east),
            float(north),
            "tick",
            f"{from_metres(footage, unit):zg}",
            turn_deg=float(heading),
            footage_m=float(footage),
            weight=_TICK_WEIGHT,
        )
        for footage, (east, north), heading in zip(at, places, headings, strict=True)
    )
    return Layer("footage", "Footage", marks, (("tick", "Footage along the pipe"),))


def round_step_m(least_m: float, unit: str) -> float:
    """Return a round number of the unit (m), no less than ``least_m`` but for very long ones."""
    steps = [to_metres(value, unit) for value in _STEPS]
    return next((step for step in steps if step >= least_m), steps[-1])


def bends_layer(report: Report) -> Layer:
    """Return every bend, its triangle pointing the way the pipe runs into it.

    A bend that may have gone wrong stands out; so does a place along the run where something may.
    """
    marks = []
    for diagnosis in report.likely_diagnoses:
        slip = diagnosis.slip
        if slip.slip not in AT_A_PLACE or slip.footage_m is None:
            continue
        east, north, _ = report.route.positions([slip.footage_m])[0].tolist()
        caption = "a bend here ?" if slip.slip == "bend not noted" else "counter slipped ?"
        heading = float(report.route.headings_deg([slip.footage_m])[0][0])
        detail, at = slip_picked(report, diagnosis), slip.footage_m
        marks.append(
            Mark(
                east, north, "slip", caption, detail,
                turn_deg=heading, footage_m=at, weight=SUSPECT,
            )
        )  # fmt: skip
    for bend in report.site.bends:
        east, north, _ = report.route.positions([bend.footage_m])[0].tolist()
        marks.append(
            Mark(
                east,
                north,
                "slip" if blames_bend(report, bend) else "bend",
                bend_words(bend) + (" ?" if blames_bend(report, bend) else ""),
                bend_picked(report, bend),
                turn_deg=float(report.route.headings_deg([bend.footage_m])[0][0]),
                footage_m=bend.footage_m,
                weight=BEND,
            )
        )
    legend = [("bend", "Bend")]
    if any(mark.style == "slip" for mark in marks):
        legend.append(("slip", "Where something may have gone wrong"))
    return Layer("bends", "Bends", tuple(marks), tuple(legend))


def crossings_layer(report: Report) -> Layer:
    """Return every crossing, its gate set across the line."""
    marks: list[Mark] = []
    # Where lines coincide the weightiest crossing bears the words of all.
    for together in report.crossings_together:
        words = crossing_words(together, report.site.unit)
        telling = max(together, key=lambda each: _weight(report, each))
        marks += [
            Mark(
                each.easting_m,
                each.northing_m,
                "gate",
                words if each is telling else "",
                crossing_picked(report, each),
                turn_deg=float(report.route.headings_deg([each.footage_m])[0][0]),
                footage_m=each.footage_m,
                weight=_weight(report, each),
            )
            for each in together
        ]
    legend = (("gate", "Crossing; its 95 % range stands beside it"),)
    return Layer("crossings", "Crossings", tuple(marks), legend)


def _weight(report: Report, crossing: Crossing) -> int:
    if crossing.decides:
        return DECIDING_CROSSING
    named = {boundary.line for boundary in report.site.boundaries}
    return BOUNDARY if crossing.line in named else OTHER


def responsibility_layer(report: Report) -> Layer:
    """Return a band along the line for each party, and one where the change is uncertain."""
    parties = party_styles(report)
    items = [
        line_along(
            report,
            stretch.from_m,
            stretch.to_m,
            parties[stretch.party] if stretch.party else "party undecided",
            party_picked(report, stretch),
            label(answering_words(stretch.parties)),
        )
        for stretch in report.responsibility
        if stretch.to_m > stretch.from_m
    ]
    items += [
        line_along(report, low, high, "party undecided", Detail(UNDECIDED_WORDS))
        for low, high in undecided(report)
    ]
    legend = [(style, tidy(party)) for party, style in parties.items()]
    if undecided(report) or not all(stretch.party for stretch in report.responsibility):
        legend.append(("party undecided", UNDECIDED_WORDS))
    return Layer("responsibility", "Who answers", tuple(items), tuple(legend), shown=False)


def party_styles(report: Report) -> dict[str, str]:
    """Return a style key for each party, in order along the line."""
    names = dict.fromkeys(one.party for one in report.responsibility if one.party)
    return {party: f"party {index % len(PARTY_LINES)}" for index, party in enumerate(names)}


def undecided(report: Report) -> tuple[tuple[float, float], ...]:
    """Return footages (m) from-to, clipped to the run, within 95 % of each change of party."""
    first = float(report.stations.footage_m[0])
    last = float(report.stations.footage_m[-1])
    spans = (
        (
            max(stretch.to_m - TWO_SIDED_95 * stretch.sd_to_m, first),
            min(stretch.to_m + TWO_SIDED_95 * stretch.sd_to_m, last),
        )
        for stretch in report.responsibility
        if stretch.sd_to_m > 0.0
    )
    return tuple(span for span in spans if span[1] > span[0])


def dig_layer(report: Report) -> Layer:
    """Return the dig buffer: outside radius, tolerance zone and 95 % lateral uncertainty."""
    items = (
        ()
        if report.dig.polygon.is_empty
        else (Area(report.dig.polygon, "dig", dig_picked(report)),)
    )
    return Layer("dig", "Dig buffer", items, (("dig", "Dig buffer: hand dig in here"),))
