"""The sandbox letters are filled in, and what their HTML may hold."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from traceback import walk_tb
from typing import Any, Final
from xml.etree import ElementTree as ET

import tinyhtml5
from jinja2 import StrictUndefined, TemplateError, TemplateSyntaxError
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from lateral_map.errors import SiteError

_LONGEST: Final = 400_000
_MOST_COPIES: Final = 10_000
# The layout calls itself once or more an element: 190 of them end the program.
_MOST_NESTED: Final = 50
_TAG: Final = re.compile(r"<(/?)([a-zA-Z][^\s/<>]{0,20})[^<>]*?(/?)>")
# Elements that hold nothing, or that the next of their kind ends: they nest within others only.
_ENDED_UNSAID: Final = frozenset({
    "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track",
    "wbr", "p", "li", "dt", "dd", "tr", "td", "th", "tbody", "thead", "tfoot", "caption",
    "colgroup", "option", "optgroup", "rb", "rt", "rtc", "rp",
})  # fmt: skip
_DROPPED: Final = ("script", "link", "meta", "base", "title", "plaintext")
_WRONG: Final = (
    TemplateError, ArithmeticError, LookupError, TypeError, ValueError, AttributeError,
    RecursionError, MemoryError,
)  # fmt: skip
_REASONS: Final[dict[type[BaseException], str]] = {
    RecursionError: "its macros call themselves without end",
    MemoryError: "it asks for more memory than a letter needs",
}


class _Sandbox(ImmutableSandboxedEnvironment):
    """A sandbox in which arithmetic cannot make a text, a list or a number without end either."""

    intercepted_binops = frozenset({"*", "**"})

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        """Work out a product or power of small numbers only."""
        small = all(isinstance(v, int | float) and abs(v) <= _MOST_COPIES for v in (left, right))
        if not small or (operator == "**" and abs(right) > 10):
            raise SecurityError(f"{operator} with such values is not for letters")
        return super().call_binop(context, operator, left, right)


def fill_template(text: str, facts: Mapping[str, object]) -> str:
    """Return a template filled with facts, in this process; raises ``SiteError``."""
    sandbox = _Sandbox(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    parts: list[str] = []
    size = 0
    try:
        for part in sandbox.from_string(text).generate(dict(facts)):
            size += len(part)
            if size > _LONGEST:
                raise _problem("it prints more than a letter holds")
            parts.append(part)
    except TemplateSyntaxError as error:
        raise _problem(error.message or "it cannot be read", error.lineno) from None
    except _WRONG as error:
        said = _REASONS.get(type(error)) or str(error) or type(error).__name__
        steps = reversed(list(walk_tb(error.__traceback__)))
        rows = (row for step, row in steps if step.f_code.co_filename == "<template>")
        raise _problem(said, next(rows, None)) from None
    return "".join(parts)


def enclose_letter(html: str) -> str:
    """Return a letter's HTML in one closed element, less what a letter on paper has no use for.

    Raises ``SiteError`` where it nests too deeply, which is mostly told before parsing, or
    draws one shape by another.
    """
    if _deepest_of_a_kind(html) > _MOST_NESTED:
        raise _problem("it nests too deeply")
    document = tinyhtml5.parse(html, namespace_html_elements=False)
    body = document.find("body")
    # The parser moves a style that leads the letter into the head.
    body[:0] = document.findall("head/style")
    waiting = [(body, 0)]
    while waiting:
        element, depth = waiting.pop()
        if depth > _MOST_NESTED:
            raise _problem("it nests too deeply")
        waiting.extend((child, depth + 1) for child in element)
        if isinstance(element.tag, str):
            element.tag = element.tag.rpartition("}")[2]
        if element.tag == "use":  # Each may draw others twice over: thirty of them have no end.
            raise _problem("<use> is not for letters; draw the shape itself")
        if element.tag in _DROPPED:
            element.tag, element.text = "span", ""
            element.attrib.clear()
    body.tag = "div"
    return ET.tostring(body, encoding="unicode", method="html")


def _deepest_of_a_kind(html: str) -> int:
    """Return how many elements of one name are open at once, counted in one pass over the text."""
    opened: Counter[str] = Counter()
    deepest = 0
    for end, name, ends_itself in _TAG.findall(html):
        tag = name.lower()
        if tag not in _ENDED_UNSAID and not ends_itself:
            opened[tag] = max(0, opened[tag] - 1) if end else opened[tag] + 1
            deepest = max(deepest, opened[tag])
    return deepest


def _problem(problem: str, row: int | None = None) -> SiteError:
    return SiteError.of(problem, row=row)
