"""How the command line speaks: results on stdout, progress and complaints on stderr.

Whatever came from a site folder is shown as plain text: neither as markup nor as control codes
for the terminal.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from rich.console import Console

# C0 and C1 controls drive a terminal; the bidirectional controls reorder what is read.
_CONTROLS = re.compile("[\x00-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


_UNBROKEN = 100_000  # wider than any line


class Step(Protocol):
    """Tells the person waiting what is being done now, and how much of the whole is done."""

    def __call__(self, doing: str, done: float, /) -> None:
        """Say ``doing`` with the fraction ``done`` (0 to 1)."""


def plain(text: str) -> str:
    """Return ``text`` on one line with every control character made visible."""
    return _CONTROLS.sub(lambda match: f"\\x{ord(match[0]):02x}", text)


def stdout_console() -> Console:
    """Return the console results go to; colours only where a terminal wants them.

    A terminal gets its lines broken between words; a file or another program gets them whole.
    """
    from rich.console import Console

    console = Console(highlight=False, markup=False, emoji=False)
    if not console.is_terminal:
        console.width = _UNBROKEN
    return console


def tell_written(paths: Sequence[Path], unit: str = "") -> None:
    """Say which files were written, and where, and what a metric site's tables are opened with."""
    console = stdout_console()
    console.print(f"Wrote {', '.join(path.name for path in paths)}", style="bold", end=" ")
    console.print(f"to {plain(str(paths[0].parent))}")
    if unit == "m" and any(path.suffix == ".csv" for path in paths):
        beside = [path.name for path in paths if path.suffix == ".xlsx"]
        console.print(
            "Decimals in .csv have points: a spreadsheet that expects commas reads 30.344 as "
            f"30344. There, open {' or '.join(beside) or 'tables.xlsx (--only xlsx)'} instead."
        )


def complain(message: str) -> None:
    """Print an error on stderr, each line of it whole; the exit code says it where that is full."""
    with suppress(OSError):
        for line in message.splitlines() or [""]:
            print(plain(line), file=sys.stderr)  # noqa: T201 - the one place that speaks to stderr


@contextmanager
def show_progress(title: str) -> Iterator[Step]:
    """Show a progress bar on stderr while the body runs; nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(plain(title), total=1.0)

        def step(doing: str, done: float) -> None:
            bar.update(task, description=plain(doing), completed=done)

        yield step
