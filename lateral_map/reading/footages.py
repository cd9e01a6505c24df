"""Where things stand along the run: nothing before its start, nothing beyond its end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from lateral_map.errors import Either, Key, Told
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.rows import BendRow, FindingRow, LocateRow
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.tables import ReadRow
from lateral_map.units import from_metres, to_metres

_SAME_M: Final = 1e-6
# Two readings of one place differ by more than this many sd of a reading one time in twenty
# (sqrt 2 times 1.96).
_READING_SDS: Final = 2.8
# As many readings beyond the end are one mistake: the end's own.
_MANY_BEYOND: Final = 3
# Longer than any push rod or crawler cable in use on laterals (common practice, no source).
_UNLIKELY_M: Final = to_metres(3000.0, "ft")


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows of the three tables."""

    locates: tuple[ReadRow[LocateRow], ...]
    bends: tuple[ReadRow[BendRow], ...]
    findings: tuple[ReadRow[FindingRow], ...]


@dataclass(frozen=True, slots=True)
class _Reading:
    """A footage and where it was written."""

    footage_m: float
    file: str
    row: int | None
    field: str
    kind: str


def find_end(said: SiteFile, rows: Rows, ledger: Ledger) -> float | None:
    """Return where the run ends (m), its given end or else the last footage given anywhere.

    A locate or finding read a hair beyond the end, within what the counter's readings may be off,
    was read at the end: the run ends there. None, with a fault, where it can end nowhere.
    """
    end = said.run.end_footage
    readings = list(_readings(said, rows))
    if end is not None:
        hair = _READING_SDS * said.counter.reading_accuracy
        read = [one for one in readings if one.kind in ("locate", "finding")]
        farthest = max((one.footage_m for one in read if one.footage_m <= end + hair), default=end)
        if farthest > end + _SAME_M:
            ledger.notice(
                f"A reading at {_shown(farthest, said)} lies beyond the run's end, "
                f"{_shown(end, said)}, by no more than the counter may be off: the run is taken "
                "to end there."
            )
            end = farthest
    if end is None and readings:
        end = max(reading.footage_m for reading in readings)
    first = said.counter.zero + (0.0 if said.start is None else said.start.riser)
    if end is None:
        if not (rows.locates or rows.bends or rows.findings or ledger.faults):
            problem = "nothing says how long the run is"
            give = Told(Either("write end_footage under [run]", "give it, or enter a reading"))
            said.fault(ledger, "run.end_footage", problem, give)
    elif end <= first + _SAME_M:
        problem = f"the run ends at {_shown(end, said)}, but begins at {_shown(first, said)}"
        remedy = "the end is a counter reading past the start and its riser"
        said.fault(ledger, "run.end_footage", problem, remedy)
        return None
    return end


def _note_unlikely(unlikely: dict[str, list[float]], said: SiteFile, ledger: Ledger) -> None:
    """Note, once a file, footages that hardly can be on a lateral."""
    for file, footages in unlikely.items():
        least, most = (_shown(each, said) for each in (min(footages), max(footages)))
        several = f"{len(footages):,} footages from {least} to {most} are"
        what = several if len(footages) > 1 else f"a footage of {least} is"
        ledger.notice(f"{file}: {what} unlikely on a lateral.")


