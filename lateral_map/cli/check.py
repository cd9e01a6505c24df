"""``lateral-map check``: is the folder right, and do its readings agree? Nothing is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def check(
    site: Annotated[Path, typer.Argument(help="The site folder.", show_default=False)],
) -> None:
    """Check a site folder: its files, the fit, every reading's verdict. Draws nothing."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import show_progress, stdout_console
    from lateral_map.cli.summary import check_parts

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        step("Adjusting the readings", 0.3)
        report = build_report(loaded)
    console = stdout_console()
    for part in check_parts(report):
        console.print(part)
