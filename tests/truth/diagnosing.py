"""Measure how well slips in field notes are told, and what becomes of the verdicts.

Run as ``python tests/truth/diagnosing.py [--sites N] [--class NAME ...] [--save FILE]
[--against FILE]``; prints one Markdown table. ``--save`` keeps every site's outcome as JSON;
``--against`` says which share of the verdicts firm and right there are now too close to call.
A slip "shows" where chi-square is 16 or more above that of the same notes without it; of the others
no method can be sure. ``--list`` prints what was told of each site that was not told right.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from truth.simulate import FOOT, Truth, true_crossing_m, true_past_m
from truth.slips import CLASSES, Planted, Slip, plant

from lateral_map.adjust.route import adjust_route
from lateral_map.errors import AdjustmentError, Fault, ImpossibleError
from lateral_map.model.diagnosis import Applied
from lateral_map.model.mending import take_so
from lateral_map.model.results import FindingResult, Report
from lateral_map.model.site import Site
from lateral_map.report import build_report, explain_impossible

# Slips that the notes cannot tell apart, each with what may be told in its place where the reading
# is the same: a locator held up and a depth read too deep are one number; a riser whose depth was
# measured at its foot differs in nothing from a counter that did not begin at zero.
EQUAL = {
    "held above left out": ("depth misread",),
    "depth misread": ("held above left out",),
    "riser left out": ("counter not at zero",),
    "counter not at zero": ("riser left out",),
}
# A slip that worsens the fit by less than 4 sd squared is one that no method can be sure of.
SHOWS_BEYOND = 16.0
NEAR_M = 10.0 * FOOT
FOLLOWED_FROM = 0.5
_95 = 1.959963984540054

Record = dict[str, Any]


def measure_site(name: str, seed: int) -> Record:
    """Return what a report makes of one planted site, and again with its diagnosis followed."""
    planted = plant(name, seed)
    record: Record = {"class": name, "seed": seed, "slips": [_told(one) for one in planted.slips]}
    try:
        report = build_report(planted.site)
    except AdjustmentError as error:
        told = explain_impossible(error) if isinstance(error, ImpossibleError) else ()
        guilty = _names_guilty(error.faults, planted)
        right = bool(told) and any(_is_right(told[0], one, planted) for one in planted.slips)
        told_of_it = {"told right": right, "both": _all_named(told, planted)}
        return record | {"refused": True, "guilty": guilty, **told_of_it}
    told = report.diagnoses
    first = told[0] if told else None
    record |= {
        "refused": False,
        "shows": bool(planted.slips) and _misfit(report, planted) > SHOWS_BEYOND,
        "p_value": report.fit.p_value,
        "told": [[*_told(getattr(one, "slip", one)), one.probability] for one in told[:4]],
        "right": first is not None and any(_is_right(first, s, planted) for s in planted.slips),
        "place": first is not None and any(_is_there(first, s, planted) for s in planted.slips),
        "both": _all_named(told, planted),
        "before": _outcome(report, planted, [planted.truth]),
    }
    followed = _follow(report, max(len(planted.slips), 1))
    if followed is not report:
        moved = None if followed is None else _outcome(followed, planted, _both(planted))
        return record | {"after": moved, "followed": True}
    return record | {"after": record["before"], "followed": False}


def _all_named(told: tuple[Any, ...], planted: Planted) -> bool:
    """Say whether each of several slips is among as many told first."""
    slips = planted.slips
    first = told[: len(slips)]
    return len(slips) > 1 and all(any(_is_right(d, one, planted) for d in first) for one in slips)


def _misfit(report: Report, planted: Planted) -> float:
    """Return by how much the slips make the readings fit worse, in chi-square."""
    return report.fit.chi_square - adjust_route(planted.clean_site).chi_square


def _both(planted: Planted) -> list[Truth]:
    return [planted.truth, planted.clean_truth]


def _told(slip: Any) -> list[Any]:
    """Return a slip, planted or told, as plain data: name, reading, footage in feet."""
    reading = getattr(slip, "reading", None) or getattr(slip, "id", None)
    footage = getattr(slip, "footage_m", None)
    return [
        slip.slip,
        None if reading is None else f"{reading.kind} {reading.of} {reading.column}".strip(),
        None if footage is None else round(footage / FOOT, 1),
        *(
            str(part)
            for part in (getattr(slip, "size", None), getattr(slip, "point", None))
            if part
        ),
    ]


def _is_right(diagnosis: Any, slip: Slip, planted: Planted) -> bool:
    """Say whether a diagnosis is the slip, or one that cannot be told from it, in its place."""
    told = getattr(diagnosis.slip, "slip", diagnosis.slip)
    named = told == slip.slip or told in EQUAL.get(slip.slip, ())
    return named and _is_there(diagnosis, slip, planted)


def _is_there(diagnosis: Any, slip: Slip, planted: Planted) -> bool:
    """Say whether a diagnosis blames the same reading, or a place within 10 ft along the run."""
    told = diagnosis if isinstance(diagnosis.slip, str) else diagnosis.slip
    if slip.reading is not None and slip.reading.kind != "turn":
        if told.id is None:
            return False
        if slip.reading.kind == "footage":
            # A wrong footage is its whole mark's.
            return bool(told.id.of == slip.reading.of)
        one, other = told.id, slip.reading
        return bool((one.kind, one.of, one.column) == (other.kind, other.of, other.column))
    if slip.footage_m is None:
        return told.id is None and told.footage_m is None
    at = _where(told, planted.site)
    return at is not None and abs(at - slip.footage_m) <= NEAR_M


def _where(told: Any, site: Site) -> float | None:
    """Return the footage (m) of what a diagnosis blames, None where it has no place."""
    if told.footage_m is not None:
        return float(told.footage_m)
    if told.id is None or told.id.is_mapped:
        return None
    if told.id.kind in ("turn", "fall"):
        return float(told.id.of.split(" ")[0]) * FOOT
    return None


def _names_guilty(faults: Iterable[Fault], planted: Planted) -> bool:
    """Say whether a fault names the mark, or else the start, whose notes are wrong."""
    rows = {one.mark: one.place.row for one in planted.site.locates}
    guilty = {rows.get(one.reading.of) for one in planted.slips if one.reading is not None}
    at_start = any(one.slip == "start elsewhere" for one in planted.slips)
    return any(
        (fault.row is not None and fault.row in guilty) or (at_start and fault.field == "start")
        for fault in faults
    )


def _follow(report: Report, times: int) -> Report | None:
    """Return the report once its first diagnosis is taken for true, None where that is refused."""
    for _ in range(times):
        told = report.diagnoses
        if not told or told[0].probability < FOLLOWED_FROM:
            break
        try:
            site = take_so(report.site, [Applied(one) for one in told[0].together])
            report = build_report(site)
        except (AdjustmentError, ValueError, KeyError):
            return None
    return report


def _outcome(report: Report, planted: Planted, truths: list[Truth]) -> Record:
    """Return each finding's verdict and whether it holds, and the standardised misfits."""
    clean, verdicts, pasts = planted.clean_truth, [], []
    for result, reading in zip(report.findings, clean.finding_reading_m, strict=True):
        verdicts.append(_verdict(result, clean, float(reading)))
        for side in result.sides:
            past = _past(clean, side.line, float(reading))
            pasts.append((past - side.past_m) / side.sd_past_m)
    crossings = []
    for crossing in report.crossings:
        alone = sum(one.line == crossing.line for one in report.crossings) == 1
        reals = [true_crossing_m(truth, crossing.line) for truth in truths]
        gaps = [one - crossing.footage_m for one in reals if one is not None]
        if gaps and alone:
            crossings.append(min(gaps, key=abs) / crossing.sd_footage_m)
    return {"verdicts": verdicts, "past": pasts, "crossing": crossings}


