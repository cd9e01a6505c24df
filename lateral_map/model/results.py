"""What the analyses answer, in metres and degrees in the site's plane; arrays are read-only.

``rests_on`` holds the names of the readings an answer depends on, most telling first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import MultiPolygon, Polygon

from lateral_map.model.route import Route
from lateral_map.model.site import Finding, LineKind, Site

Floats = NDArray[np.float64]

Basis = Literal["located", "between locates", "dead reckoned"]
SideVerdict = Literal["inside", "past", "too close to call"]
ReadingVerdict = Literal["good", "suspect", "unchecked"]
FallVerdict = Literal["enough fall", "too flat", "falls back", "readings cannot tell"]


def read_only(values: ArrayLike) -> Floats:
    """Return ``values`` as an array nobody can write to."""
    array = np.array(values, float)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True)
class Stations:
    """The route at regular footages and at every event, one array entry a station.

    ``elevation_m`` is the invert's; ``depth_m`` the invert below ground. ``semi_major_m`` and
    ``semi_minor_m`` are the 95 % ellipse's, ``ellipse_azimuth_deg`` its long axis. ``across_sd_m``
    and ``along_sd_m`` are 1 sd across and along the pipe. ``events`` names what stands at a
    station. ``ground_known`` is False where nobody measured the ground: ``ground_m`` and
    ``elevation_m`` are then counted from a level ground line.
    """

    footage_m: Floats
    easting_m: Floats
    northing_m: Floats
    elevation_m: Floats
    ground_m: Floats
    depth_m: Floats
    depth_sd_m: Floats
    heading_deg: Floats
    heading_sd_deg: Floats
    across_sd_m: Floats
    along_sd_m: Floats
    semi_major_m: Floats
    semi_minor_m: Floats
    ellipse_azimuth_deg: Floats
    basis: tuple[Basis, ...]
    events: tuple[tuple[str, ...], ...]
    ground_known: bool = True

    def index_of(self, footage_m: float) -> int:
        """Return the index of the station nearest to a footage."""
        return int(np.argmin(np.abs(self.footage_m - footage_m)))


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where the route crosses a plan line. ``sd_footage_m`` is 1 sd along the pipe.

    ``angle_deg`` is between pipe and line, 90 where they meet squarely. ``extended`` is True where
    the line had to be carried on past its mapped end. ``decides`` is True where responsibility
    changes at this line. ``outward`` is True where the run goes past the line, False where it comes
    back. ``note`` says in words what makes the crossing less sure than it looks, else empty.
    """

    line: str
    kind: LineKind
    footage_m: float
    sd_footage_m: float
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    angle_deg: float
    decides: bool
    extended: bool
    rests_on: tuple[str, ...]
    outward: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Side:
    """On which side of a line something lies.

    ``past_m`` is positive past it, as seen from the start. ``extended`` is True where the line had
    to be carried on past its mapped end.
    """

    line: str
    past_m: float
    sd_past_m: float
    probability_past: float
    verdict: SideVerdict
    extended: bool = False


@dataclass(frozen=True, slots=True)
class FindingResult:
    """A finding placed on the ground. ``sides_to`` is for the far end of a stretch, else empty.

    ``answers`` is who answers for it ("too close to call" where the odds do not say), empty where
    no boundary decides; for a stretch whose ends differ, both in order: "owner, then city".
    ``settle`` says in words which one more reading would settle it. ``straddles`` names the lines
    between a stretch's two ends.
    """

    finding: Finding
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    semi_major_m: float
    semi_minor_m: float
    ellipse_azimuth_deg: float
    basis: Basis
    sides: tuple[Side, ...]
    sides_to: tuple[Side, ...]
    answers: str
    settle: str
    rests_on: tuple[str, ...]
    straddles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ResponsibilityStretch:
    """A stretch of footage one party answers for; ends carry 1 sd (0 at the run's own ends)."""

    from_m: float
    to_m: float
    party: str
    sd_from_m: float
    sd_to_m: float
    line_from: str
    line_to: str


