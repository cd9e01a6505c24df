"""``lateral-map refer``: the one thing to send to the utility, and a page for the owner."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lateral_map.export.registry import PRODUCTS

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_READ, _PACKED = 0.1, 0.3  # shares of the waiting


def _product_name(name: str) -> str:
    if name not in PRODUCTS:
        raise typer.BadParameter(f"{name!r} is none of {', '.join(PRODUCTS)}.")
    return name


def refer(
    site: Annotated[Path, typer.Argument(metavar="SITE", help="The site folder.")],
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR", help="Where to write, instead of SITE/out.", show_default=False
        ),
    ] = None,
    letter: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="A cover letter of your own (Jinja2, HTML) instead of the one in site.toml.",
            show_default=False,
        ),
    ] = None,
    paper: Annotated[
        str | None,
        typer.Option(
            metavar="NAME",
            help="Paper of the drawing sheets: letter, tabloid, A4 or A3; otherwise chosen to fit.",
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
    also: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            parser=_product_name,
            help=f"Put this into referral.zip too: {', '.join(PRODUCTS)}. May be repeated.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write referral.pdf, referral.zip and a plain summary for the owner."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.packet import PacketOptions, make_packet
    from lateral_map.reading.letter import load_letter
    from lateral_map.reading.photographs import load_photographs

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        options = PacketOptions(
            paper=paper,
            scale=scale,
            letter=load_letter(loaded, letter),
            photographs=load_photographs(loaded),
            also=also or (),
        )
        report = build_report(loaded, lambda doing: step(doing.capitalize(), _READ))
        files = make_packet(
            report,
            options,
            lambda name, done: step(f"Making {name}", _PACKED + (1.0 - _PACKED) * done),
        )
        paths = write_folder(out or site / "out", files)
    console = stdout_console()
    for line in _summary(report, len(options.photographs)):
        console.print(plain(line))
    console.print(f"Wrote {', '.join(path.name for path in paths)}", style="bold", end=" ")
    console.print(f"to {plain(str(paths[0].parent))}")


def _summary(report: Report, photographs: int) -> list[str]:
    """Return what the packet puts to the utility, in a few lines."""
    from lateral_map.draw.packet.facts import packet_facts

    facts = packet_facts(report)
    lines = [facts["crossing"]]
    if facts["line"]:
        lines.append(f"Past {facts['line']}: {facts['past_numbers'] or 'no finding'}")
    if facts["across"]:
        lines.append(f"Across {facts['line']}: {facts['across_numbers']}")
    if facts["close"]:
        lines.append(f"Too close to call, nothing claimed: {facts['close_numbers']}")
    lines.append(f"Asked: {facts['question']}")
    if photographs:
        lines.append(f"Photographs: {photographs}")
    return lines
