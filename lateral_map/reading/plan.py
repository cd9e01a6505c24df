"""The plan's features sorted by kind, checked against one another, and laid in the site's plane."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import pairwise
from typing import Final, Literal, cast, get_args

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import Either, Fault, Told
from lateral_map.frame import Frame
from lateral_map.model.site import (
    LineKind,
    Plan,
    PlanArea,
    PlanLine,
    PlanPoint,
    SpotLevel,
    UtilityKind,
    UtilityLine,
)
from lateral_map.reading.fields import (
    CoverWord,
    Depth,
    Length,
    Name,
    PipeSize,
    Spread,
    Text,
    UtilityWord,
)
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.limits import CORNERS
from lateral_map.reading.plan_files import Feature, FeatureFile, name_of
from lateral_map.reading.typed import Spelling, Typed, key, key_names, read_typed
from lateral_map.reading.words import listed, nearest, plain, suggest
from lateral_map.units import show_value

Floats = NDArray[np.float64]

LINE_KINDS: Final[tuple[str, ...]] = get_args(LineKind)
POINTS: Final = ("reference",)
# Vertices closer than this are one drawn twice by an unsteady hand. Left in at a line's end, such a
# pair would point the line's straight continuation anywhere.
_SAME_M: Final = 0.01
# A line of more vertices than any hand draws is thinned, a block at a time: nowhere moved by more
# than the first where the run can reach, by the second beyond, and its two ends left as they are.
_MANY: Final = 1_000
_BLOCK: Final = 2_000
_THINNED_M: Final = 0.001
_FAR_THINNED_M: Final = 0.5
_CROSSES_ITSELF: Final = ("the line crosses itself", "draw it without a loop")
# How far beyond the run's own length something of the plan may still matter to it.
_BEYOND_M: Final = 100.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of plan feature: how it is drawn, and which properties it has beside its kind."""

    title: str
    shape: Literal["Point", "LineString", "Polygon"]
    properties: tuple[str, ...]
    words: str = ""


_MAPPED: Final = ("name", "accuracy")
PLAN_KINDS: Final[dict[str, Kind]] = {
    "reference": Kind(
        "Reference point",
        "Point",
        (*_MAPPED, "z"),
        "A corner, hydrant, meter or pole to tape from.",
    ),
    "ground": Kind("Spot level", "Point", ("name", "z"), "A measured ground level."),
    "curb": Kind("Curb", "LineString", _MAPPED),
    "right_of_way": Kind("Right-of-way line", "LineString", _MAPPED),
    "property_line": Kind("Property line", "LineString", _MAPPED),
    "centreline": Kind("Centreline", "LineString", _MAPPED),
    "utility": Kind(
        "Utility",
        "LineString",
        ("name", "utility", "depth", "size", "accuracy", "source"),
        "As marked on the ground or from a record.",
    ),
    "building": Kind("Building", "Polygon", ("name",)),
    "surface": Kind("Surface", "Polygon", ("name", "cover")),
}
KINDS: Final = tuple(PLAN_KINDS)


# Properties that carry measurements: one lost to a slip of spelling would not be missed.
_TELLING: Final = ("accuracy", "utility", "depth", "size", "cover")


_NO_LEVEL: Final = Fault(
    Told("a ground level has no ", Either("z", "level")),
    Told("write its elevation", Either(" as z", "")),
    field="z",
)
_LACKING: Final = {
    "reference": (
        "name",
        Fault("a reference point has no name", "name it, so that tapes can say it", field="name"),
    ),
    "ground": ("z", _NO_LEVEL),
    "utility": (
        "utility",
        Fault(
            "it does not say which utility",
            Told("write ", Either("utility = ", ""), listed(get_args(UtilityKind))),
            field="utility",
        ),
    ),
}
_NAMED: Final = {"reference": "point", "utility": "utility"}