def _verdict(result: FindingResult, truth: Truth, reading: float) -> list[Any]:
    """Return a finding's verdict for the line that decides, and whether the truth bears it out."""
    if result.deciding is None or result.verdict in (None, "too close to call"):
        return [result.verdict, None]
    finding = result.finding
    length = 0.0 if finding.to_m is None else finding.to_m - finding.footage_m
    near = _past(truth, result.deciding.line, reading) > 0.0
    far = _past(truth, result.deciding.line, reading + length) > 0.0
    bears_out = {
        "inside": not near and not far,
        "past": near and far,
        "across": not near and far,
        "past from within": far,
    }
    return [result.verdict, bears_out[result.verdict]]


def _past(truth: Truth, line: str, reading: float) -> float:
    return float(true_past_m(truth, line, truth.at(reading)[None, :2])[0])


# The table ----------------------------------------------------------------------------------------

HEAD = (
    "class", "sites", "refused (guilty named)", "right first", "right place", "shows",
    "right of these", "told > 50 %", "of these wrong", "firm wrong", "firm right", "too close",
    "followed", "then firm wrong", "then firm right", "then too close", "past 95 %",
    "crossing 95 %", "then past", "then crossing", "lost", "then lost", "both named",
    "refused, told right",
)  # fmt: skip


