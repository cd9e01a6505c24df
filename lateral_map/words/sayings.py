"""What the readings imply, said in words the moment they are in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lateral_map.errors import ImpossibleError
from lateral_map.model.diagnosis import LIKELY, Diagnosis
from lateral_map.model.results import FindingResult, ReadingCheck, Report
from lateral_map.model.site import Site
from lateral_map.reading.applied import applied_entries
from lateral_map.report import explain_impossible
from lateral_map.words.desk import desk_missing, tap_question
from lateral_map.words.diagnoses import applied_told, diagnosis_words, told_once
from lateral_map.words.names import finding_words, reading_name
from lateral_map.words.notices import as_sentence, drawing_notices, grazing_words
from lateral_map.words.numbers import (
    in_full,
    length,
    listed,
    plus_minus,
    range_95,
    tidy,
)
from lateral_map.words.technician import (
    enough_words,
    next_locate_words,
    planned_title,
    planned_words,
    settling_words,
    verdict_words,
)

_STILL_OPEN: Final = (
    "Until you say that your notes, the video or a new reading bear it out, whatever else the "
    "readings may mean stays open beside it"
)

Tone = Literal["stop", "watch", "plain", "good"]


@dataclass(frozen=True, slots=True)
class Saying:
    """One thing the readings imply. ``footage_m`` ties it to the drawing, ``mark`` to a row.

    ``entries`` are what site.toml holds under [[applied]] once it is taken for true; ``applied`` is
    the place there, from 0, of what is taken so already, ``unchecked`` that nobody has said it was
    borne out. ``points`` are sentences side by side. ``settings`` are the fields of site.toml whose
    faults it tells in the reader's own words.
    """

    tone: Tone
    title: str
    words: str
    footage_m: float | None = None
    mark: str = ""
    entries: tuple[str, ...] = ()
    applied: int | None = None
    unchecked: bool = False
    points: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()


def say_all(report: Report) -> tuple[Saying, ...]:
    """Return what a report's readings imply: what needs doing first."""
    unit = report.site.unit
    sayings = [
        Saying(
            "stop",
            f"STOP: {_finding(result, unit)}",
            "A foreign pipe or cable in the sewer: cut and dig nothing there, keep ignition "
            "away, leave, and call its owner and the emergency number.",
            result.finding.footage_m,
        )
        for result in report.dangers
    ]
    sayings += _which_reading(report)
    sayings += [
        Saying(
            "watch",
            f"Too close to call: {_finding(result, unit)}",
            f"{as_sentence(verdict_words(result, unit))} "
            f"{as_sentence(settling_words(result.settling, unit))}".strip(),
            result.finding.footage_m,
        )
        for result in report.findings
        if result.verdict == "too close to call"
    ]
    sayings += _what_is_known(report)
    unchecked = [check for check in report.readings if check.verdict == "unchecked"]
    names = [tidy(reading_name(check.id, report.site.plan)) for check in unchecked]
    if unchecked and not report.suspects:
        words = f"{listed(names)}: nothing else would show a slip there."
        sayings.append(Saying("plain", "Not checked by anything", words))
    elif report.readings and not report.suspects:
        words = f"{len(report.readings)} readings, each checked by others; none is suspect."
        sayings.append(Saying("good", "The readings agree", words))
    if notices := drawing_notices(report):
        sayings.append(Saying("plain", "Taken as given", "", points=tuple(notices)))
    if asked := tap_question(report):
        sayings.append(Saying("watch", "The tap on the main", asked))
    if missing := desk_missing(report):
        words = f"{listed(missing, len(missing))}. Where they are known, fill them in under Site."
        sayings.append(Saying("plain", "The utility's desk would ask for", words))
    return tuple(replace(saying, words=as_sentence(saying.words)) for saying in sayings)


