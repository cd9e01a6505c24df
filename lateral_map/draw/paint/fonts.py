"""The one typeface of everything printed, and how wide its text is.

DejaVu Sans is taken from the installed matplotlib, so every machine sets the same letters in the
same places; it is embedded in every PDF. matplotlib itself is never loaded for it.
Widths are the font's own advance widths; kerning only ever makes a text narrower.
"""

from __future__ import annotations

from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from fontTools.ttLib import TTFont

FAMILY: Final = "Sheet Sans"
_FILES: Final = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
FACE_NAMES: Final = frozenset(_FILES.values())
# On a page, where no font is embedded: the same letters where the machine has them, else wide ones.
FAMILIES: Final = f'"{FAMILY}", "DejaVu Sans", Verdana, Arial, sans-serif'
_WIDEST_EM: Final = 1.35  # an emoji or an ideograph from another face


def font_css(scheme: str) -> str:
    """Return @font-face rules; their sources are ``scheme`` and a name for ``font_bytes``."""
    return "\n".join(
        f'@font-face {{ font-family: "{FAMILY}"; font-weight: {"bold" if bold else "normal"}; '
        f"src: url({scheme}:{name}) }}"
        for bold, name in _FILES.items()
    )


def font_bytes(name: str) -> bytes:
    """Return the file of one of ``FACE_NAMES``."""
    if name not in FACE_NAMES:
        raise KeyError(name)
    return _file(name).read_bytes()


@cache
def _file(name: str) -> Path:
    found = find_spec("matplotlib")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("matplotlib, which brings the typeface, is not installed")
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" / name


@lru_cache(maxsize=4096)
def text_width(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return how wide ``text`` is set at ``size_pt``, in points; never less than it turns out."""
    advances = _advances_em(bold)
    return size_pt * sum(advances.get(ord(letter), _WIDEST_EM) for letter in text)


def wrap(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Break ``text`` into lines no wider than ``width_pt``; a word too long for one is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size_pt, bold=bold) <= width_pt:
            line = longer
            continue
        if line:
            lines.append(line)
        line = ""
        for letter in word:
            if line and text_width(line + letter, size_pt, bold=bold) > width_pt:
                lines.append(line)
                line = ""
            line += letter
    return [*lines, line] if line else lines


def shorten(text: str, width_pt: float, size_pt: float, *, bold: bool = False) -> str:
    """Return ``text`` cut to ``width_pt``, ending in … where anything is missing."""
    if text_width(text, size_pt, bold=bold) <= width_pt:
        return text
    kept = text
    while kept and text_width(f"{kept}…", size_pt, bold=bold) > width_pt:
        kept = kept[:-1]
    return f"{kept.rstrip()}…"


def font_path(*, bold: bool = False) -> Path:
    """Return where the typeface's file lies."""
    return _file(_FILES[bold])


@cache
def _advances_em(bold: bool) -> dict[int, float]:
    """Return how wide the face sets each character it has, in em."""
    with TTFont(font_path(bold=bold), lazy=True) as face:
        metrics, units = face["hmtx"].metrics, face["head"].unitsPerEm
        return {code: metrics[name][0] / units for code, name in face.getBestCmap().items()}
