"""``lateral-map plan``: a site's plan from open geodata."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from lateral_map.cli.arguments import SiteFolder

_Files = Annotated[
    list[Path],
    typer.Argument(
        metavar="FILE...",
        help="GeoPackage, GeoJSON, zipped shapefile, FlatGeobuf, DXF, .osm: what GDAL reads.",
        readable=False,
    ),
]
_Layers = Annotated[
    list[str] | None,
    typer.Option(
        metavar="LAYER=KIND",
        help="What a layer is: building, lot, street, curb, right_of_way, property_line or "
        "skip; LAYER[FIELD=VALUE|VALUE]=KIND for some of its features, *=KIND for every other "
        "layer. Remembered.",
    ),
]


def plan(
    site: SiteFolder,
    files: _Files,
    at: Annotated[str, typer.Option(metavar="LAT,LON", help="Where the house is.")] = "",
    where: Annotated[
        str, typer.Option(metavar="FIELD=VALUE", help="The house by a field, such as an address.")
    ] = "",
    reach: Annotated[str, typer.Option(metavar="LENGTH", help="How far round it.")] = "60 m",
    layer: _Layers = None,
    accuracy: Annotated[str, typer.Option(metavar="LENGTH", help="1 sd of the layers.")] = "",
    source: Annotated[str, typer.Option(help="Who made the data.")] = "",
    date: Annotated[str, typer.Option(help="Of which day it is.")] = "",
    licence: Annotated[str, typer.Option(help="Under which licence it may be used.")] = "",
    source_crs: Annotated[str, typer.Option(help="Of a layer that does not say its own.")] = "",
    crs: Annotated[str, typer.Option(help="Of a new site; else chosen.")] = "",
    house: Annotated[int | None, typer.Option(help="Which building, as asked.")] = None,
    lot: Annotated[int | None, typer.Option(help="Which lot, as asked.")] = None,
    street: Annotated[int | None, typer.Option(help="Which side is the street's.")] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Draw anew what is there from the same source.")
    ] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say it all, write nothing.")] = False,
) -> None:
    """Draw a site's plan from open geodata: house, lot, street edge, corners to tape from.

    Asks what is not plain. Keeps what is drawn by hand; sets no line to decide.
    """
    from lateral_map.cli.console import plain, stdout_console, tell_written
    from lateral_map.export.atomic import write_folder
    from lateral_map.reading import open_site
    from lateral_map.reading.open_data import Chosen, gather_plan
    from lateral_map.units import parse_length

    ask = (lambda words: str(typer.prompt(words))) if sys.stdin.isatty() else None
    said = open_site.Said(accuracy, source, date, licence, source_crs)
    layers = open_site.find_layers(files, layer or [], said, site, ask)
    own = open_site.site_crs(site)
    place = open_site.place_meant(site, layers, at, where)
    chosen = Chosen(house, lot, street)
    found = gather_plan(layers, place, parse_length(reach, "m"), own or crs, chosen)
    text, kept, replaced = open_site.merge_plan(site, found, replaces=replace)
    console = stdout_console()
    for words in found.said:
        console.print(plain(words))
    for words, count in found.counts.items():
        if count:
            console.print(plain(f"{count} {words}"))
    console.print(f"{kept} features drawn before stay, {replaced} are drawn anew")
    for edge in found.street_edges if own else ():
        console.print(f"To measure from it, add to site.toml: [[boundary]] line = {edge!r}")
    console.print("Plots and footprints are somebody's map: cadastral lines are no boundary survey")
    if dry_run:
        console.print("Nothing was written")
        return
    contents = {"plan.geojson": text, open_site.REMEMBERED: open_site.remember(layers, site)}
    if not own:
        contents["site.toml"] = open_site.start_site(site, found)
    tell_written(write_folder(site, contents))
