"""From the store to what people open: the layers, the overview, the summary, the failed sites.

One pass in order of place, and one to find the sites that hold the same ground; what is held at a
time does not grow with the number of sites, except for a few numbers a site for the second.
"""

from __future__ import annotations

import heapq
import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Final

from lateral_map.batch.files import (
    SHARED_COLUMNS,
    LayerWriter,
    open_table,
    programme_crs,
    site_row,
    write_failed,
)
from lateral_map.batch.overview import OverviewWriter, is_open
from lateral_map.batch.same_ground import Grounds, Shared
from lateral_map.batch.store import Kept, Store
from lateral_map.batch.summary import summary_page
from lateral_map.batch.tables import PAST, TABLES, Row, unpack
from lateral_map.export.atomic import staged_folder
from lateral_map.units import from_metres
from lateral_map.words.programme import SPREAD_TITLES

RANKED: Final = 200  # of each list on the summary page; the files hold all
_SEVERITY: Final = {"severe": 3, "moderate": 2, "minor": 1}


@dataclass(frozen=True, slots=True)
class Spread:
    """A distribution: how many fall between each two edges, and how many are not known."""

    title: str
    edges: tuple[float, ...]
    counts: list[int]
    unknown: int = 0

    def add(self, value: float | None) -> None:
        """Count one value; what lies beyond the edges counts in the last class at that end."""
        if value is not None:
            at = bisect_right(self.edges, value) - 1
            self.counts[min(max(at, 0), len(self.counts) - 1)] += 1


class Ranked:
    """The first of many by rank, held in bounded memory, and how many there were."""

    def __init__(self) -> None:
        self.count = 0
        self._first: list[tuple[Any, ...]] = []

    def add(self, rank: tuple[float, ...], entry: dict[str, Any]) -> None:
        """Take in one entry; of equal rank, the earlier stays first."""
        self.count += 1
        item = (rank, -self.count, entry)
        if len(self._first) < RANKED:
            heapq.heappush(self._first, item)
        else:
            heapq.heappushpop(self._first, item)

    def entries(self) -> list[dict[str, Any]]:
        """Return the entries, highest rank first."""
        return [entry for *_, entry in sorted(self._first, key=lambda one: one[:2], reverse=True)]


class Reasons:
    """Why sites failed: how many for like reasons, in the words of the first; bounded memory."""

    def __init__(self) -> None:
        self._counts: Counter[str] = Counter()
        self._words: dict[str, str] = {}

    def add(self, words: str) -> None:
        """Count one site's first fault."""
        # Without the figures and quoted values that make each site's its own.
        alike = re.sub(r"[#\d]+", "#", re.sub(r"'[^']*(?:'|$)", "", words))[:200]
        self._counts[alike] += 1
        self._words.setdefault(alike, words)
        if len(self._counts) > 10 * RANKED:  # every site its own reason: keep the commonest
            self._counts = Counter(dict(self._counts.most_common(5 * RANKED)))
            self._words = {one: self._words[one] for one in self._counts}

    def shared(self) -> list[tuple[str, int]]:
        """Return the reasons of more than one site, the commonest first."""
        most = self._counts.most_common()
        return [(self._words[alike], count) for alike, count in most if count > 1]


