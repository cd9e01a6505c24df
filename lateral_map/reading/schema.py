"""site.toml as typed by people: one model a table, each key with what it means and its default.

A new table is a new model here and a field of ``SiteDocument``; a new key is one line of its table,
and where it goes straight into the model, the field it becomes. The entry form, the templates, the
JSON Schema and the reference page follow. Defaults are in ``model/site.py``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final, Literal, get_args

from pydantic import ConfigDict

from lateral_map.errors import Either, Fault, Key, Told
from lateral_map.model.diagnosis import AT_A_PLACE, KINDS_OF
from lateral_map.model.referral import Job, Referral, SewerMain
from lateral_map.model.site import (
    FALL_WANDER_PER_ROOT_FT,
    SD_LONLAT_M,
    SD_START_M,
    WANDER_PER_ROOT_FT,
    Accuracy,
    Counter,
    DigRules,
    PipeRun,
    Reach,
    Site,
    SoilLayer,
    Start,
    Transmitter,
)
from lateral_map.reading import fields
from lateral_map.reading.typed import Typed, key, keys_of, shown_length
from lateral_map.reading.words import listed, plain

FORMAT: Final = 1

_site, _start, _counter = keys_of(Site), keys_of(Start), keys_of(Counter)
_transmitter, _accuracy = keys_of(Transmitter), keys_of(Accuracy)
_pipe, _dig, _referral = keys_of(PipeRun), keys_of(DigRules, "in"), keys_of(Referral)


class SiteTable(Typed):
    """[site]: what the site is called, and how its lengths and coordinates are written."""

    name: fields.Name = _site(
        "name", "What the site is called on drawings.", "Name", examples=['"Lot 21, Ambersea"']
    )
    date: fields.Date | None = _site("date", "Day of the inspection.", "Day of the inspection")
    crs: fields.Name = key(
        "Projected coordinate system of x, y, such as EPSG:6499, which GNSS needs; or local: a "
        "sketch tied to no place on earth.",
        "Coordinate system",
        required=True,
        examples=['"EPSG:6499"', '"local"'],
    )
    unit: fields.UnitWord = _site(
        "unit",
        "Unit of every bare length: ft (international foot), us_ft (US survey foot) or m.",
        "Unit of lengths",
        examples=['"ft"'],
    )
    fall_code: fields.FallCodeWord = _site(
        "fall_code",
        "Plumbing code whose least fall for the size the pipe's fall is held against.",
        "Plumbing code for the fall",
        examples=['"UPC"'],
    )
    earlier: fields.Text = _site(
        "earlier",
        "Folder of an earlier run of the same pipe, seen from this one; lateral-map again compares "
        "the two.",
        "Folder of an earlier run",
        examples=['"../2025-11"'],
    )


class StartTable(Typed):
    """[start]: where the footage starts. Give a point, or x and y, or lat and lon."""

    point: fields.PointName | None = key(
        "A named reference point of the plan.", "At the reference point"
    )
    x: fields.Coordinate | None = key("Easting, in the CRS's own unit.", "or x (east)")
    y: fields.Coordinate | None = key("Northing, in the CRS's own unit.", "and y (north)")
    lat: fields.Latitude | None = key("WGS 84 latitude, decimal degrees.", "or latitude")
    lon: fields.Longitude | None = key("WGS 84 longitude, decimal degrees.", "and longitude")
    accuracy: fields.Spread | None = key(
        f"1 sd of the start, each axis; default {shown_length(SD_START_M, 'ft')} for a point or "
        f"x, y and {shown_length(SD_LONLAT_M, 'ft')} for lat, lon.",
        "Accuracy",
    )
    depth: fields.Depth | None = _start(
        "depth_m", "Invert below ground at the start.", "Depth to invert"
    )
    depth_accuracy: fields.Spread = _start("sd_depth_m", "1 sd of that depth.", "Depth accuracy")
    ground: fields.Length | None = _start(
        "ground_m",
        "Elevation of the ground there; gives the profile its datum.",
        "Ground level there",
    )
    riser: fields.NonNegativeLength = _start(
        "riser_m", "Footage spent going straight down before the pipe runs level.", "Riser"
    )
    azimuth: fields.Azimuth | None = key(
        "Direction the pipe leaves in, degrees clockwise from grid north.", "Direction it leaves in"
    )
    azimuth_accuracy: fields.AngleSpread = _start(
        "sd_azimuth_deg", "1 sd of that direction, degrees.", "Direction accuracy"
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault unless exactly one way of placing the start is given whole."""
        yield from one_place(given, "the start")


