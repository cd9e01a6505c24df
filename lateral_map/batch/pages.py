"""The programme's own templates, scripts and styles."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader


@cache
def asset(name: str) -> str:
    """Return one of the pages' own files as text."""
    return files("lateral_map.batch").joinpath("assets", name).read_text("utf-8")


@cache
def page_template(name: str) -> Any:
    """Return the template of a page; whatever is set into it is escaped."""
    loader = PackageLoader("lateral_map.batch", "assets")
    return Environment(loader=loader, autoescape=True).get_template(name)
