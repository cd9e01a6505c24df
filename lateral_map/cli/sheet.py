"""``lateral-map sheet``: the plan-and-profile sheet, true to scale."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def sheet(
    site: Annotated[Path, typer.Argument(metavar="SITE", help="The site folder.")],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Where to write, instead of SITE/out.", show_default=False
        ),
    ] = None,
    paper: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="letter, tabloid, A4 or A3; otherwise chosen to fit.",
            show_default=False,
        ),
    ] = None,
    scale: Annotated[
        str | None,
        typer.Option(
            metavar="SCALE",
            help='Such as "1 in = 10 ft", 10 or 1:100; otherwise chosen to fit.',
            show_default=False,
        ),
    ] = None,
) -> None:
    """Draw sheet.pdf: plan above profile on one stationing, to an exact scale."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.packet import make_sheet

    with show_progress("Reading the site") as step:
        report = build_report(load_site(site), lambda doing: step(doing.capitalize(), 0.1))
        step("Drawing the sheet", 0.4)
        sheets, content = make_sheet(report, paper=paper, scale=scale)
        (path,) = write_folder(out or site / "out", {"sheet.pdf": content})
    console = stdout_console()
    console.print(sheets.statement.capitalize())
    if any(sheets.left_out):
        console.print(f"{sum(sheets.left_out)} plan labels found no room; the tables have them")
    console.print(f"Wrote {path.name} to {plain(str(path.parent))}", style="bold")
