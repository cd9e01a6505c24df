"""A picture under the plan: where its pixels come to lie, what is refused, what is kept of it."""

from __future__ import annotations

import builtins
import io
import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from painted import (
    GROUND,
    MARK,
    MARKED,
    Painted,
    declared_points,
    lot_with,
    marks_seen,
    painted_lot,
)
from PIL import Image

from lateral_map.errors import Fault, SiteError
from lateral_map.export.pdf import html_to_pdf
from lateral_map.model.picture import PlanPicture
from lateral_map.model.site import Site
from lateral_map.reading.folder import load_site
from lateral_map.reading.picture_pixels import MOST_BYTES

SKETCH = Path(__file__).parents[1] / "sites" / "local_sketch"
TOML = '\n[picture]\nfile = "{}"\naccuracy = 1.5\n'


def picture_of(site: Site) -> PlanPicture:
    assert site.plan.picture is not None
    return site.plan.picture


def worst_px(site: Site) -> float:
    """Return how far in pixels a painted mark lies from the plan's point it was painted at."""
    picture = picture_of(site)
    seen = np.array(marks_seen(Image.open(io.BytesIO(picture.jpeg))))
    points = [site.plan.point(name) for name in MARKED]
    wanted = np.array([
        ((one.easting_m - picture.west_m), (picture.north_m - one.northing_m)) for one in points
    ]) / picture.pixel_m  # fmt: skip
    return float(np.hypot(*(wanted[:, None] - seen[None]).T).min(axis=0).max())


def faults_of(folder: Path) -> tuple[Fault, ...]:
    with pytest.raises(SiteError) as caught:
        load_site(folder)
    return caught.value.faults


@pytest.mark.parametrize(
    "painted",
    [
        Painted(),
        Painted(turn_deg=23.0),
        Painted(crs="EPSG:26917", pixel=0.08),
        # Stretched 1.39 times here, and in degrees: neither is the ground's own shape.
        Painted(crs="EPSG:3857", pixel=0.1),
        Painted(crs="EPSG:4326", pixel=1e-6),
        # Finer than what is kept: shrunk by a whole number and warped by the rest.
        Painted(pixel=0.04, size=(5003, 4001), radius=25.0),
    ],
    ids=["own system", "turned", "utm", "web mercator", "degrees", "shrunk"],
)
@pytest.mark.parametrize("how", ["world file", "geotiff"])
def test_a_mark_painted_at_a_point_lies_at_the_plans_point(
    tmp_path: Path, painted: Painted, how: str
) -> None:
    """pyproj and affine say where in the picture each point is; both ways to say so are read."""
    if how == "world file":
        folder = painted_lot(tmp_path / "lot", painted)
    else:
        folder = lot_with(tmp_path / "lot", TOML.format("aerial.tif"))
        painted.geotiff(folder / "aerial.tif")
    assert worst_px(load_site(folder)) < 0.5


@pytest.mark.parametrize("unit", ["ft", "m"])
def test_a_sketch_tied_to_no_place_has_its_picture_in_its_own_unit(
    tmp_path: Path, unit: str
) -> None:
    """x, y of a world file are as the plan's own, in a folder whose name hides no archive."""
    folder = tmp_path / "lot!zip"
    shutil.copytree(SKETCH, folder)
    toml = (folder / "site.toml").read_text()
    toml = toml.replace('unit = "ft"', f'unit = "{unit}"') + TOML.format("a.tif")
    toml = toml.replace("size = 4", "size = 100") if unit == "m" else toml
    (folder / "site.toml").write_text(toml)
    plan = json.loads((folder / "plan.geojson").read_text())
    x, y = next(
        one["geometry"]["coordinates"]
        for one in plan["features"]
        if one["properties"].get("name") == "hydrant"
    )
    image = np.full((400, 500, 3), GROUND, np.uint8)
    image[195:205, 245:255] = MARK  # its middle is 250, 200
    import rasterio
    from affine import Affine

    with rasterio.open(
        folder / "a.tif", "w", driver="GTiff", width=500, height=400, count=3, dtype="uint8",
        transform=Affine(0.1, 0.0, x - 25.0, 0.0, -0.1, y + 20.0),
    ) as file:  # fmt: skip
        file.write(np.moveaxis(image, -1, 0))
    site = load_site(folder)
    picture = picture_of(site)
    ((column, row),) = marks_seen(Image.open(io.BytesIO(picture.jpeg)))
    hydrant = site.plan.point("hydrant")
    east = picture.west_m + column * picture.pixel_m
    north = picture.north_m - row * picture.pixel_m
    assert np.hypot(east - hydrant.easting_m, north - hydrant.northing_m) < 0.3 * picture.pixel_m
    # One that has a place on earth cannot lie under it.
    Painted().geotiff(folder / "a.tif")
    (fault,) = faults_of(folder)
    assert 'crs = "local" has none' in fault.problem