class FeatureProperties(Typed):
    """What a plan feature says of itself, beside its kind."""

    name: Name | None = key("What it is called; what names it says so.", "Name")
    accuracy: Spread | None = key(
        "1 sd of its mapped place, a line's across itself, a point's each axis; empty, the usual.",
        "Accuracy of its place",
    )
    utility: UtilityWord | None = key("Kind of utility.", "What it is")
    depth: Depth | None = key(
        "Depth to the utility's top; left out, it is unknown.", "Depth to its top"
    )
    size: PipeSize | None = key(
        "A utility's outside diameter or width; zones are then measured from its edge.",
        "How wide it is",
    )
    source: Text = key(
        "Where its place is from: paint marks on site, a record drawing, open data.",
        "Where this is from",
        default="",
    )
    date: Text = key("Of which day that is.", "Of which day", default="")
    licence: Text = key("Under which licence it may be used.", "Licence", default="")
    z: Length | None = key("Elevation of the ground.", "Level there")
    cover: CoverWord | None = key("What covers a surface.", "Cover")


@dataclass(frozen=True, slots=True)
class Sorted:
    """One feature of a known kind with one part, in its file's own coordinates."""

    label: str
    kind: str
    name: str
    properties: FeatureProperties
    geometry: BaseGeometry


@dataclass(frozen=True)
class SortedPlan:
    """The plan before it is laid in the plane.

    ``lost`` are names of features left out for a fault of their own; nobody who says one of them
    is at fault.
    """

    file: str
    features: tuple[Sorted, ...]
    coordinates: Literal["lonlat", "declared"]
    lost: frozenset[str] = frozenset()

    @cached_property
    def _by_kind(self) -> dict[str, dict[str, Sorted]]:
        found: dict[str, dict[str, Sorted]] = {kind: {} for kind in KINDS}
        for one in self.features:
            if one.name:
                found[one.kind].setdefault(one.name, one)
        return found

    def names(self, kinds: Iterable[str]) -> tuple[str, ...]:
        """Return the names of features of the given kinds."""
        return tuple(dict.fromkeys(name for kind in kinds for name in self._by_kind[kind]))

    def find(self, name: str, kinds: Iterable[str]) -> Sorted | None:
        """Return the feature of one of the kinds with this name."""
        found = (self._by_kind[kind].get(name) for kind in kinds)
        return next((one for one in found if one is not None), None)


@dataclass(frozen=True, slots=True)
class PlanNames:
    """The plan's names. ``absent`` is True where the folder has no plan file at all."""

    plan: SortedPlan | None
    absent: bool

    def resolve(self, name: str, kinds: Iterable[str]) -> str | None:
        """Return the plan's own spelling of ``name``; letter case aside, it must be the same."""
        if self.plan is None or self.plan.find(name, kinds) is not None:
            return None if self.plan is None else name
        alike = [one for one in self.plan.names(kinds) if one.casefold() == name.casefold()]
        return alike[0] if len(alike) == 1 else None

    def trouble(self, name: str, kinds: tuple[str, ...], what: str) -> tuple[str, str] | None:
        """Return what is wrong with saying ``name``, and the next step; None where nothing is."""
        if self.plan is None:
            if not self.absent:
                return None  # the plan's own fault is reported; nobody can tell about its names
            return (
                Told(
                    f"{name!r} names a {what} of the plan, but there is no ",
                    Either("plan.geojson or plan.gpkg", "plan yet"),
                ),
                "draw the plan, or leave the name out",
            )
        lost = {one.casefold() for one in self.plan.lost}
        if self.resolve(name, kinds) is not None or name.casefold() in lost:
            return None
        other = next((one for one in self.plan.features if one.name == name), None)
        if other is not None:
            return (
                f"{name!r} is a {other.kind} of the plan, not a {what}",
                Told(f"name a {what}", Either(f", or change its kind to {kinds[0]}", "")),
            )
        known = self.plan.names(kinds)
        return f"the plan has no {what} called {name!r}", suggest(name, known) or f"draw the {what}"


