"""Every error this package raises on purpose.

LateralMapError
├── SiteError         the site folder cannot be used as written; .faults lists every fault found
├── FrameError        a coordinate system that cannot carry a site
├── AdjustmentError   the readings cannot become a route
│   └── ImpossibleError   places lie farther apart than the footage between them; .site holds them
├── AnalysisError     a question asked of a route that it cannot answer
└── ExportError       a file that could not be written
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any, Self


@dataclass(frozen=True, slots=True)
class Key:
    """A key or column that a fault speaks of: of ``table``, or of the fault's own where empty.

    As text it is what stands in the file; a form has a label for it.
    """

    name: str
    table: str = ""

    def __str__(self) -> str:
        return f"[{self.table}] {self.name} in site.toml" if self.table else self.name


@dataclass(frozen=True, slots=True)
class Either:
    """Words for whoever has the file, and for whoever has a form and sees no file."""

    file: str
    form: str

    def __str__(self) -> str:
        return self.file


class Told(str):
    """A fault's words: as text what is said of the file; ``in_form`` says it of a form's fields."""

    __slots__ = ("parts",)

    parts: tuple[str | Key | Either, ...]

    def __new__(cls, *parts: str | Key | Either) -> Self:
        """Join the parts."""
        told = super().__new__(cls, "".join(map(str, parts)))
        told.parts = parts
        return told

    def __getnewargs__(self) -> tuple[Any, ...]:
        return self.parts

    def in_form(self, label: Callable[[Key], str]) -> str:
        """Return the words with each key called as ``label`` has it."""
        said = []
        for part in self.parts:
            if isinstance(part, Key):
                said.append(label(part))
            else:
                said.append(part.form if isinstance(part, Either) else part)
        return "".join(said)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with what was given: place, value, what was expected, next step.

    ``row`` counts as a spreadsheet does: the header is row 1; in site.toml and plan.geojson it is
    the line. ``field`` is a column or a dotted TOML key. Any part may be empty where it does not
    apply.
    """

    problem: str
    remedy: str = ""
    file: str = ""
    row: int | None = None
    field: str = ""

    @property
    def words(self) -> str:
        """What is wrong and what would be right, without the place."""
        return f"{self.problem}; {self.remedy}" if self.remedy else self.problem

    def in_form(self, label: Callable[[Key], str]) -> str:
        """What is wrong and what would be right, in the words of a form's fields."""
        both = (self.problem, self.remedy)
        said = (one.in_form(label) if isinstance(one, Told) else one for one in both)
        return "; ".join(filter(None, said))

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            word = "line" if self.file.endswith((".toml", ".geojson")) else "row"
            place = f"{place} {word} {self.row}".strip()
        if self.field:
            place = f"{place}, {self.field}" if place else self.field
        return f"{place}: {self.words}" if place else self.words


class LateralMapError(Exception):
    """Base of every error raised on purpose; the command line shows it without a traceback."""


class _FaultsError(LateralMapError):
    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def __reduce__(self) -> tuple[Any, ...]:
        # A worker process hands its error over: made again from the words alone it would take
        # each letter for a fault.
        return type(self), (self.faults,)


class SiteError(_FaultsError):
    """The site folder cannot be used as written; ``faults`` holds all of them."""

    @classmethod
    def of(
        cls, problem: str, remedy: str = "", file: str = "", row: int | None = None, field: str = ""
    ) -> Self:
        """Return the error of one fault, given by its parts."""
        return cls(Fault(problem, remedy, file, row, field))


class AdjustmentError(_FaultsError):
    """The readings are well formed but cannot become a route."""


class ImpossibleError(AdjustmentError):
    """Places lie farther apart than the footage between them; ``site`` is what says so."""

    def __init__(self, faults: Fault | Iterable[Fault], site: Any) -> None:
        self.site = site
        super().__init__(faults)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.faults, self.site)


class FrameError(LateralMapError):
    """A coordinate system that cannot carry a site: what is wrong, what is right where known."""

    def __init__(self, problem: str, remedy: str = "") -> None:
        self.problem, self.remedy = problem, remedy
        super().__init__(f"{problem}; {remedy}" if remedy else problem)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.problem, self.remedy)


class AnalysisError(LateralMapError):
    """A question asked of a route that it cannot answer."""


class ExportError(LateralMapError):
    """A file that could not be written."""


class FaultCollector:
    """Gathers faults so that one run reports all of them."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def add(self, fault: Fault) -> None:
        """Keep one fault."""
        self.faults.append(fault)

    @contextmanager
    def place(self, *, file: str = "", row: int | None = None, field: str = "") -> Iterator[None]:
        """Attach a place to whatever ``SiteError`` the body raises, and go on."""
        try:
            yield
        except SiteError as error:
            for fault in error.faults:
                self.add(
                    replace(
                        fault,
                        file=fault.file or file,
                        row=row if fault.row is None else fault.row,
                        field=fault.field or field,
                    )
                )

    def raise_if_any(self) -> None:
        """Raise one ``SiteError`` with every fault gathered so far, if there is any."""
        if self.faults:
            raise SiteError(self.faults)
