"""sketch.csv: a plan measured by tape alone becomes points, lines and a building.

Every row is one thing measured. First each point is put about where its row says, then all rows
together are adjusted; what had to be assumed, what nothing checks and by how much the sides miss
closing goes into the notices.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Final, Literal, cast

import numpy as np

from lateral_map.adjust.sketch import adjust_sketch
from lateral_map.errors import AdjustmentError
from lateral_map.model.arrays import Floats
from lateral_map.model.lines import signed_offsets
from lateral_map.model.site import Accuracy
from lateral_map.model.sketch import (
    AdjustedSketch,
    Measure,
    MeasureKind,
    Misclosure,
    SketchNet,
    SketchReading,
)
from lateral_map.reading.ledger import Ledger
from lateral_map.reading.rows import TAPES, SketchRow
from lateral_map.reading.tables import ReadRow
from lateral_map.reading.words import clean_name

FILE: Final = "sketch.csv"
_ON_LINE_M: Final = 0.01
# A line is drawn this far beyond what stands along it; how far it really goes nobody measured.
_DRAWN_ON_M: Final = 9.0
# Distances to a line this far apart tell its direction; it is then not taken as parallel.
_TELLING_APART_M: Final = 2.0
# A third mirror tape must tell the two sides apart by this many sd.
_TELLS_SIDE: Final = 4.0
_SQUARE_DEG: Final = 90.0
# Corners taken by eye add up to a whole turn give or take this.
_ODD_TURN_DEG: Final = 20.0

Side = Literal["left", "right", "out", "behind", "beyond"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row in use: its spreadsheet number, and what it says."""

    number: int
    typed: SketchRow


@dataclass
class SketchLine:
    """A line being drawn: its kind, vertices, the rows that measured it, where it is from."""

    name: str
    kind: str
    vertices: list[int]
    rows: list[Row]
    assumed: bool
    source: str


@dataclass
class _Drawing:
    """The sketch while it is being laid out; ``places`` is None of what has no place yet."""

    accuracy: Accuracy
    ledger: Ledger
    index: dict[str, int] = field(default_factory=dict)
    names: list[str] = field(default_factory=list)
    places: list[Floats | None] = field(default_factory=list)
    measures: list[Measure] = field(default_factory=list)
    buildings: dict[str, list[Row]] = field(default_factory=dict)
    lines: dict[str, SketchLine] = field(default_factory=dict)
    misclosures: list[Misclosure] = field(default_factory=list)

    def point(self, name: str) -> int:
        """Return a point's index by its name, letter case aside; a new one has no place yet."""
        key = name.casefold()
        if key not in self.index:
            self.index[key] = len(self.names)
            self.names.append(name)
            self.places.append(None)
        return self.index[key]

    def place(self, name: str) -> Floats | None:
        """Return where a named point lies about, None where nothing has put it anywhere yet."""
        at = self.index.get(name.casefold())
        return None if at is None else self.places[at]

    def put(self, name: str, at: Floats) -> int:
        """Return a point's index; one that has no place yet is put at ``at``."""
        index = self.point(name)
        if self.places[index] is None:
            self.places[index] = at
        return index

    def tape_sd(self, row: SketchRow, length: float) -> float:
        """Return the 1 sd of one of a row's lengths."""
        if row.accuracy is not None:
            return row.accuracy
        return math.hypot(self.accuracy.tape_m, self.accuracy.tape_fraction * length)

    def add(
        self,
        kind: MeasureKind,
        points: Sequence[int],
        value: float,
        sd: float,
        reading: SketchReading | None = None,
        share: float = 0.0,
    ) -> None:
        """Keep one measurement."""
        self.measures.append(Measure(kind, tuple(points), value, sd, reading, share))

    def fault(self, row: Row, problem: str, remedy: str, column: str = "") -> None:
        """Report a fault of a row."""
        self.ledger.fault(problem, remedy, file=FILE, row=row.number, field=column)


