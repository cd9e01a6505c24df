"""``lateral-map draw``: the whole job, from a site folder to its map, profile and files."""

from __future__ import annotations

from typing import Annotated

import typer

from lateral_map.cli.arguments import OutFolder, SiteFolder, product_name
from lateral_map.export.registry import PRODUCTS, Options, usual_products, write_products

_USUAL = usual_products()
_READ, _ADJUSTED = 0.1, 0.3  # shares of the waiting


def draw(
    site: SiteFolder,
    out: OutFolder = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            parser=product_name,
            help=f"Write only this: {', '.join(_USUAL)}; or what is made only when named: "
            f"{', '.join(name for name in PRODUCTS if name not in _USUAL)}. "
            "May be given several times.",
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
    from lateral_map.cli.console import show_progress, stdout_console, tell_written
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
    tell_written(paths, loaded.unit)
