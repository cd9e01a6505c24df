"""Flags: one-line labels hung from points along a line, placed so that nothing overlaps.

Each flag's staff stands at its point and its text starts at the staff, running right. Placing from
right to left, a flag goes one lane farther out than any flag standing under its own text, so no
text meets another and no staff passes through a text. Every flag starts with its shortest wording;
where even those need more lanes than there are, neighbours of one kind join. Then each takes the
fullest wording that keeps everything within the lanes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

# Trying wordings costs the square of the number of flags; past this many they stay short.
_MOST_LENGTHENED: Final = 120


@dataclass(frozen=True, slots=True)
class Flag:
    """A label for the point at ``at`` (any unit of length), its ``wordings`` fullest first.

    ``joins`` says whether it may be shown as one label with a neighbour; ``names`` are the short
    names of what it stands for, in order. Flags of greater ``weight`` are lengthened first.
    """

    at: float
    wordings: tuple[str, ...]
    names: tuple[str, ...]
    joins: bool = True
    bold: bool = False
    key: str = ""
    weight: int = 0


@dataclass(frozen=True, slots=True)
class PlacedFlag:
    """A flag with the wording chosen and its lane, 0 being nearest the line."""

    flag: Flag
    text: str
    lane: int
    width: float


Measure = Callable[[str, bool], float]


def place_flags(
    flags: Iterable[Flag], *, lanes: int, right: float, gap: float, measure: Measure
) -> tuple[PlacedFlag, ...]:
    """Place flags in at most ``lanes`` lanes, left of ``right``; left to right in the answer.

    ``measure(text, bold)`` is a text's width in the unit of ``Flag.at``; ``gap`` is kept after it.
    Flags that may not join can go past ``lanes`` where nothing else is possible.
    """
    row = _Row(lanes, right, gap, measure)
    order = sorted(flags, key=lambda flag: flag.at)[::-1]
    texts = row.shortest(order)
    if len(texts) <= _MOST_LENGTHENED:
        row.lengthen(texts)
    return tuple(reversed(row.placed(texts)))


Text = tuple[Flag, str]


class _Row:
    """The room flags are placed in; lists of (flag, text) run from right to left."""

    def __init__(self, lanes: int, right: float, gap: float, measure: Measure) -> None:
        self.lanes, self.right, self.gap, self.measure = lanes, right, gap, measure

    def placed(self, texts: Sequence[Text]) -> list[PlacedFlag]:
        placed: list[PlacedFlag] = []
        for flag, text in texts:
            placed.append(self._hung(flag, text, placed))
        return placed

    def shortest(self, order: Sequence[Flag]) -> list[Text]:
        """Give each flag its shortest wording, joining neighbours of one kind past the lanes."""
        placed: list[PlacedFlag] = []
        for flag in order:
            hung = self._hung(flag, flag.wordings[-1], placed)
            while hung.lane >= self.lanes and hung.flag.joins:
                # The nearest flag of its kind to the right, if that may join.
                kin = (one for one in reversed(placed) if one.flag.key == hung.flag.key)
                other = next(kin, None)
                if other is None or not other.flag.joins:
                    break
                placed.remove(other)
                names = (*hung.flag.names, *other.flag.names)
                alike = len(set(names)) == 1
                text = f"{len(names)} {names[0]}s" if alike else f"{names[0]}–{names[-1]}"
                joined = replace(hung.flag, names=names, wordings=(text,))
                hung = self._hung(joined, text, placed)
            placed.append(hung)
        return [(hung.flag, hung.text) for hung in placed]

    def lengthen(self, texts: list[Text]) -> None:
        """Give each flag, in place, the fullest wording that keeps all of them within the lanes.

        The weightiest come first; among equals each takes one step before any takes the next.
        """
        most = max(self.lanes, 1 + max((hung.lane for hung in self.placed(texts)), default=0))
        for weight in sorted({flag.weight for flag, _ in texts}, reverse=True):
            equals = [index for index, (flag, _) in enumerate(texts) if flag.weight == weight]
            equals.reverse()  # from left to right
            while equals:
                lengthened = []
                for index in equals:
                    flag, shown = texts[index]
                    step = flag.wordings.index(shown)
                    if step == 0:
                        continue
                    longer = (flag, flag.wordings[step - 1])
                    tried = self.placed([*texts[:index], longer, *texts[index + 1 :]])
                    changed, *left = tried[index:]
                    within = all(hung.lane < most for hung in (changed, *left))
                    if within and changed.flag.at + changed.width <= self.right:
                        texts[index] = longer
                        lengthened.append(index)
                equals = lengthened

    def _hung(self, flag: Flag, text: str, placed: Sequence[PlacedFlag]) -> PlacedFlag:
        width = self.measure(text, flag.bold)
        under = flag.at + width + self.gap
        lane = 1 + max((hung.lane for hung in placed if hung.flag.at < under), default=-1)
        return PlacedFlag(flag, text, lane, width)
