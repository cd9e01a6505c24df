"""The command line's entry point: the commands, and the one place that answers for errors.

Exit codes: 0 done; 1 a fault of this program; 2 something given to it cannot be used; 128 and the
signal's number where it was stopped.
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


def _open_streams() -> None:
    """Put something under a stream that was handed over closed: what is printed goes nowhere.

    Else the next file opened would take its number, and what is printed would go into that.
    """
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free
        if getattr(sys, name) is None:
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without ± still gets its answer


def _answer() -> int:
    """Run the command line on ``sys.argv``, answer for its errors and return the exit code."""
    try:
        app(prog_name="lateral-map")
    except SystemExit as leaving:
        # Typer's 1 is a question nobody answered, or a reader who left: no fault of the program.
        return 2 if leaving.code == 1 else int(leaving.code or 0)
    except LateralMapError as error:
        complain(_in_words(error))
        return 2
    except OSError as error:
        reason = error.strerror or str(error)
        complain(
            f"{error.filename or 'standard output'}: {reason}; "
            "check that the path is right and that you may read and write there"
        )
        return 2
    except MemoryError:
        complain("This machine has too little memory for it; nothing already written was lost")
        return 2
    except Exception as error:  # the last door: nobody outside should see a traceback
        if os.environ.get("LATERAL_MAP_TRACEBACK"):
            raise
        complain(
            f"This is a fault of lateral-map, not of your site ({type(error).__name__}: {error}). "
            "Nothing already written was lost. "
            "Set LATERAL_MAP_TRACEBACK=1 and run it again to see where it happened."
        )
        return 1
    return 0


def _flush(code: int) -> int:
    """Send off what is printed while a full disk can still be answered for; return the exit code.

    What has no place to go must not be tried again by the interpreter, which would end with a code
    of its own.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
            if stream is sys.stdout:
                complain(
                    f"standard output: {error.strerror or error}; "
                    "check that the path is right and that you may read and write there"
                )
                code = code or 2
    return code


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
    _open_streams()
    sys.exit(_flush(_answer()))
