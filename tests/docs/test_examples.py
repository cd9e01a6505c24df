"""Every example in the documentation is read by the program's own readers, or runs."""

from __future__ import annotations

import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest
from docs.pages import TOP, Block, blocks

from lateral_map import load_site
from lateral_map.cli.main import COMMANDS

DEMO = TOP / "demo_sites" / "plain_lot"
_LEAST = """
format = 1
[site]
name = "An example"
crs = "EPSG:6499"
unit = "ft"
[start]
point = "cleanout"
[run]
end_footage = 93.0
"""


def folder(where: Path, site: str = _LEAST) -> Path:
    """Return a site folder with the plain lot's plan and nothing else."""
    shutil.copy(DEMO / "plan.geojson", where)
    (where / "site.toml").write_text(site, encoding="utf-8")
    return where


@pytest.mark.parametrize("block", blocks("toml"), ids=str)
def test_toml_is_read(block: Block, tmp_path: Path) -> None:
    whole = "format" in tomllib.loads(block.text)
    least = _LEAST
    if "[referral]" in block.text and "[[boundary]]" not in block.text:
        # Whose side the sender is on is a party that a boundary names.
        least += '[[boundary]]\nline = "curb"\ninside = "owner"\noutside = "city"\n'
    site = folder(tmp_path, block.text if whole else least + block.text)
    sketch = [one for one in blocks("csv", pages=(block.page,)) if one.title.endswith("sketch.csv")]
    if 'crs = "local"' in block.text and sketch:  # the page's own sketch, not the demo's plan
        (site / "plan.geojson").unlink()
        (site / "sketch.csv").write_text(sketch[0].text, encoding="utf-8")
    assert load_site(site).run.end_m > 0.0


@pytest.mark.parametrize("block", blocks("csv"), ids=str)
def test_tables_are_read(block: Block, tmp_path: Path) -> None:
    header = block.text.splitlines()[0].split(",")
    if "what" in header:
        local = _LEAST.replace("EPSG:6499", "local")
        (tmp_path / "site.toml").write_text(local, encoding="utf-8")
        (tmp_path / "sketch.csv").write_text(block.text, encoding="utf-8")
        assert load_site(tmp_path).plan.sketch is not None
        return
    table = "locates" if "mark" in header else "findings" if "finding" in header else "bends"
    curb = '[[boundary]]\nline = "curb"\n'
    (folder(tmp_path, _LEAST + curb) / f"{table}.csv").write_text(block.text, encoding="utf-8")
    assert len(getattr(load_site(tmp_path), table)) == len(block.text.splitlines()) - 1


@pytest.mark.parametrize("block", blocks("python"), ids=str)
def test_python_runs(block: Block, desk: Path) -> None:
    if "out/result.json" in block.text:
        subprocess.run(
            ["lateral-map", "draw", "demo_sites/plain_lot", "--only", "result"], check=True
        )
    exec(compile(block.text, str(block), "exec"), {})  # the page's own words


def test_every_block_says_what_it_is() -> None:
    unknown = [
        str(block)
        for block in blocks()
        if block.language not in {"console", "toml", "csv", "python", "html", "text", "bash"}
    ]
    assert unknown == []


def test_commands_are_all_in_the_reference() -> None:
    reference = (TOP / "docs" / "reference" / "cli.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"## lateral-map {command.__name__.replace('_', '-')}" in reference
