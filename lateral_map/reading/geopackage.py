"""plan.gpkg off the disk: every layer with a geometry, carried into the site's declared system."""

from __future__ import annotations

import warnings
from contextlib import suppress
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from lateral_map.errors import Fault, FrameError, SiteError
from lateral_map.frame import crs_middle_deg, reproject, same_crs
from lateral_map.reading.features import Feature, FeatureFile, label_of, name_of
from lateral_map.reading.fields import FARTHEST
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.plan import KINDS
from lateral_map.reading.words import clean_name, plain
from lateral_map.units import show_value

# GDAL's way of saying that a layer stands on no system in particular.
_NO_CRS = ("Undefined", "Unknown")


def read_geopackage(path: Path, ledger: Ledger, *, crs: str) -> FeatureFile | None:
    """Read plan.gpkg; None, with a fault, where it cannot be opened.

    ``crs`` is the declared system, ``local`` for a sketch, empty where it is not known; layers in
    another system are carried into it. A layer named after a kind lends it to features without one.
    """
    import pyogrio

    file = path.name
    features: list[Feature] = []
    lost: set[str] = set()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # GDAL's remarks on what it mends while reading
            for name, shape in pyogrio.list_layers(path):
                if shape is not None:
                    with ledger.place(file=file, field=f"layer {str(name)!r}"):
                        features += _layer(path, str(name), crs, ledger, lost)
    except (RuntimeError, ValueError, OSError, shapely.errors.ShapelyError) as error:
        # The first sentence of what GDAL says, without the path it was given.
        said = clean_name(str(error)).replace(f"'{path}' ", "").replace(str(path), path.name)
        reason = said.partition("; ")[0].rstrip(".")[:120]
        ledger.fault(
            f"the file cannot be read as a GeoPackage ({reason})",
            "save the plan again as GeoPackage, or as plan.geojson",
            file=file,
        )
        return None
    return FeatureFile(file, tuple(features), "declared", frozenset(lost))


def _layer(path: Path, layer: str, crs: str, ledger: Ledger, lost: set[str]) -> list[Feature]:
    from pyogrio.raw import read

    about, fids, shapes, columns = read(path, layer=layer, return_fids=True, force_2d=True)
    names = [str(name) for name in about["fields"]]
    move = _Mover(about["crs"], crs)
    features: list[Feature] = []
    for i, fid in enumerate(fids):
        properties: dict[str, object] = {}
        for name, column in zip(names, columns, strict=True):
            value = column[i].item() if isinstance(column[i], np.generic) else column[i]
            if value is not None and value == value and value != "":  # NaN is none either
                properties[name] = value if isinstance(value, str | int | float) else str(value)
        if plain(layer) in KINDS and not any(plain(key) == "kind" for key in properties):
            properties["kind"] = layer
        label = label_of(f"layer {layer!r} feature {int(fid)}", properties)
        lost.add(name_of(properties))
        with ledger.place(file=path.name, field=label):
            shape = shapes[i]
            geometry = None if shape is None else shapely.from_wkb(shape, on_invalid="ignore")
            if geometry is None or geometry.is_empty:
                raise SiteError(Fault("it has no geometry", "draw it or remove it"))
            if not (np.abs(shapely.get_coordinates(geometry)) <= FARTHEST).all():
                problem = f"a vertex is no finite number up to {FARTHEST:,.0f}"
                raise SiteError(Fault(problem, "draw it again"))
            parts = shapely.get_parts(geometry)
            geometry = move(parts[0] if len(parts) == 1 else geometry)
            features.append(Feature(label, properties, geometry))
            lost.discard(name_of(properties))
    return features


class _Mover:
    """Carries a layer's coordinates into the declared system."""

    def __init__(self, source: str | None, crs: str) -> None:
        said = source or ""
        self._source = "" if any(word in said[:60] for word in _NO_CRS) else said
        self._target = crs
        if crs == "local" and self._source:
            raise SiteError(
                Fault(
                    f"the layer is in {show_value(self._source[:40])}, but the site is local",
                    "write that system as the site's crs, or save the layer without one",
                )
            )
        self._near = None
        if self._source and crs and not same_crs(self._source, crs):
            with suppress(FrameError):  # the site's crs is itself a fault
                self._near = crs_middle_deg(crs)

    def __call__(self, geometry: BaseGeometry) -> BaseGeometry:
        if self._near is None:
            return geometry
        return shapely.transform(geometry, self._move)

    def _move(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        near = self._near or (0.0, 0.0)
        try:
            x, y = reproject(points[:, 0], points[:, 1], self._source, self._target, near)
        except FrameError as error:
            raise SiteError(Fault(str(error), "save the layer in the site's crs")) from None
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            raise SiteError(
                Fault(f"it lies outside {self._target}", "check the layer's crs and the site's")
            )
        return np.column_stack([x, y])
