"""The command, and a page shared over TLS."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from web.yard import PHONE, Yard, browser_context, served

from lateral_map.web import serve
from lateral_map.web.serve import NoNetworkError, network_address

COMMAND = [sys.executable, "-m", "lateral_map", "enter"]


@pytest.mark.skipif(sys.platform == "win32", reason="the other system ends programs otherwise")
def test_the_command_serves_until_it_is_ended(tmp_path: Path) -> None:
    folder = tmp_path / "new yard"
    with subprocess.Popen(
        [*COMMAND, str(folder), "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        assert "new yard" in process.stdout.readline()
        address = process.stdout.readline().removeprefix("Open ").strip()
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+", address)
        with urllib.request.urlopen(address) as page:
            assert b"What the readings say" in page.read()
        os.kill(process.pid, signal.SIGINT)
        assert process.wait(15) == 0
        assert "Traceback" not in process.stderr.read()
    assert [path.name for path in folder.iterdir()] == [".history"]


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, check=False)


def test_a_port_in_use_and_a_file_for_a_folder_are_said(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        done = run(str(tmp_path / "s"), "--no-browser", "--port", str(taken.getsockname()[1]))
    assert done.returncode == 2
    assert "cannot be listened on" in done.stderr
    (tmp_path / "file").write_text("")
    done = run(str(tmp_path / "file"), "--no-browser")
    assert done.returncode == 2
    assert "is a file" in done.stderr


def test_a_machine_on_no_network_cannot_share(monkeypatch: pytest.MonkeyPatch) -> None:
    class Nowhere(socket.socket):
        def connect(self, *_: object) -> None:
            raise OSError(101, "Network is unreachable")

    monkeypatch.setattr(serve.socket, "socket", Nowhere)
    with pytest.raises(NoNetworkError, match="no network"):
        network_address()


@pytest.mark.browser
def test_a_phone_joins_by_the_link_and_saves(
    browser: Browser, sketch: Path, keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "network_address", lambda: "127.0.0.2")
    how = {**PHONE, "ignore_https_errors": True}
    with served(sketch, keys, share=True) as server, browser_context(browser, **how) as context:
        assert server.new_link is not None
        page = context.new_page()
        page.goto(server.new_link())
        page.get_by_role("button", name="Join").click()
        page.wait_for_selector("body[data-ready]")
        page.close()
        yard = Yard(context, server.address)  # what it joined with holds for the device
        assert yard.page.evaluate("window.isSecureContext")
        yard.enter({"footage": "45", "depth": "3"})
        yard.tab("More")
        yard.panel().get_by_role("button", name="Make a link").click()
        expect(yard.panel().locator(".address")).to_contain_text("/join?token=")
        expect(yard.panel().locator("img.code")).to_be_visible()
        assert yard.complaints == []
    assert (sketch / "locates.csv").read_text().splitlines()[-1].startswith("E,45,3")