def _which_reading(report: Report) -> Iterator[Saying]:
    """Say what may have gone wrong, or else which reading to look at first."""
    site = report.site
    unit = site.unit
    for index, (one, told) in enumerate(zip(site.applied, applied_told(site), strict=True)):
        at, mark = one.slip.footage_m, one.slip.id.mark if one.slip.id else ""
        words = told if one.checked else f"{told}. {_STILL_OPEN}"
        yield Saying("watch", "Taken so", words, at, mark, applied=index, unchecked=not one.checked)
    yield from _diagnosed(report.diagnoses, site)
    ranked = sorted(report.suspects, key=lambda check: not check.set_aside_first)
    if report.likely_diagnoses:
        # Told already, and the rest are its victims.
        ranked = []
    for check in ranked[:1]:
        yield Saying(
            "stop",
            f"Suspect: {tidy(reading_name(check.id, site.plan))}",
            f"Off by {_residual(check, unit)} against the rest of the readings, far more than its "
            "accuracy allows. Measure it again, or set its row aside and see whether the rest "
            "agrees.",
            check.footage_m,
            check.id.mark,
        )
    if len(ranked) > 1:
        others = [
            f"{tidy(reading_name(check.id, site.plan))} ({_residual(check, unit)})"
            for check in ranked[1:]
        ]
        yield Saying(
            "watch",
            "Suspect too, perhaps because of it",
            f"{listed(others, 8)}. Settle the first one, then look at these again.",
            ranked[1].footage_m,
        )


def _diagnosed(diagnoses: Iterable[Diagnosis], site: Site) -> Iterator[Saying]:
    """Say each diagnosis worth telling, with what takes it for true."""
    for diagnosis in told_once(diagnoses):
        likely = diagnosis.probability >= LIKELY
        words = diagnosis_words(diagnosis, site.plan, site.unit)
        yield Saying(
            "stop" if likely else "watch",
            "What may have gone wrong",
            f"{'Most probably' if likely else 'Perhaps'} {words}. Nothing is changed until you "
            "take it so: look at your notes, or measure it again.",
            diagnosis.slip.footage_m,
            diagnosis.slip.id.mark if diagnosis.slip.id else "",
            applied_entries(site, diagnosis.together),
        )


def say_impossible(error: ImpossibleError) -> tuple[Saying, ...]:
    """Return what would explain why readings are impossible; nothing where nothing likely does."""
    return tuple(_diagnosed(explain_impossible(error), error.site))


def _residual(check: ReadingCheck, unit: str) -> str:
    if check.is_angle:
        return f"{check.residual:+.1f}°"
    sign = "−" if check.residual < 0.0 else "+"
    return f"{sign}{length(abs(check.residual), unit)}"


def _finding(result: FindingResult, unit: str) -> str:
    return f"{finding_words(result)} at {length(result.finding.footage_m, unit)}"


def _what_is_known(report: Report) -> Iterator[Saying]:
    """Say how sure the line is, where it crosses, what lies past, where to locate next."""
    stations, unit = report.stations, report.site.unit
    if report.route.alternatives:
        yield Saying(
            "watch",
            "More than one line fits",
            "Two tapes cross at two places. The other lines that fit about as well are drawn "
            "dotted; one more tape or a GNSS fix settles it.",
        )
    across = stations.across_sd_m
    worst, best = int(np.argmax(across)), int(np.argmin(across))
    words = (
        f"In plan, across the pipe: {range_95(float(across[best]), unit)} at best, "
        f"{range_95(float(across[worst]), unit)} at worst, at "
        f"{length(float(stations.footage_m[worst]), unit)}. Depth: "
        f"{range_95(float(stations.depth_sd_m.max()), unit)} at worst. (95 %)"
    )
    yield Saying("plain", "How sure the line is", words, float(stations.footage_m[worst]))
    for crossing in report.deciding_crossings:
        yield Saying(
            "plain",
            f"Crosses {in_full(crossing.line)}",
            f"At {plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, "
            f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} deep. "
            f"{as_sentence(grazing_words(crossing, unit))}".strip(),
            crossing.footage_m,
        )
    past = [one for one in report.findings if one.verdict in ("past", "across", "past from within")]
    for line in dict.fromkeys(one.deciding.line for one in past if one.deciding):
        here = [one for one in past if one.deciding and one.deciding.line == line]
        yield Saying(
            "plain",
            f"Past {in_full(line)}",
            listed([_finding(one, unit) for one in here]),
        )
    if planned := planned_words(report):
        yield Saying("plain", planned_title(report), planned)
    elif report.next_locate is not None:
        words = tidy(next_locate_words(report.next_locate, report.site), 400)
        yield Saying("plain", "Locate here next", words, report.next_locate.footage_m)
    elif report.enough:
        yield Saying("plain", "Enough", enough_words(report))
