"""What the technician measured and what the plan shows, in the site's metric plane.

Lengths and footages are metres, angles degrees, azimuths clockwise from the plane's north, turns
right-positive, falls down-positive, depths down-positive, elevations up-positive, 1 sd in ``sd_``.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import ClassVar, Final, Literal

import numpy as np
from shapely.geometry import Polygon

from lateral_map.frame import Frame
from lateral_map.model.arrays import Floats
from lateral_map.model.diagnosis import Applied
from lateral_map.model.expected import expect_depths
from lateral_map.model.identity import ReadingKind
from lateral_map.model.lines import Segments, signed_offsets
from lateral_map.model.picture import PlanPicture
from lateral_map.model.referral import Job, Referral, SewerMain
from lateral_map.model.sketch import Sketch
from lateral_map.units import from_metres, per_root_metre, to_metres

Unit = Literal["ft", "us_ft", "m"]
LineKind = Literal["curb", "right_of_way", "property_line", "centreline"]
BoundaryKind = Literal["line", "main", "cleanout"]
UtilityKind = Literal[
    "gas", "electric", "water", "communication", "reclaimed", "sewer", "storm", "steam", "oil",
]  # fmt: skip
RunEnd = Literal["main", "tank", "not reached"]
Material = Literal[
    "cast iron", "ductile iron", "steel", "clay", "concrete", "asbestos cement", "pvc", "abs",
    "hdpe", "bituminous fibre", "other",
]  # fmt: skip
Cover = Literal["lawn", "planting", "concrete", "asphalt", "gravel", "other"]
FallCodeName = Literal["IPC", "IRC", "IRC 2024", "UPC", "UPC with approval"]
Severity = Literal["minor", "moderate", "severe"]
Peak = Literal["in-line", "total field", "null"]
Soil = Literal["stable rock", "A", "B", "C"]
Walls = Literal["shored", "sloped", "benched", "box and slope"]
RuleKey = Literal[
    "egress depth", "egress travel", "ladder projection", "air test depth", "spoil set-back",
    "fall protection depth", "protective system depth", "engineer depth", "slope stable rock",
    "slope A", "slope B", "slope C", "shield top", "dig below shield", "influence slope",
    "first bench", "bench A", "bench B",
]  # fmt: skip
RateItem = Literal[
    "mobilise open cut", "mobilise liner", "excavate", "haul", "shore", "bedding", "pipe",
    "liner", "access pit", "lawn", "planting", "concrete", "asphalt", "gravel", "other",
]  # fmt: skip

# 1 sd of a place that states none, each axis: the start at a point or by x and y; latitude and
# longitude of a GNSS fix; x and y surveyed on the site (common practice, no source).
SD_START_M: Final = to_metres(0.5, "ft")
SD_LONLAT_M: Final = to_metres(4.0, "ft")
SD_XY_M: Final = to_metres(0.1, "ft")
WANDER_PER_ROOT_FT: Final = 0.5
FALL_WANDER_PER_ROOT_FT: Final = 0.2


@dataclass(frozen=True, slots=True)
class Place:
    """Where something was read: file name and spreadsheet row (header = 1)."""

    file: str
    row: int | None = None


@dataclass(frozen=True, slots=True)
class Start:
    """Where the footage starts.

    ``point`` names the plan point it stands on, if any: the start then shares that point's own
    uncertainty with every tape pulled from it. ``depth_m`` is the invert below ground at the start,
    None where nobody measured it. ``ground_m`` is the elevation there. ``riser_m`` is footage spent
    going straight down before the run. ``azimuth_deg`` is in the plane.
    """

    easting_m: float
    northing_m: float
    sd_m: float
    point: str | None = None
    depth_m: float | None = None
    sd_depth_m: float = to_metres(0.25, "ft")
    ground_m: float | None = None
    riser_m: float = 0.0
    azimuth_deg: float | None = None
    sd_azimuth_deg: float = 10.0


@dataclass(frozen=True, slots=True)
class Counter:
    """The footage counter: reading at the start, and how far it may be off (1 sd)."""

    zero_m: float = 0.0
    sd_zero_m: float = to_metres(0.3, "ft")
    sd_scale: float = 0.01
    sd_reading_m: float = to_metres(0.1, "ft")


@dataclass(frozen=True, slots=True)
class Transmitter:
    """The camera's transmitter: where it rides, and how well its depth is read."""

    behind_lens_m: float = to_metres(0.5, "ft")
    above_invert_m: float = to_metres(0.12, "ft")
    sd_depth_fraction: float = 0.05
    sd_depth_floor_m: float = to_metres(0.25, "ft")


