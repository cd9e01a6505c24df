"""Who may ask what of the entry page: checked on every request, before anything else looks at it.

The page changes files, so no other web page a browser has open may reach it: the Host must be one
of ours (a name that was made to point here is turned away), a request from another origin is
refused, and every change carries a secret that only our own page knows. On a network a device must
also have joined by a one-time link. Bodies are limited while they arrive.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CSRF_HEADER: Final = "x-entry-key"
COOKIE: Final = "lateral_map_entry"
JOIN: Final = "/join"
LARGEST_BODY: Final = 256 * 1024
LARGEST_UPLOAD: Final = 8 * 1024 * 1024
UPLOADS: Final = frozenset({"/points"})
_SAFE_METHODS: Final = frozenset({"GET", "HEAD"})
_HEADERS: Final[Mapping[str, str]] = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
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
class Gate:
    """What lets a request in: our own addresses, the page's secret, and the devices that joined.

    ``hosts`` are the names and addresses, with their port, that the page is served at;
    ``needs_joining`` is True on a network.
    """

    hosts: frozenset[str]
    scheme: str = "http"
    needs_joining: bool = False
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _links: set[str] = field(default_factory=set)
    _devices: set[str] = field(default_factory=set)

    def new_link(self) -> str:
        """Return a token that lets one device join, once."""
        token = secrets.token_urlsafe(24)
        self._links.add(token)
        return token

    def join(self, token: str) -> str | None:
        """Spend a one-time token; return the device's secret, None for a token spent or unknown."""
        match = _same(token, self._links)
        if match is None:
            return None
        self._links.discard(match)
        secret = secrets.token_urlsafe(32)
        self._devices.add(secret)
        return secret

    def has_joined(self, secret: str) -> bool:
        """Say whether a secret is that of a device that joined."""
        return not self.needs_joining or _same(secret, self._devices) is not None


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
        if not self.gate.has_joined(cookies.get(COOKIE, "")):
            return 401, (
                "This device has not joined. Open a one-time link: the one in the terminal, or a "
                "new one from a device that has joined (More, Another device)."
            )
        given = headers.get(CSRF_HEADER, "")
        if scope["method"] not in _SAFE_METHODS and _same(given, [self.gate.key]) is None:
            return 403, "The page is out of date; load it again. Nothing typed is lost."
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
    """Pass a request on, its body read in advance and refused as soon as it is too large."""
    declared = Headers(scope=scope).get("content-length", "0")
    too_large = PlainTextResponse(f"At most {limit // 1024} kB are taken at once.", 413)
    if not declared.isdigit() or int(declared) > limit:
        await too_large(scope, receive, send)
        return
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return  # gone before all of it came
        body += message.get("body", b"")
        if len(body) > limit:
            await too_large(scope, receive, send)
            return
        if not message.get("more_body"):
            break
    given = False

    async def receiving() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": bytes(body), "more_body": False}

    await app(scope, receiving, send)
