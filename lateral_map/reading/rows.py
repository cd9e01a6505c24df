"""The rows of locates.csv, bends.csv and findings.csv as typed, each checked by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lateral_map.errors import Fault
from lateral_map.model.site import SD_LONLAT_M, SD_XY_M, Bend, Finding, Locate
from lateral_map.reading import fields
from lateral_map.reading.schema import half_pairs
from lateral_map.reading.typed import Typed, key, keys_of, shown_length

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
                "a line is named without a distance", "fill along, offset or past", field="line"
            )
        for tie in along_line if "line" not in given else ():
            yield Fault(
                f"{tie} is given without a line", "name the plan line it is from", field=tie
            )
        if "offset" in given and "past" in given:
            yield Fault("offset is given too", "fill offset or past, not both", field="past")
        if "no_locate" in given:
            for reading in sorted(_TELLING & given.keys()):
                problem = "the row says why nothing could be located, and yet has a reading"
                yield Fault(problem, "empty one of the two", field=reading)
        elif not _TELLING & given.keys():
            remedy = "fill depth, or fix the mark by lat and lon, x and y, a tape or a line"
            yield Fault("the row has neither a depth nor a tie", remedy)
        if "nulls_held_above" in given and "nulls" not in given:
            yield Fault("it is given without nulls", "fill nulls too", field="nulls_held_above")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the locator was held higher than it read."""
        if self.depth is not None and self.held_above > self.depth:
            yield Fault(
                "the locator was held higher above the ground than the depth it read",
                "check depth and held_above; the depth is the read-out, height included",
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
                "the bend has neither a turn nor a fall", "fill turn, such as -45 for 45 left"
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


TABLES: Final[dict[str, type[Typed]]] = {
    "locates.csv": LocateRow,
    "bends.csv": BendRow,
    "findings.csv": FindingRow,
}
