"""Names and words as people write them: cleaned, matched, and the nearest right one suggested."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Final

from lateral_map.reading.limits import NAME_LETTERS, NOTE_LETTERS

LONGEST_NAME: Final = NAME_LETTERS.most
LONGEST_TEXT: Final = NOTE_LETTERS.most

# Not allowed in XML, so in no SVG, spreadsheet or PDF either: controls, lone surrogates,
# noncharacters.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_GAPS: Final = re.compile(r"[\s_-]+")
_SHORT: Final = 40
_MOST_LISTED: Final = 12


def clean_text(text: str) -> str:
    """Return free text with unprintable characters replaced and line ends made one kind."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _UNPRINTABLE.sub("\ufffd", text).strip()


def clean_name(text: str) -> str:
    """Return a name on one line, its spaces single, composed the one way (NFC)."""
    return " ".join(unicodedata.normalize("NFC", clean_text(text)).split())


def plain(word: str) -> str:
    """Return ``word`` as it is compared: 'Right of Way' and 'right-of-way' are right_of_way."""
    return _plain_word(word) if len(word) <= _SHORT else _compared(word)


def _compared(word: str) -> str:
    return _GAPS.sub("_", word.strip().casefold())


# The same few keys and kinds stand in every row and feature.
_plain_word = functools.lru_cache(4096)(_compared)


def nearest(word: str, choices: Iterable[str], closeness: float = 0.6) -> str | None:
    """Return the choice nearest to ``word``, or None where none is near (0 to 1, 1 the same)."""
    by_plain = {plain(choice): choice for choice in choices}
    found = get_close_matches(plain(word[:LONGEST_NAME]), by_plain, n=1, cutoff=closeness)
    return by_plain[found[0]] if found else None


def suggest(word: str, choices: Iterable[str], closeness: float = 0.6) -> str:
    """Return the next step for a word that is none of ``choices``: the nearest, else the list."""
    choices = list(choices)
    near = nearest(word, choices, closeness)
    if near is not None:
        return f"did you mean {near!r}?"
    return f"write {listed(choices)}" if choices else ""


def listed(choices: Iterable[str]) -> str:
    """Return choices as words: 'a, b or c'; shortened where there are many."""
    shown = [repr(choice) for choice in choices]
    if len(shown) > _MOST_LISTED:
        return f"one of {', '.join(shown[:_MOST_LISTED])} ... ({len(shown)} in all)"
    return " or ".join(part for part in (", ".join(shown[:-1]), shown[-1]) if part)
