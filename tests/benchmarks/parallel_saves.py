"""How much memory the entry page's server takes while many devices save at the same moment.

``python tests/benchmarks/parallel_saves.py`` prints the peak; it must stay under 500 MB.
"""

from __future__ import annotations

import http.client
import json
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from uuid import uuid4

sys.path.insert(0, str(Path(__file__).parents[1]))

from benchmarks.test_save_to_redraw import write_site

SAVES, LIMIT_MB = 50, 500


def main() -> int:
    """Serve a site of thirty nodes, save to it all at once, and tell the peak."""
    with tempfile.TemporaryDirectory() as name:
        write_site(Path(name) / "site")
        command = [sys.executable, "-m", "lateral_map", "enter", f"{name}/site", "--port", "0",
                   "--no-browser"]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None
            process.stdout.readline()
            host = process.stdout.readline().split("//")[-1].strip()
            page = ask(host, "GET", "/", b"", {})
            key = re.search(r'"key":"([\w-]{43})"', page)
            site = re.search(r'"id":"([0-9a-f]{32})"', page)
            assert key is not None
            assert site is not None
            headers = {"origin": f"http://{host}", "x-entry-key": key[1], "x-entry-site": site[1]}

            def save(number: int) -> bool:
                values = {"mark": f"P{number}", "footage": "100", "depth": "6.5"}
                body = {"op": uuid4().hex, "file": "locates.csv", "edits": [{"values": values}]}
                return f"P{number}" in ask(
                    host, "POST", "/rows", json.dumps(body).encode(), headers
                )

            with ThreadPoolExecutor(SAVES) as devices:
                done = sum(devices.map(save, range(SAVES)))
            status = Path(f"/proc/{process.pid}/status").read_text()
            process.terminate()
    peak = int(re.findall(r"VmHWM:\s+(\d+)", status)[0]) / 1024
    sys.stdout.write(f"{done} of {SAVES} saved, peak {peak:.0f} MB, at most {LIMIT_MB}\n")
    return 0 if done == SAVES and peak < LIMIT_MB else 1


def ask(host: str, method: str, path: str, body: bytes, headers: dict[str, str]) -> str:
    """Return an answer's text."""
    connection = http.client.HTTPConnection(host, timeout=300)
    connection.request(method, path, body or None, headers)
    text = connection.getresponse().read().decode()
    connection.close()
    return text


if __name__ == "__main__":
    sys.exit(main())
