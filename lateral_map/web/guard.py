"""Who may ask what of the entry page: checked on every request, before anything else looks at it.

The page changes files, so no other web page a browser has open may reach it: the Host must be one
of ours (a name that was made to point here is turned away), a request from another origin is
refused, and every change carries a secret that only our own page knows. On a network a device must
also have joined by a one-time link that holds for some minutes. Bodies are limited in size and time
while they arrive.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from time import monotonic
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CSRF_HEADER: Final = "x-entry-key"
SITE_HEADER: Final = "x-entry-site"
COOKIE: Final = "lateral_map_entry"
JOIN: Final = "/join"
LARGEST_BODY: Final = 256 * 1024
LARGEST_UPLOAD: Final = 16 * 1024 * 1024
UPLOADS: Final = frozenset({"/points", "/pictures", "/photographs"})
LINK_MINUTES: Final = 15
BODY_SECONDS: Final = 20.0  # the longest wait for the next piece of a body
_SAFE_METHODS: Final = frozenset({"GET", "HEAD"})
_HEADERS: Final[Mapping[str, str]] = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not 'no-referrer': a form would then be sent with the origin 'null', and be refused.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(self), camera=(), microphone=(), payment=(), usb=()",
}


@dataclass
class Device:
    """A device that joined: an id to name it by, its address and kind, when it joined and asked."""

    id: str
    address: str
    kind: str
    joined: str
    seen: str


@dataclass
class Gate:
    """What lets a request in: our own addresses, the page's secret, and the devices that joined.

    ``hosts`` are the names and addresses, with their port, that the page is served at; ``site`` is
    the id of the one that is entered; ``needs_joining`` is True on a network.
    """

    hosts: frozenset[str]
    site: str
    scheme: str = "http"
    needs_joining: bool = False
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _links: dict[str, float] = field(default_factory=dict)
    _devices: dict[str, Device] = field(default_factory=dict)

    def new_link(self) -> str:
        """Return a token that lets one device join, once, within a quarter of an hour."""
        token = secrets.token_urlsafe(24)
        self._links[token] = monotonic() + LINK_MINUTES * 60
        return token

    def join(self, token: str, address: str = "", agent: str = "") -> str | None:
        """Spend a one-time token; return the device's secret, None for one spent, old or unknown.

        ``agent`` is what the browser calls itself.
        """
        match = _same(token, self._links)
        if match is None or self._links.pop(match) < monotonic():
            return None
        secret, now = secrets.token_urlsafe(32), _now()
        kinds = ("iPhone", "iPad", "Android", "Windows", "Macintosh", "Linux")
        kind = next((one for one in kinds if one in agent), "device")
        self._devices[secret] = Device(secrets.token_hex(8), address, kind, now, now)
        return secret

    def device(self, secret: str) -> Device | None:
        """Return the device whose secret it is, seen now; None where it has not joined."""
        match = _same(secret, self._devices)
        if match is None:
            return None
        found = self._devices[match]
        found.seen = _now()
        return found

    @property
    def devices(self) -> list[Device]:
        """The devices that joined, the first one first."""
        return list(self._devices.values())

    def turn_out(self, device: str) -> None:
        """Let a device in no more; raises ``KeyError``."""
        del self._devices[{one.id: secret for secret, one in self._devices.items()}[device]]


def _now() -> str:
    return dt.datetime.now().astimezone().isoformat(timespec="seconds")


def _same(given: str, known: Iterable[str]) -> str | None:
    found = None
    for one in known:  # every one of them, so that the time taken tells nothing
        if secrets.compare_digest(given.encode(), one.encode()):
            found = one
    return found


class Guard:
    """ASGI middleware that asks ``Gate`` and adds the security headers to every answer."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self.app = app
        self.gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Turn a request away, or pass it on with its body limited."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008})
                return
            await self.app(scope, receive, send)
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            status, words = refusal
            await PlainTextResponse(words, status)(scope, receive, guarded)
            return
        limit = LARGEST_UPLOAD if scope["path"] in UPLOADS else LARGEST_BODY
        await _pass_on_limited(self.app, scope, receive, guarded, limit)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = Headers(scope=scope)
        if headers.get("host", "").casefold() not in self.gate.hosts:
            return 421, "This address is not one the entry page is served at."
        if not self._same_origin(headers, scope["method"]):
            return 403, "The entry page takes no requests from other pages."
        if scope["path"] == JOIN or scope["path"].startswith("/static/"):
            return None
        cookies = cookie_parser(headers.get("cookie", ""))
        if self.gate.needs_joining and self.gate.device(cookies.get(COOKIE, "")) is None:
            return 401, (
                "This device has not joined. Open a one-time link: the one in the terminal, or a "
                "new one from a device that has joined (More, Other devices)."
            )
        given = headers.get(CSRF_HEADER, "")
        if scope["method"] in _SAFE_METHODS:
            return None
        if _same(given, [self.gate.key]) is None:
            return 403, "The page is out of date; load it again. Nothing typed is lost."
        if headers.get(SITE_HEADER, "") != self.gate.site:
            return 403, "The page is another site's; load it again. Nothing typed is lost."
        return None

    def _same_origin(self, headers: Headers, method: str) -> bool:
        origin = headers.get("origin")
        ours = {f"{self.gate.scheme}://{host}" for host in self.gate.hosts}
        if origin is not None and origin not in ours:
            return False
        if method not in _SAFE_METHODS and origin is None:
            return False
        site = headers.get("sec-fetch-site", "same-origin")
        # A typed address or a scanned code comes from nowhere ('none'); a link may be in a mail.
        navigation = headers.get("sec-fetch-mode") == "navigate" and method in _SAFE_METHODS
        return site in ("same-origin", "none") or navigation


async def _pass_on_limited(
    app: ASGIApp, scope: Scope, receive: Receive, send: Send, limit: int
) -> None:
    """Pass a request on, its body read in advance, refused as soon as it is too large or late."""
    declared = Headers(scope=scope).get("content-length", "0")
    body, given = bytearray(), not declared.isdigit() or int(declared) > limit
    while not given:
        try:
            message = await asyncio.wait_for(receive(), BODY_SECONDS)
        except TimeoutError:
            words = "The rest of the request did not come in time; send it again."
            await PlainTextResponse(words, 408)(scope, receive, send)
            return
        if message["type"] != "http.request":
            return  # gone before all of it came
        body += message.get("body", b"")
        given = len(body) > limit or not message.get("more_body")
    if len(body) > limit or not declared.isdigit() or int(declared) > limit:
        words = f"At most {limit // 1024} kB are taken at once."
        await PlainTextResponse(words, 413)(scope, receive, send)
        return
    rest = iter([{"type": "http.request", "body": bytes(body), "more_body": False}])

    async def receiving() -> Message:
        return next(rest, None) or await receive()

    await app(scope, receiving, send)
