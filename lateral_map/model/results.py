"""What the analyses answer, in metres and degrees in the site's plane; arrays are read-only.

``rests_on`` holds the readings an answer depends on, most telling first. Everything here is a fact
decided once; ``words`` makes the sentences.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, Literal, cast

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from lateral_map.model.arrays import Floats
from lateral_map.model.diagnosis import LIKELY, Diagnosis, Slip
from lateral_map.model.earthwork import Area, on_grid, sweep_discs
from lateral_map.model.identity import ReadingId
from lateral_map.model.route import Doubt, Route
from lateral_map.model.site import Finding, LineKind, Locate, Site
from lateral_map.model.trade import FindingClass
from lateral_map.model.trench import TrenchProfile, UtilityConflict

# Along the run: crossings no farther apart are of lines that coincide.
_SAME_PLACE_M: Final = 0.05

Basis = Literal["located", "between locates", "dead reckoned"]
SideVerdict = Literal["inside", "past", "too close to call"]
# Of a finding, all of a stretch seen: "across" has one end inside and the other past, each at 95 %,
# or goes over the line and comes back; "past from within" has a far part that is past and a
# beginning that is too close to call.
FindingVerdict = Literal["inside", "past", "across", "past from within", "too close to call"]
BoundaryKind = LineKind | Literal["main", "cleanout"]
SettlingWay = Literal[
    "which route", "look again", "locate over", "tape from line", "locate taped from line",
]  # fmt: skip
# "put off" is one whose readings are off only while a likely diagnosis elsewhere stands.
LocateState = Literal["good", "suspect", "put off", "unchecked", "set aside"]
ReadingVerdict = Literal["good", "suspect", "unchecked"]
# Why nobody is named for all of a finding.
LeftOpen = Literal["too close to call", "boundaries contradict"]
FallUnread = Literal["level ground", "too few depths", "no depth here"]
FallVerdict = Literal["enough fall", "too flat", "falls back", "readings cannot tell"]


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

    def basis_stretches(self) -> tuple[BasisStretch, ...]:
        """Return the line cut where its basis changes, half-way between those that differ."""
        footage = self.footage_m
        changes = [i for i in range(1, len(footage)) if self.basis[i] != self.basis[i - 1]]
        cuts = [float(footage[i - 1] + footage[i]) / 2.0 for i in changes]
        edges = [float(footage[0]), *cuts, float(footage[-1])]
        return tuple(
            BasisStretch(edges[k], edges[k + 1], self.basis[first])
            for k, first in enumerate([0, *changes])
        )


@dataclass(frozen=True, slots=True)
class FootageWithout:
    """Where and how deep a crossing would lie with one suspect reading left out; None for none."""

    reading: ReadingId
    footage_m: float | None
    depth_m: float | None = None


@dataclass(frozen=True, slots=True)
class DepthWithout:
    """How deep the invert would lie at a finding with one suspect reading left out."""

    reading: ReadingId
    depth_m: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where the route crosses a plan line. ``sd_footage_m`` is 1 sd along the pipe.

    ``angle_deg`` is between pipe and line, 90 where they meet squarely. ``carried_m`` is how far
    the line had to be carried on past its mapped end, 0 where it was not; the sds allow for it.
    ``decides`` is True where this line decides who answers, ``one_party`` where one party does on
    both sides of it. ``outward`` is True where the run
    goes past the line, False where it comes back. ``grazing`` is True where the pipe runs nearly
    along the line, so that the crossing's footage is several times looser than the distance to it.
    ``others_m`` are the footages at which other lines that fit as well cross it instead, more than
    1 ft away; ``may_miss`` is True where one of them does not cross it at all. The sds are about
    the best line's crossing.
    """

    line: str
    kind: BoundaryKind
    footage_m: float
    sd_footage_m: float
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    angle_deg: float
    decides: bool
    carried_m: float
    rests_on: tuple[ReadingId, ...]
    outward: bool = True
    grazing: bool = False
    footage_without: tuple[FootageWithout, ...] = ()
    others_m: tuple[float, ...] = ()
    may_miss: bool = False
    one_party: bool = False

    @property
    def boundary(self) -> tuple[str, str]:
        """Kind and name of the boundary it is of: a plan line may be called main, too."""
        return (self.kind if self.kind in ("main", "cleanout") else "line"), self.line


