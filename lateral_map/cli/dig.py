"""``lateral-map dig``: what the excavator needs before the first bucket."""

from __future__ import annotations

from lateral_map.cli.arguments import OutFolder, SiteFolder


def dig(site: SiteFolder, out: OutFolder = None) -> None:
    """Review a dig: reaches, trench, conflicts, depths, and a sheet to find points again.

    Writes dig.html, dig.pdf (two pages for the truck), dig.geojson, dig.gpkg, dig.dxf, refind.csv
    and refind.xlsx, and prints the cautions and a summary.
    """
    from lateral_map import build_report, load_site
    from lateral_map.cli.console import plain, show_progress, stdout_console, tell_written
    from lateral_map.dig_review import build_dig_review
    from lateral_map.export.atomic import write_folder
    from lateral_map.export.dig_files import dig_files
    from lateral_map.words.cautions import DIG_CAUTIONS
    from lateral_map.words.excavator import dig_notices, summary_lines, urgent_lines

    with show_progress("Reading the site") as step:
        loaded = load_site(site)
        report = build_report(loaded, lambda doing: step(doing.capitalize(), 0.2))
        review = build_dig_review(report, lambda doing: step(doing.capitalize(), 0.5))
        step("Drawing the dig review", 0.8)
        paths = write_folder(out or site / "out", dig_files(review))
    console, urgent = stdout_console(), urgent_lines(review)
    for words in urgent:
        console.print(plain(words), style="bold")
    if urgent:
        console.print()
    console.print("BEFORE THE FIRST BUCKET", style="bold")
    for caution in DIG_CAUTIONS:
        console.print(f"- {caution}")
    console.print()
    console.print(plain(loaded.name), style="bold")
    for line in summary_lines(review):
        console.print(plain(line))
    notices = dig_notices(review)[len(urgent) :]
    if notices:
        console.print("\nNotices", style="bold")
    for notice in notices:
        console.print(f"- {plain(notice)}")
    console.print()
    tell_written(paths, loaded.unit)
