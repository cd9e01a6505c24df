"""The page of two runs of one pipe: a strip with both, and a table of what changed."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.pipe import round_step_m
from lateral_map.draw.style import INK, PAPER, QUIET
from lateral_map.model.again import Again, Change
from lateral_map.units import from_metres
from lateral_map.words.again import CHANGE_WORDS, again_facts, run_name
from lateral_map.words.numbers import unit_word

_TEMPLATES: Final = Path(__file__).parent / "packet" / "templates"
_WIDTH, _EDGE, _TEXT_PT = 500.0, 16.0, 7.0
_BETWEEN_PT, _LANE_PT, _LEAST_LANES = 44.0, 11.0, 5
_FILLS: Final[dict[Change, str]] = {
    "new": "#D55E00", "gone": PAPER, "worse": "#CC79A7", "less": "#56B4E9",
    "other name": "#F0E442", "unchanged": "#9aa2a8", "not reached before": PAPER,
    "not reached now": PAPER,
}  # fmt: skip


def again_html(again: Again) -> str:
    """Return again.html, one page that stands alone, which prints too."""
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    drawing = Markup(draw_strip(again))  # noqa: S704 - written by our Canvas
    return environment.get_template("again.html").render(drawing=drawing, **again_facts(again))


@dataclass(frozen=True, slots=True)
class _Seen:
    """A finding on one run's line: from where to where along the sheet, and its letters."""

    index: int  # of what it was compared with
    before: bool
    left: float
    right: float
    words: str
    middle: float
    lane: int


def draw_strip(again: Again) -> str:
    """Draw both runs over one another on the later footage, each pair joined by a line."""
    site, facts = again.now.site, again_facts(again)
    footage = again.now.stations.footage_m
    spans = {True: again.before_m, False: (float(footage[0]), float(footage[-1]))}
    places = [at for each in again.compared for at in (each.at_m, each.to_m) if at is not None]
    reached = [*places, *spans[True], *spans[False]]
    first, last = min(reached), max(reached)
    scale = (_WIDTH - 2.0 * _EDGE) / max(last - first, 1e-6)
    seen = _lettered(again, first, scale)
    # As many lanes as it takes: no words lie on others.
    lanes = {side: max([_LEAST_LANES, *(one.lane + 1 for one in seen if one.before == side)])
             for side in spans}  # fmt: skip
    rows = {True: _BETWEEN_PT + _LANE_PT * (lanes[True] - 1)}
    rows[False] = rows[True] + _BETWEEN_PT
    height = rows[False] + _BETWEEN_PT + _LANE_PT * (lanes[False] - 1)
    canvas = Canvas.sheet(
        _WIDTH, height, f"Both runs along the pipe. {facts['summary']} The table says the same."
    )
    for before, y in rows.items():
        canvas.line([(_EDGE + (at - first) * scale, y) for at in spans[before]], Stroke(INK, 2.0))
        side = 11.0 if before else height - 4.0
        canvas.text(_EDGE, side, run_name(again, before=before), 8.0, bold=True)
    step = round_step_m(45.0 / scale, site.unit)
    tick = step * (first // step + 1)
    while tick < last:
        x, y = _EDGE + (tick - first) * scale, (rows[True] + rows[False]) / 2.0
        words = f"{from_metres(tick, site.unit):g} {unit_word(site.unit)}"
        canvas.text(x, y + 2.5, words, _TEXT_PT, anchor="middle", colour=QUIET)
        tick += step
    for one in seen:
        y = rows[one.before]
        canvas.line([(one.left, y), (one.right, y)], Stroke(INK, 5.0))
        away = 14.0 + _LANE_PT * one.lane
        at = y - away if one.before else y + away + 5.0
        foot = at + (1.0 if one.before else -6.0)
        canvas.line([(one.left, y), (one.left, foot)], Stroke(QUIET, 0.4))
        canvas.text(one.middle, at, one.words, _TEXT_PT, anchor="middle")
    ends: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for one in seen:
        ends[one.index].append((one.left, rows[one.before]))
    for index, both in ends.items():
        if len(both) == 2:
            canvas.line(both, Stroke(QUIET, 0.8, (3.0, 2.0)))
        for place in both:
            fill = _FILLS[again.compared[index].change]
            canvas.circle(*place, 3.4, fill=fill, edge=Stroke(INK, 0.9))
    return canvas.to_text()


def _lettered(again: Again, first: float, scale: float) -> list[_Seen]:
    """Return every finding of both runs, each lettered in the first lane that has room for it."""
    seen: list[_Seen] = []
    taken: dict[tuple[bool, int], float] = defaultdict(lambda: -9.0)
    for index, each in enumerate(again.compared):
        later = (each.now.finding.footage_m, each.now.finding.to_m) if each.now else (None, None)
        drawn = ((True, each.before, each.at_m, each.to_m), (False, each.now, *later))
        for before, result, at, to in drawn:
            if result is None or at is None:
                continue
            left, right = (_EDGE + (place - first) * scale for place in (at, to or at))
            # Most are unchanged, which the grey says too: what changed is what has to be read.
            changed = "" if each.change == "unchanged" else f" {CHANGE_WORDS[each.change]}"
            words = f"#{result.number}{changed}"
            wide = text_width(words, _TEXT_PT) + 4.0
            middle = min(max(left, _EDGE + wide / 2.0), _WIDTH - _EDGE - wide / 2.0)
            lane = 0
            while taken[before, lane] > middle - wide / 2.0:
                lane += 1
            taken[before, lane] = middle + wide / 2.0
            seen.append(_Seen(index, before, left, right, words, middle, lane))
    return seen
