"""``lateral-map refer``: the one thing to send to each party, and a page for the owner."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lateral_map.cli.arguments import OutFolder, PaperName, SheetScale, SiteFolder, product_name
from lateral_map.export.registry import ENCLOSABLE, make_referral

_READ, _PACKED = 0.1, 0.3  # shares of the waiting


def refer(
    site: SiteFolder,
    out: OutFolder = None,
    letter: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A cover letter of your own (Jinja2, HTML) instead of the one in site.toml.",
            show_default=False,
            readable=False,
        ),
    ] = None,
    paper: PaperName = None,
    scale: SheetScale = None,
    also: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            parser=product_name,
            help=f"Put this into referral.zip too: {', '.join(ENCLOSABLE)}. May be repeated.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write a referral to each party, referral.zip and a plain summary for the owner."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console, tell_written
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.packet import PacketOptions
    from lateral_map.reading.enclosures import load_letter, load_photographs, photographs_left_out
    from lateral_map.words.numbers import listed
    from lateral_map.words.utility import summary_lines

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        own, pictures = load_letter(loaded, letter), load_photographs(loaded)
        options = PacketOptions(paper=paper, scale=scale, letter=own, photographs=pictures)
        report = build_report(loaded, lambda doing: step(doing.capitalize(), _READ))
        files = make_referral(
            report,
            options,
            also=also or (),
            progress=lambda name, done: step(f"Making {name}", _PACKED + (1.0 - _PACKED) * done),
        )
        folder = out or site / "out"
        paths = write_folder(folder, files)
    console = stdout_console()
    said = summary_lines(report)
    if options.photographs:
        said.append(f"Photographs: {len(options.photographs)}")
    if left := photographs_left_out(loaded):
        names = listed([repr(name[:60]) for name in left])
        said.append(f"Beside the photographs, not JPEG, PNG, WebP, TIFF or HEIC, left out: {names}")
    # What an earlier run wrote under another name must not be sent by mistake.
    older = sorted(path.name for path in folder.glob("referral*.pdf") if path.name not in files)
    if older:
        said.append(f"Left from an earlier run, not part of this packet: {', '.join(older)}")
    for line in said:
        console.print(plain(line))
    tell_written(paths)
