"""Writes the tables of docs/reference/site-format.md from the site format's own declarations.

What stands between ``<!-- table: NAME -->`` and ``<!-- end -->`` is theirs. ``--check`` says
whether the page is so.
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Mapping
from pathlib import Path

from lateral_map.reading.plan import PLAN_KINDS, FeatureProperties
from lateral_map.reading.vocabulary import VOCABULARY, Described, describe

PAGE = Path(__file__).parents[1] / "docs" / "reference" / "site-format.md"
_TABLE = re.compile(r"(<!-- table: (?P<name>[\w.]+) -->\n).*?(<!-- end -->)", re.DOTALL)
_LEAST_SD_M, _MOST_SD_M = 1e-5, 1e5
_WORDS = {
    "length": "length",
    "number": "number",
    "angle": "degrees",
    "text": "text",
    "lines": "text",
    "point": "a point's name",
    "line": "a line's name",
    "date": "date",
    "flag": "yes or no",
    "span": "number, or [least, most]",
}


def page(text: str) -> str:
    """Return the page with its tables as they should be."""
    return _TABLE.sub(lambda match: match[1] + table(match["name"]) + match[3], text)


def table(name: str) -> str:
    if name == "kinds":
        rows = [
            f"| {kind.shape} | `{key}` | {kind.words or kind.title + '.'} | "
            + ", ".join(f"`{one}`" for one in kind.properties)
            + " |"
            for key, kind in PLAN_KINDS.items()
        ]
        return lines("| geometry | kind | what it is | other properties |", rows)
    words: Mapping[str, Described]
    words = describe(FeatureProperties) if name == "properties" else VOCABULARY[name]
    head = (
        "| column |"
        if name.endswith(".csv")
        else "| property |"
        if name == "properties"
        else "| key |"
    )
    rows = [
        f"| `{word.name}` | {word.description} | {written(word)} | "
        f"{'needed' if word.required else word.default} |"
        for word in words.values()
    ]
    return lines(f"{head} what it is | written as | left out |", rows)


def lines(head: str, rows: list[str]) -> str:
    rule = "|".join(" --- " if part else "" for part in head.split("|"))
    return "\n".join([head, rule, *rows]) + "\n"


def written(word: Described) -> str:
    """Return how a value is written: its sort, its bounds, its words."""
    if word.choices:
        return ", ".join(word.choices) + (", or other words" if word.free else "")
    kind = {"size": "size", "xy": "number"}.get(word.unit, _WORDS[word.kind])
    low, high = (
        (-math.inf, math.inf) if word.bounds is None else (word.bounds.low, word.bounds.high)
    )
    if word.bounds is None or low == -high:
        return kind if math.isinf(high) or word.kind == "length" else f"{kind}, {low:g} to {high:g}"
    # A spread's own bounds keep the sums sound; only that it is above 0 is worth a word.
    low, above = (0.0, True) if low == _LEAST_SD_M else (low, word.bounds.above)
    if high >= _MOST_SD_M:
        return f"{kind}, {'above' if above else 'at least'} {low:g}"
    behind = " m" if word.kind == "length" else ""
    return f"{kind}, {'above ' if above else ''}{low:g} to {high:g}{behind}"


def main() -> int:
    text = PAGE.read_text(encoding="utf-8")
    if "--check" in sys.argv:
        return 0 if text == page(text) else 1
    PAGE.write_text(page(text), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