@dataclass(frozen=True, slots=True)
class OtherGround:
    """Where the line lies under a mapped building, or goes over a lot line into another's ground.

    ``to_m`` is ``from_m`` at a lot line. ``sure`` is False where the line drawn keeps clear of the
    building and its 95 % range does not. The building a run begins in is none of them.
    """

    name: str
    what: Literal["building", "lot line"]
    from_m: float
    to_m: float
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Uncrossed:
    """A line the run never crosses, and how near it comes.

    ``gap_m`` is the least distance, with 1 sd, at ``at_m`` along the run; all three are None where
    the run ends in its riser. ``at_end`` is True where that is the run's end, ``one_party`` where
    one party answers on both sides of the line.
    """

    line: str
    kind: BoundaryKind
    decides: bool
    gap_m: float | None = None
    sd_gap_m: float | None = None
    at_m: float | None = None
    at_end: bool = False
    one_party: bool = False


@dataclass(frozen=True, slots=True)
class Side:
    """On which side of a boundary something lies.

    ``past_m`` is positive past it, as seen from the start: in plan from a line, along the pipe from
    the main or a cleanout. ``carried_m`` is how far the line had to be carried on past its mapped
    end, 0 where it was not; the sd allows for it.
    """

    line: str
    past_m: float
    sd_past_m: float
    probability_past: float
    verdict: SideVerdict
    carried_m: float = 0.0


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """Where on the ground and how deep a footage lies; depths are the invert's."""

    footage_m: float
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    semi_major_m: float
    semi_minor_m: float
    ellipse_azimuth_deg: float
    basis: Basis


@dataclass(frozen=True, slots=True)
class Settling:
    """The one more reading that would tell most about a finding too close to call.

    ``way`` is "which route" where other routes fit as well (the rest is then empty), "look again"
    where a reading that may be wrong decides it (``reading``, or the video near ``at_m`` where it
    is no one reading), "locate over" (a locate over ``at_m``, its mark taped from permanent
    points), "tape from line" (from the real ``line`` to the mark ``mark`` near ``at_m``) or
    "locate taped from line" (both at once).
    ``sd_before_m`` and ``sd_after_m`` are 1 sd of the distance past ``line``; ``enough`` is True
    where a verdict is to be expected.
    """

    way: SettlingWay
    line: str = ""
    at_m: float = 0.0
    mark: str = ""
    sd_before_m: float = 0.0
    sd_after_m: float = 0.0
    enough: bool = True
    reading: ReadingId | None = None


@dataclass(frozen=True, slots=True)
class VerdictUnder:
    """What a finding's verdict would be with a diagnosis followed.

    Without a slip: if what was taken for true were not, and the notes held as written.
    """

    slip: Slip | None
    verdict: FindingVerdict


@dataclass(frozen=True, slots=True)
class VerdictWithout:
    """What a finding's verdict would be with one suspect reading left out."""

    reading: ReadingId
    verdict: FindingVerdict


@dataclass(frozen=True, slots=True)
class SurePart:
    """A place along a finding at which one party surely answers."""

    footage_m: float
    party: str


