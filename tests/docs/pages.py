"""The documentation's pages as text, and what stands in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).parents[2]
PAGES = (
    TOP / "README.md",
    TOP / "DEVELOPERS.md",
    TOP / "demo_sites" / "README.md",
    *sorted((TOP / "docs").rglob("*.md")),
)

_FENCE = re.compile(
    r"^(?P<indent> *)```(?P<language>\w*)(?: title=\"(?P<title>[^\"]+)\")?\n"
    r"(?P<text>.*?)^(?P=indent)```$",
    re.MULTILINE | re.DOTALL,
)


@dataclass(frozen=True)
class Block:
    """A fenced block: what language, which file it stands for, its text."""

    page: Path
    line: int
    language: str
    title: str
    text: str

    def __str__(self) -> str:
        return f"{self.page.relative_to(TOP)}:{self.line}"


def blocks(*languages: str, pages: tuple[Path, ...] = PAGES) -> list[Block]:
    """Return the fenced blocks in the given languages, of any where none is given, in order."""
    return [
        block
        for page in pages
        for block in _blocks(page)
        if not languages or block.language in languages
    ]


def _blocks(page: Path) -> Iterator[Block]:
    text = page.read_text(encoding="utf-8")
    for match in _FENCE.finditer(text):
        line = text.count("\n", 0, match.start()) + 1
        yield Block(page, line, match["language"], match["title"] or "", match["text"])


def prose(page: Path) -> str:
    """Return a page less its fenced blocks."""
    return _FENCE.sub("", page.read_text(encoding="utf-8"))


def commands(block: Block) -> list[str]:
    """Return what a console block tells the reader to type."""
    return [line[2:] for line in block.text.splitlines() if line.startswith("$ ")]
