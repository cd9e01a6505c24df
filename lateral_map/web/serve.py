"""Serving one site: on this machine alone, or to the devices of a network over TLS."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import uvicorn

from lateral_map.draw.data import map_data
from lateral_map.errors import LateralMapError
from lateral_map.frame import local_frame
from lateral_map.model.site import Accuracy, Locate, PositionTie, Run, Site, Start
from lateral_map.report import build_report
from lateral_map.web.app import EntryApp, all_assets
from lateral_map.web.certificate import Certificate, make_certificate
from lateral_map.web.entering import Entering
from lateral_map.web.guard import JOIN, Gate
from lateral_map.web.store import SiteStore

LOOPBACK: Final = "127.0.0.1"


class NoNetworkError(Exception):
    """This machine has no network to share the page on."""


@dataclass(frozen=True, slots=True)
class Served:
    """A server ready to run: its address, and how other devices join if it is shared."""

    address: str
    run: Callable[[], None]
    stop: Callable[[], None]
    new_link: Callable[[], str] | None
    certificate: Certificate | None


def prepare(folder: Path, *, port: int = 0, share: bool = False, keys: Path) -> Served:
    """Open a site folder, made if it is not there, and get a server for it ready, warm.

    ``port`` 0 takes a free one. ``keys`` is the folder the certificate is kept in. Raises
    ``NoNetworkError`` where there is none to share on, and ``OSError``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    host = network_address() if share else LOOPBACK
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    port = listening.getsockname()[1]
    certificate = make_certificate(keys, [host]) if share else None
    scheme = "https" if share else "http"
    names = {host} if share else {LOOPBACK, "localhost"}
    hosts = frozenset(f"{name}:{port}" for name in names)
    gate = Gate(hosts, scheme=scheme, needs_joining=share)
    address = f"{scheme}://{host}:{port}"

    def link() -> str:
        return f"{address}{JOIN}?token={gate.new_link()}"

    entering = Entering(SiteStore(folder))
    app = EntryApp(entering, gate, link if share else None).build()
    warm_up(entering)
    all_assets()
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=2,
            limit_concurrency=64,
            ssl_certfile=str(certificate.certificate) if certificate else None,
            ssl_keyfile=str(certificate.key) if certificate else None,
        )
    )

    def stop() -> None:
        server.should_exit = True

    return Served(
        address, lambda: server.run(sockets=[listening]), stop, link if share else None, certificate
    )


def warm_up(entering: Entering) -> None:
    """Do what is slow once before the first save: imports, fonts, the first solution.

    A line of our own is drawn too, for a site that has none yet.
    """
    line = Site(
        name="warm",
        frame=local_frame("m"),
        unit="m",
        start=Start(0.0, 0.0, 0.1, depth_m=1.0),
        accuracy=Accuracy(),
        run=Run(10.0),
        locates=(Locate("A", 5.0, depth_m=1.1, ties=(PositionTie(0.0, 4.85, 0.05, "xy"),)),),
    )
    try:
        entering.state()
        entering.profile(narrow=False)
        map_data(build_report(line))
    except LateralMapError:
        logging.getLogger(__name__).debug("nothing to warm up with", exc_info=True)


def network_address() -> str:
    """Return the address other devices on the network reach this machine at."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: asking for a way out tells which of our addresses it would leave by.
            probe.connect(("192.0.2.1", 9))
            address = str(probe.getsockname()[0])
        except OSError:
            address = ""
    if not address or address.startswith("127."):
        raise NoNetworkError(
            "this machine is on no network; join one (a telephone's own hotspot will do), "
            "or leave --share out"
        )
    return address