def test_a_grey_png_and_a_grey_geotiff_lie_alike(tmp_path: Path) -> None:
    painted = Painted(radius=6.0)
    one = lot_with(tmp_path / "tif", TOML.format("a.tif"))
    painted.geotiff(one / "a.tif", bands=1)
    grey = io.BytesIO()
    Image.fromarray(np.asarray(painted.image())[..., 0]).save(grey, "PNG")
    files = {"a.png": grey.getvalue(), "a.pgw": painted.world_file().encode()}
    other = lot_with(tmp_path / "png", TOML.format("a.png"), files)
    first, second = (
        np.asarray(Image.open(io.BytesIO(picture_of(load_site(folder)).jpeg)), float)
        for folder in (one, other)
    )
    assert first.shape == second.shape
    assert np.abs(first - second).max() <= 3.0


@pytest.mark.parametrize("kind", ["uint16", "int16", "int32", "float32", "float64", "complex64"])
@pytest.mark.parametrize("hole", [False, True])
def test_a_geotiff_of_any_numbers_lies_as_that_of_bytes(
    tmp_path: Path, kind: str, hole: bool
) -> None:
    """A hole is a picture of one height, or of none: that is white, as beyond its edge."""
    import rasterio

    painted = Painted()
    folder = lot_with(tmp_path, TOML.format("a.tif"))
    painted.geotiff(folder / "a.tif", bands=1)
    with rasterio.open(folder / "a.tif") as file:
        cells, how = file.read().astype(kind) * 37, file.profile | {"dtype": kind}
    if hole:
        cells[...] = 7 if kind.strip("u").startswith("int") else np.nan
        if kind == "float32":
            cells[:, :9] = np.inf
    with rasterio.open(folder / "a.tif", "w", **how) as file:
        file.write(cells)
    laid = Image.open(io.BytesIO(picture_of(load_site(folder)).jpeg))
    nothing = hole and not kind.strip("u").startswith("int")
    assert laid.getextrema()[0][0] == (255 if nothing else 0)


@pytest.mark.parametrize("held", [1, 6, 3, 8])
def test_clicked_points_lay_a_photograph_however_the_camera_was_held(
    tmp_path: Path, held: int
) -> None:
    """Two points fit it exactly; the marks at the two others then lie where the plan has them."""
    painted = Painted(turn_deg=-31.0)
    stored = {1: None, 3: Image.Transpose.ROTATE_180, 6: Image.Transpose.ROTATE_90,
              8: Image.Transpose.ROTATE_270}[held]  # fmt: skip
    image = painted.image() if stored is None else painted.image().transpose(stored)
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = held, "Somebody's camera"
    saved = io.BytesIO()
    image.save(saved, "JPEG", quality=92, exif=exif)
    points = "".join(
        f"[[picture_point]]\ncolumn = {painted.at[name][0]}\nrow = {painted.at[name][1]}\n"
        f'point = "{name}"\n'
        for name in MARKED[1:3]
    )
    folder = lot_with(tmp_path, TOML.format("a.jpg") + points, {"a.jpg": saved.getvalue()})
    site = load_site(folder)
    assert worst_px(site) < 1.0
    picture = picture_of(site)
    assert b"Somebody" not in picture.jpeg
    assert b"Exif" not in picture.jpeg
    assert [round(off, 6) for one in picture.points for off in one.off_m] == [0.0] * 4
    assert any("No third point checks it" in notice for notice in site.notices)


def test_more_points_show_what_is_left_and_name_the_one_that_is_wrong(tmp_path: Path) -> None:
    painted, places = Painted(), declared_points()

    def site_with(shift_px: float, folder: Path) -> Site:
        points = ""
        for name in MARKED:
            column, row = painted.at[name]
            x, y = places[name]
            moved = column + (shift_px if name == "hydrant" else 0.0)
            points += f"[[picture_point]]\ncolumn = {moved}\nrow = {row}\nx = {x}\ny = {y}\n"
        files = {"a.jpg": painted.bytes()}
        return load_site(lot_with(folder, TOML.format("a.jpg") + points, files))

    good = site_with(0.0, tmp_path / "good")
    assert max(one.others_m or 1.0 for one in picture_of(good).points) < 0.01
    assert not any("do not fit one another" in notice for notice in good.notices)
    # 60 pixels of 3 in are 15 ft, ten times the accuracy that the site states.
    bad = site_with(60.0, tmp_path / "bad")
    worst = max(picture_of(bad).points, key=lambda one: one.others_m or 0.0)
    assert worst.name == "point 3"
    assert worst.others_m == pytest.approx(15.0 * 0.3048, rel=1e-3)
    assert any("the others put point 3 15.0 ft off" in notice for notice in bad.notices)