def sort_features(source: FeatureFile, unit: str, ledger: Ledger) -> SortedPlan:
    """Check every feature by itself and against the others' names."""
    spelling = Spelling(unit=unit, numbers_as_text=True)
    found: list[Sorted] = []
    for feature in source.features:
        found.extend(_sort(feature, spelling, source.file, ledger))
    _report_kindless(source, ledger)
    _report_misspelt(source, ledger)
    # A line or utility without a name is called after what it is: curb, curb 2, gas. A utility
    # drawn in several pieces is several lines, so those after the first are numbered too.
    taken = {one.name for one in found}
    pieces: set[tuple[str, str]] = set()
    used: Counter[str] = Counter()
    named: list[Sorted] = []
    for one in found:
        name = word = one.name
        if one.kind in (*LINE_KINDS, "utility") and (not name or (one.label, name) in pieces):
            word = name or (one.properties.utility or one.kind).replace("_", " ")
            name = ""
            while not name or name in taken:
                used[word] += 1
                name = word if used[word] == 1 else f"{word} {used[word]}"
            taken.add(name)
        pieces.add((one.label, word))
        named.append(replace(one, name=name))
    # A line, a point and a utility may share a name: what says it says which it means.
    first: dict[tuple[str, str], Sorted] = {}
    for one in named:
        what = "line" if one.kind in LINE_KINDS else _NAMED.get(one.kind)
        if what is None or not one.name:
            continue
        other = first.setdefault((what, one.name), one)
        if other is not one:
            ledger.fault(
                Told(
                    Either(f"{other.label} is a {what}", f"another {what} is"),
                    f" called {one.name!r} too",
                ),
                "give each its own name",
                file=source.file,
                field=f"{one.label}, name",
            )
    lost = {name_of(one.properties) for one in source.features} - {one.name for one in named}
    return SortedPlan(source.file, tuple(named), source.coordinates, source.lost | lost)


def _sort(feature: Feature, spelling: Spelling, file: str, ledger: Ledger) -> Iterator[Sorted]:
    # GIS tables head columns Name or KIND.
    given = {plain(name): value for name, value in feature.properties.items()}
    said = given.pop("kind", None)
    if said is None:
        return  # told once for all of them
    kind = plain(said[:80]) if isinstance(said, str) else ""
    if kind not in KINDS:
        ledger.fault(
            f"the kind {show_value(said)} is unknown",
            suggest(kind, KINDS) if kind else f"write {listed(KINDS)}",
            file=file,
            field=f"{feature.label}, kind",
        )
        return
    properties, faults = read_typed(
        FeatureProperties,
        {key: value for key, value in given.items() if key in key_names(FeatureProperties)},
        spelling,
    )
    wanted, fault = _LACKING.get(kind, ("kind", None))
    if fault is not None and wanted not in given:
        faults.append(fault)
    for fault in faults:
        ledger.add(replace(fault, file=file, field=f"{feature.label}, {fault.field}"))
    for part in _parts(kind, feature, file, ledger):
        if properties is not None:
            yield Sorted(feature.label, kind, properties.name or "", properties, part)


def _report_kindless(source: FeatureFile, ledger: Ledger) -> None:
    """Report the features without a kind as one fault: a layer lacks it as a whole."""
    without = [
        one
        for one in source.features
        if all(plain(name) != "kind" or said is None for name, said in one.properties.items())
    ]
    if not without:
        return
    more = f" (and {len(without) - 1} more features have none)" if len(without) > 1 else ""
    near = nearest("kind", without[0].properties, 0.7)
    remedy = f"did you mean kind by {near!r}?" if near else f"write its kind: {listed(KINDS)}"
    field = f"{without[0].label}, kind"
    ledger.fault(f"it has no kind{more}", remedy, file=source.file, field=field)


def _report_misspelt(source: FeatureFile, ledger: Ledger) -> None:
    """Report each property that is nearly one of ours once; others belong to the GIS."""
    ours = key_names(FeatureProperties)
    labels: dict[str, list[str]] = {}
    closest = cache(lambda name: nearest(name, _TELLING, 0.8))
    for feature in source.features:
        given = {plain(name) for name in feature.properties}
        for name in given.difference(ours):
            near = closest(name)
            if near is not None and near not in given:
                labels.setdefault(name, []).append(feature.label)
    for name, where in labels.items():
        more = f" (and in {len(where) - 1} more features)" if len(where) > 1 else ""
        ledger.fault(
            f"this property is unknown{more}",
            suggest(name, _TELLING),
            file=source.file,
            field=f"{where[0]}, {name}",
        )


