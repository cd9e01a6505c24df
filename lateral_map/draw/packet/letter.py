"""The cover letter: the program's own template, or the user's in a sandbox and a process apart.

A template sees plain text, numbers and lists of them, nothing of the program; it reads no file,
imports nothing, and what it prints of other people's words is escaped. What it lays out
stays within the letter: its elements are closed, and no style or script reaches the pages after it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Final
from xml.etree import ElementTree as ET

import tinyhtml5

from lateral_map.draw.packet.sandbox import fill_template, fill_template_apart
from lateral_map.errors import Fault, SiteError

_REACHING: Final = ("style", "script", "link", "meta", "base", "title", "plaintext")
_OWN: Final = Path(__file__).parent / "templates" / "letter.html"


def render_letter(facts: Mapping[str, object], template: tuple[str, str] | None = None) -> str:
    """Return the letter's HTML from (file name, text) of a template; the program's own by default.

    Raises ``SiteError`` with the file and line where the template cannot be used.
    """
    if template is None:
        return fill_template(_OWN.read_text(encoding="utf-8"), facts)
    name, text = template
    try:
        return _kept_within(fill_template_apart(text, facts))
    except SiteError as error:
        (fault,) = error.faults
        fields = "docs/how-to/refer-to-the-utility.md lists the fields a letter may use"
        said = f"the letter cannot be made: {fault.problem[:200]}"
        raise SiteError(Fault(said, fields, name, fault.row)) from None


def _kept_within(html: str) -> str:
    """Return HTML with every element and comment closed and without what reaches outside it."""
    try:
        body = tinyhtml5.parse(html, namespace_html_elements=False).find("body")
        for element in body.iter():
            if isinstance(element.tag, str):
                element.tag = element.tag.rpartition("}")[2]
            if element.tag in _REACHING:
                element.tag, element.text = "span", ""
                element.attrib.clear()
        body.tag = "div"
        return ET.tostring(body, encoding="unicode", method="html")
    except RecursionError:
        raise SiteError(Fault("it nests too deeply", "keep it to a letter")) from None
