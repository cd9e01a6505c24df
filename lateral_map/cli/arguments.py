"""Arguments and options several commands share, worded once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lateral_map.export.registry import PRODUCTS


def site_folder(path: Path) -> Path:
    """Return the folder of a site given by its site.toml."""
    return path.parent if path.name == "site.toml" and path.is_file() else path


# No path is checked for reading here: what may not be read has a message, not a usage box.
SiteFolder = Annotated[
    Path,
    typer.Argument(metavar="SITE", help="The site folder.", readable=False, callback=site_folder),
]
OutFolder = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        help="Where to write, instead of SITE/out.",
        show_default=False,
        readable=False,
    ),
]
PaperName = Annotated[
    str | None,
    typer.Option(
        "--paper",
        metavar="NAME",
        help="Paper of the drawing sheets: letter, tabloid, A4 or A3; otherwise chosen to fit.",
        show_default=False,
    ),
]
SheetScale = Annotated[
    str | None,
    typer.Option(
        "--scale",
        metavar="SCALE",
        help='Such as "1 in = 10 ft", 10 or 1:100; otherwise chosen to fit.',
        show_default=False,
    ),
]


def product_name(name: str) -> str:
    """Return ``name`` if it is something that can be made; raises ``typer.BadParameter``."""
    if name not in PRODUCTS:
        raise typer.BadParameter(f"{name!r} is none of {', '.join(PRODUCTS)}.")
    return name