def check_footages(said: SiteFile, rows: Rows, end_m: float, ledger: Ledger) -> None:
    """Report every footage that cannot be on the run, and note those that hardly can."""
    zero, riser = said.counter.zero, 0.0 if said.start is None else said.start.riser
    # The ends of stretches to repair are meant, not read, so that no run ends there.
    reaches = [
        _Reading(footage, "site.toml", said.lines.get(field), field, "reach")
        for i, reach in enumerate(said.reach, 1)
        for field, footage in ((f"reach[{i}].from", reach.from_), (f"reach[{i}].to", reach.to))
    ]
    unlikely: dict[str, list[float]] = {}
    remedy: str
    for one in _but_for_a_wrong_end((*_readings(said, rows), *reaches), said, end_m, ledger):
        if one.kind != "pipe" and one.footage_m < zero - _SAME_M:
            problem = f"{_shown(one.footage_m, said)} is before the start, {_shown(zero, said)}"
            remedy = Told("check the footage, or ", Key("zero", "counter"))
        elif one.footage_m > end_m + _SAME_M:
            problem = (
                f"{_shown(one.footage_m, said)} is beyond the run's end, {_shown(end_m, said)}"
            )
            remedy = Told("check the footage, or ", Key("end_footage", "run"))
        elif one.kind == "bend" and one.footage_m <= zero + riser + _SAME_M:
            problem = f"the bend is inside the riser, which ends at {_shown(zero + riser, said)}"
            remedy = "the riser is a straight drop; a bend comes after it"
        else:
            if one.footage_m - zero > _UNLIKELY_M:
                unlikely.setdefault(one.file, []).append(one.footage_m)
            continue
        ledger.fault(problem, remedy, file=one.file, row=one.row, field=one.field)
    _note_unlikely(unlikely, said, ledger)
    for locate in rows.locates:
        typed, behind_m = locate.typed, said.transmitter.behind_lens
        if (
            typed is not None
            and typed.use
            and typed.footage - behind_m < zero - _SAME_M <= typed.footage
        ):
            ledger.notice(
                f"{locate.file} row {locate.number}: the transmitter rides behind the lens and was "
                "not yet in the pipe at that footage; it is taken to have been at the start."
            )


def _but_for_a_wrong_end(
    readings: tuple[_Reading, ...], said: SiteFile, end_m: float, ledger: Ledger
) -> tuple[_Reading, ...]:
    """Return the readings without those beyond the end, where so many are that it is the end's."""
    beyond = [one for one in readings if one.footage_m > end_m + _SAME_M]
    if len(beyond) < _MANY_BEYOND or said.run.end_footage is None:
        return readings
    farthest = max(beyond, key=lambda one: one.footage_m)
    places = [f"{one.file} row {one.row}" for one in beyond[:6]]
    more = f" and {len(beyond) - 6} more" if len(beyond) > 6 else ""
    said.fault(
        ledger,
        "run.end_footage",
        Told(
            f"{len(beyond)} readings are beyond the run's end, {_shown(end_m, said)}; the farthest "
            f"is at {_shown(farthest.footage_m, said)}",
            Either(f", {farthest.file} row {farthest.row}", ""),
        ),
        Told(
            Either("write end_footage as where", "give where"),
            " the camera stopped, or leave it out; or check ",
            Either(f"{', '.join(places)}{more}", "their footages"),
        ),
    )
    return tuple(one for one in readings if one not in beyond)


def check_bends(bends: Iterable[ReadRow[BendRow]], ledger: Ledger) -> None:
    """Report bends at one footage."""
    seen: dict[float, int] = {}
    for bend in bends:
        if bend.typed is None:
            continue
        first = seen.setdefault(round(bend.typed.footage, 6), bend.number)
        if first != bend.number:
            problem = Told(Either(f"row {first}", "another row"), " has a bend at the same footage")
            bend.fault(ledger, "footage", problem, "write one row with the whole turn and fall")


def _readings(said: SiteFile, rows: Rows) -> Iterator[_Reading]:
    for i, pipe in enumerate(said.pipe, 1):
        field = f"pipe[{i}].from"
        yield _Reading(pipe.from_, "site.toml", said.lines.get(field), field, "pipe")
    for i, boundary in enumerate(said.boundary, 1):
        if boundary.at == "cleanout" and boundary.footage is not None:
            field = f"boundary[{i}].footage"
            yield _Reading(boundary.footage, "site.toml", said.lines.get(field), field, "boundary")
    tables: tuple[tuple[str, tuple[ReadRow[LocateRow | BendRow | FindingRow], ...]], ...] = (
        ("locate", rows.locates),
        ("bend", rows.bends),
        ("finding", rows.findings),
    )
    for kind, table in tables:
        for row in table:
            if row.typed is not None:
                yield _Reading(row.typed.footage, row.file, row.number, "footage", kind)
            if isinstance(row.typed, FindingRow) and row.typed.to is not None:
                yield _Reading(row.typed.to, row.file, row.number, "to", kind)


def _shown(footage_m: float, said: SiteFile) -> str:
    word = "ft" if said.unit == "us_ft" else said.unit
    return f"{round(from_metres(footage_m, said.unit), 2) + 0.0:.10g} {word}"
