"""Writes docs/reference/cli.md from the commands' real --help; --check says whether it is so."""

from __future__ import annotations

import sys
from pathlib import Path

from typer.testing import CliRunner

from lateral_map.cli.main import app

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "reference" / "cli.md"
HEAD = """# Command line

Every command answers `--help`; this page is those answers. Exit codes: 0 done, 1 a fault of the
program, 2 something given to it cannot be used (each fault on its own line, on stderr; nothing is
said where the reader of stdout has left), 130 stopped by Ctrl+C. Results go to stdout, progress to
stderr. `NO_COLOR=1` turns colours off.
"""


def page() -> str:
    names = [command.callback.__name__ for command in app.registered_commands if command.callback]
    sections = [section("lateral-map", [])]
    sections += [section(f"lateral-map {name}", [name]) for name in names]
    return HEAD + "".join(sections)


def section(title: str, words: list[str]) -> str:
    return f"\n## {title}\n\n```text\n{answer(words)}\n```\n"


def answer(words: list[str]) -> str:
    settings = {"COLUMNS": "96", "TERMINAL_WIDTH": "96", "NO_COLOR": "1", "TERM": "dumb"}
    said = CliRunner().invoke(app, [*words, "--help"], env=settings, prog_name="lateral-map")
    return "\n".join(line.rstrip() for line in said.stdout.strip().splitlines())


def main() -> int:
    if "--check" in sys.argv:
        return 0 if PAGE.exists() and PAGE.read_text(encoding="utf-8") == page() else 1
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
