"""Locates: rows of the table and the ties that fix their paint marks in the plane."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from lateral_map.errors import Either, Key, Told
from lateral_map.model.lines import ON_LINE_M, line_sense, signed_offsets
from lateral_map.model.site import (
    SD_LONLAT_M,
    SD_XY_M,
    Accuracy,
    AlongTie,
    Boundary,
    Locate,
    NoLocate,
    OffsetTie,
    Place,
    Plan,
    PlanLine,
    PositionTie,
    TapeTie,
    Tie,
)
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import TAPED
from lateral_map.reading.placing import PlacedStart, explain_place
from lateral_map.reading.plan import LINE_KINDS, POINTS, PlanNames
from lateral_map.reading.rows import TAPES, LocateRow
from lateral_map.reading.tables import ReadRow
from lateral_map.reading.typed import made
from lateral_map.reading.words import LONGEST_NAME, clean_name
from lateral_map.units import format_length, from_metres

# A mark cannot lie farther from the start than its footage; this much more is left to the
# adjustment, which says so with both readings named. Beyond it the coordinates are wrong.
_SLACK_M: Final = 2000.0


@dataclass(frozen=True, slots=True)
class Ground:
    """What ties are laid against: the start, the plan with its names, and the accuracies."""

    start: PlacedStart
    plan: Plan
    names: PlanNames
    accuracy: Accuracy
    unit: str


def build_locates(
    rows: Iterable[ReadRow[LocateRow]], ground: Ground, ledger: Ledger
) -> tuple[Locate, ...]:
    """Return the locates with their ties, faults for what lies nowhere near the run."""
    return tuple(
        Locate(
            **made(typed),
            mark=_mark(row, typed),
            ties=tuple(_ties(row, typed, ground, ledger)),
            use=typed.use,
            note=ledger.shorten(typed.note, f"{row.file} row {row.number}"),
            place=Place(row.file, row.number),
            extra=row.extra,
            written=dict(row.cells),
        )
        for row in rows
        if (typed := row.typed) is not None and not typed.no_locate
    )


def check_taped(locates: Iterable[Locate], ledger: Ledger) -> None:
    """Report more locates than can be told apart from their mirror images."""
    taped = [
        one
        for one in locates
        if one.use and one.ties and all(isinstance(tie, TapeTie) for tie in one.ties)
    ]
    if fault := TAPED.fault(len(taped)):
        ledger.fault(fault.problem, fault.remedy, file="locates.csv")


def build_no_locates(rows: Iterable[ReadRow[LocateRow]], ledger: Ledger) -> tuple[NoLocate, ...]:
    """Return where nothing could be located, those set aside left out."""
    return tuple(
        NoLocate(
            typed.footage,
            ledger.shorten(typed.no_locate, f"{row.file} row {row.number}"),
            typed.mark or "",
            Place(row.file, row.number),
        )
        for row in rows
        if (typed := row.typed) is not None and typed.no_locate and typed.use
    )


def check_marks(rows: Iterable[ReadRow[LocateRow]], ledger: Ledger) -> None:
    """Report marks that share a name; one left blank is called after its row."""
    seen: dict[str, int] = {}
    for row in sorted(rows, key=lambda row: row.typed is None or row.typed.mark is None):
        mark = f"row {row.number}" if row.typed is None else _mark(row, row.typed)
        if mark in seen:
            blank = row.typed is None or row.typed.mark is None
            also = ", and this one without a mark is called so" if blank else " too"
            row_words = Either(f"row {seen[mark]}", "another row")
            problem = Told(row_words, f" has the mark {mark!r}{also}")
            row.fault(ledger, "mark", problem, "give each mark its own name")
        seen.setdefault(mark, row.number)


def check_names(
    locates: Iterable[ReadRow[LocateRow]],
    boundaries: Iterable[Boundary],
    names: PlanNames,
    ledger: Ledger,
) -> None:
    """Report every name in locates.csv that the plan, or [[boundary]], does not hold."""
    bounding = {one.line for one in boundaries if one.kind == "line"}
    for row in locates:
        for tape in TAPES:
            _check_cell(row, f"{tape}_from", POINTS, "reference point", names, ledger)
        known = _check_cell(row, "line", LINE_KINDS, "line", names, ledger)
        if known is not None and "past" in row.cells and known not in bounding:
            boundary = Either("[[boundary]]", "boundary")
            problem = Told(f"{known!r} is no ", boundary, ", so nothing is past it")
            where = Either(" to site.toml", " under Site")
            remedy = Told("add the ", boundary, where, ", or fill ", Key("offset"), " instead")
            row.fault(ledger, "past", problem, remedy)


def _check_cell(
    row: ReadRow[LocateRow],
    column: str,
    kinds: tuple[str, ...],
    what: str,
    names: PlanNames,
    ledger: Ledger,
) -> str | None:
    """Report a cell whose name the plan does not hold; return the plan's own spelling."""
    name = clean_name(row.cells.get(column, ""))
    if not name or len(name) > LONGEST_NAME:  # too long a name is a fault of the cell itself
        return None
    trouble = names.trouble(name, kinds, what)
    if trouble is not None:
        row.fault(ledger, column, *trouble)
    return names.resolve(name, kinds)