@dataclass(frozen=True, slots=True)
class FindingResult:
    """A finding placed on the ground and judged.

    ``number`` counts from 1 and is the finding's on every drawing and in every file;
    ``finding_class`` tells a defect from how the pipe was built and from a danger. ``near`` and
    ``far`` are the places of its two ends; ``far`` is None where it is no stretch. ``sides`` and
    ``sides_to`` are those of the two ends, one a boundary; ``deciding`` and ``deciding_to`` those
    of the boundary that decides it, None where none does. ``between`` is where a stretch whose ends
    lie on one side of that boundary lies farthest on its other, or too near to it to call;
    ``between_m`` is the footage; None where it surely stays on that side. ``verdict`` is for that
    boundary.
    ``answers`` are the parties in order along the finding, empty where it is too close to call or
    no boundary decides; ``may_answer`` are all that the readings leave possible. ``sure`` are the
    places along it, in order, at which one party surely answers, however open the rest is.
    ``settling`` is None where nothing is in doubt. ``turns_m`` is how far the line that decides may
    lie from where the map has it before the finding, or an end of it that is sure, is on its other
    side, None where readings check the line. ``asked`` says that its own footage stands alone and
    is asked about.
    """

    number: int
    finding: Finding
    finding_class: FindingClass
    near: FoundPlace
    far: FoundPlace | None
    sides: tuple[Side, ...]
    sides_to: tuple[Side, ...]
    deciding: Side | None
    deciding_to: Side | None
    verdict: FindingVerdict | None
    answers: tuple[str, ...]
    may_answer: tuple[str, ...]
    rests_on: tuple[ReadingId, ...]
    between: Side | None = None
    between_m: float = 0.0
    settling: Settling | None = None
    verdict_without: tuple[VerdictWithout, ...] = ()
    verdict_under: tuple[VerdictUnder, ...] = ()
    depth_without: tuple[DepthWithout, ...] = ()
    turns_m: float | None = None
    asked: bool = False
    sure: tuple[SurePart, ...] = ()

    @property
    def surely_answers(self) -> tuple[str, ...]:
        """Whoever surely answers for it or for a part of it, each once, in order along it."""
        return tuple(dict.fromkeys((*(part.party for part in self.sure), *self.answers)))

    @property
    def begins_with(self) -> str:
        """The party that surely answers where it begins, empty where that is open."""
        return next((one.party for one in self.sure if one.footage_m == self.near.footage_m), "")

    @property
    def ends_with(self) -> str:
        """The party that surely answers where it ends, empty where that is open."""
        end = self.ends[-1][0].footage_m
        return next((one.party for one in self.sure if one.footage_m == end), "")

    @property
    def telling(self) -> Side | None:
        """The side to tell first: of the boundary that decides, else of the first one."""
        return self.deciding or (self.sides[0] if self.sides else None)

    @property
    def contradicted(self) -> bool:
        """True where its side is sure and the boundaries that decide name several for it."""
        return not self.answers and self.verdict not in (None, "too close to call")

    @property
    def left_open(self) -> LeftOpen | None:
        """Why ``answers`` does not name who answers for all of it, None where it does."""
        if self.contradicted:
            return "boundaries contradict"
        close = self.verdict in ("too close to call", "past from within")
        return "too close to call" if close and len(self.may_answer) > 1 else None

    @property
    def ends(self) -> tuple[tuple[FoundPlace, tuple[Side, ...]], ...]:
        """Each end's place and its sides, one or two."""
        near = (self.near, self.sides)
        return (near,) if self.far is None else (near, (self.far, self.sides_to))


def is_settled(route: Route, findings: tuple[FindingResult, ...]) -> bool:
    """Return whether findings were judged, each firmly, on one located line and no other.

    Without a finding, a deciding line or a locate tied in plan there is nothing to be settled.
    """
    judged = [one for one in findings if one.verdict is not None]
    doubtful = ("too close to call", "past from within")
    return (
        bool(judged)
        and len(route.tied_footages_m) > 0
        and not route.alternatives
        and all(one.verdict not in doubtful for one in judged)
    )


@dataclass(frozen=True, slots=True)
class OtherAnswers:
    """What else the readings may mean, and where the boundaries are crossed by that."""

    doubt: Doubt
    crossings: tuple[Crossing, ...]


@dataclass(frozen=True, slots=True)
class PlaceAlong:
    """Whoever may answer at a footage; ``near_crossing`` within a crossing's own 95 % range."""

    footage_m: float
    parties: tuple[str, ...]
    near_crossing: bool


@dataclass(frozen=True, slots=True)
class ResponsibilityStretch:
    """A stretch of footage one party answers for; ends carry 1 sd (0 at the run's own ends).

    ``party`` is empty where the readings do not tell which of ``may_answer`` does. An end at no
    line is the run's own, or where that begins or ends to be told.
    """

    from_m: float
    to_m: float
    party: str
    sd_from_m: float
    sd_to_m: float
    line_from: str
    line_to: str
    may_answer: tuple[str, ...] = ()

    @property
    def parties(self) -> tuple[str, ...]:
        """Whoever answers, or may."""
        return (self.party,) if self.party else self.may_answer


