"""A sketch as adjusted becomes part of the plan: features, their joint covariance, notices."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from shapely.geometry import LineString, Point, Polygon

from lateral_map.adjust.sketch import fit_to_world
from lateral_map.errors import AdjustmentError, Either, Fault, FrameError, Told
from lateral_map.frame import Frame, local_frame, projected_frame, projected_frame_at
from lateral_map.model.arrays import Floats
from lateral_map.model.chance import POOR_FIT, chi_square_tail
from lateral_map.model.lines import signed_offsets
from lateral_map.model.site import SD_LONLAT_M, SD_XY_M
from lateral_map.model.sketch import AdjustedSketch, Sketch, WorldFit
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.placing import is_local
from lateral_map.reading.plan import FeatureProperties, Sorted, SortedPlan
from lateral_map.reading.rows import TAPES
from lateral_map.reading.site_file import SiteFile
from lateral_map.reading.sketch import FILE, DrawnSketch, SketchLine
from lateral_map.units import format_length

# A pipe seldom meets a line nearer its foot than this share of the way to it: how far the line's
# direction counts where it is crossed.
_ASIDE: Final = 0.3
_THIRD_OFF: Final = 3.0


@dataclass(frozen=True)
class LaidSketch:
    """A sketch in the plan's coordinates: its features, and what is jointly known of them."""

    features: tuple[Sorted, ...]
    sketch: Sketch


def lay_sketch(
    drawn: DrawnSketch,
    said: SiteFile,
    coordinates: Literal["lonlat", "declared"],
    ledger: Ledger,
) -> LaidSketch | None:
    """Return the sketch as features in the site's own coordinates, its notices told.

    None, with a fault, where the site's system asks for known points and there are too few.
    """
    on_its_own = is_local(said.crs)
    placed = (_on_its_own if on_its_own else _in_the_world)(drawn, said, ledger)
    if placed is None:
        return None
    adjusted, world, frame = placed
    places = adjusted.places_m
    columns = frame.from_plane(places[:, 0], places[:, 1])
    if coordinates == "lonlat":
        columns = frame.plane_to_lonlat(places[:, 0], places[:, 1]) or columns
    at = np.column_stack(columns)
    points = [i for i, name in enumerate(drawn.names) if "\0" not in name]
    start = None if said.start is None or said.start.point is None else said.start.point.casefold()
    here = next((i for i in points if drawn.names[i].casefold() == start), points[0])
    shifts = [_shift_row(places, drawn.adjusted, line, here) for line in drawn.lines]
    rows = np.zeros((2 * len(points) + len(drawn.lines), places.size))
    for order, index in enumerate(points):
        rows[2 * order, 2 * index] = rows[2 * order + 1, 2 * index + 1] = 1.0
    for order, (row, _) in enumerate(shifts, 2 * len(points)):
        rows[order] = row
    covariance = rows @ adjusted.covariance @ rows.T
    swung = np.array([swing for _, swing in shifts])
    covariance[2 * len(points) :, 2 * len(points) :] += np.diag(swung)
    spread = np.sqrt(np.diag(covariance))
    by_tape = "measured by tape"
    sd_points = np.hypot(*spread[: 2 * len(points)].reshape(-1, 2).T) / math.sqrt(2.0)
    features = [
        _feature("reference", drawn.names[index], Point(at[index]), float(sd), by_tape)
        for index, sd in zip(
            points,
            sd_points,
            strict=True,
        )
    ]
    features += [
        _feature(line.kind, line.name, LineString(at[line.vertices]), float(sd), line.source)
        for line, sd in zip(drawn.lines, spread[2 * len(points) :], strict=True)
    ]
    features += [
        _feature("building", name, Polygon(at[list(corners)]))
        for name, corners in drawn.buildings.items()
    ]
    sketch = Sketch(
        points=tuple(drawn.names[index] for index in points),
        lines=tuple(line.name for line in drawn.lines),
        covariance=covariance,
        checks=adjusted.checks,
        chi_square=adjusted.chi_square,
        freedom=adjusted.freedom,
        misclosures=drawn.misclosures,
        world=world,
        assumed=tuple(line.name for line in drawn.lines if line.assumed),
    )
    _tell(sketch, said, ledger, north=drawn.has_north or not on_its_own)
    return LaidSketch(tuple(features), sketch)