def table(records: list[Record], against: list[Record] | None) -> str:
    """Return one Markdown table, a row a class."""
    earlier = {(one["class"], one["seed"]): one for one in against or ()}
    lines = ["| " + " | ".join(HEAD) + " |", "| --- |" + " ---: |" * (len(HEAD) - 1)]
    for name in dict.fromkeys(one["class"] for one in records):
        own = [one for one in records if one["class"] == name]
        lines.append("| " + " | ".join([name, *_row(own, earlier)]) + " |")
    return "\n".join(lines)


def _row(own: list[Record], earlier: dict[tuple[str, int], Record]) -> list[str]:
    refused = [one for one in own if one["refused"]]
    kept = [one for one in own if not one["refused"]]
    loud = [one for one in kept if one["told"] and one["told"][0][-1] > FOLLOWED_FROM]
    return [
        str(len(own)),
        f"{len(refused)} ({sum(one['guilty'] for one in refused)})",
        f"{sum(one['right'] for one in kept)}",
        f"{sum(one['place'] for one in kept)}",
        f"{sum(one['shows'] for one in kept)}",
        f"{sum(one['shows'] and one['right'] for one in kept)}",
        f"{len(loud)}",
        f"{sum(not one['right'] for one in loud)}",
        *_counts(kept, "before"),
        str(sum(one["followed"] for one in kept)),
        *_counts(kept, "after"),
        *(
            _inside([z for one in kept for z in (one[when] or {}).get(what, [])])
            for when in ("before", "after")
            for what in ("past", "crossing")
        ),
        _lost(kept, earlier, "before"),
        _lost(kept, earlier, "after"),
        str(sum(one["both"] for one in own)),
        str(sum(one["told right"] for one in refused)),
    ]


def _counts(kept: list[Record], when: str) -> list[str]:
    verdicts = [each for one in kept for each in (one[when] or {}).get("verdicts", [])]
    firm = [right for _, right in verdicts if right is not None]
    close = len(verdicts) - len(firm)
    return [str(firm.count(False)), str(firm.count(True)), str(close)]


def _inside(values: list[float]) -> str:
    return f"{np.mean(np.abs(values) < _95):.1%}" if values else ""


def _lost(kept: list[Record], earlier: dict[tuple[str, int], Record], when: str) -> str:
    """Return the share of what was firm and right earlier that is now too close to call."""
    now: list[bool] = []
    for one in kept:
        before = earlier.get((one["class"], one["seed"]))
        if before is None or before["refused"] or one[when] is None:
            continue
        pairs = zip(before["before"]["verdicts"], one[when]["verdicts"], strict=True)
        now += [right is None for (_, was_right), (_, right) in pairs if was_right]
    return f"{np.mean(now):.1%}" if now else ""


def _measure(job: tuple[str, int]) -> Record:
    return measure_site(*job)


def measure(jobs: list[tuple[str, int]], processes: int) -> list[Record]:
    """Measure every (class, seed), with a line of progress on standard error."""
    # One thread a process: the processes share the cores already.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    records = []
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        for record in pool.imap_unordered(_measure, jobs, chunksize=5):
            records.append(record)
            sys.stderr.write(f"\r{len(records)} of {len(jobs)} sites, {record['class']:30s}")
            sys.stderr.flush()
    sys.stderr.write("\n")
    order = list(CLASSES)
    return sorted(records, key=lambda one: (order.index(one["class"]), one["seed"]))


def _amiss(records: list[Record]) -> str:
    """Return what was planted and what was told where the first told is not right."""
    lines = []
    for one in records:
        told = one.get("told", [])
        if one["refused"] or one["right"] or (not one["slips"] and not told):
            continue
        lines.append(f"{one['class']} {one['seed']} p={one['p_value']:.2g} planted {one['slips']}")
        lines += [f"    {each}" for each in told] or ["    nothing"]
    return "\n".join(lines)


def main() -> None:
    """Measure, print and keep."""
    parser = argparse.ArgumentParser(description="Measure how slips in field notes are told.")
    parser.add_argument("--sites", type=int, default=40, help="sites a class")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--class", dest="classes", nargs="+", choices=list(CLASSES))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--save", type=Path)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--list", action="store_true", dest="amiss")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.sites)
    jobs = [(name, seed) for name in asked.classes or CLASSES for seed in seeds]
    records = measure(jobs, asked.processes)
    against = json.loads(asked.against.read_text()) if asked.against else None
    if asked.amiss:
        sys.stdout.write(_amiss(records) + "\n\n")
    sys.stdout.write(table(records, against) + "\n")
    if asked.save:
        asked.save.write_text(json.dumps(records))


if __name__ == "__main__":
    main()
