"""What the flags of a profile say: events above the ground, findings below the pipe."""

from __future__ import annotations

from lateral_map.draw.along import checks_by_locate, transmitter_footage
from lateral_map.draw.flags import Flag, drawable
from lateral_map.draw.plan.bends import bend_words
from lateral_map.draw.plan.locates import locate_verdict
from lateral_map.draw.profile_layout import Window
from lateral_map.model.results import Report
from lateral_map.model.site import Bend, Locate
from lateral_map.units import from_metres
from lateral_map.words.names import finding_words
from lateral_map.words.numbers import decimals_for, label, plus_minus, unit_word


def event_flags(report: Report, window: Window, *, narrow: bool) -> tuple[Flag, ...]:
    """Return flags of the crossings, locates and bends."""
    checks = checks_by_locate(report)
    return (
        *_crossing_flags(report, window, narrow=narrow),
        *(
            _locate_flag(
                report, window, locate, locate_verdict(locate, checks.get(locate.mark, ()))
            )
            for locate in report.site.locates
        ),
        *(_bend_flag(report, window, bend, narrow=narrow) for bend in report.site.bends),
    )


def _across(report: Report, window: Window, footage_m: float) -> float:
    return window.across_in(from_metres(footage_m, report.site.unit))


def _crossing_flags(report: Report, window: Window, *, narrow: bool) -> list[Flag]:
    unit = report.site.unit
    flags = []
    for crossing in report.crossings:
        name = drawable(label(crossing.line, 12 if narrow else 22))
        place = plus_minus(crossing.footage_m, crossing.sd_footage_m, unit)
        rounded = f"{from_metres(crossing.footage_m, unit):.{decimals_for(unit)}f}"
        wordings = (f"{name} {place}", f"{name} {rounded} {unit_word(unit)}", name, name[:6])
        at = _across(report, window, crossing.footage_m)
        flags.append(Flag(at, wordings, (name,), joins=False, bold=True, key="crossing", weight=2))
    return flags


def _locate_flag(report: Report, window: Window, locate: Locate, verdict: str) -> Flag:
    name = drawable(label(locate.mark, 8))
    remark = {"suspect": " suspect", "set aside": " not used"}.get(verdict, "")
    at = _across(report, window, transmitter_footage(report, locate))
    short = f"{name}?" if verdict == "suspect" else name
    suspect = verdict == "suspect"
    wordings = (f"{name}{remark}", short)
    return Flag(
        at, wordings, (name,), joins=not suspect, key="locate", bold=suspect, weight=int(suspect)
    )


def _bend_flag(report: Report, window: Window, bend: Bend, *, narrow: bool) -> Flag:
    words = bend_words(bend)
    short = (
        words.replace(" right", "R").replace(" left", "L").replace(" down", "↓").replace(" up", "↑")
    )
    wordings = (short, "bend") if narrow else (f"bend {words}", words, short, "bend")
    return Flag(_across(report, window, bend.footage_m), wordings, ("bend",), key="bend")


def finding_flags(report: Report, window: Window, *, narrow: bool) -> tuple[Flag, ...]:
    """Return numbered flags of the findings."""
    flags = []
    for number, result in enumerate(report.findings, start=1):
        name = drawable(label(result.finding.finding, 18))
        full = drawable(finding_words(result))
        wordings = (f"{number} {full}", f"{number} {name}", str(number))
        at = _across(report, window, result.finding.footage_m)
        shown = wordings[1:] if narrow else wordings
        flags.append(Flag(at, shown, (str(number),), key="finding"))
    return tuple(flags)
