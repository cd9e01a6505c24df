"""Two runs of one pipe in words: what is new, gone, worse, unchanged, and how sure that is."""

from __future__ import annotations

import math
from typing import Any, Final

from lateral_map.model.again import Again, Change, Repaired
from lateral_map.model.chance import TWO_SIDED_95
from lateral_map.model.results import FindingResult
from lateral_map.same_pipe import GATE, OTHER_NAME
from lateral_map.words.names import finding_words, footage_words
from lateral_map.words.notices import as_sentence, danger_notices, danger_words
from lateral_map.words.numbers import label, length, plus_minus, range_95, tidy

CHANGE_WORDS: Final[dict[Change, str]] = {
    "new": "new",
    "gone": "gone",
    "worse": "worse",
    "less": "less than before",
    "other name": "called otherwise now",
    "unchanged": "unchanged",
    "not reached before": "not reached before",
    "not reached now": "not reached now",
}


_MATCHING: Final = (
    f"Two findings are one where they lie within {math.sqrt(GATE):.0f} times the usual error of "
    f"both along the pipe, or within {math.sqrt(GATE - OTHER_NAME):.0f} times where they are "
    "called otherwise; pairs are chosen all at once. A finding is new or gone only as far as both "
    "cameras looked."
)


def again_facts(again: Again) -> dict[str, Any]:
    """Return what the page of two runs shows, as plain text and lists."""
    count = {
        words: sum(each.change == change for each in again.compared)
        for change, words in CHANGE_WORDS.items()
    }
    told = [f"{many} {words}" for words, many in count.items() if many]
    unit, rows = again.now.site.unit, []
    for each in again.compared:
        where = apart = ""
        if each.at_m is not None and each.sd_m is not None:
            more = each.to_m is not None and each.to_m > each.at_m + 1e-9
            end = f" to {length(each.to_m, unit)}" if more and each.to_m is not None else ""
            where = f"{length(each.at_m, unit)}{end} {range_95(each.sd_m, unit)}"
        if each.apart_m is not None and each.sd_m is not None:
            apart = plus_minus(each.apart_m, each.sd_m, unit)
        rows.append(
            {
                "before": _seen(each.before, again.before.site.unit),
                "where": where,
                "now": _seen(each.now, unit),
                "apart": apart,
                "change": CHANGE_WORDS[each.change],
            }
        )
    return {
        "site": tidy(again.now.site.name, 120),
        "before": run_name(again, before=True),
        "now": run_name(again, before=False),
        "summary": f"{', '.join(told)}." if told else "Neither run recorded a finding.",
        "stop": _dangers(again),
        "rows": rows,
        "repairs": [repair_words(again, one) for one in again.repaired],
        "notices": again_notices(again),
        "matching": _MATCHING,
    }


def _dangers(again: Again) -> list[str]:
    """Return what to do about each danger, of the earlier run too where this one did not see it."""
    said = list(danger_notices(again.now))
    for each in again.compared:
        if each.before and each.before.finding_class == "danger" and each.now is None:
            stop = danger_words(each.before, again.before.site.unit)
            said.append(f"In the earlier run, and not seen in this one: {stop}")
    return [as_sentence(tidy(words, 400)) for words in said]


def again_notices(again: Again) -> list[str]:
    """Return what makes two runs less comparable than they look, the worst first."""
    unit, notices = again.now.site.unit, []
    before, now = again.before.site.date, again.now.site.date
    if before and now and before > now:
        notices.append(
            f"The run given as the earlier one is dated {before.isoformat()}, after this one: what "
            "is called new may be gone, and what is called gone new. See which folder is which."
        )
    if again.opposite:
        notices.append(
            "The two cameras went opposite ways: their counters were not compared, places were, on "
            "the ground."
        )
    if again.counter_m is not None and again.sd_counter_m is not None:
        read = plus_minus(again.counter_m, again.sd_counter_m, unit)
        differs = abs(again.counter_m) > TWO_SIDED_95 * again.sd_counter_m
        pairs = f"{again.counter_pairs} finding{'' if again.counter_pairs == 1 else 's'} seen twice"
        notices.append(
            f"The later counter read {read} more at {pairs}: "
            + ("the two counters differ" if differs else "no more than both are good to")
            + ". Places were compared on the ground, not by footage."
        )
    if again.gap_m > 3.0 * again.sd_gap_m:
        notices.append(
            f"The two lines lie {plus_minus(again.gap_m, again.sd_gap_m, unit)} apart across the "
            "pipe somewhere, more than both are good to: look at both runs' readings before "
            "believing what is said to be new or gone."
        )
    if again.before.site.frame.is_local:
        notices.append("Both are sketches, taken to have one origin and one direction of x.")
    for report, run in ((again.before, "earlier"), (again.now, "later")):
        if report.suspects or report.route.alternatives:
            notices.append(f"The {run} run has readings that do not agree, or more than one line.")
    return notices


def run_name(again: Again, *, before: bool) -> str:
    """Return what a run is called: its day, else its place in time."""
    site = again.before.site if before else again.now.site
    name = "Earlier run" if before else "Later run"
    return f"{name}, {site.date.isoformat()}" if site.date else name


def _seen(result: FindingResult | None, unit: str) -> str:
    if result is None:
        return ""
    note = f" ({label(result.finding.note, 60)})" if result.finding.note else ""
    return f"#{result.number} {finding_words(result)}, {footage_words(result.finding, unit)}{note}"


def repair_words(again: Again, one: Repaired) -> str:
    """Say how a repair's ends lie against what was asked."""
    unit = again.now.site.unit
    name = f"{label(one.reach.name, 80)}: " if one.reach.name else ""
    asked = f"{name}asked from {length(one.from_m, unit)} to {length(one.to_m, unit)}"
    asked += f" {range_95(one.sd_m, unit)} on this run's footage"
    if one.new_from_m is None or one.new_to_m is None:
        return f"{asked}; no other pipe is recorded there now."
    new = f"new pipe from {length(one.new_from_m, unit)} to {length(one.new_to_m, unit)}"
    ends = []
    for short, end in ((one.short_from_m, "beginning"), (one.short_to_m, "end")):
        sure = TWO_SIDED_95 * one.sd_m
        if short is not None and short > sure:
            ends.append(f"it stops {plus_minus(short, one.sd_m, unit)} short at its {end}")
        elif short is not None and short > -sure:
            ends.append(f"at its {end} the readings do not tell it from what was asked")
    return f"{asked}; {new}: {'; '.join(ends) or 'it covers what was asked'}."
