"""XML files: built as a tree, so that whatever people wrote is escaped, and laid out one way."""

from __future__ import annotations

from typing import Final
from xml.etree import ElementTree as ET

from lateral_map.words.numbers import tidy

_LONGEST: Final = 2000
_ANY_LENGTH: Final = 1_000_000_000


def add(parent: ET.Element, tag: str, text: object = None, /, **attributes: str) -> ET.Element:
    """Add an element; ``text`` loses what XML cannot carry."""
    element = ET.SubElement(parent, tag, attributes)
    if text is not None:
        # Lists of coordinates are long, and must come out whole.
        element.text = tidy(str(text), _ANY_LENGTH)
    return element


def clean(text: str) -> str:
    """Return ``text`` without characters XML cannot carry, shortened where it is very long."""
    return tidy(text, _LONGEST)


def xml_bytes(root: ET.Element) -> bytes:
    """Return the document as UTF-8, one element a line."""
    ET.indent(root, " ")
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text + b"\n"
