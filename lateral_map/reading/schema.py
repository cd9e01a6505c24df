"""site.toml as typed by people: one model a table, each key with what it means and its default.

A new table is a new model here, a field of ``SiteDocument``, and its use in assembling the site.
Defaults of lengths are in metres; the JSON Schema shows them with their own unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, ConfigDict, Field

from lateral_map.errors import Fault
from lateral_map.reading.fields import (
    AngleSpread,
    Azimuth,
    Date,
    Depth,
    FallCodeWord,
    Footage,
    Fraction,
    Grade,
    Latitude,
    Length,
    Longitude,
    MaterialWord,
    Name,
    NonNegativeLength,
    NonNegativeNumber,
    Number,
    PipeSize,
    PositiveFraction,
    PositiveLength,
    RuleWord,
    Span,
    Spread,
    Text,
    YesNo,
    one_of,
    within_length,
)
from lateral_map.reading.typed import Typed
from lateral_map.units import to_metres

FORMAT: Final = 1


def _feet(value: float, description: str) -> Any:
    """Declare a length with its default in feet, as the format's contract gives it."""
    return Field(
        default=to_metres(value, "ft"),
        description=description,
        json_schema_extra={"default": f"{value:g} ft"},
    )


def _inches(value: float, description: str) -> Any:
    return Field(
        default=to_metres(value, "in"),
        description=description,
        json_schema_extra={"default": f"{value:g} in"},
    )


UnitWord = Annotated[Literal["ft", "us_ft", "m"], one_of("ft", "us_ft", "m")]
SoilWord = Annotated[Literal["stable rock", "A", "B", "C"], one_of("stable rock", "A", "B", "C")]
BoundaryPlaceWord = Annotated[Literal["main", "cleanout"], one_of("main", "cleanout")]
EndWord = Annotated[Literal["main", "not reached"], one_of("main", "not reached")]
# A bare 24 would be 24 ft: no local rule, trench or bedding is that wide.
ZoneLength = Annotated[
    PositiveLength,
    AfterValidator(
        within_length(3.05, say="a bare number is in the site's unit; write '24 in' or '0.6 m'")
    ),
]
TrenchLength = Annotated[
    PositiveLength,
    AfterValidator(
        within_length(4.6, say="a bare number is in the site's unit; write '24 in' or '0.6 m'")
    ),
]
BeddingLength = Annotated[
    NonNegativeLength,
    AfterValidator(
        within_length(1.0, say="a bare number is in the site's unit; write '6 in' or '150 mm'")
    ),
]


class SiteTable(Typed):
    """[site]: what the site is called, and how its lengths and coordinates are written."""

    name: Name = Field(
        description="What the site is called on drawings.", examples=['"12 Quarry Lane"']
    )
    date: Date | None = Field(default=None, description="Day of the inspection.")
    crs: Name = Field(
        description="Projected coordinate system of x, y, such as EPSG:6499; or local: a sketch "
        "tied to no place on earth.",
        examples=['"EPSG:6499"', '"local"'],
    )
    unit: UnitWord = Field(
        description="Unit of every bare length: ft (international foot), us_ft (US survey foot) "
        "or m.",
        examples=['"ft"'],
    )
    fall_code: FallCodeWord = Field(
        default="IPC",
        description="Plumbing code whose least fall for the size the pipe's fall is held against.",
        examples=['"UPC"'],
    )


