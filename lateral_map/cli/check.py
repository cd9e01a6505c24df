"""``lateral-map check``: is the folder right, and do its readings agree? Nothing is drawn."""

from __future__ import annotations

from lateral_map.cli.arguments import SiteFolder


def check(site: SiteFolder) -> None:
    """Check a site folder: its files, the fit, every reading's verdict. Draws nothing."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console
    from lateral_map.cli.summary import check_parts
    from lateral_map.errors import SiteError
    from lateral_map.reading.folder import load_earlier

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        report = build_report(loaded, lambda doing: step(doing.capitalize(), 0.5))
    console = stdout_console()
    for part in check_parts(report):
        console.print(part)
    if loaded.earlier:
        try:
            load_earlier(loaded, site)
        except SiteError as error:
            console.print(plain("The earlier run this one names cannot be held against it:"))
            for fault in error.faults:
                console.print(plain(f"  {fault}"))