@dataclass(frozen=True, slots=True)
class Accuracy:
    """The site's 1 sd of each kind of reading. Wanders are degrees per square root of a metre.

    ``fall`` is the grade to expect along the run, positive down: negative against the flow.
    """

    tape_m: float = to_metres(0.1, "ft")
    tape_fraction: float = 0.002
    mark_m: float = to_metres(0.25, "ft")
    mark_fraction: float = 0.03
    offset_m: float = to_metres(0.1, "ft")
    ground_m: float = to_metres(0.05, "ft")
    corner_deg: float = 0.5
    square_deg: float = 1.5
    wander_deg: float = per_root_metre(WANDER_PER_ROOT_FT, "ft")
    fitting_deg: float = 2.0
    eye_deg: float = 8.0
    fall: float = 0.02
    sd_fall: float = 0.02
    fall_wander_deg: float = per_root_metre(FALL_WANDER_PER_ROOT_FT, "ft")
    mapped_line_m: float = to_metres(1.0, "ft")
    mapped_point_m: float = to_metres(0.1, "ft")


@dataclass(frozen=True, slots=True)
class PipeRun:
    """Pipe of one material and size from ``from_m`` on. ``size_m`` is the nominal size.

    ``wander_deg`` (degrees per square root of a metre) overrides the site's wander on this run.
    """

    from_m: float
    material: Material
    size_m: float
    wander_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Boundary:
    """A plan line, the main or a cleanout, and who answers for the pipe on each side of it.

    ``line`` is its name: the plan line's, ``main``, or what the cleanout is called. ``inside``
    answers on the start's side. A cleanout stands at ``footage_m`` on the counter (None for the
    others), read with ``sd_footage_m``.
    """

    line: str
    inside: str
    outside: str
    decides: bool = False
    kind: BoundaryKind = "line"
    footage_m: float | None = None
    sd_footage_m: float = 0.0

    @property
    def key(self) -> tuple[str, str]:
        """Kind and name, which no two boundaries share."""
        return self.kind, self.line

    @property
    def one_party(self) -> bool:
        """Whether one named party answers on both sides."""
        return bool(self.inside) and self.inside == self.outside


@dataclass(frozen=True, slots=True)
class RuleOverride:
    """A stricter or other figure of a state plan or local code, in place of the federal one.

    ``value`` is in metres, or run over rise for a slope. ``citation`` says where it is written.
    """

    key: RuleKey
    value: float
    citation: str


@dataclass(frozen=True, slots=True)
class SoilLayer:
    """A layer of soil over that of the trench's bottom, down to ``to_m`` below the ground."""

    to_m: float
    soil: Soil


@dataclass(frozen=True, slots=True)
class DigRules:
    """What the local rule and the site ask of the dig.

    ``tolerance_zone_m`` is None where no rule was written in site.toml. ``soil`` is that of the
    trench's bottom, ``layers`` what lies over it from the ground down; ``cohesive`` says that Type
    B soil is. ``swell`` is the least and greatest share by which dug earth grows, None where the
    site says nothing; ``swell_source`` says where it is from. ``walls`` is how the dig is to be
    opened, ``box_height_m`` how high the trench box is, None where none is to hand.
    ``pavement_cutback_m`` is how far paving is cut back beyond the trench.
    """

    tolerance_zone_m: float | None = None
    rule: str = ""
    soil: Soil = "C"
    layers: tuple[SoilLayer, ...] = ()
    cohesive: bool = False
    walls: Walls = "sloped"
    box_height_m: float | None = None
    trench_width_m: float = to_metres(24.0, "in")
    bedding_m: float = to_metres(6.0, "in")
    swell: tuple[float, float] | None = None
    swell_source: str = ""
    pavement_cutback_m: float = to_metres(6.0, "in")
    overrides: tuple[RuleOverride, ...] = ()


@dataclass(frozen=True, slots=True)
class Reach:
    """A stretch of footage somebody means to repair; ``soil`` is its own, from top to bottom."""

    from_m: float
    to_m: float
    name: str = ""
    soil: Soil | None = None


