"""Where a plan's captions are written on the paper: along lines, inside areas, beside marks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from shapely import box as shapely_box
from shapely.geometry import LineString, Point, Polygon

from lateral_map.draw.paint.fonts import text_width
from lateral_map.draw.paint.labels import Box, Placer, Wish
from lateral_map.draw.paint.svg import Canvas, Stroke
from lateral_map.draw.plan.scene import ALWAYS, OTHER, Mark
from lateral_map.draw.style import INK, PAPER, QUIET
from lateral_map.model.arrays import Floats

# With more marks on a plan than this that have a shorter caption, all of them take it.
_MOST_NAMED: Final = 14
# A caption that matters may be led so far away; any other stands beside its mark or nowhere.
_FAR_PT: Final = 230.0
_BESIDE_PT: Final = 20.0
_LINE_EM: Final = 1.2
_LONG_EM: Final = 11.0
_SAME_PLACE_PT: Final = 12.0
_SHARES: Final = (0.12, 0.88, 0.2, 0.8, 0.3, 0.7, 0.4, 0.6, 0.5)


@dataclass(frozen=True, slots=True)
class Text:
    """Lines of words, their middle on ``at``, turned clockwise; ``leader`` starts at the mark."""

    words: tuple[str, ...]
    at: tuple[float, float]
    turn_deg: float = 0.0
    bold: bool = False
    colour: str = INK
    leader: tuple[tuple[float, float], tuple[float, float]] | None = None


@dataclass(slots=True)
class Lettering:
    """What is to be written on a plan, and what its captions must keep off; all in points.

    ``lines`` pairs a caption with the parts of its line on the paper, ``areas`` with the area's
    shape; a mark has its place and half its size.
    """

    placer: Placer
    lines: list[tuple[str, list[Floats]]] = field(default_factory=list)
    areas: list[tuple[str, Polygon]] = field(default_factory=list)
    marks: list[tuple[Mark, tuple[float, float], float]] = field(default_factory=list)

    def written(self, size_pt: float) -> tuple[list[Text], int]:
        """Return every caption set at a size, and how many that matter found no room."""
        placer = self.placer.copy()
        texts: list[Text] = []
        asked: list[tuple[Text, float, int]] = []
        for words, lines in self.lines:
            longest_first = sorted(lines, key=lambda line: -round(LineString(line).length, 3))
            set_beside = (beside_line(placer, line, words, size_pt) for line in longest_first)
            if found := next(filter(None, set_beside), None):
                texts.append(found)
            else:
                middle = LineString(longest_first[0]).interpolate(0.5, normalized=True)
                asked.append((Text((words,), (middle.x, middle.y)), 2.0, OTHER))
        crowded = sum(bool(mark.short) for mark, *_ in self.marks) > _MOST_NAMED
        seen: list[tuple[str, tuple[float, float]]] = []
        for mark, at, half in self.marks:
            words = mark.short if crowded and mark.short else mark.caption
            # Once where two marks in one place bear the same name.
            again = (
                words == other and np.hypot(at[0] - x, at[1] - y) < _SAME_PLACE_PT
                for other, (x, y) in seen
            )
            if words and not any(again):
                seen.append((words, at))
                # A long one in two lines, as even as they can be.
                rows: tuple[str, ...] = (words,)
                if text_width(words, size_pt) > _LONG_EM * size_pt and " " in words:
                    pieces = words.split(" ")
                    cuts = range(1, len(pieces))
                    pairs = [(" ".join(pieces[:k]), " ".join(pieces[k:])) for k in cuts]
                    rows = min(pairs, key=lambda pair: max(text_width(w, size_pt) for w in pair))
                asked.append((Text(rows, at, bold=mark.weight >= ALWAYS), half, mark.weight))
        wishes = [
            Wish(
                key,
                *text.at,
                *_size(text, size_pt),
                clear_pt + 1.5,
                weight,
                _FAR_PT if weight >= OTHER else _BESIDE_PT,
            )
            for key, (text, clear_pt, weight) in enumerate(asked)
        ]
        placed, left_out = placer.place(wishes)
        for one in placed:
            text, *_ = asked[one.key]
            texts.append(Text(text.words, one.box.middle, bold=text.bold, leader=one.leader))
        for words, shape in self.areas:
            texts += inside_area(placer, shape, words, size_pt)
        return texts, sum(each.weight >= OTHER for each in left_out)


def _size(text: Text, size_pt: float) -> tuple[float, float]:
    """Return how wide and high a caption's plate is."""
    width = max(text_width(line, size_pt, bold=text.bold) for line in text.words)
    return width + 2.0, _LINE_EM * size_pt * len(text.words)