@dataclass(frozen=True)
class DrawnSketch:
    """A sketch adjusted in a plane of its own: its points' names, lines, buildings, known rows."""

    adjusted: AdjustedSketch
    names: tuple[str, ...]
    lines: tuple[SketchLine, ...]
    buildings: dict[str, tuple[int, ...]]
    known: tuple[Row, ...]
    misclosures: tuple[Misclosure, ...]
    has_north: bool


def draw_sketch(
    rows: Iterable[ReadRow[SketchRow]], accuracy: Accuracy, ledger: Ledger
) -> DrawnSketch | None:
    """Return the sketch that the rows of sketch.csv make; None, with faults, where they make none.

    Its plane begins at the first corner; the first wall runs east unless a row gives its compass
    direction.
    """
    used = [Row(row.number, row.typed) for row in rows if row.typed is not None and row.typed.use]
    if not used:
        return None
    drawing, before = _Drawing(accuracy, ledger), len(ledger.faults)
    compass = [row for row in used if row.typed.azimuth is not None]
    for row in compass[1:]:
        drawing.fault(row, "another row gives a compass direction", "give one", "azimuth")
    of: dict[str, list[Row]] = defaultdict(list)
    for row in used:
        of[row.typed.what].append(row)
    _place_all(drawing, of)
    if len(ledger.faults) == before:
        _draw_lines(drawing, of, compass[0].typed if compass else None)
    if len(ledger.faults) > before:
        return None
    places = np.array([cast("Floats", place) for place in drawing.places])
    try:
        named = tuple(i for i, name in enumerate(drawing.names) if "\0" not in name)
        adjusted = adjust_sketch(SketchNet(places, tuple(drawing.measures), named))
    except AdjustmentError as error:
        for fault in error.faults:
            ledger.add(fault)
        return None
    corners = {
        name: tuple(drawing.point(row.typed.from_ or "") for row in walls)
        for name, walls in drawing.buildings.items()
        if _closes(walls)
    }
    return DrawnSketch(
        adjusted,
        tuple(drawing.names),
        tuple(drawing.lines.values()),
        corners,
        tuple(of["known"]),
        tuple(drawing.misclosures),
        has_north=bool(compass),
    )


def _place_all(drawing: _Drawing, of: dict[str, list[Row]]) -> None:
    """Put everything but lines in place, whatever the order of its rows; report what hangs loose.

    Placed at once are a building's walls, a tape, all rows of one point.
    """
    for row in of["wall"]:
        drawing.buildings.setdefault(row.typed.name or "house", []).append(row)
    points: dict[str, list[Row]] = defaultdict(list)
    for row in of["point"]:
        points[(row.typed.name or "").casefold()].append(row)
    groups = [*drawing.buildings.values(), *([row] for row in of["tape"]), *points.values()]
    waiting, left = [tuple(rows) for rows in groups], -1
    while len(waiting) != left:
        left = len(waiting)
        waiting = [one for one in waiting if not _place(drawing, one)]
    for row in [one[0] for one in waiting]:
        what = row.typed.name or row.typed.from_ or "it"
        problem = f"nothing yet fixes what {what!r} is measured from"
        drawing.fault(row, problem, "measure from corners or points that other rows fix", "name")