class StartTable(Typed):
    """[start]: where the footage starts. Give a point, or x and y, or lat and lon."""

    point: Name | None = Field(default=None, description="A named reference point of the plan.")
    x: Number | None = Field(default=None, description="Easting, in the CRS's own unit.")
    y: Number | None = Field(default=None, description="Northing, in the CRS's own unit.")
    lat: Latitude | None = Field(default=None, description="WGS 84 latitude, decimal degrees.")
    lon: Longitude | None = Field(default=None, description="WGS 84 longitude, decimal degrees.")
    accuracy: Spread | None = Field(
        default=None,
        description="1 sd of the start, each axis; default 0.5 ft for a point or x, y and 4 ft "
        "for lat, lon.",
    )
    depth: Depth | None = Field(default=None, description="Invert below ground at the start.")
    depth_accuracy: Spread = _feet(0.25, "1 sd of that depth.")
    ground: Length | None = Field(default=None, description="Elevation of the ground there.")
    riser: NonNegativeLength = Field(
        default=0.0, description="Footage spent going straight down before the pipe runs level."
    )
    azimuth: Azimuth | None = Field(
        default=None, description="Direction the pipe leaves in, degrees clockwise from grid north."
    )
    azimuth_accuracy: AngleSpread = Field(default=10.0, description="1 sd of it, degrees.")

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault unless exactly one way of placing the start is given whole."""
        yield from half_pairs(given, (("x", "y"), ("lat", "lon")))
        ways = [
            way
            for way, keys in (("point", "point"), ("x, y", "xy"), ("lat, lon", "lat lon"))
            if any(key in given for key in (keys.split() if way != "x, y" else "xy"))
        ]
        remedy = "write one of: point; x and y; lat and lon"
        if not ways:
            yield Fault("nothing says where the start is", remedy)
        elif len(ways) > 1:
            yield Fault(f"the start is placed by {' and by '.join(ways)}", remedy, field=ways[-1])


class CounterTable(Typed):
    """[counter]: the footage counter and how far it may be off."""

    zero: Footage = Field(default=0.0, description="Reading at the start.")
    zero_accuracy: Spread = _feet(0.3, "1 sd of the zero.")
    scale_accuracy: PositiveFraction = Field(
        default=0.01, description="1 sd of the counter's scale, as a fraction."
    )
    reading_accuracy: Spread = _feet(0.1, "1 sd of reading it at a locate or finding.")


class TransmitterTable(Typed):
    """[transmitter]: where the camera's transmitter rides, and how well its depth is read."""

    behind_lens: NonNegativeLength = _feet(0.5, "How far the transmitter rides behind the lens.")
    above_invert: NonNegativeLength = _feet(0.12, "How far its axis rides above the invert.")
    depth_accuracy: Fraction = Field(
        default=0.05, description="1 sd of a depth read-out, as a fraction of it, never less than"
    )
    depth_floor: Spread = _feet(0.25, "this length.")


