"""Where responsibility may change: plan lines, the main, cleanouts; and what they say together."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lateral_map.errors import Either, Fault, Told
from lateral_map.model.boundaries import (
    find_contradictions,
    find_two_beyond,
    find_two_starts,
)
from lateral_map.model.lines import ON_LINE_M, signed_offsets
from lateral_map.model.referral import SewerMain
from lateral_map.model.site import Boundary, Plan, Start
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.plan import LINE_KINDS, POINTS, PlanNames
from lateral_map.reading.rows import FindingRow
from lateral_map.reading.schema import BoundaryTable
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.tables import ReadRow
from lateral_map.reading.typed import made
from lateral_map.reading.words import plain, suggest
from lateral_map.units import format_length

Floats = NDArray[np.float64]

_BOUNDARY: Final = Either("[[boundary]]", "boundary")
_CLEANOUT: Final = re.compile(r"\bclean[\s_-]?outs?\b", re.IGNORECASE)


def read_boundaries(
    said: SiteFile, findings: Iterable[ReadRow[FindingRow]], names: PlanNames, ledger: Ledger
) -> tuple[Boundary, ...]:
    """Return the boundaries by the plan's own names; a fault for each that cannot be."""
    cleanouts = [
        (row.number, row.typed.footage)
        for row in findings
        if row.typed is not None and _CLEANOUT.search(row.typed.finding)
    ]
    read: dict[tuple[str, str], Boundary] = {}
    spelt: dict[str, str] = {}
    for i, given in enumerate(said.boundary, 1):
        if given.line is None and given.at is None:
            continue
        name = given.name or given.at or ""
        footage_m, sd_m = None, 0.0
        if given.line is not None:
            name = names.resolve(given.line, LINE_KINDS) or given.line
        elif given.at == "cleanout":
            found = cleanouts[0][1] if len(cleanouts) == 1 else None
            footage_m = found if given.footage is None else given.footage
            sd_m = said.counter.reading_accuracy if given.accuracy is None else given.accuracy
        # Letter case and separators aside it is the same party: as it was first spelt.
        inside, outside = (
            spelt.setdefault(plain(one), one) for one in (given.inside, given.outside)
        )
        for typed, first in ((given.inside, inside), (given.outside, outside)):
            if first != typed:
                ledger.notice(f"The party {typed!r} is taken as {first!r}, as it is spelt before.")
        boundary = Boundary(
            name,
            inside,
            outside,
            given.decides,
            "line" if given.line is not None else given.at or "line",
            footage_m,
            sd_m,
        )
        key = (boundary.kind, boundary.line)
        fault = _trouble(given, boundary, cleanouts, names, known=key in read)
        if fault is not None:
            field = f"boundary[{i}].{fault.field}"
            said.fault(ledger, field, fault.problem, fault.remedy)
        read.setdefault(key, boundary)
    return tuple(read.values())


def _trouble(
    given: BoundaryTable,
    boundary: Boundary,
    cleanouts: Sequence[tuple[int, float]],
    names: PlanNames,
    *,
    known: bool,
) -> Fault | None:
    """Return what is wrong with a boundary beside the plan, the findings and the others."""
    if given.line is not None:
        trouble = names.trouble(given.line, LINE_KINDS, "line")
        if trouble is not None:
            return Fault(*trouble, field="line")
    if known:
        field = "at" if given.line is None else "line"
        remedy = Told("keep one ", _BOUNDARY, " for each line")
        if boundary.kind == "cleanout":
            example = Either('name = "cleanout at the walk"', "cleanout at the walk")
            remedy = Told("give each cleanout its own name, such as ", example)
        elif boundary.kind == "main":
            remedy = Told("keep one ", _BOUNDARY, " for the main")
        return Fault(f"{boundary.line!r} is a boundary already", remedy, field=field)
    if boundary.kind == "cleanout" and boundary.footage_m is None:
        problem = "nothing says where the cleanout is: no finding is called cleanout"
        if cleanouts:
            rows = " and ".join(str(row) for row, _ in cleanouts[:12])
            problem = Told(
                Either(
                    f"findings.csv has {len(cleanouts)} cleanouts (rows {rows})",
                    f"there are {len(cleanouts)} cleanouts among the findings",
                )
            )
        remedy = Told("write the footage of the one meant", Either(", footage = ...", ""))
        return Fault(problem, remedy, field="footage")
    return None


