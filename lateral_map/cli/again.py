"""``lateral-map again``: the same pipe looked at again, held against the earlier run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lateral_map.cli.arguments import OutFolder, SiteFolder


def again(
    site: SiteFolder,
    out: OutFolder = None,
    earlier: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="The earlier run's site folder, instead of [site] earlier.",
            show_default=False,
            readable=False,
        ),
    ] = None,
) -> None:
    """Compare a run with an earlier one of the same pipe: what is new, gone, worse, unchanged.

    Writes again.html and again.pdf.
    """
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console, tell_written
    from lateral_map.draw.again import again_html
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.pdf import html_to_pdf
    from lateral_map.reading.folder import load_earlier
    from lateral_map.same_pipe import compare_runs
    from lateral_map.words.again import again_facts

    with show_progress("Reading both runs") as step:
        loaded = load_site(site)
        before = load_earlier(loaded, site, earlier)
        step("Adjusting both", 0.2)
        compared = compare_runs(build_report(before), build_report(loaded))
        step("Drawing", 0.7)
        page = again_html(compared)
        files = {"again.html": page.encode("utf-8", "replace"), "again.pdf": html_to_pdf(page)}
        paths = write_folder(out or site / "out", files)
    console, facts = stdout_console(), again_facts(compared)
    for words in facts["stop"]:
        console.print(plain(words))
    console.print(plain(f"{facts['before']}; {facts['now']}: {facts['summary']}"))
    for row in facts["rows"]:
        both = " -> ".join(filter(None, (row["before"], row["now"])))
        console.print(plain(f"  {row['change']}: {both}"))
    for words in (*facts["repairs"], *facts["notices"]):
        console.print(plain(words))
    tell_written(paths)
