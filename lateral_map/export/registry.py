"""What can be made of a report: one entry a product, its name the word ``--only`` takes.

Makers return content and never save; ``write_products`` saves, all of it or nothing. Their modules
are imported when first used: asking what there is costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lateral_map.errors import ExportError
from lateral_map.export.atomic import write_folder

if TYPE_CHECKING:
    from lateral_map.export.packet import PacketOptions
    from lateral_map.model.results import Report

Content = Mapping[str, str | bytes]
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Options:
    """What the person asked for beyond the report. ``base_map`` fetches tiles from the network."""

    base_map: bool = False


@dataclass(frozen=True, slots=True)
class Product:
    """Something made of a report: its name, a summary, and what makes it (file name -> content).

    What is ``on_request`` is made only where it is named.
    """

    name: str
    summary: str
    make: Callable[[Report, Options], Content]
    on_request: bool = False


def _plain(name: str, summary: str, files: str, maker: str, *, on_request: bool = False) -> Product:
    """Return a product of the report alone: its files, and the function that returns them."""
    module, _, function = maker.rpartition(".")

    def make(report: Report, _options: Options) -> Content:
        made = getattr(import_module(f"lateral_map.{module}"), function)(report)
        return dict(zip(files.split(), made if isinstance(made, tuple) else (made,), strict=True))

    return Product(name, summary, make, on_request)


def _map(report: Report, options: Options) -> Content:
    from lateral_map.draw.page import map_page

    return {"map.html": map_page(report, base_map=options.base_map)}


def _referral(report: Report, _options: Options) -> Content:
    from lateral_map.export.packet import PacketOptions
    from lateral_map.reading.enclosures import load_letter, load_photographs

    site = report.site
    options = PacketOptions(letter=load_letter(site), photographs=load_photographs(site))
    return make_referral(report, options)


_USUAL: Final = (
    _plain(
        "result", "result.json, for other programs",
        "result.json", "export.result.result_json",
    ),
    Product("map", "map.html, the linked map and profile in one page", _map),
    _plain(
        "profile", "profile.svg and profile.png, for print",
        "profile.svg profile.png", "draw.profile.painter.profile_files",
    ),
    _plain(
        "geojson", "route.geojson, for the web and any GIS",
        "route.geojson", "export.geojson.route_geojson",
    ),
    _plain(
        "gpkg", "route.gpkg, layers that open styled in a desktop GIS",
        "route.gpkg", "export.geopackage.route_geopackage",
    ),
    _plain(
        "stations", "stations.csv, for a spreadsheet",
        "stations.csv", "export.station_table.stations_csv",
    ),
)  # fmt: skip
_ON_REQUEST: Final = (
    _plain(
        "sheet", "sheet.pdf, plan above profile to scale",
        "sheet.pdf", "export.packet.sheet_pdf", on_request=True,
    ),
    Product(
        "referral",
        "referral.pdf and referral.zip for the utility, owner.html and owner.pdf for the owner",
        _referral,
        on_request=True,
    ),
    *(
        _plain(name, f"{file}, {purpose}", file, f"export.{maker}", on_request=True)
        for name, file, purpose, maker in (
            ("dxf", "route.dxf", "for CAD", "dxf.route_dxf"),
            ("xlsx", "tables.xlsx", "tables for a spreadsheet", "workbook.tables_xlsx"),
            ("kml", "route.kml", "for globe and map viewers", "kml.route_kml"),
            ("gpx", "marks.gpx", "marks for a handheld receiver", "gpx.marks_gpx"),
            ("landxml", "route.xml", "alignment and profile", "landxml.route_landxml"),
            (
                "flatgeobuf", "route.fgb", "stretches for GIS",
                "stretch_tables.route_flatgeobuf",
            ),
            (
                "geoparquet", "route.parquet", "stretches for data",
                "stretch_tables.route_geoparquet",
            ),
        )
    ),
)  # fmt: skip
PRODUCTS: Final = {product.name: product for product in (*_USUAL, *_ON_REQUEST)}

# What a referral's archive always holds, and what it may hold: everything but another archive.
_ENCLOSED: Final = ("result", "map", "gpkg")
ENCLOSABLE: Final = tuple(name for name in PRODUCTS if name != "referral")
# The share of the work that making them is.
_FILES: Final = 0.3


def usual_products() -> tuple[str, ...]:
    """Return the names of what is made where nothing is named."""
    return tuple(name for name, product in PRODUCTS.items() if not product.on_request)


def make_products(
    report: Report,
    names: Sequence[str] = (),
    *,
    options: Options | None = None,
    progress: Progress | None = None,
) -> dict[str, bytes]:
    """Return file name -> content of the products called ``names``.

    Where none is named, of all but those made only on request.

    ``progress`` is told what is being made and the fraction done. Raises ``ExportError`` for a name
    that is no product.
    """
    chosen = tuple(dict.fromkeys(names or usual_products()))
    for name in chosen:
        if name not in PRODUCTS:
            raise ExportError(
                f"{name!r} is nothing that can be made; choose from {', '.join(PRODUCTS)}"
            )
    contents: dict[str, bytes] = {}
    for done, name in enumerate(chosen):
        if progress:
            progress(name, done / len(chosen))
        for file, content in PRODUCTS[name].make(report, options or Options()).items():
            # A lone surrogate, which JSON can smuggle in, has no UTF-8 form and becomes "?".
            contents[file] = (
                content.encode("utf-8", "replace") if isinstance(content, str) else content
            )
    return contents


def make_referral(
    report: Report,
    options: PacketOptions | None = None,
    *,
    also: Sequence[str] = (),
    progress: Progress | None = None,
) -> dict[str, bytes]:
    """Return the referral's files; its archive holds result, map, gpkg and ``also`` what is named.

    Raises ``ExportError`` for what cannot go into an archive, and what ``make_packet`` raises.
    """
    from lateral_map.export.packet import make_packet

    for name in also:
        if name not in ENCLOSABLE:
            raise ExportError(
                f"{name!r} cannot go into the archive; choose from {', '.join(ENCLOSABLE)}"
            )
    if progress:
        progress("the map and files", 0.0)
    enclosed = make_products(report, (*_ENCLOSED, *also))
    say = progress and (lambda doing, done: progress(doing, _FILES + (1.0 - _FILES) * done))
    return make_packet(report, enclosed, options, say)


def write_products(
    report: Report,
    folder: Path,
    names: Sequence[str] = (),
    *,
    options: Options | None = None,
    progress: Progress | None = None,
) -> tuple[Path, ...]:
    """Write products into ``folder`` and return their paths; on any failure nothing there changes.

    Raises ``ExportError``.
    """
    contents = make_products(report, names, options=options, progress=progress)
    return write_folder(folder, contents)
