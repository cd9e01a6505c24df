"""Count the private functions that one place of their own file calls, file by file.

    python tests/layers/one_caller.py               the share, and the files with the most
    python tests/layers/one_caller.py adjust draw   each such function of those folders or files

Such a helper is worth its name where it says more than its body, or where its caller would be too
long without it. No test fails by this number: the aim is the reader, who should not have to jump.
"""

from __future__ import annotations

import ast
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "lateral_map"


@dataclass(frozen=True)
class Helper:
    """A private function of a module and how many places of its own file name it."""

    file: str
    line: int
    name: str
    lines: int
    uses: int


def helpers_of(path: Path) -> Iterator[Helper]:
    """Yield the private functions of a module; methods are their class's own."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    uses = Counter(node.id for node in ast.walk(tree) if isinstance(node, ast.Name))
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.name.startswith("_"):
            said = ast.get_docstring(node, clean=False)
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            length -= said.count("\n") + 1 if said else 0
            file = str(path.relative_to(PACKAGE))
            yield Helper(file, node.lineno, node.name, length, uses[node.name])


def main(wanted: list[str]) -> None:
    """Print the share, with the files that have most such helpers or the helpers themselves."""
    every = [one for path in sorted(PACKAGE.rglob("*.py")) for one in helpers_of(path)]
    single = [one for one in every if one.uses == 1]
    for one in single:
        if any(f"/{one.file}".startswith(f"/{each}") for each in wanted):
            print(f"{one.file}:{one.line} {one.name} ({one.lines} lines)")  # noqa: T201
    if not wanted:
        for file, count in Counter(one.file for one in single).most_common(20):
            print(f"{count:4} {file}")  # noqa: T201
    share = len(single) / len(every)
    print(f"{len(single)} of {len(every)} private functions have one caller ({share:.1%})")  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1:])