@dataclass
class Gathered:
    """What the summary page tells of all sites together."""

    unit: str
    crs: str
    states: Counter[str] = field(default_factory=Counter)
    verdicts: Counter[str] = field(default_factory=Counter)
    findings: int = 0
    sketches: int = 0
    undiagnosed: int = 0
    dangers: Ranked = field(default_factory=Ranked)
    past: Ranked = field(default_factory=Ranked)
    open: Ranked = field(default_factory=Ranked)
    copies: Ranked = field(default_factory=Ranked)
    same_ground: Ranked = field(default_factory=Ranked)
    sharing: int = 0
    failed: Ranked = field(default_factory=Ranked)
    reasons: Reasons = field(default_factory=Reasons)
    spreads: dict[str, Spread] = field(default_factory=dict)

    def count(self, kept: Kept) -> None:
        """Take in one site: its state, what it was refused for, or what it came to."""
        if kept.same_as:
            self.copies.add((0.0,), {"site": kept.name, "same_as": kept.same_as})
            return
        self.states[kept.state] += 1
        facts = kept.facts
        if kept.state != "solved":
            self.reasons.add(kept.message.partition("\n")[0])
            self.failed.add((0.0,), {"site": kept.name, "state": kept.state, "why": kept.message})
            return
        self.sketches += facts["lon"] is None
        for name, value in (("length", facts["length"]), ("fit", facts["p_value"]),
                            ("seconds", kept.seconds)):  # fmt: skip
            self.spreads[name].add(value)
        self.undiagnosed += not facts["diagnosed"]
        if is_open(facts):
            chance = facts["diagnosis_probability"]
            entry = _named(kept) | {"says": facts["diagnosis"], "probability": chance}
            self.open.add((facts["suspects"] if chance is None else chance,), entry)

    def count_findings(self, kept: Kept, findings: list[Row]) -> None:
        """Take in one site's rows of findings."""
        for _, cells in findings:
            told = dict(zip(TABLES["findings"].columns, cells, strict=True))
            told |= _named(kept)
            self.findings += 1
            self.verdicts[told["verdict"] or "not judged"] += 1
            self.spreads["depth"].add(told["depth_to_invert"])
            self.spreads["radius"].add(told["semi_major"])
            chance = told["probability_past"] if told["verdict"] else None
            self.spreads["chance"].add(chance)
            severity = _SEVERITY.get(told["severity"] or "", 0)
            if told["class"] == "danger":
                self.dangers.add((severity, chance or 0.0), told)
            elif told["class"] == "defect" and told["verdict"] in PAST:
                self.past.add((severity, chance or 0.0), told)

    def count_shared(self, site: str, others: list[Shared]) -> None:
        """Take in one site and those that share ground with it, the most shared first."""
        most = others[0]
        told = {"one": site, "other": most.site, "share": most.share, "of": most.of}
        self.same_ground.add((most.share, len(others)), told | {"more": len(others) - 1})


@dataclass(frozen=True, slots=True)
class Written:
    """Which files were written, and the sums."""

    paths: tuple[Path, ...]
    totals: Gathered


def gather(
    store: Store,
    out: Path,
    *,
    unit: str,
    crs: str,
    title: str,
    told: Callable[[str, int, int], None],
) -> Written:
    """Write every file of the programme into ``out``, all of them or none.

    ``told`` hears what is being done, with how many sites, of how many. Raises ``ExportError`` and
    ``FrameError``.
    """
    copies, system = store.mark_copies(), programme_crs(crs)
    totals = Gathered(unit, f"{crs} ({system.name})", spreads=_spreads(unit))
    grounds, sites = Grounds(), len(store)
    with staged_folder(out) as fresh:
        with (
            LayerWriter(fresh, system) as layers,
            OverviewWriter(fresh / "overview.html", title, unit, store.count("solved")) as overview,
        ):
            for done, kept in enumerate(store.kept(), start=1):
                layers.add("sites", kept.name, [site_row(kept)])
                totals.count(kept)
                if kept.state == "solved" and not kept.same_as:
                    rows = unpack(store.packed(kept.key))
                    for name in TABLES:
                        layers.add(name, kept.name, rows[name])
                    totals.count_findings(kept, rows["findings"])
                    overview.add(kept, rows)
                    grounds.add(kept, rows)
                told("Writing the files", done, sites)
        totals.states["copy"] = copies
        with open_table(fresh / "same_ground.csv", SHARED_COLUMNS) as write:
            for site, others in grounds.compare(store, partial(told, "Comparing their ground")):
                totals.count_shared(site, others)
                for one in others:
                    write((site, one.site, round(one.share, 4), one.of))
        totals.sharing = grounds.sharing
        write_failed(fresh / "failed.csv", store.kept(failed=True))
        (fresh / "summary.html").write_text(summary_page(totals, title), encoding="utf-8")
        names = sorted(path.name for path in fresh.iterdir())
    return Written(tuple(out / name for name in names), totals)


def _spreads(unit: str) -> dict[str, Spread]:
    def lengths(*edges_ft: float) -> tuple[float, ...]:
        if unit != "m":
            return edges_ft
        return tuple(round(from_metres(one * 0.3, "m"), 3) for one in edges_ft)

    edges: dict[str, tuple[float, ...]] = {
        "depth": lengths(0, 2, 4, 6, 8, 10, 12, 15, 20),
        "radius": lengths(0, 0.5, 1, 1.5, 2, 3, 4, 6, 10),
        "chance": (0, 0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975, 1),
        "length": lengths(0, 20, 40, 60, 80, 100, 150, 200, 300),
        "fit": (0, 0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 1),
        "seconds": (0, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 5, 60),
    }
    return {
        name: Spread(SPREAD_TITLES[name], tuple(float(one) for one in at), [0] * (len(at) - 1))
        for name, at in edges.items()
    }


def _named(kept: Kept) -> dict[str, Any]:
    return {"site": kept.name, "name": kept.facts["name"], "placed": kept.facts["lon"] is not None}
