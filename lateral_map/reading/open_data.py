"""Open geodata to a site's plan: the window read, the house and its lot chosen, named and measured.

Whatever is not plain is asked, never guessed: which building, which lot, which of its sides meets
the street. Plots and footprints are somebody else's map; each feature keeps its source.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import Fault, FrameError, SiteError
from lateral_map.frame import Frame, projected_frame_at, read_crs, reproject, stretch_at
from lateral_map.model.arrays import Floats
from lateral_map.reading.words import clean_name

KINDS: Final = ("building", "lot", "street", "curb", "right_of_way", "property_line", "skip")
_WGS84: Final = "EPSG:4326"
MOST_STRETCH: Final = 0.002
# A plot's edge this near another plot's is one edge drawn twice.
_SHARED_M: Final = 0.3
_SIMPLER_M: Final = 0.15
_CORNER_DEG: Final = 30.0
# A street's middle lies no farther from a lot's edge than this.
_STREET_M: Final = 40.0
_LEAST_EDGE_M: Final = 2.0
_MOST_OPEN: Final = 0.7
# A stand-in for the run goes this far past the street edge.
_PAST_EDGE_M: Final = 6.0
_TAPE_M: Final = 30.0
# Most of a building lies on its own lot; a yard's largest building is the house where the next is
# less than this share of it.
_MOSTLY, _CLEARLY_LESS = 0.8, 0.5
_COMPASS: Final = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_SIDES: Final = ("north", "east", "south", "west")


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a file: what its features are, from whom, how well mapped (m, 1 sd).

    ``where`` keeps the features whose field has a value (any, where it is empty). ``crs`` is said
    where the file does not say it.
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
    street_edge: str = ""
    start_lonlat: tuple[float, float] = (0.0, 0.0)
    azimuth_deg: float = 0.0
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
    raise SiteError(
        Fault(
            f"{', '.join(tried)} stretches lengths there by more than 0.2 %, or is not projected",
            f"name another with --crs, such as {utm}",
            field="crs",
        )
    )


def crs_of(layer: Layer) -> str:
    """Return a layer's coordinate system; raises ``SiteError`` where nothing says it."""
    import pyogrio

    said = pyogrio.read_info(layer.path, layer=layer.name)["crs"] or layer.crs
    if not said:
        problem = f"the layer {layer.name!r} does not say its coordinate system"
        raise SiteError(Fault(problem, "say it with --source-crs", file=layer.path.name))
    return str(said)


def find_place(layers: Sequence[Layer], name: str, value: str) -> tuple[float, float]:
    """Return the (longitude, latitude) of the one feature whose field has a value."""
    import pyogrio

    found = []
    for layer in layers:
        about = pyogrio.read_info(layer.path, layer=layer.name)
        if name not in about["fields"]:
            continue
        text = value.replace("'", "''")
        where = f"\"{name}\" = '{text}'"
        frame = pyogrio.read_dataframe(layer.path, layer=layer.name, where=where, force_2d=True)
        for shape in frame.geometry.dropna():
            point = shape.representative_point()
            x, y = reproject(point.x, point.y, crs_of(layer), _WGS84, (0.0, 0.0))
            found.append((float(x), float(y)))
    if len(found) != 1:
        problem = f"{len(found) or 'no'} features have {name} = {value!r}"
        raise SiteError(Fault(problem, "name another field or value, or give --at LAT,LON"))
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
    import pyogrio

    crs = crs_of(layer)
    ring = np.array(
        shapely.box(*here.buffer(reach_m).bounds).segmentize(reach_m / 4).exterior.coords
    )
    x, y = reproject(*frame.from_plane(*ring.T), frame.crs, crs, place)
    window = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    where = None
    if layer.where is not None:
        name, value = layer.where
        quoted = value.replace("'", "''")
        where = f"\"{name}\" = '{quoted}'" if value else f'"{name}" IS NOT NULL'
    frame_read = pyogrio.read_dataframe(
        layer.path, layer=layer.name, bbox=window, where=where, force_2d=False
    )
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
        parts = [one for one in whole if one.geom_type in _WANTED[layer.kind]]
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


_AREA: Final = ("Polygon",)
_LINE: Final = ("LineString",)
_WANTED: Final[Mapping[str, tuple[str, ...]]] = {
    kind: _AREA if kind in ("building", "lot") else _LINE for kind in KINDS
}