@dataclass(frozen=True, slots=True)
class Rate:
    """What one unit of something costs, least and most, per metre, m², m³ or each."""

    item: RateItem
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Rates:
    """The site's own unit rates; ``currency`` is printed beside every sum."""

    currency: str = ""
    rates: tuple[Rate, ...] = ()


# What a run was to come to.
FarEnd = Literal["main", "house", "other"]
# Points of a plan have no kind: one that may stand on the main is told by how it is named.
_PERHAPS_ON_MAIN: Final = re.compile(
    r"\bman[\s_-]?holes?\b|\bmh[\s_-]?\d*\b|\bsewer main\b|^(?:the )?main$", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Run:
    """How far the camera went, and what it came to.

    ``end_given`` says that somebody wrote where; else it is the last footage given anywhere.
    """

    end_m: float
    end: RunEnd = "main"
    end_given: bool = True

    @property
    def reached_main(self) -> bool:
        """True where the run was followed to the main."""
        return self.end == "main"


# A distance read is never nothing, whatever slip is taken out of it.
LEAST_READ_M: Final = 0.01


# A tie says of itself what others would have to ask its type for: ``kind`` and ``column`` name its
# reading; ``noted`` is what was read as it was written, None for a place; ``less`` is the tie with
# a slip of this size in that mended, ``noted_sign`` what turns a slip in its equation into one in
# what was written; ``point`` or ``line`` is what it hangs on.
@dataclass(frozen=True, slots=True)
class PositionTie:
    """A paint mark fixed by coordinates (GNSS or surveyed)."""

    kind: ClassVar[ReadingKind] = "position"
    point: ClassVar[str] = ""
    line: ClassVar[str] = ""
    noted: ClassVar[None] = None
    noted_sign: ClassVar[float] = 1.0

    easting_m: float
    northing_m: float
    sd_m: float
    method: Literal["gnss", "xy"]

    @property
    def column(self) -> str:
        """How it was measured."""
        return self.method

    def less(self, size: tuple[float, ...]) -> PositionTie:
        """Return it moved back, east and north."""
        east, north = self.easting_m - size[0], self.northing_m - size[-1]
        return replace(self, easting_m=east, northing_m=north)


@dataclass(frozen=True, slots=True)
class TapeTie:
    """A paint mark's level distance from a named plan point. ``column`` names the reading."""

    kind: ClassVar[ReadingKind] = "tape"
    line: ClassVar[str] = ""
    noted_sign: ClassVar[float] = 1.0

    point: str
    distance_m: float
    sd_m: float
    column: str = "tape1"

    @property
    def noted(self) -> float:
        """The distance."""
        return self.distance_m

    def less(self, size: tuple[float, ...]) -> TapeTie:
        """Return it shorter, though never nothing."""
        return replace(self, distance_m=max(self.distance_m - size[0], LEAST_READ_M))


@dataclass(frozen=True, slots=True)
class AlongTie:
    """A paint mark's distance along a named line from its first vertex."""

    kind: ClassVar[ReadingKind] = "along"
    column: ClassVar[str] = "along"
    point: ClassVar[str] = ""
    noted_sign: ClassVar[float] = 1.0

    line: str
    along_m: float
    sd_m: float

    @property
    def noted(self) -> float:
        """The distance along."""
        return self.along_m

    def less(self, size: tuple[float, ...]) -> AlongTie:
        """Return it nearer to the first vertex."""
        return replace(self, along_m=self.along_m - size[0])


@dataclass(frozen=True, slots=True)
class OffsetTie:
    """A paint mark's signed offset from a named line, positive to the right of its direction.

    ``as_past`` remembers that it was written as a distance past the line as seen from the start,
    ``past_is_right`` on which side of the line that is.
    """

    kind: ClassVar[ReadingKind] = "offset"
    point: ClassVar[str] = ""

    line: str
    offset_m: float
    sd_m: float
    as_past: bool = False
    past_is_right: bool = True

    @property
    def column(self) -> str:
        """The column it was written in."""
        return "past" if self.as_past else "offset"

    @property
    def noted_sign(self) -> float:
        """By what ``offset_m`` is multiplied to be as it was written."""
        return -1.0 if self.as_past and not self.past_is_right else 1.0

    @property
    def noted(self) -> float:
        """The offset, or how far past."""
        return self.noted_sign * self.offset_m

    def less(self, size: tuple[float, ...]) -> OffsetTie:
        """Return it less far on the side it was written for."""
        return replace(self, offset_m=self.offset_m - self.noted_sign * size[0])


Tie = PositionTie | TapeTie | AlongTie | OffsetTie


@dataclass(frozen=True, slots=True)
class Locate:
    """One locate: the transmitter's place on the ground at a footage.

    ``footage_m`` is the counter's reading at the lens. ``depth_m`` is the locator's read-out,
    ``held_above_m`` the height at which it was held. ``ground_m`` is the elevation of the ground
    there. ``nulls_m`` is the ground distance between the two in-line nulls, where measured.
    ``extra`` carries columns this program does not know, ``written`` its cells as typed.
    """

    mark: str
    footage_m: float
    depth_m: float | None = None
    held_above_m: float = 0.0
    ties: tuple[Tie, ...] = ()
    ground_m: float | None = None
    use: bool = True
    note: str = ""
    peak: Peak = "in-line"
    nulls_m: float | None = None
    nulls_held_above_m: float = 0.0
    place: Place = Place("locates.csv")
    extra: Mapping[str, str] = field(default_factory=dict)
    written: Mapping[str, str] = field(default_factory=dict)

    @property
    def transmitter_depth_m(self) -> float | None:
        """The transmitter's depth below ground by the read-out, which counts from the locator."""
        return None if self.depth_m is None else self.depth_m - self.held_above_m


@dataclass(frozen=True, slots=True)
class NoLocate:
    """A footage, at the lens, where somebody tried to locate and could not, and ``why``."""

    footage_m: float
    why: str
    mark: str = ""
    place: Place = Place("locates.csv")


@dataclass(frozen=True, slots=True)
class Bend:
    """A turn (right positive) and fall (down positive) at a footage, in degrees.

    ``sd_deg`` is the 1 sd of both where it is not the usual one of ``how``.
    """

    footage_m: float
    turn_deg: float = 0.0
    fall_deg: float = 0.0
    how: Literal["fitting", "eye"] = "fitting"
    note: str = ""
    place: Place = Place("bends.csv")
    sd_deg: float | None = None

    def angles_in_words(self) -> tuple[str, ...]:
        """Return the angles turned, such as ``("45° right", "22.5° down")``; none if straight."""
        turns = ((self.turn_deg, "right", "left"), (self.fall_deg, "down", "up"))
        return tuple(
            f"{abs(angle):g}° {positive if angle > 0 else negative}"
            for angle, positive, negative in turns
            if angle
        )


@dataclass(frozen=True, slots=True)
class Finding:
    """What the camera saw at a footage; ``to_m`` where it is a stretch.

    ``noted_m`` is what the counter showed there, where a slip taken for true has moved it.
    ``clock`` is where round the pipe; ``video`` and ``video_time`` say where it is seen.
    """

    footage_m: float
    finding: str
    to_m: float | None = None
    severity: Severity | None = None
    note: str = ""
    clock: str = ""
    video: str = ""
    video_time: str = ""
    place: Place = Place("findings.csv")
    noted_m: float | None = None
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def noted(self) -> tuple[float, float]:
        """What the counter showed at its two ends, the same where it is no stretch."""
        begin = self.footage_m if self.noted_m is None else self.noted_m
        end = self.footage_m if self.to_m is None else self.to_m
        return begin, begin + end - self.footage_m


@dataclass(frozen=True)
class PlanLine:
    """A mapped line: (n, 2) vertices in metres and the 1 sd of its mapped place across itself."""

    name: str
    kind: LineKind
    vertices_m: Floats
    sd_m: float
    source: str = ""

    @cached_property
    def segments(self) -> Segments:
        """Its straight pieces, made ready for distances."""
        return Segments(self.vertices_m)


@dataclass(frozen=True, slots=True)
class UtilityLine:
    """A mapped utility. ``depth_m`` (to its top) and ``size_m`` (across) are None where unknown."""

    name: str
    utility: UtilityKind
    vertices_m: Floats
    depth_m: float | None = None
    sd_m: float | None = None
    source: str = ""
    size_m: float | None = None


@dataclass(frozen=True, slots=True)
class PlanPoint:
    """A named permanent point to tape from, with the 1 sd per axis of its mapped place."""

    name: str
    easting_m: float
    northing_m: float
    sd_m: float
    elevation_m: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class SpotLevel:
    """A ground elevation at a plan point."""

    easting_m: float
    northing_m: float
    elevation_m: float
    name: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Terrain:
    """Ground elevations read off a terrain model: (n, 3) easting, northing, elevation, metres.

    ``sd_m`` is the 1 sd of an elevation; ``source`` names the file and what was assumed of it.
    """

    points_m: Floats
    sd_m: float
    source: str


@dataclass(frozen=True, slots=True)
class PlanArea:
    """A building or a surface. ``cover`` is None for buildings."""

    name: str
    kind: Literal["building", "surface"]
    polygon: Polygon
    cover: Cover | None = None
    source: str = ""


@dataclass(frozen=True)
class Plan:
    """The plan around the line."""

    lines: tuple[PlanLine, ...] = ()
    utilities: tuple[UtilityLine, ...] = ()
    points: tuple[PlanPoint, ...] = ()
    levels: tuple[SpotLevel, ...] = ()
    areas: tuple[PlanArea, ...] = ()
    terrain: Terrain | None = None
    sketch: Sketch | None = None
    picture: PlanPicture | None = None

    def line(self, name: str) -> PlanLine:
        """Return the line called ``name``; raises ``KeyError``."""
        for line in self.lines:
            if line.name == name:
                return line
        raise KeyError(name)

    def point(self, name: str) -> PlanPoint:
        """Return the point called ``name``; raises ``KeyError``."""
        return self._point_of[name]

    @cached_property
    def spots_m(self) -> Floats:
        """Spot levels and terrain: (n, 3) easting, northing, elevation, metres."""
        levels = [[one.easting_m, one.northing_m, one.elevation_m] for one in self.levels]
        spots = np.array(levels, float).reshape(-1, 3)
        return spots if self.terrain is None else np.concatenate([spots, self.terrain.points_m])

    @cached_property
    def surface(self) -> Callable[[Floats], Floats] | None:
        """The surface through the spots: elevations (...) at places (..., 2), NaN beyond them.

        None where they make no surface. Laid once: of all that is asked of the ground that takes
        the longest.
        """
        if len(self.spots_m) < 3:
            return None
        from scipy.interpolate import LinearNDInterpolator
        from scipy.spatial import QhullError

        try:
            return LinearNDInterpolator(self.spots_m[:, :2], self.spots_m[:, 2])
        except QhullError:  # in a row
            return None

    @cached_property
    def _point_of(self) -> dict[str, PlanPoint]:
        return {point.name: point for point in self.points}


@dataclass(frozen=True)
class Site:
    """Everything one site folder says, checked and in metres.

    ``unit`` is the unit people read and write lengths in. ``notices`` are things assumed while
    reading that the reader of a drawing should know. ``applied`` are slips that the readings here
    are mended of already; ``as_written`` is then the site as its tables have it.
    """

    name: str
    frame: Frame
    unit: Unit
    start: Start
    accuracy: Accuracy
    run: Run
    date: dt.date | None = None
    counter: Counter = Counter()
    transmitter: Transmitter = Transmitter()
    pipes: tuple[PipeRun, ...] = ()
    boundaries: tuple[Boundary, ...] = ()
    dig: DigRules = DigRules()
    locates: tuple[Locate, ...] = ()
    no_locates: tuple[NoLocate, ...] = ()
    bends: tuple[Bend, ...] = ()
    findings: tuple[Finding, ...] = ()
    plan: Plan = Plan()
    notices: tuple[str, ...] = ()
    folder: Path | None = None
    referral: Referral = field(default_factory=Referral)
    job: Job = field(default_factory=Job)
    main: SewerMain = field(default_factory=SewerMain)
    reaches: tuple[Reach, ...] = ()
    rates: Rates = Rates()
    fall_code: FallCodeName = "IPC"
    earlier: str = ""
    applied: tuple[Applied, ...] = ()
    as_written: Site | None = None

    @property
    def against_flow(self) -> bool:
        """Whether the camera went up the pipe, as from a manhole in the street to the house."""
        return self.job.camera_direction == "upstream"

    @property
    def far_end(self) -> FarEnd:
        """What the run was to come to: the main, or the house's end where it went up the pipe.

        Where nobody says which way it went from a manhole, neither: a lot may have one of its own.
        """
        if self.against_flow:
            return "house"
        untold = self.job.camera_direction is None
        return "other" if untold and _PERHAPS_ON_MAIN.search(self.start.point or "") else "main"

    def transmitter_footage_m(self, locate: Locate) -> float:
        """Return the footage (m) of the transmitter at a locate: it rides behind the lens."""
        return max(locate.footage_m - self.transmitter.behind_lens_m, self.counter.zero_m)

    def read_invert_depth_m(self, locate: Locate) -> float | None:
        """Return the invert below ground by a locate's own read-out, None where none was read.

        The transmitter rides above the invert.
        """
        read = locate.transmitter_depth_m
        return None if read is None else read + self.transmitter.above_invert_m

    def start_off_m(self, line: PlanLine) -> float:
        """Return how far from a plan line the start was put, on either side of it."""
        here = np.array([self.start.easting_m, self.start.northing_m])
        return abs(float(signed_offsets(line.segments, here).offset_m))

    def deciding_boundaries(self) -> tuple[Boundary, ...]:
        """Return the boundaries that decide, each after the one that leads up to it.

        Where several stand at one place the pipe passes them in this order on its way out; nobody
        answers for the nothing between them.
        """
        return self._deciding

    @cached_property
    def _deciding(self) -> tuple[Boundary, ...]:
        rest = [boundary for boundary in self.boundaries if boundary.decides]
        ordered: list[Boundary] = []
        while rest:
            first = (
                one
                for one in rest
                if not any(other.outside == one.inside for other in rest if other is not one)
            )
            ordered.append(next(first, rest[0]))
            rest.remove(ordered[-1])
        return tuple(ordered)

    def boundary_footage_m(self, boundary: Boundary) -> float:
        """Return the footage of a boundary at the main (the run's end) or at a cleanout.

        A cleanout without a footage of its own is the one the run starts from.
        """
        if boundary.kind == "main":
            return self.run.end_m
        return self.counter.zero_m if boundary.footage_m is None else boundary.footage_m

    def boundary_sd_m(self, boundary: Boundary) -> float:
        """Return the 1 sd along the pipe of a boundary at the main or a cleanout."""
        return boundary.sd_footage_m or self.counter.sd_reading_m

    def used_locates(self) -> tuple[Locate, ...]:
        """Return the locates in use, by footage."""
        return self._used

    @cached_property
    def _used(self) -> tuple[Locate, ...]:
        used = (one for one in self.locates if one.use)
        return tuple(sorted(used, key=lambda one: one.footage_m))

    @cached_property
    def locate_of(self) -> dict[str, Locate]:
        """The locates, those set aside too, by their marks."""
        return {one.mark: one for one in reversed(self.locates)}

    @cached_property
    def bend_names(self) -> dict[int, str]:
        """What each bend is known by, by its identity: its footage as the site's unit writes it.

        Bends at one footage are told apart by their order.
        """
        names, counts = dict[int, str](), dict[float, int]()
        for bend in self.bends:
            footage = f"{from_metres(bend.footage_m, self.unit):.2f}".rstrip("0").rstrip(".")
            before = counts.get(bend.footage_m, 0)
            counts[bend.footage_m] = before + 1
            names[id(bend)] = f"{footage} #{before + 1}" if before else footage
        return names

    @cached_property
    def bend_of(self) -> dict[str, Bend]:
        """The bends by what each is known by."""
        return {self.bend_names[id(one)]: one for one in reversed(self.bends)}

    @cached_property
    def expected_depths_m(self) -> dict[str, float]:
        """How deep, by mark, the transmitter should lie at every locate (``model.expected``)."""
        return expect_depths(self)

    def depth_footages_m(self) -> list[float]:
        """Return the footages (m) where the pipe's depth was measured, the start's too."""
        read = [
            self.transmitter_footage_m(one)
            for one in self.locates
            if one.use and (one.depth_m is not None or one.nulls_m is not None)
        ]
        if self.start.depth_m is not None:
            read.append(self.counter.zero_m + self.start.riser_m)
        return sorted(read)
