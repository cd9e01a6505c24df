"""``lateral-map batch``: a programme of many sites, from their folders to one set of files."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from lateral_map.batch.run import Ran, Told


def _unit(text: str) -> str:
    if text not in ("ft", "us_ft", "m"):
        raise typer.BadParameter(f"{text!r} is none of ft, us_ft, m.")
    return text


Address = Annotated[
    str,
    typer.Argument(
        metavar="ROOT",
        help="The folder that holds the site folders, nested or zipped; or an address such as "
        "s3://bucket/sites.",
    ),
]
ProgrammeFolder = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="DIR",
        help="Where to write, instead of ROOT/out.",
        show_default=False,
        readable=False,
    ),
]
CommonUnit = Annotated[
    str, typer.Option(metavar="UNIT", parser=_unit, help="Of all lengths: ft, us_ft or m.")
]
CommonCrs = Annotated[
    str, typer.Option(metavar="CRS", help="Of all layers: EPSG:4326 or a projected system.")
]
Jobs = Annotated[
    int, typer.Option(metavar="N", min=0, help="How many processes; 0 is one for each core.")
]
Seconds = Annotated[
    float, typer.Option(metavar="S", min=0.1, help="The longest that one site may take.")
]
Memory = Annotated[
    int, typer.Option(metavar="MB", min=100, help="The most memory that one site may take.")
]
Results = Annotated[
    bool, typer.Option("--results", help="Write each site's result.json too, under DIR/results.")
]
NoDiagnoses = Annotated[
    bool,
    typer.Option(
        "--no-diagnoses",
        help="Do not look for the slip that would explain readings that disagree: "
        "faster, and every output says so.",
    ),
]
Scheduler = Annotated[
    str,
    typer.Option(
        metavar="ADDRESS",
        help="A Dask scheduler such as tcp://host:8786, instead of this machine's cores.",
        show_default=False,
    ),
]
Watch = Annotated[
    bool, typer.Option("--watch", help="Stay, and solve again what changes, until Ctrl+C.")
]


def batch(
    root: Address,
    out: ProgrammeFolder = None,
    unit: CommonUnit = "ft",
    crs: CommonCrs = "EPSG:4326",
    jobs: Jobs = 0,
    seconds: Seconds = 60.0,
    memory: Memory = 2_000,
    results: Results = False,
    no_diagnoses: NoDiagnoses = False,
    scheduler: Scheduler = "",
    watch: Watch = False,
) -> None:
    """Solve every site under a folder: one GeoPackage, an overview map, a summary, what failed.

    Interrupted at any moment, the same command goes on from there.
    """
    from lateral_map.batch.run import Batch, run_batch
    from lateral_map.batch.run import watch as watch_sites
    from lateral_map.batch.solve import Asked
    from lateral_map.cli.console import complain
    from lateral_map.errors import LateralMapError

    if out is None:
        if "://" in root:
            raise LateralMapError("an address needs --out DIR, a folder of this machine")
        out = Path(root) / "out"
    asked = Asked(root, unit, seconds, memory, results, diagnose=not no_diagnoses)
    whole = Batch(asked, out, crs=crs, jobs=jobs, scheduler=scheduler)
    try:
        if watch:
            watch_sites(whole, _NoProgress(), _tell, lambda: time.sleep(1.0))
        else:
            with _progress() as told:
                ran = run_batch(whole, told)
            _tell(ran)
    except KeyboardInterrupt:
        complain("Stopped. What is solved is kept: the same command goes on from there.")
        raise typer.Exit(130) from None


class _NoProgress:
    def __call__(self, doing: str, done: int, of: int, /) -> None:
        """Show nothing."""


@contextmanager
def _progress() -> Iterator[Told]:
    """Show a bar with rate and time left on stderr; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}", markup=False),
        TimeRemainingColumn(),
    )
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("Finding the sites", total=None, rate="")
        began = time.monotonic()
        before = ""

        def told(doing: str, done: int, of: int, /) -> None:
            nonlocal began, before
            if doing != before:
                began, before = time.monotonic(), doing
                bar.reset(task, total=of or None, description=doing)
            passed = time.monotonic() - began
            rate = f"{done / passed:,.0f} sites/s" if done and passed > 0.5 else ""
            bar.update(task, completed=done, rate=rate)

        yield told


def _tell(ran: Ran) -> None:
    from lateral_map.cli.console import stdout_console, tell_written
    from lateral_map.words.programme import STATE_WORDS, undiagnosed_sites_words

    totals, console = ran.written.totals, stdout_console()
    console.print(f"{ran.sites:,} sites, {ran.solved_now:,} of them solved anew", style="bold")
    for state, words in STATE_WORDS.items():
        if totals.states[state]:
            console.print(f"  {totals.states[state]:,} {words}")
    console.print(
        f"{totals.findings:,} findings: {totals.dangers.count:,} dangers, "
        f"{totals.past.count:,} defects past their boundary, "
        f"{totals.verdicts['too close to call']:,} too close to call"
    )
    if totals.undiagnosed:
        console.print(undiagnosed_sites_words(totals.undiagnosed), style="bold")
    if totals.open.count:
        console.print(f"Sites with an open diagnosis: {totals.open.count:,}")
    if totals.sharing:
        console.print(f"Sites that hold ground another one holds: {totals.sharing:,}")
    tell_written(ran.written.paths)
