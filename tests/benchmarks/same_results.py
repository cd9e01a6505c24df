"""Does this version say the same as another, to the byte of result.json?

``python tests/benchmarks/same_results.py OUT`` writes result.json of the demonstration sites, of a
made-up programme's folders and of made-up jobs with every class of slip into the folder OUT, by the
package that PYTHONPATH names. ``--against OTHER`` names what differs from what another version
wrote into OTHER; exit code 1 where anything does.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from batch.programme import write_programme
from truth.jobs import draw_job
from truth.slips import CLASSES, plant

from lateral_map.errors import LateralMapError
from lateral_map.export.registry import make_products
from lateral_map.model.site import Site
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report


def said(load: Callable[..., Site], *given: object) -> bytes:
    """Return a site's result.json, or why there is none."""
    try:
        return make_products(build_report(load(*given)), ("result",))["result.json"]
    except LateralMapError as error:
        return str(error).encode()


def main() -> None:
    """Write, and compare where asked to."""
    parser = argparse.ArgumentParser()
    parser.add_argument("out", type=Path)
    parser.add_argument("--against", type=Path, help="the folder OUT of another version")
    parser.add_argument("--sites", type=int, default=100, help="folders of a made-up programme")
    parser.add_argument("--jobs", type=int, default=2, help="made-up jobs of every class of slip")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    results: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as scratch:
        folders = [
            path.parent
            for path in Path(__file__).parents[2].joinpath("demo_sites").glob("*/site.toml")
        ]
        for folder in sorted([*folders, *write_programme(Path(scratch), asked.sites)]):
            results[folder.name] = said(load_site, folder)
    for seed in range(asked.jobs):
        results[f"job {seed}"] = said(lambda seed: draw_job(seed)[0], seed)
        for slip in CLASSES:
            results[f"{slip} {seed}"] = said(lambda *of: plant(*of).site, slip, seed)
    other: list[str] = []
    for name, result in results.items():
        (asked.out / f"{name}.json").write_bytes(result)
        if asked.against and (asked.against / f"{name}.json").read_bytes() != result:
            other.append(name)
    differing = f", {len(other)} of them otherwise: {', '.join(other)}" if other else ""
    sys.stdout.write(f"{len(results)} results{differing}\n")
    sys.exit(1 if other else 0)


if __name__ == "__main__":
    main()
