"""What was read becomes a ``Site``: metres in the plane, defaults filled in, assumptions noted."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Final, get_args

from lateral_map.model.referral import Job, Referral, SewerMain
from lateral_map.model.site import (
    SD_LONLAT_M,
    SD_START_M,
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
    SoilLayer,
    Start,
    Transmitter,
)
from lateral_map.reading.boundaries import note_boundaries
from lateral_map.reading.footages import Rows
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.marks import build_no_locates
from lateral_map.reading.placing import PlacedStart
from lateral_map.reading.plan import POINTS, PlanNames
from lateral_map.reading.rows import BendRow
from lateral_map.reading.schema import AccuracyTable, RatesTable, SiteTable, StartTable
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.tables import ReadRow
from lateral_map.reading.typed import made, own_notes
from lateral_map.units import (
    earth_metres_per,
    format_length,
    metres_per,
    per_root_metre,
    square_metres_per,
)

FITTINGS_DEG: Final = (11.25, 22.5, 45.0, 60.0, 72.0, 90.0)

# Degrees one joint turns unseen, 1 sd (common practice, no source). Clay: a third of the 2.4
# degrees its joint standard allows (ASTM C425/C12, from memory); the others by how their joints
# are made: loose or mortared most, gasketed less, fused or cemented least.
JOINT_TURN_DEG: Final[dict[Material, float]] = {
    "cast iron": 0.6,
    "ductile iron": 0.5,
    "steel": 0.3,
    "clay": 0.8,
    "asbestos cement": 0.6,
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
    main: SewerMain
    locates: tuple[Locate, ...]
    folder: Path


def assemble_site(of: Gathered, ledger: Ledger) -> Site:
    """Return the site; what had to be assumed goes into its notices."""
    said = of.said
    bends = [_bend(row, row.typed, ledger) for row in of.rows.bends if row.typed is not None]
    findings = [
        Finding(
            **made(typed),
            to_m=typed.to if typed.to is not None and typed.to > typed.footage else None,
            note=ledger.shorten(typed.note, f"{row.file} row {row.number}"),
            place=Place(row.file, row.number),
            extra=row.extra,
        )
        for row in of.rows.findings
        if (typed := row.typed) is not None
    ]
    pipes = _pipes(said, ledger)
    if said.run.end_footage is None:
        shown = format_length(of.end_m, said.unit)
        ledger.notice(f"The run is taken to end at the last footage given, {shown}.")
    if said.run.end is None:
        ledger.notice("Nothing says what the run ended at; it is drawn as not reaching the main.")
    start = _start(of, ledger)
    note_boundaries(of.boundaries, said, of.names, of.plan, start, ledger)
    _note_units(of, ledger)
    return Site(
        **made(of.named),
        frame=of.placed.frame,
        start=start,
        accuracy=_accuracy_along_run(said),
        run=Run(
            of.end_m,
            end=said.run.end or "not reached",
            end_given=said.run.end_footage is not None,
        ),
        counter=Counter(**made(said.counter)),
        transmitter=Transmitter(**made(said.transmitter)),
        pipes=pipes,
        boundaries=of.boundaries,
        dig=DigRules(
            **made(said.dig),
            overrides=tuple(
                RuleOverride(one.rule, (one.length or one.slope or 0.0), one.citation)
                for one in said.dig_rule
            ),
            layers=_layers(said, ledger),
        ),
        locates=of.locates,
        no_locates=build_no_locates(of.rows.locates, ledger),
        bends=tuple(sorted(bends, key=lambda bend: bend.footage_m)),
        findings=tuple(sorted(findings, key=lambda finding: finding.footage_m)),
        plan=of.plan,
        notices=tuple(ledger.notices),
        folder=of.folder,
        referral=Referral(**made(said.referral), client=of.client),
        job=Job(**made(said.job)),
        main=of.main,
        reaches=tuple(Reach(**made(one)) for one in said.reach),
        rates=_rates(said.rates, said.unit),
    )


def build_accuracy(given: AccuracyTable, unit: str) -> Accuracy:
    """Return the accuracies in metres and per square root of a metre."""
    wanders = {"wander_deg": given.wander, "fall_wander_deg": given.fall_wander}
    stated = {to: per_root_metre(one, unit) for to, one in wanders.items() if one is not None}
    return Accuracy(**made(given), **stated)


def _accuracy_along_run(said: SiteFile) -> Accuracy:
    """Return the accuracies, the grade, which is typed with the flow, along the run."""
    accuracy = build_accuracy(said.accuracy, said.unit)
    upstream = said.job.camera_direction == "upstream"
    return replace(accuracy, fall=-accuracy.fall) if upstream else accuracy


def _start(of: Gathered, ledger: Ledger) -> Start:
    given, placed = of.started, of.placed
    if given.depth is None:
        nothing = (
            ": nothing but the locates says"
            if any(locate.use and locate.depth_m is not None for locate in of.locates)
            else ", nor with any locate: nothing says"
        )
        ledger.notice(f"No depth is given at the start{nothing} how deep the pipe runs.")
    azimuth = given.azimuth
    return Start(
        **made(given),
        easting_m=placed.easting_m,
        northing_m=placed.northing_m,
        sd_m=given.accuracy or (SD_START_M if given.lat is None else SD_LONLAT_M),
        point=None if given.point is None else of.names.resolve(given.point, POINTS),
        azimuth_deg=None if azimuth is None else placed.frame.plane_azimuth_deg(azimuth),
    )


def _layers(said: SiteFile, ledger: Ledger) -> tuple[SoilLayer, ...]:
    """Return the layers of soil, each of which must end deeper than the one over it."""
    layers = tuple(SoilLayer(**made(one)) for one in said.soil_layer)
    for index, (over, layer) in enumerate(pairwise(layers), start=2):
        if layer.to_m <= over.to_m:
            field = f"soil_layer[{index}].to"
            remedy = "write the layers from the ground down, each to a greater depth"
            said.fault(ledger, field, "it ends no deeper than the layer over it", remedy)
    return layers


def _pipes(said: SiteFile, ledger: Ledger) -> tuple[PipeRun, ...]:
    given = sorted(said.pipe, key=lambda one: one.from_)
    if given and given[0].from_ > said.counter.zero:
        shown = format_length(given[0].from_, said.unit)
        ledger.notice(f"Nothing says what the pipe is before {shown}.")
    pipes = []
    for one in given:
        wander = None if one.wander is None else per_root_metre(one.wander, said.unit)
        if one.joint_length is not None:
            # Joints turn independently, so the sd grows with the square root of their number.
            wander = JOINT_TURN_DEG[one.material] / math.sqrt(one.joint_length)
        pipes.append(PipeRun(**made(one), wander_deg=wander))
    return tuple(pipes)


def _rates(given: RatesTable, unit: str) -> Rates:
    """Return the rates per metre, square metre, cubic metre or each."""
    sizes = {
        "length": metres_per(unit),
        "area": square_metres_per(unit),
        "earth": earth_metres_per(unit),
        "each": 1.0,
    }
    rates = []
    for item in get_args(RateItem):
        key = item.replace(" ", "_")
        span, size = getattr(given, key), sizes[own_notes(RatesTable.model_fields[key])["per"]]
        if span is not None:
            rates.append(Rate(item, span[0] / size, span[1] / size))
    return Rates(given.currency, tuple(rates))


def _bend(row: ReadRow[BendRow], typed: BendRow, ledger: Ledger) -> Bend:
    place = f"{row.file} row {row.number}"
    odd = [
        angle
        for angle in (typed.turn, typed.fall)
        if angle != 0.0 and all(abs(abs(angle) - one) > 0.5 for one in FITTINGS_DEG)
    ]
    if odd and typed.how is None:
        ledger.notice(
            f"{place}: {odd[0]:g} degrees is no fitting's angle and 'how' is blank; it is taken as "
            "judged by eye."
        )
    elif odd and typed.how == "fitting":
        ledger.notice(
            f"{place}: {odd[0]:g} degrees is no common fitting's angle "
            f"({', '.join(f'{angle:g}' for angle in FITTINGS_DEG)}); it is used as written."
        )
    return Bend(
        **made(typed),
        how=typed.how or ("eye" if odd else "fitting"),
        note=ledger.shorten(typed.note, place),
        place=Place(row.file, row.number),
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
