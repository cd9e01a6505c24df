"""Names that one file says and another holds: plan points, plan lines, boundaries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from lateral_map.model.site import Boundary
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.plan import LINE_KINDS, SortedPlan
from lateral_map.reading.rows import TAPES, LocateRow
from lateral_map.reading.typed_rows import ReadRow
from lateral_map.reading.words import clean_name, suggest

POINTS: Final = ("reference",)


@dataclass(frozen=True, slots=True)
class PlanNames:
    """The plan's names. ``absent`` is True where the folder has no plan file at all."""

    plan: SortedPlan | None
    absent: bool

    def resolve(self, name: str, kinds: Iterable[str]) -> str | None:
        """Return the plan's own spelling of ``name``; letter case aside, it must be the same."""
        if self.plan is None or self.plan.find(name, kinds) is not None:
            return None if self.plan is None else name
        alike = [one for one in self.plan.names(kinds) if one.casefold() == name.casefold()]
        return alike[0] if len(alike) == 1 else None

    def trouble(self, name: str, kinds: tuple[str, ...], what: str) -> tuple[str, str] | None:
        """Return what is wrong with saying ``name``, and the next step; None where nothing is."""
        if self.plan is None:
            if not self.absent:
                return None  # the plan's own fault is reported; nobody can tell about its names
            return (
                f"{name!r} names a {what} of the plan, but there is no plan.geojson or plan.gpkg",
                "draw the plan, or leave the name out",
            )
        if self.resolve(name, kinds) is not None or self._is_lost(name):
            return None
        other = next((one for one in self.plan.features if one.name == name), None)
        if other is not None:
            return (
                f"{name!r} is a {other.kind} of the plan, not a {what}",
                f"name a {what}, or change its kind to {kinds[0]}",
            )
        known = self.plan.names(kinds)
        return f"the plan has no {what} called {name!r}", suggest(name, known) or f"draw the {what}"

    def _is_lost(self, name: str) -> bool:
        return self.plan is not None and name.casefold() in {
            lost.casefold() for lost in self.plan.lost
        }


def check_names(
    locates: Iterable[ReadRow[LocateRow]],
    boundaries: Iterable[Boundary],
    names: PlanNames,
    ledger: Ledger,
) -> None:
    """Report every name in locates.csv that the plan, or [[boundary]], does not hold."""
    bounding = {one.line for one in boundaries if one.kind == "line"}
    for row in locates:
        for tape in TAPES:
            _check_cell(row, f"{tape}_from", POINTS, "reference point", names, ledger)
        known = _check_cell(row, "line", LINE_KINDS, "line", names, ledger)
        if known is not None and "past" in row.cells and known not in bounding:
            ledger.fault(
                f"{known!r} is no [[boundary]], so nothing is past it",
                "add the [[boundary]] to site.toml, or fill offset instead",
                file=row.file,
                row=row.number,
                field="past",
            )


def _check_cell(
    row: ReadRow[LocateRow],
    column: str,
    kinds: tuple[str, ...],
    what: str,
    names: PlanNames,
    ledger: Ledger,
) -> str | None:
    """Report a cell whose name the plan does not hold; return the plan's own spelling."""
    name = clean_name(row.cells.get(column, ""))
    if not name:
        return None
    trouble = names.trouble(name, kinds, what)
    if trouble is not None:
        ledger.fault(*trouble, file=row.file, row=row.number, field=column)
    return names.resolve(name, kinds)
