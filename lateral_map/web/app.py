"""The entry page's server: one page, its state, and the few requests that change the site."""

from __future__ import annotations

import json
import logging
import os
from collections.abc import Awaitable, Callable
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from lateral_map.draw.data import data_json
from lateral_map.draw.page import asset as drawing_asset
from lateral_map.draw.page import leaflet_css, leaflet_js, map_frame, page_script
from lateral_map.errors import ExportError, LateralMapError, SiteError
from lateral_map.export.registry import PRODUCTS
from lateral_map.web import asked
from lateral_map.web.asked import AskedWrong
from lateral_map.web.entering import Entering
from lateral_map.web.forms import form_values, form_words
from lateral_map.web.guard import COOKIE, JOIN, LINK_MINUTES, Gate, Guard
from lateral_map.web.parts import Conflict
from lateral_map.web.store import UnreadableError
from lateral_map.words.cautions import FIELD_CAUTIONS
from lateral_map.words.entering import PAGE_WORDS, link_words

Handler = Callable[[Request, bytes], Response]
# Nothing of the site is kept in a browser's cache; the scripts may be asked for again cheaply.
_ASSET_HEADERS: Final = {"Cache-Control": "no-cache"}
# The page's scripts, styles and pictures: a fixed list in memory, so no path is ever asked for.
_OWN: Final = (
    "entry.js", "parts.js", "forms.js", "plan.js", "picture.js", "pointing.js", "outbox.js",
    "offline.js", "entry.css", "icon.svg",
)  # fmt: skip
_TYPES: Final = {"js": "text/javascript", "css": "text/css", "svg": "image/svg+xml"}


@dataclass(frozen=True, slots=True)
class Asset:
    """One file as it is sent."""

    content: str
    media_type: str


_MADE: Final[dict[str, Callable[[], str]]] = {
    "leaflet.js": leaflet_js,
    "leaflet.css": leaflet_css,
    "drawing.js": page_script,
    "drawing.css": lambda: drawing_asset("page.css") + drawing_asset("dark.css"),
    "frame.js": lambda: map_frame().script,
}


@cache
def all_assets() -> dict[str, Asset]:
    """Return every asset by its name."""
    home = files("lateral_map.web").joinpath("static")
    texts = {name: home.joinpath(name).read_text("utf-8") for name in _OWN}
    texts |= {name: make() for name, make in _MADE.items()}
    return {name: Asset(text, _TYPES[name.rpartition(".")[2]]) for name, text in texts.items()}


