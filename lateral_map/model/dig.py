"""What the dig review answers, in metres, m², m³ and degrees in the site's plane; arrays read-only.

Depths are below ground and positive down. ``crown`` is the outside top of the pipe: cover is what
lies above it. ``bottom`` is the bottom of the trench: the outside bottom of the pipe less the
bedding. Bounds are 95 %, two-sided (1.96 sd), unless a field says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import accumulate
from typing import Final, Literal

from lateral_map.model.results import Basis, FindingResult, PipeStretch, Report
from lateral_map.model.site import (
    Bend,
    Cover,
    Finding,
    RateItem,
    RuleKey,
    Soil,
    SoilLayer,
    Walls,
)
from lateral_map.model.trench import Area, TrenchProfile, UtilityConflict
from lateral_map.model.walls import WallShape
from lateral_map.units import format_length

Standing = Literal["confirmed", "from memory", "common practice", "set by the site"]
KeyPointKind = Literal[
    "danger", "crossing", "boundary", "reach end", "bend", "transition", "finding", "end"
]
GroundCover = Cover | Literal["not mapped", "building"]
Nearness = Literal["within the trench", "within the sloped cut", "within the influence line"]
StructureKind = Literal["building", "named point", "utility"]
NullVerdict = Literal["agree", "suspect"]
MethodName = Literal[
    "open cut, shored", "open cut, sloped", "open cut, benched", "open cut, box and slope", "liner"
]
RefusedFor = Literal[
    "a foreign pipe or cable in the sewer",
    "through a building",
    "into a building's influence",
    "the wall never meets the ground",
]
DepthUnread = Literal["never read", "interpolated", "carried on"]
# What makes tapes to a place doubtful; "near the mirror" also where the two tapes hardly cross it.
TapeDoubt = Literal[
    "no two points", "through a building", "near the mirror", "no check", "check tells nothing",
    "flat", "long",
]  # fmt: skip
Money = tuple[float, float]

CUT_METHODS: Final[dict[Walls, MethodName]] = {
    "shored": "open cut, shored", "sloped": "open cut, sloped", "benched": "open cut, benched",
    "box and slope": "open cut, box and slope",
}  # fmt: skip
# Ground that is cut back beyond the trench to be restored, and that a cut may undermine.
PAVED: Final = ("concrete", "asphalt")
# Half the last digit depths are printed to, 0.1 ft: 4.96 ft reads as the 5 ft it may well be.
_PRINTS_ALIKE_M: Final = 0.05 * 0.3048


@dataclass(frozen=True, slots=True)
class TrenchRule:
    """One figure of the trench rules: a length in metres, or run over rise where ``is_slope``.

    ``as_printed`` is the figure in the rule's own words; ``paragraph`` where it is printed;
    ``standing`` how sure we are of both. ``looser`` is True where the site's own figure asks less
    than the federal one it replaces.
    """

    key: RuleKey
    value: float
    is_slope: bool
    as_printed: str
    words: str
    paragraph: str
    standing: Standing
    looser: bool = False

    def figure(self, unit: str) -> str:
        """Return the figure as text, to the centimetre on metric sites as the rules print it."""
        if self.is_slope:
            return f"{self.value:g} across to 1 up" if self.value else "vertical"
        return format_length(self.value, unit, 2 if unit == "m" else 1)


@dataclass(frozen=True, slots=True)
class TrenchRules:
    """The figures in force on the site, and the soil they are used for.

    ``soil`` is that of the bottom, ``layers`` what lies over it; ``cohesive`` says that Type B soil
    is, ``box_height_m`` how high the trench box to hand is.
    """

    rules: tuple[TrenchRule, ...]
    soil: Soil
    layers: tuple[SoilLayer, ...] = ()
    cohesive: bool = False
    box_height_m: float | None = None

    def rule(self, key: RuleKey) -> TrenchRule:
        """Return one rule; raises ``KeyError``."""
        return {rule.key: rule for rule in self.rules}[key]

    def value(self, key: RuleKey) -> float:
        """Return one rule's figure: metres, or run over rise."""
        return self.rule(key).value

    def reached(self, key: RuleKey, depth_m: float) -> bool:
        """Say whether a depth is so near a rule's that they print alike, or past it."""
        return depth_m >= self.value(key) - _PRINTS_ALIKE_M

    def slope_of(self, soil: Soil) -> TrenchRule:
        """Return the steepest slope allowed in a soil."""
        keys: dict[Soil, RuleKey] = {
            "stable rock": "slope stable rock",
            "A": "slope A",
            "B": "slope B",
            "C": "slope C",
        }
        return self.rule(keys[soil])

    @property
    def soils(self) -> tuple[Soil, ...]:
        """Every soil there, from the ground down."""
        return (*(layer.soil for layer in self.layers), self.soil)

    @property
    def slope_rules(self) -> tuple[TrenchRule, ...]:
        """The steepest slope allowed in each of them."""
        return tuple(self.slope_of(soil) for soil in dict.fromkeys(self.soils))

    @property
    def slope(self) -> float:
        """The steepest slope allowed in the softest soil, run over rise."""
        return max(rule.value for rule in self.slope_rules)

    def wall_shapes(self) -> dict[Walls, WallShape]:
        """Return every way the walls may stand: vertical and sloped always, the others if allowed.

        Under a firmer layer a softer one gives both its slope, over it each keeps its own (29 CFR
        1926 Subpart P, Appendix B, Figure B-1.4, from memory). Benches are for Type A and cohesive
        Type B from top to bottom (Figures B-1.1 and B-1.2, from memory). A box, where one is to
        hand, stands above the foot of the slope by what the rules ask (the figures, confirmed).
        """
        own = [self.slope_of(soil).value for soil in self.soils]
        slopes = tuple(accumulate(reversed(own), max))[::-1]
        ends = tuple(layer.to_m for layer in self.layers)
        shapes: dict[Walls, WallShape] = {
            "shored": WallShape(upright_m=math.inf),
            "sloped": WallShape(slopes, ends),
        }
        steps: dict[Soil, RuleKey] = {"A": "bench A", "B": "bench B"}
        whole = set(self.soils) == {self.soil}
        if whole and (self.soil == "A" or (self.soil == "B" and self.cohesive)):
            step = self.value(steps[self.soil])
            if step > 0.0:
                shapes["benched"] = WallShape(slopes[:1], (), 0.0, self.value("first bench"), step)
        held = (self.box_height_m or 0.0) - self.value("shield top")
        if held > 0.0:
            shapes["box and slope"] = WallShape(slopes, ends, held)
        return shapes


