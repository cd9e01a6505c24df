"""Lots of a real district: is the street edge that is proposed the one that meets the street?

The district is momepy's example (144 buildings, 407 plots, 35 streets). The check walks round each
lot and looks outward along rays: where one meets a street before any other plot, the lot is open to
the street there. What is proposed must hold all such places and hardly any other, and where no
street edge is proposed there may be none; a question is no mistake.

    python tests/truth/open_lots.py
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass
from functools import cache
from importlib.metadata import files
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import shapely
from shapely.geometry import LineString, MultiPoint, Point

from lateral_map.errors import SiteError
from lateral_map.reading.open_data import Layer, gather_plan

CRS = "EPSG:32633"
_RAY_M, _STEP_M = 30.0, 1.0


@dataclass(frozen=True)
class Outcome:
    """Whether the lot was the building's own, and how its open places and its edges agree.

    ``share`` of the open places lie on the street edges, ``open_share`` of the edges is open.
    """

    asked: bool
    right_lot: bool = True
    share: float = 1.0
    open_share: float = 1.0
    edges: int = 0

    @property
    def wrong(self) -> bool:
        """Whether something was drawn that is not so, or left out, without a question."""
        return not self.right_lot or self.share < 0.9 or self.open_share < 0.6


def district() -> Path:
    """Return the path of momepy's district."""
    found = next(one for one in files("momepy") or () if one.name == "bubenec.gpkg")
    return Path(str(found.locate()))


def layers() -> list[Layer]:
    """Return how its layers are read."""
    kinds = {"buildings": ("building", 0.5), "plots": ("lot", 0.3), "streets": ("street", 2.0)}
    return [
        Layer(district(), name, kind, None, accuracy, "example", "2020", "unknown")
        for name, (kind, accuracy) in kinds.items()
    ]


@cache
def _read(layer: str) -> Any:
    return geopandas.read_file(district(), layer=layer).to_crs(CRS)


def count() -> int:
    """Return how many buildings there are."""
    return len(_read("buildings"))


def place_of(index: int) -> tuple[float, float]:
    """Return the (longitude, latitude) of a place within a building."""
    inside = _read("buildings").geometry[index].representative_point()
    point = geopandas.GeoSeries([inside], crs=CRS).to_crs(4326)[0]
    return point.x, point.y


def try_lot(index: int) -> Outcome:
    """Draw one building's plan from the district and hold it against rays."""
    try:
        plan = gather_plan(layers(), place_of(index), 60.0)
    except SiteError as asked:
        return Outcome(asked="which " in str(asked))
    plots, building = _read("plots"), _read("buildings").geometry[index]
    own = int(plots.intersection(building).area.idxmax())
    lot = plots.geometry[own]
    sides = [
        shapely.geometry.shape(one["geometry"])
        for one in plan.features
        if one["properties"]["kind"] in ("right_of_way", "property_line")
    ]
    ring = geopandas.GeoSeries(sides, crs=4326).to_crs(CRS).union_all()
    right = ring.hausdorff_distance(lot.exterior) < 0.5
    around = lot.buffer(40.0)
    near = plots[plots.intersects(around) & (plots.index != own)].geometry.union_all()
    named = [one for one in plan.features if one["properties"]["name"] in plan.street_edges]
    streets = [shapely.geometry.shape(one["geometry"]) for one in named]
    seen = _open_places(lot, near, _read("streets").clip(around).geometry.union_all())
    if not streets:
        # A gap of a hand's breadth between plots is no street edge.
        return Outcome(asked=False, right_lot=bool(right), share=float(len(seen) <= 1))
    edge = geopandas.GeoSeries(streets, crs=4326).to_crs(CRS).union_all()
    share = float(np.mean([edge.distance(Point(one)) < 0.6 for one in seen])) if seen else 0.0
    opened = MultiPoint(seen).buffer(1.1 * _STEP_M)
    open_share = edge.intersection(opened).length / edge.length
    return Outcome(False, bool(right), share, open_share, len(streets))


def _open_places(lot: Any, others: Any, streets: Any) -> list[tuple[float, float]]:
    points = lot.exterior.coords if not lot.exterior.is_ccw else lot.exterior.coords[::-1]
    ring, found = LineString(points), []
    for along in np.arange(0.0, ring.length, _STEP_M):
        a, b = ring.interpolate(along), ring.interpolate((along + 0.2) % ring.length)
        step = np.array([b.x - a.x, b.y - a.y])
        if np.hypot(*step) < 0.05:
            continue
        out = np.array([-step[1], step[0]]) / np.hypot(*step)
        begin, end = np.array([a.x, a.y]) + 0.5 * out, np.array([a.x, a.y]) + _RAY_M * out
        ray = LineString([begin, end])
        hits = shapely.get_coordinates(ray.intersection(streets))
        if not len(hits):
            continue
        first = hits[np.argmin(np.hypot(*(hits - begin).T))]
        if LineString([begin, first]).intersection(others).length < 0.5:
            found.append((a.x, a.y))
    return found


def main() -> None:
    """Try every building and print what came of it."""
    found = [try_lot(index) for index in range(count())]
    proposed = [one for one in found if not one.asked]
    edges = Counter(one.edges for one in proposed)
    sys.stdout.write(
        f"{len(found)} buildings: {len(proposed)} drawn ({dict(sorted(edges.items()))} by how many "
        f"street edges), {len(found) - len(proposed)} asked, "
        f"{sum(one.wrong for one in proposed)} of them silently wrong\n"
    )
    for index, one in enumerate(found):
        if one.wrong:
            sys.stdout.write(f"{index}: {one}\n")


if __name__ == "__main__":
    main()