def _singles(shape: BaseGeometry) -> list[BaseGeometry]:
    parts = [shape] if not hasattr(shape, "geoms") else list(shape.geoms)
    return [one for part in parts for one in ([part] if part is shape else _singles(part))]


# ── which house, which lot ───────────────────────────────────────────────────────────────────────


def _ask(what: str, options: Sequence[str], option: str) -> SiteError:
    """Return a question: what may be meant, and how to answer."""
    if not options:
        return SiteError(
            Fault(f"{what}: none lies in reach", "check --at, or give a longer --reach")
        )
    shown = "; ".join(f"{number}: {words}" for number, words in enumerate(options, 1))
    return SiteError(Fault(f"{what}: {shown}", f"answer with {option}"))


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
        around = _lots_meant(shapes.get("lot", []), here, over[0] if len(over) == 1 else None)
        words = [_area_words(one, here) for one in around]
        sure = around if around[0].shape.distance(here) == 0.0 or over else []
        lot = _take("which lot is it", around, words, answers.lot, "--lot NUMBER", sure=sure)
        plan.said.append(f"lot: {_area_words(lot, here)}")
    if len(over) == 1:
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


def _lots_meant(lots: list[_Shape], here: Point, house: _Shape | None) -> list[_Shape]:
    """Return the lot the house mostly stands on, else those round the place, else the nearest."""
    if house is not None:
        shared = {id(one): one.shape.intersection(house.shape).area for one in lots}
        on = [one for one in lots if shared[id(one)] > _MOSTLY * house.shape.area]
        return on or sorted(lots, key=lambda one: -shared[id(one)])[:3]
    around = [one for one in lots if one.shape.contains(here)]
    return around or sorted(lots, key=lambda one: one.shape.distance(here))[:3]


def _area_words(one: _Shape, here: Point) -> str:
    away = one.shape.distance(here)
    name = f"{one.name!r}, " if one.name else ""
    where = "over the place" if away == 0.0 else f"{away:.0f} m from it"
    return f"{name}{one.shape.area:,.0f} m² {where}"


# ── drawn and named ──────────────────────────────────────────────────────────────────────────────


def break_ring(ring: Floats) -> list[Floats]:
    """Return a closed outline's sides (k, 2) between its corners, walked clockwise.

    Vertices nobody would call a corner stay within their side; an outline of fewer than two corners
    is broken at its two farthest places, so that no side is closed.
    """
    points = _outline(ring)
    before, after = np.roll(points, 1, axis=0), np.roll(points, -1, axis=0)
    turned = np.abs(_turns(points - before, after - points))
    corners = np.flatnonzero(turned > _CORNER_DEG)
    if len(corners) < 2:
        apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
        corners = np.sort(np.array(np.unravel_index(int(apart.argmax()), apart.shape)))
    sides = []
    for begin, end in zip(corners, [*corners[1:], corners[0] + len(points)], strict=True):
        sides.append(points[np.arange(begin, end + 1) % len(points)])
    return sides


def _outline(ring: Floats) -> Floats:
    """Return an outline's distinct points clockwise, simplified unless it would collapse."""
    whole = Polygon(ring)
    simple = (
        Polygon(shapely.get_coordinates(whole.simplify(_SIMPLER_M))) if len(ring) > 4 else whole
    )
    if abs(simple.area - whole.area) > 0.02 * whole.area:
        simple = whole
    points: Floats = shapely.get_coordinates(simple.exterior)[:-1]
    return points[::-1] if simple.exterior.is_ccw else points


def _turns(into: Floats, out_of: Floats) -> Floats:
    """Return the degrees turned from one step to the next, to the right positive."""
    cross = into[:, 1] * out_of[:, 0] - into[:, 0] * out_of[:, 1]
    return np.asarray(np.degrees(np.arctan2(cross, (into * out_of).sum(axis=1))))


def _azimuth(step: Floats) -> float:
    return math.degrees(math.atan2(step[0], step[1])) % 360.0


def _out_of(side: Floats) -> Floats:
    """Return the unit vector out of an outline walked clockwise: to the left of its side."""
    step = side[-1] - side[0]
    return np.array([-step[1], step[0]]) / max(float(np.hypot(*step)), 1e-9)