@dataclass(frozen=True, slots=True)
class ReachEnd:
    """One end of a reach. ``sd_footage_m`` is 1 sd along the pipe of what the camera saw there."""

    footage_m: float
    sd_footage_m: float
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    along_sd_m: float
    across_sd_m: float


@dataclass(frozen=True, slots=True)
class ReachPart:
    """What one party answers for within a reach; its inner ends carry the boundary's 1 sd.

    ``probability`` is the chance that the party has any of the reach at all. ``party`` is empty
    where the readings do not tell which of ``parties`` it is.
    """

    from_m: float
    to_m: float
    sd_from_m: float
    sd_to_m: float
    party: str
    probability: float
    parties: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RepairReach:
    """A stretch to repair: proposed for the findings ``wanted``, or taken from site.toml.

    ``sd_length_m`` is the 1 sd of its length along the pipe. ``transitions_m`` are the footages
    where pipe of another size or material begins. ``soil`` is its own, None where the site's holds.
    """

    name: str
    begin: ReachEnd
    end: ReachEnd
    proposed: bool
    wanted: tuple[FindingResult, ...]
    sd_length_m: float
    pipes: tuple[PipeStretch, ...]
    transitions_m: tuple[float, ...]
    bends: tuple[Bend, ...]
    findings: tuple[FindingResult, ...]
    taps: tuple[Finding, ...]
    standing_water: tuple[Finding, ...]
    parts: tuple[ReachPart, ...]
    soil: Soil | None = None

    @property
    def length_m(self) -> float:
        """Length along the pipe."""
        return self.end.footage_m - self.begin.footage_m

    @property
    def dangers(self) -> tuple[FindingResult, ...]:
        """Foreign pipes and cables seen in the sewer within it: nobody digs or cuts there yet."""
        return tuple(one for one in self.findings if one.finding_class == "danger")