def test_the_picture_stays_within_its_budget_and_says_the_same_twice(tmp_path: Path) -> None:
    """Noise packs worst of all."""
    painted = Painted(pixel=0.05, size=(3000, 2600))
    noise = np.random.default_rng(5).integers(0, 256, (2600, 3000, 3), dtype=np.uint8)
    saved = io.BytesIO()
    Image.fromarray(noise).save(saved, "JPEG", quality=70)
    files = {"a.jpg": saved.getvalue(), "a.jgw": painted.world_file().encode()}
    folder = lot_with(tmp_path / "one", TOML.format("a.jpg"), files)
    other = lot_with(tmp_path / "other", TOML.format("a.jpg"), files)
    os.utime(other / "a.jpg", (1, 1))
    first, second = (picture_of(load_site(one)) for one in (folder, other))
    assert len(first.jpeg) <= MOST_BYTES
    assert max(first.width_px, first.height_px) > 700
    assert first.jpeg == second.jpeg


def _png_of(width: int, height: int) -> bytes:
    """Return a PNG of one bit a pixel that unpacks to a thousand times its size."""
    saved = io.BytesIO()
    Image.new("1", (width, height)).save(saved, "PNG")
    return saved.getvalue()


def _fifo(folder: Path) -> None:
    os.mkfifo(folder / "a.jpg")


def _link_out(folder: Path) -> None:
    (folder.parent / "theirs.jpg").write_bytes(Painted().bytes())
    (folder / "a.jpg").symlink_to(folder.parent / "theirs.jpg")


def _sparse(folder: Path) -> None:
    """A GeoTIFF of 90,000 million pixels, all of them about the run, in a file of some kB."""
    import rasterio
    from affine import Affine

    x, y = declared_points()["cleanout"]
    with rasterio.open(
        folder / "a.tif", "w", driver="GTiff", width=300_000, height=300_000, count=1,
        dtype="uint8", crs="EPSG:6499", tiled=True, blockxsize=4096, blockysize=4096,
        transform=Affine(5e-4, 0, x - 75.0, 0, -5e-4, y + 75.0), SPARSE_OK=True,
    ):  # fmt: skip
        pass
    assert (folder / "a.tif").stat().st_size < 1_000_000


def _world_out(folder: Path) -> None:
    (folder / "a.jpg").write_bytes(Painted().bytes())
    (folder.parent / "theirs.jgw").write_text(Painted().world_file())
    (folder / "a.JGW").symlink_to(folder.parent / "theirs.jgw")


