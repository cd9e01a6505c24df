"""Faults and notices gathered while a folder is read."""

from __future__ import annotations

from collections import Counter
from typing import Final

from lateral_map.errors import Fault, FaultCollector, SiteError, Told
from lateral_map.reading.words import LONGEST_TEXT

_MOST_PER_FILE: Final = 200
# Of more faults of the same words in one file than this, so many are told.
_MOST_ALIKE: Final = 8
_TOLD_ALIKE: Final = 5


class Ledger(FaultCollector):
    """Gathers every fault, and what had to be assumed, so that one run reports them all."""

    def __init__(self) -> None:
        super().__init__()
        self.notices: list[str] = []

    def fault(
        self,
        problem: str,
        remedy: str = "",
        *,
        file: str = "",
        row: int | None = None,
        field: str = "",
    ) -> None:
        """Keep one fault, given by its parts."""
        self.add(Fault(problem, remedy, file=file, row=row, field=field))

    def notice(self, text: str) -> None:
        """Keep one thing the reader of a drawing should know, once."""
        if text not in self.notices:
            self.notices.append(text)

    def shorten(self, text: str, place: str) -> str:
        """Return a note no longer than drawings can carry, with a notice where it was cut."""
        if len(text) <= LONGEST_TEXT:
            return text
        self.notice(
            f"{place}: the note of {len(text):,} characters was cut to its first {LONGEST_TEXT:,}."
        )
        return f"{text[: LONGEST_TEXT - 1].rstrip()}…"

    def raise_if_any(self) -> None:
        """Raise one ``SiteError`` with every fault; a file of nothing but faults is cut short.

        What is wrong alike in very many places of a file is told of the first few and counted.
        """
        if not self.faults:
            return
        alike = Counter((fault.file, fault.words) for fault in self.faults)
        seen: Counter[tuple[str, str]] = Counter()
        count: Counter[str] = Counter()
        kept: list[Fault] = []
        for fault in self.faults:
            same = fault.file, fault.words
            seen[same] += 1
            told = fault
            if alike[same] > _MOST_ALIKE and seen[same] > _TOLD_ALIKE:
                if seen[same] > _TOLD_ALIKE + 1:
                    continue
                problem = fault.problem
                parts = problem.parts if isinstance(problem, Told) else (problem,)
                more = Told(f"{alike[same] - _TOLD_ALIKE} more places like this: ", *parts)
                told = Fault(more, fault.remedy, file=fault.file)
            count[fault.file] += 1
            if count[fault.file] <= _MOST_PER_FILE:
                kept.append(told)
        kept += [
            Fault(f"{total - _MOST_PER_FILE} more faults", "mend these first", file=file)
            for file, total in count.items()
            if total > _MOST_PER_FILE
        ]
        raise SiteError(kept)
