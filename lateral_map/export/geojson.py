"""route.geojson: RFC 7946, longitude before latitude, outer rings counter-clockwise.

Heights are attributes: RFC 7946 keeps the third coordinate for metres above the WGS 84 ellipsoid,
which nobody measured here. A sketch tied to no place on earth keeps its x, y and says so.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import shapely
from shapely.geometry import mapping

from lateral_map.export.features import route_layers
from lateral_map.export.outward import DEGREE_DECIMALS, LENGTH_DECIMALS, Outward, lay_out, outward

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from lateral_map.model.results import Report


def route_geojson(report: Report) -> str:
    """Return the text of route.geojson, one feature a line."""
    features = (
        (number, feature.geometry, {"layer": layer.name, **feature.record})
        for layer in route_layers(report)
        for number, feature in enumerate(layer.features, start=1)
    )
    return collection_text(report.site.name, outward(report), features)


def collection_text(
    name: str,
    out: Outward,
    features: Iterable[tuple[int, BaseGeometry, dict[str, Any]]],
    **head: object,
) -> str:
    """Return a feature collection's text: each feature's number, geometry and record.

    A record says its ``layer``, which with the number is the feature's id; ``head`` comes before.
    """
    note = (
        f"A sketch tied to no place on earth: coordinates are x, y in {out.unit}, "
        "not longitude and latitude."
    )
    decimals = LENGTH_DECIMALS if out.frame.is_local else DEGREE_DECIMALS
    written = []
    for number, geometry, record in features:
        # Longitude, latitude; x, y for a sketch.
        placed = out.lonlat(shapely.force_2d(geometry))
        placed = shapely.transform(placed, lambda points: points.round(decimals) + 0.0)
        written.append(
            {
                "type": "Feature",
                "id": f"{record['layer']} {number}",
                "geometry": None if geometry.is_empty else dict(mapping(placed)),
                "properties": record,
            }
        )
    return lay_out(
        {
            "type": "FeatureCollection",
            "name": name,
            "unit": out.unit,
            **({"note": note} if out.frame.is_local else {}),
            **head,
            "features": written,
        }
    )
