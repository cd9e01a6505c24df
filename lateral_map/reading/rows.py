"""The rows of locates.csv, bends.csv and findings.csv as typed, each checked by itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Final, Literal

from pydantic import Field

from lateral_map.errors import Fault
from lateral_map.reading.fields import (
    Depth,
    Footage,
    Latitude,
    Length,
    Longitude,
    Name,
    NonNegativeLength,
    Number,
    PeakWord,
    PositiveLength,
    SeverityWord,
    Spread,
    Text,
    Turn,
    YesNo,
    one_of,
)
from lateral_map.reading.schema import half_pairs
from lateral_map.reading.typed import Typed

TAPES: Final = ("tape1", "tape2", "tape3")
_LINE_TIES: Final = ("along", "offset", "past")
_TELLING: Final = frozenset({"depth", "nulls", "lat", "lon", "x", "y", *TAPES, *_LINE_TIES})

HowWord = Annotated[Literal["fitting", "eye"], one_of("fitting", "eye")]


class LocateRow(Typed):
    """A row of locates.csv."""

    mark: Name | None = Field(default=None, description="What is painted beside the mark.")
    footage: Footage = Field(description="Counter reading at the lens.", examples=["12.5"])
    depth: Depth | None = Field(default=None, description="The locator's depth read-out.")
    held_above: NonNegativeLength = Field(
        default=0.0, description="Height above the ground at which the locator was held."
    )
    lat: Latitude | None = Field(default=None, description="WGS 84 latitude, decimal degrees.")
    lon: Longitude | None = Field(default=None, description="WGS 84 longitude, decimal degrees.")
    x: Number | None = Field(default=None, description="Easting, in the CRS's own unit.")
    y: Number | None = Field(default=None, description="Northing, in the CRS's own unit.")
    accuracy: Spread | None = Field(
        default=None,
        description="1 sd of lat, lon or x, y, each axis; default 4 ft for lat, lon and 0.1 ft "
        "for x, y.",
    )
    tape1_from: Name | None = Field(default=None, description="Plan point the first tape is from.")
    tape1: PositiveLength | None = Field(default=None, description="Its level distance.")
    tape2_from: Name | None = Field(default=None, description="Plan point the second tape is from.")
    tape2: PositiveLength | None = Field(default=None, description="Its level distance.")
    tape3_from: Name | None = Field(default=None, description="Plan point the third tape is from.")
    tape3: PositiveLength | None = Field(default=None, description="Its level distance.")
    line: Name | None = Field(default=None, description="Plan line of along, offset or past.")
    along: Length | None = Field(
        default=None, description="Distance along the line from its first vertex."
    )
    offset: Length | None = Field(
        default=None, description="Distance off the line, positive to the right of its direction."
    )
    past: Length | None = Field(
        default=None, description="Distance past a [[boundary]] line as seen from the start."
    )
    ground: Length | None = Field(default=None, description="Elevation of the ground there.")
    use: YesNo = Field(default=True, description="no keeps the row, unused.")
    note: Text = Field(default="", description="Anything worth keeping.")
    peak: PeakWord = Field(default="in-line", description="Which peak of the signal was used.")
    nulls: PositiveLength | None = Field(
        default=None, description="Ground distance between the two in-line nulls."
    )
    nulls_held_above: NonNegativeLength = Field(
        default=0.0, description="Height at which the locator was held for the nulls."
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
        for key in along_line if "line" not in given else ():
            yield Fault(
                f"{key} is given without a line", "name the plan line it is from", field=key
            )
        if "offset" in given and "past" in given:
            yield Fault("offset is given too", "fill offset or past, not both", field="past")
        if not _TELLING & given.keys():
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
    """A row of bends.csv."""

    footage: Footage = Field(description="Counter reading at the bend.", examples=["12.5"])
    turn: Turn = Field(default=0.0, description="Degrees, positive to the right.")
    fall: Turn = Field(default=0.0, description="Degrees, positive down.")
    how: HowWord | None = Field(default=None, description="Known by its fitting, or by eye.")
    use: YesNo = Field(default=True, description="no keeps the row, unused.")
    note: Text = Field(default="", description="Anything worth keeping.")

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
    """A row of findings.csv."""

    footage: Footage = Field(
        description="Counter reading at the finding, or where it begins.", examples=["12.5"]
    )
    to: Footage | None = Field(default=None, description="Where a stretch ends.")
    finding: Name = Field(description="What was seen, in plain trade words.", examples=["roots"])
    severity: SeverityWord | None = Field(default=None, description="minor, moderate or severe.")
    use: YesNo = Field(default=True, description="no keeps the row, unused.")
    note: Text = Field(default="", description="Anything worth keeping.")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault for a stretch that ends before it begins."""
        if self.to is not None and self.to < self.footage:
            yield Fault(
                "the stretch ends before it begins", "put the smaller footage first", field="to"
            )