def _parts(kind: str, feature: Feature, file: str, ledger: Ledger) -> Iterator[BaseGeometry]:
    """Yield the feature's single parts, faults for a shape its kind cannot have."""
    wanted, has = PLAN_KINDS[kind].shape, feature.geometry.geom_type
    if has.removeprefix("Multi") != wanted:
        ledger.fault(
            f"a {kind} is drawn as {has}", f"draw it as {wanted}", file=file, field=feature.label
        )
        return
    parts = [feature.geometry] if has == wanted else list(shapely.get_parts(feature.geometry))
    if wanted == "LineString" and len(parts) > 1:
        # Pieces that follow head to tail are one, in their own direction: offsets hang on it.
        pieces = [shapely.get_coordinates(part) for part in parts]
        if all(np.array_equal(one[-1], after[0]) for one, after in pairwise(pieces)):
            parts = [LineString(np.vstack([pieces[0], *(piece[1:] for piece in pieces[1:])]))]
    if len(parts) > 1 and kind not in {"utility", "building", "surface"}:
        ledger.fault(
            f"it is in {len(parts)} pieces",
            "join them, or give each its own feature and name",
            file=file,
            field=feature.label,
        )
        return
    for part in parts:
        whole = _checked(kind, part, feature.label, file, ledger)
        if whole is not None:
            yield whole


def _checked(
    kind: str, part: BaseGeometry, label: str, file: str, ledger: Ledger
) -> BaseGeometry | None:
    problem, remedy = "", ""
    if isinstance(part, Polygon) and not part.is_valid:
        problem = f"the outline is faulty ({shapely.is_valid_reason(part)})"
        remedy = "draw an outline that does not cross itself"
    elif isinstance(part, LineString):
        points = shapely.get_coordinates(part)
        keep = np.concatenate([[True], np.any(np.diff(points, axis=0) != 0.0, axis=1)])
        if keep.sum() > 1 and not keep.all():
            ledger.notice(f"{file}, {label}: vertices drawn twice were taken once.")
            part = LineString(points[keep])
        if keep.sum() < 2:
            places = Either("vertices", "places")
            problem = Told("its ", places, " are all in one place")
            remedy = Told("draw the line with at least two ", places)
        elif kind in LINE_KINDS and part.is_closed:
            problem = "the line is closed"
            remedy = "draw only the side the pipe crosses, as an open line"
        elif kind in LINE_KINDS and len(points) <= CORNERS.most and not part.is_simple:
            problem, remedy = _CROSSES_ITSELF  # of more vertices: looked at when thinned
    if problem:
        ledger.fault(problem, remedy, file=file, field=label)
    return None if problem else part


def note_sources(plan: SortedPlan, ledger: Ledger) -> None:
    """Say whose data the plan is drawn from, which its licence asks for, and what it is not."""
    groups: dict[tuple[str, str, str], list[Sorted]] = {}
    for one in plan.features:
        said = one.properties
        if said.date or said.licence:
            groups.setdefault((said.source, said.date, said.licence), []).append(one)
    for (source, date, licence), features in groups.items():
        about = ", ".join(part for part in (date, licence) if part)
        plots = any(one.kind in ("property_line", "right_of_way") for one in features)
        survey = " Its lot lines are cadastral lines, no boundary survey." if plots else ""
        ledger.notice(
            f"{len(features)} features of the plan are from {source or 'open data'} ({about})."
            f"{survey}"
        )


# ── laid in the plane ────────────────────────────────────────────────────────────────────────────


def to_plane(plan: SortedPlan, frame: Frame) -> list[BaseGeometry]:
    """Return the features' geometries in the plane, metres; not finite where they cannot be."""
    carry = frame.lonlat_to_plane if plan.coordinates == "lonlat" else frame.to_plane

    def move(points: Floats) -> Floats:
        return np.column_stack(carry(points[:, 0], points[:, 1]))

    shapes = np.array([one.geometry for one in plan.features], dtype=object)
    return [*shapely.transform(shapes, move)] if len(shapes) else []


