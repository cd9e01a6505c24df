"""route.geojson: RFC 7946, longitude before latitude, outer rings counter-clockwise.

Heights are attributes: RFC 7946 keeps the third coordinate for metres above the WGS 84 ellipsoid,
which nobody measured here. A sketch tied to no place on earth keeps its x, y and says so.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import shapely
from shapely.geometry import mapping

from lateral_map.export.features import Feature, Layer, route_layers
from lateral_map.export.json_text import lay_out
from lateral_map.export.outward import DEGREE_DECIMALS, LENGTH_DECIMALS, Outward, outward

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.results import Report


def route_geojson(report: Report) -> str:
    """Return the text of route.geojson, one feature a line."""
    out = outward(report)
    head: dict[str, Any] = {"type": "FeatureCollection", "name": report.site.name, "unit": out.unit}
    if out.frame.is_local:
        head["note"] = (
            f"A sketch tied to no place on earth: coordinates are x, y in {out.unit}, "
            "not longitude and latitude."
        )
    features = [
        _feature(layer, number, feature, out)
        for layer in route_layers(report)
        for number, feature in enumerate(layer.features, start=1)
    ]
    return lay_out(head | {"features": features})


def _feature(layer: Layer, number: int, feature: Feature, out: Outward) -> dict[str, Any]:
    return {
        "type": "Feature",
        "id": f"{layer.name} {number}",
        "geometry": placed_geometry(feature.geometry, out),
        "properties": {"layer": layer.name, **feature.record},
    }


def placed_geometry(geometry: BaseGeometry, out: Outward) -> dict[str, Any] | None:
    """Return a geometry in the plane as GeoJSON: longitude, latitude; x, y for a sketch."""
    if geometry.is_empty:
        return None
    decimals = LENGTH_DECIMALS if out.frame.is_local else DEGREE_DECIMALS
    placed = out.lonlat(shapely.force_2d(geometry))
    return dict(mapping(shapely.transform(placed, lambda points: points.round(decimals) + 0.0)))
