"""``lateral-map schema``: the JSON Schema of site.toml, for editors that check while typing."""

from __future__ import annotations

import json

import typer


def schema() -> None:
    """Print the JSON Schema of site.toml."""
    from lateral_map.reading.schema import site_schema

    typer.echo(json.dumps(site_schema(), indent=2))