HOSTILE: dict[str, tuple[str, bytes | Callable[[Path], None], str]] = {
    "absent": ("a.jpg", lambda _: None, "holds no 'a.jpg'"),
    "cut short": ("a.jpg", Painted().bytes()[:9000], "not a picture that can be read"),
    "no picture": ("a.jpg", b"GIF89a, or whatever", "not a picture that can be read"),
    "a page": ("a.png", b"<svg xmlns='http://www.w3.org/2000/svg'/>", "not a picture"),
    "too many pixels": ("a.png", _png_of(20_000, 9_000), "50 million at most"),
    "a pipe": ("a.jpg", _fifo, "no ordinary file"),
    "a link out": ("a.jpg", _link_out, "is not inside the site folder"),
    "a way out": ("../a.jpg", lambda _: None, "is not inside the site folder"),
    "no geotiff": (
        "a.tif",
        b'<VRTDataset rasterXSize="9" rasterYSize="9"><SRS>EPSG:6499</SRS></VRTDataset>',
        "no GeoTIFF that can be read",
    ),
    "a sparse giant": ("a.tif", _sparse, "million pixels about the run"),
    "a world file elsewhere": ("a.jpg", _world_out, "is not inside the site folder"),
    "a folder": ("a.jpg", lambda folder: (folder / "a.jpg").mkdir(), "no ordinary file"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_what_is_no_picture_is_one_fault_at_its_line(tmp_path: Path, case: str) -> None:
    name, content, words = HOSTILE[case]
    folder = lot_with(tmp_path / "lot", TOML.format(name))
    if isinstance(content, bytes):
        (folder / name).write_bytes(content)
        (folder / "a.jgw").write_text(Painted().world_file())
        (folder / "a.pgw").write_text(Painted().world_file())
    else:
        content(folder)
        if case not in ("a sparse giant", "a world file elsewhere"):
            (folder / "a.jgw").write_text(Painted().world_file())
    html_to_pdf("<p>What was printed before must not change what is read.</p>")
    (fault,) = faults_of(folder)
    assert (fault.file, fault.field) == ("site.toml", "picture.file")
    assert words in fault.problem
    line = (folder / "site.toml").read_text().split("\n")[(fault.row or 0) - 1]
    assert line.startswith("file =")


@pytest.mark.parametrize(
    ("toml", "world", "field", "words"),
    [
        ("", None, "picture.file", ("nothing says where it lies", "a.jgw")),
        ("", "1\n2\n3\n", "picture.file", ("no world file of six numbers", "six lines")),
        ("", "0,1\n0\n0\n-0,1\n5\n6\n", "picture.file", ("no world file of six numbers",)),
        ("", "0\n0\n0\n0\n5\n6\n", "picture.file", ("as wide as nothing",)),
        ("", "NEAR 1000", "picture.file", ("shows nothing within", "check its place")),
        ("", "METRES", "picture.file", ("shows nothing within", "they look like metres")),
        ('crs = "EPSG:1"\n', "GOOD", "picture.crs", ("EPSG:1",)),
        (
            '[[picture_point]]\ncolumn = 5\nrow = 5\npoint = "hydrant"\n',
            None,
            "picture_point[1]",
            ("one point alone",),
        ),
        (
            "".join(
                f'[[picture_point]]\ncolumn = {x}\nrow = 5\npoint = "{name}"\n'
                for x, name in ((5, "hydrant"), (5000, "power pole"))
            ),
            None,
            "picture_point[2]",
            ("900 by 800 pixels", "from the left"),
        ),
        (
            "".join(
                f'[[picture_point]]\ncolumn = {x}\nrow = 5\npoint = "{name}"\n'
                for x, name in ((5, "hydrent"), (500, "power pole"))
            ),
            None,
            "picture_point[1].point",
            ("no reference point called 'hydrent'", "hydrant"),
        ),
        (
            "".join(
                f"[[picture_point]]\ncolumn = {x}\nrow = 5\nx = {y}\ny = 0\n"
                for x, y in ((5, 13322000), (6, 13322000.5))
            ),
            None,
            "picture_point[1]",
            ("too close together", "farther apart"),
        ),
    ],
)
def test_what_lays_no_picture_is_said_with_what_would(
    tmp_path: Path, toml: str, world: str | None, field: str, words: tuple[str, ...]
) -> None:
    painted = Painted()
    files = {"a.jpg": painted.bytes()}
    if world is not None:
        lines = np.array(painted.world_file().split(), float)
        far = {
            "GOOD": lines,
            "METRES": 0.3048 * lines,
            "NEAR 1000": lines + np.array([0, 0, 0, 0, 1e3, 0]),
        }
        text = "\n".join(map(str, far[world])) if world in far else world
        files["a.jgw"] = text.encode()
    (fault,) = faults_of(lot_with(tmp_path, TOML.format("a.jpg") + toml, files))
    assert fault.field == field
    for part in words:
        assert part in fault.words


@pytest.mark.parametrize("slip", ["a point misspelt", "a plan that is none"])
def test_a_slip_elsewhere_sets_off_no_complaint_of_the_picture(tmp_path: Path, slip: str) -> None:
    entries = [f'column = {x}\nrow = 5\npoint = "{name}"\n' for x, name in
               ((5, "hydrant"), (500, "power pole"))]  # fmt: skip
    if slip == "a point misspelt":
        entries[0] = entries[0].replace("column", "colunm")
    points = "".join(f"[[picture_point]]\n{one}" for one in entries)
    folder = lot_with(tmp_path, TOML.format("a.jpg") + points, {"a.jpg": Painted().bytes()})
    if slip == "a plan that is none":
        (folder / "plan.geojson").write_text("{")
    faults = faults_of(folder)
    assert not any(fault.field == "picture.file" for fault in faults)
    assert not any("one point alone" in fault.problem for fault in faults)
    assert {fault.file for fault in faults} == (
        {"site.toml"} if slip == "a point misspelt" else {"plan.geojson"}
    )


def test_a_picture_needs_its_accuracy_and_a_table_its_picture(tmp_path: Path) -> None:
    (fault,) = faults_of(lot_with(tmp_path / "a", '[picture]\nfile = "a.jpg"\n'))
    assert fault.field == "picture.accuracy"
    (fault,) = faults_of(lot_with(tmp_path / "b", '[picture]\nsource = "county"\n'))
    assert fault.field == "picture.file"


def test_without_rasterio_a_geotiff_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    painted = Painted()
    folder = lot_with(tmp_path, TOML.format("a.tif"))
    painted.geotiff(folder / "a.tif")
    real = builtins.__import__

    def absent(name: str, *more: object, **others: object) -> object:
        if name.partition(".")[0] == "rasterio":
            raise ImportError(name)
        return real(name, *more, **others)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", absent)
    (fault,) = faults_of(folder)
    assert "pip install 'lateral-map[picture]'" in fault.remedy
    # A world file beside it does without.
    (folder / "a.tfw").write_text(painted.world_file())
    assert worst_px(load_site(folder)) < 0.5
