"""``lateral-map enter``: a page to enter the readings on, in the yard, the line drawing itself."""

from __future__ import annotations

import threading
import webbrowser
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lateral_map.errors import ExportError

if TYPE_CHECKING:
    from lateral_map.web.serve import Served


def enter(
    site: Annotated[
        Path,
        typer.Argument(metavar="SITE", help="The site folder; a new one is begun.", readable=False),
    ],
    share: Annotated[
        bool, typer.Option("--share", help="Let a phone or tablet on this network join, over TLS.")
    ] = False,
    port: Annotated[
        int | None,
        typer.Option(
            min=0,
            max=65535,
            help="Where to listen: if left out, where this site was last served, at first 8410, "
            "or any port that is free. 0 takes a free one.",
            show_default=False,
        ),
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in this machine's browser.")] = True,
) -> None:
    """Enter a site on a page of its own: each reading saved at once, the line redrawn.

    Only this machine can reach the page, unless --share lets others on the network join by a link
    that works once.
    """
    from lateral_map.cli.console import plain
    from lateral_map.web.serve import NoNetworkError, prepare

    if site.exists() and not site.is_dir():
        raise ExportError(f"{site}: is a file; give the folder of a site, or a new name")
    try:
        served = prepare(site, port=port, share=share, keys=Path(typer.get_app_dir("lateral-map")))
    except NoNetworkError as error:
        raise ExportError(str(error)) from None
    except OSError as error:
        if error.filename is not None:
            raise
        reason = error.strerror or str(error)
        raise ExportError(
            f"port {port} cannot be listened on ({reason}); give another, such as --port 0"
        ) from None
    typer.echo(f"Entering {plain(str(site))}. Ctrl+C ends it; every save is on the disk already.")
    if share:
        _tell_how_to_join(served)
    else:
        typer.echo(f"Open {served.address}")
        if browser:
            threading.Timer(0.6, webbrowser.open, [served.address]).start()
    with suppress(KeyboardInterrupt):  # Ctrl+C is how it is meant to end
        served.run()


def _tell_how_to_join(served: Served) -> None:
    """Print a one-time link, its code, and what the browser will warn of."""
    import segno

    if served.new_link is None or served.certificate is None:
        return
    link = served.new_link()
    typer.echo(
        "Scan this with the phone's camera, on the same network. It lets one device in, within a "
        "quarter of an hour:"
    )
    segno.make(link, error="l").terminal(compact=True)
    typer.echo(link)
    typer.echo(
        "\nThe browser will warn that it does not know who vouches for this page: nobody but this\n"
        "machine does. Its certificate was made here, so that the page may use the phone's\n"
        "position. Go on only if the certificate's SHA-256 fingerprint there is\n"
        f"  {served.certificate.fingerprint}\n"
        "For another device open 'More' on the page, then 'Other devices'."
    )