@dataclass(frozen=True, slots=True)
class FallStretch:
    """The pipe's fall between two stations, as a ratio (positive with the flow), with 1 sd.

    ``minimum`` is the code minimum for the size as printed, None where no size was given; ``rule``
    says where it is printed. ``verdict`` says what the readings can tell, ``unread`` why none bears
    on it where none does. ``turns`` is True where the readings as they stand tell one verdict, and
    what else they may mean another, as without a suspect depth: it is then left open.
    ``below_ground_line`` is True where nobody measured the ground: the fall is then against a level
    ground line and no true fall. ``flow_said`` is False where nothing says which way the camera
    went: it is then taken to have gone with the flow.
    """

    from_m: float
    to_m: float
    ratio: float
    sd_ratio: float
    minimum: float | None
    verdict: FallVerdict
    below_ground_line: bool
    rule: str = ""
    unread: FallUnread | None = None
    flow_said: bool = True
    turns: bool = False


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


@dataclass(frozen=True)
class DigBuffer:
    """Ground to treat as holding the pipe: outside radius + tolerance + 95 % lateral uncertainty.

    ``half_width_m`` and ``lateral_m``, the 95 % bound across the pipe, have one entry a station.
    ``tolerance_m`` is the width each side of the pipe's outside wall that was used, and ``rule``
    where it is from. ``centre_m`` (stations + 2, 2) and ``heading_deg`` (stations + 2,) are the run
    with its two ends carried on; ``others_m`` the lines of other routes that fit as well. The areas
    are drawn when somebody first asks for them.
    """

    centre_m: Floats
    heading_deg: Floats
    half_width_m: Floats
    lateral_m: Floats
    tolerance_m: float
    rule: str
    others_m: tuple[Floats, ...] = ()

    @cached_property
    def polygon(self) -> Area:
        """The ground, that about the other routes by its greatest half width included."""
        polygon = sweep_discs(self.centre_m, self.heading_deg, self.half_width_m)
        if not self.others_m:
            return polygon
        reach = float(on_grid(self.half_width_m.max()))
        others = [LineString(on_grid(one)).buffer(reach) for one in self.others_m]
        return cast("Area", shapely.union_all([polygon, *others]))

    @cached_property
    def corridor(self) -> Area:
        """The 95 % corridor of the pipe's centreline alone."""
        return sweep_discs(self.centre_m, self.heading_deg, self.lateral_m)


@dataclass(frozen=True, slots=True)
class ReadingCheck:
    """One reading against the adjusted route.

    ``residual`` is reading minus route, metres, or degrees where ``is_angle``. ``standardised`` is
    the residual over its own sd; a two-dimensional reading gives the normal deviate of equal
    probability. ``likely_error`` is the size of the mistake if this reading alone is wrong (its
    own unit; 0 where nothing checks it). ``redundancy`` runs 0 (nothing checks it) to 1.
    ``set_aside_first`` is True for the reading that, set aside, best explains the suspects.
    ``footage_m`` is None for a mapped line or point, which has no place along the pipe.
    ``would_read`` is what the reading would be if it alone is wrong, None where it is no one number
    or nothing checks it. ``smallest_seen`` (its own unit) is the least error that would be noticed
    with 80 % power at the test's own level, None where none would; ``moves_deciding_m`` how far
    such an error, unnoticed, moves the distance past the line that decides, None where none does
    (internal and external reliability, Baarda 1968, from memory).
    """

    id: ReadingId
    residual: float
    is_angle: bool
    standardised: float
    redundancy: float
    verdict: ReadingVerdict
    set_aside_first: bool
    footage_m: float | None
    likely_error: float = 0.0
    would_read: float | None = None
    smallest_seen: float | None = None
    moves_deciding_m: float | None = None


