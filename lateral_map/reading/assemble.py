"""What was read becomes a ``Site``: metres in the plane, defaults filled in, assumptions noted."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, get_args

from lateral_map.model.referral import Referral
from lateral_map.model.site import (
    Accuracy,
    Bend,
    Boundary,
    Counter,
    DigRules,
    Finding,
    Locate,
    Material,
    PipeRun,
    Place,
    Plan,
    PositionTie,
    Rate,
    RateItem,
    Rates,
    Reach,
    RuleOverride,
    Run,
    Site,
    Start,
    Transmitter,
)
from lateral_map.reading.boundaries import note_boundaries
from lateral_map.reading.footages import Rows
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.names import POINTS, PlanNames
from lateral_map.reading.placing import PlacedStart
from lateral_map.reading.rows import BendRow, FindingRow
from lateral_map.reading.schema import (
    AccuracyTable,
    CounterTable,
    DigRuleTable,
    DigTable,
    PipeTable,
    RatesTable,
    ReferralTable,
    SiteTable,
    StartTable,
    TransmitterTable,
)
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.typed_rows import ReadRow
from lateral_map.units import (
    earth_metres_per,
    format_length,
    metres_per,
    per_root_metre,
    square_metres_per,
    to_metres,
)

_SD_START_M: Final = to_metres(0.5, "ft")
_SD_START_LONLAT_M: Final = to_metres(4.0, "ft")
_WANDER_PER_ROOT_FT: Final = 0.5
_FALL_WANDER_PER_ROOT_FT: Final = 0.2
_FITTINGS_DEG: Final = (11.25, 22.5, 45.0, 60.0, 72.0, 90.0)

# Degrees one joint turns unseen, 1 sd (common practice, no source). Clay: a third of the 2.4
# degrees its joint standard allows (ASTM C425/C12, from memory); the others by how their joints
# are made: loose or mortared most, gasketed less, fused or cemented least.
JOINT_TURN_DEG: Final[dict[Material, float]] = {
    "cast iron": 0.6,
    "clay": 0.8,
    "concrete": 0.8,
    "pvc": 0.5,
    "abs": 0.4,
    "hdpe": 0.3,
    "bituminous fibre": 0.7,
    "other": 0.8,
}


@dataclass(frozen=True, slots=True)
class Gathered:
    """Everything read and checked, the plan and the locates already in the plane."""

    said: SiteFile
    named: SiteTable
    started: StartTable
    placed: PlacedStart
    end_m: float
    plan: Plan
    names: PlanNames
    rows: Rows
    boundaries: tuple[Boundary, ...]
    client: str
    locates: tuple[Locate, ...]
    folder: Path


def assemble_site(of: Gathered, ledger: Ledger) -> Site:
    """Return the site; what had to be assumed goes into its notices."""
    said = of.said
    bends, findings = _bends(of.rows.bends, ledger), _findings(of.rows.findings, ledger)
    pipes, run = _pipes(said, ledger), _run(said, of.end_m, ledger)
    start = _start(of, ledger)
    note_boundaries(of.boundaries, said, of.names, of.plan, of.placed, ledger)
    _note_units(of, ledger)
    return Site(
        name=of.named.name,
        frame=of.placed.frame,
        unit=of.named.unit,
        fall_code=of.named.fall_code,
        start=start,
        accuracy=build_accuracy(said.accuracy, said.unit),
        run=run,
        date=of.named.date,
        counter=_counter(said.counter),
        transmitter=_transmitter(said.transmitter),
        pipes=pipes,
        boundaries=of.boundaries,
        dig=_dig(said.dig, said.dig_rules),
        locates=of.locates,
        bends=bends,
        findings=findings,
        plan=of.plan,
        notices=tuple(ledger.notices),
        folder=of.folder,
        referral=_referral(said.referral, of.client),
        reaches=tuple(Reach(one.from_, one.to, one.name) for one in said.reaches),
        rates=_rates(said.rates, said.unit),
    )


def build_accuracy(given: AccuracyTable, unit: str) -> Accuracy:
    """Return the accuracies in metres and per square root of a metre."""
    return Accuracy(
        tape_m=given.tape,
        tape_fraction=given.tape_fraction,
        mark_m=given.mark,
        mark_fraction=given.mark_fraction,
        offset_m=given.offset,
        ground_m=given.ground,
        wander_deg=_wander(given.wander, unit, _WANDER_PER_ROOT_FT),
        fitting_deg=given.fitting,
        eye_deg=given.eye,
        fall=given.fall,
        sd_fall=given.fall_accuracy,
        fall_wander_deg=_wander(given.fall_wander, unit, _FALL_WANDER_PER_ROOT_FT),
        mapped_line_m=given.mapped_line,
        mapped_point_m=given.mapped_point,
    )


def _wander(given: float | None, unit: str, default_per_root_ft: float) -> float:
    if given is None:
        return per_root_metre(default_per_root_ft, "ft")
    return per_root_metre(given, unit)


def _start(of: Gathered, ledger: Ledger) -> Start:
    given, placed = of.started, of.placed
    if given.depth is None:
        ledger.notice(
            "No depth is given at the start: nothing but the locates says how deep the pipe runs."
        )
    by_lonlat = given.lat is not None
    sd = given.accuracy or (_SD_START_LONLAT_M if by_lonlat else _SD_START_M)
    azimuth = given.azimuth
    return Start(
        easting_m=placed.easting_m,
        northing_m=placed.northing_m,
        sd_m=sd,
        point=None if given.point is None else of.names.resolve(given.point, POINTS),
        depth_m=given.depth,
        sd_depth_m=given.depth_accuracy,
        ground_m=given.ground,
        riser_m=given.riser,
        azimuth_deg=None if azimuth is None else placed.frame.plane_azimuth_deg(azimuth),
        sd_azimuth_deg=given.azimuth_accuracy,
    )


def _counter(given: CounterTable) -> Counter:
    return Counter(
        zero_m=given.zero,
        sd_zero_m=given.zero_accuracy,
        sd_scale=given.scale_accuracy,
        sd_reading_m=given.reading_accuracy,
    )


def _transmitter(given: TransmitterTable) -> Transmitter:
    return Transmitter(
        behind_lens_m=given.behind_lens,
        above_invert_m=given.above_invert,
        sd_depth_fraction=given.depth_accuracy,
        sd_depth_floor_m=given.depth_floor,
    )


def _run(said: SiteFile, end_m: float, ledger: Ledger) -> Run:
    if said.run.end_footage is None:
        shown = format_length(end_m, said.unit)
        ledger.notice(f"The run is taken to end at the last footage given, {shown}.")
    if said.run.end is None:
        ledger.notice("Nothing says what the run ended at; it is drawn as not reaching the main.")
    return Run(end_m, reached_main=said.run.end == "main")


def _pipes(said: SiteFile, ledger: Ledger) -> tuple[PipeRun, ...]:
    pipes = sorted(said.pipes, key=lambda one: one.from_)
    if pipes and pipes[0].from_ > said.counter.zero:
        shown = format_length(pipes[0].from_, said.unit)
        ledger.notice(f"Nothing says what the pipe is before {shown}.")
    return tuple(
        PipeRun(one.from_, one.material, one.size, _pipe_wander(one, said.unit)) for one in pipes
    )


def _pipe_wander(pipe: PipeTable, unit: str) -> float | None:
    if pipe.wander is not None:
        return per_root_metre(pipe.wander, unit)
    if pipe.joint_length is not None:
        # Joints turn independently, so the sd grows with the square root of their number.
        return JOINT_TURN_DEG[pipe.material] / math.sqrt(pipe.joint_length)
    return None


def _dig(given: DigTable, own: Iterable[DigRuleTable]) -> DigRules:
    return DigRules(
        tolerance_zone_m=given.tolerance_zone,
        rule=given.rule,
        soil=given.soil,
        trench_width_m=given.trench_width,
        bedding_m=given.bedding,
        swell=given.swell,
        swell_source=given.swell_source,
        pavement_cutback_m=given.pavement_cutback,
        overrides=tuple(_override(one) for one in own),
    )


def _override(given: DigRuleTable) -> RuleOverride:
    value = given.slope if given.length is None else given.length
    return RuleOverride(given.rule, 0.0 if value is None else value, given.citation)


def _rates(given: RatesTable, unit: str) -> Rates:
    """Return the rates per metre, square metre, cubic metre or each."""
    of_one: dict[RateItem, float] = {
        **dict.fromkeys(("pipe", "liner"), metres_per(unit)),
        **dict.fromkeys(("excavate", "haul", "bedding"), earth_metres_per(unit)),
        **dict.fromkeys(
            ("shore", "lawn", "planting", "concrete", "asphalt", "gravel", "other"),
            square_metres_per(unit),
        ),
    }
    rates = []
    for item in get_args(RateItem):
        span = getattr(given, item.replace(" ", "_"))
        if span is not None:
            size = of_one.get(item, 1.0)
            rates.append(Rate(item, span[0] / size, span[1] / size))
    return Rates(given.currency, tuple(rates))


def _referral(given: ReferralTable, client: str) -> Referral:
    return Referral(
        to=given.to,
        sender=given.from_,
        reference=given.reference,
        question=given.question,
        signature=given.signature,
        letter=given.letter,
        photographs=given.photographs,
        keep_metadata=given.keep_metadata,
        client=client,
    )


def _bends(rows: Iterable[ReadRow[BendRow]], ledger: Ledger) -> tuple[Bend, ...]:
    bends = [_bend(row, row.typed, ledger) for row in rows if row.typed is not None]
    return tuple(sorted(bends, key=lambda bend: bend.footage_m))


def _bend(row: ReadRow[BendRow], typed: BendRow, ledger: Ledger) -> Bend:
    place = f"{row.file} row {row.number}"
    odd = [angle for angle in (typed.turn, typed.fall) if not _is_fitting(angle)]
    how = typed.how or ("eye" if odd else "fitting")
    if odd and typed.how is None:
        ledger.notice(
            f"{place}: {odd[0]:g} degrees is no fitting's angle and 'how' is blank; it is taken as "
            "judged by eye."
        )
    elif odd and typed.how == "fitting":
        ledger.notice(
            f"{place}: {odd[0]:g} degrees is no common fitting's angle "
            "(11.25, 22.5, 45, 60, 72, 90); it is used as written."
        )
    note = ledger.shorten(typed.note, place)
    return Bend(typed.footage, typed.turn, typed.fall, how, note, Place(row.file, row.number))


def _is_fitting(angle_deg: float) -> bool:
    return angle_deg == 0.0 or any(abs(abs(angle_deg) - one) <= 0.5 for one in _FITTINGS_DEG)


def _findings(rows: Iterable[ReadRow[FindingRow]], ledger: Ledger) -> tuple[Finding, ...]:
    findings = [_finding(row, row.typed, ledger) for row in rows if row.typed is not None]
    return tuple(sorted(findings, key=lambda finding: finding.footage_m))


def _finding(row: ReadRow[FindingRow], typed: FindingRow, ledger: Ledger) -> Finding:
    stretch = typed.to if typed.to is not None and typed.to > typed.footage else None
    return Finding(
        footage_m=typed.footage,
        finding=typed.finding,
        to_m=stretch,
        severity=typed.severity,
        note=ledger.shorten(typed.note, f"{row.file} row {row.number}"),
        place=Place(row.file, row.number),
        extra=row.extra,
    )


def _note_units(of: Gathered, ledger: Ledger) -> None:
    frame, unit = of.placed.frame, of.said.unit
    if not frame.is_local and frame.unit_name != unit:
        words = {"ft": "international feet", "us_ft": "US survey feet", "m": "metres"}
        ledger.notice(
            f"x and y are in {words.get(frame.unit_name, frame.unit_name)}, the unit of "
            f"{frame.crs}; lengths are in {words[unit]}."
        )
    read_fixes = any(
        isinstance(tie, PositionTie) and tie.method == "gnss"
        for locate in of.locates
        for tie in locate.ties
    )
    if (read_fixes or of.started.lat is not None) and frame.lonlat_accuracy_m is not None:
        shown = format_length(frame.lonlat_accuracy_m, unit)
        ledger.notice(
            "Latitude and longitude were taken as WGS 84 and carried over by "
            f"'{frame.lonlat_operation}', which EPSG holds good to {shown}: an offset common to "
            "all of them, on top of each one's own accuracy."
        )
