"""Serving one site: on this machine alone, or to the devices of a network over TLS."""

from __future__ import annotations

import asyncio
import logging
import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from operator import itemgetter
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from lateral_map.draw.data import map_data
from lateral_map.errors import LateralMapError
from lateral_map.frame import local_frame
from lateral_map.model.site import Accuracy, Locate, PositionTie, Run, Site, Start
from lateral_map.report import build_report
from lateral_map.web.app import EntryApp, all_assets
from lateral_map.web.certificate import Certificate, make_certificate
from lateral_map.web.entering import Entering
from lateral_map.web.guard import JOIN, Gate
from lateral_map.web.history import know_site
from lateral_map.web.store import SiteStore

LOOPBACK: Final = "127.0.0.1"
USUAL_PORT: Final = 8410
_HEADER_SECONDS: Final = 10.0  # for a request's header to come
_MOST_WAITING: Final = 24  # connections of one address that have not asked for anything yet
_EARLIER_PORTS: Final = 3


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


def prepare(folder: Path, *, port: int | None = 0, share: bool = False, keys: Path) -> Served:
    """Open a site folder, made if it is not there, and get a server for it ready, warm.

    ``port`` 0 takes a free one, None the one the site was last served at, for a browser keeps what
    it could not send under the page's address. Earlier ports of this machine that are free are
    listened on too, so that what was kept there can still be sent. ``keys`` is the folder the
    certificate is kept in. Raises ``NoNetworkError`` where there is none to share on, ``OSError``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    host = network_address() if share else LOOPBACK
    scheme = "https" if share else "http"
    store = SiteStore(folder)
    before = [urlsplit(one) for one in store.known.addresses]
    ports = [one.port for one in before if one.scheme == scheme and one.hostname == host]
    earlier = [one for one in ports if one is not None and one != port][-_EARLIER_PORTS:]
    listening = [_listen(host, port, earlier)]
    port = listening[0].getsockname()[1]
    for one in earlier:
        with suppress(OSError):
            listening.append(_bound(host, one))
    certificate = make_certificate(keys, [host]) if share else None
    names = {host} if share else {LOOPBACK, "localhost"}
    every = [one.getsockname()[1] for one in listening]
    hosts = frozenset(f"{name}:{number}" for name in names for number in every)
    address = f"{scheme}://{host}:{port}"
    store.known = know_site(folder, address)
    gate = Gate(hosts, store.known.id, scheme=scheme, needs_joining=share)

    def link() -> str:
        return f"{address}{JOIN}?token={gate.new_link()}"

    entering = Entering(store)
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
            limit_concurrency=256,
            http=Prompt,
            ssl_certfile=str(certificate.certificate) if certificate else None,
            ssl_keyfile=str(certificate.key) if certificate else None,
        )
    )

    def stop() -> None:
        server.should_exit = True

    return Served(
        address, lambda: server.run(sockets=listening), stop, link if share else None, certificate
    )


def _listen(host: str, port: int | None, earlier: Sequence[int]) -> socket.socket:
    """Return a socket at ``port``; for None at the last of the earlier ones, or the usual one."""
    if port is not None:
        return _bound(host, port)
    for wish in (*reversed(earlier), USUAL_PORT):
        with suppress(OSError):
            return _bound(host, wish)
    return _bound(host, 0)


def _bound(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError:
        listening.close()
        raise
    return listening


class Prompt(H11Protocol):
    """A connection that asks soon or is closed: half-open ones must not keep the others out.

    Of one address's connections that have asked nothing yet, the oldest gives way to a new one.
    """

    due: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request's header."""
        super().connection_made(transport)
        self._wait()
        waiting = [
            (one.due.when(), one)
            for one in self.connections
            if isinstance(one, Prompt) and one.due and one.client and self.client
            and one.client[0] == self.client[0]
        ]  # fmt: skip
        for _, one in sorted(waiting, key=itemgetter(0))[:-_MOST_WAITING]:
            one.give_up()

    def data_received(self, data: bytes) -> None:
        """Wait on only while no header is whole."""
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self._rest()
        elif self.cycle is None or self.cycle.response_complete:
            self._wait()  # the next one on this connection

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing more."""
        self._rest()
        super().connection_lost(exc)

    def _wait(self) -> None:
        if self.due is None:
            self.due = self.loop.call_later(_HEADER_SECONDS, self.give_up)

    def _rest(self) -> None:
        if self.due is not None:
            self.due.cancel()
            self.due = None

    def give_up(self) -> None:
        """Close the connection at once."""
        self._rest()
        self.transport.abort()


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