def _feature(
    kind: str,
    name: str,
    geometry: Point | LineString | Polygon,
    sd: float | None = None,
    source: str = "",
) -> Sorted:
    properties = FeatureProperties.model_construct(
        name=name,
        accuracy=sd,
        utility=None,
        depth=None,
        source=source,
        date="",
        licence="",
        z=None,
        cover=None,
    )
    return Sorted(f"{name} of the sketch", kind, name, properties, geometry)


def _shift_row(
    at: Floats, shape: AdjustedSketch, line: SketchLine, start: int
) -> tuple[Floats, float]:
    """Return a line's shift to its right as a row on all places, and the variance of its swing.

    The shift is that beside the start; where the pipe meets the line aside from there, the line's
    direction within the sketch (``shape``) counts too.
    """
    found = signed_offsets(at[line.vertices], at[start])
    foot = at[start] - found.offset_m * found.normal
    pairs = list(pairwise(line.vertices))
    gaps = [abs(float(signed_offsets(at[list(pair)], foot).offset_m)) for pair in pairs]
    begin, end = pairs[int(np.argmin(gaps))]
    step = at[end] - at[begin]
    length = float(np.hypot(*step))
    share = float((foot - at[begin]) @ step) / length**2
    within = shape.places_m[end] - shape.places_m[begin]
    row, swing = np.zeros(at.size), np.zeros(at.size)
    for index, weight, lever in ((begin, 1.0 - share, -1.0), (end, share, 1.0)):
        row[2 * index : 2 * index + 2] = weight * np.array([step[1], -step[0]]) / length
        swing[2 * index : 2 * index + 2] = lever * np.array([within[1], -within[0]]) / length**2
    aside = _ASIDE * abs(float(found.offset_m))
    return row, aside**2 * float(swing @ shape.covariance @ swing)


_Placed = tuple[AdjustedSketch, WorldFit | None, Frame]


def _on_its_own(drawn: DrawnSketch, said: SiteFile, ledger: Ledger) -> _Placed | None:
    """Return the sketch in its own plane; None, with a fault, where something asks for another."""
    problem: str
    for row in drawn.known[:1]:
        problem = Told(
            Either('crs = "local"', "the site, a sketch,"), " is tied to no place on earth"
        )
        crs = Either("crs of the coordinates in site.toml", "coordinate system under Site")
        remedy = Told("write the ", crs)
        ledger.fault(problem, remedy, file=FILE, row=row.number, field="what")
        return None
    if said.start is not None and said.start.azimuth is not None and not drawn.has_north:
        problem = "the start's azimuth is by compass, but nothing gives the sketch its north"
        where = Either(" in sketch.csv", " of the sketch")
        remedy = Told("fill azimuth of one wall", where, ": the compass direction walked along it")
        said.fault(ledger, "start.azimuth", problem, remedy)
    return drawn.adjusted, None, local_frame(said.unit)


def _in_the_world(drawn: DrawnSketch, said: SiteFile, ledger: Ledger) -> _Placed | None:
    """Return the sketch laid onto its known points, the fit, and the plane they are in."""
    known = [(row, row.typed) for row in drawn.known]
    if len({(one.name or "").casefold() for _, one in known}) < 2:
        ledger.fault(
            f"nothing ties the sketch to {said.crs}",
            Told(
                Either('write crs = "local" in site.toml', "make it a sketch of its own, local"),
                ", or add two or more known points",
                Either(" to sketch.csv", ""),
            ),
            file=FILE,
        )
        return None
    index = {name.casefold(): i for i, name in enumerate(drawn.names)}
    places: dict[int, tuple[str, float, float, float]] = {}
    frame: Frame | None = None
    for row, one in known:
        lonlat = one.lat is not None
        x, y = (one.lon, one.lat) if lonlat else (one.x, one.y)
        if x is None or y is None:
            return None  # its fault is told
        try:
            first = projected_frame_at if lonlat else projected_frame
            frame = frame or first(said.crs, x, y)
            east, north = (frame.lonlat_to_plane if lonlat else frame.to_plane)(x, y)
        except FrameError as error:
            ledger.fault(error.problem, error.remedy, file=FILE, row=row.number, field="what")
            return None
        sd, name = one.accuracy or (SD_LONLAT_M if lonlat else SD_XY_M), one.name or ""
        places[index[name.casefold()]] = (name, float(east), float(north), sd)
    try:
        adjusted, world = fit_to_world(drawn.adjusted, places)
    except AdjustmentError as error:
        for fault in error.faults:
            ledger.add(fault)
        return None
    return None if frame is None else (adjusted, world, frame)