@dataclass(frozen=True, slots=True)
class DepthClass:
    """Length of trench between two depths that the rules tell apart.

    ``asks`` are the depths of the rules it has reached. ``length_if_deeper_m`` is the length in it
    with every depth at its upper 95 % bound. ``to_m`` is infinite for the deepest.
    """

    asks: tuple[RuleKey, ...]
    from_m: float
    to_m: float
    length_m: float
    length_if_deeper_m: float


@dataclass(frozen=True, slots=True)
class Cut:
    """One way of opening a reach. Volumes are bank measure (in place) and loose (dug).

    ``bank_low_m3`` and ``bank_high_m3`` have every depth at its 95 % bound; the loose earth's range
    is theirs with the least and the greatest swell. ``top_width_high_m`` and ``face_high_m`` (the
    higher wall, upright) are at the deeper bound, on ground as steep as it may be. ``daylights`` is
    False where the ground rises nearly as fast as the wall: the cut cannot be dug so. ``held_m2``
    is the area of vertical wall to shore or shield on both sides, ``held_high_m2`` that at the
    deeper bound.
    """

    walls: Walls
    shape: WallShape
    held_m2: float
    held_high_m2: float
    footprint: Area
    top_width_m: float
    top_width_high_m: float
    face_high_m: float
    daylights: bool
    bank_m3: float
    bank_low_m3: float
    bank_high_m3: float
    loose_low_m3: float
    loose_high_m3: float


@dataclass(frozen=True, slots=True)
class Excavation:
    """What opening a reach takes.

    ``cuts`` are the ways to open it: with vertical walls, with sloped ones, then benched where the
    soil allows it, and with a box under a slope where one is to hand. ``deepest_high_m`` counts by
    the higher wall. ``width_m`` is the trench's width at the bottom, ``standard_width_m`` the least
    that ASTM D2321 asks anywhere in it. ``ways_out`` is the least number of ladders, stairways or
    ramps, 0 where none is asked for.
    ``section`` is the trench's one station where it is deepest. ``swell_source`` is empty where the
    site gives no swell of its own.
    """

    from_m: float
    to_m: float
    length_m: float
    deepest_high_m: float
    section: TrenchProfile
    ways_out: int
    classes: tuple[DepthClass, ...]
    cuts: tuple[Cut, ...]
    width_m: float
    standard_width_m: float
    bedding_m3: float
    swell: tuple[float, float]
    swell_source: str

    @property
    def deepest_m(self) -> float:
        """The trench's greatest depth."""
        return float(self.section.bottom_depth_m[0])

    @property
    def shored(self) -> Cut:
        """The cut with vertical walls."""
        return self.cuts[0]

    @property
    def sloped(self) -> Cut:
        """The cut with sloped walls."""
        return self.cuts[1]


@dataclass(frozen=True, slots=True)
class SurfaceBroken:
    """Ground of one cover opened by a cut: length along the pipe, areas of the cut and to restore.

    ``restored_area_m2`` has paving cut back beyond the trench; elsewhere it is the cut's own area.
    """

    cover: GroundCover
    names: tuple[str, ...]
    length_m: float
    area_m2: float
    restored_area_m2: float


@dataclass(frozen=True, slots=True)
class StructureNear:
    """Something standing so near a cut that the cut may undermine it.

    ``gap_m`` is from the near wall of a vertical trench, 0 inside it; ``gap_low_m`` and
    ``gap_high_m`` its 95 % bounds. ``only_by_bound`` is True where the bound, not the estimate,
    lies within it.
    """

    name: str
    kind: StructureKind
    verdict: Nearness
    gap_m: float
    gap_low_m: float
    gap_high_m: float
    footage_m: float
    bottom_depth_m: float
    only_by_bound: bool


@dataclass(frozen=True, slots=True)
class KeyMark:
    """What a key point is: a kind, and the name of what begins, ends or is crossed there.

    A "boundary" is one that the pipe reaches without crossing it: the main or a cleanout.
    """

    kind: KeyPointKind
    of: str = ""
    edge: Literal["", "begins", "ends"] = ""