def street_sides(
    lot: Polygon,
    sides: Sequence[Floats],
    others: Sequence[BaseGeometry],
    streets: Sequence[BaseGeometry] | None,
) -> list[int]:
    """Return which sides of a lot are shared with no other plot and look out on a street.

    ``streets`` is None where nobody gave a layer of them.
    """
    walled = (
        shapely.union_all(shapely.buffer(np.array(others, object), _SHARED_M)) if others else None
    )
    plots = shapely.union_all(np.array(others, object)) if others else Polygon()
    roads = None if streets is None else shapely.union_all([LineString(), *streets])
    found, open_m = [], {}
    for index, side in enumerate(sides):
        line = LineString(side)
        free: Any = line.difference(walled)
        open_m[index] = free.length
        if free.length < max(_LEAST_EDGE_M, 0.5 * line.length):
            continue
        if roads is not None and roads.is_empty:
            continue
        if roads is not None:
            middle = line.interpolate(0.5, normalized=True)
            toward: Any = shapely.shortest_line(middle, roads)
            crossed: float = toward.intersection(plots.union(lot)).length
            if toward.length > _STREET_M or crossed > 1.0:
                continue
        found.append(index)
    # One side that is but a part of all that is open, such as a piece of a jogged front, is no
    # plain answer.
    if len(found) == 1 and open_m[found[0]] < _MOST_OPEN * sum(open_m.values()):
        return [*found, *(index for index, length in open_m.items() if length > _LEAST_EDGE_M)]
    return found


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
    edge = None if lot is None else _draw_lot(shapes, house, lot, answers, frame, plan)
    goal = edge if edge is not None else house.shape
    _draw_corners(house, goal, frame, plan)
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
    shapes: Mapping[str, list[_Shape]],
    house: _Shape,
    lot: _Shape,
    answers: Chosen,
    frame: Frame,
    plan: OpenPlan,
) -> BaseGeometry:
    """Draw the lot's sides, the one on the street apart; raises ``SiteError`` to ask which."""
    near = [
        one.shape
        for one in shapes.get("lot", [])
        if one is not lot and one.shape.distance(lot.shape) < 60.0
    ]
    sides = break_ring(shapely.get_coordinates(lot.shape.exterior))
    streets = [one.shape for one in shapes["street"]] if "street" in shapes else None
    found = street_sides(lot.shape, sides, near, streets)
    faces = [_SIDES[round(_azimuth(_out_of(side)) / 90.0) % 4] for side in sides]
    words = [
        f"the {face} one, {float(np.hypot(*np.diff(side, axis=0).T).sum()):.1f} m"
        for face, side in zip(faces, sides, strict=True)
    ]
    if answers.street is not None and 1 <= answers.street <= len(sides):
        found = [answers.street - 1]
    if len(found) != 1:
        what = (
            "no side looks out on a street alone" if not found else "several look out on a street"
        )
        raise _ask(f"which side of the lot is its street edge ({what})", words, "--street NUMBER")
    plan.said.append(f"street edge, proposed: {words[found[0]]}")
    for index, side in enumerate(sides):
        if index == found[0]:
            plan.street_edge = "street edge"
            _add(plan, frame, lot, "right_of_way", "street edge", LineString(side))
            continue
        name = plan.numbered(f"{faces[index]} lot line")
        if LineString(side).length > _SIMPLER_M:
            _add(plan, frame, lot, "property_line", name, LineString(side))
    edge, out = LineString(sides[found[0]]), _out_of(sides[found[0]])
    plan.azimuth_deg = round(float(frame.grid_azimuth_deg(_azimuth(out))), 1)
    plan.run_m = round(house.shape.centroid.distance(edge) + _PAST_EDGE_M, 1)
    return edge


def _draw_corners(house: _Shape, goal: BaseGeometry, frame: Frame, plan: OpenPlan) -> None:
    """Make points of the house's outward corners within a tape's reach of the street edge."""
    points = _outline(shapely.get_coordinates(house.shape.exterior))
    turns = _turns(points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points)
    middle = np.asarray(shapely.get_coordinates(house.shape.centroid)[0])
    at = frame.plane_to_lonlat(*middle)
    if at is not None:
        plan.start_lonlat = (round(float(at[0]), 8), round(float(at[1]), 8))
    outward = [point for point, turn in zip(points, turns, strict=True) if turn > _CORNER_DEG]
    away = sorted(outward, key=lambda point: Point(point).distance(goal))
    near = [one for one in away if Point(one).distance(goal) <= _TAPE_M] or away[:2]
    for point in near:
        word = f"house {_COMPASS[round(_azimuth(point - middle) / 45.0) % 8]} corner"
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
