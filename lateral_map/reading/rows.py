"""The rows of the tables as typed, each checked by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lateral_map.errors import Fault, Key, Told
from lateral_map.model.site import SD_LONLAT_M, SD_XY_M, Bend, Finding, Locate
from lateral_map.reading import fields
from lateral_map.reading.schema import half_pairs
from lateral_map.reading.typed import Typed, key, key_names, keys_of, shown_length
from lateral_map.reading.words import listed, plain

TAPES: Final = ("tape1", "tape2", "tape3")
_LINE_TIES: Final = ("along", "offset", "past")
_TELLING: Final = frozenset({"depth", "nulls", "lat", "lon", "x", "y", *TAPES, *_LINE_TIES})
_locate, _bend, _finding = keys_of(Locate), keys_of(Bend), keys_of(Finding)


def _from(nth: str) -> Any:
    description = f"Plan point the {nth} tape is from, held level."
    return key(description, f"{nth.capitalize()} tape from")


def _tape() -> Any:
    return key("Its level distance to the paint mark.", "Distance")


def _use() -> Any:
    return key("no keeps the row, unused; default yes.", "Use it", default=True)


def _note() -> Any:
    return key("Anything worth keeping.", "Note", default="")


class LocateRow(Typed):
    """A row of locates.csv: one locate, a paint mark over the transmitter."""

    mark: fields.Name | None = key(
        "What is painted beside the mark; else the row's number stands for it.", "Mark"
    )
    footage: fields.Footage = _locate(
        "footage_m", "Counter reading at the lens while locating.", "Footage", examples=["12.5"]
    )
    depth: fields.Depth | None = _locate("depth_m", "The locator's depth read-out.", "Depth shown")
    held_above: fields.NonNegativeLength = _locate(
        "held_above_m",
        "Height above the ground at which the locator was held.",
        "Held above ground",
    )
    lat: fields.Latitude | None = key("WGS 84 latitude of the mark, decimal degrees.", "Latitude")
    lon: fields.Longitude | None = key(
        "WGS 84 longitude of the mark, decimal degrees.", "Longitude"
    )
    x: fields.Coordinate | None = key(
        "Surveyed easting of the mark, in the CRS's own unit.", "x (east)"
    )
    y: fields.Coordinate | None = key(
        "Surveyed northing of the mark, in the CRS's own unit.", "y (north)"
    )
    accuracy: fields.Spread | None = key(
        f"1 sd of lat, lon or x, y, each axis; default {shown_length(SD_LONLAT_M, 'ft')} for lat, "
        f"lon and {shown_length(SD_XY_M, 'ft')} for x, y.",
        "Accuracy",
    )
    tape1_from: fields.PointName | None = _from("first")
    tape1: fields.PositiveLength | None = _tape()
    tape2_from: fields.PointName | None = _from("second")
    tape2: fields.PositiveLength | None = _tape()
    tape3_from: fields.PointName | None = _from("third")
    tape3: fields.PositiveLength | None = _tape()
    line: fields.LineName | None = key("Plan line of along, offset or past.", "Plan line")
    along: fields.Length | None = key("Distance along the line from its first vertex.", "Along it")
    offset: fields.Length | None = key(
        "Distance off the line, positive to the right of its direction.", "Off it"
    )
    past: fields.Length | None = key(
        "Instead of offset: distance past a boundary's line as seen from the start; negative "
        "before it.",
        "Past it",
    )
    ground: fields.Length | None = _locate(
        "ground_m", "Elevation of the ground at the mark.", "Ground level here"
    )
    use: fields.YesNo = _use()
    note: fields.Text = _note()
    no_locate: fields.Text = key(
        "Why nothing could be located at this footage, such as: under the slab. The row then has "
        "no depth and no tie, and is drawn as such.",
        "Could not locate here, because",
        default="",
    )
    peak: fields.PeakWord = _locate("peak", "Which peak of the signal was used.", "Peak used")
    nulls: fields.PositiveLength | None = _locate(
        "nulls_m",
        "Ground distance between the two in-line nulls, along the pipe: a depth of its own, 0.7071 "
        "times that distance.",
        "Between the two nulls",
    )
    nulls_held_above: fields.NonNegativeLength = _locate(
        "nulls_held_above_m",
        "Height at which the locator was held for the nulls.",
        "Held above ground for them",
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault for each cell that is missing its partner."""
        pairs = [("lat", "lon"), ("x", "y"), *((f"{tape}_from", tape) for tape in TAPES)]
        yield from half_pairs(given, pairs)
        along_line = [key for key in _LINE_TIES if key in given]
        if "line" in given and not along_line:
            yield Fault(
                "a line is named without a distance",
                Told("fill ", Key("along"), ", ", Key("offset"), " or ", Key("past")),
                field="line",
            )
        for tie in along_line if "line" not in given else ():
            yield Fault(
                Told(Key(tie), " is given without a line"),
                "name the plan line it is from",
                field=tie,
            )
        if "offset" in given and "past" in given:
            offset, past = Key("offset"), Key("past")
            both = Told("fill ", offset, " or ", past, ", not both")
            yield Fault(Told(offset, " is given too"), both, field="past")
        if "no_locate" in given:
            for reading in sorted(_TELLING & given.keys()):
                problem = "the row says why nothing could be located, and yet has a reading"
                yield Fault(problem, "empty one of the two", field=reading)
        elif not _TELLING & given.keys():
            remedy = "fill depth, or fix the mark by lat and lon, x and y, a tape or a line"
            yield Fault("the row has neither a depth nor a tie", remedy)
        if "nulls_held_above" in given and "nulls" not in given:
            nulls = Key("nulls")
            problem, remedy = Told("it is given without ", nulls), Told("fill ", nulls, " too")
            yield Fault(problem, remedy, field="nulls_held_above")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the locator was held higher than it read."""
        if self.depth is not None and self.held_above > self.depth:
            yield Fault(
                "the locator was held higher above the ground than the depth it read",
                Told(
                    "check ",
                    Key("depth"),
                    " and ",
                    Key("held_above"),
                    "; the depth is the read-out, height included",
                ),
                field="held_above",
            )


class BendRow(Typed):
    """A row of bends.csv: a turn or fall of the pipe."""

    footage: fields.Footage = _bend(
        "footage_m", "Counter reading at the bend.", "Footage", examples=["12.5"]
    )
    turn: fields.Turn = _bend(
        "turn_deg", "Degrees, positive to the right, negative to the left.", "Turn"
    )
    fall: fields.Turn = _bend("fall_deg", "Degrees, positive down, negative up.", "Fall")
    how: fields.HowWord | None = key(
        "Known by its fitting, or judged by eye on the screen. Blank: an angle that a fitting has "
        "is taken as one.",
        "Known by",
    )
    use: fields.YesNo = _use()
    note: fields.Text = _note()

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault where the bend has no angle."""
        if "turn" not in given and "fall" not in given:
            yield Fault(
                "the bend has neither a turn nor a fall",
                Told("fill ", Key("turn"), ", such as -45 for 45 left"),
            )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault for a bend of no degrees."""
        if self.turn == 0.0 == self.fall and self.model_fields_set & {"turn", "fall"}:
            yield Fault(
                "the bend turns by nothing", "fill its angle or remove the row", field="turn"
            )


class FindingRow(Typed):
    """A row of findings.csv: what the camera saw."""

    footage: fields.Footage = _finding(
        "footage_m",
        "Counter reading at the finding, or where it begins.",
        "Footage",
        examples=["12.5"],
    )
    to: fields.Footage | None = key("Where a stretch ends; else empty.", "To")
    finding: fields.FindingName = _finding(
        "finding", "What was seen, in plain trade words.", "Finding", examples=["roots"]
    )
    severity: fields.SeverityWord | None = _finding("severity", "How bad it is.", "Severity")
    use: fields.YesNo = _use()
    note: fields.Text = _note()
    clock: fields.Clock = _finding(
        "clock", "Where round the pipe, 12 on top, such as 3 or 9 to 12.", "Clock position"
    )
    video: fields.Text = _finding("video", "File of the video that shows it.", "Video")
    video_time: fields.Text = _finding("video_time", "Where in that video.", "Time in the video")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault for a stretch that ends before it begins."""
        if self.to is not None and self.to < self.footage:
            yield Fault(
                "the stretch ends before it begins", "put the smaller footage first", field="to"
            )