class EntryApp:
    """The server of one site. ``link`` makes the address another device joins by."""

    def __init__(self, entering: Entering, gate: Gate, link: Callable[[], str] | None) -> None:
        self.entering = entering
        self.gate = gate
        self.link = link
        self._page = _templates().get_template("page.html.j2")
        self._join = _templates().get_template("join.html.j2")

    def build(self) -> Starlette:
        """Return the ASGI application, guarded."""
        reading: dict[str, Handler] = {
            "/": self.page,
            "/state": self.state,
            "/profile": self.profile,
            "/versions": self.versions,
            "/length": self.length,
            "/fix": self.fix,
            "/export/{name}": self.export,
            "/static/{name}": self.static,
            JOIN: self.join_page,
            "/favicon.ico": self.icon,
            "/offline.js": self.offline,
            "/devices": self.devices,
            "/picture/{name}": self.picture,
            "/picture-to-point-at": self.pointed_at,
        }
        writing: dict[str, Handler] = {
            "/rows": self.rows,
            "/settings": self.settings,
            "/plan": self.plan,
            "/undo": self.undo,
            "/outside": self.outside,
            "/points": self.points,
            "/pictures": self.take_picture,
            "/photographs": self.take_photograph,
            "/link": self.new_link,
            "/turn-out": self.turn_out,
            JOIN: self.join,
        }

        def served(handler: Handler) -> Callable[[Request], Awaitable[Response]]:
            async def serve(request: Request) -> Response:
                # Off the event loop, the body at hand.
                return await run_in_threadpool(_answered, handler, request, await request.body())

            return serve

        routes = [
            Route(path, served(handler), methods=[method])
            for method, handlers in (("GET", reading), ("POST", writing))
            for path, handler in handlers.items()
        ]
        return Starlette(routes=routes, middleware=[Middleware(Guard, gate=self.gate)])

    # ── pages ────────────────────────────────────────────────────────────────────────────────

    def page(self, *_: object) -> Response:
        """Send the page with its first state in it."""
        state = self.entering.words()
        start = {
            "state": state,
            "forms": form_values(),
            "words": PAGE_WORDS,
            "offers": [{"name": o.name, "summary": o.summary} for o in PRODUCTS.values()],
            "key": self.gate.key,
            "shared": self.link is not None,
            "addresses": self.entering.store.known.addresses,
        }
        return HTMLResponse(
            self._page.render(
                title=state["site"]["name"] or state["site"]["folder"],
                cautions=FIELD_CAUTIONS,
                start=Markup(data_json(start)),  # noqa: S704 - no < or > left in it
            )
        )

    def join_page(self, request: Request, _: bytes) -> Response:
        """Ask a device with a one-time link to join: opening a link alone spends nothing."""
        token = request.query_params.get("token", "")
        return HTMLResponse(self._join.render(token=token, failed=False, minutes=LINK_MINUTES))

    def join(self, request: Request, body: bytes) -> Response:
        """Spend the one-time token and let the device in."""
        del body
        token = request.query_params.get("token", "")
        address = request.client.host if request.client else ""
        secret = self.gate.join(token, address, request.headers.get("user-agent", ""))
        if secret is None:
            return HTMLResponse(self._join.render(token="", failed=True, minutes=LINK_MINUTES), 403)
        answer = Response(status_code=303, headers={"Location": "/"})
        answer.set_cookie(
            COOKIE, secret, httponly=True, samesite="strict", path="/",
            secure=self.gate.scheme == "https",
        )  # fmt: skip
        return answer

    def static(self, request: Request, _: bytes) -> Response:
        """Send one of the page's own files, by name, from memory."""
        found = all_assets().get(request.path_params["name"])
        if found is None:
            return PlainTextResponse("There is no such file.", 404)
        return Response(found.content, media_type=found.media_type, headers=_ASSET_HEADERS)

    def offline(self, *_: object) -> Response:
        """Send the script that lets the page be loaded again while the server is out of reach.

        It is at the top, for a browser lets such a script serve only what lies beside and below it.
        """
        names = [f"/static/{name}" for name in all_assets() if name != "offline.js"]
        script = f"const FILES = {json.dumps(names)};\n{all_assets()['offline.js'].content}"
        return Response(script, media_type=_TYPES["js"], headers=_ASSET_HEADERS)

    def icon(self, *_: object) -> Response:
        """Send the page's icon."""
        found = all_assets()["icon.svg"]
        return Response(found.content, media_type=found.media_type, headers=_ASSET_HEADERS)

    # ── looking ──────────────────────────────────────────────────────────────────────────────

    def state(self, *_: object) -> Response:
        """Send the whole state, the profile excepted."""
        return Response(self.entering.state_text(), media_type="application/json")

    def profile(self, request: Request, _: bytes) -> Response:
        """Send the profile in the page's width."""
        narrow = request.query_params.get("narrow") == "1"
        return Response(self.entering.profile_text(narrow=narrow), media_type="application/json")

    def versions(self, *_: object) -> Response:
        """Send the files' versions, so that a page notices what others wrote."""
        return JSONResponse(self.entering.versions())

    def length(self, request: Request, _: bytes) -> Response:
        """Read a length as it is being typed, and say it back in the site's unit."""
        given = request.query_params
        return JSONResponse(
            self.entering.read_length(given.get("text", ""), small=given.get("unit") == "size")
        )

    def fix(self, request: Request, _: bytes) -> Response:
        """Turn a device's position into what a locate's row keeps."""
        given = request.query_params
        return JSONResponse(
            self.entering.position_values(
                given.get("lat", ""), given.get("lon", ""), given.get("radius", ""),
                given.get("meaning", "68"),
            )
        )  # fmt: skip

    def export(self, request: Request, _: bytes) -> Response:
        """Make one product and send it as a file."""
        made = self.entering.make(request.path_params["name"])
        disposition = f'attachment; filename="{made.file}"'
        return Response(
            made.content, media_type=made.media_type, headers={"Content-Disposition": disposition}
        )

    def points(self, request: Request, body: bytes) -> Response:
        """Read a GNSS file's points and match them to marks; nothing is saved yet."""
        name = request.query_params.get("name", "the file")
        unit = request.query_params.get("unit", "m")
        meaning = request.query_params.get("meaning", "sd")
        return JSONResponse(
            self.entering.match_points(asked.clean_typed(name)[:80], body, unit, meaning)
        )

    def picture(self, request: Request, _: bytes) -> Response:
        """Send the picture under the plan."""
        content = self.entering.picture(request.url.path)
        return Response(content, media_type="image/jpeg", headers=_ASSET_HEADERS)

    def pointed_at(self, *_: object) -> Response:
        """Send the picture that points are to be found in."""
        return JSONResponse(self.entering.pointed_at())

    def take_picture(self, request: Request, body: bytes) -> Response:
        """Take a picture into the site's folder; what it is for is a setting."""
        return JSONResponse(self.entering.take_picture(request.query_params.get("name", ""), body))

    def take_photograph(self, request: Request, body: bytes) -> Response:
        """Take a photograph of what was seen at a footage into the site's folder."""
        footage = request.query_params.get("footage", "")
        return JSONResponse(self.entering.take_photograph(footage, body))

    # ── changing ─────────────────────────────────────────────────────────────────────────────

    def rows(self, _: Request, body: bytes) -> Response:
        """Add or change rows of a table."""
        given = asked.read_asked(asked.RowsAsked, body)
        self.entering.save_rows(given.op, given.file, given.row_edits(), given.instead)
        return self.state()

    def settings(self, _: Request, body: bytes) -> Response:
        """Change settings in site.toml."""
        given = asked.read_asked(asked.SettingsAsked, body)
        self.entering.save_settings(given.op, given.setting_edits(), given.entry_seen())
        return self.state()

    def plan(self, _: Request, body: bytes) -> Response:
        """Add, change or take out a plan feature."""
        self.entering.save_feature(asked.read_asked(asked.FeatureAsked, body))
        return self.state()

    def undo(self, _: Request, body: bytes) -> Response:
        """Take one change back, or do it again."""
        given = asked.read_asked(asked.UndoAsked, body)
        self.entering.store.undo(given.op, given.target)
        return self.state()

    def outside(self, _: Request, body: bytes) -> Response:
        """Answer what to do about another program's save."""
        given = asked.read_asked(asked.OutsideAsked, body)
        if given.put_back:
            self.entering.store.put_back(given.op, given.key)
        else:
            self.entering.store.leave_as_saved(given.key)
        return self.state()

    def new_link(self, *_: object) -> Response:
        """Make a one-time link for another device, with its code to scan."""
        if self.link is None:
            return JSONResponse({"words": "Start it with --share to let other devices join."}, 409)
        import segno

        address = self.link()
        code = segno.make(address, error="m")
        picture = code.png_data_uri(scale=6, border=3)
        return JSONResponse(
            {"address": address, "code": picture, "words": link_words(LINK_MINUTES)}
        )

    def devices(self, request: Request, _: bytes) -> Response:
        """List the devices that joined, the one that asks marked."""
        own = self.gate.device(request.cookies.get(COOKIE, ""))
        told = [asdict(one) | {"own": one is own} for one in self.gate.devices]
        return JSONResponse({"devices": told, "minutes": LINK_MINUTES})

    def turn_out(self, request: Request, body: bytes) -> Response:
        """Let a device in no more."""
        self.gate.turn_out(asked.read_asked(asked.DeviceAsked, body).device)
        return self.devices(request, b"")