def _mark(row: ReadRow[LocateRow], typed: LocateRow) -> str:
    return typed.mark or f"row {row.number}"


def _ties(
    row: ReadRow[LocateRow], typed: LocateRow, ground: Ground, ledger: Ledger
) -> Iterator[Tie]:
    if typed.lat is not None and typed.lon is not None:
        yield from _position(row, typed, (typed.lon, typed.lat), "lat", ground, ledger)
    if typed.x is not None and typed.y is not None:
        yield from _position(row, typed, (typed.x, typed.y), "x", ground, ledger)
    for tape in TAPES:
        name, distance = getattr(typed, f"{tape}_from"), getattr(typed, tape)
        point = None if name is None else ground.names.resolve(name, POINTS)
        if point is not None and distance is not None:
            accuracy = ground.accuracy
            sd = math.hypot(accuracy.tape_m, accuracy.tape_fraction * distance)
            yield TapeTie(point, distance, sd, tape)
    name = None if typed.line is None else ground.names.resolve(typed.line, LINE_KINDS)
    lines = ground.plan.lines if name is not None else ()
    for line in [one for one in lines if one.name == name]:
        yield from _line_ties(row, typed, line, ground, ledger)


def _position(
    row: ReadRow[LocateRow],
    typed: LocateRow,
    given: tuple[float, float],
    field: Literal["lat", "x"],
    ground: Ground,
    ledger: Ledger,
) -> Iterator[PositionTie]:
    """Yield the tie of a coordinate pair, or a fault where it is nowhere near the start."""
    remedy: str
    lonlat, start = field == "lat", ground.start
    if lonlat and start.frame.is_local:
        problem = Told(
            Either('crs = "local"', "a sketch"),
            " is tied to no place on earth, so lat and lon mean nothing there",
        )
        remedy = Told(
            "fill x and y or tapes, or declare a projected ",
            Either("crs in site.toml", "coordinate system under Site"),
        )
        row.fault(ledger, field, problem, remedy)
        return
    carry = start.frame.lonlat_to_plane if lonlat else start.frame.to_plane
    east, north = (float(one) for one in carry(*given))
    far_m = max(typed.footage, 0.0) + _SLACK_M
    distance = math.hypot(east - start.easting_m, north - start.northing_m)
    if not distance <= far_m:  # not finite is far, too
        hint = explain_place(*given, start, far_m, lonlat=lonlat)
        miles = from_metres(distance, "ft") / 5280.0
        shown = f"{distance / 1000.0:,.1f} km" if ground.unit == "m" else f"{miles:,.1f} miles"
        far = f"{shown} from the start"
        if not math.isfinite(distance):
            far = "at no place of the site's crs"
        remedy = hint or "check the coordinates against the start's"
        row.fault(ledger, field, f"it lies {far}", remedy)
        return
    sd = typed.accuracy or (SD_LONLAT_M if lonlat else SD_XY_M)
    yield PositionTie(east, north, sd, "gnss" if lonlat else "xy")


def _line_ties(
    row: ReadRow[LocateRow], typed: LocateRow, line: PlanLine, ground: Ground, ledger: Ledger
) -> Iterator[AlongTie | OffsetTie]:
    sd = ground.accuracy.offset_m
    if typed.along is not None:
        length = float(np.hypot(*np.diff(line.vertices_m, axis=0).T).sum())
        if not 0.0 <= typed.along <= length:
            ledger.notice(
                f"{row.file} row {row.number}: {format_length(typed.along, ground.unit)} along "
                f"{line.name!r} is off its mapped ends; the line was carried on straight."
            )
        yield AlongTie(line.name, typed.along, sd)
    if typed.offset is not None:
        yield OffsetTie(line.name, typed.offset, sd)
    if typed.past is not None:
        here = np.array([ground.start.easting_m, ground.start.northing_m])
        if abs(float(signed_offsets(line.vertices_m, here).offset_m)) <= ON_LINE_M:
            problem = f"the start is on {line.name!r}, so neither side is past it"
            remedy = Told(
                "fill ", Key("offset"), " instead: positive to the right of the line's direction"
            )
            row.fault(ledger, "past", problem, remedy)
        sense = line_sense(line.vertices_m, here)
        yield OffsetTie(line.name, typed.past * sense, sd, True, sense > 0.0)