class CounterTable(Typed):
    """[counter]: the footage counter and how far it may be off."""

    zero: fields.Footage = _counter("zero_m", "Reading at the start.", "Reading at the start")
    zero_accuracy: fields.Spread = _counter("sd_zero_m", "1 sd of the zero.", "Zero accuracy")
    scale_accuracy: fields.PositiveFraction = _counter(
        "sd_scale", "1 sd of the counter's scale, as a fraction.", "Scale accuracy"
    )
    reading_accuracy: fields.Spread = _counter(
        "sd_reading_m", "1 sd of reading it at a locate or finding.", "Reading accuracy"
    )


class TransmitterTable(Typed):
    """[transmitter]: where the camera's transmitter rides, and how well its depth is read."""

    behind_lens: fields.NonNegativeLength = _transmitter(
        "behind_lens_m", "How far the transmitter rides behind the lens.", "Behind the lens"
    )
    above_invert: fields.NonNegativeLength = _transmitter(
        "above_invert_m", "How far its axis rides above the invert.", "Above the invert"
    )
    depth_accuracy: fields.Fraction = _transmitter(
        "sd_depth_fraction", "1 sd of a depth read-out, as a fraction of it.", "Depth accuracy"
    )
    depth_floor: fields.Spread = _transmitter(
        "sd_depth_floor_m", "Least 1 sd of a depth read-out, however shallow.", "Never better than"
    )