def resolve_client(said: SiteFile, ledger: Ledger) -> str:
    """Return [referral] client as a boundary spells it; a fault where none names it."""
    client = said.referral.client
    if client is None:
        return ""
    parties = [party for one in said.boundary for party in (one.inside, one.outside) if party]
    alike = next((party for party in parties if plain(party) == plain(client)), None)
    if alike is None:
        near = suggest(client, dict.fromkeys(parties))
        sides = Either("inside and outside of", "who answers before and past")
        remedy = near or Told("write ", sides, " a ", _BOUNDARY)
        problem = Told("no ", _BOUNDARY, f" names {client!r}")
        said.fault(ledger, "referral.client", problem, remedy)
    return alike or client


def name_main(said: SiteFile, names: PlanNames, ledger: Ledger) -> SewerMain:
    """Return [main] by the plan's own names; a fault where it names a line the plan has not."""
    given = said.main
    trouble = None if given.line is None else names.trouble(given.line, ("utility",), "utility")
    if trouble is not None:
        said.fault(ledger, "main.line", *trouble)

    def manhole(name: str | None) -> str:
        return (names.resolve(name, POINTS) or name) if name else ""

    line = names.resolve(given.line, ("utility",)) if given.line else ""
    return SewerMain(
        **made(given),
        line=line or "",
        upstream=manhole(given.upstream),
        downstream=manhole(given.downstream),
        measured_from=manhole(given.from_),
    )


def note_boundaries(
    boundaries: Sequence[Boundary],
    said: SiteFile,
    names: PlanNames,
    plan: Plan,
    start: Start,
    ledger: Ledger,
) -> None:
    """Note what makes a boundary less sure than it looks, and parties that contradict."""
    here = np.array([start.easting_m, start.northing_m])
    for one in boundaries:
        if one.kind == "main" and said.run.end in ("tank", "not reached"):
            why = "run ends in a tank" if said.run.end == "tank" else "run does not end at it"
            ledger.notice(
                f"The main is a boundary, but the {why}: all of the run lies "
                f"before it{f', and is {one.inside!r}' if one.inside else ''}."
            )
        if one.kind != "line":
            continue
        drawn = None if names.plan is None else names.plan.find(one.line, LINE_KINDS)
        if drawn is not None and drawn.properties.accuracy is None:
            shown = format_length(said.accuracy.mapped_line, said.unit)
            ledger.notice(
                f"The plan gives no accuracy for {one.line!r}; it is taken as {shown} (1 sd). Its "
                "crossing is no surer than that unless a locate is tied to the line itself."
            )
        off_m = abs(float(signed_offsets(plan.line(one.line).vertices_m, here).offset_m))
        if off_m <= ON_LINE_M:
            ledger.notice(
                f"The start is on {one.line!r}: what the run leads to is taken as past it."
            )
        elif off_m <= start.sd_m:
            ledger.notice(
                f"The start is within its own accuracy of {one.line!r}: which side is past is not "
                "sure, unless the run crosses it."
            )
    for notice in _contradictions(boundaries, plan, here):
        ledger.notice(notice)


def _contradictions(boundaries: Sequence[Boundary], plan: Plan, here: Floats) -> Iterator[str]:
    """Yield what the boundaries say against each other."""
    for one, following in find_contradictions(boundaries, plan, here):
        yield (
            f"The boundaries contradict each other: past {one.line!r} {one.outside!r} answers, "
            f"but before {following.line!r}, the next that decides, {following.inside!r} does. "
            "Until inside or outside of one of them is mended in site.toml, it is left open which "
            "of the two answers between them."
        )
    for one, other in find_two_starts(boundaries, plan, here):
        yield (
            f"The boundaries contradict each other: the start lies within {one.line!r}, where "
            f"{one.inside!r} answers, and within {other.line!r}, where {other.inside!r} does, and "
            "neither lies beyond the other. Until inside or outside of one of them, or the plan, "
            "is mended, it is left open which of the two answers there."
        )
    for one, other in find_two_beyond(boundaries, plan, here):
        yield (
            f"The boundaries contradict each other: {one.line!r} and {other.line!r} lie at one "
            f"place, past which {one.outside!r} answers by the one and {other.outside!r} by the "
            "other. Until inside or outside of one of them, or the plan, is mended, it is left "
            "open which of the two answers there."
        )
