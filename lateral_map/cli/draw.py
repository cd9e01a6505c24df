"""``lateral-map draw``: the whole job, from a site folder to its map, profile and files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lateral_map.export.registry import PRODUCTS, Options, write_products

_READ, _ADJUSTED = 0.1, 0.3  # shares of the waiting


def _product_name(name: str) -> str:
    if name not in PRODUCTS:
        raise typer.BadParameter(f"{name!r} is none of {', '.join(PRODUCTS)}.")
    return name


def draw(
    site: Annotated[Path, typer.Argument(metavar="SITE", help="The site folder.")],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Where to write, instead of SITE/out.", show_default=False
        ),
    ] = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            parser=_product_name,
            help=f"Write only this: {', '.join(PRODUCTS)}. May be given several times.",
            show_default=False,
        ),
    ] = None,
    base_map: Annotated[
        bool,
        typer.Option(
            "--base-map",
            help="Put an online street map under map.html: opening it then uses the network.",
        ),
    ] = False,
) -> None:
    """Draw a site: its map, profile and files, and a short summary."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console
    from lateral_map.cli.summary import drawing_parts

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        report = build_report(loaded, lambda doing: step(doing.capitalize(), _READ))
        paths = write_products(
            report,
            out or site / "out",
            only or (),
            options=Options(base_map=base_map),
            progress=lambda name, done: step(
                f"Drawing {name}", _ADJUSTED + (1.0 - _ADJUSTED) * done
            ),
        )
    console = stdout_console()
    for part in drawing_parts(report):
        console.print(part)
    console.print(f"Wrote {', '.join(path.name for path in paths)}", style="bold", end=" ")
    console.print(f"to {plain(str(paths[0].parent))}")