@dataclass(frozen=True, slots=True)
class KeyPoint:
    """A place a crew must find again; ``finding`` is the number of the danger seen there."""

    marks: tuple[KeyMark, ...]
    footage_m: float
    finding: int | None = None

    @property
    def kind(self) -> KeyPointKind:
        """What it is first of all."""
        return self.marks[0].kind


@dataclass(frozen=True, slots=True)
class RefindTape:
    """One tape from a named permanent point, along level ground."""

    point: str
    distance_m: float


@dataclass(frozen=True, slots=True)
class RefindLine:
    """The place against a plan line: ``past_m`` beyond it as seen from the start.

    ``along_m`` runs along the line from the foot of ``along_from``, ``to_the_right`` as one looks
    past the line from the start's side.
    """

    line: str
    past_m: float
    sd_past_m: float
    along_from: str
    along_m: float
    to_the_right: bool


@dataclass(frozen=True, slots=True)
class Refind:
    """How to find a key point again.

    ``tapes`` is the best pair, empty where two named points are not to be had; ``check`` a third.
    ``error_m`` is the 95 % radius (semi-major axis) of where the tapes lead against the true pipe;
    ``retrace_m`` of the taping alone. ``mirror_gap_m`` is how far off the tapes' other meeting
    point lies, ``mirror_check_m`` what the check tape would read there. ``to_the_right`` says on
    which side the place lies as one walks from the first point to the second. ``doubts`` are what
    makes the tapes doubtful: ``through`` names the buildings in their way, ``meet_deg`` is the
    angle they meet at.
    """

    key: KeyPoint
    easting_m: float
    northing_m: float
    depth_m: float
    sd_depth_m: float
    line: RefindLine | None
    tapes: tuple[RefindTape, ...] = ()
    check: RefindTape | None = None
    error_m: float | None = None
    retrace_m: float | None = None
    mirror_gap_m: float | None = None
    mirror_check_m: float | None = None
    to_the_right: bool | None = None
    meet_deg: float | None = None
    through: tuple[str, ...] = ()
    doubts: tuple[TapeDoubt, ...] = ("no two points",)


@dataclass(frozen=True, slots=True)
class DepthRow:
    """One line of the depth table; ``sd_m`` is 1 sd of every depth in it.

    ``ground_m`` and ``crown_m`` are elevations with their own 1 sd, None where nobody measured the
    ground.
    ``from_reading_m`` is how far along the pipe the nearest depth reading used lies, None where no
    depth was ever read. ``unread`` says why the depth is not to be relied on, None where it was
    read near by; ``under`` names the building above.
    """

    footage_m: float
    events: tuple[str, ...]
    ground_m: float | None
    sd_ground_m: float
    crown_m: float | None
    sd_crown_m: float
    cover_m: float
    invert_depth_m: float
    bottom_depth_m: float
    sd_m: float
    basis: Basis
    from_reading_m: float | None
    under: str
    unread: DepthUnread | None


@dataclass(frozen=True, slots=True)
class NullCheck:
    """A locate's depth from its nulls held against its read-out: the transmitter's below ground.

    ``footage_m`` is the transmitter's; ``tilt_deg`` the pipe's slope against the ground there,
    allowed for. ``standardised`` is the difference, nulls minus read-out, over its 1 sd.
    """

    locate: str
    footage_m: float
    read_depth_m: float
    nulls_depth_m: float
    sd_difference_m: float
    tilt_deg: float
    standardised: float
    verdict: NullVerdict


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a reach is not to be opened in one way; ``of`` names the building."""

    why: RefusedFor
    of: str = ""


@dataclass(frozen=True, slots=True)
class Quantity:
    """An amount the site's unit rates may price: metres, m², m³ or a count."""

    item: RateItem
    low: float
    high: float
    per: Literal["m", "m2", "m3", "each"]
    cost: Money | None


