"""From a folder as far as it has been entered to the best report it can give.

A row that cannot be used yet must not take the picture away from those that can: it is left out,
named, and the rest is solved. Every fault is kept, with its own file, row and field.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from lateral_map.errors import (
    AdjustmentError,
    AnalysisError,
    Fault,
    FrameError,
    ImpossibleError,
    SiteError,
)
from lateral_map.model.results import Report
from lateral_map.reading.folder import load_site
from lateral_map.report import build_report
from lateral_map.web.disk import encoding_of
from lateral_map.web.parts import PLAN, SETTINGS, TABLES, read_plan, read_table
from lateral_map.web.settings import LISTS, change_setting
from lateral_map.words.sayings import Saying, say_impossible

_ROUNDS: Final = 4
_COPIED: Final = (SETTINGS, *TABLES, PLAN, "plan.gpkg")
_FEATURE: Final = re.compile(r"feature (?P<number>\d+)")
_ENTRY: Final = re.compile(r"^(?P<name>\w+)\[(?P<number>\d+)\]")
_STAND_IN: Final = {"start.x": "0", "start.y": "0", "run.end_footage": "1"}


@dataclass(frozen=True, slots=True)
class Solved:
    """What a folder gives: a report if any, and what is wrong with what it was made without.

    ``plan_only`` is True where the start or the whole run is still missing: the report's route then
    means nothing and only its plan is to be shown. ``says`` is what would explain readings that are
    impossible.
    """

    report: Report | None
    faults: tuple[Fault, ...]
    plan_only: bool = False
    says: tuple[Saying, ...] = ()


def solve(folder: Path) -> Solved:
    """Solve a folder, leaving out what is faulty or cannot be where it says it is."""
    try:
        return Solved(build_report(load_site(folder)), ())
    except (SiteError, AdjustmentError) as error:
        faults = error.faults
        says = say_impossible(error) if isinstance(error, ImpossibleError) else ()
    except (AnalysisError, FrameError) as error:
        return Solved(None, (Fault(str(error)),))
    with tempfile.TemporaryDirectory(prefix="lateral-map-") as name:
        copy = Path(name)
        for path in folder.iterdir():
            if path.name.casefold() in _COPIED:
                shutil.copyfile(path, copy / path.name.casefold())
        return replace(_solve_rest(folder, copy, faults), says=says)


def _solve_rest(folder: Path, copy: Path, faults: tuple[Fault, ...]) -> Solved:
    """Solve a copy without what the faults name, round after round while there are new ones."""
    newest, runs = faults, False
    for _ in range(_ROUNDS):
        if not _leave_out(copy, newest):
            break
        try:
            site = load_site(copy, named_in=folder)
            runs = True
            return Solved(build_report(site), faults)
        except (SiteError, AdjustmentError) as error:
            newest = error.faults
            faults = tuple(dict.fromkeys([*faults, *newest]))
        except (AnalysisError, FrameError) as error:
            return Solved(None, (*faults, Fault(str(error))))
    return (
        Solved(None, faults) if runs else Solved(_plan_alone(folder, copy), faults, plan_only=True)
    )


def _plan_alone(folder: Path, copy: Path) -> Report | None:
    """Return a report whose plan can be shown though nothing says where the run is yet."""
    if not (copy / SETTINGS).exists():
        return None
    try:
        text = _text(copy / SETTINGS)
        for path in ("start.point", "start.lat", "start.lon"):
            text = change_setting(text, path, None)
        for path, value in _STAND_IN.items():
            text = change_setting(text, path, value)
        (copy / SETTINGS).write_text(text, encoding="utf-8")
        for table in set(TABLES) - {"sketch.csv"}:
            (copy / table).unlink(missing_ok=True)
        return build_report(load_site(copy, named_in=folder))
    except (ValueError, SiteError, AdjustmentError, AnalysisError, FrameError):
        return None


def _leave_out(copy: Path, faults: Iterable[Fault]) -> bool:
    """Take what the faults name out of the copy; False where nothing of it can be taken out.

    A row is blanked, not removed, so that the rows below it keep their numbers.
    """
    taken = False
    for file in {fault.file for fault in faults}:
        path, these = copy / file, [fault for fault in faults if fault.file == file]
        if not path.is_file():
            continue
        before = _text(path)
        after = _without(file, before, these)
        if after != before:
            path.write_text(after, encoding="utf-8", newline="")
            taken = True
    return taken


def _without(file: str, text: str, faults: list[Fault]) -> str:
    if file in TABLES:
        table = read_table(file, text)
        for number in {fault.row for fault in faults if fault.row is not None}:
            if table.header_row < number <= len(table.rows):
                table = table.with_row_cells(number, [""])
        return table.text()
    if file == SETTINGS:
        return _without_settings(text, [fault.field for fault in faults])
    return _without_features(text, faults) if file == PLAN else text


def _without_settings(text: str, fields: list[str]) -> str:
    paths = {path for field in fields if "." in (path := setting_path(field))}
    if any(path.startswith("picture") for path in paths):
        # Said of no picture, the rest of it would be one more fault.
        paths = {path for path in paths if not path.startswith("picture")}
        for table in ("picture", "picture_point"):
            text = change_setting(text, table, None)
    entries = {".".join(path.split(".")[:2]) for path in paths if path.split(".")[0] in LISTS}
    single = {path for path in paths if path.split(".")[0] not in LISTS}
    # From the last entry on, so that the places of those before it hold.
    for path in [
        *single,
        *sorted(entries, key=lambda entry: int(entry.split(".")[1]), reverse=True),
    ]:
        try:
            text = change_setting(text, path, None)
        except ValueError:
            return text
    return text


def setting_path(field: str) -> str:
    """Return the dotted path of a fault's field: pipe[2].size is pipe.1.size."""
    return _ENTRY.sub(lambda match: f"{match['name']}.{int(match['number']) - 1}", field)


def _without_features(text: str, faults: Iterable[Fault]) -> str:
    matches = [match for fault in faults if (match := _FEATURE.match(fault.field))]
    try:
        plan = read_plan(text)
    except ValueError:
        return text
    for number in sorted({int(match["number"]) for match in matches}, reverse=True):
        if number <= len(plan.features):
            plan = plan.without_feature(number - 1)
    return plan.text()


def _text(path: Path) -> str:
    content = path.read_bytes()
    return content.decode(encoding_of(content), errors="replace")
