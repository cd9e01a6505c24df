"""Open geodata to a site's plan: the window read, the house and its lot chosen, named and measured.

Whatever is not plain is asked, never guessed: which building, which lot, which of its sides meets
the street. Plots and footprints are somebody else's map; each feature keeps its source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import FrameError, SiteError
from lateral_map.frame import Frame, projected_frame_at, read_crs, reproject, stretch_at
from lateral_map.model.arrays import Floats
from lateral_map.reading.lot_sides import (
    CORNER_DEG,
    azimuth_deg,
    break_ring,
    looks_to,
    outline,
    street_fronts,
    turns_deg,
)
from lateral_map.reading.words import clean_name, listed

KINDS: Final = ("building", "lot", "street", "curb", "right_of_way", "property_line", "skip")
_WGS84: Final = "EPSG:4326"
MOST_STRETCH: Final = 0.002
_SIMPLER_M: Final = 0.15
# A street, curb or line is drawn where it is this near.
_STREET_M: Final = 40.0
# A stand-in for the run goes this far past the street edge.
_PAST_EDGE_M: Final = 6.0
_TAPE_M: Final = 30.0
_LEAST_REACH_M, _MOST_REACH_M = 5.0, 1000.0
# Most of a building lies on its own lot; a yard's largest building is the house where the next is
# less than this share of it.
_MOSTLY, _CLEARLY_LESS = 0.8, 0.5
_COMPASS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a file: what its features are, from whom, how well mapped (m, 1 sd).

    ``where`` keeps the features whose field has a value, or one of several with | between (any,
    where it is empty). ``crs`` is said where the file does not say it; ``inside`` is where in an
    archive it lies.
    """

    path: Path
    name: str
    kind: str
    where: tuple[str, str] | None = None
    accuracy_m: float = 1.0
    source: str = ""
    date: str = ""
    licence: str = ""
    crs: str = ""
    inside: str = ""

    @property
    def opened(self) -> str:
        """Return what GDAL opens."""
        return opened_as(self.path, self.inside)


def opened_as(path: Path, inside: str) -> str:
    """Return what GDAL opens: a file, or what lies inside an archive."""
    # Braces keep GDAL from looking for the archive's end in odd names.
    return f"/vsizip/{{{path.absolute()}}}/{inside}".rstrip("/") if inside else str(path)


@dataclass(frozen=True, slots=True)
class Chosen:
    """What was answered: numbers of the house, lot and street edge as they were asked."""

    house: int | None = None
    lot: int | None = None
    street: int | None = None


