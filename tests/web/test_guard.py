"""Who may reach the entry page, tried over a real socket."""

from __future__ import annotations

import http.client
import json
import re
import shutil
import ssl
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from web.yard import served

from lateral_map.web import guard, serve
from lateral_map.web.guard import COOKIE, LARGEST_BODY, LARGEST_UPLOAD
from lateral_map.web.history import know_site
from lateral_map.web.serve import Served

SITES = Path(__file__).parents[1] / "sites"
SECRET = "not for the network"


class Client:
    """Speaks HTTP to a server, header by header, as no browser would."""

    def __init__(self, server: Served) -> None:
        self.scheme, _, self.host = server.address.partition("://")
        self.cookie = ""
        page = self.get("/")
        self.read_page(page[2])

    def read_page(self, page: str) -> None:
        """Know what the page's own script knows."""
        match = re.search(r'"key":"([\w-]{43})"', page)
        self.key = match[1] if match else ""
        match = re.search(r'"id":"([0-9a-f]{32})"', page)
        self.site = match[1] if match else ""

    def ask(
        self, method: str, path: str, body: bytes = b"", **headers: str
    ) -> tuple[int, dict[str, str], str]:
        """Return status, headers and body. A header given as empty is left out."""
        usual = {"host": self.host, "cookie": self.cookie}
        if method == "POST":
            usual |= {
                "origin": f"{self.scheme}://{self.host}", "x-entry-key": self.key,
                "x-entry-site": self.site, "content-length": str(len(body)),
            }  # fmt: skip
        given = usual | {name.replace("_", "-"): value for name, value in headers.items()}
        connection = self.connect()
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            if value:
                connection.putheader(name, value)
        connection.endheaders(body or None)
        answer = connection.getresponse()
        told = {name.lower(): value for name, value in answer.getheaders()}
        text = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer.status, told, text

    def connect(self) -> http.client.HTTPConnection:
        if self.scheme == "http":
            return http.client.HTTPConnection(self.host, timeout=20)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        return http.client.HTTPSConnection(self.host, timeout=20, context=context)

    def get(self, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
        return self.ask("GET", path, **headers)

    def save(self, mark: str = "E", **headers: str) -> int:
        values = {"mark": mark, "footage": "45", "depth": "3"}
        body = {"op": uuid4().hex, "file": "locates.csv", "edits": [{"values": values}]}
        return self.ask("POST", "/rows", json.dumps(body).encode(), **headers)[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A site with something beside it and in it that nobody may have."""
    folder = tmp_path_factory.mktemp("guard") / "site"
    shutil.copytree(SITES / "local_sketch", folder)
    (folder.parent / "secret.txt").write_text(SECRET)
    (folder / "letter.txt").write_text(SECRET)
    return folder


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[Served]:
    with served(folder, folder.parent / "keys") as running:
        yield running


@pytest.fixture(scope="module")
def shared(folder: Path) -> Iterator[Served]:
    # Tests stay on this machine: another of its own addresses stands in for the network.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(serve, "network_address", lambda: "127.0.0.2")
        with served(folder, folder.parent / "keys", share=True) as running:
            yield running


@pytest.fixture
def client(server: Served) -> Client:
    return Client(server)


@pytest.fixture(autouse=True)
def _fresh(folder: Path) -> None:
    shutil.copy(SITES / "local_sketch" / "locates.csv", folder / "locates.csv")


def saved(folder: Path) -> bool:
    return "\nE," in (folder / "locates.csv").read_text()


# ── host, origin, key ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "localhost:1", ""])
@pytest.mark.parametrize("path", ["/", "/state", "/static/entry.js", "/join", "/nothing"])
def test_a_name_that_is_not_ours_is_turned_away(client: Client, host: str, path: str) -> None:
    status, _, text = client.get(path, host=host)
    assert status in (400, 421)
    assert "Ambersea" not in text
    assert client.save(host=host or "evil.example") == 421


def test_both_names_of_this_machine_are_ours(client: Client) -> None:
    port = client.host.split(":")[1]
    assert client.get("/", host=f"localhost:{port}")[0] == 200
    assert client.get("/", host=f"LOCALHOST:{port}")[0] == 200


@pytest.mark.parametrize(
    "origin",
    ["https://evil.example", "null", "http://127.0.0.1", "https://127.0.0.1:{port}",
     "http://evil.example:{port}", "http://127.0.0.1:{port}.evil.example", ""],
)  # fmt: skip
def test_no_other_origin_changes_or_reads_anything(
    client: Client, folder: Path, origin: str
) -> None:
    given = origin.format(port=client.host.split(":")[1])
    assert client.save(origin=given) == 403
    assert not saved(folder)
    if given:
        assert client.get("/state", origin=given)[0] == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_page_starts_is_refused(client: Client, folder: Path, site: str) -> None:
    assert client.save(sec_fetch_site=site, sec_fetch_mode="cors") == 403
    assert client.get("/state", sec_fetch_site=site, sec_fetch_mode="no-cors")[0] == 403
    assert client.get("/export/result", sec_fetch_site=site, sec_fetch_mode="no-cors")[0] == 403
    assert client.get("/", sec_fetch_site=site, sec_fetch_mode="navigate")[0] == 200
    assert not saved(folder)


@pytest.mark.parametrize("key", ["", "wrong", "é" * 8])
def test_every_change_needs_the_pages_own_key(client: Client, folder: Path, key: str) -> None:
    coded = key.encode().decode("latin-1")
    assert client.save(x_entry_key=coded) == 403
    for path in ("/settings", "/plan", "/undo", "/outside", "/points", "/link", "/rows"):
        assert client.ask("POST", path, b"{}", x_entry_key=coded)[0] == 403
    assert not saved(folder)
    assert client.save() == 200
    assert saved(folder)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_do_nothing(client: Client, folder: Path, method: str) -> None:
    before = (folder / "locates.csv").read_bytes()
    origin = f"http://{client.host}"
    status, told, _ = client.ask(
        method, "/rows", b"{}", origin=origin, x_entry_key=client.key, x_entry_site=client.site
    )
    assert status == 405
    assert "access-control-allow-origin" not in told
    assert (folder / "locates.csv").read_bytes() == before


# ── paths and bodies ─────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    "path",
    [
        "/static/../store.py", "/static/..%2f..%2fsecret.txt", "/static/%2e%2e/%2e%2e/secret.txt",
        "/static//etc/passwd", "/static/entry.js/../../../secret.txt", "/export/../secret.txt",
        "/export/..%2fletter.txt", "/export/%2e%2e%2f%2e%2e%2fetc%2fpasswd", "/letter.txt",
        "/static/..\\..\\secret.txt", "/static/entry.js%00.txt", "//etc/passwd", "/.history/lock",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_pages_own_files(client: Client, path: str) -> None:
    status, _, text = client.get(path)
    assert status == 404
    assert SECRET not in text
    assert "root:" not in text


@pytest.mark.parametrize(
    "name",
    ["../secret.csv", "/etc/passwd", "locates.csv/../../x.csv", "plan.gpkg", "", None, 3, []],
)
def test_only_the_sites_own_tables_are_written(client: Client, folder: Path, name: Any) -> None:
    before = sorted(path.name for path in folder.parent.rglob("*.csv"))
    body = {"op": uuid4().hex, "file": name, "edits": [{"values": {"mark": "E"}}]}
    assert client.ask("POST", "/rows", json.dumps(body).encode())[0] == 400
    assert sorted(path.name for path in folder.parent.rglob("*.csv")) == before


@pytest.mark.parametrize(
    "path", ["referral.letter", "../x", "site.name.x.y", "accuracy]", "terrain.file", "", 7,
             "site.nonsense", "nonsense", "pipe.0.nonsense", "pipe.name", "start.0.depth",
             "pipe.99999.from", "site", "accuracy"],
)  # fmt: skip
def test_only_settings_with_a_field_are_written(client: Client, path: Any) -> None:
    body = {"op": uuid4().hex, "edits": [{"path": path, "value": "/etc/passwd", "seen": None}]}
    assert client.ask("POST", "/settings", json.dumps(body).encode())[0] == 400


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"{", b"\xff", b"null", b'{"op": "short"}', b'{"op": 12345678}',
     b'{"op": "12345678", "file": "locates.csv"}',
     b'{"op": "12345678", "file": "locates.csv", "edits": []}',
     b'{"op": "12345678", "file": "locates.csv", "edits": [{"values": {"mark": 3}}]}',
     b'{"op": "12345678", "file": "locates.csv", "edits": [{"values": {}, "base": 3}]}',
     b"[" * 100_000],
)  # fmt: skip
def test_what_the_page_never_sends_is_refused(client: Client, folder: Path, body: bytes) -> None:
    before = (folder / "locates.csv").read_bytes()
    for path in ("/rows", "/settings", "/plan", "/undo", "/outside"):
        assert client.ask("POST", path, body)[0] == 400
    assert (folder / "locates.csv").read_bytes() == before


def test_bodies_are_limited_by_what_they_say_and_by_what_they_are(client: Client) -> None:
    assert client.ask("POST", "/rows", b"x", content_length=str(LARGEST_BODY + 1))[0] == 413
    assert client.ask("POST", "/points", b"x", content_length=str(LARGEST_UPLOAD + 1))[0] == 413
    chunk = b"%x\r\n%s\r\n" % (LARGEST_BODY, b" " * LARGEST_BODY)
    streamed = {"content_length": "", "transfer_encoding": "chunked"}
    status, _, _ = client.ask("POST", "/rows", chunk + chunk + b"0\r\n\r\n", **streamed)
    assert status == 413
    status, _, text = client.ask("POST", "/points?name=a.csv", b" " * (LARGEST_BODY + 1))
    assert (status, "no table" in text) == (422, True)


def test_a_value_is_one_line_of_a_bounded_length(client: Client, folder: Path) -> None:
    values = {"mark": "E", "footage": "45", "depth": "3", "note": "a\r\n=cmd\x00\u2028b"}
    body = {"op": uuid4().hex, "file": "locates.csv", "edits": [{"values": values}]}
    assert client.ask("POST", "/rows", json.dumps(body).encode())[0] == 200
    assert (folder / "locates.csv").read_text().splitlines()[-1].endswith("a  =cmd  b")
    body["edits"] = [{"values": {"note": "x" * 20_001}}]
    assert client.ask("POST", "/rows", json.dumps(body).encode())[0] == 400


@pytest.mark.parametrize("path", ["pipe.999.from", "boundary.7.line", "pipe.999"])
def test_an_entry_past_the_end_of_a_list_is_no_fault_of_the_program(
    client: Client, folder: Path, path: str
) -> None:
    before = (folder / "site.toml").read_bytes()
    body = {"op": uuid4().hex, "edits": [{"path": path, "value": None, "seen": None}]}
    if path.count(".") == 2:
        body["edits"] = [{"path": path, "value": "20", "seen": None}]
        status, _, text = client.ask("POST", "/settings", json.dumps(body).encode())
        assert (status, "entries" in text) == (422, True)
    else:
        assert client.ask("POST", "/settings", json.dumps(body).encode())[0] == 200
    assert (folder / "site.toml").read_bytes() == before


@pytest.mark.parametrize("value", ["nonsense = 1\n", "from = 1\n[x]\n", "from"])
def test_a_whole_entry_has_only_keys_of_the_format(client: Client, value: str) -> None:
    body = {"op": uuid4().hex, "edits": [{"path": "pipe.1", "value": value, "seen": None}]}
    assert client.ask("POST", "/settings", json.dumps(body).encode())[0] == 400


def test_columns_and_properties_the_format_has_not_are_refused(
    client: Client, folder: Path
) -> None:
    before = (folder / "locates.csv").read_bytes()
    edits = [{"values": {"footage": "3", "nonsense": "1"}}]
    rows = {"op": uuid4().hex, "file": "locates.csv", "edits": edits}
    assert client.ask("POST", "/rows", json.dumps(rows).encode())[0] == 400
    plan = {"op": uuid4().hex, "kind": "curb", "properties": {"nonsense": "1"}, "places": []}
    assert client.ask("POST", "/plan", json.dumps(plan).encode())[0] == 400
    assert (folder / "locates.csv").read_bytes() == before


# ── whose page it is, and who waits ──────────────────────────────────────────────────────────────


def test_another_sites_page_saves_nothing_here(client: Client, folder: Path) -> None:
    assert client.save(x_entry_site="0" * 32) == 403
    assert client.save(x_entry_site="") == 403
    assert not saved(folder)


def test_a_moved_folder_is_the_same_site_and_a_copied_one_another(tmp_path: Path) -> None:
    one = tmp_path / "a" / "site"
    two = tmp_path / "b" / "site"
    for each in (one, two):
        (each / ".history").mkdir(parents=True)
    first, other = know_site(one), know_site(two)
    assert first.id != other.id
    assert know_site(one).id == first.id
    shutil.copytree(one, tmp_path / "c" / "site")
    assert know_site(tmp_path / "c" / "site").id not in (first.id, other.id)
    one.rename(tmp_path / "moved")
    assert know_site(tmp_path / "moved").id == first.id


def test_a_site_is_served_where_it_was_before_and_there_too(
    sketch: Path, keys: Path, client: Client
) -> None:
    with served(sketch, keys, port=None) as first:
        pass
    with served(sketch, keys, port=None) as again:
        assert again.address == first.address
    with served(sketch, keys, port=0) as other:
        assert other.address != first.address
        both = Client(other)
        page = both.get("/")[2]
        assert first.address in page
        both.host = first.address.removeprefix("http://")
        assert both.get("/state")[0] == 200
    assert client.get("/state")[0] == 200


@pytest.mark.parametrize("which", ["server", "shared"], ids=["plain", "TLS"])
@pytest.mark.parametrize("begun", [b"", b"GET / HTTP/1.1\r\nhost: x\r\n"], ids=["silent", "half"])
def test_half_open_connections_keep_nobody_out(
    which: str, begun: bytes, request: pytest.FixtureRequest
) -> None:
    running: Served = request.getfixturevalue(which)
    client = Client(running)
    held = [client.connect() for _ in range(100)]
    for one in held:
        one.connect()
        if begun:
            one.sock.sendall(begun)
    assert client.get("/join")[0] == 200
    for one in held:
        one.close()


def test_a_body_that_does_not_come_is_waited_for_so_long_alone(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.1)
    assert client.ask("POST", "/rows", b"{", content_length="100")[0] == 408


def test_a_header_that_does_not_come_ends_the_connection(
    server: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "_HEADER_SECONDS", 0.1)
    connection = Client(server).connect()
    connection.connect()
    connection.sock.sendall(b"GET / HT")
    with suppress(ConnectionResetError):
        assert connection.sock.recv(100) == b""
    connection.close()


# ── headers ──────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("path", ["/", "/state", "/static/entry.js", "/nothing", "/join"])
def test_every_answer_carries_the_policies(client: Client, path: str) -> None:
    _, told, _ = client.get(path)
    policy = dict(
        part.strip().partition(" ")[::2] for part in told["content-security-policy"].split(";")
    )
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in told["content-security-policy"]
    assert told["x-content-type-options"] == "nosniff"
    assert told["x-frame-options"] == "DENY"
    assert told["referrer-policy"] == "same-origin"
    assert told["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in told
    assert told["cache-control"] in ("no-store", "no-cache")


def test_a_refusal_carries_them_too(client: Client) -> None:
    assert "content-security-policy" in client.get("/", host="evil.example")[1]


# ── sharing ──────────────────────────────────────────────────────────────────────────────────────


def join(client: Client, link: str, **headers: str) -> tuple[int, dict[str, str], str]:
    return client.ask("POST", link.split(client.host, 1)[1], **headers)


def test_a_link_lets_one_device_in_once(shared: Served) -> None:
    assert shared.new_link is not None
    link = shared.new_link()
    client = Client(shared)
    assert client.scheme == "https"
    for path in ("/", "/state", "/versions", "/export/result", "/length?text=1"):
        assert client.get(path)[0] == 401
    path = link.split(client.host, 1)[1]
    assert "Join" in client.get(path)[2]  # looking spends nothing
    status, told, _ = join(client, link)
    assert status == 303
    cookie = told["set-cookie"]
    assert all(word in cookie for word in ("HttpOnly", "Secure", "SameSite=strict"))
    client.cookie = cookie.split(";")[0]
    assert client.get("/")[0] == 200
    again = join(Client(shared), link)
    assert again[0] == 403
    assert "used up" in again[2]
    assert "set-cookie" not in again[1]


def test_a_wrong_token_and_a_wrong_cookie_let_nobody_in(shared: Served) -> None:
    assert shared.new_link is not None
    shared.new_link()
    client = Client(shared)
    assert join(client, f"{shared.address}/join?token=guess")[0] == 403
    assert join(client, f"{shared.address}/join")[0] == 403
    client.cookie = f"{COOKIE}=guess"
    assert client.get("/state")[0] == 401
    client.cookie = 'x="; ' + COOKIE
    assert client.get("/state")[0] == 401


def test_joining_from_another_page_is_refused(shared: Served) -> None:
    assert shared.new_link is not None
    link = shared.new_link()
    client = Client(shared)
    assert join(client, link, origin="https://evil.example")[0] == 403
    assert join(client, link, origin="")[0] == 403
    assert join(client, link)[0] == 303


def test_a_device_that_joined_makes_a_link_for_the_next(shared: Served) -> None:
    assert shared.new_link is not None
    first = Client(shared)
    first.cookie = join(first, shared.new_link())[1]["set-cookie"].split(";")[0]
    first.read_page(first.get("/")[2])
    status, _, text = first.ask("POST", "/link", b"{}")
    assert status == 200
    answer = json.loads(text)
    assert answer["code"].startswith("data:image/png;base64,")
    assert join(Client(shared), answer["address"])[0] == 303


def test_a_link_expires(shared: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    assert shared.new_link is not None
    link, now = shared.new_link(), time.monotonic()
    monkeypatch.setattr(guard, "monotonic", lambda: now + guard.LINK_MINUTES * 60 + 1)
    status, _, text = join(Client(shared), link)
    assert (status, "used up or too old" in text) == (403, True)


def test_devices_that_joined_are_listed_and_can_be_turned_out(shared: Served) -> None:
    assert shared.new_link is not None
    both = [Client(shared), Client(shared)]
    for one, agent in zip(both, ("Mozilla/5.0 (Linux; Android 14)", "x"), strict=True):
        told = join(one, shared.new_link(), user_agent=agent)[1]
        one.cookie = told["set-cookie"].split(";")[0]
        one.read_page(one.get("/")[2])
    first, other = both
    listed = json.loads(first.get("/devices")[2])["devices"][-2:]
    assert [(one["kind"], one["own"]) for one in listed] == [("Android", True), ("device", False)]
    assert other.cookie.split("=")[1] not in json.dumps(listed)  # nobody learns another's secret
    body = json.dumps({"device": listed[1]["id"]}).encode()
    assert first.ask("POST", "/turn-out", body)[0] == 200
    assert other.get("/state")[0] == 401
    assert other.save() == 401
    assert first.get("/state")[0] == 200
    assert first.ask("POST", "/turn-out", body)[0] == 404


def test_without_sharing_there_are_no_links(server: Served, client: Client) -> None:
    assert server.new_link is None
    assert client.ask("POST", "/link", b"{}")[0] == 409
    assert server.address.startswith("http://127.0.0.1:")