@dataclass(frozen=True, slots=True)
class Method:
    """One way to repair a reach: what it takes.

    ``cost`` is the sum of what the site's own rates price, None where they price nothing;
    ``unpriced`` names what it leaves out. What is ``refused`` is not priced.
    """

    name: MethodName
    quantities: tuple[Quantity, ...]
    cost: Money | None
    unpriced: tuple[RateItem, ...]
    refused: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True)
class OpenedGround:
    """The ground one cut of a reach opens.

    ``outline`` is what to outline in white, ``kept_back`` the same with the ground round it that
    spoil, materials and machines keep off.
    """

    cut: Cut
    surfaces: tuple[SurfaceBroken, ...]
    outline: Area
    kept_back: Area


@dataclass(frozen=True, slots=True)
class ReachReview:
    """A reach with everything about opening or lining it.

    ``rules`` are those of its own soil. ``opened`` is the ground of each of the excavation's cuts;
    ``chosen`` is how the walls are to stand: as the site asks, unless that cut is refused or not
    allowed here; ``dug_into`` are the utilities that its slopes lay open, without those in the
    trench.
    """

    reach: RepairReach
    rules: TrenchRules
    excavation: Excavation
    opened: tuple[OpenedGround, ...]
    structures: tuple[StructureNear, ...]
    methods: tuple[Method, ...]
    chosen: Walls
    dug_into: tuple[UtilityConflict, ...] = ()

    def ground(self, walls: Walls) -> OpenedGround:
        """Return the ground of one cut; raises ``StopIteration`` where it is not to be had."""
        return next(one for one in self.opened if one.cut.walls == walls)

    @property
    def all_cuts_refused(self) -> bool:
        """Whether no way to open it may be dug as drawn."""
        return all(method.refused for method in self.methods if method.name != "liner")

    @property
    def ground_chosen(self) -> OpenedGround:
        """The ground of the cut that is chosen."""
        return self.ground(self.chosen)


@dataclass(frozen=True, slots=True)
class DigReview:
    """Everything the dig review says about one site, beyond its report.

    ``unread_m`` are the footages whose depth nothing near by was read for.
    """

    report: Report
    rules: TrenchRules
    reaches: tuple[ReachReview, ...]
    refinds: tuple[Refind, ...]
    depths: tuple[DepthRow, ...]
    nulls: tuple[NullCheck, ...]
    unread_m: tuple[tuple[float, float], ...]

    @property
    def profile(self) -> TrenchProfile:
        """The trench along the run."""
        return self.report.trench

    @property
    def conflicts(self) -> tuple[UtilityConflict, ...]:
        """The mapped utilities in order of danger."""
        return self.report.utilities

    @property
    def dug_into(self) -> tuple[tuple[UtilityConflict, tuple[RepairReach, ...]], ...]:
        """What the slopes of the chosen cuts lay open, and where, in order of danger."""
        found = ((one, self.reaches_into(one)) for one in self.conflicts)
        return tuple((one, reaches) for one, reaches in found if reaches)

    def reaches_into(self, one: UtilityConflict) -> tuple[RepairReach, ...]:
        """Return the reaches whose chosen cut's slopes may lay a utility open."""
        return tuple(
            each.reach for each in self.reaches if any(other is one for other in each.dug_into)
        )

    def reaches_near(self, one: UtilityConflict) -> tuple[RepairReach, ...]:
        """Return the reaches whose trench comes within the tolerance of a utility, at 95 %."""
        return tuple(
            reach
            for reach in (each.reach for each in self.reaches)
            if any(
                begin <= reach.end.footage_m and end >= reach.begin.footage_m
                for begin, end in one.hand_dig_m
            )
        )

    def hand_dig_m(self, *, sloped: bool = False) -> tuple[tuple[float, float], ...]:
        """Return the footages to dig by hand for any utility, joined where they overlap."""
        joined: list[tuple[float, float]] = []
        spans = (
            span
            for one in self.conflicts
            for span in (one.hand_dig_sloped_m if sloped else one.hand_dig_m)
        )
        for begin, end in sorted(spans):
            if joined and begin <= joined[-1][1]:
                joined[-1] = (joined[-1][0], max(joined[-1][1], end))
            else:
                joined.append((begin, end))
        return tuple(joined)
