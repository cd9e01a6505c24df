"""[[applied]]: slips taken for true, read from site.toml and written as it holds them."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import replace

from lateral_map.errors import FaultCollector, SiteError
from lateral_map.frame import Frame
from lateral_map.model.diagnosis import AT_A_PLACE, Applied, Slip
from lateral_map.model.identity import ReadingId
from lateral_map.model.mending import mend, off_the_run, take_so
from lateral_map.model.readings import bend_of, reading_value, readings_of
from lateral_map.model.site import Site
from lateral_map.reading.schema import AppliedTable
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.words import listed, nearest
from lateral_map.units import format_length, from_metres

_SAME = 1e-6
_ROUND_DEG, _MOST_SCALE = 360.0, 0.5
# Slips that are a place's or all fixes': two numbers, east and north.
_IN_PLAN = (
    "position misread", "positions shifted together", "start elsewhere", "point mapped elsewhere",
)  # fmt: skip
# Slips with one possible size, which nobody need write.
_OF_ONE_SIZE = ("tape from another point", "bend turned the other way", "riser counted twice")


def apply_slips(site: Site, said: SiteFile, faults: FaultCollector) -> Site:
    """Return the site with every [[applied]] slip mended, one after the other.

    An entry is held against the site as mended by those before it. One that does not fit is a fault
    with its line; it is left out, and the rest are read.
    """
    if not said.applied:
        return site
    mended, applied = site, []
    for number, entry in enumerate(said.applied, 1):
        name = f"applied[{number}]"
        try:
            slip = _slip_of(mended, entry)
            after = _mended(mended, slip)
        except SiteError as error:
            for fault in error.faults:
                field = ".".join(filter(None, (name, fault.field)))
                at = said.line_of(field)
                faults.add(replace(fault, file="site.toml", row=at, field=field))
            continue
        value = _value(mended, slip)
        taken = None if value is None else value - slip.size[0]
        applied.append(Applied(slip, value, taken, entry.checked))
        mended = after
    return take_so(site, applied)


def _slip_of(site: Site, entry: AppliedTable) -> Slip:
    """Return an entry as a slip of the site; raises ``SiteError``."""
    reading = None
    footage_m = entry.footage
    if entry.kind is not None:
        reading = ReadingId(entry.kind, entry.of or "", entry.column or "")
        if reading not in (known := readings_of(site)):
            shown = {_id_words(one): one for one in known if one.kind == reading.kind}
            own = _id_words(reading)
            near = nearest(own, shown, 0.5)
            remedy = f"the site has {near or listed(shown)}" if shown else "take the entry out"
            raise SiteError.of(f"the site, as mended so far, has no reading {own}", remedy)
        if reading.kind in ("turn", "fall"):
            footage_m = bend_of(site, reading).footage_m
    if entry.slip == "tape from another point":
        names = [one.name for one in site.plan.points]
        if entry.point not in names:
            near = nearest(entry.point or "", names)
            remedy = f"did you mean {near!r}?" if near else f"write {listed(names)}"
            raise SiteError.of(f"the plan has no point {entry.point!r}", remedy, field="point")
    slip = Slip(entry.slip, (0.0,), reading, footage_m, entry.point or "", entry.at_foot)
    size = _size(site, entry, slip)
    if slip.slip != "tape from another point" and math.hypot(*size) < _SAME:
        raise SiteError.of("it changes nothing", "take the entry out")
    _check_size(site, slip, size)
    sd = 0.0 if entry.accuracy is None else abs(entry.accuracy.read(slip.measure, 1)[0])
    return replace(slip, size=size, sd=sd)


def _check_size(site: Site, slip: Slip, size: tuple[float, ...]) -> None:
    """Raise ``SiteError`` where a slip of this size makes no sense."""
    value, remedy = _value(site, slip), "check size or would_read"
    if slip.slip in ("riser left out", "held above left out") and size[0] < 0.0:
        raise SiteError.of("what was left out is never negative", "write how much it is")
    if slip.measure == "angle" and abs(size[0]) > _ROUND_DEG:
        raise SiteError.of("nothing turns so far", remedy)
    if slip.measure == "share" and abs(size[0]) > _MOST_SCALE:
        raise SiteError.of("no counter is so far out", "write a share such as 0.03 for 3 %")
    lengths = ("depth", "nulls", "tape", "start depth")
    if value is not None and slip.id and slip.id.kind in lengths and value < size[0]:
        raise SiteError.of("it would then be less than nothing", remedy)


def _id_words(reading: ReadingId) -> str:
    return ", ".join(
        f'{key} = "{value}"'
        for key, value in (("kind", reading.kind), ("of", reading.of), ("column", reading.column))
        if value
    )


def _size(site: Site, entry: AppliedTable, slip: Slip) -> tuple[float, ...]:
    """Return the size of an entry's slip in metres, degrees or share; raises ``SiteError``."""
    value = _value(site, slip)
    if slip.slip in _OF_ONE_SIZE and entry.size is None and entry.would_read is None:
        riser_m = site.start.riser_m if slip.slip == "riser counted twice" else 0.0
        return (riser_m if value is None else 2.0 * value,)
    if entry.would_read is not None:
        if value is None:
            problem = "what went wrong is not in one number"
            raise SiteError.of(problem, "write size instead", field="would_read")
        return (value - entry.would_read.read(slip.measure, 1)[0],)
    if entry.size is None:
        what = "size" if value is None else "would_read, or size"
        raise SiteError.of("nothing says how large the slip is", f"write {what}")
    count = 2 if slip.slip in _IN_PLAN else 1
    size: tuple[float, ...] = entry.size.read(slip.measure, count)
    return _turned(size, site.frame, to_plane=True) if count == 2 else size


