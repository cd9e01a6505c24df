"""What the flags of a profile say: events above the ground, findings below the pipe."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lateral_map.draw.paint.flags import Flag, PlacedFlag, place_flags
from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.profile.frame import Curves, Frame
from lateral_map.draw.profile.parts import CAP_PT, TEXT_PT
from lateral_map.draw.style import INK, QUIET
from lateral_map.model.results import Report
from lateral_map.units import from_metres
from lateral_map.words.names import finding_words
from lateral_map.words.numbers import decimals_for, label, listed, unit_word
from lateral_map.words.picked import bend_words
from lateral_map.words.technician import crossing_words

LANE_PT = 11.6
_GAP_PT = 5.0
# Flags of greater weight take their fullest wording first.
_DECIDING, _CROSSING, _SUSPECT, _EVENT = 1000, 500, 400, 0
# So many findings nearest to where parties change never share a flag with others.
_OWN_FLAG = 4


def events_above(
    report: Report, frame: Frame, lanes: int, right_pt: float
) -> tuple[PlacedFlag, ...]:
    """Return the crossings, locates and bends as flags in lanes over a graph."""
    narrow = frame.box.width < 400.0
    unit, flags = report.site.unit, []
    for together in report.crossings_together:
        # Where lines coincide one flag bears the names of all, that of the line that decides first.
        first = max(together, key=lambda one: one.decides)
        if not frame.holds(first.footage_m):
            continue
        near = f"{from_metres(first.footage_m, unit):.{decimals_for(unit)}f} {unit_word(unit)}"
        names = listed([first.line, *(one.line for one in together if one is not first)])
        shorter = [label(names, most) for most in ((14, 10, 6) if narrow else (28, 6))]
        flags.append(
            Flag(
                frame.x(first.footage_m),
                (crossing_words(together, unit), f"{shorter[0]} {near}", *shorter),
                (shorter[0],),
                joins=False,
                bold=first.decides,
                key="crossing",
                weight=_DECIDING if first.decides else _CROSSING,
            )
        )
    for one in report.locates:
        if not frame.holds(one.footage_m):
            continue
        name, suspect = label(one.locate.mark, 8), one.state == "suspect"
        remark = {"suspect": " suspect", "set aside": " not used"}.get(one.state, "")
        flags.append(
            Flag(
                frame.x(one.footage_m),
                (f"{name}{remark}", f"{name}?" if suspect else name) if remark else (name,),
                (name,),
                joins=not suspect,
                key="locate",
                bold=suspect,
                weight=_SUSPECT if suspect else _EVENT,
            )
        )
    for bend in report.site.bends:
        if not frame.holds(bend.footage_m):
            continue
        words = short = bend_words(bend)
        for long, sign in ((" right", "R"), (" left", "L"), (" down", "↓"), (" up", "↑")):
            short = short.replace(long, sign)
        wordings = (short, "bend") if narrow else (f"bend {words}", words, short, "bend")
        flags.append(Flag(frame.x(bend.footage_m), wordings, ("bend",), key="bend"))
    return _placed(flags, lanes, right_pt)


def findings_below(
    report: Report, frame: Frame, lanes: int, right_pt: float
) -> tuple[PlacedFlag, ...]:
    """Return the findings as numbered flags; those nearest to where parties change come first."""
    changes = [one.footage_m for one in report.deciding_crossings]
    shown = [one for one in report.findings if frame.holds(one.near.footage_m)]
    gaps = [min((abs(one.near.footage_m - at) for at in changes), default=0.0) for one in shown]
    rank = np.argsort(np.argsort(gaps, kind="stable"), kind="stable")
    flags = []
    for one, behind in zip(shown, rank if changes else [_OWN_FLAG] * len(shown), strict=True):
        number, danger = f"#{one.number}", one.finding_class == "danger"
        name = label(one.finding.finding, 18)
        wordings = (f"{number} {finding_words(one)}", f"{number} {name}", number)
        flags.append(
            Flag(
                frame.x(one.near.footage_m),
                wordings,
                (number,),
                joins=behind >= _OWN_FLAG and not danger,
                bold=danger,
                key="finding",
                weight=-int(behind),
            )
        )
    return _placed(flags, lanes, right_pt)


def lanes_pt(placed: Sequence[PlacedFlag]) -> float:
    """Return the height that flags' lanes take."""
    lanes = 1 + max((flag.lane for flag in placed), default=-1)
    return lanes * LANE_PT + (4.0 if lanes else 0.0)


def hang_flags(
    canvas: Canvas, placed: Sequence[PlacedFlag], frame: Frame, curves: Curves, *, up: bool
) -> None:
    """Draw flags over a graph, their staffs down to the ground, or under it from the invert."""
    edge, sense = (frame.box.top, -1.0) if up else (frame.box.bottom, 1.0)
    for flag in placed:
        x = flag.flag.at
        middle = edge + sense * (3.0 + (flag.lane + 0.5) * LANE_PT)
        share = (x - frame.box.left) / frame.box.width
        footage = frame.from_m + share * (frame.to_m - frame.from_m)
        level = curves.ground_at(footage) if up else curves.invert_at(footage)
        foot = edge if flag.flag.key == "crossing" else frame.y(level)
        group = canvas.group(f"label label-{flag.flag.key}")
        group.line([(x, foot), (x, middle + sense * 4.5)], Stroke(QUIET, 0.5))
        group.text(x + 2.2, middle + CAP_PT, flag.text, TEXT_PT, bold=flag.flag.bold, colour=INK)


def _placed(flags: Sequence[Flag], lanes: int, right_pt: float) -> tuple[PlacedFlag, ...]:
    def measure(text: str, bold: bool) -> float:
        return 2.2 + text_width(text, TEXT_PT, bold=bold)

    return place_flags(flags, lanes=lanes, right=right_pt, gap=_GAP_PT, measure=measure)