def _draw_lines(drawing: _Drawing, of: dict[str, list[Row]], north: SketchRow | None) -> None:
    """Turn what is placed to the north, and draw the lines beside it."""
    if north is not None:
        _, unit, _, _ = _walked(drawing, north)
        turn = math.radians(north.azimuth or 0.0) - math.atan2(unit[0], unit[1])
        c, s = math.cos(turn), math.sin(turn)
        turned = np.array([[c, s], [-s, c]])
        drawing.places = [None if place is None else turned @ place for place in drawing.places]
    for row in [one for kind, found in of.items() if kind not in _NO_LINES for one in found]:
        _draw_line(drawing, row)
    # A line is taken as parallel, unless its own distances tell its direction.
    parallel = math.radians(drawing.accuracy.square_deg)
    for line in drawing.lines.values():
        rows = [row.typed for row in line.rows]
        spots = [one.along for one in rows if one.along is not None]
        if not rows or (spots and max(spots) - min(spots) >= _TELLING_APART_M):
            continue
        base = _base(drawing, line.rows[0], rows[0])
        if base is not None:
            drawing.add("parallel", (*base[:2], *line.vertices), 0.0, parallel)
    for row in of["known"]:
        name = row.typed.name or ""
        if drawing.place(name) is None:
            drawing.fault(row, f"the sketch has no point called {name!r}", "name one", "name")


_NO_LINES: Final = ("wall", "tape", "point", "known")


def _place(drawing: _Drawing, rows: tuple[Row, ...]) -> bool:
    """Put the points of a building, tape or point in place and keep what was measured of them.

    False where what they are measured from has no place yet.
    """
    first = rows[0].typed
    if first.what == "wall":
        return _place_building(drawing, rows)
    if first.what == "tape":
        # The first tape of a sketch without a building is its baseline.
        ends, distance = (first.from_ or "", first.to or ""), first.distance or 0.0
        if all(place is None for place in drawing.places):
            begin, end = (drawing.point(name) for name in ends)
            drawing.places[begin], drawing.places[end] = np.zeros(2), np.array([distance, 0.0])
        if any(drawing.place(name) is None for name in ends):
            return False
        reading = SketchReading(rows[0].number, "distance", f"{ends[0]} to {ends[1]}")
        both = [drawing.point(name) for name in ends]
        drawing.add("distance", both, distance, drawing.tape_sd(first, distance), reading)
        return True
    return _place_point(drawing, rows)


def _place_building(drawing: _Drawing, rows: tuple[Row, ...]) -> bool:
    """Walk round a building from its first corner, side by side."""
    walls = [row.typed for row in rows]
    turns = np.radians([wall.turn or 0.0 for wall in walls])
    here, heading = np.zeros(2), math.pi / 2.0
    if any(place is not None for place in drawing.places):
        if any(drawing.place(name or "") is None for name in (walls[0].from_, walls[0].to)):
            return False
        here, unit, _, _ = _walked(drawing, walls[0])
        heading = math.atan2(unit[0], unit[1])
    if _faulty_walls(drawing, rows):
        return True
    for i, (row, wall) in enumerate(zip(rows, walls, strict=True)):
        distance, after = wall.distance or 0.0, walls[(i + 1) % len(walls)]
        start = drawing.put(wall.from_ or "", here)
        here = here + distance * np.array([math.sin(heading), math.cos(heading)])
        end = drawing.put(wall.to or "", here)
        reading = SketchReading(row.number, "distance", f"{wall.from_} to {wall.to}")
        drawing.add("distance", (start, end), distance, drawing.tape_sd(wall, distance), reading)
        follows = (after.from_ or "").casefold() == (wall.to or "").casefold()
        if wall.turn is not None and follows:
            square = abs(wall.turn) % _SQUARE_DEG < 1e-9
            sd = drawing.accuracy.corner_deg if square else drawing.accuracy.square_deg
            reading = SketchReading(row.number, "turn", wall.to or "")
            corners = (start, end, drawing.point(after.to or ""))
            drawing.add("turn", corners, math.radians(wall.turn), math.radians(sd), reading)
        heading += float(turns[i])
    if _closes(rows):
        gap = float(np.hypot(*(here - cast("Floats", drawing.place(walls[0].from_ or "")))))
        length = sum(wall.distance or 0.0 for wall in walls)
        drawing.misclosures.append(Misclosure(walls[0].name or "house", gap, length))
    return True


