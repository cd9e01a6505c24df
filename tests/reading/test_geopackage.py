"""plan.gpkg written by another library, in several systems and layers."""

from __future__ import annotations

import warnings
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from reading.broken_database import damage
from reading.good_site import CRS, Folder, good_folder

from lateral_map.model.site import Site


def geopackage(
    folder: Folder, path: Path, crs: str | None, *, layers: bool = False, local: bool = False
) -> bytes:
    """Return the good plan as a GeoPackage: one layer a geometry, or one a kind."""
    frame = geopandas.GeoDataFrame.from_features(folder.plan["features"], crs="EPSG:4326")
    frame["accuracy"] = frame["accuracy"].astype(str).replace("nan", None)
    frame = frame.set_crs(None, allow_override=True) if local else frame.to_crs(crs)
    groups = frame.groupby(frame["kind"] if layers else frame.geom_type)
    file = path / "plan.gpkg"
    for name, group in groups:
        written = group.drop(columns=["kind"]) if layers else group
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # a layer without a system is meant here
            written.to_file(file, layer=name, driver="GPKG", engine="pyogrio")
    data = file.read_bytes()
    file.unlink()
    return data


def load(folder: Folder, path: Path, **options: object) -> Site:
    path.mkdir()
    folder.raw |= {"plan.geojson": None, "plan.gpkg": geopackage(folder, path, **options)}  # type: ignore[arg-type]
    return folder.load(path)


def assert_same_plan(one: Site, other: Site, within_m: float) -> None:
    for mine, theirs in ((one.plan.lines, other.plan.lines),):
        by_name = {line.name: line for line in theirs}
        for line in mine:
            assert np.allclose(line.vertices_m, by_name[line.name].vertices_m, atol=within_m)
            assert line.kind == by_name[line.name].kind
            assert line.sd_m == pytest.approx(by_name[line.name].sd_m)
    for point in one.plan.points:
        twin = other.plan.point(point.name)
        assert (point.easting_m, point.northing_m) == pytest.approx(
            (twin.easting_m, twin.northing_m), abs=within_m
        )
        assert point.elevation_m == (
            None if twin.elevation_m is None else pytest.approx(twin.elevation_m)
        )
    assert len(one.plan.areas) == len(other.plan.areas)
    assert one.plan.utilities[0].depth_m == pytest.approx(other.plan.utilities[0].depth_m)


@pytest.mark.parametrize("crs", [CRS, "EPSG:4326", "EPSG:32616", "EPSG:3857"])
@pytest.mark.parametrize("layers", [False, True])
def test_the_plan_is_the_same_in_every_system(crs: str, layers: bool, tmp_path: Path) -> None:
    by_geojson = good_folder().load(tmp_path / "geojson")
    by_geopackage = load(good_folder(), tmp_path / "gpkg", crs=crs, layers=layers)
    assert_same_plan(by_geopackage, by_geojson, within_m=1e-4)


def test_tables_without_a_geometry_are_passed_over(tmp_path: Path) -> None:
    folder = good_folder()
    tmp_path.joinpath("a").mkdir()
    data = geopackage(folder, tmp_path / "a", CRS)
    file = tmp_path / "plan.gpkg"
    file.write_bytes(data)
    styles = pd.DataFrame({"styleName": ["x"], "styleQML": ["<qgis/>"]})
    import pyogrio

    pyogrio.write_dataframe(styles, file, layer="layer_styles", driver="GPKG", append=True)
    folder.raw |= {"plan.geojson": None, "plan.gpkg": file.read_bytes()}
    assert len(folder.load(tmp_path / "site").plan.lines) == 3


def test_a_sketch_takes_a_layer_without_a_system(tmp_path: Path) -> None:
    folder = good_folder()
    folder.toml["site"]["crs"] = '"local"'
    folder.locates = folder.locates[:1]
    for one in folder.plan["features"]:
        shape = shapely.geometry.shape(one["geometry"])
        moved = shapely.affinity.affine_transform(
            shape, [269e3, 0, 0, 364.5e3, 84.5 * 269e3, -42.7 * 364.5e3]
        )
        one["geometry"] = shapely.geometry.mapping(moved)
    site = load(folder, tmp_path / "a", crs=None, local=True)
    assert site.plan.point("hydrant").easting_m == pytest.approx(40 * 0.3048, abs=1e-4)


def test_a_sketch_refuses_a_layer_with_a_system(tmp_path: Path) -> None:
    folder = good_folder()
    (tmp_path / "a").mkdir()
    folder.raw |= {"plan.geojson": None, "plan.gpkg": geopackage(folder, tmp_path / "a", CRS)}
    folder.toml["site"]["crs"] = '"local"'
    folder.locates = folder.locates[:1]
    faults = folder.faults(tmp_path / "b")
    assert {fault.file for fault in faults} >= {"plan.gpkg"}
    assert any("the site is local" in fault.problem for fault in faults)


def test_faults_name_layer_and_feature(tmp_path: Path) -> None:
    folder = good_folder()
    folder.features("drive")["properties"]["cover"] = "tarmac"
    (tmp_path / "a").mkdir()
    folder.raw |= {"plan.geojson": None, "plan.gpkg": geopackage(folder, tmp_path / "a", CRS)}
    (fault,) = folder.faults(tmp_path / "b")
    assert (fault.file, fault.field) == ("plan.gpkg", "layer 'Polygon' feature 2 'drive', cover")
    assert "'asphalt'" in fault.remedy


def test_a_layer_in_the_wrong_system_is_far_away(tmp_path: Path) -> None:
    folder = good_folder()
    (tmp_path / "a").mkdir()
    folder.raw |= {
        "plan.geojson": None,
        "plan.gpkg": geopackage(folder, tmp_path / "a", "EPSG:32616"),
    }
    folder.toml["site"]["crs"] = '"EPSG:2913"'
    (fault,) = folder.faults(tmp_path / "b")
    assert (fault.file, fault.field) == ("site.toml", "start.point")
    assert "outside" in fault.problem


@pytest.mark.parametrize("seed", range(12))
def test_a_damaged_file_is_refused_or_read(seed: int, tmp_path: Path) -> None:
    folder = good_folder()
    (tmp_path / "a").mkdir()
    whole = geopackage(folder, tmp_path / "a", CRS)
    folder.raw |= {"plan.geojson": None, "plan.gpkg": damage(whole, seed)}
    for fault in folder.faults(tmp_path / "b"):
        assert fault.problem
