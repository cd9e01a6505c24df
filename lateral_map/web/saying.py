"""What the readings imply, said in words the moment they are in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from lateral_map.draw.along import telling_side
from lateral_map.draw.plan.findings import finding_words
from lateral_map.draw.summary import drawing_notices, past_findings
from lateral_map.draw.text import label, length, listed, odds, plus_minus, range_95, tidy
from lateral_map.model.results import FindingResult, ReadingCheck, Report

Tone = Literal["stop", "watch", "plain", "good"]
_SUSPECT: Final = 3.29


@dataclass(frozen=True, slots=True)
class Saying:
    """One thing the readings imply. ``footage_m`` ties it to the drawing, ``mark`` to a row."""

    tone: Tone
    title: str
    words: str
    footage_m: float | None = None
    mark: str = ""


def say_all(report: Report) -> tuple[Saying, ...]:
    """Return what a report's readings imply: what needs doing first."""
    parts = (_suspects, _close_calls, _mirrors, _uncertainty, _crossings, _past, _next, _checks,
             _notices)  # fmt: skip
    sayings = [saying for part in parts for saying in part(report)]
    return tuple(replace(saying, words=sentence(saying.words)) for saying in sayings)


def sentence(text: str) -> str:
    """Return words as a sentence of their own: a capital at the front, a full stop at the end."""
    if not text:
        return ""
    text = text[0].upper() + text[1:].replace("+-", "±")
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _suspects(report: Report) -> Iterator[Saying]:
    """Say which reading to look at first, and name the others that it may have drawn along."""
    unit = report.site.unit
    ranked = sorted(report.suspects, key=lambda check: not check.set_aside_first)
    for check in ranked[:1]:
        advice = "Measure it again, or set its row aside and see whether the rest agrees."
        yield Saying(
            "stop",
            f"Suspect: {tidy(check.reading, 80)}",
            f"Off by {_residual(check, unit)} against the rest of the readings: "
            f"{abs(check.standardised):.1f} of its own standard deviations, where more than "
            f"{_SUSPECT} is suspect. {advice}",
            check.footage_m,
            check.locate,
        )
    if len(ranked) > 1:
        others = [
            f"{tidy(check.reading, 60)} ({_residual(check, unit)}, "
            f"{abs(check.standardised):.1f} sd)"
            for check in ranked[1:]
        ]
        yield Saying(
            "watch",
            "Suspect too, perhaps because of it",
            f"{listed(others, 8)}. Settle the first one, then look at these again.",
            ranked[1].footage_m,
        )


def _residual(check: ReadingCheck, unit: str) -> str:
    if check.is_angle:
        return f"{check.residual:+.1f}°"
    sign = "−" if check.residual < 0.0 else "+"
    return f"{sign}{length(abs(check.residual), unit)}"


def _close_calls(report: Report) -> Iterator[Saying]:
    for result in report.findings:
        side = telling_side(report, result)
        if side is not None and side.verdict == "too close to call":
            yield Saying(
                "watch",
                f"Too close to call: {_finding(result, report.site.unit)}",
                f"{plus_minus(side.past_m, side.sd_past_m, report.site.unit)} past "
                f"{label(side.line)}; {odds(side.probability_past)} that it lies past it. "
                f"{sentence(tidy(result.settle, 300))}",
                result.finding.footage_m,
            )


def _finding(result: FindingResult, unit: str) -> str:
    return f"{finding_words(result)} at {length(result.finding.footage_m, unit)}"


def _mirrors(report: Report) -> Iterator[Saying]:
    if report.route.alternatives:
        yield Saying(
            "watch",
            "More than one line fits",
            "Two tapes cross at two places. The other lines that fit about as well are drawn "
            "dotted; one more tape or a GNSS fix settles it.",
        )


def _uncertainty(report: Report) -> Iterator[Saying]:
    stations, unit = report.stations, report.site.unit
    across = stations.across_sd_m
    worst, best = int(np.argmax(across)), int(np.argmin(across))
    words = (
        f"In plan, across the pipe: {range_95(float(across[best]), unit)} at best, "
        f"{range_95(float(across[worst]), unit)} at worst, at "
        f"{length(float(stations.footage_m[worst]), unit)}. Depth: "
        f"{range_95(float(stations.depth_sd_m.max()), unit)} at worst. (95 %)"
    )
    yield Saying("plain", "How sure the line is", words, float(stations.footage_m[worst]))


def _crossings(report: Report) -> Iterator[Saying]:
    unit = report.site.unit
    for crossing in report.crossings:
        if crossing.decides:
            yield Saying(
                "plain",
                f"Crosses {label(crossing.line)}",
                f"At {plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)}, "
                f"{plus_minus(crossing.depth_m, crossing.sd_depth_m, unit)} deep. "
                f"{sentence(tidy(crossing.note, 200))}".strip(),
                crossing.footage_m,
            )


def _past(report: Report) -> Iterator[Saying]:
    line, past, _ = past_findings(report)
    if past:
        names = listed([_finding(result, report.site.unit) for result in past], 4)
        yield Saying("plain", f"Past {label(line)}", names)


def _next(report: Report) -> Iterator[Saying]:
    if report.next_locate is not None:
        yield Saying(
            "plain", "Locate here next", tidy(report.next_locate.reason, 400),
            report.next_locate.footage_m,
        )  # fmt: skip


def _checks(report: Report) -> Iterator[Saying]:
    unchecked = [check for check in report.readings if check.verdict == "unchecked"]
    if report.suspects or not report.readings:
        return
    if unchecked:
        yield Saying(
            "plain",
            "Not checked by anything",
            f"{listed([tidy(check.reading, 40) for check in unchecked], 4)}: nothing else would "
            "show a slip there.",
        )
    else:
        yield Saying(
            "good", "The readings agree",
            f"{len(report.readings)} readings, each checked by others; none is suspect.",
        )  # fmt: skip


def _notices(report: Report) -> Iterator[Saying]:
    notices = drawing_notices(report)
    if notices:
        yield Saying("plain", "Taken as given", " ".join(notices))
