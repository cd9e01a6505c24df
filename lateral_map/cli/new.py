"""``lateral-map new``: a site folder to start from, which is itself a valid site."""

from __future__ import annotations

import datetime as dt
import inspect
import re
import textwrap
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Final

import typer

from lateral_map.errors import ExportError
from lateral_map.export.atomic import write_folder

_FILES: Final = ("site.toml", "locates.csv", "bends.csv", "findings.csv", "sketch.csv")
_TABLE: Final = re.compile(r"(?:# )?\[\[?(?P<name>\w+)\]\]?")
_KEY: Final = re.compile(r"(?:# )?(?P<name>\w+) = ")
_WIDTH: Final = 96
_LENGTH: Final = re.compile(r"<(-?\d+\.\d+)>")
# The example is written in feet; in metres its numbers are 0.3 of that, as round as before.
_SCALE: Final = {"ft": 1.0, "us_ft": 1.0, "m": 0.3}


class _Unit(StrEnum):
    ft = "ft"
    us_ft = "us_ft"
    m = "m"


def new(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="The folder to make.", readable=False)
    ],
    unit: Annotated[_Unit, typer.Option(help="What lengths are measured in.")] = _Unit.ft,
) -> None:
    """Start a site folder: commented templates that already pass check, to be filled in."""
    import tomlkit

    from lateral_map.cli.console import plain
    from lateral_map.reading.files import real_path
    from lateral_map.reading.words import LONGEST_NAME, clean_name

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ExportError(
            f"{folder}: is there already and not empty; nothing was changed. "
            "Give a folder that does not exist yet"
        )

    def in_unit(match: re.Match[str]) -> str:
        text = f"{float(match[1]) * _SCALE[unit]:.3f}".rstrip("0")
        return f"{text}0" if text.endswith(".") else text

    named = clean_name(real_path(folder).name.encode("utf-8", "replace").decode())
    words = {
        "<name>": tomlkit.string(named[:LONGEST_NAME].strip() or "site").as_string(),
        "<date>": dt.date.today().isoformat(),  # noqa: DTZ011 - the technician's own calendar
        "<unit>": unit.value,
        "<size>": "150" if unit == "m" else "6",
        "<zone>": "600 mm" if unit == "m" else "24 in",
    }
    contents = {}
    for name in _FILES:
        template = (Path(__file__).parent / "new_site" / name).read_text(encoding="utf-8")
        if name == "site.toml":
            template = _commented(template)
        for mark, word in words.items():
            template = template.replace(mark, word)
        contents[name] = _LENGTH.sub(in_unit, template).encode()
    write_folder(folder, contents)
    typer.echo(
        f"Made {plain(str(folder))}. Fill it in, then: lateral-map check {plain(str(folder))}"
    )


def _commented(template: str) -> str:
    """Return site.toml with what each table and key means, as the site format has it."""
    from lateral_map.reading.schema import table_models
    from lateral_map.reading.vocabulary import VOCABULARY

    models, lines, table = table_models(), [], ""
    for line in template.splitlines():
        header, key = _TABLE.fullmatch(line), _KEY.match(line)
        if header:
            table = header["name"]
            about = inspect.cleandoc(models[table][0].__doc__ or "").partition("\n\n")[0]
            said = about.partition(": ")[2]
            lines += [*_comment(f"{said[0].upper()}{said[1:]}"), line]
        elif key and table:
            word = VOCABULARY[table][key["name"]]
            said = word.description
            if not all(choice in said for choice in word.choices):
                said += f" One of: {', '.join(word.choices)}."
            if len(line) + len(said) > _WIDTH - 4:
                lines += [*_comment(said), line]
            else:
                lines.append(f"{line}  # {said}")
        else:
            lines.append(line)
    return "\n".join(lines) + "\n"


def _comment(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="# ", subsequent_indent="# ")