@dataclass
class OpenPlan:
    """The plan as GeoJSON features in longitude and latitude, and what a reader is told of it."""

    crs: str
    stretch: float
    features: list[dict[str, Any]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    street_edges: list[str] = field(default_factory=list)
    start_lonlat: tuple[float, float] = (0.0, 0.0)
    azimuth_deg: float = 0.0
    aims_at: str = ""
    run_m: float = 20.0
    taken: Counter[str] = field(default_factory=Counter)

    def numbered(self, word: str) -> str:
        """Return a name for one more thing called so: curb, curb 2, curb 3."""
        self.taken[word] += 1
        return word if self.taken[word] == 1 else f"{word} {self.taken[word]}"


@dataclass(frozen=True, slots=True)
class _Shape:
    """A feature in the plane, with the layer it is of."""

    shape: Any
    layer: Layer
    name: str = ""


def choose_crs(given: str, layers: Sequence[Layer], lon: float, lat: float) -> tuple[str, float]:
    """Return a projected system and its stretch at a place, at most 0.2 %.

    The site's own where it has one, else a layer's, else the UTM zone. Raises ``SiteError``.
    """
    zone = int((lon + 180.0) // 6.0) % 60 + 1
    utm = f"EPSG:{(32600 if lat >= 0.0 else 32700) + zone}"
    own = dict.fromkeys(crs_of(one) for one in layers if one.kind != "skip")
    tried = [given] if given else [*own, utm]
    for crs in tried:
        try:
            read_crs(crs)
            stretch = stretch_at(crs, lon, lat)
        except FrameError:
            continue
        if abs(stretch - 1.0) <= MOST_STRETCH:
            return crs, stretch
    raise SiteError.of(
        f"{', '.join(tried)} stretches lengths there by more than 0.2 %, or is not projected",
        f"name another with --crs, such as {utm}",
        field="crs",
    )


def crs_of(layer: Layer) -> str:
    """Return a layer's coordinate system; raises ``SiteError`` where nothing says it."""
    import pyogrio

    with _told_of(layer):
        said = pyogrio.read_info(layer.opened, layer=layer.name)["crs"] or layer.crs
    if not said:
        problem = f"the layer {layer.name!r} does not say its coordinate system"
        raise SiteError.of(problem, "say it with --source-crs", file=layer.path.name)
    return str(said)


@contextmanager
def _told_of(layer: Layer) -> Iterator[None]:
    """Make of what GDAL cannot read a fault of the layer's file."""
    try:
        yield
    except (RuntimeError, ValueError, OSError) as error:
        said = clean_name(str(error)).replace(layer.opened, layer.path.name)[:160].rstrip(". ")
        problem = f"the layer {layer.name!r} cannot be read ({said})"
        raise SiteError.of(problem, "get the file again", file=layer.path.name) from None


def _read(layer: Layer, where: tuple[str, str] | None, **window: Any) -> Any:
    """Return the layer's features whose field has a value, or any where that is empty.

    Raises ``SiteError`` where there is no such field.
    """
    import pyogrio

    clause = None
    with _told_of(layer):
        if where is not None:
            name, value = where
            about = pyogrio.read_info(layer.opened, layer=layer.name)
            fields = [str(one) for one in about["fields"]]
            if name not in fields:
                problem = f"the layer {layer.name!r} has no field {name!r}"
                raise SiteError.of(problem, f"it has {listed(fields)}", file=layer.path.name)
            quoted = ", ".join(f"'{one}'" for one in value.replace("'", "''").split("|"))
            clause = f'"{name}" IN ({quoted})' if value else f'"{name}" IS NOT NULL'
        return pyogrio.read_dataframe(layer.opened, layer=layer.name, where=clause, **window)


def find_place(layers: Sequence[Layer], name: str, value: str) -> tuple[float, float]:
    """Return the (longitude, latitude) of the one feature whose field has a value."""
    import pyogrio

    found = []
    # A layer may be read in several ways.
    for layer in {(one.opened, one.name): one for one in layers}.values():
        with _told_of(layer):
            if name not in pyogrio.read_info(layer.opened, layer=layer.name)["fields"]:
                continue
        for shape in _read(layer, (name, value), force_2d=True).geometry.dropna():
            point = shape.representative_point()
            x, y = reproject(point.x, point.y, crs_of(layer), _WGS84, (0.0, 0.0))
            found.append((float(x), float(y)))
    if len(found) != 1:
        problem = f"{len(found) or 'no'} features have {name} = {value!r}"
        raise SiteError.of(problem, "name another field or value, or give --at LAT,LON")
    return found[0]


def gather_plan(
    layers: Sequence[Layer],
    place: tuple[float, float],
    reach_m: float,
    crs: str = "",
    chosen: Chosen | None = None,
) -> OpenPlan:
    """Return the plan round a place (longitude, latitude) from open data.

    Raises ``SiteError`` with a question where house, lot or street edge is not plain.
    """
    if not _LEAST_REACH_M <= reach_m <= _MOST_REACH_M:
        remedy = "give a length from 5 m to 1 km, such as '60 m'"
        raise SiteError.of(f"{reach_m:g} m is no reach for a lot", remedy, field="--reach")
    answers = chosen or Chosen()
    crs, stretch = choose_crs(crs, layers, *place)
    frame = projected_frame_at(crs, *place)
    plan = OpenPlan(crs, stretch)
    east, north = (float(one) for one in frame.lonlat_to_plane(*place))
    here = Point(east, north)
    shapes: dict[str, list[_Shape]] = {one.kind: [] for one in layers}
    for layer in [one for one in layers if one.kind != "skip"]:
        shapes[layer.kind] += _read_window(layer, frame, here, reach_m, place, plan.counts)
    house, lot = _choose(shapes, here, answers, plan)
    _draw(shapes, house, lot, answers, frame, plan)
    plan.said.append(f"coordinates in {crs}, which stretches lengths there {stretch:.5f} times")
    return plan


def _read_window(
    layer: Layer,
    frame: Frame,
    here: Point,
    reach_m: float,
    place: tuple[float, float],
    counts: Counter[str],
) -> list[_Shape]:
    """Return the layer's features round a place in the plane, single, flat and valid."""
    crs = crs_of(layer)
    ring = np.array(
        shapely.box(*here.buffer(reach_m).bounds).segmentize(reach_m / 4).exterior.coords
    )
    x, y = reproject(*frame.from_plane(*ring.T), frame.crs, crs, place)
    window = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    frame_read = _read(layer, layer.where, bbox=window, force_2d=False)
    label = next((one for one in ("name", "Name", "NAME") if one in frame_read.columns), None)
    found = []
    for index, raw in enumerate(frame_read.geometry):
        if raw is None or raw.is_empty:
            counts["without a shape, left out"] += 1
            continue
        counts["heights dropped"] += int(raw.has_z)
        flat = shapely.force_2d(raw)
        counts["outlines repaired"] += int(not flat.is_valid)
        whole = _singles(flat if flat.is_valid else shapely.make_valid(flat))
        if layer.kind in _AREAS and all(isinstance(one, LineString) for one in whole):
            # A drawing has its outlines as closed lines.
            rings = [
                shapely.get_coordinates(one)
                for one in whole
                if one.is_closed and shapely.get_num_coordinates(one) > 3
            ]
            counts["closed lines taken as outlines"] += len(rings)
            outlines = [shapely.make_valid(shapely.Polygon(one)) for one in rings]
            whole = [part for one in outlines for part in _singles(one)]
        parts = [one for one in whole if one.geom_type == _SHAPES[layer.kind in _AREAS]]
        counts[f"of no shape that a {layer.kind} has, left out"] += not parts
        counts["split into single parts"] += len(parts) > 1
        name = clean_name(str(frame_read[label].iloc[index] or "")) if label else ""
        for part in parts:
            moved = shapely.transform(
                part,
                lambda at: np.column_stack(
                    frame.to_plane(*reproject(at[:, 0], at[:, 1], crs, frame.crs, place))
                ),
            )
            found.append(_Shape(moved, layer, name))
    return found


_AREAS: Final = ("building", "lot")
_SHAPES: Final = ("LineString", "Polygon")


def _singles(shape: BaseGeometry) -> list[BaseGeometry]:
    parts = [shape] if not hasattr(shape, "geoms") else list(shape.geoms)
    return [one for part in parts for one in ([part] if part is shape else _singles(part))]


# ── which house, which lot ───────────────────────────────────────────────────────────────────────


def _ask(what: str, options: Sequence[str], option: str) -> SiteError:
    """Return a question: what may be meant, and how to answer."""
    if not options:
        return SiteError.of(f"{what}: none lies in reach", "check --at, or give a longer --reach")
    shown = "; ".join(f"{number}: {words}" for number, words in enumerate(options, 1))
    return SiteError.of(f"{what}: {shown}", f"answer with {option}")


def _take(
    what: str,
    found: Sequence[_Shape],
    words: Sequence[str],
    number: int | None,
    option: str,
    *,
    sure: Sequence[_Shape],
) -> _Shape:
    """Return the one answered, else the only sure one; raises ``SiteError`` to ask."""
    if number is not None and 1 <= number <= len(found):
        return found[number - 1]
    if len(sure) != 1 or number is not None:
        raise _ask(what, words, option)
    return sure[0]


def _choose(
    shapes: Mapping[str, list[_Shape]], here: Point, answers: Chosen, plan: OpenPlan
) -> tuple[_Shape, _Shape | None]:
    """Return the house and its lot (None where no layer of lots is given)."""
    over = [one for one in shapes.get("building", []) if one.shape.contains(here)]
    lot = None
    if shapes.get("lot", []):
        # The lot the house mostly stands on, else those round the place, else the nearest.
        lots = shapes["lot"]
        around = [one for one in lots if one.shape.contains(here)]
        nearest = sorted(lots, key=lambda one: one.shape.distance(here))
        if len(over) == 1:
            shared = {id(one): one.shape.intersection(over[0].shape).area for one in lots}
            around = [one for one in lots if shared[id(one)] > _MOSTLY * over[0].shape.area]
            nearest = sorted(lots, key=lambda one: -shared[id(one)])
        around = around or nearest[:3]
        words = [_area_words(one, here) for one in around]
        sure = around if around[0].shape.distance(here) == 0.0 or over else []
        lot = _take("which lot is it", around, words, answers.lot, "--lot NUMBER", sure=sure)
        plan.said.append(f"lot: {_area_words(lot, here)}")
    if len(over) == 1:
        if answers.house is not None:
            problem = "one building stands over the place: which it is was not asked"
            raise SiteError.of(problem, "leave --house out, or give another --at")
        house = over[0]
    else:
        # Those that stand mostly on the lot, the largest first, else the nearest.
        buildings = shapes.get("building", [])
        on = [
            one
            for one in buildings
            if lot is not None and one.shape.intersection(lot.shape).area > _MOSTLY * one.shape.area
        ]
        near = sorted(buildings, key=lambda one: one.shape.distance(here))[:3]
        found = sorted(on, key=lambda one: -one.shape.area) or near
        words = [_area_words(one, here) for one in found]
        clear = len(found) > 1 and found[1].shape.area < _CLEARLY_LESS * found[0].shape.area
        sure = [] if lot is None else found[:1] if clear else found
        option = "--house NUMBER"
        house = _take("which building is it", found, words, answers.house, option, sure=sure)
    plan.said.append(f"house: {_area_words(house, here)}")
    return house, lot


def _area_words(one: _Shape, here: Point) -> str:
    away = one.shape.distance(here)
    name = f"{one.name!r}, " if one.name else ""
    where = "over the place" if away == 0.0 else f"{away:.0f} m from it"
    return f"{name}{one.shape.area:,.0f} m² {where}"


# ── drawn and named ──────────────────────────────────────────────────────────────────────────────


def _draw(
    shapes: Mapping[str, list[_Shape]],
    house: _Shape,
    lot: _Shape | None,
    answers: Chosen,
    frame: Frame,
    plan: OpenPlan,
) -> None:
    """Put house, lot, street edge, corners and streets into the plan."""
    yard = house.shape if lot is None else lot.shape.union(house.shape)
    _add(plan, frame, house, "building", "house", house.shape)
    edge = LineString() if lot is None else _draw_lot(shapes, lot, answers, frame, plan)
    # The stand-in for the run leads from the house to its street edge, or else to a street.
    streets = [one.shape for one in shapes.get("street", [])]
    goal = shapely.union_all([LineString(), *streets]) if edge.is_empty else edge
    if not goal.is_empty:
        ends = shapely.get_coordinates(shapely.shortest_line(house.shape.centroid, goal))
        step = ends[1] - ends[0]
        plan.azimuth_deg = round(float(frame.grid_azimuth_deg(azimuth_deg(step))), 1)
        plan.run_m = round(float(np.hypot(*step)) + _PAST_EDGE_M, 1)
        plan.aims_at = "the street edge" if len(plan.street_edges) == 1 else "the nearest street"
    _draw_corners(house, house.shape if edge.is_empty else edge, frame, plan)
    for one in shapes.get("building", []):
        if one is not house and one.shape.intersects(yard):
            _add(plan, frame, one, "building", one.name or "building", one.shape)
    for kind in ("street", "curb", "right_of_way", "property_line"):
        for one in shapes.get(kind, []):
            if one.shape.distance(yard) > _STREET_M:
                continue
            word = one.name or {"street": "street centreline"}.get(kind, kind.replace("_", " "))
            drawn = "centreline" if kind == "street" else kind
            _add(plan, frame, one, drawn, plan.numbered(word), one.shape)


def _draw_lot(
    shapes: Mapping[str, list[_Shape]], lot: _Shape, answers: Chosen, frame: Frame, plan: OpenPlan
) -> BaseGeometry:
    """Draw the lot's sides, its fronts on a street apart, and return those.

    Raises ``SiteError`` to ask which they are.
    """
    near = [
        one.shape
        for one in shapes.get("lot", [])
        if one is not lot and one.shape.distance(lot.shape) < 60.0
    ]
    sides = break_ring(shapely.get_coordinates(lot.shape.exterior))
    streets = [one.shape for one in shapes["street"]] if "street" in shapes else None
    fronts = street_fronts(lot.shape, sides, near, streets)
    if answers.street is not None:
        fronts = [[answers.street - 1]] if 1 <= answers.street <= len(sides) else None
    if fronts is None:
        words = [_side_words(side) for side in sides]
        raise _ask("which side of the lot is its street edge", words, "--street NUMBER")
    drawn = []
    for front in fronts:
        line = np.vstack([sides[front[0]], *(sides[index][1:] for index in front[1:])])
        word = "street edge" if len(fronts) == 1 else f"{looks_to(line)} street edge"
        plan.street_edges.append(plan.numbered(word))
        _add(plan, frame, lot, "right_of_way", plan.street_edges[-1], LineString(line))
        plan.said.append(f"street edge, proposed: {_side_words(line)}")
        drawn.append(LineString(line))
    for index, side in enumerate(sides):
        if LineString(side).length > _SIMPLER_M and not any(index in front for front in fronts):
            name = plan.numbered(f"{looks_to(side)} lot line")
            _add(plan, frame, lot, "property_line", name, LineString(side))
    if len(fronts) > 1:
        plan.said.append("the lot has more than one street edge; --street NUMBER keeps one of them")
    elif not fronts:
        plan.said.append(
            "other plots lie all round the lot: no street edge is proposed; --street NUMBER says "
            f"which of its {len(sides)} sides is one"
        )
    return shapely.union_all([LineString(), *drawn])


def _side_words(side: Floats) -> str:
    return f"the {looks_to(side)} one, {LineString(side).length:.1f} m"


def _draw_corners(house: _Shape, goal: BaseGeometry, frame: Frame, plan: OpenPlan) -> None:
    """Make points of the house's outward corners within a tape's reach of the street edge."""
    points = outline(shapely.get_coordinates(house.shape.exterior))
    turned = turns_deg(points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points)
    middle = np.asarray(shapely.get_coordinates(house.shape.centroid)[0])
    at = frame.plane_to_lonlat(*middle)
    if at is not None:
        plan.start_lonlat = (round(float(at[0]), 8), round(float(at[1]), 8))
    outward = [point for point, turn in zip(points, turned, strict=True) if turn > CORNER_DEG]
    away = sorted(outward, key=lambda point: Point(point).distance(goal))
    near = [one for one in away if Point(one).distance(goal) <= _TAPE_M] or away[:2]
    for point in near:
        word = f"house {_COMPASS[round(azimuth_deg(point - middle) / 45.0) % 8]} corner"
        _add(plan, frame, house, "reference", plan.numbered(word), Point(point))


def _add(
    plan: OpenPlan, frame: Frame, of: _Shape, kind: str, name: str, shape: BaseGeometry
) -> None:
    """Add one feature in longitude and latitude, with its source."""
    layer = of.layer

    def move(at: Floats) -> Floats:
        lon, lat = frame.plane_to_lonlat(at[:, 0], at[:, 1]) or (at[:, 0], at[:, 1])
        return np.asarray(np.round(np.column_stack([lon, lat]), 8), np.float64)

    properties = {"kind": kind, "name": name}
    if kind != "building":
        properties["accuracy"] = f"{layer.accuracy_m:g} m"
    properties |= {"source": layer.source, "date": layer.date, "licence": layer.licence}
    geometry = shapely.geometry.mapping(shapely.transform(shape, move))
    plan.counts[f"{kind.replace('_', ' ')} drawn"] += 1
    plan.features.append({"type": "Feature", "geometry": geometry, "properties": properties})