def _value(site: Site, slip: Slip) -> float | None:
    """Return what was noted of what went wrong, in metres or degrees; None where no one number."""
    if slip.slip == "bend misplaced":
        return slip.footage_m
    if slip.id is None or slip.slip in ("tape from another point", "held above left out"):
        return None
    value = reading_value(site, slip.id)
    if slip.id.kind == "start azimuth" and value is not None:
        return float(site.frame.grid_azimuth_deg(value))
    return value


def _turned(size: tuple[float, ...], frame: Frame, *, to_plane: bool) -> tuple[float, ...]:
    """Return (east, north) of the declared grid as the plane's, or back."""
    angle = math.radians(float(frame.plane_azimuth_deg(0.0)))
    angle = angle if to_plane else -angle
    east, north = size
    # Azimuths grow by the angle from grid to plane.
    return (
        east * math.cos(angle) + north * math.sin(angle),
        north * math.cos(angle) - east * math.sin(angle),
    )


def _mended(site: Site, slip: Slip) -> Site:
    """Return the site with a slip mended; raises ``SiteError`` where that cannot be."""
    try:
        mended = mend(site, slip)
    except (ValueError, KeyError):
        raise SiteError.of(
            "it does not go with this site as mended so far", "take the entry out"
        ) from None
    begin, end = mended.counter.zero_m + mended.start.riser_m, mended.run.end_m

    def shown(footage_m: float) -> str:
        return format_length(footage_m, site.unit, 2)

    remedy = "check size or would_read, or take the entry out"
    if begin >= end:
        problem = f"the run would begin at {shown(begin)} and end at {shown(end)}"
        raise SiteError.of(problem, remedy)
    if off := off_the_run(mended):
        problem = f"something would then be at {shown(off[0])}, off the run"
        raise SiteError.of(f"{problem}, which goes from {shown(begin)} to {shown(end)}", remedy)
    return mended


# Written ------------------------------------------------------------------------------------------


def applied_entries(site: Site, slips: Iterable[Slip]) -> tuple[str, ...]:
    """Return slips as [[applied]] entries without their heading, each to go after those before.

    Slips that do not go together with the site are left out.
    """
    entries = []
    for slip in slips:
        try:
            mended = mend(site, slip)
        except (ValueError, KeyError):
            break
        entries.append(_entry(site, slip))
        site = mended
    return tuple(entries)


def _entry(site: Site, slip: Slip) -> str:
    value, one_size = _value(site, slip), slip.slip in _OF_ONE_SIZE

    def sized(number: float) -> str:
        return _number(from_metres(number, site.unit) if slip.measure == "length" else number)

    east_north = ""
    if slip.slip in _IN_PLAN:
        size = _turned((slip.size[0], slip.size[-1]), site.frame, to_plane=False)
        east_north = f"[{', '.join(map(sized, size))}]"
    alone = value is None and not one_size and not east_north
    pairs = {
        "slip": _text(slip.slip),
        "kind": _text(slip.id.kind if slip.id else ""),
        "of": _text(slip.id.of if slip.id else ""),
        "column": _text(slip.id.column if slip.id else ""),
        "footage": _number(from_metres(slip.footage_m or 0.0, site.unit))
        if slip.slip in AT_A_PLACE
        else "",
        "point": _text(slip.point),
        "would_read": "" if value is None or one_size else sized(value - slip.size[0]),
        "size": east_north or (sized(slip.size[0]) if alone else ""),
        "accuracy": sized(slip.sd) if slip.sd and not one_size else "",
        "at_foot": "true" if slip.at_foot else "",
    }
    return "".join(f"{key} = {written}\n" for key, written in pairs.items() if written)


def _text(words: str) -> str:
    return json.dumps(words, ensure_ascii=False) if words else ""


def _number(value: float) -> str:
    """Return a number as TOML has it, to a ten-thousandth."""
    shown = f"{round(value, 4) + 0.0:.4f}".rstrip("0")
    return f"{shown}0" if shown.endswith(".") else shown