class PipeTable(Typed):
    """[[pipe]]: the pipe from one footage on."""

    from_: fields.Footage = _pipe(
        "from_m", "Footage this pipe begins at.", "From footage", alias="from", examples=["0.0"]
    )
    material: fields.MaterialWord = _pipe(
        "material", "What it is made of.", "Material", examples=['"clay"']
    )
    size: fields.PipeSize = _pipe(
        "size_m",
        "Nominal size; a bare number is inches, millimetres on a metric site.",
        "Nominal size",
        examples=["6"],
    )
    wander: fields.Wander | None = key(
        "Degrees per square root of one unit of length that this pipe turns unseen, 1 sd; default "
        "that of [accuracy]."
    )
    joint_length: fields.PositiveLength | None = key(
        "Length of one pipe, joint to joint; the wander is then taken from what one joint of the "
        "material turns. Give this or wander.",
        "Length of one pipe",
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

    line: fields.LineName | None = key(
        "Name of a line of the plan.", "Plan line", examples=['"curb"']
    )
    at: fields.BoundaryPlaceWord | None = key(
        "Instead of line: main (where the lateral meets it) or cleanout.",
        "or at",
        examples=['"main"'],
    )
    footage: fields.Footage | None = key(
        "Where that cleanout is; default the footage of the finding called cleanout.",
        "Footage of the cleanout",
        examples=["41.5"],
    )
    accuracy: fields.Spread | None = key(
        "1 sd of that footage; default [counter] reading_accuracy."
    )
    name: fields.Name | None = key(
        "What the cleanout is called, where there is more than one; default cleanout.",
        "Name of the cleanout",
    )
    inside: fields.Text = key(
        "Who answers on the start's side.", "Who answers before it", default=""
    )
    outside: fields.Text = key("Who answers past it.", "Who answers past it", default="")
    decides: fields.YesNo = key(
        "Whether responsibility changes here.", "Responsibility changes here", default=False
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault unless one of line and at is given."""
        if "line" in given and "at" in given:
            line, at = Key("line"), Key("at")
            remedy = Told("write ", line, " for a line of the plan, or ", at)
            remedy = Told(*remedy.parts, " for the main or a cleanout")
            yield Fault(Told(line, " is given too"), remedy, field="at")
        elif "line" not in given and "at" not in given:
            remedy = Told(
                Either(
                    'write for example line = "curb", or at = "main" or "cleanout"',
                    "choose a line of the plan, or the main or a cleanout",
                )
            )
            yield Fault("it is missing", remedy, field="line")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault for a key only a cleanout has, or parties nobody named."""
        if self.at != "cleanout":
            for key in ("footage", "accuracy", "name"):
                if getattr(self, key) is not None:
                    place = Either('at = "cleanout"', "a cleanout")
                    remedy = Told("it goes with ", place, "; leave it out, or write that")
                    yield Fault("only a cleanout is given so", remedy, field=key)
        sides = (("inside", self.inside, "owner"), ("outside", self.outside, "city"))
        for key, party, example in sides:
            if self.decides and not party:
                what = "line" if self.at is None else self.at
                where = "on the start's side" if key == "inside" else f"past the {what}"
                yield Fault(
                    f"the {what} decides responsibility, but this is missing",
                    Told(
                        f"name who answers {where}, such as ",
                        Either(f'{key} = "{example}"', example),
                    ),
                    field=key,
                )


class DigTable(Typed):
    """[dig]: what the local rule and the site ask of the dig."""

    tolerance_zone: fields.ZoneLength | None = _dig(
        "tolerance_zone_m",
        "Each side of the pipe's outside wall, from the local rule; without it the widest known, "
        "48 in, is used, and said to be nobody's rule here.",
        "Tolerance zone",
        examples=['"24 in"'],
    )
    rule: fields.Text = _dig("rule", "The local rule, in words.", "The local rule, in words")
    soil: fields.SoilWord = _dig(
        "soil",
        "Soil type at the trench's bottom; a utility trench has been dug before, so C by default.",
        "Soil",
    )
    cohesive: fields.YesNo = _dig(
        "cohesive", "Whether soil of Type B is cohesive: only then may it be benched."
    )
    walls: fields.WallsWord = _dig(
        "walls",
        "How the dig is to be opened: what the white lines of dig.pdf outline. A sloped cut "
        "that is refused is outlined as shored; benches where the soil allows none as sloped.",
        "Walls",
    )
    box_height: fields.TrenchLength | None = _dig(
        "box_height_m",
        "Height of the trench box to hand: how a box under a slope stands is told with it.",
        "Trench box",
        examples=['"8 ft"'],
    )
    trench_width: fields.TrenchLength = _dig(
        "trench_width_m", "Width of the trench's bottom.", "Trench width"
    )
    bedding: fields.BeddingLength = _dig("bedding_m", "Bedding dug below the pipe.", "Bedding")
    swell: fields.Span | None = _dig(
        "swell",
        "How much dug earth swells, least and most, such as [0.2, 0.3]; default that of common "
        "earth.",
    )
    swell_source: fields.Text = _dig("swell_source", "Where that swell is from.")
    pavement_cutback: fields.BeddingLength = _dig(
        "pavement_cutback_m", "How far paving is cut back beyond the trench."
    )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where earth would swell to several times itself."""
        if self.swell is not None and self.swell[1] > 1.0:
            remedy = "write a share such as [0.2, 0.3] for 20 to 30 %"
            yield Fault("earth never swells to more than twice itself", remedy, field="swell")
        if self.walls == "box and slope" and self.box_height is None:
            example = Either('box_height = "8 ft"', "8 ft")
            remedy = Told("write how high the box is, such as ", example)
            yield Fault("it is missing", remedy, field="box_height")


_layer = keys_of(SoilLayer)


class SoilLayerTable(Typed):
    """[[soil_layer]]: a layer of soil over that of [dig], in order from the ground down."""

    soil: fields.SoilWord = _layer("soil", "Its soil type.", examples=['"C"'])
    to: fields.PositiveLength = _layer(
        "to_m", "Depth below the ground at which it ends.", examples=['"4 ft"']
    )


class DigRuleTable(Typed):
    """[[dig_rule]]: a figure of a state plan or local code in place of the federal one."""

    rule: fields.RuleWord = key(
        "Which rule it replaces.", required=True, examples=['"protective system depth"']
    )
    length: fields.NonNegativeLength | None = key(
        "The rule's depth or distance.", examples=['"4 ft"']
    )
    slope: fields.NonNegativeNumber | None = key(
        "The rule's steepest slope, run over rise: 1.5 for 1 1/2 across to 1 up."
    )
    citation: fields.Name = key(
        "Where it is written.", required=True, examples=['"State Plan, section 12.3"']
    )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault unless the figure is of the kind the rule is."""
        slope = "slope" in self.rule
        if (self.slope is None) == slope or (self.length is None) != slope:
            wanted, example = ("slope", "1.5") if slope else ("length", '"4 ft"')
            problem = f"the rule {self.rule!r} is a {'slope' if slope else 'depth or distance'}"
            yield Fault(problem, f"write {wanted} = {example}, and that alone", field=wanted)


_reach = keys_of(Reach)


class ReachTable(Typed):
    """[[reach]]: a stretch somebody means to repair, instead of those the findings call for."""

    from_: fields.Footage = _reach(
        "from_m", "Footage it begins at.", alias="from", examples=["61.5"]
    )
    to: fields.Footage = _reach("to_m", "Footage it ends at.", examples=["80.0"])
    name: fields.Text = _reach("name", "What it is called.")
    soil: fields.SoilWord | None = _reach(
        "soil", "Soil there, top to bottom, where it is not that of [dig] and its layers."
    )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the stretch runs backwards or has no length."""
        if self.to <= self.from_:
            yield Fault("it ends before it begins", "write a greater footage", field="to")


def _rate(description: str, per: str = "each") -> Any:
    return key(description, per=per)


class RatesTable(Typed):
    """[rates]: your own unit rates, one number or [least, most]; nothing is priced without them.

    Lengths are per foot or metre, areas per square foot or square metre, earth per cubic yard or
    cubic metre, by the site's unit.
    """

    currency: fields.Text = key("Printed beside every sum.", default="")
    mobilise_open_cut: fields.Span | None = _rate("Coming to dig, each time.")
    mobilise_liner: fields.Span | None = _rate("Coming to line, each time.")
    excavate: fields.Span | None = _rate("Digging, by volume in the ground.", "earth")
    haul: fields.Span | None = _rate("Carting off, by loose volume.", "earth")
    shore: fields.Span | None = _rate("Shoring or shielding, by wall area.", "area")
    bedding: fields.Span | None = _rate("Bedding, by volume.", "earth")
    pipe: fields.Span | None = _rate("New pipe laid, by length.", "length")
    liner: fields.Span | None = _rate("Liner, by length.", "length")
    access_pit: fields.Span | None = _rate("A pit to line from, each.")
    lawn: fields.Span | None = _rate("Restoring lawn, by area.", "area")
    planting: fields.Span | None = _rate("Restoring planting, by area.", "area")
    concrete: fields.Span | None = _rate("Restoring concrete, by area.", "area")
    asphalt: fields.Span | None = _rate("Restoring asphalt, by area.", "area")
    gravel: fields.Span | None = _rate("Restoring gravel, by area.", "area")
    other: fields.Span | None = _rate("Restoring other ground, by area.", "area")


class TerrainTable(Typed):
    """[terrain]: what ground.tif, a terrain model in the folder, does not say of itself."""

    unit: fields.UnitWord | None = key(
        "Unit of its heights; default what the file says, else metres."
    )
    accuracy: fields.Spread = key("1 sd of its heights.", default=0.1, shown="0.1 m")


class PictureTable(Typed):
    """[picture]: a picture under the plan: an aerial, a scanned plan, a photographed sketch."""

    file: fields.Text = key(
        "The picture in the site folder: a GeoTIFF; or JPEG, PNG or TIFF with a world file beside "
        "it, or with points found in it.",
        "Picture file",
        default="",
        examples=['"aerial.jpg"'],
    )
    accuracy: fields.Spread | None = key(
        "1 sd, each axis, of a place read off it; needed with file.", "Accuracy of places on it"
    )
    crs: fields.Text = key(
        "Coordinate system of the world file, or of a GeoTIFF that names none; default the site's.",
        "Its coordinate system",
        default="",
        examples=['"EPSG:6499"'],
    )
    source: fields.Text = key("Whose picture it is.", "Source", default="")
    date: fields.When = key("When it was taken, or drawn.", "Taken", default="")
    licence: fields.Text = key("What its licence asks to be printed.", "Licence", default="")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where a picture has no accuracy, or anything is said of none."""
        if self.file and self.accuracy is None:
            remedy = Told(
                "write how well places can be read off it ",
                Either("(1 sd), such as accuracy = 1.5", "such as 1.5"),
            )
            yield Fault("the picture has none", remedy, field="accuracy")
        said = [name for name, given in self if name != "file" and given]
        if said and not self.file:
            remedy = Told(
                Either('write file = "aerial.jpg"', "choose one"),
                Either(", or leave the table out", ", or empty what is said of it"),
            )
            yield Fault("no picture is named", remedy, field="file")


class PicturePointTable(Typed):
    """[[picture_point]]: a point found in the picture; two or more lay it on the plan.

    Give a point of the plan, or x and y, or lat and lon.
    """

    column: fields.NonNegativeNumber = key(
        "Pixels from the picture's left edge, the picture upright.",
        "Pixels from the left",
        required=True,
        examples=["812"],
    )
    row: fields.NonNegativeNumber = key(
        "Pixels from its upper edge.", "Pixels from the top", required=True, examples=["430"]
    )
    point: fields.PointName | None = key("A named reference point of the plan.", "Plan point")
    x: fields.Coordinate | None = key("Easting, in the CRS's own unit.", "or x (east)")
    y: fields.Coordinate | None = key("Northing, in the CRS's own unit.", "and y (north)")
    lat: fields.Latitude | None = key("WGS 84 latitude, decimal degrees.", "or latitude")
    lon: fields.Longitude | None = key("WGS 84 longitude, decimal degrees.", "and longitude")

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault unless exactly one way of saying where it lies is given whole."""
        yield from one_place(given, "the point")


class AccuracyTable(Typed):
    """[accuracy]: 1 sd of each kind of reading; every key is optional."""

    tape: fields.Spread = _accuracy(
        "tape_m", "A tape distance; the next is added in quadrature.", "Tape"
    )
    tape_fraction: fields.Fraction = _accuracy(
        "tape_fraction", "A tape distance, as a fraction of it.", "Tape, of its length"
    )
    mark: fields.Spread = _accuracy(
        "mark_m",
        "The paint mark against the transmitter, in plan, each axis; the next is added likewise.",
        "Paint mark",
    )
    mark_fraction: fields.Fraction = _accuracy(
        "mark_fraction", "The paint mark, as a fraction of the depth.", "Paint mark, of the depth"
    )
    offset: fields.Spread = _accuracy(
        "offset_m", "A distance along or offset from a line.", "Along or off a line"
    )
    ground: fields.Spread = _accuracy("ground_m", "A ground level.", "Ground level")
    corner: fields.AngleSpread = _accuracy(
        "corner_deg", "Degrees, a square corner of a sketched building.", "Square corner"
    )
    square: fields.AngleSpread = _accuracy(
        "square_deg",
        "Degrees, a square or a parallel set out by eye in a sketch, or a corner of another angle.",
        "Square by eye",
    )
    wander: fields.Wander | None = key(
        "Degrees per square root of one unit of length that pipe turns unseen in plan; default "
        f"{WANDER_PER_ROOT_FT:g} per square root of a foot.",
        "Wander in plan",
    )
    fitting: fields.AngleSpread = _accuracy(
        "fitting_deg", "Degrees, a bend given by its fitting.", "Bend by its fitting"
    )
    eye: fields.AngleSpread = _accuracy("eye_deg", "Degrees, a bend judged by eye.", "Bend by eye")
    fall: fields.Grade = _accuracy(
        "fall", "The pipe's expected grade with the flow, a ratio: 0.02 is 2 %.", "Expected grade"
    )
    fall_accuracy: fields.PositiveFraction = _accuracy(
        "sd_fall", "1 sd of that grade along the first piece.", "Grade accuracy"
    )
    fall_wander: fields.Wander | None = key(
        "Degrees per square root of one unit of length, in profile; default "
        f"{FALL_WANDER_PER_ROOT_FT:g} per square root of a foot.",
        "Wander in profile",
    )
    mapped_line: fields.Spread = _accuracy(
        "mapped_line_m", "A plan line that states no accuracy, across itself.", "Mapped line"
    )
    mapped_point: fields.Spread = _accuracy(
        "mapped_point_m", "A plan point that states no accuracy, each axis.", "Mapped point"
    )


class RunTable(Typed):
    """[run]: how far the camera went."""

    end_footage: fields.Footage | None = key(
        "Where the run ends; default the last footage given anywhere.",
        "Footage at the end",
        examples=["93.0"],
    )
    end: fields.EndWord | None = key(
        "What it ended at; without it the main is not claimed.", "It ended at"
    )


class ReferralTable(Typed):
    """[referral]: what the referral to the utility says; every key is optional."""

    to: fields.Lines = _referral("to", "Who it goes to; lines may follow one another.", "Goes to")
    from_: fields.Lines = _referral(
        "sender",
        "Who sends it: the company block, as it heads a letter; lines may follow one another.",
        "Sent by",
        alias="from",
    )
    client: fields.Name | None = key(
        "Whose side the sender is on: a party as a boundary names it.",
        "Sent for",
        examples=['"owner"'],
    )
    date: fields.Date | None = _referral(
        "date", "Day the letter is dated; left out, a line is left for it.", "Letter dated"
    )
    reference: fields.Text = _referral(
        "reference", "Your own or the utility's reference.", "Reference"
    )
    question: fields.Text = _referral(
        "question", "What you ask of the utility, in one sentence of your own.", "Your question"
    )
    signature: fields.Lines = _referral("signature", "Who signs.", "Who signs")
    letter: fields.Text = _referral(
        "letter", "A letter template of your own in the site folder (Jinja2, HTML)."
    )
    photographs: fields.Text = _referral(
        "photographs",
        "Folder in the site folder with JPEG, PNG, WebP, TIFF or HEIC files named by footage; left "
        "out, photographs where there is one.",
    )
    keep_metadata: fields.YesNo = _referral(
        "keep_metadata", "Keep what cameras write into photographs (place, time, owner)."
    )


class AppliedTable(Typed):
    """[[applied]]: a slip in the notes taken for true; the tables stay as they are written.

    ``check`` prints the entry under each diagnosis. Entries are taken one after the other, and one
    is taken back by taking it out.
    """

    slip: fields.SlipWord = key(
        "What went wrong, as a diagnosis calls it.", required=True, examples=['"tape misread"']
    )
    kind: fields.KindWord | None = key("Of the reading's id: what kind of reading it is.")
    of: fields.Name | None = key("Of the reading's id: whose it is, such as the locate's mark.")
    column: fields.Name | None = key("Of the reading's id: the column it stands in.")
    footage: fields.Footage | None = key(
        "Where along the run it sits: a counter that slipped, a bend nobody noted."
    )
    size: fields.AmountOrPlace | None = key(
        "How large the slip is: what was noted is what was true plus this, what was left out is "
        "this. A length, degrees, a share for the counter's scale, or [east, north] for a place."
    )
    would_read: fields.OneAmount | None = key("Instead of size: what the reading should have been.")
    accuracy: fields.OneAmount | None = key(
        "1 sd of that, where the other readings alone tell it and no note does."
    )
    point: fields.PointName | None = key("The point a tape was pulled from instead.")
    at_foot: fields.YesNo = key(
        "Of a riser: the start's depth was measured at its foot.", default=False
    )

    checked: fields.YesNo = key(
        "The notes, the video or a new reading bear it out. Until then whatever else the readings "
        "may mean stays open beside it.",
        default=False,
    )

    @classmethod
    def presence_faults(cls, given: Mapping[str, object]) -> Iterable[Fault]:
        """Yield a fault where the size is given twice."""
        if "size" in given and "would_read" in given:
            yield Fault("size is given too", "write size or would_read", field="would_read")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the slip is of no such reading or place."""
        kinds = KINDS_OF.get(self.slip, ())
        of_all = self.slip == "held above left out"
        if self.kind is None and kinds and not of_all:
            yield Fault("nothing says of which reading", f"write kind = {listed(kinds)}")
        elif self.kind is not None and self.kind not in kinds:
            remedy = f"write {listed(kinds)}" if kinds else "leave kind out"
            yield Fault(f"{self.slip!r} is no slip of this kind", remedy, field="kind")
        if self.slip in AT_A_PLACE and self.footage is None:
            yield Fault("nothing says where", "write footage", field="footage")
        if (self.point is not None) != (self.slip == "tape from another point"):
            yield Fault(
                "a point goes with 'tape from another point', and only with that",
                "write point there, leave it out elsewhere",
                field="point",
            )


_job, _main = keys_of(Job), keys_of(SewerMain)


class JobTable(Typed):
    """[job]: what a public-works desk's own form asks for; every key is optional."""

    address: fields.Text = _job("address", "Service address.", "Service address")
    parcel: fields.Text = _job("parcel", "Parcel number.", "Parcel")
    permit: fields.Text = _job("permit", "Permit number.", "Permit")
    work_order: fields.Text = _job("work_order", "Work order.", "Work order")
    owner: fields.Text = _job("owner", "The property's owner.", "Owner")
    contact: fields.Text = _job("contact", "How the owner is reached.", "Contact")
    inspector: fields.Text = _job("inspector", "Who ran the camera.", "Inspector")
    certificate: fields.Text = _job(
        "certificate", "That person's certificate number.", "Certificate"
    )
    access_point: fields.Text = _job(
        "access_point", "Where the camera went in.", "Access point", examples=['"front cleanout"']
    )
    camera_direction: fields.CameraDirectionWord | None = _job(
        "camera_direction",
        "Which way the camera went: downstream, with the flow, or upstream.",
        "Camera went",
    )
    video: fields.Text = _job("video", "File of the video.", "Video")
    video_time: fields.Text = _job("video_time", "When it was taken.", "Video taken")
    vertical_datum: fields.Text = _job(
        "vertical_datum", "What elevations count from.", "Vertical datum"
    )
    urgency: fields.UrgencyWord | None = _job(
        "urgency", "How soon it has to be seen to.", "Urgency"
    )
    urgency_ground: fields.Text = _job(
        "urgency_ground",
        "What makes it so: backing up, void under pavement.",
        "Because of",
        examples=['"backing up"'],
    )

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where a ground is given for no urgency."""
        if self.urgency_ground and self.urgency is None:
            words = "routine, soon, urgent or emergency"
            remedy = Told("write ", Either("urgency = ", ""), words)
            problem = Told(Key("urgency_ground"), " is given without it")
            yield Fault(problem, remedy, field="urgency")


class MainTable(Typed):
    """[main]: the main that the lateral joins, and where; every key is optional."""

    asset: fields.Text = _main("asset", "Its number in the utility's records.", "Its number")
    line: fields.Name | None = key(
        "Its name among the plan's utilities; default the plan's only sewer.", "Line of the plan"
    )
    upstream: fields.Name | None = key(
        "The manhole above the tap; a reference point of the plan where it is on it.",
        "Upstream manhole",
        examples=['"MH 7"'],
    )
    downstream: fields.Name | None = key(
        "The manhole below the tap, likewise.", "Downstream manhole", examples=['"MH 8"']
    )
    from_: fields.Name | None = key(
        "The manhole that distance counts from, one of the two.",
        "Distance from",
        alias="from",
        examples=['"MH 8"'],
    )
    distance: fields.NonNegativeLength | None = _main(
        "distance_m", "Along the main from that manhole to the tap, as read.", "Distance to the tap"
    )
    accuracy: fields.Spread = _main("sd_distance_m", "1 sd of that distance.", "Its accuracy")

    def value_faults(self) -> Iterable[Fault]:
        """Yield a fault where the distance counts from no manhole that is named."""
        named = [one for one in (self.upstream, self.downstream) if one]
        plain_named = [plain(one) for one in named]
        if self.from_ is not None and plain(self.from_) not in plain_named:
            remedy = (
                f"write {' or '.join(repr(one) for one in named)}"
                if named
                else Told("write ", Key("upstream"), " and ", Key("downstream"), " too")
            )
            yield Fault(f"{self.from_!r} is neither of the two manholes", remedy, field="from")
        if self.distance is not None and self.from_ is None:
            remedy = Told("write ", Either("from = ", ""), "the manhole it counts from")
            yield Fault("it says not what it counts from", remedy, field="distance")


class SiteDocument(Typed):
    """site.toml of a located lateral: what was measured once for the whole run."""

    format: Literal[1] = key("Version of the site format.", required=True, examples=["1"])
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
    job: JobTable = JobTable()
    main: MainTable = MainTable()
    dig_rule: tuple[DigRuleTable, ...] = ()
    soil_layer: tuple[SoilLayerTable, ...] = ()
    reach: tuple[ReachTable, ...] = ()
    rates: RatesTable = RatesTable()
    terrain: TerrainTable = TerrainTable()
    picture: PictureTable = PictureTable()
    picture_point: tuple[PicturePointTable, ...] = ()
    applied: tuple[AppliedTable, ...] = ()


def table_models() -> dict[str, tuple[type[Typed], bool]]:
    """Return each table's model, and whether it may stand several times: [[pipe]]."""
    found: dict[str, tuple[type[Typed], bool]] = {}
    for name, field in SiteDocument.model_fields.items():
        model = next(iter(get_args(field.annotation)), field.annotation)
        if isinstance(model, type) and issubclass(model, Typed):
            found[name] = (model, model is not field.annotation)
    return found


def written(name: str) -> str:
    """Return a table's heading as it stands in site.toml."""
    return f"[[{name}]]" if table_models()[name][1] else f"[{name}]"


def one_place(given: Mapping[str, object], what: str) -> Iterable[Fault]:
    """Yield a fault unless a place is given whole in one way: point, x and y, or lat and lon."""
    yield from half_pairs(given, (("x", "y"), ("lat", "lon")))
    pairs = (("point", {"point"}), ("x, y", {"x", "y"}), ("lat, lon", {"lat", "lon"}))
    ways = [way for way, keys in pairs if keys & given.keys()]
    remedy = "write one of: point; x and y; lat and lon"
    if not ways:
        yield Fault(f"nothing says where {what} is", remedy)
    elif len(ways) > 1:
        yield Fault(f"{what} is placed by {' and by '.join(ways)}", remedy, field=ways[-1])


def half_pairs(given: Mapping[str, object], pairs: Iterable[tuple[str, str]]) -> Iterable[Fault]:
    """Yield a fault for each pair of keys of which only one is given."""
    for one, other in pairs:
        if (one in given) != (other in given):
            here, absent = (one, other) if one in given else (other, one)
            problem = Told(Key(here), " is given without ", Key(absent))
            yield Fault(problem, Told("write ", Key(absent), " too"), field=absent)


def site_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of site.toml."""
    schema = SiteDocument.model_json_schema(by_alias=True)
    for model in (schema, *schema["$defs"].values()):
        for name, of in list(model["properties"].items()):
            of.pop("_", None)
            if "$ref" in of or of.get("default", ...) is None or of.get("default") == []:
                of.pop("default", None)
            # The null that an absent key is read as goes: TOML has none to write.
            choices = [one for one in of.pop("anyOf", ()) if one != {"type": "null"}]
            if choices:
                kept = choices[0] if len(choices) == 1 else {"anyOf": choices}
                model["properties"][name] = {**kept, **of}
        model["description"] = " ".join(model["description"].split())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