def _answered(handler: Handler, request: Request, body: bytes) -> Response:
    """Return a handler's answer, or what it raises turned into one."""
    try:
        return handler(request, body)
    except AskedWrong as wrong:
        return JSONResponse({"words": str(wrong)}, 400)
    except Conflict as conflict:
        told = {"theirs": conflict.theirs, "row": conflict.row, "at": conflict.at}
        return JSONResponse({"words": str(conflict), "conflict": True, **told}, 409)
    except SiteError as error:
        faults = [{"field": fault.field, "words": form_words(fault)} for fault in error.faults]
        return JSONResponse({"words": str(error), "faults": faults}, 422)
    except KeyError:
        return JSONResponse({"words": "There is no such thing here any more."}, 404)
    except (UnreadableError, ExportError, LateralMapError) as error:
        return JSONResponse({"words": str(error)}, 422)
    except OSError as error:
        reason = error.strerror or "the disk refuses"
        words = f"It could not be saved ({reason}). What you typed is still here; save again."
        return JSONResponse({"words": words}, 507)
    except Exception as error:  # the last door: the page must still get an answer
        # The terminal tells where it is only when asked to.
        log, wanted = logging.getLogger(__name__), bool(os.environ.get("LATERAL_MAP_TRACEBACK"))
        log.error("%s: %s", type(error).__name__, error, exc_info=wanted)  # noqa: TRY400
        words = (
            "This is a fault of lateral-map, not of your site. What you typed is still here, and "
            "nothing saved was lost."
        )
        return JSONResponse({"words": words}, 500)


def _templates() -> Environment:
    loader = PackageLoader("lateral_map.web", "templates")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
