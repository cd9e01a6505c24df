"""``lateral-map sheet``: the plan-and-profile sheet, true to scale."""

from __future__ import annotations

from lateral_map.cli.arguments import OutFolder, PaperName, SheetScale, SiteFolder


def sheet(
    site: SiteFolder, out: OutFolder = None, paper: PaperName = None, scale: SheetScale = None
) -> None:
    """Draw sheet.pdf: plan above profile on one stationing, to an exact scale."""
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import show_progress, stdout_console, tell_written
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.packet import make_sheet
    from lateral_map.words.numbers import with_capital

    with show_progress("Reading the site") as step:
        report = build_report(load_site(site), lambda doing: step(doing.capitalize(), 0.1))
        step("Drawing the sheet", 0.4)
        sheets, content = make_sheet(report, paper=paper, scale=scale)
        paths = write_folder(out or site / "out", {"sheet.pdf": content})
    console = stdout_console()
    console.print(with_capital(sheets.statement))
    if any(sheets.left_out):
        console.print(f"{sum(sheets.left_out)} plan labels found no room; the tables have them")
    tell_written(paths)
