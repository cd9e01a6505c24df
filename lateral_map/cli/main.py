"""The command line's entry point: the commands, and the one place that answers for errors.

Exit codes: 0 done; 1 a fault of this program; 2 something given to it cannot be used.
A command is a function in a file of its own and one entry in ``COMMANDS``.
"""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
from typing import Annotated, NoReturn

import typer

from lateral_map import __version__
from lateral_map.cli.again import again
from lateral_map.cli.batch import batch
from lateral_map.cli.check import check
from lateral_map.cli.console import complain
from lateral_map.cli.dig import dig
from lateral_map.cli.draw import draw
from lateral_map.cli.enter import enter
from lateral_map.cli.new import new
from lateral_map.cli.plan import plan
from lateral_map.cli.refer import refer
from lateral_map.cli.schema import schema
from lateral_map.cli.sheet import sheet
from lateral_map.errors import ImpossibleError, LateralMapError

COMMANDS = (new, plan, check, draw, dig, enter, sheet, refer, again, batch, schema)

app = typer.Typer(
    name="lateral-map",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # rich takes half the time that help needs
    context_settings={"help_option_names": ["-h", "--help"]},
)
for command in COMMANDS:
    app.command()(command)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"lateral-map {__version__}")
        raise typer.Exit


@app.callback()
def lateral_map(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Show the version."),
    ] = False,
) -> None:
    """Map a located sewer lateral: readings from a site folder in, the drawn route out.

    No survey, and no one-call ticket: call before you dig.
    """


def _in_words(error: LateralMapError) -> str:
    """Return what an error says, and what would explain readings that cannot be."""
    if not isinstance(error, ImpossibleError):
        return str(error)
    from lateral_map.words.sayings import say_impossible

    lines = [str(error)]
    for saying in say_impossible(error):
        lines += [saying.words, "To take it so, put this at the end of site.toml:"]
        lines += [f"[[applied]]\n{entry}".rstrip() for entry in saying.entries]
    return "\n".join(lines)


def main() -> NoReturn:
    """Run the command line on ``sys.argv`` and exit."""
    # A site's matrices are small: a second thread costs more in waiting than it saves, and on a
    # busy machine several times as much. It must be said before the library is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Loading the libraries makes a great many objects that all stay: looking through them for
    # rubbish every 700 is a tenth of a drawing's time.
    gc.set_threshold(100_000, 50, 50)
    # By way of an exception, so that whatever is half written is cleared away.
    signal.signal(signal.SIGTERM, lambda number, _frame: sys.exit(128 + number))
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ± still gets its answer
    try:
        try:
            app(prog_name="lateral-map")
        finally:
            sys.stdout.flush()  # here, where a full disk can still be answered for
    except LateralMapError as error:
        complain(_in_words(error))
        sys.exit(2)
    except OSError as error:
        reason = error.strerror or str(error)
        if not error.filename:
            # What is left to print has no place to go; the interpreter is not to try again.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        complain(
            f"{error.filename or 'standard output'}: {reason}; "
            "check that the path is right and that you may read and write there"
        )
        sys.exit(2)
    except Exception as error:  # the last door: nobody outside should see a traceback
        if os.environ.get("LATERAL_MAP_TRACEBACK"):
            raise
        complain(
            f"This is a fault of lateral-map, not of your site ({type(error).__name__}: {error}). "
            "Nothing already written was lost. "
            "Set LATERAL_MAP_TRACEBACK=1 and run it again to see where it happened."
        )
        sys.exit(1)
    sys.exit(0)