# ── what is said of it ───────────────────────────────────────────────────────────────────────────


def _tell(sketch: Sketch, said: SiteFile, ledger: Ledger, *, north: bool) -> None:
    """Put into the notices what a reader of the drawing should know of the sketch."""
    unit = said.unit
    _tell_misfit(sketch, unit, ledger)
    lone: dict[str, list[bool]] = defaultdict(list)
    for check in sketch.checks:
        if check.reading.column in (*TAPES, "along"):
            lone[check.reading.of].append(check.verdict == "unchecked")
    unchecked = [name for name, found in lone.items() if all(found)]
    if unchecked:
        ledger.notice(
            f"Nothing checks these places of the sketch; one more tape to each would: "
            f"{', '.join(unchecked)}."
        )
    if sketch.assumed:
        ledger.notice(f"Assumed, not measured: {', '.join(sketch.assumed)}.")
    if not north:
        ledger.notice("Nothing gives the sketch its north: up on the drawing is no direction.")
    if sketch.world is not None:
        _tell_world(sketch.world, unit, ledger)


def _tell_misfit(sketch: Sketch, unit: str, ledger: Ledger) -> None:
    for one in sketch.misclosures:
        share = f" (1 in {one.length_m / one.gap_m:,.0f})" if one.gap_m > 1e-3 else ""
        ledger.notice(
            f"The sides of {one.name!r} as paced miss closing by {format_length(one.gap_m, unit)} "
            f"in {format_length(one.length_m, unit)}{share}; the adjustment spreads it."
        )
    for check in [one for one in sketch.checks if one.verdict == "suspect"]:
        misfit = abs(check.residual)
        off = f"{math.degrees(misfit):.1f}°" if check.is_angle else format_length(misfit, unit)
        ledger.notice(
            f"{FILE} row {check.reading.row}, {check.reading.column}: off by {off}, far more than "
            "its accuracy allows. Look at it first."
        )
    if sketch.freedom > 0 and chi_square_tail(sketch.freedom, sketch.chi_square) < POOR_FIT:
        ledger.notice("The measurements of the sketch disagree more than their accuracies allow.")


def _tell_world(world: WorldFit, unit: str, ledger: Ledger) -> None:
    left = ", ".join(
        f"{one.name} {format_length(math.hypot(*one.residual_m), unit)}" for one in world.known
    )
    check = "" if len(world.known) > 2 else " No third point checks it."
    ledger.notice(
        f"The sketch was laid in the world by {len(world.known)} known points, shifted and turned, "
        f"its scale kept. Left over: {left}.{check}"
    )
    for one in world.known:
        if math.hypot(*one.residual_m) > _THIRD_OFF * math.sqrt(2.0) * one.sd_m:
            ledger.notice(
                f"The known place of {one.name} is off by "
                f"{format_length(math.hypot(*one.residual_m), unit)}, far more than its accuracy "
                "allows: check its coordinates and that it is the same point."
            )


def merge_sketch(plan: SortedPlan | None, laid: LaidSketch, ledger: Ledger) -> SortedPlan:
    """Return the drawn plan with the sketch's features, each name once."""
    if plan is None:
        return SortedPlan(FILE, laid.features, "declared")
    taken = {(one.kind == "reference", one.name) for one in plan.features if one.name}
    for one in laid.features:
        if one.kind != "building" and (one.kind == "reference", one.name) in taken:
            problem = Told(f"{one.name!r} is drawn in ", Either(plan.file, "the plan"), " too")
            ledger.add(Fault(problem, "keep one of them", file=FILE, field="name"))
    return replace(plan, features=(*plan.features, *laid.features))
