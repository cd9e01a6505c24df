"""The same site gives the same bytes: on another processor, in another place, in another order.

A processor is stood in for by what differs between processors: which kernels the linear algebra
takes (OPENBLAS_CORETYPE), on how many threads, and which instructions numpy and the C library's
mathematics use.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
DEMOS = sorted(path.parent for path in (ROOT / "demo_sites").glob("*/site.toml"))
WORKER = Path(__file__).with_name("make_everything.py")

# Straight north, level, round numbers, nothing out of true: where the last digit alone would
# decide on which side of a tie something falls.
NORTH = {
    "site.toml": """format = 1
[site]
name = "Due north"
crs = "local"
unit = "ft"
[start]
x = 0.0
y = 0.0
depth = 4.0
ground = 100.0
azimuth = 0.0
[[pipe]]
from = 0.0
material = "clay"
size = 6
[[boundary]]
line = "curb"
inside = "owner"
outside = "city"
decides = true
[run]
end_footage = 60.0
end = "main"
""",
    "locates.csv": "mark,footage,depth,x,y\nA,20,4.4,0,20\nB,40,4.8,0,40\nC,60,5.2,0,60\n",
    "findings.csv": "footage,to,finding,severity\n20,,roots,moderate\n48,52,crack,severe\n",
    "bends.csv": "footage,turn,fall,how,note\n",
    "plan.geojson": """{"type": "FeatureCollection", "features": [
{"type": "Feature", "properties": {"kind": "curb", "name": "curb"}, "geometry":
 {"type": "LineString", "coordinates": [[-50.0, 50.0], [50.0, 50.0]]}},
{"type": "Feature", "properties": {"kind": "utility", "name": "gas", "utility": "gas"}, "geometry":
 {"type": "LineString", "coordinates": [[0.0, 0.0], [0.0, 60.0]]}}]}
""",
}


def cpu_without_vectors() -> str:
    """Return numpy's switch for leaving out every instruction found beyond the least it needs."""
    return " ".join(np.show_config(mode="dicts")["SIMD Extensions"].get("found", ()))


FULL = "garage_slab north"  # every product of these, numbers and lines of the others
USUAL = {"PYTHONHASHSEED": "0", "TZ": "UTC", "LC_ALL": "C.UTF-8", "FULL": FULL}
ELSEWHERE = {
    "OPENBLAS_CORETYPE": "Haswell", "OPENBLAS_NUM_THREADS": "2", "PYTHONHASHSEED": "1",
    "TZ": "Asia/Kolkata", "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "FULL": FULL,
}  # fmt: skip
OLDER = {
    "OPENBLAS_CORETYPE": "Prescott", "OPENBLAS_NUM_THREADS": "1", "PYTHONHASHSEED": "77",
    "TZ": "America/Denver", "LC_ALL": "C", "NPY_DISABLE_CPU_FEATURES": cpu_without_vectors(),
    "GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX2,-FMA,-AVX512F",
}  # fmt: skip


def made(folder: Path, **environment: str) -> dict[str, str]:
    """Return the hash of every file made of the demo sites and of ``NORTH`` in an environment."""
    sites = [folder / demo.name for demo in DEMOS]
    for demo, site in zip(DEMOS, sites, strict=True):
        shutil.copytree(demo, site, ignore=shutil.ignore_patterns("out"))
    (folder / "north").mkdir()
    for name, text in NORTH.items():
        (folder / "north" / name).write_text(text, encoding="utf-8")
    sites.append(folder / "north")
    plain = {key: value for key, value in os.environ.items() if not key.startswith("OPENBLAS")}
    subprocess.run(
        [sys.executable, str(WORKER), *map(str, sites)],
        check=True,
        stdout=subprocess.DEVNULL,
        env=plain | environment,
        cwd=ROOT,
    )
    return {
        f"{site.name}/{path.name}": hashlib.sha256(path.read_bytes()).hexdigest()
        for site in sites
        for path in sorted((site / "out").iterdir())
    }


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    return made(tmp_path_factory.mktemp("usual"), **USUAL)


def test_everything_is_compared(usual: dict[str, str]) -> None:
    each = {name.split("/")[1] for name in usual}
    assert each >= {
        "result.json", "route.geojson", "route.gpkg", "route.kml", "marks.gpx", "route.dxf",
        "stations.csv", "route.xml", "map.html", "profile.svg", "profile.png", "dig.html",
        "sheet.pdf", "referral.pdf", "referral.zip", "owner.html", "owner.pdf",
    }  # fmt: skip


def test_other_kernels_threads_place_and_order(usual: dict[str, str], tmp_path: Path) -> None:
    other = made(tmp_path, **ELSEWHERE)
    assert other.keys() == usual.keys()
    assert [name for name in usual if other[name] != usual[name]] == []


def test_an_older_processor(usual: dict[str, str], tmp_path: Path) -> None:
    other = made(tmp_path, **OLDER)
    assert len({name.split("/")[0] for name in other}) == len(DEMOS) + 1
    assert [name for name in other if other[name] != usual[name]] == []
