"""summary.html: how the sites spread, what to look at first, and which sites failed and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

from lateral_map.draw.page import asset, content_policy, page_template
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.words.cautions import PROGRAMME_CAUTION, PROGRAMME_DANGERS
from lateral_map.words.names import VERDICT_WORDS
from lateral_map.words.numbers import chance_words, in_full, tidy, unit_word
from lateral_map.words.programme import (
    OPEN_DIAGNOSES,
    SKETCH,
    STATE_WORDS,
    VERDICT_COUNT_WORDS,
    same_ground_words,
    undiagnosed_sites_words,
    who_answers_words,
)

if TYPE_CHECKING:
    from lateral_map.batch.gather import Gathered, Spread

_WIDE, _HIGH, _LEFT, _BASE = 340, 120, 4, 96
_HOME: Final = "lateral_map.batch"
_REASONS: Final = 30


def summary_page(totals: Gathered, title: str) -> str:
    """Return the page as one self-contained HTML text without a script."""
    styles = (asset("batch.css", _HOME),)
    unit = unit_word(totals.unit)
    page: str = page_template("summary.html.j2", _HOME).render(
        policy=content_policy(styles, ()),
        style=styles[0],
        title=title,
        caution=PROGRAMME_CAUTION,
        danger_words=PROGRAMME_DANGERS,
        unit=unit,
        totals=totals,
        states=[
            (words, totals.states[state])
            for state, words in STATE_WORDS.items()
            if totals.states[state]
        ],
        verdicts=[
            (words, totals.verdicts[verdict])
            for verdict, words in VERDICT_COUNT_WORDS.items()
            if totals.verdicts[verdict]
        ],
        verdict_words=VERDICT_WORDS,
        undiagnosed_words=undiagnosed_sites_words(totals.undiagnosed),
        open_words=OPEN_DIAGNOSES,
        same_ground_words=same_ground_words(totals.sharing),
        sketch_words=SKETCH,
        parts=[
            ("dangers", "Dangers", totals.dangers.count),
            ("past", "Defects past their boundary", totals.past.count),
            ("open", "Open diagnoses", totals.open.count),
            ("spread", "How the sites spread", None),
            ("failed", "Failed", totals.failed.count),
            ("twice", "There twice", totals.copies.count + totals.sharing),
        ],
        all_sites=totals.states.total(),
        bars=[_bars(spread, name, unit) for name, spread in totals.spreads.items()],
        reasons=totals.reasons.shared()[:_REASONS],
        link=lambda site: f"overview.html#site={quote(site, safe='')}",
        tidy=tidy,
        in_full=in_full,
        chance=chance_words,
        answers=lambda told: who_answers_words(
            told["answers"], told["may_answer"], told["verdict"]
        ),
        at=lambda told: f"{told['footage']:.1f} {unit}",
        deep=lambda told: (
            f"{told['depth_to_invert']:.1f} ± {TWO_SIDED_95 * told['depth_sd']:.1f} {unit}"
        ),
    )
    return page


def _bars(spread: Spread, name: str, unit: str) -> dict[str, Any]:
    """Return a distribution as bars: x, y, width, height, the count, and the edges under them."""
    most, step = max(spread.counts, default=0) or 1, (_WIDE - 2 * _LEFT) / len(spread.counts)
    bars = []
    for at, count in enumerate(spread.counts):
        high = (_BASE - 16) * count / most
        bars.append({"x": _LEFT + at * step + 1.5, "y": _BASE - high, "width": step - 3.0,
                     "height": high, "count": count,
                     "middle": _LEFT + (at + 0.5) * step})  # fmt: skip
    ticks = [(_LEFT + at * step, f"{edge:g}") for at, edge in enumerate(spread.edges)]
    return {
        "title": spread.title,
        "unit": {"depth": unit, "radius": unit, "length": unit, "seconds": "s"}.get(name, ""),
        "open": name in ("depth", "radius", "length", "seconds"),
        "bars": bars,
        "ticks": ticks,
        "count": sum(spread.counts),
        "wide": _WIDE,
        "high": _HIGH,
        "base": _BASE,
    }
