"""The cover letter: the program's own template or the user's, rendered in a sandbox.

A template sees plain text, numbers and lists of them, nothing of the program; it reads no file,
imports nothing, and what it prints of other people's words is escaped.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from jinja2 import StrictUndefined, TemplateError, TemplateSyntaxError
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from lateral_map.errors import Fault, SiteError

_OWN: Final = Path(__file__).parent / "templates" / "letter.html"
_LONGEST: Final = 400_000
_MOST_COPIES: Final = 10_000


class _Sandbox(ImmutableSandboxedEnvironment):
    """A sandbox in which arithmetic cannot make a text, a list or a number without end either."""

    intercepted_binops = frozenset({"*", "**"})

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        """Work out a product or power of small numbers only."""
        small = all(isinstance(v, int | float) and abs(v) <= _MOST_COPIES for v in (left, right))
        if not small or (operator == "**" and abs(right) > 10):
            raise SecurityError(f"{operator} with such values is not for letters")
        return super().call_binop(context, operator, left, right)


def render_letter(facts: Mapping[str, object], template: tuple[str, str] | None = None) -> str:
    """Return the letter's HTML from (file name, text) of a template; the program's own by default.

    Raises ``SiteError`` with the file and line where the template cannot be used.
    """
    name, text = template or (_OWN.name, _OWN.read_text(encoding="utf-8"))
    sandbox = _Sandbox(autoescape=True, undefined=StrictUndefined, trim_blocks=True)
    try:
        return _joined(sandbox, text, facts)
    except TemplateSyntaxError as error:
        raise _refused(name, error.message or "it cannot be read", error.lineno) from None
    except SiteError as error:
        raise _refused(name, error.faults[0].problem, None) from None
    except (TemplateError, ArithmeticError, LookupError, TypeError, ValueError) as error:
        raise _refused(name, str(error) or type(error).__name__, _line_of(error)) from None


def _joined(sandbox: _Sandbox, text: str, facts: Mapping[str, object]) -> str:
    parts: list[str] = []
    size = 0
    for part in sandbox.from_string(text).generate(dict(facts)):
        size += len(part)
        if size > _LONGEST:
            raise SiteError(Fault("it prints more than a letter holds"))
        parts.append(part)
    return "".join(parts)


def _line_of(error: BaseException) -> int | None:
    step = error.__traceback__
    line = None
    while step is not None:
        if step.tb_frame.f_code.co_filename == "<template>":
            line = step.tb_lineno
        step = step.tb_next
    return line


def _refused(name: str, problem: str, row: int | None) -> SiteError:
    fields = "docs/how-to/refer-to-the-utility.md lists the fields a letter may use"
    return SiteError(Fault(f"the letter cannot be made: {problem[:200]}", fields, name, row))