class PipeTable(Typed):
    """[[pipe]]: the pipe from one footage on."""

    from_: Footage = Field(
        alias="from", description="Footage this pipe begins at.", examples=["0.0"]
    )
    material: MaterialWord = Field(description="What it is made of.", examples=['"clay"'])
    size: PipeSize = Field(
        description="Nominal size; a bare number is inches, millimetres on a metric site.",
        examples=["6"],
    )
    wander: AngleSpread | None = Field(
        default=None,
        description="Degrees per square root of one unit of length that this pipe turns unseen, "
        "1 sd; default that of [accuracy].",
    )
    joint_length: PositiveLength | None = Field(
        default=None,
        description="Length of one pipe, joint to joint; the wander is then taken from what one "
        "joint of the material turns. Give this or wander.",
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault where the wander is given twice."""
        if "wander" in given and "joint_length" in given:
            yield Fault("wander is given too", "write wander or joint_length", field="joint_length")


class BoundaryTable(Typed):
    """[[boundary]]: a plan line that matters, or the main or a cleanout where the party changes."""

    model_config = ConfigDict(
        json_schema_extra={"oneOf": [{"required": ["line"]}, {"required": ["at"]}]}
    )

    line: Name | None = Field(
        default=None, description="Name of a line of the plan.", examples=['"curb"']
    )
    at: BoundaryPlaceWord | None = Field(
        default=None,
        description="Instead of line: main (where the lateral meets it) or cleanout.",
        examples=['"main"'],
    )
    footage: Footage | None = Field(
        default=None,
        description="Where that cleanout is; default the footage of the finding called cleanout.",
        examples=["41.5"],
    )
    accuracy: Spread | None = Field(
        default=None, description="1 sd of that footage; default [counter] reading_accuracy."
    )
    name: Name | None = Field(
        default=None,
        description="What the cleanout is called, where there is more than one; default cleanout.",
    )
    inside: Text = Field(default="", description="Who answers on the start's side.")
    outside: Text = Field(default="", description="Who answers past it.")
    decides: YesNo = Field(
        default=False,
        description="Whether responsibility changes here.",
        json_schema_extra={"type": "boolean"},
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault unless one of line and at is given."""
        if "line" in given and "at" in given:
            remedy = "write line for a line of the plan, or at for the main or a cleanout"
            yield Fault("line is given too", remedy, field="at")
        elif "line" not in given and "at" not in given:
            remedy = 'write for example line = "curb", or at = "main" or "cleanout"'
            yield Fault("it is missing", remedy, field="line")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault for a key only a cleanout has, or parties nobody named."""
        if self.at != "cleanout":
            for key in ("footage", "accuracy", "name"):
                if getattr(self, key) is not None:
                    remedy = 'it goes with at = "cleanout"; leave it out, or write that'
                    yield Fault("only a cleanout is given so", remedy, field=key)
        sides = (("inside", self.inside, "owner"), ("outside", self.outside, "city"))
        for key, party, example in sides:
            if self.decides and not party:
                what = "line" if self.at is None else self.at
                where = "on the start's side" if key == "inside" else f"past the {what}"
                yield Fault(
                    f"the {what} decides responsibility, but this is missing",
                    f'name who answers {where}, such as {key} = "{example}"',
                    field=key,
                )


class DigTable(Typed):
    """[dig]: what the local rule and the site ask of the dig."""

    tolerance_zone: ZoneLength | None = Field(
        default=None,
        description="Each side of the pipe's outside wall, from the local rule.",
    )
    rule: Text = Field(default="", description="The local rule, in words.")
    soil: SoilWord = Field(
        default="C", description="Soil type; a utility trench has been dug before, so C by default."
    )
    trench_width: TrenchLength = _inches(24, "Width of the trench's bottom.")
    bedding: BeddingLength = _inches(6, "Bedding dug below the pipe.")
    swell: Span | None = Field(
        default=None,
        description="How much dug earth swells, least and most, such as [0.2, 0.3]; default that "
        "of common earth.",
    )
    swell_source: Text = Field(default="", description="Where that swell is from.")
    pavement_cutback: BeddingLength = _inches(6, "How far paving is cut back beyond the trench.")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where earth would swell to several times itself."""
        if self.swell is not None and self.swell[1] > 1.0:
            remedy = "write a share such as [0.2, 0.3] for 20 to 30 %"
            yield Fault("earth never swells to more than twice itself", remedy, field="swell")


class DigRuleTable(Typed):
    """[[dig_rule]]: a figure of a state plan or local code in place of the federal one."""

    rule: RuleWord = Field(
        description="Which rule it replaces.", examples=['"protective system depth"']
    )
    length: NonNegativeLength | None = Field(
        default=None, description="The rule's depth or distance.", examples=['"4 ft"']
    )
    slope: NonNegativeNumber | None = Field(
        default=None,
        description="The rule's steepest slope, run over rise: 1.5 for 1 1/2 across to 1 up.",
    )
    citation: Name = Field(
        description="Where it is written.", examples=['"State Plan, section 12.3"']
    )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault unless the figure is of the kind the rule is."""
        slope = "slope" in self.rule
        if (self.slope is None) == slope or (self.length is None) != slope:
            wanted, example = ("slope", "1.5") if slope else ("length", '"4 ft"')
            problem = f"the rule {self.rule!r} is a {'slope' if slope else 'depth or distance'}"
            yield Fault(problem, f"write {wanted} = {example}, and that alone", field=wanted)


class ReachTable(Typed):
    """[[reach]]: a stretch somebody means to repair, instead of those the findings call for."""

    from_: Footage = Field(alias="from", description="Footage it begins at.", examples=["61.5"])
    to: Footage = Field(description="Footage it ends at.", examples=["80.0"])
    name: Text = Field(default="", description="What it is called.")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the stretch runs backwards or has no length."""
        if self.to <= self.from_:
            yield Fault("it ends before it begins", "write a greater footage", field="to")


class RatesTable(Typed):
    """[rates]: your own unit rates, one number or [least, most]; nothing is priced without them.

    Lengths are per foot or metre, areas per square foot or square metre, earth per cubic yard or
    cubic metre, by the site's unit.
    """

    currency: Text = Field(default="", description="Printed beside every sum.")
    mobilise_open_cut: Span | None = Field(default=None, description="Coming to dig, each time.")
    mobilise_liner: Span | None = Field(default=None, description="Coming to line, each time.")
    excavate: Span | None = Field(default=None, description="Digging, by volume in the ground.")
    haul: Span | None = Field(default=None, description="Carting off, by loose volume.")
    shore: Span | None = Field(default=None, description="Shoring or shielding, by wall area.")
    bedding: Span | None = Field(default=None, description="Bedding, by volume.")
    pipe: Span | None = Field(default=None, description="New pipe laid, by length.")
    liner: Span | None = Field(default=None, description="Liner, by length.")
    access_pit: Span | None = Field(default=None, description="A pit to line from, each.")
    lawn: Span | None = Field(default=None, description="Restoring lawn, by area.")
    planting: Span | None = Field(default=None, description="Restoring planting, by area.")
    concrete: Span | None = Field(default=None, description="Restoring concrete, by area.")
    asphalt: Span | None = Field(default=None, description="Restoring asphalt, by area.")
    gravel: Span | None = Field(default=None, description="Restoring gravel, by area.")
    other: Span | None = Field(default=None, description="Restoring other ground, by area.")


class TerrainTable(Typed):
    """[terrain]: what ground.tif does not say of itself."""

    unit: UnitWord | None = Field(
        default=None, description="Unit of its heights; default what the file says, else metres."
    )
    accuracy: Spread = Field(
        default=0.1,
        description="1 sd of its heights.",
        json_schema_extra={"default": "0.1 m"},
    )


class AccuracyTable(Typed):
    """[accuracy]: 1 sd of each kind of reading; every key is optional."""

    tape: Spread = _feet(0.1, "A tape distance, and ...")
    tape_fraction: Fraction = Field(
        default=0.002, description="... this much of it, in quadrature."
    )
    mark: Spread = _feet(
        0.25, "The paint mark against the transmitter, in plan, each axis; and ..."
    )
    mark_fraction: Fraction = Field(
        default=0.03, description="... this much of the depth, in quadrature."
    )
    offset: Spread = _feet(0.1, "A distance along or offset from a line.")
    ground: Spread = _feet(0.05, "A ground level.")
    wander: AngleSpread | None = Field(
        default=None,
        description="Degrees per square root of one unit of length that pipe turns unseen in "
        "plan; default 0.5 per square root of a foot.",
    )
    fitting: AngleSpread = Field(default=2.0, description="Degrees, a bend given by its fitting.")
    eye: AngleSpread = Field(default=8.0, description="Degrees, a bend judged by eye.")
    fall: Grade = Field(default=0.02, description="The pipe's expected grade as a ratio, and ...")
    fall_accuracy: PositiveFraction = Field(
        default=0.02, description="... its sd along the first piece."
    )
    fall_wander: AngleSpread | None = Field(
        default=None,
        description="Degrees per square root of one unit of length, in profile; default 0.2 per "
        "square root of a foot.",
    )
    mapped_line: Spread = _feet(1.0, "A plan line that states no accuracy, across itself.")
    mapped_point: Spread = _feet(0.1, "A plan point that states no accuracy, each axis.")


class RunTable(Typed):
    """[run]: how far the camera went."""

    end_footage: Footage | None = Field(
        default=None,
        description="Where the run ends; default the last footage given anywhere.",
        examples=["93.0"],
    )
    end: EndWord | None = Field(
        default=None, description="What it ended at; without it the main is not claimed."
    )


class ReferralTable(Typed):
    """[referral]: what the referral to the utility says; every key is optional."""

    to: Text = Field(default="", description="Who it goes to; lines may follow one another.")
    from_: Text = Field(default="", alias="from", description="Who sends it.")
    client: Name | None = Field(
        default=None,
        description="Whose side the sender is on: a party as a [[boundary]] names it.",
        examples=['"owner"'],
    )
    reference: Text = Field(default="", description="Your own or the utility's reference.")
    question: Text = Field(
        default="", description="What you ask of the utility, in one sentence of your own."
    )
    signature: Text = Field(default="", description="Who signs.")
    letter: Text = Field(
        default="", description="A letter template of your own in the site folder (Jinja2, HTML)."
    )
    photographs: Text = Field(
        default="photographs",
        description="Folder in the site folder with JPEG or PNG files named by footage.",
    )
    keep_metadata: YesNo = Field(
        default=False,
        description="Keep what cameras write into photographs (place, time, owner).",
        json_schema_extra={"type": "boolean"},
    )


class SiteDocument(Typed):
    """site.toml of a located lateral: what was measured once for the whole run."""

    format: Literal[1] = Field(description="Version of the site format.", examples=["1"])
    site: SiteTable
    start: StartTable
    counter: CounterTable = CounterTable()
    transmitter: TransmitterTable = TransmitterTable()
    pipe: tuple[PipeTable, ...] = ()
    boundary: tuple[BoundaryTable, ...] = ()
    dig: DigTable = DigTable()
    accuracy: AccuracyTable = AccuracyTable()
    run: RunTable = RunTable()
    referral: ReferralTable = ReferralTable()
    dig_rule: tuple[DigRuleTable, ...] = ()
    reach: tuple[ReachTable, ...] = ()
    rates: RatesTable = RatesTable()
    terrain: TerrainTable = TerrainTable()


def half_pairs(given: Mapping[str, object], pairs: Iterable[tuple[str, str]]) -> Iterable[Fault]:
    """Yield a fault for each pair of keys of which only one is given."""
    for one, other in pairs:
        if (one in given) != (other in given):
            here, absent = (one, other) if one in given else (other, one)
            yield Fault(f"{here} is given without {absent}", f"write {absent} too", field=absent)


def site_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of site.toml."""
    schema = SiteDocument.model_json_schema(by_alias=True)
    for model in (schema, *schema["$defs"].values()):
        for name, of in list(model["properties"].items()):
            model["properties"][name] = _without_null(of)
            if "$ref" in of:
                of.pop("default", None)
        model["description"] = " ".join(model["description"].split())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _without_null(of: dict[str, Any]) -> dict[str, Any]:
    """Drop the null that an absent key is read as: TOML has none to write."""
    if of.get("default", ...) is None or of.get("default") == []:
        of.pop("default")
    choices = [one for one in of.get("anyOf", ()) if one != {"type": "null"}]
    if choices:
        of.pop("anyOf")
        of = {**choices[0], **of} if len(choices) == 1 else {"anyOf": choices, **of}
    return of