def beside_line(placer: Placer, line: Floats, words: str, size_pt: float) -> Text | None:
    """Return words set along a line, beside it, where they run over least; None without room."""
    shape = LineString(line)
    width = text_width(words, size_pt) + 3.0
    if shape.length < width + 6.0:
        return None
    best: tuple[int, list[Box], Text] | None = None
    for share in _SHARES:
        middle = float(np.clip(share * shape.length, width / 2 + 2, shape.length - width / 2 - 2))
        begin, end = (
            np.array(shape.interpolate(middle + step).coords[0])
            for step in (-width / 2.0, width / 2.0)
        )
        # Words read from left to right, or upwards.
        if (round(end[0], 3), -end[1]) < (round(begin[0], 3), -begin[1]):
            begin, end = end, begin
        # Round a corner the words would leave their line.
        if np.hypot(*(end - begin)) < 0.97 * width:
            continue
        unit = (end - begin) / np.hypot(*(end - begin))
        for side in (-1.0, 1.0):
            off = side * (0.62 * size_pt + 2.0) * np.array([-unit[1], unit[0]])
            chain = [
                Box.around(float(x), float(y), 0.44 * size_pt)
                for x, y in begin + off + np.arange(0.0, width + 0.1, 0.7 * size_pt)[:, None] * unit
            ]
            clashes = placer.clashes(*chain)
            if (best is None or clashes < best[0]) and placer.is_free(*chain):
                turn = float(np.degrees(np.arctan2(unit[1], unit[0])))
                x, y = (begin + end) / 2.0 + off
                best = clashes, chain, Text((words,), (float(x), float(y)), round(turn, 3))
    for box in best[1] if best else ():
        placer.keep_off(box)
    return best[2] if best else None


def inside_area(placer: Placer, shape: Polygon, words: str, size_pt: float) -> Iterator[Text]:
    """Yield an area's name where it lies wholly in the area, if there is such a place."""
    half_wide, half_high = text_width(words, size_pt) / 2.0 + 1.5, 0.65 * size_pt
    left, top, right, bottom = shape.bounds
    spots = [shape.representative_point()] + [
        Point(left + across * (right - left), top + down * (bottom - top))
        for down in (0.5, 0.3, 0.7, 0.15, 0.85)
        for across in (0.5, 0.3, 0.7, 0.15, 0.85)
    ]
    for spot in spots:
        x, y = round(spot.x, 3), round(spot.y, 3)
        box = Box(x - half_wide, y - half_high, x + half_wide, y + half_high)
        held = shape.contains(shapely_box(box.left, box.top, box.right, box.bottom))
        if held and placer.is_free(box) and not placer.clashes(box):
            placer.keep_off(box)
            yield Text((words,), (x, y), colour=QUIET)
            return


def write(canvas: Canvas, texts: list[Text], size_pt: float) -> None:
    """Write captions, each on a plate of paper, so that it reads over hatches and lines."""
    for text in texts:
        if text.leader:
            canvas.line(text.leader, Stroke(QUIET, 0.4))
    for text in texts:
        turn = np.radians(text.turn_deg)
        along = np.array([np.cos(turn), np.sin(turn)])
        down = np.array([-along[1], along[0]])
        width, height = _size(text, size_pt)
        wide, high, at = width / 2.0 * along, height / 2.0 * down, np.array(text.at)
        plate = [at - wide - high, at + wide - high, at + wide + high, at - wide + high]
        canvas.area([plate], PAPER, opacity=0.82)
        for number, line in enumerate(text.words):
            below = (number - (len(text.words) - 1) / 2.0) * _LINE_EM + 0.36
            x, y = at + below * size_pt * down
            canvas.text(
                float(x), float(y), line, size_pt, anchor="middle", bold=text.bold,
                colour=text.colour, turn_deg=text.turn_deg,
            )  # fmt: skip