@dataclass(frozen=True, slots=True)
class LocateResult:
    """A locate on the plan and in the profile.

    ``easting_m``, ``northing_m`` are the paint mark's: adjusted for a locate in use, where its own
    ties put it for one set aside, None where those do not fix a place. ``footage_m`` is the
    transmitter's along the pipe. ``depth_m`` is the invert's below ground by its own read-out, with
    1 sd, None where no depth was read. ``checks`` are its readings against the line.
    """

    locate: Locate
    footage_m: float
    easting_m: float | None
    northing_m: float | None
    depth_m: float | None
    sd_depth_m: float | None
    state: LocateState
    checks: tuple[ReadingCheck, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """A reading that makes no sense as written.

    ``read_m`` is as it was read. ``unit`` is the unit in which the same number would make sense,
    ``point`` where a decimal point would put it right, ``foot`` where a start's depth may be that
    of the riser's foot, empty where nothing does; ``would_be_m`` is what it would then be.
    ``finding`` counts the site's findings from 0 where it is one's footage;
    ``ends_run`` says that nothing else tells where the run ends.
    """

    reading: ReadingId
    read_m: float
    unit: str
    would_be_m: float | None
    finding: int | None = None
    ends_run: bool = False


@dataclass(frozen=True, slots=True)
class Fit:
    """The whole adjustment's goodness.

    ``p_value`` is the chance of a worse chi-square, None where nothing is left over to check with.
    """

    observations: int
    unknowns: int
    degrees_of_freedom: int
    chi_square: float
    p_value: float | None


@dataclass(frozen=True, slots=True)
class NextLocate:
    """Where one more locate would help most, and what it would sharpen.

    ``footage_m`` is the place on the run where the transmitter should lie, ``lens_m`` the counter's
    reading that brings it there. ``goal`` says what it is for: a ``finding`` number's side of
    ``line``, the crossing of ``line``, or the route's widest place. The 1 sd are of that; where the
    notes are ``doubted`` they are as if that were settled first, which no locate does for sure.
    """

    footage_m: float
    lens_m: float
    easting_m: float
    northing_m: float
    goal: Literal["finding", "crossing", "width"]
    line: str
    finding: int | None
    sd_before_m: float
    sd_after_m: float
    doubted: bool = False


@dataclass(frozen=True, slots=True)
class PlannedLocate:
    """A locate worth taking on a run where none is tied yet.

    ``footage_m`` is where the transmitter should lie, ``lens_m`` the counter's reading that brings
    it there; ``line`` is the real line to tape the mark from, empty where points will do.
    """

    footage_m: float
    lens_m: float
    easting_m: float
    northing_m: float
    line: str = ""


@dataclass(frozen=True, slots=True)
class LocatePlan:
    """Before the job: which locates to take, by footage, and what they would make of the run.

    The 1 sd are of where the line that decides is crossed, along the pipe (None where none is), and
    of the line's widest place across it.
    """

    locates: tuple[PlannedLocate, ...]
    sd_crossing_m: float | None
    sd_across_m: float


@dataclass(frozen=True, slots=True)
class BasisStretch:
    """Footages (m) between which the line rests on one basis."""

    from_m: float
    to_m: float
    basis: Basis


@dataclass(frozen=True, slots=True)
class PartyLetter:
    """What is to be asked of one party that the sender does not speak for; defects only.

    ``theirs`` lie wholly in its part, ``shared`` reach into it, ``close`` may lie in it for all the
    readings tell. ``dangers`` are everybody's. ``line`` and ``crossing`` begin its part as seen
    from the client's, both empty where the run does not reach it.
    """

    party: str
    line: str
    crossing: Crossing | None
    theirs: tuple[FindingResult, ...]
    shared: tuple[FindingResult, ...]
    close: tuple[FindingResult, ...]
    dangers: tuple[FindingResult, ...]


@dataclass(frozen=True, slots=True)
class MissedMain:
    """How far (with 1 sd) the nearest mapped sewer is from the end of a run said to meet one."""

    name: str
    gap_m: float
    sd_gap_m: float


@dataclass(frozen=True, slots=True)
class TapStation:
    """How far along the main from ``manhole`` the lateral joins it, with 1 sd.

    ``station_m`` is by the plan, None where it does not hold both the main and that manhole;
    ``gap_m`` is how far the run's end then lies from the main as mapped. ``typed_m`` is as somebody
    read it in the main; ``fits`` are the manholes from which the two agree at 95 %.
    """

    manhole: str
    station_m: float | None
    sd_station_m: float | None
    gap_m: float | None
    sd_gap_m: float | None
    typed_m: float | None
    sd_typed_m: float | None
    fits: tuple[str, ...] = ()

    @property
    def disagrees(self) -> bool:
        """Whether plan and reading put the tap at two places."""
        both = self.typed_m is not None and self.station_m is not None
        return both and self.manhole not in self.fits


@dataclass(frozen=True, slots=True)
class Report:
    """Everything drawn, written or said about one site.

    ``client`` is the party the sender speaks for. ``utilities`` stand in order of danger.
    ``diagnosed`` is False where nobody asked what would explain readings that disagree.
    """

    site: Site
    route: Route
    stations: Stations
    crossings: tuple[Crossing, ...]
    uncrossed: tuple[Uncrossed, ...]
    findings: tuple[FindingResult, ...]
    responsibility: tuple[ResponsibilityStretch, ...]
    client: str
    client_assumed: bool
    letters: tuple[PartyLetter, ...]
    falls: tuple[FallStretch, ...]
    pipes: tuple[PipeStretch, ...]
    dig: DigBuffer
    readings: tuple[ReadingCheck, ...]
    locates: tuple[LocateResult, ...]
    fit: Fit
    next_locate: NextLocate | None
    trench: TrenchProfile
    utilities: tuple[UtilityConflict, ...]
    other_ground: tuple[OtherGround, ...] = ()
    diagnoses: tuple[Diagnosis, ...] = ()
    questions: tuple[Question, ...] = ()
    tap: TapStation | None = None
    missed_main: MissedMain | None = None
    planned: LocatePlan | None = None
    diagnosed: bool = True

    @property
    def enough(self) -> bool:
        """Whether every finding's side of what decides is firm, so that no locate is wanted."""
        return is_settled(self.route, self.findings)

    @property
    def likely_diagnoses(self) -> tuple[Diagnosis, ...]:
        """The diagnoses more probable than not, which take the blame off other readings."""
        return tuple(one for one in self.diagnoses if one.probability >= LIKELY)

    @property
    def dangers(self) -> tuple[FindingResult, ...]:
        """Foreign pipes and cables seen in the sewer."""
        return tuple(one for one in self.findings if one.finding_class == "danger")

    @property
    def defects(self) -> tuple[FindingResult, ...]:
        """The findings that somebody answers for."""
        return tuple(one for one in self.findings if one.finding_class == "defect")

    @property
    def suspects(self) -> tuple[ReadingCheck, ...]:
        """Readings the rest of the site disagrees with."""
        return tuple(reading for reading in self.readings if reading.verdict == "suspect")

    @property
    def deciding_crossings(self) -> tuple[Crossing, ...]:
        """Where responsibility changes, by footage."""
        return tuple(crossing for crossing in self.crossings if crossing.decides)

    @property
    def crossings_together(self) -> tuple[tuple[Crossing, ...], ...]:
        """The crossings by footage, those in one place together: where mapped lines coincide."""
        footages = [one.footage_m for one in self.crossings]
        apart = 1 + np.flatnonzero(np.diff(footages) > _SAME_PLACE_M)
        ends = [0, *apart.tolist(), len(footages)] if footages else []
        return tuple(self.crossings[begin:end] for begin, end in pairwise(ends))

    @property
    def parties(self) -> tuple[str, ...]:
        """Everybody who answers for some of the run, or may, in order along it."""
        return tuple(dict.fromkeys(p for stretch in self.responsibility for p in stretch.parties))

    @property
    def in_pipe(self) -> NDArray[np.bool_]:
        """Which stations lie in the pipe: a riser goes up to the surface, and its depths are none.

        Two outputs that say how deep the pipe lies count from its foot on alike.
        """
        return np.asarray(self.stations.footage_m >= self.route.chain.nodes_m[0] - 1e-9)

    def line_vertices(self, from_m: float, to_m: float) -> Floats:
        """Return (n, 3) easting, northing, invert elevation (m) of the line, bends included."""
        nodes = self.route.chain.nodes_m
        inside = nodes[(nodes > from_m) & (nodes < to_m)]
        return self.route.positions([from_m, *inside, to_m])

    def line_between(self, from_m: float, to_m: float) -> Floats:
        """Return (n, 2) plan points (m) of the line from one footage to another, bends included."""
        return self.line_vertices(from_m, to_m)[:, :2]