def _faulty_walls(drawing: _Drawing, rows: tuple[Row, ...]) -> bool:
    """Report walls that do not follow one another or turn; say whether there are any."""
    before = len(drawing.ledger.faults)
    for one, after in pairwise(rows):
        if (one.typed.to or "").casefold() != (after.typed.from_ or "").casefold():
            problem = f"the wall before ends at {one.typed.to!r}"
            drawing.fault(after, problem, "begin each wall where the one before ends", "from")
        if one.typed.turn is None:
            remedy = "write right, left, straight or degrees"
            drawing.fault(one, "nothing says how the next wall turns", remedy, "turn")
    turned = sum(row.typed.turn or 0.0 for row in rows)
    whole = _closes(rows) and rows[-1].typed.turn is not None
    if whole and abs(abs(turned) - 360.0) > _ODD_TURN_DEG:
        problem = f"its turns add up to {abs(turned):g} degrees; round a building they make 360"
        drawing.fault(rows[-1], problem, "check which turns are left and which right", "turn")
    return len(drawing.ledger.faults) > before


def _closes(rows: Sequence[Row]) -> bool:
    first, last = (rows[i].typed for i in (0, -1))
    return len(rows) > 2 and (last.to or "").casefold() == (first.from_ or "").casefold()


def _place_point(drawing: _Drawing, rows: tuple[Row, ...]) -> bool:
    """Put a point where its tapes, or its distance along and off a line walked, say."""
    typed = [(row, row.typed) for row in rows]
    name = typed[0][1].name or ""
    tapes = [
        (row, tape, getattr(one, f"{tape}_from"), getattr(one, tape))
        for row, one in typed
        for tape in TAPES
        if getattr(one, tape) is not None
    ]
    squares = [(row, one) for row, one in typed if one.from_ is not None]
    needed = [place for _, _, place, _ in tapes]
    needed += [place for _, one in squares for place in (one.from_, one.to)]
    if any(drawing.place(place or "") is None for place in needed):
        return False
    placed = drawing.place(name)
    if placed is None and squares:
        row, one = squares[0]
        sign = _side_sign(drawing, row, one)
        begin, unit, right, _ = _walked(drawing, one)
        placed = begin + (one.along or 0.0) * unit + sign * (one.offset or 0.0) * right
    elif placed is None:
        placed = _meet(drawing, typed, tapes)
    if placed is None:
        return True  # its fault is told
    at = drawing.point(name)
    drawing.places[at] = placed
    for row, one in squares:
        ends = (drawing.point(one.from_ or ""), drawing.point(one.to or ""), at)
        along, offset = one.along or 0.0, one.offset or 0.0
        # A square set out by eye leans, and the farther off, the farther along it lands.
        lean = offset * math.tan(math.radians(drawing.accuracy.square_deg))
        sd = math.hypot(drawing.tape_sd(one, abs(along)), lean)
        drawing.add("along", ends, along, sd, SketchReading(row.number, "along", name))
        sd = drawing.tape_sd(one, offset)
        signed = _side_sign(drawing, row, one) * offset
        drawing.add("offset", ends, signed, sd, SketchReading(row.number, "offset", name))
    for row, tape, begin_name, distance in tapes:
        one = row.typed
        reading = SketchReading(row.number, tape, name)
        ends2 = (drawing.point(begin_name), at)
        drawing.add("distance", ends2, distance, drawing.tape_sd(one, distance), reading)
    return True


def _walked(drawing: _Drawing, one: SketchRow) -> tuple[Floats, Floats, Floats, float]:
    """Return where a line walked begins, its direction, that to its right, and its length."""
    begin, end = (cast("Floats", drawing.place(name or "")) for name in (one.from_, one.to))
    length = max(float(np.hypot(*(end - begin))), 1e-6)
    unit = (end - begin) / length
    return begin, unit, np.array([unit[1], -unit[0]]), length