def lay_plan(
    plan: SortedPlan,
    geometries: Iterable[BaseGeometry],
    *,
    mapped_line_m: float,
    mapped_point_m: float,
    start_m: tuple[float, float],
    end_m: float,
) -> Plan:
    """Return the plan in the plane; ``geometries`` are those of ``to_plane``.

    Lines of very many vertices are thinned, the more so where a run of ``end_m`` from ``start_m``
    cannot reach. What has no place in the plane is left out; that it has none is reported
    elsewhere.
    """
    reach = np.array(start_m), end_m + _BEYOND_M
    lines, utilities, points, levels, areas = [], [], [], [], []
    for one, at in zip(plan.features, geometries, strict=True):
        said, coordinates = one.properties, shapely.get_coordinates(at)
        source = ", ".join(part for part in (said.source, said.date, said.licence) if part)
        if not np.isfinite(coordinates).all():
            continue
        east, north = (float(value) for value in coordinates[0])
        if one.kind in LINE_KINDS:
            sd = mapped_line_m if said.accuracy is None else said.accuracy
            kind = cast("LineKind", one.kind)
            lines.append(PlanLine(one.name, kind, _vertices(at, *reach), sd, source))
        elif one.kind == "utility":
            vertices, what = _vertices(at, *reach), said.utility or "sewer"
            utilities.append(
                UtilityLine(one.name, what, vertices, said.depth, said.accuracy, source, said.size)
            )
        elif one.kind == "reference":
            sd = mapped_point_m if said.accuracy is None else said.accuracy
            points.append(PlanPoint(one.name, east, north, sd, said.z, source))
        elif one.kind == "ground":
            levels.append(SpotLevel(east, north, said.z or 0.0, one.name))
        elif isinstance(at, Polygon):
            cover = None if one.kind == "building" else said.cover or "other"
            name = one.name or cover or "building"
            area = shapely.simplify(at, _THINNED_M) if len(coordinates) > _MANY else at
            areas.append(PlanArea(name, "surface" if cover else "building", area, cover, source))
    return Plan(tuple(lines), tuple(utilities), tuple(points), tuple(levels), tuple(areas))


def check_corners(plan: Plan, given: SortedPlan, ledger: Ledger) -> None:
    """Report each line that has too many vertices even when thinned, or, thinned, a loop."""
    many = {
        one.name
        for one in given.features
        if one.kind in LINE_KINDS and shapely.get_num_coordinates(one.geometry) > CORNERS.most
    }
    drawn: tuple[PlanLine | UtilityLine, ...] = (*plan.lines, *plan.utilities)
    for line in drawn:
        fault = CORNERS.fault(len(line.vertices_m))
        if fault is None and line.name in many and not LineString(line.vertices_m).is_simple:
            fault = Fault(*_CROSSES_ITSELF)
        if fault is not None:
            ledger.add(replace(fault, file=given.file, field=line.name))


def _vertices(geometry: BaseGeometry, start_m: Floats, reach_m: float) -> Floats:
    """Return read-only vertices (n, 2), none together in the plane, thinned where very many."""
    points = shapely.get_coordinates(geometry)
    if not (np.hypot(*np.diff(points, axis=0).T) > _SAME_M).all():
        kept = [points[0].tolist()]
        for point in points[1:].tolist():
            if math.dist(point, kept[-1]) > _SAME_M:
                kept.append(point)
        points = np.array(kept) if len(kept) > 1 else points
    if len(points) > _MANY:
        # The first and last piece point the line's straight continuation: they stay.
        inner, parts = points[1:-1], [points[:1]]
        for first in range(0, len(inner), _BLOCK):
            block = inner[first : first + _BLOCK + 1]
            if len(block) > 1:
                near = (np.hypot(*(block - start_m).T) < reach_m).any()
                far_m = _THINNED_M if near else _FAR_THINNED_M
                block = shapely.get_coordinates(shapely.simplify(LineString(block), far_m))
            parts.append(block if first + _BLOCK + 1 >= len(inner) else block[:-1])
        points = np.vstack([*parts, points[-1:]])
    vertices = points
    vertices.setflags(write=False)
    return vertices
