"""``lateral-map refer``: the one thing to send to the utility, and a page for the owner."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lateral_map.cli.arguments import (
    OutFolder,
    PaperName,
    SheetScale,
    SiteFolder,
    product_name,
)
from lateral_map.export.registry import PRODUCTS

if TYPE_CHECKING:
    from lateral_map.model.results import Report

_ENCLOSABLE = tuple(name for name in PRODUCTS if name != "referral")
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
        ),
    ] = None,
    paper: PaperName = None,
    scale: SheetScale = None,
    also: Annotated[
        list[str] | None,
        typer.Option(
            metavar="WHAT",
            parser=product_name,
            help=f"Put this into referral.zip too: {', '.join(_ENCLOSABLE)}. May be repeated.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Write referral.pdf, referral.zip and a plain summary for the owner."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console, tell_written
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
    tell_written(paths)


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
    if not facts["from_lines"]:
        lines.append("The letter says not whom to answer: write [referral] from in site.toml")
    if photographs:
        lines.append(f"Photographs: {photographs}")
    return lines