def _side_sign(drawing: _Drawing, row: Row, one: SketchRow) -> float:
    """Return +1 where a row's side is to the right of the line walked, else -1."""
    if one.side in (None, "left", "right"):
        return -1.0 if one.side == "left" else 1.0
    if one.side == "out":
        ends = [(one.from_ or "").casefold(), (one.to or "").casefold()]
        for walls in drawing.buildings.values():
            sides = [wall.typed for wall in walls]
            corners = [(side.from_ or "").casefold() for side in sides]
            if not set(ends) <= {*corners, (sides[-1].to or "").casefold()}:
                continue
            turned = sum(side.turn or 0.0 for side in sides)
            order = [*corners, (sides[-1].to or "").casefold()]
            forward = order.index(ends[0]) < max(
                i for i, corner in enumerate(order) if corner == ends[1]
            )
            wraps = any(pair == tuple(reversed(ends)) for pair in pairwise(order))
            walks = forward and not wraps
            # Walked round to the right, the building lies to the right of every side.
            return -1.0 if (turned > 0.0) == walks else 1.0
    drawing.fault(
        row, f"{one.side!r} means nothing here", "write left or right of the line walked", "side"
    )
    return 1.0


def _meet(
    drawing: _Drawing,
    typed: list[tuple[Row, SketchRow]],
    tapes: list[tuple[Row, str, str, float]],
) -> Floats | None:
    """Return where tapes meet, on the side that is said or that a third tape tells."""
    row, one = typed[0]
    if len(tapes) < 2:
        drawing.fault(row, "one tape fixes no point", "add a tape from another point", "tape2_from")
        return None
    centres = [cast("Floats", drawing.place(name)) for _, _, name, _ in tapes]
    radii = [distance for _, _, _, distance in tapes]
    step = centres[1] - centres[0]
    apart = float(np.hypot(*step))
    slack = sum(3.0 * drawing.tape_sd(one, radius) for radius in radii[:2])
    least, most = abs(radii[0] - radii[1]), radii[0] + radii[1]
    if not least - slack <= apart <= most + slack or apart < _ON_LINE_M:
        shown = f"{tapes[0][2]!r} and {tapes[1][2]!r}"
        problem = f"the tapes from {shown} do not meet: these lie {apart:.2f} m apart"
        drawing.fault(row, problem, "check both tapes and the points they are from", tapes[1][1])
        return None
    unit = step / apart
    along = (apart**2 + radii[0] ** 2 - radii[1] ** 2) / (2.0 * apart)
    off = math.sqrt(max(radii[0] ** 2 - along**2, 0.0))
    foot, right = centres[0] + along * unit, np.array([unit[1], -unit[0]])
    both = {"right": foot + off * right, "left": foot - off * right}
    side = next((each.side for _, each in typed if each.side in both), None)
    if side is None and len(tapes) > 2:
        misfit = {
            name: abs(float(np.hypot(*(place - centres[2]))) - radii[2])
            for name, place in both.items()
        }
        better = min(misfit, key=lambda name: misfit[name])
        if max(misfit.values()) > _TELLS_SIDE * drawing.tape_sd(one, radii[2]):
            side = cast("Side", better)
    if side is None:
        walked = f"from {tapes[0][2]} to {tapes[1][2]}"
        problem = "two tapes leave two places, one the mirror image of the other"
        remedy = f"write side: left or right of you as you walk {walked}"
        drawing.fault(row, problem, remedy, "side")
        return None
    return both[side]


# ── lines ────────────────────────────────────────────────────────────────────────────────────────