# What each kind of row of sketch.csv needs, and what else it may have.
_SKETCH_NEEDS: Final[dict[str, tuple[tuple[str, ...], tuple[str, ...]]]] = {
    "wall": (("from", "to", "distance"), ("name", "turn", "azimuth")),
    "tape": (("from", "to", "distance"), ("azimuth",)),
    "point": (
        ("name",),
        ("from", "to", "along", "offset", "side", *TAPES, *(f"{tape}_from" for tape in TAPES)),
    ),
    "known": (("name",), ("lat", "lon", "x", "y")),
}
_SKETCH_LINE: Final = (
    (),
    ("name", "from", "to", "line", "through", "along", "offset", "side", "basis"),
)
_SKETCH_KINDS: Final = (
    *_SKETCH_NEEDS, "curb", "right_of_way", "property_line", "centreline", "centerline", "row",
)  # fmt: skip
_SKETCH_ALL: Final = frozenset({"what", "accuracy", "use", "note"})


class SketchRow(Typed):
    """A row of sketch.csv: one thing measured of a plan that has no coordinates."""

    what: fields.SketchWord = key(
        "wall: a side of a building, paced round; tape: a tape between two points; point: a point "
        "by tapes or along and square from two others; a line; known: a point's coordinates.",
        "What it is",
        required=True,
        examples=["wall"],
    )
    name: fields.Name | None = key(
        "The point's or line's name; of a wall, the building's (house).", "Name"
    )
    from_: fields.Name | None = key(
        "Where the wall or tape begins, or the line walked.", "From", alias="from"
    )
    to: fields.Name | None = key("Where it ends.", "To")
    distance: fields.PositiveLength | None = key("Length of the wall or tape.", "Distance")
    turn: fields.CornerTurn | None = key(
        "Where the wall ends, the turn into the next one: right, left, straight, or degrees.",
        "Then turn",
    )
    along: fields.Length | None = key(
        "How far along from the first point, towards the second.", "Along"
    )
    offset: fields.NonNegativeLength | None = key("How far off, square.", "Off it")
    side: fields.SideWord | None = key(
        "Which side, walking from the first point to the second: left or right; out of the "
        "building; behind a line (the building's side) or beyond it.",
        "On which side",
    )
    line: fields.LineName | None = key("The line that this one is parallel to.", "Parallel to")
    through: fields.Text = key("Points the line runs through, in order, such as A; B.", "Through")
    tape1_from: fields.PointName | None = _from("first")
    tape1: fields.PositiveLength | None = _tape()
    tape2_from: fields.PointName | None = _from("second")
    tape2: fields.PositiveLength | None = _tape()
    tape3_from: fields.PointName | None = _from("third")
    tape3: fields.PositiveLength | None = _tape()
    basis: fields.BasisWord = key(
        "Of a line: measured, or assumed from a record, a habit or a guess.",
        "Measured or assumed",
        default="measured",
    )
    accuracy: fields.Spread | None = key(
        "1 sd of the row's lengths, or of known coordinates each axis; empty, the usual.",
        "Accuracy",
    )
    azimuth: fields.Azimuth | None = key(
        "Compass direction walked, on one wall or tape: it gives the sketch its north.",
        "Compass direction",
    )
    lat: fields.Latitude | None = key("WGS 84 latitude of a known point.", "Latitude")
    lon: fields.Longitude | None = key("WGS 84 longitude of a known point.", "Longitude")
    x: fields.Coordinate | None = key("Easting of a known point, in the CRS's unit.", "x (east)")
    y: fields.Coordinate | None = key("Northing of a known point, in the CRS's unit.", "y (north)")
    use: fields.YesNo = _use()
    note: fields.Text = _note()

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault for each cell the kind of row needs, or cannot have."""
        said = given.get("what")
        kind = plain(said) if isinstance(said, str) else ""
        if kind not in _SKETCH_KINDS:
            return  # its own fault is told
        needs, may = _SKETCH_NEEDS.get(kind, _SKETCH_LINE)
        for name in [one for one in needs if one not in given]:
            yield Fault(f"a {kind} needs it", Told("fill ", Key(name)), field=name)
        foreign = set(key_names(cls)) - {*needs, *may} - _SKETCH_ALL
        for name in [one for one in given if one in foreign]:
            words = kind.replace("_", " ")
            yield Fault(Told(f"a {words} has no ", Key(name)), "leave it empty", field=name)
        pairs = [("lat", "lon"), ("x", "y"), *((f"{tape}_from", tape) for tape in TAPES)]
        yield from half_pairs(given, [("from", "to"), *pairs])
        if kind == "known" and not {"lat", "x"} & given.keys():
            yield Fault("nothing says where it is", "fill lat and lon, or x and y", field="lat")
        if kind == "point":
            yield from _point_faults(given)
        elif kind not in _SKETCH_NEEDS:
            yield from _line_faults(given)


def _point_faults(given: Mapping[str, object]) -> Iterable[Fault]:
    """Yield what is wrong with how a sketched point is fixed."""
    tapes = sum(tape in given for tape in TAPES)
    square = "from" in given
    if not tapes and not square:
        words = (Key("from"), ", ", Key("to"), ", ", Key("along"), " and ", Key("offset"))
        ways = Told("fill two tapes, or ", *words)
        yield Fault("nothing says where the point is", ways, field="tape1")
    for name in ("along", "offset"):
        if square and name not in given:
            problem = Told(Key("from"), " and ", Key("to"), " are given without ", Key(name))
            yield Fault(problem, Told("fill ", Key(name)), field=name)
        elif not square and name in given:
            walked = Told("fill ", Key("from"), " and ", Key("to"))
            yield Fault("nothing says from which line walked", walked, field=name)
    offset = str(given.get("offset", "0")).strip()
    if "side" not in given and square and offset.strip("0.,") != "":
        remedy = "write left or right of the line walked, or out of the building"
        yield Fault("the point has a mirror image on the other side", remedy, field="side")


def _line_faults(given: Mapping[str, object]) -> Iterable[Fault]:
    """Yield what is wrong with how a sketched line is fixed."""
    ways = [name for name in ("from", "line", "through") if name in given]
    if len(ways) != 1:
        problem = "nothing says where the line is" if not ways else f"it has {listed(ways)}"
        wall = (Key("from"), " and ", Key("to"), " (a wall it is parallel to), ")
        remedy = Told("fill one: ", *wall, Key("line"), ", or ", Key("through"))
        yield Fault(problem, remedy, field=ways[-1] if ways else "from")
    elif ways != ["through"]:
        for name in ("offset", "side"):
            if name not in given:
                yield Fault("a parallel line needs it", Told("fill ", Key(name)), field=name)


TABLES: Final[dict[str, type[Typed]]] = {
    "sketch.csv": SketchRow,
    "locates.csv": LocateRow,
    "bends.csv": BendRow,
    "findings.csv": FindingRow,
}