@dataclass(frozen=True, slots=True)
class FallStretch:
    """The pipe's fall between two stations, as a ratio (down-positive), with 1 sd.

    ``minimum`` is the code minimum for the size as printed, None where no size was given; ``rule``
    says where it is printed. ``verdict`` says what the readings can tell, ``words`` why.
    ``below_ground_line`` is True where nobody measured the ground: the fall is then against a level
    ground line and no true fall.
    """

    from_m: float
    to_m: float
    ratio: float
    sd_ratio: float
    minimum: float | None
    verdict: FallVerdict
    below_ground_line: bool
    rule: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class PipeStretch:
    """Pipe of one material and nominal size, with the outside diameter used for it.

    ``size_m`` is None where nobody gave it. ``source`` says where the diameter is from;
    ``is_guess`` is True where no table lists this pipe.
    """

    from_m: float
    to_m: float
    material: str
    size_m: float | None
    outside_diameter_m: float
    source: str
    is_guess: bool = False


@dataclass(frozen=True, slots=True)
class DigBuffer:
    """Ground to treat as holding the pipe: outside radius + tolerance + 95 % lateral uncertainty.

    ``corridor`` is the 95 % corridor of the pipe's centreline alone. ``half_width_m`` has one entry
    a station. ``tolerance_m`` is the width each side of the pipe's outside wall that was used, and
    ``rule`` where it is from.
    """

    polygon: Polygon | MultiPolygon
    corridor: Polygon | MultiPolygon
    half_width_m: Floats
    tolerance_m: float
    rule: str


@dataclass(frozen=True, slots=True)
class ReadingCheck:
    """One reading against the adjusted route.

    ``residual`` is reading minus route, metres, or degrees where ``is_angle``. ``standardised`` is
    the residual over its own sd; a two-dimensional reading gives the normal deviate of equal
    probability. ``likely_error`` is the size of the mistake if this reading alone is wrong (its
    own unit; 0 where nothing checks it). ``redundancy`` runs 0 (nothing checks it) to 1.
    ``set_aside_first`` is True for the reading that, set aside, best explains the suspects.
    ``footage_m`` is None for a mapped line or point, which has no place along the pipe.
    """

    reading: str
    residual: float
    is_angle: bool
    standardised: float
    redundancy: float
    verdict: ReadingVerdict
    set_aside_first: bool
    locate: str
    footage_m: float | None
    likely_error: float = 0.0


@dataclass(frozen=True, slots=True)
class Fit:
    """The whole adjustment's goodness; ``p_value`` is the chance of a worse chi-square."""

    observations: int
    unknowns: int
    degrees_of_freedom: int
    chi_square: float
    p_value: float


@dataclass(frozen=True, slots=True)
class NextLocate:
    """Where one more locate would help most, and what it would settle, in words.

    ``footage_m`` is the place on the run, where the transmitter should lie; ``reason`` gives the
    counter's reading that brings it there. The 1 sd are of what ``reason`` names.
    """

    footage_m: float
    easting_m: float
    northing_m: float
    reason: str
    sd_before_m: float
    sd_after_m: float


@dataclass(frozen=True, slots=True)
class Report:
    """Everything drawn, written or said about one site."""

    site: Site
    route: Route
    stations: Stations
    crossings: tuple[Crossing, ...]
    uncrossed: tuple[str, ...]
    findings: tuple[FindingResult, ...]
    responsibility: tuple[ResponsibilityStretch, ...]
    falls: tuple[FallStretch, ...]
    pipes: tuple[PipeStretch, ...]
    dig: DigBuffer
    readings: tuple[ReadingCheck, ...]
    fit: Fit
    next_locate: NextLocate | None
    notices: tuple[str, ...]

    @property
    def suspects(self) -> tuple[ReadingCheck, ...]:
        """Readings the rest of the site disagrees with."""
        return tuple(reading for reading in self.readings if reading.verdict == "suspect")