def _draw_line(drawing: _Drawing, row: Row) -> None:
    """Draw a line through points, or parallel to a wall or another line."""
    one = row.typed
    name = one.name or one.what
    known = drawing.lines.get(name.casefold())
    if one.through:
        _draw_through(drawing, row, one, name)
        return
    if known is not None and (known.kind != one.what.replace(" ", "_") or not known.rows):
        drawing.fault(row, f"{name!r} is drawn already", "give each line its own name", "name")
        return
    base = _base(drawing, row, one)
    if base is None or one.offset is None:
        return
    begin, end, sign = base
    places = [cast("Floats", drawing.places[i]) for i in (begin, end)]
    length = max(float(np.hypot(*(places[1] - places[0]))), 1e-6)
    unit = (places[1] - places[0]) / length
    right = np.array([unit[1], -unit[0]])
    if known is None:
        along = [float((place - places[0]) @ unit) for place in drawing.places if place is not None]
        ends = (min(along) - _DRAWN_ON_M, max(along) + _DRAWN_ON_M)
        vertices = []
        for number, reach in enumerate(ends, 1):
            at = drawing.point(f"{name}\0{number}")
            drawing.places[at] = places[0] + reach * unit + sign * one.offset * right
            # How far a drawn line goes on is nobody's reading and moves nothing.
            drawing.add("along", (begin, end, at), reach, _ON_LINE_M)
            vertices.append(at)
        wall = f"{one.from_} to {one.to}" if one.line is None else one.line
        how = "assumed" if one.basis == "assumed" else "measured by tape"
        kind = one.what.replace(" ", "_")
        known = SketchLine(name, kind, vertices, [], one.basis == "assumed", f"{how} from {wall}")
        drawing.lines[name.casefold()] = known
    known.rows.append(row)
    share = 0.5 if one.along is None else one.along / length
    sd = drawing.tape_sd(one, one.offset)
    if one.accuracy is None and one.basis == "assumed":
        sd = drawing.accuracy.mapped_line_m
    reading = SketchReading(row.number, "offset", name)
    points = (*known.vertices, begin, end)
    drawing.add("offset", points, -sign * one.offset, sd, reading, share)


def _base(drawing: _Drawing, row: Row, one: SketchRow) -> tuple[int, int, float] | None:
    """Return the two points a line is parallel to, and +1 where it lies to their right."""
    if one.line is None:
        for column, name in (("from", one.from_), ("to", one.to)):
            if drawing.place(name or "") is None:
                drawing.fault(row, f"the sketch has no point {name!r}", "name a corner", column)
                return None
        sign = _side_sign(drawing, row, one)
        return drawing.point(one.from_ or ""), drawing.point(one.to or ""), sign
    base = drawing.lines.get(one.line.casefold())
    if base is None or len(base.vertices) != 2:
        problem = f"no straight line called {one.line!r} is drawn in a row above"
        drawing.fault(row, problem, "draw that line first, or measure from a wall", "line")
        return None
    sign = 1.0 if one.side == "right" else -1.0
    if one.side in ("behind", "beyond"):
        ends = np.array([cast("Floats", drawing.places[i]) for i in base.vertices])
        house = float(signed_offsets(ends, cast("Floats", drawing.places[0])).offset_m)
        sign = math.copysign(1.0, house) * (1.0 if one.side == "behind" else -1.0)
    elif one.side == "out":
        drawing.fault(row, "a line has no outside", "write behind, beyond, left or right", "side")
    return base.vertices[0], base.vertices[1], sign


def _draw_through(drawing: _Drawing, row: Row, one: SketchRow, name: str) -> None:
    said = [clean_name(part) for part in one.through.split(";") if clean_name(part)]
    lost = [part for part in said if drawing.place(part) is None]
    if lost or len(set(said)) < 2 or len(set(said)) < len(said):
        problem = "it names fewer than two points, or one twice"
        if lost:
            problem = f"the sketch has no point {lost[0]!r}"
        drawing.fault(row, problem, "name its points in order, such as A; B", "through")
    elif name.casefold() in drawing.lines:
        drawing.fault(row, f"{name!r} is drawn already", "give each line its own name", "name")
    else:
        how = "assumed" if one.basis == "assumed" else "measured by tape"
        drawing.lines[name.casefold()] = SketchLine(
            name,
            one.what.replace(" ", "_"),
            [drawing.point(part) for part in said],
            [],
            one.basis == "assumed",
            f"{how} through {', '.join(said)}",
        )
